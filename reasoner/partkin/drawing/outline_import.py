"""Reading holes, slots and outlines out of a DXF or SVG file that somebody else drew.

A drawing is untrusted: its size, its number of things and its depth are limited, and nothing outside it is
read.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace

from partkin.drawing.loops import LinePiece, RoundShape, joined
from partkin.drawing.plane import Point
from partkin.drawing.template import KIND_OF_LAYER, LINES_OF_LAYER, ZONES
from partkin.model.build import Feature, Outline
from partkin.model.problem import Problem

MOST_BYTES = 8_000_000
MOST_THINGS = 20_000
LARGEST_MM = 20_000.0
# What a drawing program and its rounding may leave of a shape that nobody moved.
STAYED_MM = 0.004
_STAYED_DEG = 0.05
UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}


# Pieces in the file's own unit, y up; how many millimetres that is, None: it does not say; what was passed over.
ForeignDrawing = tuple[list[LinePiece], float | None, set[str]]


class Refused(Exception):
    """The file may not be read; carries what is wrong and how to mend it."""


@dataclass(frozen=True)
class Redrawn:
    """A known feature as a template of ours comes back; `cells`: columns of its row that differ, (): it stayed."""

    feature: str
    cells: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class OutlineRead:
    """Features and outlines of a drawing; `problems` that are not warnings mean that nothing was read.

    `redrawn`, `known_lines`, `known_zones` (their names and corners): what the part had when the drawing was made
    from it.
    """

    features: tuple[Feature, ...] = ()
    outlines: tuple[Outline, ...] = ()
    problems: tuple[Problem, ...] = ()
    redrawn: tuple[Redrawn, ...] = ()
    known_lines: tuple[Outline, ...] = ()
    known_zones: tuple[tuple[str, tuple[Point, ...]], ...] = ()


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
        largest other closed line as the edge, the rest as openings. A layer that is called as a template's is (pegs,
        studs, edges) says the kind. What a template of the same part drew is known again. Sizes are rounded to a
        micrometre.
    """
    sheet, warnings = name or "drawing", []
    try:
        if len(content) > MOST_BYTES:
            what = f"the file has more than {MOST_BYTES // 1_000_000} MB"
            raise Refused(what, "Export the outline alone")
        (pieces, says_mm, passed_over), form = _drawn(content, sheet, UNITS_MM.get(unit or ""), layers)
        if passed_over:
            what, mend = f"passed over: {', '.join(sorted(passed_over))}", f"Turn them into {form} if they are holes"
            warnings.append(Problem(sheet, 0, "", what, mend, True))
        unit_mm = says_mm if unit is None else UNITS_MM.get(unit)
        if unit_mm is None and unit is not None:
            raise Refused(f"no unit is called {unit!r}", f"Say one of {', '.join(UNITS_MM)}")
        if unit_mm is None:
            mend = f"Give --unit with one of {', '.join(UNITS_MM)}, and measure one hole"
            raise Refused("the file does not say its unit", mend)
        values = (value * unit_mm for piece in pieces for point in piece.points for value in point)
        if not all(math.isfinite(value) and abs(value) <= LARGEST_MM for value in values):
            what = f"a point lies more than {LARGEST_MM / 1000:g} m out, or is no number"
            raise Refused(what, "See that the unit is right")
    except Refused as fault:
        return OutlineRead(problems=(*warnings, Problem(sheet, 0, "", *fault.args)))
    return _read([piece.scaled(unit_mm) for piece in pieces], part, sheet, warnings)


def _read(pieces: list[LinePiece], part: str, sheet: str, problems: list[Problem]) -> OutlineRead:
    """Make features and outlines of pieces in millimetres, and say what was left out."""
    if any(piece.known is not None and piece.known.turned_over for piece in pieces):
        pieces = [piece.scaled(1.0, sideways=-1.0) for piece in pieces]
    loops, loose = joined(pieces)
    known, others = _parted(loops, part)
    features, outlines, doubles = _as_sheet_rows(others, part)
    redrawn = tuple(Redrawn(name, _moved(loop)) for name, loop in known if loop.stood)
    lines = tuple(
        Outline(part, LINES_OF_LAYER.get(loop.layer, "edge"), name, _corners(loop))
        for name, loop in known
        if not loop.stood and loop.layer != ZONES
    )
    zones = tuple((name, _corners(loop)) for name, loop in known if loop.layer == ZONES)
    left_out = (
        (loose, f"{loose} lines close to nothing and were left out", "Close them in the drawing"),
        (doubles, f"{doubles} closed lines are drawn twice on the same place and were read once", "Delete the doubles"),
    )
    problems += [Problem(sheet, 0, "", what, mend, True) for count, what, mend in left_out if count]
    if not features and not outlines and not known:
        what = "no circle, slot or closed line was found"
        problems.append(Problem(sheet, 0, "", what, "Draw each hole as a circle"))
    return OutlineRead(features, outlines, tuple(problems), redrawn, lines, zones)


def _drawn(
    content: bytes, sheet: str, said_mm: float | None, layers: tuple[str, ...]
) -> tuple[ForeignDrawing, str]:  # fmt: skip
    """Read a drawing; says what things of its kind of file are turned into to be read, too."""
    start = content[:2000].lstrip(b"\xef\xbb\xbf \t\r\n")
    if start.startswith(b"<") or sheet.lower().endswith(".svg"):
        from partkin.drawing.outline_svg import read_svg

        return read_svg(content, said_mm, layers), "paths"
    if start.startswith(b"AutoCAD Binary DXF"):
        raise Refused("the DXF is a binary one", "Export it as text (ASCII) DXF")
    if start[:1] == b"0" or start.startswith(b"999") or sheet.lower().endswith(".dxf"):
        from partkin.drawing.outline_dxf import read_dxf

        return read_dxf(content, said_mm, layers), "lines"
    raise Refused("this is neither DXF nor SVG", "Export the drawing as one of them")


def _as_sheet_rows(loops: list[LinePiece], part: str) -> tuple[tuple[Feature, ...], tuple[Outline, ...], int]:
    """Turn loops into features and outlines; returns how many were doubles of others too."""
    features: list[Feature] = []
    others: dict[tuple[Point, ...], LinePiece] = {}
    told: set[tuple[float, ...]] = set()
    counts: Counter[str] = Counter()
    doubles = 0
    for loop in loops:
        shape = loop.round_shape
        if shape is None:
            doubles += _corners(loop) in others
            others.setdefault(_corners(loop), loop)
            continue
        cells = _cells_of(shape)
        key = tuple(round(value, 2 if name != "angle_deg" else 1) for name, value in cells.items())
        if key in told:
            doubles += 1
            continue
        told.add(key)
        kind = "slot" if shape.half_travel > 0 else KIND_OF_LAYER.get(loop.layer, "hole")
        counts[kind[0]] += 1
        feature = Feature(part, f"{kind[0]}{counts[kind[0]]}", kind, cells["across_mm"])
        if shape.half_travel > 0:
            feature = replace(feature, length_mm=cells["length_mm"], angle_deg=cells["angle_deg"])
        features.append(replace(feature, x_mm=cells["x_mm"], y_mm=cells["y_mm"]))
    return tuple(features), _outlines(others, part), doubles


def _corners(loop: LinePiece) -> tuple[Point, ...]:
    return tuple((round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in loop.points)


def _cells_of(shape: RoundShape) -> dict[str, float]:
    """Return what a feature's row says of a circle or slot, rounded to a micrometre."""
    return {
        "x_mm": round(shape.centre[0], 3) + 0.0,
        "y_mm": round(shape.centre[1], 3) + 0.0,
        "across_mm": round(2 * shape.radius, 3),
        "length_mm": round(2 * (shape.half_travel + shape.radius), 3),
        "angle_deg": round(shape.angle_deg, 3) + 0.0,
    }


def _parted(loops: list[LinePiece], part: str) -> tuple[list[tuple[str, LinePiece]], list[LinePiece]]:
    """Part what a template of this part drew from all else; of copies, the one that went least far is the known one."""

    def far_mm(loop: LinePiece) -> float:
        stood, shape = loop.stood, loop.round_shape
        return math.dist(stood.centre, shape.centre) if stood is not None and shape is not None else 0.0

    known: dict[tuple[str, str], LinePiece] = {}
    for loop in sorted(loops, key=far_mm):
        if loop.known is not None and loop.known.part == part and (loop.round_shape or not loop.stood):
            kind = "feature" if loop.stood else ZONES if loop.layer == ZONES else "line"
            known.setdefault((kind, loop.known.name), loop)
    kept = {id(loop) for loop in known.values()}
    named = [(name, loop) for (_, name), loop in known.items()]
    return named, [loop for loop in loops if id(loop) not in kept and not (loop.known and loop.layer == ZONES)]


def _moved(loop: LinePiece) -> tuple[tuple[str, float], ...]:
    """Return the cells of a known feature that its drawing changed; a place is always told whole."""
    stood, shape = loop.stood, loop.round_shape
    if stood is None or shape is None:
        return ()
    cells, before = _cells_of(shape), _cells_of(stood)
    changed = {name for name, value in cells.items() if abs(value - before[name]) > STAYED_MM}
    turned_deg = abs((cells["angle_deg"] - before["angle_deg"] + 90.0) % 180.0 - 90.0)
    if turned_deg < _STAYED_DEG or shape.half_travel <= 0:
        changed.discard("angle_deg")
    if shape.half_travel <= 0 and stood.half_travel <= 0:
        changed.discard("length_mm")
    if changed & {"x_mm", "y_mm"}:
        changed |= {"x_mm", "y_mm"}
    return tuple((name, value) for name, value in cells.items() if name in changed)


def _outlines(loops: dict[tuple[Point, ...], LinePiece], part: str) -> tuple[Outline, ...]:
    """Name each loop as its layer says, else the largest the edge and the rest openings; edges first."""
    told = {corners: LINES_OF_LAYER[loop.layer] for corners, loop in loops.items() if loop.layer in LINES_OF_LAYER}
    edge = max((one for one in loops if one not in told), key=lambda one: loops[one].area, default=None)
    kinds = {one: told.get(one, "edge" if one is edge else "opening") for one in loops}
    found: list[Outline] = []
    for corners in sorted(kinds, key=lambda one: kinds[one] != "edge"):
        kind = kinds[corners]
        number = sum(line.kind == kind for line in found) + 1
        found.append(Outline(part, kind, kind if kind == "edge" and number == 1 else f"{kind} {number}", corners))
    return tuple(found)
