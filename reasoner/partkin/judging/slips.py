"""Readings of a part held against the same distances on the other part: there a slip shows before anything else."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from partkin.model.build import Reading
from partkin.model.known import Side
from partkin.model.positions import Positions, Suspect
from partkin.positions.budget import covariance_mm2, length_row
from partkin.positions.lengths import Distance, centre_distances, current, value_mm
from partkin.positions.slips import Slip, slip_of
from partkin.tables import slip_rule

# A slip of a reading that its own part's readings check this well would have shown there.
SHOWS = 4.0
# One reading to spare may be used up by a shape that a slip has bent.
SPARE, CHECKED = 2, 0.25
# Pairings that are tried where the sheets give none.
MOST_TRIED = 20_000
Pair = frozenset[str]


@dataclass(frozen=True)
class Told:
    """A distance of the other part between the same two features, with its greatest error, in mm."""

    length_mm: float
    within_mm: float


@dataclass(frozen=True)
class Held:
    """A reading with what the other part says of it. `off_mm`: read minus told; `near_mm`: how near is alike."""

    reading: Reading
    distance: Distance
    told: Told
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


def distances_of(side: Side, positions: Positions) -> dict[Pair, Told]:
    """Every distance of a part that is read, or follows from its places in every layout, by the two features."""
    found: dict[Pair, Told] = {}
    covariance = covariance_mm2(positions)
    shapes = positions.layouts or (positions.xyz_mm,)
    for a, b in combinations(range(len(positions.features)), 2):
        row = length_row(positions, a, b)
        half_mm = math.sqrt(3.0 * max(0.0, float(row @ covariance @ row)))
        lengths_mm = [float(np.linalg.norm(shape[a] - shape[b])) for shape in shapes]
        if max(lengths_mm) - min(lengths_mm) <= half_mm + slip_rule("made alike"):
            found[frozenset((positions.features[a], positions.features[b]))] = Told(lengths_mm[0], half_mm)
    mine = {feature.feature: feature for feature in side.features}
    for one in centre_distances(mine, side.readings)[0]:
        found[frozenset((one.from_feature, one.to_feature))] = Told(one.length_mm, math.sqrt(3.0) * one.sigma_mm)
    return found


def leaning(
    side: Side, other: Mapping[Pair, Told], called: Mapping[str, str]
) -> dict[str, bool]:
    """Whether each reading agrees with the same distance on the other part, where that is known."""
    mine = {feature.feature: feature for feature in side.features}
    rows = {row.reading: row for row in current(side.readings)}
    read = [one for one in centre_distances(mine, side.readings)[0] if one.reading in rows]
    return {one.reading.reading: one.agrees for one in _held(read, rows, other, called)}


def doubted(
    side: Side, positions: Positions, other: Mapping[Pair, Told], called: Mapping[str, str], other_part: str
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
    read: Sequence[Distance], rows: Mapping[str, Reading], other: Mapping[Pair, Told], called: Mapping[str, str]
) -> list[Held]:
    held = []
    for one in read:
        there = frozenset(called.get(end, "") for end in (one.from_feature, one.to_feature))
        told = other.get(there)
        if told is not None:
            near_mm = math.sqrt(3.0) * one.sigma_mm + told.within_mm + slip_rule("made alike")
            held.append(Held(rows[one.reading], one, told, one.length_mm - told.length_mm, near_mm))
    return held


def _doubted_as_paired(
    held: Sequence[Held], side: Side, positions: Positions, other: Mapping[Pair, Told], called: Mapping[str, str],
    other_part: str,
) -> list[Suspect]:  # fmt: skip
    differ = [one for one in held if not one.agrees and not _confirmed(one, side, positions)]
    slips = {one.reading.reading: _slip(one, other, called) for one in differ}
    agree = sum(one.agrees for one in held)
    alone = len(differ) == 1 and agree >= slip_rule("fewest beside")
    found = []
    for one in differ:
        slip = slips[one.reading.reading]
        beside = [slips[two.reading.reading] for two in differ if two is not one and two.ends & one.ends]
        plain = slip is not None and all(_by_itself(slip, two) for two in beside)
        if plain or alone:
            found.append(_suspect(one, slip, side.part.part, other_part, agree))
    return found


def _by_itself(slip: Slip, beside: Slip | None) -> bool:
    """Whether two readings at one hole may both be slips: not by the tape, as a hole elsewhere changes both so too."""
    return beside is not None and "tape" not in (slip.kind, beside.kind)


def _slip(one: Held, other: Mapping[Pair, Told], called: Mapping[str, str]) -> Slip | None:
    shift_mm = one.distance.length_mm - value_mm(one.reading)
    elsewhere = {}
    ends = one.distance.from_feature, one.distance.to_feature
    for end, stays in (ends, ends[::-1]):
        for name, there in called.items():
            told = other.get(frozenset((called.get(stays, ""), there)))
            if name not in (end, stays) and told is not None:
                elsewhere[f"{stays} to {name}"] = told.length_mm - shift_mm
    return slip_of(one.reading, one.told.length_mm - shift_mm, one.near_mm, elsewhere)


def _confirmed(one: Held, side: Side, positions: Positions) -> bool:
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
    seen = next((row for row in positions.observed if row.reading == one.reading.reading), None)
    if seen is None or not seen.used or seen.redundancy < CHECKED:
        return False
    return abs(one.off_mm) * math.sqrt(seen.redundancy) > SHOWS * seen.sigma_mm


def _suspect(one: Held, slip: Slip | None, part: str, other_part: str, agree: int) -> Suspect:
    row, ends = one.reading, f"{one.distance.from_feature} to {one.distance.to_feature}"
    head = f"{row.reading} of {part} ({ends}): {row.value:g} {row.unit}"
    where = f"the same two stand {one.told.length_mm:.1f} mm apart on {other_part}"
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


def _pairings(read: Sequence[Distance], other: Mapping[Pair, Told]) -> list[dict[str, str]]:
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


def _compared(called: Mapping[str, str], read: Sequence[Distance], other: Mapping[Pair, Told]) -> int:
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
    other: Mapping[Pair, Told], most_off: int, found: list[dict[str, str]], tried: list[int],
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


def _disagree(called: Mapping[str, str], read: Sequence[Distance], other: Mapping[Pair, Told]) -> int:
    count = 0
    for one in read:
        if one.from_feature in called and one.to_feature in called:
            told = other.get(frozenset((called[one.from_feature], called[one.to_feature])))
            if told is not None:
                near_mm = math.sqrt(3.0) * one.sigma_mm + told.within_mm + slip_rule("made alike")
                count += abs(one.length_mm - told.length_mm) > near_mm
    return count
