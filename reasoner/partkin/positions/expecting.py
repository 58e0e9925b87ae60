"""What a reading should come out at by those before it, and a word at once where it does not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partkin.model.build import Feature, Reading
from partkin.model.distributions import normal_quantile
from partkin.model.positions import Positions
from partkin.positions import lengths
from partkin.positions.budget import covariance_mm2, length_row
from partkin.positions.sampling import of_layout
from partkin.positions.slips import slip_of

# A single reading is spoken of when it would turn up less than once in a thousand.
SURPRISE_LEVEL = 0.001
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True)
class Expectation:
    """A reading before it is taken, in mm. `from_readings`: how many distances of the part there are."""

    expected_mm: float
    sigma_mm: float
    from_readings: int


def predict(
    positions: Positions, reading: Reading, features: Sequence[Feature] = (), readings: Sequence[Reading] = ()
) -> Expectation | None:
    """Say what a reading should come out at.

    Parameters
    ----------
    positions
        Adjusted from the other readings.
    reading
        Its value is not looked at. Edge distances are told as such, by the sizes in `features` and
        `readings`; across and length by the cells.

    Returns
    -------
    Expectation or None
        None where the other readings do not tell. `sigma_mm` is that of the prediction alone, without
        the reading's own uncertainty.
    """
    mine = {row.feature: row for row in features if row.part == positions.part}
    if reading.quantity in ("across", "length"):
        return _size(mine.get(reading.from_feature or ""), reading, readings)
    if reading.quantity not in lengths.DISTANCES:
        return None
    try:
        a, b = (positions.features.index(end or "") for end in (reading.from_feature, reading.to_feature))
    except ValueError:
        return None
    if a == b:
        return None
    row = length_row(positions, a, b)
    expected_mm = float(np.linalg.norm(positions.xyz_mm[a] - positions.xyz_mm[b]))
    sigma_mm = math.sqrt(max(0.0, float(row @ covariance_mm2(positions) @ row)))
    count = sum(seen.used for seen in positions.observed if seen.kind == "distance")
    if reading.quantity != "centres":
        shift_mm = lengths.edges_to_centres_mm(mine, [*readings], reading)
        if shift_mm is None:
            return None
        expected_mm -= shift_mm
    return Expectation(expected_mm, sigma_mm, count)


def _size(feature: Feature | None, reading: Reading, readings: Sequence[Reading]) -> Expectation | None:
    if feature is None:
        return None
    earlier = [row for row in readings if row.reading not in (reading.reading, reading.corrects)]
    size = lengths.dimensions(feature, earlier)
    value_mm = size.across_mm if reading.quantity == "across" else size.length_mm
    half_mm = size.across_half_width_mm if reading.quantity == "across" else size.length_half_width_mm
    if value_mm is None:
        return None
    return Expectation(value_mm, lengths.standard_uncertainty_mm(half_mm), 1)


def surprise(
    positions: Positions, reading: Reading, features: Sequence[Feature] = (), readings: Sequence[Reading] = ()
) -> str | None:
    """Say in words that a new reading is far from what the others allow; None where it is not.

    Parameters
    ----------
    positions
        Adjusted without the new reading. Where several layouts are possible the nearest one counts.
    reading
        The new one.
    features, readings
        Of the part, for sizes.
    """
    options = [
        told
        for told in (predict(one, reading, features, readings) for one in _each_layout(positions))
        if told is not None
    ]
    if not options:
        return None
    value_mm = lengths.value_mm(reading)
    own_mm = lengths.standard_uncertainty_mm(lengths.greatest_error_of_mm(reading))
    told = min(options, key=lambda one: abs(value_mm - one.expected_mm))
    off_mm = value_mm - told.expected_mm
    limit_mm = normal_quantile(1.0 - SURPRISE_LEVEL / 2.0) * math.hypot(told.sigma_mm, own_mm)
    if abs(off_mm) <= max(limit_mm, lengths.LEAST_SIGMA_MM):
        return None
    far = f"{abs(off_mm):.0f}" if abs(off_mm) >= 10.0 else f"{abs(off_mm):.1f}"
    more = "more" if off_mm > 0 else "less"
    if reading.quantity in ("across", "length"):
        return f"{far} mm {more} than was known of {reading.from_feature}; the right feature?"
    if told.from_readings:
        count = told.from_readings
        number = _NUMBERS[count] if count < len(_NUMBERS) else str(count)
        other = f"the other {number} readings allow" if count > 1 else "the other reading allows"
    else:
        other = "the stated coordinates allow"
    return f"{far} mm {more} than {other}; {_cause(value_mm, told.expected_mm, reading, features, readings)}?"


def _each_layout(positions: Positions) -> list[Positions]:
    return [of_layout(positions, at) for at in range(len(positions.layouts))] or [positions]


def _cause(
    value_mm: float,
    expected_mm: float,
    reading: Reading,
    features: Sequence[Feature],
    readings: Sequence[Reading],
) -> str:
    """The slip that explains the difference best, as a question without its mark."""
    slip = slip_of(reading, expected_mm, max(1.0, 0.005 * expected_mm))
    if slip is not None:
        return slip.says
    off_mm = abs(value_mm - expected_mm)
    near = max(1.0, 0.003 * expected_mm)
    mine = [row for row in features if row.feature in (reading.from_feature, reading.to_feature)]
    across = [lengths.dimensions(row, readings).across_mm or 0.0 for row in mine if row.part == reading.part]
    edges = [0.5 * width for width in across] + [sum(across) / 2.0]
    if any(width > 2.0 * near and abs(off_mm - width) < near for width in edges):
        return "from an edge instead of the centre" if reading.quantity == "centres" else "the other edge"
    return "tape hooked on the wrong edge"
