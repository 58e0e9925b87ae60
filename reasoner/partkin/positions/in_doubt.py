"""Suspect readings of one part in words: what the others rule out, and the slip that would explain it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from partkin.model.build import Reading
from partkin.model.positions import Suspect
from partkin.positions import asking_for
from partkin.positions.bounds import bounds_mm
from partkin.positions.lengths import Distance, value_mm
from partkin.positions.slips import Slip, slip_of, unit_slips

# How near, in greatest errors, what was meant has to come to what the others allow.
SLIP_WITHIN = 3.0
# A reading that is plainly wrong is asked about before one of several that may be, and one that a slip explains first.
PLAINLY, MAY_BE, EXPLAINED = 3.0, 1.0, 0.5


def out_of_bounds(part: str, distances: Sequence[Distance], one: Distance, left_out: bool) -> Suspect:
    """A distance that the others of the part do not allow, whatever its shape is."""
    rest = [other for other in distances if other is not one]
    least_mm, most_mm = bounds_mm([*rest, one], len(rest))
    off_mm = one.length_mm - min(max(one.length_mm, least_mm), most_mm)
    ends = (one.from_feature, one.to_feature)
    says = asking_for.out_of_bounds(one, least_mm, most_mm, left_out)
    return Suspect(one.reading, off_mm / one.sigma_mm, off_mm, says, left_out, part, "centres", *ends)


def with_causes(
    suspects: Sequence[Suspect], rows: Sequence[Reading], distances: Sequence[Distance], maybe: Sequence[Distance]
) -> tuple[Suspect, ...]:
    """Add to each suspect what slip would explain it, and how likely it is the one.

    Parameters
    ----------
    suspects, rows, distances
        Of one part.
    maybe
        The distances that are impossible by the others, or of which one is.
    """
    named = {row.reading: row for row in rows}
    read = {one.reading: one for one in distances}
    found = []
    for suspect in suspects:
        row, one = named.get(suspect.reading), read.get(suspect.reading)
        if row is None or one is None:
            found.append(suspect)
            continue
        slip = _slip(suspect, row, one)
        if slip is None and one in maybe:
            slip = _slip_into_bounds(row, one, distances)
        found.append(_with_cause(suspect, row, slip))
    return tuple(found)


def _slip(suspect: Suspect, row: Reading, one: Distance) -> Slip | None:
    return slip_of(row, value_mm(row) - suspect.off_by_mm, SLIP_WITHIN * math.sqrt(3.0) * one.sigma_mm)


def _slip_into_bounds(row: Reading, one: Distance, distances: Sequence[Distance]) -> Slip | None:
    """Another unit that would make possible what is not."""
    rest = [other for other in distances if other is not one]
    least_mm, most_mm = bounds_mm([*rest, one], len(rest))
    shift_mm = one.length_mm - value_mm(row)
    if least_mm <= one.length_mm <= most_mm or math.isinf(most_mm):
        return None
    return next((slip for slip in unit_slips(row) if least_mm <= slip.value_mm + shift_mm <= most_mm), None)


def _with_cause(suspect: Suspect, row: Reading, slip: Slip | None) -> Suspect:
    likely = (PLAINLY if suspect.left_out else MAY_BE) + (EXPLAINED if slip is not None else 0.0)
    says = suspect.says if slip is None else f"{suspect.says} {slip.says} would agree with them."
    return replace(suspect, says=says, likely=likely, quantity=row.quantity)
