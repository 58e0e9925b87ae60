"""From a placement and a set of choices to jobs with sizes: rounded to drills and whole millimetres."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from partkin.adaptation import phrases
from partkin.adaptation.choices import Choice, FixingChoices, ReachShape
from partkin.adaptation.limits import Obstacle, Refusal, refuse_bracket, refuse_cut
from partkin.adaptation.placing import lengthened, line3, standing
from partkin.adaptation.question import Bench
from partkin.adaptation.sizes import Opening, drill_up_mm
from partkin.fit.segments import direction, nearest
from partkin.model.adapting import Action, Axis
from partkin.model.fitting import Placement, Spot
from partkin.tables.threads import parse_thread
from partkin.tables.work import edge_rule

ORDER = (
    "open out", "slot", "thread insert", "new hole", "move over", "trim edge", "connector adapter",
    "new clip", "spacer", "longer bolt", "other bolt", "leave unused",
)  # fmt: skip


class CutLine(NamedTuple):
    """What a job leaves: a hole or slot, by its centre line (2, 2) and width, in its part's frame."""

    side: str
    feature: str
    line: np.ndarray
    across_mm: float
    bolt_mm: float


class Dressed(NamedTuple):
    """Jobs of a set of choices with the pairing that they leave; `refusal`: no room for a new hole there."""

    actions: tuple[Action, ...]
    pairs: tuple[tuple[str, str], ...]
    refusal: Refusal | None = None


def dress(bench: Bench, units: Sequence[FixingChoices], vector: Sequence[int], placement: Placement) -> Dressed:
    """Size every job of a set of choices at a placement that they all reach."""
    made = [_Jobs(bench, unit, unit.choices[choice], placement) for unit, choice in zip(units, vector, strict=True)]
    actions = sorted((action for jobs in made for action in jobs.actions), key=lambda action: ORDER.index(action.do))
    numbered = tuple(replace(action, order=n) for n, action in enumerate(actions, start=1))
    pairs = tuple((jobs.unit.fixing.id, jobs.paired) for jobs in made if jobs.paired is not None)
    refusal = next((jobs.refusal for jobs in made if jobs.refusal is not None), None)
    return Dressed(numbered, pairs, refusal or _collision(bench, [cut for jobs in made for cut in jobs.cuts]))


def _collision(bench: Bench, cuts: list[CutLine]) -> Refusal | None:
    """Check each cut against the part, and against the other cuts."""
    for cut in cuts:
        limits = bench.limits(cut.side)
        others = {other.feature: other for other in cuts if other is not cut and other.side == cut.side}
        holes = [Obstacle("hole", n, other.line[:1], other.line[1:], other.across_mm) for n, other in others.items()]
        kept = [o for o in limits.obstacles if o.what != "hole" or o.name not in others]
        slot = bool(np.any(cut.line[1] != cut.line[0]))
        limits = replace(limits, obstacles=(*kept, *holes))
        refusal = refuse_cut(limits, cut.line, cut.across_mm, cut.bolt_mm, slot, cut.feature)
        if refusal is not None:
            return refusal
    return None


class _Jobs:
    """The jobs of one choice, what they cut, and the feature that is then on the fixing."""

    def __init__(self, bench: Bench, unit: FixingChoices, choice: Choice, placement: Placement) -> None:
        self.bench, self.unit, self.choice, self.placement = bench, unit, choice, placement
        self.side, self.limits = choice.side, bench.limits(choice.side)
        self.cuts: list[CutLine] = []
        self.actions: list[Action] = []
        self.refusal: Refusal | None = None
        self.paired: str | None = unit.feature.id if unit.feature is not None else None
        for do in choice.do:
            {
                "open out": self._open_out,
                "slot": self._longer_slot if self.unit.feature and self.spot.half_travel_mm > 0.0 else self._new_slot,
                "new hole": self._new_hole,
                "leave unused": self._leave,
                "move over": self._move_over,
                "other bolt": self._other_bolt,
                "thread insert": self._insert,
            }[do]()

    @property
    def spot(self) -> Spot:
        """The spot that is worked on."""
        spot = self.unit.feature if self.side == "donor" else self.unit.fixing
        assert spot is not None
        return spot

    @property
    def opening(self) -> Opening:
        """The hole that is worked on."""
        opening = self.unit.sizes.opening(self.side) if self.unit.sizes else None
        assert opening is not None
        return opening

    @property
    def bolt_mm(self) -> float:
        """Diameter of what goes through."""
        assert self.unit.bolt_mm is not None
        return self.unit.bolt_mm

    @property
    def shape(self) -> ReachShape:
        """How far the choice reaches."""
        assert self.choice.shape is not None
        return self.choice.shape

    @cached_property
    def lines(self) -> tuple[np.ndarray, np.ndarray]:
        """Centre lines of the spot that is worked on and of what stands at it, in the frame of the part."""
        return standing(self.unit, self.placement, self.side)

    @property
    def what(self) -> phrases.What:
        """The hole that is worked on, in words."""
        feature = self.unit.donor if self.side == "donor" else self.unit.host
        assert feature is not None
        return phrases.What(feature.kind, self.spot.id, self.side == "host", self.limits.part.part)

    def _add(self, do: str, says: str, feature: str | None = None, **sizes: Any) -> None:
        named = feature or (self.spot.id if self.paired else self.unit.fixing.id)
        self.actions.append(replace(self.bench.action(do, named, says, self.unit.fixing.id, self.side), **sizes))

    def _edge_mm(self, across_mm: float, slot: bool) -> float | None:
        """Distance to keep from an edge that the program does not know."""
        return None if self.limits.outline_known else self.limits.edge_mm(across_mm, self.bolt_mm, slot)[0]

    def _open_out(self) -> None:
        opening, spot, (own, other) = self.opening, self.spot, self.lines
        here, there = nearest(own, other)
        least_mm = float(np.linalg.norm(there - here)) + self.bench.tolerance_mm("open out", self.side)
        least_mm = self.bolt_mm + 2.0 * (least_mm - opening.share_mm)
        to_mm = max(drill_up_mm(least_mm), drill_up_mm(opening.across_mm + 1e-6), drill_up_mm(self.bolt_mm))
        to_mm = min(to_mm, self.choice.across_mm or to_mm)
        self.cuts.append(CutLine(self.side, spot.id, own, to_mm, self.bolt_mm))
        says = phrases.open_out(self.what, opening.across_mm, to_mm, self.bolt_mm, self._edge_mm(to_mm, False))
        play_mm, half_mm = round(opening.play_mm(to_mm, self.bolt_mm), 6), spot.half_travel_mm
        slot: dict[str, Any] = {"length_mm": 2.0 * half_mm + to_mm, "angle_deg": spot.angle_deg} if half_mm else {}
        self._add("open out", says, to_mm=to_mm, allowed_mm=play_mm, at_mm=spot.at_mm, **slot)

    def _add_slot(self, says: str, line: np.ndarray, width_mm: float, length_mm: float, angle_deg: float) -> None:
        self.cuts.append(CutLine(self.side, self.spot.id, line, width_mm, self.bolt_mm))
        at_mm = (*(round(float(v), 3) for v in line.mean(axis=0)), *self.spot.at_mm[2:])
        play_mm = self.opening.play_mm(width_mm, self.bolt_mm)
        sizes: dict[str, Any] = {"to_mm": width_mm, "length_mm": length_mm, "angle_deg": angle_deg}
        self._add("slot", says, at_mm=at_mm, allowed_mm=round(play_mm, 6), **sizes)

    def _new_slot(self) -> None:
        width_mm = self.choice.across_mm or 0.0
        centre, along_deg, travel_mm = self._run(width_mm)
        along = direction(along_deg)
        heading, edge_mm = phrases.Direction(along_deg, self._towards(centre, along)), self._edge_mm(width_mm, True)
        now_mm = self.opening.across_mm
        says = phrases.slot(self.what, now_mm, width_mm, travel_mm, heading, self.bolt_mm, edge_mm)
        line = np.array([centre, centre + travel_mm * along])
        self._add_slot(says, line, width_mm, width_mm + travel_mm, along_deg)

    def _run(self, width_mm: float) -> tuple[np.ndarray, float, float]:
        """Start, direction and travel of a new slot: to a whole step long, where its rims let it."""
        own, other = self.lines
        centre = own.mean(axis=0)
        x, y = gap = nearest(np.array([centre, centre]), other)[1] - centre
        along_deg = round(math.degrees(math.atan2(y, x)) % 360.0, 2)
        along = direction(along_deg)
        ahead_mm = max(0.1, float(np.linalg.norm(gap)) - max(0.0, self.shape.allowed_mm))
        towards = [(rim, float(rim.x * along[0] + rim.y * along[1])) for rim in self.shape.rims]
        most_mm = min([self.shape.travel_mm, *(rim.room_mm / share for rim, share in towards if share > 1e-9)])
        step_mm = edge_rule("length step").value
        length_mm = math.ceil((width_mm + ahead_mm) / step_mm - 1e-6) * step_mm
        if length_mm - width_mm <= most_mm + 1e-9:
            return centre, along_deg, length_mm - width_mm
        return centre, along_deg, min(math.ceil(10.0 * ahead_mm - 1e-6) / 10.0, max(most_mm, ahead_mm))

    def _longer_slot(self) -> None:
        """A slot that is there already: longer at the end that falls short."""
        shape, spot, (own, other) = self.shape, self.spot, self.lines
        now_mm, width_mm = self.opening.across_mm, self.choice.across_mm or self.opening.across_mm
        along, centre = direction(spot.angle_deg), own.mean(axis=0)
        gap = nearest(lengthened(own, spot, shape), other)[1] - centre
        aside_mm, ahead_mm = abs(float(along[0] * gap[1] - along[1] * gap[0])), float(gap @ along)
        reach_mm = math.sqrt(max(0.0, shape.allowed_mm**2 - aside_mm**2))
        short_mm = abs(ahead_mm) - reach_mm - spot.half_travel_mm
        long_mm, step_mm = 2.0 * spot.half_travel_mm + width_mm, edge_rule("length step").value
        length_mm = max(long_mm, math.ceil((long_mm + max(short_mm, 0.0)) / step_mm - 1e-6) * step_mm)
        forward = ahead_mm >= 0.0
        heading = along if forward else -along
        more_mm = min(length_mm - long_mm, shape.forward_mm if forward else shape.back_mm)
        middle, half_mm = centre + more_mm / 2.0 * heading, spot.half_travel_mm + more_mm / 2.0
        says = phrases.longer_slot(
            self.what,
            (2.0 * spot.half_travel_mm + now_mm, 2.0 * half_mm + width_mm),
            (now_mm, width_mm),
            phrases.Direction(math.degrees(math.atan2(heading[1], heading[0])) % 360.0, self._towards(centre, heading)),
            self._edge_mm(width_mm, True),
        )
        line = np.array([middle - half_mm * along, middle + half_mm * along])
        self._add_slot(says, line, width_mm, round(2.0 * half_mm + width_mm, 6), spot.angle_deg)

    def _towards(self, centre: np.ndarray, along: np.ndarray) -> str | None:
        """Another feature of the part that lies in that direction, within 10 degrees."""
        task = self.bench.question.task
        best, found = math.cos(math.radians(10.0)), None
        for spot in task.features if self.side == "donor" else task.fixings:
            gap = np.array(spot.at_mm[:2]) - centre
            length_mm = float(np.linalg.norm(gap))
            if spot.id != self.spot.id and length_mm > 1.0 and float(gap @ along) / length_mm > best:
                best, found = float(gap @ along) / length_mm, spot.id
        return found

    @cached_property
    def _to_donor(self) -> np.ndarray:
        return np.asarray(np.linalg.inv(np.array(self.placement.matrix, dtype=float)))

    @property
    def fixing_axis(self) -> Axis | None:
        """Which way the fixing points in the donor's frame; None in the plane."""
        if len(self.unit.fixing.at_mm) == 2:
            return None
        x, y, z = (self._to_donor[:3, :3] @ np.array(self.unit.fixing.axis)).tolist()
        return x, y, z

    @property
    def fixing_at_mm(self) -> tuple[float, ...]:
        """Where the fixing stands in the donor's frame, to a tenth."""
        there = self._to_donor[:3, :3] @ line3(self.unit.fixing).mean(axis=0) + self._to_donor[:3, 3]
        return tuple(round(float(value), 1) for value in there[: len(self.unit.fixing.at_mm)])

    def _new_hole(self) -> None:
        fixing, across_mm, at_mm = self.unit.fixing.id, self.choice.across_mm or 0.0, self.fixing_at_mm
        axis, edge_mm = self.fixing_axis, self._edge_mm(across_mm, False)
        says = phrases.new_hole(fixing, across_mm, at_mm, axis, self.paired, edge_mm)
        self.paired = f"new-{fixing}"
        self.cuts.append(CutLine("donor", self.paired, np.array([at_mm[:2]] * 2), across_mm, self.bolt_mm))
        play_mm = (across_mm - self.bolt_mm) / 2.0 + (self.unit.share_of_new_hole_mm or 0.0)
        self._add("new hole", says, self.paired, to_mm=across_mm, at_mm=at_mm, axis=axis, allowed_mm=round(play_mm, 6))

    def _leave(self) -> None:
        feature, self.paired = self.paired or self.unit.fixing.id, None
        empty = f"Leave fixing {self.unit.fixing.id} empty ({feature} does not reach it)"
        self._add("leave unused", f"{empty} and plug the hole that stays open.", feature)

    def _move_over(self) -> None:
        """The bracket goes where the fixing is: the pair no longer depends on where the part lies."""
        bracket, at_mm, choice = self.choice.bracket, self.fixing_at_mm, self.choice
        assert bracket is not None
        self.paired = None
        self.refusal = refuse_bracket(self.bench.donor, at_mm, bracket)
        original, cost = self.bench.question.original, self.bench.price(choice.minutes, choice.cost)
        self._add(
            "move over",
            phrases.move_over(bracket, original.part if original else "the original", at_mm, self.limits.part.part),
            f"moved-{self.unit.fixing.id}",
            at_mm=at_mm,
            minutes=choice.minutes,
            cost=None if cost is None else round(cost, 2),
            material_cost=choice.cost,
            tools=("tools to undo it", *self.bench.work("new hole").tools),
        )

    def _other_bolt(self) -> None:
        sizes, host, donor = self.unit.sizes, self.unit.host, self.unit.donor
        assert sizes is not None
        meant = donor.thread if donor is not None else None
        meant = host.thread if meant == sizes.other_bolt else meant
        was = parse_thread(meant) if meant else None
        thinner = was is not None and was.major_mm > sizes.bolt_mm + 1e-6
        says = phrases.other_bolt(self.unit.fixing.id, sizes.other_bolt or "", meant, thinner)
        play_mm = sizes.openings[0].play_mm(sizes.openings[0].across_mm, sizes.bolt_mm)
        self._add("other bolt", says, to_mm=sizes.bolt_mm, allowed_mm=round(play_mm, 6), thread=sizes.other_bolt)

    def _insert(self) -> None:
        thread, across_mm = self.unit.host.thread, self.choice.across_mm
        says = f"Fit a thread insert {thread or f'{across_mm:g} mm'} in tapped hole {self.spot.id}, square to the face."
        self._add("thread insert", says, to_mm=across_mm, allowed_mm=round(self.shape.allowed_mm, 6), thread=thread)
