"""What the sheets say of fixings that do not lie in one plane: the verifier's own reading of heights and axes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from itertools import combinations

from partkin.model.build import Build, Feature, Part
from partkin.verify.as_written import DISTANCES, Point, Sides, cell, length, standing
from partkin.verify.vectors import UP, ZERO, Vector, dot, laid_over, minus, product, towards

Rows = list[tuple[str, Feature, Feature]]


def lift(
    sides: Sides, build: Build, rows: Rows, parts: tuple[Part, Part], places: tuple[Mapping[str, Vector], ...]
) -> Sides:
    """The same sides in space, unless both are flat with every axis along z.

    Where one side is not flat and the other has no heights, the other has no places in space.

    Parameters
    ----------
    sides, build
    rows
        Each fixing, the feature that says what it is, the feature that shows where it is.
    parts
        The part that shows the fixings, and the donor.
    places
        Of fixings and of donor features, in space.
    """
    listed = rows, [(f.feature, f, f) for f in build.features_of(parts[1].part)]
    if all(_is_flat(build, side, at, part) for side, at, part in zip(listed, places, parts, strict=True)):
        return sides
    fixings, features = (
        _lifted(points, side, at, _depth(build, part), _is_framed(build, part))
        for points, side, at, part in zip((sides.fixings, sides.features), listed, places, parts, strict=True)
    )
    # In space a pattern in one line may still have axes that lean to one side.
    return replace(sides, fixings=fixings, features=features, faces=replace(sides.faces, either=False))


def _lifted(
    points: Mapping[str, Point], rows: Rows, at: Mapping[str, Vector], depth: Fraction, framed: bool
) -> dict[str, Point]:
    """The same points in space; a slot that points at another feature does so across its own axis."""
    found = dict(points)
    for name, feature, shown in rows:
        axis = _axis(shown)
        found[name] = replace(points[name], at=at.get(name), axis=axis, depth=depth)
        if points[name].kind == "slot" and feature.angle_deg is not None and not framed:
            found[name] = replace(found[name], along=None)
        here, there = at.get(name), at.get(feature.angle_to or "")
        if here is not None and there is not None and points[name].kind == "slot":
            ways = laid_over(axis, Fraction(1), ZERO), laid_over(axis, ZERO, Fraction(1))
            over = minus(there, here)
            found[name] = replace(found[name], along=towards((dot(over, ways[0]), dot(over, ways[1]))))
    return found


def _is_framed(build: Build, part: Part) -> bool:
    """Whether degrees mean anything: where nothing is placed by distances alone, or by three that are in no line."""
    cells = {f.feature: (f.x_mm, f.y_mm, f.z_mm) for f in build.features_of(part.part)}
    placed = {name: tuple(Fraction(x) for x in row if x is not None) for name, row in cells.items() if None not in row}
    told = {name for row in standing(build, part.part) if row.quantity in DISTANCES
            for name in (row.from_feature, row.to_feature) if name}  # fmt: skip
    return told <= placed.keys() or any(
        any(product(minus(b, a), minus(c, a))) for a, b, c in combinations(placed.values(), 3)
    )


def _axis(shown: Feature) -> Vector:
    return towards(tuple(Fraction(value) for value in shown.axis)) if shown.axis else UP


def _depth(build: Build, part: Part) -> Fraction:
    """Thickness of a part: its newest reading, else its cell."""
    found = cell(part.thickness_mm) or ZERO
    for row in standing(build, part.part):
        if row.quantity == "thickness":
            found = length(row) or ZERO
    return found


def _is_flat(build: Build, rows: Rows, at: Mapping[str, Vector], part: Part) -> bool:
    """Level, with what is no fixing too, and every axis along z; or of no heights."""
    heights = {feature.z_mm for feature in build.features_of(part.part)} - {None}
    if not heights:
        return True
    level = len(heights) == 1 and len({place[2] for place in at.values()}) <= 1
    return level and all(_axis(shown)[2] > 1 - Fraction(1, 10**9) for _, _, shown in rows)
