"""Holes, slots and lines of a drawing in the sheets of a build: new ones added, known ones moved."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple, TypeVar

from partkin.drawing.outline_import import MOST_BYTES, STAYED_MM, Redrawn, read_outline
from partkin.model.build import Build, Feature, Outline, Zone
from partkin.model.columns import BY_NAME, FEATURES
from partkin.model.problem import Problem, refuse_any, refused

OUTLINES, ZONES = "outlines.csv", "zones.csv"
MEASURE_ZONE = "Nothing is cut there: measure it on the part before you say yes"
Corners = tuple[tuple[float, float], ...]
Shape = TypeVar("Shape", Outline, Zone)


class Addition(NamedTuple):
    """What a drawing would add: features and outlines, named so that they clash with nothing.

    `moved`: features of the part that the drawing has elsewhere or of another size; `lines`, `zones`: its lines and
    zones that run otherwise; `stayed`: how many of all these are as the part has them.
    """

    part: str
    features: tuple[Feature, ...]
    outlines: tuple[Outline, ...]
    warnings: tuple[Problem, ...] = ()
    moved: tuple[Redrawn, ...] = ()
    lines: tuple[Outline, ...] = ()
    zones: tuple[Zone, ...] = ()
    stayed: int = 0

    @property
    def adds(self) -> bool:
        """Whether the drawing has anything that the sheets do not."""
        return bool(self.features or self.outlines or self.moved or self.lines or self.zones)


def read_drawing(
    build: Build, file: Path, part: str, unit: str | None = None, layers: Sequence[str] = ()
) -> Addition:  # fmt: skip
    """Read a DXF or SVG as additions to a part.

    Raises
    ------
    FaultyInput
        The part is not on its sheet, or the drawing cannot be read; nothing is guessed.
    """
    from partkin.sheets import content_of

    build.must_have(part)
    content = content_of(file, "Name a DXF or SVG file", MOST_BYTES)
    read = read_outline(content, file.name, part, unit, tuple(layers))
    refuse_any(problem for problem in read.problems if not problem.warning)
    names = {feature.feature for feature in build.features_of(part)}
    lost = [one.feature for one in read.redrawn if one.feature not in names]
    if lost:
        what = f"the drawing has {', '.join(lost)} of {part}, which its sheet has no longer"
        raise refused(file.name, 0, "", what, "Put the rows back, or draw the template anew")
    moved = tuple(one for one in read.redrawn if one.cells)
    stands = {f"{line.kind} {line.name}": line for line in build.outlines if line.part == part}
    drawn = {f"{line.kind} {line.name}": line.corners_mm for line in read.known_lines}
    lines, warnings = _with_new_corners(stands, drawn, OUTLINES, file.name)
    areas = {f"zone {zone.zone}": zone for zone in build.zones if zone.part == part}
    drawn_areas = {f"zone {name}": corners for name, corners in read.known_zones}
    zones, doubts = _with_new_corners(areas, drawn_areas, ZONES, file.name)
    known = len(read.redrawn) + len(drawn) + len(drawn_areas)
    stayed = known - len(moved) - len(lines) - len(zones) - len(warnings) - len(doubts)
    features, new_lines = _new_names(build, read.features), _new_lines(build, part, read.outlines)
    return Addition(part, features, new_lines, (*read.problems, *warnings, *doubts), moved, lines, zones, stayed)


def _with_new_corners(
    stands: Mapping[str, Shape], drawn: Mapping[str, Corners], sheet: str, name: str
) -> tuple[tuple[Shape, ...], tuple[Problem, ...]]:
    """Return the known shapes whose corners moved, and a warning of each whose corners are others than its sheet's."""
    moved, warnings = list[Shape](), []
    for called, corners in drawn.items():
        before = stands[called].corners_mm if called in stands else ()
        if len(before) != len(corners):
            what = f"{called} has {len(corners)} corners, its part's sheet {len(before)}"
            mend = f"It was left out; write its corners into {sheet} by hand"
            warnings.append(Problem(name, 0, "", what, mend, warning=True))
        elif any(math.dist(a, b) > STAYED_MM for a, b in zip(before, corners, strict=True)):
            moved.append(replace(stands[called], corners_mm=corners))
    return tuple(moved), tuple(warnings)


def _new_names(build: Build, features: Sequence[Feature]) -> tuple[Feature, ...]:
    """Go on counting where the part's sheet ends: h4 after h3."""
    taken = {feature.feature for part in {f.part for f in features} for feature in build.features_of(part)}
    highest: dict[str, int] = {}
    for name in taken:
        if match := re.fullmatch(r"([a-z]+)([0-9]{1,9})", name):
            highest[match[1]] = max(highest.get(match[1], 0), int(match[2]))
    found = []
    for feature in features:
        prefix = feature.feature.rstrip("0123456789")
        number = int(feature.feature.removeprefix(prefix)) + highest.get(prefix, 0)
        found.append(replace(feature, feature=f"{prefix}{number}"))
    return tuple(found)


def _new_lines(build: Build, part: str, outlines: Sequence[Outline]) -> tuple[Outline, ...]:
    taken = {(line.kind, line.name) for line in build.outlines if line.part == part}
    found = []
    for line in outlines:
        name, number = line.name, 2
        while (line.kind, name) in taken:
            name, number = f"{line.name} {number}", number + 1
        taken.add((line.kind, name))
        found.append(replace(line, name=name))
    return tuple(found)


def shown(build: Build, addition: Addition) -> str:
    """Say what would be added and what moved, a line each."""
    part = addition.part
    lines = [f"{part} would get:"] if addition.features or addition.outlines else []
    for feature in addition.features:
        size = f"{feature.across_mm:g}" + (f" x {feature.length_mm:g}" if feature.length_mm is not None else "")
        turned = f", {feature.angle_deg:g} degrees" if feature.angle_deg else ""
        lines.append(f"  {feature.feature:<6} {feature.kind} {size} mm{turned}, at {feature.x_mm:g}, {feature.y_mm:g}")
    for line in addition.outlines:
        wide, high = (max(ways) - min(ways) for ways in zip(*line.corners_mm, strict=True))
        extent = f"{wide:g} x {high:g} mm"
        lines.append(f"  {line.name:<6} {line.kind} of {len(line.corners_mm)} corners, {extent}")
    if addition.moved or addition.lines or addition.zones:
        lines.append(f"of {part} would change:")
    rows = {feature.feature: feature for feature in build.features_of(part)}
    for one in addition.moved:
        was = {name: getattr(rows[one.feature], name) for name, _ in one.cells}
        told = {name: "not stated" if value is None else f"{value:g}" for name, value in was.items()}
        changes = (f"{name} {told[name]} to {value:g}" for name, value in one.cells)
        lines.append(f"  {one.feature:<6} {', '.join(changes)}")
    lines += [f"  {line.name:<6} {line.kind}: corners moved" for line in addition.lines]
    lines += [f"  {zone.zone:<6} {zone.kind}: corners moved. {MEASURE_ZONE}" for zone in addition.zones]
    if addition.stayed:
        lines.append(f"{addition.stayed} features, lines and zones of {part} are as they were drawn.")
    return "\n".join(lines) + "\n"


def add(folder: Path, addition: Addition, plus_minus_mm: float | None = None) -> None:
    """Append the new rows to the sheets and write the moves into theirs: all of it or none.

    Raises
    ------
    FaultyInput
        That would bring a fault; nothing was changed.
    """
    from partkin.sheets import revise
    from partkin.sheets.values import cells_of, number_text

    features = [replace(feature, plus_minus_mm=plus_minus_mm) for feature in addition.features]
    rows = {sheet: cells_of(sheet, added) for sheet, added in ((FEATURES, features), (OUTLINES, addition.outlines))}
    cells: dict[str, dict[tuple[str, ...], dict[str, str]]] = {FEATURES: {}, OUTLINES: {}, ZONES: {}}
    told = {} if plus_minus_mm is None else {"plus_minus_mm": number_text(plus_minus_mm)}
    for one in addition.moved:
        moved = {name: number_text(value) for name, value in one.cells}
        cells[FEATURES][addition.part, one.feature] = {**moved, **(told if "x_mm" in moved else {})}
    redrawn: tuple[tuple[str, Sequence[Outline | Zone]], ...] = ((OUTLINES, addition.lines), (ZONES, addition.zones))
    for sheet, corners in ((sheet, cells_of(sheet, rows)) for sheet, rows in redrawn):
        for corner in corners:
            key = tuple(corner[name] for name in BY_NAME[sheet].key)
            cells[sheet][key] = {name: corner[name] for name in ("x_mm", "y_mm")}
    changed = {sheet: wanted for sheet, wanted in cells.items() if wanted}
    revise(folder, changed, {sheet: added for sheet, added in rows.items() if added})
