"""What may be done at each fixing, from nothing to a new hole, and how far each reaches."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from partkin.adaptation.limits import (
    DIRECTIONS,
    PartLimits,
    Refusal,
    centre_line,
    clear_all_round,
    grid_travels_mm,
    largest_opening_mm,
    limits_of,
    opening_room,
    refuse_cut,
    travel_room,
)
from partkin.adaptation.pairs import Opening, PairSizes, clearance_hole_mm, drill_up_mm, sizes_of, thread_mm
from partkin.adaptation.tables import rule, work_for
from partkin.model.adapting import AdaptationQuestion
from partkin.model.build import Feature
from partkin.model.fitting import Option, Spot

STEP_DEG = 360 // DIRECTIONS


@dataclass(frozen=True)
class Shape:
    """Where a fixing may stand around the feature once a job is done, workmanship taken off.

    A disc of `allowed_mm` around the centre line, which is lengthened by `back_mm` and `forward_mm` along a
    slot's own direction. A new slot adds `travel_mm` in whatever direction, or `reaches_mm` in each of the 72
    directions (the part's frame, 5 degrees apart).
    """

    allowed_mm: float
    travel_mm: float = 0.0
    reaches_mm: tuple[float, ...] | None = None
    back_mm: float = 0.0
    forward_mm: float = 0.0

    @property
    def outer_mm(self) -> float:
        """Play of the disc that holds the whole shape."""
        return self.allowed_mm + max(self.travel_mm, max(self.reaches_mm or (0.0,)))

    @property
    def inner_mm(self) -> float:
        """Play of the largest disc around the centre line inside the shape."""
        return self.allowed_mm + (min(self.reaches_mm) if self.reaches_mm else self.travel_mm)


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
    """Whether `other` reaches wherever `choice` does, by the discs and lines that enclose them."""
    return _within(choice, other, other.shape.outer_mm if other.shape else 0.0)


def surely_holds(choice: Choice, other: Choice) -> bool:
    """The same by what `other` reaches for certain, whatever the direction."""
    return choice == other or _within(choice, other, other.shape.inner_mm if other.shape else 0.0)


def _within(choice: Choice, other: Choice, disc_mm: float) -> bool:
    if choice.shape is None or other.shape is None:
        return other.shape is None
    lengthened = choice.shape.back_mm + choice.shape.forward_mm > 0.0
    return (
        choice.shape.outer_mm <= disc_mm + 1e-12
        and (not lengthened or choice.side == other.side)
        and choice.shape.back_mm <= other.shape.back_mm + 1e-12
        and choice.shape.forward_mm <= other.shape.forward_mm + 1e-12
    )


class Bench:
    """The question with the limits of both parts and the work table at hand."""

    def __init__(self, question: AdaptationQuestion) -> None:
        self.question = question
        self.donor = limits_of(question, "donor")
        self.host = limits_of(question, "host")
        self.host_feature = {feature.feature: feature for feature in question.fixings}
        self.donor_feature = {feature.feature: feature for feature in question.donor_features}

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


def unit_of_pair(bench: Bench, fixing: Spot, feature: Spot, option: Option | None) -> Unit:
    """List what may be done at one pair; refused choices are listed with their refusal."""
    host, donor = bench.host_feature[fixing.id], bench.donor_feature[feature.id]
    sizes = sizes_of(bench.question, host, donor, option)
    unit = Unit(fixing, feature, host, donor, sizes, (), sizes.bolt_mm if sizes else None)
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
        choices += _inserts(bench, unit, host, donor)
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
    dearer = other.minutes > choice.minutes or other.cost > choice.cost
    if dearer or not surely_holds(choice, other):
        return False
    equal = (other.minutes, other.cost) == (choice.minutes, choice.cost) and surely_holds(other, choice)
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
    most_mm = travels[-1]
    free = _free_slot(spot, opening, bolt_mm, width_mm, miss_mm, most_mm)
    stopped = _stopped(bench, unit, side, "slot")
    if stopped is not None:
        yield bench.choice(do, side, free, width_mm, stopped)
    elif clear_all_round(limits, spot, width_mm, bolt_mm, most_mm):
        yield bench.choice(do, side, free, width_mm)
    else:
        shape, wide_mm, refusal = _hemmed_slot(limits, spot, opening, bolt_mm, width_mm, miss_mm, longest_mm)
        if shape is not None:
            yield bench.choice(do, side, shape, wide_mm)
        yield bench.choice(do, side, free, width_mm, refusal)


def _free_slot(
    spot: Spot, opening: Opening, bolt_mm: float, width_mm: float, miss_mm: float, most_mm: float
) -> Shape:
    play_mm = opening.play_mm(width_mm, bolt_mm) - miss_mm
    if spot.half_travel_mm > 0.0:
        return Shape(play_mm, back_mm=most_mm, forward_mm=most_mm)
    return Shape(play_mm, travel_mm=most_mm)


def _hemmed_slot(
    limits: PartLimits, spot: Spot, opening: Opening, bolt_mm: float, width_mm: float, miss_mm: float,
    longest_mm: float,
) -> tuple[Shape | None, float, Refusal | None]:  # fmt: skip
    """A slot that edges, holes or zones keep short in some directions."""
    if spot.half_travel_mm > 0.0:
        back, forward = _ends(spot)
        back_mm, why = travel_room(limits, back, width_mm, bolt_mm, longest_mm, spot.angle_deg + 180.0)
        forward_mm, other_why = travel_room(limits, forward, width_mm, bolt_mm, longest_mm, spot.angle_deg)
        play_mm = opening.play_mm(width_mm, bolt_mm) - miss_mm
        shape = Shape(play_mm, back_mm=back_mm, forward_mm=forward_mm) if back_mm + forward_mm > 0.0 else None
        return shape, width_mm, why or other_why
    # Half a step wider than need be, so that directions 5 degrees apart leave no gap between them.
    width_mm = max(width_mm, drill_up_mm(bolt_mm + 2.0 * (miss_mm - opening.share_mm) + 0.5))
    play_mm = opening.play_mm(width_mm, bolt_mm) - miss_mm
    found = [
        travel_room(limits, spot, width_mm, bolt_mm, longest_mm, number * float(STEP_DEG))
        for number in range(DIRECTIONS)
    ]
    reaches = tuple(travel for travel, _ in found)
    refusal = next((why for _, why in found if why is not None), None)
    if max(reaches) <= 0.0 or width_mm > max(opening.across_mm, largest_opening_mm(bolt_mm)):
        return None, width_mm, refusal
    if refuse_cut(limits, centre_line(spot), width_mm, bolt_mm, True, spot.id) is not None:
        return None, width_mm, refusal
    return Shape(play_mm, reaches_mm=reaches), width_mm, refusal


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
    if unit.donor is not None and unit.donor.kind not in ("hole", "slot", "peg hole"):
        return
    yield from new_hole(bench, unit)


def new_hole(bench: Bench, unit: Unit) -> Iterator[Choice]:
    """A new clearance hole where the fixing is; whether there is room for it shows at the placement."""
    share_mm, bolt_mm = 0.0, unit.bolt_mm
    if bolt_mm is None or unit.host.kind not in ("stud", "tapped hole", "captive nut", "hole", "slot", "peg"):
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
