"""What a `bolts on` claims of places within the stated errors: each reading kept, each pair held there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

from partkin.model.build import Build, Feature, Part, Reading
from partkin.model.words import MM_PER_UNIT
from partkin.tables.instruments import coordinate_error_mm, greatest_error_mm
from partkin.verify.as_written import DISTANCES, Point, Sides, Unwritten, cell, length, shown_by, standing
from partkin.verify.vectors import exact

# Places are written to six decimals, and a distance has two ends in up to three coordinates each.
ROUNDED_MM = Fraction(5, 10**6)
Place = tuple[Fraction, ...]


def broken_readings(verdict: Mapping[str, Any], build: Build) -> tuple[list[str], tuple[str, ...]]:
    """Readings that the likely places do not keep within their stated errors, and what was taken as stated."""
    likely = verdict["likely"]
    left_out = {(row["part"], row["reading"]) for row in likely["left_out"]}
    refused: list[str] = []
    trusted = [f"that reading {name} of {part} is the wrong one" for part, name in sorted(left_out)]
    shows, donor, _ = shown_by(verdict, build)
    for part, places in ((shows, likely["host"]), (donor, likely["donor"])):
        at = {name: tuple(exact(value) for value in place) for name, place in places.items()}
        features = {row.feature: row for row in build.features_of(part.part)}
        rows = [row for row in standing(build, part.part) if (part.part, row.reading) not in left_out]
        for name, place in at.items():
            refused += _off_the_cells(part, features.get(name), place, left_out)
        for row in rows:
            if row.quantity in DISTANCES and row.from_feature in at and row.to_feature in at:
                told = between_centres(row, rows, features)
                if told is None:
                    trusted.append(f"reading {row.reading} of {part.part}, to the edge of a slot")
                elif not _keeps(at[row.from_feature], at[row.to_feature], *told):
                    refused.append(f"the likely places break reading {row.reading} of {part.part}")
    return refused, tuple(trusted)


def _off_the_cells(part: Part, feature: Feature | None, place: Place, left_out: set[tuple[Any, Any]]) -> list[str]:
    if feature is None:
        return [f"{part.part} has no such feature as the likely places name"]
    within = error_of(feature)
    cells = zip("xyz", (feature.x_mm, feature.y_mm, feature.z_mm), place, strict=False)
    return [
        f"the likely place of {feature.feature} of {part.part} is not within what was read of its {axis}"
        for axis, written, value in cells
        if written is not None and (part.part, f"{feature.feature}.{axis}_mm") not in left_out
        and abs(value - exact(written)) > within + ROUNDED_MM
    ]  # fmt: skip


def error_of(feature: Feature) -> Fraction:
    """How far each coordinate of a feature may be out."""
    return exact(coordinate_error_mm()) if feature.plus_minus_mm is None else exact(feature.plus_minus_mm)


def between_centres(
    row: Reading, rows: Sequence[Reading], features: Mapping[str, Feature]
) -> tuple[Fraction, Fraction] | None:
    """A reading as a distance between centres, and how far it may be out; None: to the edge of a slot."""
    value, within = read_within(row)
    if row.quantity == "centres":
        return value, within
    for name in (row.from_feature, row.to_feature):
        feature = features[name or ""]
        if feature.kind == "slot":
            return None
        sizes = [read_within(one) for one in rows if one.quantity == "across" and one.from_feature == name]
        across, wide = sizes[-1] if sizes else (cell(feature.across_mm), Fraction(0))
        if across is None:
            return None
        value += across / 2 if row.quantity == "near edges" else -across / 2
        within += wide / 2
    return value, within


def read_within(row: Reading) -> tuple[Fraction, Fraction]:
    """A length in millimetres, and how far it may be out."""
    value = length(row)
    if value is None:
        raise Unwritten(f"reading {row.reading} has no value")
    if row.plus_minus is not None:
        return value, exact(row.plus_minus) * exact(MM_PER_UNIT[row.unit or "mm"])
    return value, exact(greatest_error_mm(row.instrument, float(value), row.quantity))


def _keeps(one: Place, other: Place, value: Fraction, within: Fraction) -> bool:
    square = sum(((a - b) ** 2 for a, b in zip(one, other, strict=True)), Fraction(0))
    least, most = max(value - within - ROUNDED_MM, Fraction(0)), value + within + ROUNDED_MM
    return least**2 <= square <= most**2


def at_likely(verdict: Mapping[str, Any], build: Build, sides: Sides) -> Sides:
    """Both sides with every feature at its likely place."""
    likely = verdict["likely"]
    _, _, shown = shown_by(verdict, build)
    hosted = {fixing: likely["host"][name] for fixing, name in shown.items() if name in likely["host"]}
    return replace(sides, fixings=_moved(sides.fixings, hosted), features=_moved(sides.features, likely["donor"]))


def _moved(points: Mapping[str, Point], places: Mapping[str, Any]) -> dict[str, Point]:
    found = dict(points)
    for name, point in points.items():
        if name in places:
            dims = 2 if point.axis is None else 3
            found[name] = replace(point, at=tuple(exact(places[name][k]) for k in range(dims)))
    return found
