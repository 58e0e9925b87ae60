"""From a placement and a set of choices to jobs with sizes: rounded to drills and whole millimetres."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from partkin.adaptation import phrases
from partkin.adaptation.choices import Bench, Choice, Unit
from partkin.adaptation.limits import Obstacle, PartLimits, Refusal, refuse_bracket, refuse_cut
from partkin.adaptation.pairs import Opening, drill_up_mm
from partkin.adaptation.room import Rim
from partkin.adaptation.standing import heading_deg, lengthened, line3, nearest, standing
from partkin.adaptation.tables import rule, work_for
from partkin.model.adapting import Action
from partkin.model.fitting import Placement, Spot
from partkin.tables import parse_thread

ORDER = (
    "open out", "slot", "thread insert", "new hole", "move over", "trim edge", "connector adapter",
    "new clip", "spacer", "longer bolt", "other bolt", "leave unused",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Cut:
    """What a job leaves: a hole or slot, by its centre line (2, 2) and width, in its part's frame."""

    side: str
    feature: str
    line: np.ndarray
    across_mm: float
    bolt_mm: float


@dataclass(frozen=True)
class Dressed:
    """Jobs of a set of choices with the pairing that they leave; `refusal`: no room for a new hole there."""

    actions: tuple[Action, ...]
    pairs: tuple[tuple[str, str], ...]
    refusal: Refusal | None = None


def dress(bench: Bench, units: Sequence[Unit], vector: Sequence[int], placement: Placement) -> Dressed:
    """Size every job of a set of choices at a placement that they all reach."""
    actions: list[Action] = []
    cuts: list[Cut] = []
    pairs: list[tuple[str, str]] = []
    refusal: Refusal | None = None
    for unit, chosen in zip(units, vector, strict=True):
        choice = unit.choices[chosen]
        made = _Job(bench, unit, choice, placement)
        actions += made.actions
        cuts += made.cuts
        refusal = refusal or made.refusal
        if made.paired is not None:
            pairs.append((unit.fixing.id, made.paired))
    actions.sort(key=lambda action: ORDER.index(action.do))
    numbered = tuple(replace(action, order=n) for n, action in enumerate(actions, start=1))
    return Dressed(numbered, tuple(pairs), refusal or _collision(bench, cuts))


def _collision(bench: Bench, cuts: list[Cut]) -> Refusal | None:
    """Check each cut against the part, and against the other cuts."""
    for number, cut in enumerate(cuts):
        limits = _with_cuts(bench.limits(cut.side), cut, cuts[:number] + cuts[number + 1 :])
        slot = bool(np.linalg.norm(cut.line[1] - cut.line[0]) > 0.0)
        refusal = refuse_cut(limits, cut.line, cut.across_mm, cut.bolt_mm, slot, cut.feature)
        if refusal is not None:
            return refusal
    return None


def _with_cuts(limits: PartLimits, cut: Cut, others: list[Cut]) -> PartLimits:
    changed = {other.feature: other for other in others if other.side == cut.side}
    kept = [o for o in limits.obstacles if o.what != "hole" or o.name not in changed]
    made = [
        Obstacle("hole", name, other.line[:1], other.line[1:], other.across_mm)
        for name, other in changed.items()
    ]
    return replace(limits, obstacles=(*kept, *made))


def priced_action(bench: Bench, do: str, feature: str, side: str, says: str, fixing: str | None) -> Action:
    """Make an action with what the work table says of it; sizes are filled in by the caller."""
    row = work_for(do, bench.limits(side).group, bench.question.work)
    rate = bench.question.settings.labour_rate
    cost = None if rate is None else round(row.minutes * rate / 60.0 + row.cost, 2)
    part = (bench.question.donor if side == "donor" else bench.question.host).part
    return Action(
        do, feature, part, None, row.minutes, cost, says, fixing=fixing, tools=row.tools, source=row.source,
        workmanship_mm=row.workmanship_mm, side=side, material_cost=row.cost,
    )  # fmt: skip


def _room_along(rim: Rim, along: np.ndarray) -> float:
    """How far a slot may run in one direction before it passes a rim."""
    towards = float(rim.x * along[0] + rim.y * along[1])
    return rim.room_mm / towards if towards > 1e-9 else math.inf


class _Job:
    """The jobs of one choice."""

    def __init__(self, bench: Bench, unit: Unit, choice: Choice, placement: Placement) -> None:
        self.bench, self.unit, self.choice, self.placement = bench, unit, choice, placement
        self.cuts: list[Cut] = []
        self.actions: list[Action] = []
        self.refusal: Refusal | None = None
        self.paired: str | None = unit.feature.id if unit.feature is not None else None
        self.part = (bench.question.donor if choice.side == "donor" else bench.question.host).part
        for do in choice.do:
            {
                "open out": self._open_out,
                "slot": self._slot,
                "new hole": self._new_hole,
                "leave unused": self._leave,
                "move over": self._move_over,
                "other bolt": self._other_bolt,
                "thread insert": self._insert,
            }[do]()

    @property
    def spot(self) -> Spot:
        """The spot that is worked on."""
        spot = self.unit.feature if self.choice.side == "donor" else self.unit.fixing
        assert spot is not None
        return spot

    @property
    def opening(self) -> Opening:
        """The hole that is worked on."""
        opening = self.unit.sizes.opening(self.choice.side) if self.unit.sizes else None
        assert opening is not None
        return opening

    @property
    def bolt_mm(self) -> float:
        """Diameter of what goes through."""
        assert self.unit.bolt_mm is not None
        return self.unit.bolt_mm

    def _add(self, do: str, says: str, feature: str | None = None, **sizes: Any) -> None:
        named = feature or (self.spot.id if self.paired else self.unit.fixing.id)
        priced = priced_action(self.bench, do, named, self.choice.side, says, self.unit.fixing.id)
        self.actions.append(replace(priced, **sizes))

    def _open_out(self) -> None:
        opening, tolerance_mm = self.opening, self.bench.tolerance_mm("open out", self.choice.side)
        stands = standing(self.unit, self.placement, self.choice.side)
        here, there = nearest(stands.own, stands.other)
        offset_mm = float(np.linalg.norm(there - here))
        least_mm = self.bolt_mm + 2.0 * (offset_mm + tolerance_mm - opening.share_mm)
        to_mm = max(drill_up_mm(least_mm), drill_up_mm(opening.across_mm + 1e-6), drill_up_mm(self.bolt_mm))
        to_mm = min(to_mm, self.choice.across_mm or to_mm)
        self.cuts.append(Cut(self.choice.side, self.spot.id, stands.own, to_mm, self.bolt_mm))
        spot = self.spot
        self._add(
            "open out",
            phrases.open_out(self._what(), opening.across_mm, to_mm, self.bolt_mm, self._edge(to_mm, False)),
            to_mm=to_mm, allowed_mm=round(opening.play_mm(to_mm, self.bolt_mm), 6), at_mm=spot.at_mm,
            length_mm=2.0 * spot.half_travel_mm + to_mm if spot.half_travel_mm else None,
            angle_deg=spot.angle_deg if spot.half_travel_mm else None,
        )  # fmt: skip

    def _what(self) -> phrases.What:
        feature = self.unit.donor if self.choice.side == "donor" else self.unit.host
        assert feature is not None
        return phrases.What(feature.kind, self.spot.id, self.choice.side == "host", self.part)

    def _edge(self, across_mm: float, slot: bool) -> float | None:
        """Distance to keep from an edge that the program does not know."""
        limits = self.bench.limits(self.choice.side)
        if limits.outline_known:
            return None
        return phrases.edge_to_keep_mm(limits, across_mm, self.bolt_mm, slot)

    def _slot(self) -> None:
        if self.spot.half_travel_mm > 0.0:
            self._lengthen()
            return
        opening, width_mm = self.opening, self.choice.across_mm or 0.0
        centre, along_deg, travel_mm = self._run(width_mm)
        turn = math.radians(along_deg)
        along = np.array([math.cos(turn), math.sin(turn)])
        line = np.array([centre, centre + travel_mm * along])
        self.cuts.append(Cut(self.choice.side, self.spot.id, line, width_mm, self.bolt_mm))
        middle = line.mean(axis=0)
        towards = self._towards(centre, along)
        self._add(
            "slot",
            phrases.slot(
                self._what(), opening.across_mm, width_mm, width_mm + travel_mm, travel_mm, along_deg,
                towards, self.bolt_mm, self._edge(width_mm, True),
            ),
            to_mm=width_mm, length_mm=width_mm + travel_mm, angle_deg=along_deg,
            at_mm=(*(round(float(v), 3) for v in middle), *self.spot.at_mm[2:]),
            allowed_mm=round(opening.play_mm(width_mm, self.bolt_mm), 6),
        )  # fmt: skip

    def _run(self, width_mm: float) -> tuple[np.ndarray, float, float]:
        """Start, direction and travel of a new slot: to a whole step long, where its rims let it."""
        shape = self.choice.shape
        assert shape is not None
        stands = standing(self.unit, self.placement, self.choice.side)
        centre = stands.own.mean(axis=0)
        along_deg = round(heading_deg(self.unit, self.choice.side, self.placement), 2)
        turn = math.radians(along_deg)
        along = np.array([math.cos(turn), math.sin(turn)])
        _, there = nearest(np.array([centre, centre]), stands.other)
        ahead_mm = max(0.1, float(np.linalg.norm(there - centre)) - max(0.0, shape.allowed_mm))
        most_mm = min([shape.travel_mm, *(_room_along(rim, along) for rim in shape.rims)])
        step_mm = rule("length step").value
        length_mm = math.ceil((width_mm + ahead_mm) / step_mm - 1e-6) * step_mm
        if length_mm - width_mm <= most_mm + 1e-9:
            return centre, along_deg, length_mm - width_mm
        return centre, along_deg, min(math.ceil(10.0 * ahead_mm - 1e-6) / 10.0, max(most_mm, ahead_mm))

    def _lengthen(self) -> None:
        """A slot that is there already: longer at the end that falls short."""
        shape, opening, spot = self.choice.shape, self.opening, self.spot
        assert shape is not None
        width_mm = self.choice.across_mm or opening.across_mm
        stands = standing(self.unit, self.placement, self.choice.side)
        turn = math.radians(spot.angle_deg)
        along = np.array([math.cos(turn), math.sin(turn)])
        centre = stands.own.mean(axis=0)
        _, there = nearest(lengthened(stands.own, spot, shape), stands.other)
        gap = there - centre
        aside_mm = abs(float(along[0] * gap[1] - along[1] * gap[0]))
        ahead_mm = float(gap @ along)
        reach_mm = math.sqrt(max(0.0, shape.allowed_mm**2 - aside_mm**2))
        short_mm = abs(ahead_mm) - reach_mm - spot.half_travel_mm
        now_mm = 2.0 * spot.half_travel_mm + width_mm
        step_mm = rule("length step").value
        length_mm = max(now_mm, math.ceil((now_mm + max(short_mm, 0.0)) / step_mm - 1e-6) * step_mm)
        forward = ahead_mm >= 0.0
        more_mm = min(length_mm - now_mm, shape.forward_mm if forward else shape.back_mm)
        shift_mm = (more_mm if forward else -more_mm) / 2.0
        middle = centre + shift_mm * along
        half_mm = spot.half_travel_mm + more_mm / 2.0
        line = np.array([middle - half_mm * along, middle + half_mm * along])
        self.cuts.append(Cut(self.choice.side, spot.id, line, width_mm, self.bolt_mm))
        heading = along if forward else -along
        self._add(
            "slot",
            phrases.longer_slot(
                self._what(), 2.0 * spot.half_travel_mm + opening.across_mm, 2.0 * half_mm + width_mm,
                opening.across_mm, width_mm, self._towards(centre, heading),
                math.degrees(math.atan2(heading[1], heading[0])) % 360.0, self._edge(width_mm, True),
            ),
            to_mm=width_mm, length_mm=round(2.0 * half_mm + width_mm, 6), angle_deg=spot.angle_deg,
            at_mm=(*(round(float(v), 3) for v in middle), *spot.at_mm[2:]),
            allowed_mm=round(opening.play_mm(width_mm, self.bolt_mm), 6),
        )  # fmt: skip

    def _towards(self, centre: np.ndarray, along: np.ndarray) -> str | None:
        """Another feature of the part that lies in that direction, within 10 degrees."""
        question = self.bench.question
        spots = question.task.features if self.choice.side == "donor" else question.task.fixings
        best, found = math.cos(math.radians(10.0)), None
        for spot in spots:
            gap = np.array(spot.at_mm[:2]) - centre
            length_mm = float(np.linalg.norm(gap))
            if spot.id != self.spot.id and length_mm > 1.0 and float(gap @ along) / length_mm > best:
                best, found = float(gap @ along) / length_mm, spot.id
        return found

    @property
    def fixing_at_mm(self) -> tuple[float, ...]:
        """Where the fixing stands in the donor's frame, to a tenth."""
        back = np.linalg.inv(np.array(self.placement.matrix, dtype=float))
        there = line3(self.unit.fixing).mean(axis=0) @ back[:3, :3].T + back[:3, 3]
        return tuple(round(float(value), 1) for value in there[: len(self.unit.fixing.at_mm)])

    def _new_hole(self) -> None:
        unit, across_mm, at_mm = self.unit, self.choice.across_mm or 0.0, self.fixing_at_mm
        old = unit.feature.id if unit.feature is not None else None
        name = f"new-{unit.fixing.id}"
        line = np.array([at_mm[:2], at_mm[:2]])
        self.cuts.append(Cut("donor", name, line, across_mm, self.bolt_mm))
        share_mm = self._share_of_new_hole()
        edge_mm = self._edge(across_mm, False)
        self.paired = name
        self._add(
            "new hole", phrases.new_hole(unit.fixing.id, across_mm, at_mm, old, edge_mm), feature=name,
            to_mm=across_mm, at_mm=at_mm, allowed_mm=round((across_mm - self.bolt_mm) / 2.0 + share_mm, 6),
        )  # fmt: skip

    def _share_of_new_hole(self) -> float:
        host = self.unit.host
        if host.kind in ("hole", "slot"):
            return ((host.across_mm or self.bolt_mm) - self.bolt_mm) / 2.0
        return host.float_mm or 0.0 if host.kind == "captive nut" else 0.0

    def _leave(self) -> None:
        feature = self.unit.feature.id if self.unit.feature is not None else self.unit.fixing.id
        self.paired = None
        self._add("leave unused", phrases.leave_unused(self.unit.fixing.id, feature), feature=feature)

    def _move_over(self) -> None:
        """The bracket goes where the fixing is: the pair no longer depends on where the part lies."""
        bracket, at_mm = self.choice.bracket, self.fixing_at_mm
        assert bracket is not None
        original = self.bench.question.original
        says = phrases.move_over(bracket, original.part if original else "the original", at_mm, self.part)
        self.paired = None
        self.refusal = refuse_bracket(self.bench.donor, at_mm, bracket)
        rate = self.bench.question.settings.labour_rate
        cost = None if rate is None else round(self.choice.minutes * rate / 60.0 + self.choice.cost, 2)
        drill = work_for("new hole", self.bench.donor.group, self.bench.question.work)
        self._add(
            "move over", says, feature=f"moved-{self.unit.fixing.id}", at_mm=at_mm, minutes=self.choice.minutes,
            cost=cost, material_cost=self.choice.cost, tools=("tools to undo it", *drill.tools),
        )  # fmt: skip

    def _other_bolt(self) -> None:
        sizes = self.unit.sizes
        assert sizes is not None
        meant = self.unit.donor.thread if self.unit.donor is not None else None
        if meant == sizes.other_bolt:
            meant = self.unit.host.thread
        opening = sizes.openings[0]
        was = parse_thread(meant) if meant else None
        thinner = was is not None and was.major_mm > sizes.bolt_mm + 1e-6
        self._add(
            "other bolt", phrases.other_bolt(self.unit.fixing.id, sizes.other_bolt or "", meant, thinner),
            to_mm=sizes.bolt_mm, allowed_mm=round(opening.play_mm(opening.across_mm, sizes.bolt_mm), 6),
            thread=sizes.other_bolt,
        )  # fmt: skip

    def _insert(self) -> None:
        shape = self.choice.shape
        thread = self.unit.host.thread or f"{self.choice.across_mm:g} mm"
        self._add(
            "thread insert", phrases.thread_insert(self.spot.id, thread), to_mm=self.choice.across_mm,
            allowed_mm=round(shape.allowed_mm, 6) if shape else None, thread=self.unit.host.thread,
        )  # fmt: skip
