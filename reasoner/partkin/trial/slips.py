"""Readings of a part held against the same distances on the other part: there a slip shows before anything else."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from partkin.model.build import Reading
from partkin.model.known import Side
from partkin.model.positions import Positions, Suspect
from partkin.positions import adjust
from partkin.positions.budget import covariance_mm2, length_row
from partkin.positions.lengths import Distance, centre_distances, current, value_mm
from partkin.positions.sampling import of_layout
from partkin.positions.slips import Slip, slip_of
from partkin.tables.instruments import slip_rule

# Greatest error of a length that follows from many readings, in standard deviations: it is near to normal.
DERIVED = 3.0
# One reading to spare may be used up by a shape that a slip has bent.
SPARE = 2
# Pairings that are tried where the sheets give none.
MOST_TRIED = 20_000
Pair = frozenset[str]


@dataclass(frozen=True)
class ToldDistance:
    """A distance between two features in each layout that a part's readings allow, with its greatest error, in mm."""

    lengths_mm: tuple[float, ...]
    within_mm: float

    def nearest_mm(self, length_mm: float) -> float:
        """Return the one that is nearest to a length."""
        return min(self.lengths_mm, key=lambda one: abs(one - length_mm))


@dataclass(frozen=True)
class ComparedReading:
    """A reading with what the other part says of it. `off_mm`: read minus told; `near_mm`: how near is alike."""

    reading: Reading
    distance: Distance
    told: ToldDistance
    off_mm: float
    near_mm: float

    @property
    def agrees(self) -> bool:
        """Whether the two parts are alike there."""
        return abs(self.off_mm) <= self.near_mm

    @property
    def ends(self) -> Pair:
        """The two features."""
        return frozenset((self.distance.from_feature, self.distance.to_feature))


def distances_of(side: Side, positions: Positions) -> dict[Pair, ToldDistance]:
    """Every distance of a part that is read, or follows from its places, by the two features."""
    found: dict[Pair, ToldDistance] = {}
    shapes = [of_layout(positions, at) for at in range(len(positions.layouts))] or [positions]
    for a, b in combinations(range(len(positions.features)), 2):
        half_mm, lengths_mm = 0.0, []
        for shape in shapes:
            row = length_row(shape, a, b)
            half_mm = max(half_mm, DERIVED * math.sqrt(max(0.0, float(row @ covariance_mm2(shape) @ row))))
            lengths_mm.append(float(np.linalg.norm(shape.xyz_mm[a] - shape.xyz_mm[b])))
        kept_mm: list[float] = []
        for one_mm in lengths_mm:
            if all(abs(one_mm - two_mm) > half_mm + slip_rule("made alike") for two_mm in kept_mm):
                kept_mm.append(one_mm)
        found[frozenset((positions.features[a], positions.features[b]))] = ToldDistance(tuple(kept_mm), half_mm)
    mine = {feature.feature: feature for feature in side.features}
    for one in centre_distances(mine, side.readings)[0]:
        ends = frozenset((one.from_feature, one.to_feature))
        found[ends] = ToldDistance((one.length_mm,), math.sqrt(3.0) * one.sigma_mm)
    return found


def leaning(side: Side, other: Mapping[Pair, ToldDistance], called: Mapping[str, str]) -> dict[str, bool]:
    """Whether each reading agrees with the same distance on the other part, where that is known."""
    mine = {feature.feature: feature for feature in side.features}
    rows = {row.reading: row for row in current(side.readings)}
    read = [one for one in centre_distances(mine, side.readings)[0] if one.reading in rows]
    return {one.reading.reading: one.agrees for one in _held(read, rows, other, called)}


def doubted(
    side: Side, positions: Positions, other: Mapping[Pair, ToldDistance], called: Mapping[str, str], other_part: str
) -> tuple[Suspect, ...]:
    """Find the readings of a part that a slip explains better than another shape does.

    A reading is doubted where it differs from the same distance on the other part, its own part's readings do not
    confirm it, nobody read it twice, and a plain slip explains it, or it is the only one of several that differs. Not
    where others at the same hole differ too and no plain slip explains those: then the hole is elsewhere.

    Parameters
    ----------
    side, positions
        The part whose readings are looked at.
    other
        The other part's distances, by its own feature ids.
    called
        Its feature for each of this part's; where none is given, whichever agree best.
    other_part
        Its id, for the words.
    """
    mine = {feature.feature: feature for feature in side.features}
    rows = {row.reading: row for row in current(side.readings)}
    read = [one for one in centre_distances(mine, side.readings)[0] if one.reading in rows]
    if not read or not other:
        return ()
    found: dict[str, Suspect] = {}
    for pairing in [called] if called else _pairings(read, other):
        held = _held(read, rows, other, pairing)
        for suspect in _doubted_as_paired(held, side, positions, other, pairing, other_part):
            found.setdefault(suspect.reading, suspect)
    return tuple(found.values())


def _held(
    read: Sequence[Distance], rows: Mapping[str, Reading], other: Mapping[Pair, ToldDistance], called: Mapping[str, str]
) -> list[ComparedReading]:
    held = []
    for one in read:
        there = frozenset(called.get(end, "") for end in (one.from_feature, one.to_feature))
        told = other.get(there)
        if told is not None:
            held.append(ComparedReading(rows[one.reading], one, told, *_off_and_near(one, told)))
    return held


def _off_and_near(one: Distance, told: ToldDistance) -> tuple[float, float]:
    near_mm = math.sqrt(3.0) * one.sigma_mm + told.within_mm + slip_rule("made alike")
    return one.length_mm - told.nearest_mm(one.length_mm), near_mm


def _doubted_as_paired(
    held: Sequence[ComparedReading],
    side: Side,
    positions: Positions,
    other: Mapping[Pair, ToldDistance],
    called: Mapping[str, str],
    other_part: str,
) -> list[Suspect]:
    differ = [one for one in held if not one.agrees]
    confirmed = {one.reading.reading for one in differ if _confirmed(one, side, positions)}
    # One that its own part confirms is no slip: there a hole is elsewhere.
    slips = {
        one.reading.reading: None if one.reading.reading in confirmed else _slip(one, other, called) for one in differ
    }
    agree = sum(one.agrees for one in held)
    alone = len(differ) == 1 and agree >= slip_rule("fewest beside")
    found = []
    for one in differ:
        if one.reading.reading in confirmed:
            continue
        slip = slips[one.reading.reading]
        beside = [slips[two.reading.reading] for two in differ if two is not one and two.ends & one.ends]
        plain = slip is not None and all(_by_itself(slip, two) for two in beside)
        if plain or alone:
            found.append(_suspect(one, slip, side.part.part, other_part, agree))
    return found


def _by_itself(slip: Slip, beside: Slip | None) -> bool:
    """Whether two readings at one hole may both be slips: not by the tape, as a hole elsewhere changes both so too."""
    return beside is not None and "tape" not in (slip.kind, beside.kind)


def _slip(one: ComparedReading, other: Mapping[Pair, ToldDistance], called: Mapping[str, str]) -> Slip | None:
    shift_mm = one.distance.length_mm - value_mm(one.reading)
    elsewhere = {}
    ends = one.distance.from_feature, one.distance.to_feature
    for end, stays in (ends, ends[::-1]):
        for name, there in called.items():
            told = other.get(frozenset((called.get(stays, ""), there)))
            if name not in (end, stays) and told is not None:
                elsewhere[f"{stays} to {name}"] = told.nearest_mm(one.distance.length_mm) - shift_mm
    meant = (slip_of(one.reading, told_mm - shift_mm, one.near_mm, elsewhere) for told_mm in one.told.lengths_mm)
    return next((slip for slip in meant if slip is not None), None)


def _confirmed(one: ComparedReading, side: Side, positions: Positions) -> bool:
    """Whether somebody read it twice, or the other readings of its part would show a slip of that size and do not."""
    same = [
        row for row in (*side.readings, *side.replaced)
        if row.quantity == one.reading.quantity and row.reading != one.reading.reading
        and frozenset((row.from_feature, row.to_feature)) == one.ends
    ]  # fmt: skip
    if any(abs(value_mm(row) - value_mm(one.reading)) <= one.near_mm for row in same):
        return True
    if positions.degrees_of_freedom < SPARE or any(not suspect.left_out for suspect in positions.suspects):
        return False
    # Left out, not weighed by its redundancy: a slip may bend the shape into a line, where all look checked.
    rest = replace(side, readings=tuple(row for row in side.readings if row.reading != one.reading.reading))
    told = distances_of(rest, adjust(side.part.part, side.features, rest.readings)).get(one.ends)
    if told is None:
        return False
    off_mm, near_mm = _off_and_near(one.distance, told)
    # Nor where the rest allow what the other part tells as well: then the slip may have chosen the layout.
    reach_mm = told.within_mm + one.near_mm
    allowed = any(abs(length_mm - one.told.nearest_mm(length_mm)) <= reach_mm for length_mm in told.lengths_mm)
    return abs(off_mm) <= near_mm and not allowed


def _suspect(one: ComparedReading, slip: Slip | None, part: str, other_part: str, agree: int) -> Suspect:
    row, ends = one.reading, f"{one.distance.from_feature} to {one.distance.to_feature}"
    head = f"{row.reading} of {part} ({ends}): {row.value:g} {row.unit}"
    told = " or ".join(f"{told_mm:.1f}" for told_mm in one.told.lengths_mm)
    where = f"the same two stand {told} mm apart on {other_part}"
    if slip is not None and slip.kind == "hole":
        says = f"{head}, where {where}; {slip.says}?"
    elif slip is not None:
        says = f"{head}? {slip.says} would agree with the other part: {where}."
    else:
        says = f"{head}, and {where}: it is the only one of {agree + 1} that differs."
    return Suspect(
        row.reading, one.off_mm / one.distance.sigma_mm, one.off_mm,
        f"{says} Read it again: until then nothing rests on it", part=part, quantity=row.quantity,
        from_feature=row.from_feature, to_feature=row.to_feature, by_other=True,
        likely=2.0 if slip is not None else 1.75,
    )  # fmt: skip


def _pairings(read: Sequence[Distance], other: Mapping[Pair, ToldDistance]) -> list[dict[str, str]]:
    """Ways of giving each feature one of the other part's so that all readings but one, or all, agree."""
    # Of fewer readings nearly every pairing leaves out one.
    if len(read) <= slip_rule("fewest beside"):
        return []
    names = _in_reach(read)
    theirs = sorted({name for pair in other for name in pair})
    if len(theirs) < len(names):
        return []
    found: list[dict[str, str]] = []
    if not _extend({}, names, theirs, read, other, 1, found, [0]):
        return []
    alike = [called for called in found if not _disagree(called, read, other)]
    # A pairing that all agree with settles it only where each of them was there to be compared.
    if any(_compared(called, read, other) == len(read) for called in alike):
        return []
    return [called for called in found if called not in alike]


def _compared(called: Mapping[str, str], read: Sequence[Distance], other: Mapping[Pair, ToldDistance]) -> int:
    return sum(frozenset((called[one.from_feature], called[one.to_feature])) in other for one in read)


def _in_reach(read: Sequence[Distance]) -> list[str]:
    """The features in an order in which each has as many readings to those before it as can be."""
    names = sorted({end for one in read for end in (one.from_feature, one.to_feature)})
    order: list[str] = []
    while len(order) < len(names):
        rest = [name for name in names if name not in order]
        order.append(max(rest, key=lambda name: (_ties(name, order, read), _ties(name, names, read))))
    return order


def _ties(name: str, among: Sequence[str], read: Sequence[Distance]) -> int:
    return sum(
        name in (one.from_feature, one.to_feature) and (one.from_feature in among or one.to_feature in among)
        for one in read
    )


def _extend(
    called: dict[str, str], names: Sequence[str], theirs: Sequence[str], read: Sequence[Distance],
    other: Mapping[Pair, ToldDistance], most_off: int, found: list[dict[str, str]], tried: list[int],
) -> bool:  # fmt: skip
    """Search depth first; False where it takes too long."""
    if len(called) == len(names):
        found.append(dict(called))
        return True
    name = names[len(called)]
    for there in theirs:
        tried[0] += 1
        if tried[0] > MOST_TRIED:
            found.clear()
            return False
        if there in called.values():
            continue
        called[name] = there
        near = _disagree(called, read, other) <= most_off
        if near and not _extend(called, names, theirs, read, other, most_off, found, tried):
            return False
        del called[name]
    return True


def _disagree(called: Mapping[str, str], read: Sequence[Distance], other: Mapping[Pair, ToldDistance]) -> int:
    count = 0
    for one in read:
        if one.from_feature in called and one.to_feature in called:
            told = other.get(frozenset((called[one.from_feature], called[one.to_feature])))
            if told is not None:
                off_mm, near_mm = _off_and_near(one, told)
                count += abs(off_mm) > near_mm
    return count
