"""What may be done at each fixing, from nothing to a new hole, and how far each reaches."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from partkin.adaptation.limits import LICENSED, SAFETY, Refusal, refuse_cut
from partkin.adaptation.question import Bench
from partkin.adaptation.sizes import (
    Opening,
    PairSizes,
    Rim,
    clearance_hole_mm,
    drill_up_mm,
    grid_travels_mm,
    largest_opening_mm,
    opening_room,
    rims_of,
    sizes_of,
    thread_mm,
    travel_room,
)
from partkin.fit.segments import centre_line
from partkin.model.adapting import ALONG_Z, Bracket
from partkin.model.build import Feature
from partkin.model.fitting import Option, Spot
from partkin.tables.work import edge_rule

# A rim is an arc of this radius: a line, as near as makes no difference, that the geometry takes as a pair.
RIM_RADIUS_MM = 1000.0
# Common practice, no source: holes to drill for a bracket of which nobody has said how it is held.
BRACKET_HOLES = 2
# Host features that a plain new hole in the donor goes on.
TAKE_A_HOLE = ("stud", "tapped hole", "captive nut", "hole", "slot", "peg")


class ReachShape(NamedTuple):
    """Where a fixing may stand around the feature once a job is done, workmanship taken off.

    A disc of `allowed_mm` around the centre line, which is lengthened by `back_mm` and `forward_mm` along a
    slot's own direction. A new slot adds `travel_mm` in whatever direction, but not beyond its `rims`.
    """

    allowed_mm: float
    travel_mm: float = 0.0
    rims: tuple[Rim, ...] = ()
    back_mm: float = 0.0
    forward_mm: float = 0.0

    @property
    def outer_mm(self) -> float:
        """Play of the disc that holds the whole shape."""
        return self.allowed_mm + self.travel_mm


class Choice(NamedTuple):
    """One thing that may be done at a fixing; `shape` None: the pair no longer decides where the part lies.

    `across_mm`: the largest diameter (open out), the width (slot), the diameter (new hole).
    """

    do: tuple[str, ...]
    side: str
    shape: ReachShape | None
    minutes: float
    cost: float
    across_mm: float | None = None
    refusal: Refusal | None = None
    bracket: Bracket | None = None

    @property
    def cuts(self) -> str | None:
        """The job that takes material off, if one does."""
        return next((do for do in self.do if do in ("open out", "slot", "new hole", "thread insert")), None)


class FixingChoices(NamedTuple):
    """One fixing with the feature that goes on it (None: nothing does) and what may be done there."""

    fixing: Spot
    feature: Spot | None
    host: Feature
    donor: Feature | None
    sizes: PairSizes | None
    choices: tuple[Choice, ...]
    bolt_mm: float | None = None

    @property
    def share_of_new_hole_mm(self) -> float | None:
        """Play that a new hole's pair has besides the hole's own; None: the bolt does not go through the host."""
        if self.host.kind in ("hole", "slot"):
            across_mm, bolt_mm = self.host.across_mm, self.bolt_mm
            return None if across_mm is None or bolt_mm is None or across_mm < bolt_mm else (across_mm - bolt_mm) / 2.0
        return self.host.float_mm or 0.0 if self.host.kind == "captive nut" else 0.0


def holds(choice: Choice, other: Choice) -> bool:
    """Whether `other` reaches wherever `choice` does (False where that is not sure)."""
    if other.shape is None or choice.shape is None:
        return other.shape is None
    inner, outer = choice.shape, other.shape
    lengthened = inner.back_mm + inner.forward_mm > 0.0
    return (
        inner.outer_mm <= outer.outer_mm + 1e-12
        and (not lengthened or choice.side == other.side)
        and inner.back_mm <= outer.back_mm + 1e-12
        and inner.forward_mm <= outer.forward_mm + 1e-12
        and all(_keeps_to(choice, rim, other.side) for rim in outer.rims)
    )


def _keeps_to(choice: Choice, rim: Rim, side: str) -> bool:
    """Whether a choice keeps to this side of a rim: by a rim of its own, or by its size."""
    shape = choice.shape
    assert shape is not None
    if choice.side == side and any((r.x, r.y) == (rim.x, rim.y) and r.room_mm <= rim.room_mm for r in shape.rims):
        return True
    # How far every point of a disc around the hole may lie out and still be on this side of the rim's arc.
    reach_mm = max(0.0, rim.room_mm - shape.outer_mm**2 / (2.0 * RIM_RADIUS_MM))
    return shape.outer_mm <= reach_mm and shape.back_mm + shape.forward_mm == 0.0


def enclosing(choices: Sequence[Choice]) -> Choice:
    """Make up a choice that holds all of these, none of which does without the pair: for proofs alone."""
    largest = max(choices, key=lambda one: one.shape.outer_mm if one.shape else 0.0)
    shapes = [one.shape for one in choices if one.shape is not None]
    assert largest.shape is not None
    rims = []
    for rim in largest.shape.rims:
        others = [one for one in choices if one is not largest and not _keeps_to(one, rim, largest.side)]
        reach_mm = max((one.shape.outer_mm for one in others if one.shape), default=0.0)
        room_mm = max(rim.room_mm, reach_mm + reach_mm**2 / (2.0 * RIM_RADIUS_MM) + 1e-9)
        if not any(one.shape and (one.shape.back_mm or one.shape.forward_mm) for one in others):
            rims.append(rim._replace(room_mm=room_mm))
    back_mm, forward_mm = max(one.back_mm for one in shapes), max(one.forward_mm for one in shapes)
    shape = largest.shape._replace(rims=tuple(rims), back_mm=back_mm, forward_mm=forward_mm)
    return largest._replace(shape=shape)


def _choice(
    bench: Bench,
    do: tuple[str, ...],
    side: str,
    shape: ReachShape | None,
    across_mm: float | None = None,
    refusal: Refusal | None = None,
) -> Choice:
    """Make a choice with its minutes and material."""
    rows = [bench.work(job, side) for job in do]
    return Choice(do, side, shape, sum(r.minutes for r in rows), sum(r.cost for r in rows), across_mm, refusal)


def as_it_is(bench: Bench, fixing: Spot, feature: Spot, option: Option | None) -> FixingChoices:
    """One pair before anything is done to it: no choices."""
    host, donor = bench.host_feature[fixing.id], bench.donor_feature[feature.id]
    sizes = sizes_of(bench.question, host, donor, option)
    return FixingChoices(fixing, feature, host, donor, sizes, (), sizes.bolt_mm if sizes else None)


def unit_of_pair(bench: Bench, fixing: Spot, feature: Spot, option: Option | None) -> FixingChoices:
    """List what may be done at one pair; refused choices are listed with their refusal."""
    unit = as_it_is(bench, fixing, feature, option)
    sizes = unit.sizes
    choices: list[Choice] = []
    if option is not None and option.allowed_mm >= 0.0:
        choices.append(_choice(bench, (), "donor", ReachShape(option.allowed_mm)))
    base: tuple[str, ...] = ()
    if option is None and sizes is not None and sizes.other_bolt and sizes.openings:
        base, plain = ("other bolt",), sizes.openings[0]
        play_mm = plain.play_mm(plain.across_mm, sizes.bolt_mm)
        if play_mm >= 0.0:
            choices.append(_choice(bench, base, plain.side, ReachShape(play_mm)))
    for side in ("donor", "host") if bench.question.settings.adapt_host else ("donor",):
        opening = sizes.opening(side) if sizes else None
        if opening is not None and sizes is not None:
            spot = feature if side == "donor" else fixing
            larger = _Larger(bench, spot, opening, sizes.bolt_mm, base)
            choices += (*larger.openings(), *larger.slots())
    if option is None:
        choices += _inserts(bench, unit.host, bench.donor_feature[feature.id])
    choices += _without(bench, unit)
    # What a permitted choice beats in reach for no more work is left out; the smallest reach comes first.
    rivals = list(enumerate(choices))
    kept = [c for n, c in rivals if not any(_beats(other, c, first=at < n) for at, other in rivals if at != n)]
    kept.sort(key=lambda c: (c.shape is None, c.shape.outer_mm if c.shape else 0.0))
    return unit._replace(choices=tuple(kept))


def _beats(other: Choice, choice: Choice, first: bool) -> bool:
    """Whether `other` makes `choice` pointless. Leaving a pair out never makes work on it pointless."""
    if other.refusal is not None or (other.shape is None) != (choice.shape is None):
        return False
    if choice.do in (("thread insert",), ("move over",)):
        return False  # A thinner bolt holds less, a new hole may find no room: both are worth offering.
    dearer = other.minutes > choice.minutes or other.cost > choice.cost
    if dearer or not holds(choice, other):
        return False
    equal = (other.minutes, other.cost) == (choice.minutes, choice.cost) and holds(other, choice)
    return first or not equal or choice.refusal is not None


class _Larger:
    """How the hole of one side may be made larger: opened out, slotted, or a slot made longer."""

    def __init__(self, bench: Bench, spot: Spot, opening: Opening, bolt_mm: float, base: tuple[str, ...]) -> None:
        self.bench, self.spot, self.opening, self.bolt_mm, self.base = bench, spot, opening, bolt_mm, base
        self.side, self.limits = opening.side, bench.limits(opening.side)

    def play_mm(self, do: str, across_mm: float) -> float:
        """Play with the hole that wide, what the hand may miss taken off."""
        return self.opening.play_mm(across_mm, self.bolt_mm) - self.bench.tolerance_mm(do, self.side)

    def stopped(self, do: str) -> Refusal | None:
        return self.limits.may(do) or self.limits.untouchable.get(self.spot.id)

    def refuse(self, width_mm: float) -> Refusal | None:
        """Why a slot that wide may not even start at the hole."""
        return refuse_cut(self.limits, centre_line(self.spot), width_mm, self.bolt_mm, True, self.spot.id)

    def openings(self) -> Iterator[Choice]:
        do, now_mm, most_mm = "open out", self.opening.across_mm, largest_opening_mm(self.bolt_mm)
        room_mm, refusal = now_mm, self.stopped(do)
        if refusal is None:
            room_mm, refusal = opening_room(self.limits, self.spot, now_mm, self.bolt_mm)
        for across_mm, refused in ((room_mm, None), *(((most_mm, refusal),) if refusal else ())):
            play_mm = self.play_mm(do, across_mm)
            if across_mm > now_mm + 1e-9 and play_mm >= 0.0:
                yield _choice(self.bench, (*self.base, do), self.side, ReachShape(play_mm), across_mm, refused)

    def slots(self) -> Iterator[Choice]:
        if abs(self.spot.axis[2]) < ALONG_Z:
            return  # Its directions are not those of the part's own plane.
        miss_mm = self.bench.tolerance_mm("slot", self.side)
        now_mm, drilled_mm = self.opening.across_mm, self.bolt_mm + 2.0 * max(0.0, miss_mm - self.opening.share_mm)
        width_mm = max(now_mm, drill_up_mm(drilled_mm))
        longest_mm = edge_rule("longest slot").value * self.bolt_mm - 2.0 * self.spot.half_travel_mm - width_mm
        travels = grid_travels_mm(width_mm, longest_mm)
        if not travels or width_mm > max(now_mm, largest_opening_mm(self.bolt_mm)):
            return
        free, refusal = self._slot(width_mm, travels[-1]), self.stopped("slot")
        do, wide_mm = (*self.base, "slot"), width_mm
        if refusal is None:
            if self.spot.half_travel_mm > 0.0:
                shape, refusal = self._longer(free, width_mm, longest_mm)
            else:
                shape, wide_mm, refusal = self._hemmed(width_mm, longest_mm)
            if shape is not None:
                yield _choice(self.bench, do, self.side, shape, wide_mm)
        if refusal is not None:
            yield _choice(self.bench, do, self.side, free, width_mm, refusal)

    def _slot(self, width_mm: float, most_mm: float) -> ReachShape:
        """A slot with nothing in its way."""
        play_mm = self.play_mm("slot", width_mm)
        if self.spot.half_travel_mm > 0.0:
            return ReachShape(play_mm, back_mm=most_mm, forward_mm=most_mm)
        return ReachShape(play_mm, travel_mm=most_mm)

    def _longer(self, free: ReachShape, width_mm: float, longest_mm: float) -> tuple[ReachShape | None, Refusal | None]:
        """A slot that is there already, as far as there is room at either end."""
        wide = self.refuse(width_mm)
        if wide is not None:
            return None, wide
        back, forward = (tuple(map(float, end)) for end in centre_line(self.spot))
        angle_deg, spot = self.spot.angle_deg, replace(self.spot, half_travel_mm=0.0)
        (back_mm, why), (forward_mm, other_why) = (
            travel_room(self.limits, replace(spot, at_mm=end), width_mm, self.bolt_mm, longest_mm, along_deg)
            for end, along_deg in ((back, angle_deg + 180.0), (forward, angle_deg))
        )
        shape = free._replace(back_mm=back_mm, forward_mm=forward_mm) if back_mm + forward_mm > 0.0 else None
        return shape, why or other_why

    def _hemmed(self, width_mm: float, longest_mm: float) -> tuple[ReachShape | None, float, Refusal | None]:
        """A new slot, as far as edges, holes and zones let it run; with its width, and what keeps it short."""
        miss_mm, now_mm = self.bench.tolerance_mm("slot", self.side), self.opening.across_mm
        most_mm = grid_travels_mm(width_mm, longest_mm)[-1]
        near, _, refusal = rims_of(self.limits, self.spot, width_mm, self.bolt_mm, most_mm)
        if not near:
            # No rim is near, and yet the hole itself may stand off the part as drawn, or in an opening of it.
            start = self.refuse(width_mm)
            return (self._slot(width_mm, most_mm) if start is None else None), width_mm, start
        # A drill wider than need be: hemmed in, its length cannot be rounded up to the next whole step.
        width_mm = max(width_mm, drill_up_mm(self.bolt_mm + 2.0 * (miss_mm - self.opening.share_mm) + 0.5))
        travels, start = grid_travels_mm(width_mm, longest_mm), self.refuse(width_mm)
        if start is not None or not travels or width_mm > max(now_mm, largest_opening_mm(self.bolt_mm)):
            return None, width_mm, start or refusal
        rims, travel_mm, refusal = rims_of(self.limits, self.spot, width_mm, self.bolt_mm, travels[-1])
        if self.bench.question.task.dims == 3:
            # In space a rim is no pair: as far as any direction allows.
            travel_mm, rims = min([travel_mm, *(rim.room_mm for rim in rims)]), ()
        if travel_mm <= 0.0:
            return None, width_mm, refusal
        return self._slot(width_mm, travel_mm)._replace(rims=rims), width_mm, refusal


def _inserts(bench: Bench, host: Feature, donor: Feature) -> Iterator[Choice]:
    """Another thread in the donor's tapped hole, for the bolt that the host's hole is meant for."""
    bolt_mm = thread_mm(host)
    if donor.kind != "tapped hole" or bolt_mm is None or host.across_mm is None or host.across_mm < bolt_mm:
        return
    refusal = bench.donor.may("open out") or bench.donor.untouchable.get(donor.feature)
    yield _choice(bench, ("thread insert",), "donor", ReachShape((host.across_mm - bolt_mm) / 2.0), bolt_mm, refusal)


def _without(bench: Bench, unit: FixingChoices) -> Iterator[Choice]:
    """A new hole in place of the donor's own, or nothing at all."""
    if unit.feature is not None and unit.feature.must:
        return
    if not unit.fixing.must and unit.host.kind not in ("stud", "peg"):
        yield _choice(bench, ("leave unused",), "donor", None)
    yield from move_over(bench, unit)
    if unit.donor is None or unit.donor.kind in ("hole", "slot", "peg hole"):
        yield from new_hole(bench, unit)


def new_hole(bench: Bench, unit: FixingChoices) -> Iterator[Choice]:
    """A new clearance hole where the fixing is; whether there is room for it shows at the placement."""
    share_mm = unit.share_of_new_hole_mm
    if unit.bolt_mm is not None and unit.host.kind in TAKE_A_HOLE and share_mm is not None:
        across_mm = clearance_hole_mm(unit.bolt_mm, share_mm, bench.tolerance_mm("new hole"))
        yield _choice(bench, ("new hole",), "donor", None, across_mm, bench.donor.may("new hole"))


def move_over(bench: Bench, unit: FixingChoices) -> Iterator[Choice]:
    """A bracket of the original, taken over to the donor; whether it keeps clear of zones shows at the placement."""
    drill, move = bench.work("new hole"), bench.work("move over")
    for bracket in bench.question.brackets:
        if bracket.fixing == unit.fixing.id:
            holes, refusal = bracket.holes or BRACKET_HOLES, _kept_where_it_is(bench, bracket)
            minutes, cost = move.minutes + bracket.minutes + holes * drill.minutes, move.cost + holes * drill.cost
            yield Choice(("move over",), "donor", None, minutes, cost, refusal=refusal, bracket=bracket)


def _kept_where_it_is(bench: Bench, bracket: Bracket) -> Refusal | None:
    if bracket.duty in (None, "structural", "restraint"):
        duty = f"is a {bracket.duty} part" if bracket.duty else "has no duty written down"
        return Refusal(f"{bracket.part} {duty}: it is not moved on this program's advice; {LICENSED}", SAFETY)
    if bracket.reach_mm is None and any(obstacle.is_protected for obstacle in bench.donor.obstacles):
        part = bench.question.donor.part
        says = f"where the holes for {bracket.part} would come is not known, and {part} has a protected zone"
        return Refusal(f"{says}; {LICENSED}", SAFETY)
    return bench.donor.may("new hole")
