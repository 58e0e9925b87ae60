"""What may be done at each fixing, from nothing to a new hole, and how far each reaches."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from partkin.adaptation.limits import LICENSED, SAFETY, PartLimits, Refusal, centre_line, limits_of, refuse_cut
from partkin.adaptation.pairs import Opening, PairSizes, clearance_hole_mm, drill_up_mm, sizes_of, thread_mm
from partkin.adaptation.room import Rim, grid_travels_mm, largest_opening_mm, opening_room, rims_of, travel_room
from partkin.adaptation.tables import rule, work_for
from partkin.model.adapting import AdaptationQuestion, Bracket
from partkin.model.build import Feature
from partkin.model.fitting import Option, Spot
from partkin.model.words import PROTECTED_ZONES

# A rim is an arc of this radius: a line, as near as makes no difference, that the geometry takes as a pair.
RIM_RADIUS_MM = 1000.0
# Common practice, no source: holes to drill for a bracket of which nobody has said how it is held.
BRACKET_HOLES = 2
# Host features that a plain new hole in the donor goes on.
TAKE_A_HOLE = ("stud", "tapped hole", "captive nut", "hole", "slot", "peg")


@dataclass(frozen=True)
class Shape:
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


def rim_reach_mm(rim: Rim, disc_mm: float) -> float:
    """How far every point of a disc around the hole may lie out and still be on this side of a rim's arc."""
    return max(0.0, rim.room_mm - disc_mm**2 / (2.0 * RIM_RADIUS_MM))


@dataclass(frozen=True)
class Choice:
    """One thing that may be done at a fixing; `shape` None: the pair no longer decides where the part lies.

    `across_mm`: the largest diameter (open out), the width (slot), the diameter (new hole).
    """

    do: tuple[str, ...]
    side: str
    shape: Shape | None
    minutes: float
    cost: float
    across_mm: float | None = None
    refusal: Refusal | None = None
    bracket: Bracket | None = None

    @property
    def cuts(self) -> str | None:
        """The job that takes material off, if one does."""
        return next((do for do in self.do if do in ("open out", "slot", "new hole", "thread insert")), None)


@dataclass(frozen=True)
class Unit:
    """One fixing with the feature that goes on it (None: nothing does) and what may be done there."""

    fixing: Spot
    feature: Spot | None
    host: Feature
    donor: Feature | None
    sizes: PairSizes | None
    choices: tuple[Choice, ...]
    bolt_mm: float | None = None


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
    return shape.outer_mm <= rim_reach_mm(rim, shape.outer_mm) and shape.back_mm + shape.forward_mm == 0.0


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
            rims.append(replace(rim, room_mm=room_mm))
    back_mm, forward_mm = max(one.back_mm for one in shapes), max(one.forward_mm for one in shapes)
    return replace(
        largest, shape=replace(largest.shape, rims=tuple(rims), back_mm=back_mm, forward_mm=forward_mm)
    )


class Bench:
    """The question with the limits of both parts and the work table at hand."""

    def __init__(self, question: AdaptationQuestion) -> None:
        self.question = question
        self.host_feature = {feature.feature: feature for feature in question.fixings}
        self.donor_feature = {feature.feature: feature for feature in question.donor_features}

    @cached_property
    def donor(self) -> PartLimits:
        """Limits of the donor."""
        return limits_of(self.question, "donor")

    @cached_property
    def host(self) -> PartLimits:
        """Limits of the host."""
        return limits_of(self.question, "host")

    def limits(self, side: str) -> PartLimits:
        """Limits of the donor or of the host."""
        return self.donor if side == "donor" else self.host

    def work(self, *jobs: str, side: str = "donor") -> tuple[float, float]:
        """Minutes and material of some jobs together."""
        rows = [work_for(do, self.limits(side).group, self.question.work) for do in jobs]
        return sum(row.minutes for row in rows), sum(row.cost for row in rows)

    def workmanship_mm(self, do: str, side: str = "donor") -> float:
        """How far a careful hand may miss."""
        return work_for(do, self.limits(side).group, self.question.work).workmanship_mm

    def tolerance_mm(self, do: str, side: str = "donor") -> float:
        """What a changed size leaves: for the hand, and for the spread of the readings."""
        return self.workmanship_mm(do, side) + self.question.reserve_mm

    def choice(
        self, do: tuple[str, ...], side: str, shape: Shape | None, across_mm: float | None = None,
        refusal: Refusal | None = None,
    ) -> Choice:  # fmt: skip
        """Make a choice with its minutes and material."""
        minutes, cost = self.work(*do, side=side)
        return Choice(do, side, shape, minutes, cost, across_mm, refusal)


def as_it_is(bench: Bench, fixing: Spot, feature: Spot, option: Option | None) -> Unit:
    """One pair before anything is done to it: no choices."""
    host, donor = bench.host_feature[fixing.id], bench.donor_feature[feature.id]
    sizes = sizes_of(bench.question, host, donor, option)
    return Unit(fixing, feature, host, donor, sizes, (), sizes.bolt_mm if sizes else None)


def unit_of_pair(bench: Bench, fixing: Spot, feature: Spot, option: Option | None) -> Unit:
    """List what may be done at one pair; refused choices are listed with their refusal."""
    unit = as_it_is(bench, fixing, feature, option)
    sizes = unit.sizes
    choices: list[Choice] = []
    if option is not None and option.allowed_mm >= 0.0:
        choices.append(bench.choice((), "donor", Shape(option.allowed_mm)))
    base: tuple[str, ...] = ()
    if option is None and sizes is not None and sizes.other_bolt and sizes.openings:
        base = ("other bolt",)
        plain = sizes.openings[0]
        play_mm = plain.play_mm(plain.across_mm, sizes.bolt_mm)
        if play_mm >= 0.0:
            choices.append(bench.choice(base, plain.side, Shape(play_mm)))
    for side in ("donor", "host") if bench.question.settings.adapt_host else ("donor",):
        opening = sizes.opening(side) if sizes else None
        if opening is not None and sizes is not None:
            choices += _openings(bench, unit, opening, sizes.bolt_mm, base)
            choices += _slots(bench, unit, opening, sizes.bolt_mm, base)
    if option is None:
        choices += _inserts(bench, unit, unit.host, bench.donor_feature[feature.id])
    choices += _without(bench, unit)
    return replace(unit, choices=_worth_listing(choices))


def _worth_listing(choices: list[Choice]) -> tuple[Choice, ...]:
    """Drop what a permitted choice beats in reach for no more work; smallest reach first."""
    kept = []
    for number, choice in enumerate(choices):
        others = [(at, other) for at, other in enumerate(choices) if at != number]
        if not any(_beats(other, choice, first=at < number) for at, other in others):
            kept.append(choice)
    return tuple(sorted(kept, key=lambda c: (c.shape is None, c.shape.outer_mm if c.shape else 0.0)))


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


def _spot(unit: Unit, side: str) -> Spot:
    spot = unit.feature if side == "donor" else unit.fixing
    assert spot is not None
    return spot


def _stopped(bench: Bench, unit: Unit, side: str, do: str) -> Refusal | None:
    limits = bench.limits(side)
    return limits.may(do) or limits.untouchable.get(_spot(unit, side).id)


def _openings(
    bench: Bench, unit: Unit, opening: Opening, bolt_mm: float, base: tuple[str, ...]
) -> Iterator[Choice]:
    side, do = opening.side, (*base, "open out")
    miss_mm = bench.tolerance_mm("open out", side)
    stopped = _stopped(bench, unit, side, "open out")
    most_mm, refusal = largest_opening_mm(bolt_mm), stopped
    room_mm = opening.across_mm
    if stopped is None:
        room_mm, refusal = opening_room(bench.limits(side), _spot(unit, side), opening.across_mm, bolt_mm)
    for across_mm, refused in ((room_mm, None), *(((most_mm, refusal),) if refusal else ())):
        play_mm = opening.play_mm(across_mm, bolt_mm) - miss_mm
        if across_mm > opening.across_mm + 1e-9 and play_mm >= 0.0:
            yield bench.choice(do, side, Shape(play_mm), across_mm, refused)


def _slots(
    bench: Bench, unit: Unit, opening: Opening, bolt_mm: float, base: tuple[str, ...]
) -> Iterator[Choice]:
    side, do, spot = opening.side, (*base, "slot"), _spot(unit, opening.side)
    if abs(spot.axis[2]) < 0.99:
        return  # Its directions are not those of the part's own plane.
    limits, miss_mm = bench.limits(side), bench.tolerance_mm("slot", side)
    width_mm = max(opening.across_mm, drill_up_mm(bolt_mm + 2.0 * max(0.0, miss_mm - opening.share_mm)))
    longest_mm = rule("longest slot").value * bolt_mm - 2.0 * spot.half_travel_mm - width_mm
    travels = grid_travels_mm(width_mm, longest_mm)
    if not travels or width_mm > max(opening.across_mm, largest_opening_mm(bolt_mm)):
        return
    free = _free_slot(spot, opening, bolt_mm, width_mm, miss_mm, travels[-1])
    refusal = _stopped(bench, unit, side, "slot")
    if refusal is None:
        if spot.half_travel_mm > 0.0:
            (shape, refusal), wide_mm = _longer(limits, spot, free, width_mm, bolt_mm, longest_mm), width_mm
        else:
            shape, wide_mm, refusal = _hemmed(bench, unit, opening, bolt_mm, width_mm, longest_mm)
        if shape is not None:
            yield bench.choice(do, side, shape, wide_mm)
    if refusal is not None:
        yield bench.choice(do, side, free, width_mm, refusal)


def _free_slot(
    spot: Spot, opening: Opening, bolt_mm: float, width_mm: float, miss_mm: float, most_mm: float
) -> Shape:
    play_mm = opening.play_mm(width_mm, bolt_mm) - miss_mm
    if spot.half_travel_mm > 0.0:
        return Shape(play_mm, back_mm=most_mm, forward_mm=most_mm)
    return Shape(play_mm, travel_mm=most_mm)


def _longer(
    limits: PartLimits, spot: Spot, free: Shape, width_mm: float, bolt_mm: float, longest_mm: float
) -> tuple[Shape | None, Refusal | None]:
    """A slot that is there already, as far as there is room at either end."""
    wide = refuse_cut(limits, centre_line(spot), width_mm, bolt_mm, True, spot.id)
    if wide is not None:
        return None, wide
    back, forward = _ends(spot)
    back_mm, why = travel_room(limits, back, width_mm, bolt_mm, longest_mm, spot.angle_deg + 180.0)
    forward_mm, other_why = travel_room(limits, forward, width_mm, bolt_mm, longest_mm, spot.angle_deg)
    shape = replace(free, back_mm=back_mm, forward_mm=forward_mm) if back_mm + forward_mm > 0.0 else None
    return shape, why or other_why


def _hemmed(
    bench: Bench, unit: Unit, opening: Opening, bolt_mm: float, width_mm: float, longest_mm: float
) -> tuple[Shape | None, float, Refusal | None]:
    """A new slot, as far as edges, holes and zones let it run; with its width, and what keeps it short."""
    limits, spot = bench.limits(opening.side), _spot(unit, opening.side)
    miss_mm = bench.tolerance_mm("slot", opening.side)
    most_mm = grid_travels_mm(width_mm, longest_mm)[-1]
    near, _, refusal = rims_of(limits, spot, width_mm, bolt_mm, most_mm)
    if not near:
        # No rim is near, and yet the hole itself may stand off the part as drawn, or in an opening of it.
        start = refuse_cut(limits, centre_line(spot), width_mm, bolt_mm, True, spot.id)
        shape = Shape(opening.play_mm(width_mm, bolt_mm) - miss_mm, travel_mm=most_mm)
        return (shape if start is None else None), width_mm, start
    # A drill wider than need be: hemmed in, its length cannot be rounded up to the next whole step.
    width_mm = max(width_mm, drill_up_mm(bolt_mm + 2.0 * (miss_mm - opening.share_mm) + 0.5))
    travels = grid_travels_mm(width_mm, longest_mm)
    start = refuse_cut(limits, centre_line(spot), width_mm, bolt_mm, True, spot.id)
    if start is not None or not travels or width_mm > max(opening.across_mm, largest_opening_mm(bolt_mm)):
        return None, width_mm, start or refusal
    rims, travel_mm, refusal = rims_of(limits, spot, width_mm, bolt_mm, travels[-1])
    if bench.question.task.dims == 3:
        # In space a rim is no pair: as far as any direction allows.
        travel_mm, rims = min([travel_mm, *(rim.room_mm for rim in rims)]), ()
    if travel_mm <= 0.0:
        return None, width_mm, refusal
    play_mm = opening.play_mm(width_mm, bolt_mm) - miss_mm
    return Shape(play_mm, travel_mm=travel_mm, rims=rims), width_mm, refusal


def _ends(spot: Spot) -> tuple[Spot, Spot]:
    line = centre_line(spot)
    back, forward = (tuple(float(v) for v in end) for end in line)
    return replace(spot, at_mm=back, half_travel_mm=0.0), replace(spot, at_mm=forward, half_travel_mm=0.0)


def _inserts(bench: Bench, unit: Unit, host: Feature, donor: Feature) -> Iterator[Choice]:
    """Another thread in the donor's tapped hole, for the bolt that the host's hole is meant for."""
    bolt_mm = thread_mm(host)
    if donor.kind != "tapped hole" or bolt_mm is None or host.across_mm is None or host.across_mm < bolt_mm:
        return
    refusal = _stopped(bench, unit, "donor", "open out")
    play_mm = (host.across_mm - bolt_mm) / 2.0
    yield bench.choice(("thread insert",), "donor", Shape(play_mm), bolt_mm, refusal)


def _without(bench: Bench, unit: Unit) -> Iterator[Choice]:
    """A new hole in place of the donor's own, or nothing at all."""
    feature = unit.feature
    if feature is not None and feature.must:
        return
    if not unit.fixing.must and unit.host.kind not in ("stud", "peg"):
        yield bench.choice(("leave unused",), "donor", None)
    yield from move_over(bench, unit)
    if unit.donor is not None and unit.donor.kind not in ("hole", "slot", "peg hole"):
        return
    yield from new_hole(bench, unit)


def new_hole(bench: Bench, unit: Unit) -> Iterator[Choice]:
    """A new clearance hole where the fixing is; whether there is room for it shows at the placement."""
    share_mm, bolt_mm = 0.0, unit.bolt_mm
    if bolt_mm is None or unit.host.kind not in TAKE_A_HOLE:
        return
    if unit.host.kind == "captive nut":
        share_mm = unit.host.float_mm or 0.0
    elif unit.host.kind in ("hole", "slot"):
        if unit.host.across_mm is None or unit.host.across_mm < bolt_mm:
            return
        share_mm = (unit.host.across_mm - bolt_mm) / 2.0
    miss_mm = bench.tolerance_mm("new hole")
    across_mm = clearance_hole_mm(bolt_mm, share_mm, miss_mm)
    yield bench.choice(("new hole",), "donor", None, across_mm, bench.donor.may("new hole"))


def move_over(bench: Bench, unit: Unit) -> Iterator[Choice]:
    """A bracket of the original, taken over to the donor; whether it keeps clear of zones shows at the placement."""
    drill_minutes, drill_cost = bench.work("new hole")
    minutes, cost = bench.work("move over")
    for bracket in bench.question.brackets:
        if bracket.fixing == unit.fixing.id:
            holes = bracket.holes or BRACKET_HOLES
            yield Choice(
                ("move over",), "donor", None, minutes + bracket.minutes + holes * drill_minutes,
                cost + holes * drill_cost, refusal=_kept_where_it_is(bench, bracket), bracket=bracket,
            )  # fmt: skip


def _kept_where_it_is(bench: Bench, bracket: Bracket) -> Refusal | None:
    if bracket.duty in (None, "structural", "restraint"):
        duty = f"is a {bracket.duty} part" if bracket.duty else "has no duty written down"
        return Refusal(f"{bracket.part} {duty}: it is not moved on this program's advice; {LICENSED}", SAFETY)
    if bracket.reach_mm is None and any(o.what in PROTECTED_ZONES for o in bench.donor.obstacles):
        part = bench.question.donor.part
        says = f"where the holes for {bracket.part} would come is not known, and {part} has a protected zone"
        return Refusal(f"{says}; {LICENSED}", SAFETY)
    return bench.donor.may("new hole")
