"""Readings held against the same distances on the other part, and sizes against what goes through: there slips show."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from partkin.fit.mating import OPENINGS, fastener_mm, solid_mm
from partkin.model.build import Feature, Reading
from partkin.model.known import Known, Side
from partkin.model.positions import Positions, Suspect
from partkin.positions import adjust
from partkin.positions.budget import covariance_mm2
from partkin.positions.lengths import Distance, centre_distances, current, dimensions, value_mm
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


class ToldDistance(NamedTuple):
    """A distance between two features in each layout that a part's readings allow, with its greatest error, in mm."""

    lengths_mm: tuple[float, ...]
    within_mm: float

    def nearest_mm(self, length_mm: float) -> float:
        """Return the one that is nearest to a length."""
        return min(self.lengths_mm, key=lambda one: abs(one - length_mm))


class ComparedReading(NamedTuple):
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
    n, d = len(positions.features), positions.dims
    rows = np.triu_indices(n, 1)
    each = [_lengths(shape.xyz_mm, covariance_mm2(shape).reshape(n, d, n, d), *rows) for shape in shapes]
    half_mm = DERIVED * np.max([spread_mm for _, spread_mm in each], axis=0)
    for at, (a, b) in enumerate(zip(*rows, strict=True)):
        kept_mm: list[float] = []
        for one_mm in (float(lengths_mm[at]) for lengths_mm, _ in each):
            if all(abs(one_mm - two_mm) > half_mm[at] + slip_rule("made alike") for two_mm in kept_mm):
                kept_mm.append(one_mm)
        pair = frozenset((positions.features[a], positions.features[b]))
        found[pair] = ToldDistance(tuple(kept_mm), float(half_mm[at]))
    for one in _distances(side):
        ends = frozenset((one.from_feature, one.to_feature))
        found[ends] = ToldDistance((one.length_mm,), math.sqrt(3.0) * one.sigma_mm)
    return found


def _lengths(
    xyz_mm: np.ndarray, covariance_mm2: np.ndarray, a: np.ndarray, b: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Distances between points (m,) and their standard uncertainties; covariance (n, d, n, d)."""
    apart = xyz_mm[a] - xyz_mm[b]
    length_mm = np.linalg.norm(apart, axis=1)
    way = apart / np.maximum(length_mm, 1e-12)[:, None]
    own, other = covariance_mm2[a, :, a] + covariance_mm2[b, :, b], covariance_mm2[a, :, b]
    variance_mm2 = np.einsum("mi,mij,mj->m", way, own - other - other.transpose(0, 2, 1), way)
    return length_mm, np.sqrt(np.maximum(variance_mm2, 0.0))


def _distances(side: Side) -> Sequence[Distance]:
    return centre_distances({feature.feature: feature for feature in side.features}, side.readings)[0]


def leaning(side: Side, other: Mapping[Pair, ToldDistance], called: Mapping[str, str]) -> dict[str, bool]:
    """Whether each reading agrees with the same distance on the other part, where that is known."""
    return {one.reading.reading: one.agrees for one in _held(side, other, called)}


def doubted(
    side: Side, positions: Positions, other: Mapping[Pair, ToldDistance], called: Mapping[str, str], other_part: str
) -> tuple[Suspect, ...]:
    """Find the readings of a part that a slip explains better than another shape does.

    A reading is doubted where it differs from the same distance on the other part, its own part's readings do not
    confirm it, nobody read it twice, and a plain slip explains it, or it is the only one of several that differs. Not
    where others at the same hole differ too and no plain slip explains those: then the hole is elsewhere.

    `other`: the other part's distances, by its own feature ids. `called`: its feature for each of this part's; where
    none is given, whichever agree best.
    """
    found: dict[str, Suspect] = {}
    for pairing in [called] if called else _pairings([one for _, one in _read(side)], other):
        for suspect in _doubted_as_paired(side, positions, other, pairing, other_part):
            found.setdefault(suspect.reading, suspect)
    return tuple(found.values())


def _read(side: Side) -> list[tuple[Reading, Distance]]:
    """The distances that stand, each with its reading."""
    rows = {row.reading: row for row in current(side.readings)}
    return [(rows[one.reading], one) for one in _distances(side) if one.reading in rows]


def _held(side: Side, other: Mapping[Pair, ToldDistance], called: Mapping[str, str]) -> list[ComparedReading]:
    held = []
    for row, one in _read(side):
        told = other.get(frozenset(called.get(end, "") for end in (one.from_feature, one.to_feature)))
        if told is not None:
            held.append(ComparedReading(row, one, told, *_off_and_near(one, told)))
    return held


def _off_and_near(one: Distance, told: ToldDistance) -> tuple[float, float]:
    near_mm = math.sqrt(3.0) * one.sigma_mm + told.within_mm + slip_rule("made alike")
    return one.length_mm - told.nearest_mm(one.length_mm), near_mm


def _doubted_as_paired(
    side: Side, positions: Positions, other: Mapping[Pair, ToldDistance], called: Mapping[str, str], other_part: str
) -> Iterator[Suspect]:
    held = _held(side, other, called)
    differ = [one for one in held if not one.agrees]
    # One that its own part confirms is no slip: there a hole is elsewhere.
    confirmed = {one.reading.reading for one in differ if _confirmed(one, side, positions)}
    slips = {one.reading.reading: _slip(one, other, called) for one in differ if one.reading.reading not in confirmed}
    agree = sum(one.agrees for one in held)
    alone = len(differ) == 1 and agree >= slip_rule("fewest beside")
    for one in (one for one in differ if one.reading.reading in slips):
        slip = slips[one.reading.reading]
        beside = [slips.get(two.reading.reading) for two in differ if two is not one and two.ends & one.ends]
        # Of two readings at one hole both may be slips, but not by the tape: a hole elsewhere changes both so too.
        plain = slip is not None and all(two is not None and "tape" not in (slip.kind, two.kind) for two in beside)
        if plain or alone:
            yield _suspect(one, slip, side.part.part, other_part, agree)


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
    tried = 0

    def extend(called: dict[str, str]) -> bool:
        """Search depth first; False where it takes too long."""
        nonlocal tried
        if len(called) == len(names):
            found.append(called)
            return True
        for there in theirs:
            tried += 1
            if tried > MOST_TRIED:
                return False
            more = {**called, names[len(called)]: there}
            if there not in called.values() and _disagree(more, read, other) <= 1 and not extend(more):
                return False
        return True

    if not extend({}):
        return []
    alike = [called for called in found if not _disagree(called, read, other)]
    # A pairing that all agree with settles it only where each of them was there to be compared.
    ends = [[frozenset((one[row.from_feature], one[row.to_feature])) in other for row in read] for one in alike]
    return [] if any(map(all, ends)) else [called for called in found if called not in alike]


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


def _disagree(called: Mapping[str, str], read: Sequence[Distance], other: Mapping[Pair, ToldDistance]) -> int:
    count = 0
    for one in read:
        if one.from_feature in called and one.to_feature in called:
            told = other.get(frozenset((called[one.from_feature], called[one.to_feature])))
            if told is not None:
                off_mm, near_mm = _off_and_near(one, told)
                count += abs(off_mm) > near_mm
    return count


WIDE = (*OPENINGS, "peg hole", "clip hole")
# Sizes of one part are alike within this share, and two that are alike confirm each other.
ALIKE = 0.25


def odd_sizes(known: Known) -> tuple[Suspect, ...]:
    """Find the sizes that cannot well go with what they go with; each counts as not known until it is read again.

    Of a hole or slot and what goes through it (its own thread or fastener_mm, the fixing that it goes on, or any) both
    are doubted, but for one that another feature of its part confirms, that was told twice, or that a thread tells.
    Where it is not told what goes through, a decimal sign or another unit has to explain it: a hole may be for
    something else.
    """
    sides = {side.part.part: side for side in (known.donor, known.host, known.original) if side is not None}
    found: dict[tuple[str, str], Suspect] = {}
    for side in sides.values():
        for feature in side.features:
            for solid, solid_side, told in _pairs(feature, side, known):
                for suspect, slip in _odd(feature, side, solid, solid_side):
                    supposed = suspect.part == known.donor.part.part and suspect.from_feature in known.supposed
                    if not supposed and (told or (slip is not None and feature.need != "spare")):
                        found.setdefault((suspect.part or "", suspect.from_feature or ""), suspect)
    return tuple(found.values())


def _pairs(feature: Feature, side: Side, known: Known) -> Iterator[tuple[Feature, Side, bool]]:
    """What goes through an opening, and whether that is told; else the nearest in size of all that could."""
    if feature.kind not in WIDE:
        return
    if fastener_mm(feature) is not None:
        yield feature, side, True
        return
    others = known.host if side is known.donor else known.donor
    solids = [other for other in others.features if other.kind not in WIDE]
    told = [o for o in solids if feature.goes_on == o.feature or o.goes_on == feature.feature]
    across_mm = _across_mm(feature, side)
    sized = [(size, o) for o in told or solids if (size := _solid_mm(o, others)) is not None]
    if across_mm is not None and sized:
        yield min(sized, key=lambda one: abs(one[0] - across_mm))[1], others, bool(told)


def _across_mm(feature: Feature, side: Side) -> float | None:
    return dimensions(feature, side.readings).across_mm


def _solid_mm(feature: Feature, side: Side) -> float | None:
    """Diameter of what goes through: of a bolt by its hole's thread or fastener_mm, else its own size or thread."""
    if feature.kind in WIDE:
        return fastener_mm(feature)
    across_mm = _across_mm(feature, side)
    return solid_mm(feature) if across_mm is None else across_mm


def _odd(opening: Feature, side: Side, solid: Feature, solid_side: Side) -> Iterator[tuple[Suspect, Slip | None]]:
    wide_mm, through_mm = _across_mm(opening, side), _solid_mm(solid, solid_side)
    if wide_mm is None or through_mm is None:
        return
    if slip_rule("hole narrowest") * through_mm <= wide_mm <= slip_rule("hole widest") * through_mm:
        return
    what = f"{solid.feature} of {solid_side.part.part}" if solid is not opening else "what goes through it"
    if not _size_confirmed(opening, wide_mm, side):
        yield _odd_size(opening, side, wide_mm, 1.2 * through_mm, f"{what} is {through_mm:g} mm")
    if solid is not opening and not solid.thread and not _size_confirmed(solid, through_mm, solid_side):
        beside = f"{opening.feature} of {side.part.part} is {wide_mm:g} mm"
        yield _odd_size(solid, solid_side, through_mm, wide_mm / 1.2, beside)


def _size_confirmed(feature: Feature, across_mm: float, side: Side) -> bool:
    """Whether another feature of its kind is as wide, or it was told twice."""
    others = [f for f in side.features if f.kind == feature.kind and f.feature != feature.feature]
    sizes = [_across_mm(other, side) for other in others]
    if any(size is not None and abs(size - across_mm) <= ALIKE * across_mm for size in sizes):
        return True
    told = [value_mm(row) for row in (*side.readings, *side.replaced) if _tells(row, feature)]
    told += [feature.across_mm] if feature.across_mm is not None else []
    return sum(abs(one - across_mm) <= 0.5 * ALIKE * across_mm for one in told) > 1


def _tells(row: Reading, feature: Feature) -> bool:
    return row.quantity == "across" and row.from_feature == feature.feature


def _odd_size(
    feature: Feature, side: Side, across_mm: float, usual_mm: float, beside: str
) -> tuple[Suspect, Slip | None]:
    read = [row for row in side.readings if _tells(row, feature)]
    row = read[-1] if read else Reading(side.part.part, "", "across", across_mm, "mm", feature.feature)
    slip = slip_of(row, usual_mm, 0.5 * usual_mm)
    slip = None if slip is not None and slip.kind == "tape" else slip
    meant = f"; {slip.says}?" if slip is not None else "."
    says = (
        f"{feature.feature} of {side.part.part} is {row.value:g} {row.unit} across, and {beside}{meant} Read it "
        f"again: until then its size counts as not known"
    )
    name = row.reading or f"{feature.feature}.across_mm"
    ends = side.part.part, "across", feature.feature
    return Suspect(name, 0.0, across_mm - usual_mm, says, True, *ends, likely=3.0), slip
