"""Holes, slots and lines of a drawing that somebody else made, added to the sheets of a build."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from partkin.model.build import Build, Feature, Outline
from partkin.model.columns import FEATURES
from partkin.model.problem import FaultyInput, Problem

OUTLINES = "outlines.csv"


@dataclass(frozen=True)
class Addition:
    """What a drawing would add: features and outlines, named so that they clash with nothing."""

    features: tuple[Feature, ...]
    outlines: tuple[Outline, ...]
    warnings: tuple[Problem, ...] = ()


def read_drawing(
    build: Build, file: Path, part: str, unit: str | None = None, layers: Sequence[str] = ()
) -> Addition:  # fmt: skip
    """Read a DXF or SVG as additions to a part.

    Raises
    ------
    FaultyInput
        The part is not on its sheet, or the drawing cannot be read; nothing is guessed.
    """
    from partkin.drawing.outline_import import MOST_BYTES, read_outline
    from partkin.sheets.given_files import content_of

    build.must_have(part)
    content = content_of(file, "Name a DXF or SVG file", MOST_BYTES)
    read = read_outline(content, file.name, part, unit, tuple(layers))
    faults = tuple(problem for problem in read.problems if not problem.warning)
    if faults:
        raise FaultyInput(faults)
    return Addition(_new_names(build, read.features), _new_lines(build, part, read.outlines), read.problems)


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


def shown(addition: Addition, part: str) -> str:
    """Say what would be added, a line each."""
    lines = [f"{part} would get:"]
    for feature in addition.features:
        size = f"{feature.across_mm:g}" + (f" x {feature.length_mm:g}" if feature.length_mm is not None else "")
        turned = f", {feature.angle_deg:g} degrees" if feature.angle_deg else ""
        lines.append(f"  {feature.feature:<6} {feature.kind} {size} mm{turned}, at {feature.x_mm:g}, {feature.y_mm:g}")
    for line in addition.outlines:
        lines.append(f"  {line.name:<6} {line.kind} of {len(line.corners_mm)} corners, {_extent(line)}")
    return "\n".join(lines) + "\n"


def _extent(line: Outline) -> str:
    xs, ys = [x for x, _ in line.corners_mm], [y for _, y in line.corners_mm]
    return f"{max(xs) - min(xs):g} x {max(ys) - min(ys):g} mm"


def add(folder: Path, addition: Addition, plus_minus_mm: float | None = None) -> None:
    """Append the rows to the sheets: all of them or none.

    Raises
    ------
    FaultyInput
        The rows would bring a fault; nothing was changed.
    """
    from partkin import sheets
    from partkin.sheets.as_cells import cells_of

    features = [replace(feature, plus_minus_mm=plus_minus_mm) for feature in addition.features]
    rows = {sheet: cells_of(sheet, added) for sheet, added in ((FEATURES, features), (OUTLINES, addition.outlines))}
    sheets.append_all(folder, {sheet: cells for sheet, cells in rows.items() if cells})
