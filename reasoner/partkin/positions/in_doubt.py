"""Suspect readings of one part in words: what the others rule out, and the slip that would explain it.

What distances between the same points leave open for one of them needs no adjustment and no surplus of readings:
bound smoothing (Crippen and Havel 1988, from memory): the most is the shortest way round over the other readings, the
least what one of them exceeds the way round from its ends by.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from partkin.model.build import Reading
from partkin.model.positions import Suspect
from partkin.positions import asking_for
from partkin.positions.lengths import Distance, value_mm
from partkin.positions.slips import Slip, slip_of, unit_slips

# How near, in greatest errors, what was meant has to come to what the others allow.
SLIP_WITHIN = 3.0
# A reading that is plainly wrong is asked about before one of several that may be, and one that a slip explains first.
PLAINLY, MAY_BE, EXPLAINED = 3.0, 1.0, 0.5


def bounds_mm(distances: Sequence[Distance], at: int) -> tuple[float, float]:
    """Return the least and the most that one of these distances can be by the others, greatest errors allowed.

    Examples
    --------
    >>> row = lambda a, b, length: Distance(a + b, a, b, length, 0.0)
    >>> bounds_mm([row("a", "b", 300.0), row("b", "c", 100.0), row("c", "a", 2081.0)], 2)
    (200.0, 400.0)
    """
    rest = [one for number, one in enumerate(distances) if number != at]
    names = sorted({end for one in distances for end in (one.from_feature, one.to_feature)})
    number = {name: place for place, name in enumerate(names)}
    most = _ways_mm(names, number, rest)
    a, b = number[distances[at].from_feature], number[distances[at].to_feature]
    least_mm = 0.0
    for one in rest:
        i, k = number[one.from_feature], number[one.to_feature]
        way_mm = min(most[a, i] + most[b, k], most[a, k] + most[b, i])
        least_mm = max(least_mm, one.length_mm - _half_mm(one) - way_mm)
    return float(least_mm), float(most[a, b])


def _half_mm(one: Distance) -> float:
    return math.sqrt(3.0) * one.sigma_mm


def _ways_mm(names: Sequence[str], number: dict[str, int], rest: Sequence[Distance]) -> np.ndarray:
    """The shortest way between every two points, readings as long as may be (Floyd and Warshall, from memory)."""
    way = np.full((len(names), len(names)), np.inf)
    np.fill_diagonal(way, 0.0)
    for one in rest:
        i, k = number[one.from_feature], number[one.to_feature]
        way[i, k] = way[k, i] = min(way[i, k], one.length_mm + _half_mm(one))
    for via in range(len(names)):
        way = np.minimum(way, way[:, via, None] + way[None, via, :])
    return way


def impossible(distances: Sequence[Distance]) -> list[int]:
    """Return the distances of which one has to be wrong, each so that the others are possible without it.

    None: all can hold together. Where no single one clears it, all that the others rule out are returned.
    """
    if not _broken(distances):
        return []
    clears = [at for at in range(len(distances)) if not _broken([*distances[:at], *distances[at + 1 :]])]
    return clears or [at for at in range(len(distances)) if not is_possible(distances, at)]


def plainly_wrong(distances: Sequence[Distance]) -> tuple[list[Distance], list[Distance]]:
    """Return the distances that are impossible by the others, and those of which one more is, it is not told which."""
    rest = list(distances)
    wrong: list[Distance] = []
    while rest:
        maybe = impossible(rest)
        if len(maybe) != 1:
            return wrong, [rest[at] for at in maybe]
        wrong.append(rest.pop(maybe[0]))
    return wrong, []


def is_possible(distances: Sequence[Distance], at: int) -> bool:
    """Whether the others allow one of the distances as it is."""
    least_mm, most_mm = bounds_mm(distances, at)
    one = distances[at]
    return least_mm <= one.length_mm + _half_mm(one) and one.length_mm - _half_mm(one) <= most_mm


def _broken(distances: Sequence[Distance]) -> bool:
    """Whether one of them is longer than the way round over others. One that is too short makes another too long."""
    names = sorted({end for one in distances for end in (one.from_feature, one.to_feature)})
    number = {name: place for place, name in enumerate(names)}
    most = _ways_mm(names, number, distances)
    return any(
        one.length_mm - _half_mm(one) > most[number[one.from_feature], number[one.to_feature]] + 1e-9
        for one in distances
    )


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
