"""Reading holes, slots and outlines out of a DXF or SVG file that somebody else drew.

A drawing is untrusted: its size, its number of things and its depth are limited, and nothing outside it is
read.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from partkin.drawing.loops import LinePiece, Loop, joined, recognised
from partkin.drawing.shapes import Point
from partkin.model.build import Feature, Outline
from partkin.model.problem import Problem

MOST_BYTES = 8_000_000
MOST_THINGS = 20_000
LARGEST_MM = 20_000.0
UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}


@dataclass(frozen=True)
class ForeignDrawing:
    """What a file holds, in its own unit, y up: pieces of lines, and how many millimetres a unit is."""

    pieces: tuple[LinePiece, ...]
    unit_mm: float | None
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class OutlineRead:
    """Features and outlines of a drawing; `problems` that are not warnings mean that nothing was read."""

    features: tuple[Feature, ...] = ()
    outlines: tuple[Outline, ...] = ()
    problems: tuple[Problem, ...] = ()


def refused(sheet: str, what: str, mend: str, warning: bool = False) -> Problem:
    """Return a fault of a drawing as a whole."""
    return Problem(sheet, 0, "", what, mend, warning)


def _unit_mm(drawn: ForeignDrawing, unit: str | None, sheet: str) -> float | Problem:
    """Say how many millimetres a unit of the file is: what the caller said, else what the file says."""
    if unit is not None:
        if unit not in UNITS_MM:
            return refused(sheet, f"no unit is called {unit!r}", f"Say one of {', '.join(UNITS_MM)}")
        return UNITS_MM[unit]
    if drawn.unit_mm is None:
        mend = f"Give --unit with one of {', '.join(UNITS_MM)}, and measure one hole"
        return refused(sheet, "the file does not say its unit", mend)
    return drawn.unit_mm


def read_outline(
    content: bytes, name: str, part: str, unit: str | None = None, layers: tuple[str, ...] = ()
) -> OutlineRead:
    """Read the holes, slots and closed lines of a drawing as features and outlines of a part.

    Parameters
    ----------
    content
        The file: DXF in text form, or SVG.
    name
        Its name, for the problems, and to know the kind by its ending where the content leaves it open.
    part
        The part that the features are of.
    unit
        Unit of the file's coordinates: mm, cm, m, in; None: as the file says, and a Problem where it does
        not. For SVG it is the unit of the coordinates as they are written (the view box).
    layers
        Read only these layers (DXF) or groups by id or label (SVG); (): everything.

    Returns
    -------
    OutlineRead
        Circles as holes `h1`, `h2` ..., obrounds as slots `s1` ..., in the order of the file, y up; the
        largest other closed line as the edge, the rest as openings. Sizes are rounded to a micrometre.
    """
    sheet = name or "drawing"
    if len(content) > MOST_BYTES:
        what = f"the file has more than {MOST_BYTES // 1_000_000} MB"
        return OutlineRead(problems=(refused(sheet, what, "Export the outline alone"),))
    drawn = _drawn(content, sheet, UNITS_MM.get(unit or ""), layers)
    if any(not problem.warning for problem in drawn.problems):
        return OutlineRead(problems=drawn.problems)
    unit_mm = _unit_mm(drawn, unit, sheet)
    if isinstance(unit_mm, Problem):
        return OutlineRead(problems=(*drawn.problems, unit_mm))
    if not all(_sound(point, unit_mm) for piece in drawn.pieces for point in piece.points):
        what = f"a point lies more than {LARGEST_MM / 1000:g} m out, or is no number"
        return OutlineRead(problems=(*drawn.problems, refused(sheet, what, "See that the unit is right")))
    return _read(tuple(piece.scaled(unit_mm) for piece in drawn.pieces), part, sheet, drawn.problems)


def _read(pieces: tuple[LinePiece, ...], part: str, sheet: str, warnings: tuple[Problem, ...]) -> OutlineRead:
    """Make features and outlines of pieces in millimetres, and say what was left out."""
    loops, loose = joined(pieces)
    features, outlines, doubles = _as_sheet_rows(loops, part)
    problems = list(warnings)
    if loose:
        what = f"{loose} lines close to nothing and were left out"
        problems.append(refused(sheet, what, "Close them in the drawing", warning=True))
    if doubles:
        what = f"{doubles} closed lines are drawn twice on the same place and were read once"
        problems.append(refused(sheet, what, "Delete the doubles", warning=True))
    if not features and not outlines:
        problems.append(refused(sheet, "no circle, slot or closed line was found", "Draw each hole as a circle"))
    return OutlineRead(features, outlines, tuple(problems))


def _sound(point: Point, unit_mm: float) -> bool:
    return all(math.isfinite(value) and abs(value * unit_mm) <= LARGEST_MM for value in point)


def _drawn(content: bytes, sheet: str, said_mm: float | None, layers: tuple[str, ...]) -> ForeignDrawing:
    start = content[:2000].lstrip(b"\xef\xbb\xbf \t\r\n")
    if start.startswith(b"<") or sheet.lower().endswith(".svg"):
        from partkin.drawing.outline_svg import read_svg

        return read_svg(content, sheet, said_mm, layers)
    if start.startswith(b"AutoCAD Binary DXF"):
        return ForeignDrawing((), None, (refused(sheet, "the DXF is a binary one", "Export it as text (ASCII) DXF"),))
    if start[:1] == b"0" or start.startswith(b"999") or sheet.lower().endswith(".dxf"):
        from partkin.drawing.outline_dxf import read_dxf

        return read_dxf(content, sheet, said_mm, layers)
    return ForeignDrawing(
        (), None, (refused(sheet, "this is neither DXF nor SVG", "Export the drawing as one of them"),)
    )


def _as_sheet_rows(loops: list[Loop], part: str) -> tuple[tuple[Feature, ...], tuple[Outline, ...], int]:
    """Turn loops into features and outlines; returns how many were doubles of others too."""
    features: list[Feature] = []
    others: dict[tuple[Point, ...], Loop] = {}
    told: set[tuple[float, ...]] = set()
    doubles = holes = slots = 0
    for loop in loops:
        shape = recognised(loop.points)
        if shape is None:
            corners = tuple((round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in loop.points)
            doubles += corners in others
            others.setdefault(corners, loop)
            continue
        x_mm, y_mm = (round(value, 3) + 0.0 for value in shape.centre)
        across_mm = round(2 * shape.radius, 3)
        length_mm = round(2 * (shape.half_travel + shape.radius), 3)
        key = (
            round(x_mm, 2),
            round(y_mm, 2),
            round(across_mm, 2),
            round(length_mm, 2),
            round(shape.angle_deg, 1),
        )
        if key in told:
            doubles += 1
            continue
        told.add(key)
        if shape.half_travel > 0:
            slots += 1
            angle_deg = round(shape.angle_deg, 3) + 0.0
            features.append(Feature(part, f"s{slots}", "slot", across_mm, length_mm, angle_deg, x_mm=x_mm, y_mm=y_mm))
        else:
            holes += 1
            features.append(Feature(part, f"h{holes}", "hole", across_mm, x_mm=x_mm, y_mm=y_mm))
    return tuple(features), _outlines(others, part), doubles


def _outlines(loops: dict[tuple[Point, ...], Loop], part: str) -> tuple[Outline, ...]:
    """Name the largest loop the edge and the rest openings, the edge first."""
    edge = max(loops, key=lambda corners: loops[corners].area, default=None)
    if edge is None:
        return ()
    rest = [corners for corners in loops if corners is not edge]
    return (
        Outline(part, "edge", "edge", edge),
        *(Outline(part, "opening", f"opening {n}", corners) for n, corners in enumerate(rest, 1)),
    )
