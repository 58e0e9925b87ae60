"""Readings as written -> millimetres between centres, each with its standard uncertainty."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from partkin.model.build import Feature, Reading
from partkin.model.build import current as current
from partkin.model.mating import direction_deg
from partkin.model.words import LENGTH_QUANTITIES, MM_PER_UNIT
from partkin.tables.instruments import coordinate_error_mm, greatest_error_mm
from partkin.tables.threads import parse_thread

DISTANCES = ("centres", "near edges", "far edges")
# No workshop instrument tells a micrometre: a distance stated as exact is held this firmly.
LEAST_SIGMA_MM = 0.001


@dataclass(frozen=True)
class Dimensions:
    """Size of a feature's opening (or of its stud or peg), each with its greatest error (0: exact)."""

    across_mm: float | None
    across_half_width_mm: float
    length_mm: float | None
    length_half_width_mm: float

    @property
    def half_travel_mm(self) -> float:
        """Half of a slot's centre line; 0 for anything round."""
        if self.length_mm is None or self.across_mm is None:
            return 0.0
        return max(0.0, 0.5 * (self.length_mm - self.across_mm))


@dataclass(frozen=True)
class Distance:
    """A distance between two centres, by feature id; `error_mm`: the greatest, where those of sizes come on top."""

    reading: str
    from_feature: str
    to_feature: str
    length_mm: float
    sigma_mm: float
    error_mm: float = 0.0


@dataclass(frozen=True)
class Unusable:
    """A distance reading that could not be turned into one between centres, and why."""

    reading: Reading
    why: str
    needs_across_of: str | None = None


def value_mm(reading: Reading) -> float:
    """Return a length reading in millimetres.

    Raises
    ------
    ValueError
        The quantity is not a length, or its unit not one of length.
    """
    unit = reading.unit
    if reading.quantity not in LENGTH_QUANTITIES or reading.value is None or unit is None or unit not in MM_PER_UNIT:
        raise ValueError(f"reading {reading.reading}: {reading.quantity} in {reading.unit} is not a length")
    return reading.value * MM_PER_UNIT[unit]


def greatest_error_of_mm(reading: Reading) -> float:
    """Return the greatest error believed possible: as stated, else the instrument's."""
    if reading.plus_minus is not None:
        return reading.plus_minus * MM_PER_UNIT[reading.unit or "mm"]
    return greatest_error_mm(reading.instrument, value_mm(reading), reading.quantity)


def standard_uncertainty_mm(half_width_mm: float) -> float:
    """Return a / sqrt(3), the standard uncertainty of plus or minus a (JCGM 100:2008, 4.3.7)."""
    return half_width_mm / math.sqrt(3.0)


def coordinate_half_width_mm(feature: Feature) -> float:
    """Return the greatest error of a feature's coordinates: its cell, else the instrument table's."""
    return coordinate_error_mm() if feature.plus_minus_mm is None else feature.plus_minus_mm


def dimensions(feature: Feature, readings: Sequence[Reading]) -> Dimensions:
    """Return what is known of a feature's size.

    The newest reading of `across` or `length` counts, with its uncertainty. Without one the cell holds,
    taken as exact; without a cell a stud, nut or tapped hole is as wide as its thread.

    Parameters
    ----------
    feature
    readings
        In the order of their ids, the newest last; those of other features and quantities are passed over.
    """
    across_mm, length_mm = feature.across_mm, feature.length_mm
    if across_mm is None and feature.thread and feature.kind in ("stud", "captive nut", "tapped hole"):
        thread = parse_thread(feature.thread)
        across_mm = thread.major_mm if thread else None
    across_half_mm = length_half_mm = 0.0
    for row in current(readings):
        if row.part != feature.part or row.from_feature != feature.feature:
            continue
        if row.quantity == "across":
            across_mm, across_half_mm = value_mm(row), greatest_error_of_mm(row)
        elif row.quantity == "length":
            length_mm, length_half_mm = value_mm(row), greatest_error_of_mm(row)
    return Dimensions(across_mm, across_half_mm, length_mm, length_half_mm)


def centre_distances(
    features: Mapping[str, Feature], readings: Sequence[Reading]
) -> tuple[tuple[Distance, ...], tuple[Unusable, ...]]:
    """Turn every distance reading into one between centres.

    Near edges: centres = reading + (d1 + d2) / 2; far edges: centres = reading - (d1 + d2) / 2. For a slot
    the reading is understood as the least (near) or greatest (far) distance between the two outlines; it
    is converted at the stated coordinates and direction, and cannot be where these are not known.

    Parameters
    ----------
    features
        Of one part, by id.
    readings
        Of the same part, corrected ones dropped or not.

    Returns
    -------
    tuple
        The distances in reading order, and the readings that cannot be used, each with its reason.
    """
    distances: list[Distance] = []
    unusable: list[Unusable] = []
    rows = current(readings)
    for row in rows:
        if row.quantity not in DISTANCES:
            continue
        made = _between_centres(features, rows, row)
        if isinstance(made, Distance):
            distances.append(made)
        else:
            unusable.append(made)
    return tuple(distances), tuple(unusable)


def _between_centres(features: Mapping[str, Feature], rows: Sequence[Reading], row: Reading) -> Distance | Unusable:
    a, b = features.get(row.from_feature or ""), features.get(row.to_feature or "")
    if a is None or b is None or a is b:
        return Unusable(row, "it does not name two different features of this part")
    length_mm = value_mm(row)
    error_mm = greatest_error_of_mm(row)
    variance_mm2 = standard_uncertainty_mm(error_mm) ** 2
    if row.quantity != "centres":
        for end in (a, b):
            size = dimensions(end, rows)
            if size.across_mm is None:
                return Unusable(row, f"the size of {end.feature} is not known", end.feature)
            variance_mm2 += (0.5 * standard_uncertainty_mm(size.across_half_width_mm)) ** 2
            error_mm += 0.5 * size.across_half_width_mm
        shift_mm = _edge_shift_mm(features, a, b, rows, far=row.quantity == "far edges")
        if shift_mm is None:
            return Unusable(row, "an edge of a slot stands where its direction says, and that or a place is not known")
        length_mm += shift_mm
    if length_mm <= 0.0:
        return Unusable(row, "the distance between centres comes out at nothing or less")
    sigma_mm = max(math.sqrt(variance_mm2), LEAST_SIGMA_MM)
    return Distance(row.reading, a.feature, b.feature, length_mm, sigma_mm, error_mm)


def edges_to_centres_mm(features: Mapping[str, Feature], readings: Sequence[Reading], reading: Reading) -> float | None:
    """Return what is added to an edge distance to get the distance of centres; None where it is not known."""
    a, b = features.get(reading.from_feature or ""), features.get(reading.to_feature or "")
    rows = current(readings)
    if a is None or b is None or any(dimensions(end, rows).across_mm is None for end in (a, b)):
        return None
    return _edge_shift_mm(features, a, b, rows, far=reading.quantity == "far edges")


def _edge_shift_mm(
    features: Mapping[str, Feature], a: Feature, b: Feature, rows: Sequence[Reading], far: bool
) -> float | None:
    """What has to be added to an edge distance to get the distance of centres."""
    sizes = dimensions(a, rows), dimensions(b, rows)
    radii_mm = sum(0.5 * (size.across_mm or 0.0) for size in sizes)
    if not any(size.half_travel_mm for size in sizes):
        return -radii_mm if far else radii_mm
    if (a.z_mm or 0.0) != (b.z_mm or 0.0):
        return None
    lines = []
    for feature, size in zip((a, b), sizes, strict=True):
        if feature.x_mm is None or feature.y_mm is None:
            return None
        angle_deg = direction_deg(feature, _stated_mm(features))
        if size.half_travel_mm and angle_deg is None:
            return None
        centre = complex(feature.x_mm, feature.y_mm)
        turn = math.radians(angle_deg or 0.0)
        along = size.half_travel_mm * complex(math.cos(turn), math.sin(turn))
        lines.append((centre - along, centre + along))
    centres_mm = abs(sum(lines[0]) - sum(lines[1])) / 2.0
    if far:
        return centres_mm - max(abs(p - q) for p in lines[0] for q in lines[1]) - radii_mm
    ends = [_to_segment_mm(p, lines[1]) for p in lines[0]] + [_to_segment_mm(q, lines[0]) for q in lines[1]]
    return centres_mm - min(ends) + radii_mm


def _stated_mm(features: Mapping[str, Feature]) -> dict[str, tuple[float, float]]:
    return {f.feature: (f.x_mm, f.y_mm) for f in features.values() if f.x_mm is not None and f.y_mm is not None}


def _to_segment_mm(point: complex, line: tuple[complex, complex]) -> float:
    along = line[1] - line[0]
    if along == 0:
        return abs(point - line[0])
    share = ((point - line[0]) * along.conjugate()).real / abs(along) ** 2
    return abs(point - line[0] - min(1.0, max(0.0, share)) * along)
