"""The bench sheet: every step in the order of work, the distances that mark it out, what to look at after it.

In: a question, the adaptation that was chosen, and what goes with it. Out: steps whose words are ready to print.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import combinations
from typing import NamedTuple

import numpy as np

from partkin.adaptation.limits import LICENSED, to_zone_mm
from partkin.adaptation.question import Bench
from partkin.adaptation.sizes import bolt_of
from partkin.fit.segments import direction, segments_of, to_segments_mm
from partkin.model.adapting import (
    Action,
    Adaptation,
    AdaptationQuestion,
    BenchStep,
    ConnectorLine,
    EdgeGap,
    Mark,
    together,
)
from partkin.model.build import Feature, Outline, Zone
from partkin.model.fitting import Spot
from partkin.model.words import AIRBAG_ZONES, PROTECTED_ZONES, heading, way
from partkin.tables.work import edge_rule

CUTS = ("open out", "slot", "new hole", "thread insert", "trim edge")
FASTENERS = ("leave unused", "spacer", "longer bolt", "other bolt", "new clip")
STARTS_BY_HAND = "It starts by hand, runs freely and pulls tight before it reaches the bottom."
# What is looked at after a job with fasteners.
CHECKS = {
    "other bolt": STARTS_BY_HAND,
    "longer bolt": STARTS_BY_HAND,
    "spacer": "The face lies level with its neighbours before anything is tightened.",
}
# Common practice, no source: at a cut farther from a zone than this its caution would only be in the way.
NEAR_A_ZONE_MM = 150.0
# HSE INDG143 filter, held close at waist height: about 25 kg (men) or 16 kg (women).
HEAVY_KG = 16.0


def worklist(
    question: AdaptationQuestion,
    adaptation: Adaptation,
    more: Iterable[Action] = (),
    gaps: Iterable[EdgeGap] = (),
    connectors: Iterable[ConnectorLine] = (),
) -> tuple[BenchStep, ...]:
    """Lay out an adaptation as a bench sheet, numbered from 1: get ready, cut, fit, check.

    `more`: further jobs (edges to trim). `gaps`: to look at once the part is on. `connectors`: what plugs in where.
    """
    besides, jobs = together(more), together(adaptation.actions)
    sheet = _StepWriter(question, adaptation, besides)
    steps = [sheet.ready()]
    # Drilled and opened holes come first: the other jobs are marked out from them.
    steps += [sheet.cut(action) for action in jobs if action.do in CUTS]
    steps += [_of(a, check=CHECKS.get(a.do)) for a in (*jobs, *besides) if a.do in FASTENERS]
    steps.append(sheet.trial())
    steps += [sheet.bracket(action) for action in jobs if action.do == "move over"]
    steps += [sheet.cut(action) for action in besides if action.do == "trim edge"]
    steps += [sheet.plugs(line, besides) for line in connectors if line.state != "matches"]
    steps += [sheet.gap(gap) for gap in gaps]
    steps.append(sheet.done())
    return tuple(replace(step, order=number) for number, step in enumerate(steps, start=1))


def _of(action: Action, cautions: Iterable[str] = (), check: str | None = None) -> BenchStep:
    """The step of one job."""
    step = BenchStep(0, action.do, action.part, action.feature, action.says, tools=action.tools, minutes=action.minutes)
    return replace(step, cautions=tuple(cautions), check=check)


class _StepWriter:
    """Steps of one adaptation."""

    def __init__(self, question: AdaptationQuestion, adaptation: Adaptation, besides: Sequence[Action]) -> None:
        self.question, self.adaptation, self.bench = question, adaptation, Bench(question)
        self.donor, self.pairs = question.donor.part, dict(adaptation.pairs)
        actions = (*adaptation.actions, *besides)
        self.is_cut = any(a.do in CUTS or (a.do == "move over" and a.fixing is not None) for a in actions)
        keep = f"Keep {edge_rule('zone margin').value:g} mm away from the"
        law = f"no cut, glue, filler or extra skin on it or near it. {LICENSED[0].upper()}{LICENSED[1:]}."
        self.zones: list[tuple[str, Zone]] = [
            (f"{keep} {zone.kind} {zone.zone}: {law}", zone)
            for zone in question.donor_zones
            if zone.kind in PROTECTED_ZONES
        ]

    def spots(self, side: str) -> tuple[Spot, ...]:
        return self.question.task.features if side == "donor" else self.question.task.fixings

    def listed(self, side: str) -> dict[str, Feature]:
        return self.bench.donor_feature if side == "donor" else self.bench.host_feature

    def ready(self) -> BenchStep:
        donor = self.question.donor
        cautions = []
        if donor.mass_kg is not None and donor.mass_kg > HEAVY_KG:
            cautions.append(
                f"{donor.part} weighs {donor.mass_kg:g} kg: two people or a hoist (HSE INDG143: about 25 kg for men, "
                "16 kg for women, held close at waist height)."
            )
        cautions += [caution for caution, _ in self.zones]
        face = f"with its {donor.seen_from} face towards you" if donor.seen_from else "as it was measured"
        says = f"Look {donor.part} over {face}: no crack runs into a hole, no clip or insert is missing."
        if self.is_cut:
            says = (
                f"Lay {donor.part} down {face}, supported as it will sit.{self._turned()} Left, right, up and down are "
                "meant like that on this whole sheet. Read all steps before the first cut; a hole can be made larger, "
                "never smaller."
            )
        tools = ("marking tape", "rule", "square") if self.is_cut else ()
        return BenchStep(0, "get ready", donor.part, None, says, tools=tools, cautions=tuple(cautions))

    def _turned(self) -> str:
        """How to turn the part so that x runs to the right: by the two holes that are farthest apart."""
        spots = [spot for spot in self.question.task.features if spot.id in self.bench.donor_feature]
        pairs = [(round(math.dist(a.at_mm[:2], b.at_mm[:2]), 1), a.id, b.id, a, b) for a, b in combinations(spots, 2)]
        if not pairs:
            return ""
        *_, one, other = max(pairs, key=lambda pair: pair[:3])
        if one.at_mm[0] > other.at_mm[0]:
            one, other = other, one
        kind = self.bench.donor_feature[other.id].kind
        return f" Turn it until {kind} {other.id} lies {way(one.id, one.at_mm, other.at_mm)}."

    def cut(self, action: Action) -> BenchStep:
        material = self.bench.limits(action.side).material
        cautions = [material.caution] if action.do != "trim edge" and material and material.caution else []
        if material is None:
            cautions.append(f"The material of {action.part} is not known: try on a hidden spot, and stop if it cracks.")
        if action.side == "donor":
            cautions += self._zones_near(action)
        step = _of(action, cautions, self._play(action))
        if action.at_mm is None or action.do not in ("slot", "new hole"):
            return step
        outlines = self.question.donor_outlines if action.side == "donor" else self.question.host_outlines
        step = replace(step, marks=self._marks(action, outlines))
        if action.do == "new hole":
            laid_on = f"With the part laid on by its other fixings, the mark falls on {action.fixing}."
            return replace(step, before=laid_on)
        (x, y), (old_x, old_y) = self._point(action), self._old(action)[:2]
        face = self.question.host.seen_from
        seen = f"seen from the {face} with x to the right and y up" if face else "with x to the right and y up"
        seen = "seen as in step 1" if action.side == "donor" else seen
        runs = heading(math.degrees(math.atan2(y - old_y, x - old_x)))
        before = (
            f"The mark lies {math.dist((x, y), (old_x, old_y)):.1f} mm from the centre of {action.feature}, to within "
            "half a millimetre. If it does not, stop and measure again."
        )
        return replace(step, says=f"{action.says} It runs {runs}, {seen}.", before=before)

    def _zones_near(self, action: Action) -> list[str]:
        """Cautions of the zones that a cut comes anywhere near to, with the distance that it keeps."""
        if action.at_mm is None or action.do == "trim edge":
            return [caution for caution, _ in self.zones]
        point, radius_mm = np.array([self._point(action)] * 2), (action.to_mm or 0.0) / 2.0
        away = [(caution, to_zone_mm(point, radius_mm, zone)) for caution, zone in self.zones]
        return [f"{caution} This cut stays {mm:.0f} mm away." for caution, mm in away if mm <= NEAR_A_ZONE_MM]

    def _old(self, action: Action) -> tuple[float, ...]:
        """Where the hole that is worked on is now."""
        there = action.at_mm or (0.0, 0.0)
        return next((spot.at_mm for spot in self.spots(action.side) if spot.id == action.feature), there)

    def _point(self, action: Action) -> tuple[float, float]:
        """Where the new centre is: of a new hole, or of a new slot's far end."""
        x, y = (action.at_mm or (0.0, 0.0))[:2]
        if action.do != "slot" or action.length_mm is None or action.to_mm is None:
            return x, y
        reach_x, reach_y = ((action.length_mm - action.to_mm) / 2.0 * direction(action.angle_deg or 0.0)).tolist()
        ends = [(x + reach_x, y + reach_y), (x - reach_x, y - reach_y)]
        return max(ends, key=lambda end: math.dist(end, self._old(action)[:2]))

    def _marks(self, action: Action, outlines: Sequence[Outline]) -> tuple[Mark, ...]:
        """Distances to the new centre from edges, and from holes that are there already and not themselves recut."""
        kept = [spot for spot in self.spots(action.side) if spot.id in self.listed(action.side)]
        recut = {a.feature for a in self.adaptation.actions if a.do in CUTS and a.side == action.side}
        holes = [spot for spot in kept if spot.id not in recut]
        # A slot may be marked out from its own hole: that is still there before the cut.
        holes = holes or [spot for spot in kept if spot.id != action.feature]
        return marks_for(self._point(action), outlines, holes)

    def _play(self, action: Action) -> str | None:
        """What the bolt should do in the finished hole."""
        if action.allowed_mm is None or action.fixing is None:
            return None
        host = self.bench.host_feature.get(action.fixing)
        partner = self.bench.donor_feature.get(self.pairs.get(action.fixing, action.feature))
        kinds = [feature.kind for feature in (host, partner) if feature is not None]
        what = next((kind for kind in ("stud", "peg", "clip") if kind in kinds), "bolt")
        bolt_mm = bolt_of(self.question, host, partner or host) if host is not None else None
        through = f"The {bolt_mm:g} mm {what}" if bolt_mm is not None else f"The {what}"
        across = f"about {2.0 * action.allowed_mm:.1f} mm in all from side to side"
        if action.do == "slot" and action.length_mm is not None and action.to_mm is not None:
            across += f" and {action.length_mm - action.to_mm + 2.0 * action.allowed_mm:.1f} mm along the slot"
        return f"{through} goes through freely and moves {across}."

    def bracket(self, action: Action) -> BenchStep:
        material = self.bench.donor.material
        cautions = [material.caution] if material and material.caution else []
        check = f"The fastener or clip at {action.fixing} goes home with the part on, and the bracket does not rock."
        return _of(action, [*cautions, *(caution for caution, _ in self.zones)], check)

    def trial(self) -> BenchStep:
        laid = ", ".join(f"{feature} on {fixing}" for fixing, feature in self.adaptation.pairs)
        says = f"Lay it on{f': {laid}' if laid else ''}. Start every fastener by hand before tightening any; then "
        tight_mm = max(0.0, self.adaptation.margin_mm)
        check = f"Every fastener starts by hand. At the tightest place {tight_mm:.1f} mm of play is left over."
        says += "tighten from the middle outwards."
        return BenchStep(0, "trial fit", self.donor, None, says, tools=("hand tools",), check=check)

    def plugs(self, line: ConnectorLine, jobs: Sequence[Action]) -> BenchStep:
        job = next((job for job in jobs if job.feature == line.connector and job.fixing is None), None)
        tools, minutes = (job.tools, job.minutes) if job else ((), None)
        works = line.state not in ("licensed practice only", "not used")
        check = "It works; try it before the trim goes on." if works else None
        what = line.connector
        return BenchStep(0, line.state, self.donor, what, line.says, tools=tools, minutes=minutes, check=check)

    def gap(self, gap: EdgeGap) -> BenchStep:
        low, high = gap.wanted_mm
        wanted = f"{low:g} to {high:g} mm" if low is not None and high is not None else "even along its length"
        says, check = (
            f"Look at the gap all along. By the drawing, {gap.says}",
            f"The gap to {gap.neighbour} is {wanted}.",
        )
        tools = ("feeler strips or drill shanks",)
        return BenchStep(0, "look at the gap", self.donor, gap.edge, says, tools=tools, check=check)

    def done(self) -> BenchStep:
        cautions = []
        if any(zone.kind in AIRBAG_ZONES for zone in self.question.donor_zones):
            cautions.append(
                "An airbag bursts through this panel: that it fits says nothing of how it opens. Before the vehicle is "
                f"used, {LICENSED}."
            )
        says = "Look over all that was done, then write down what happened (a row of outcomes.csv)."
        return BenchStep(0, "finish", self.donor, None, says, cautions=tuple(cautions))


# Common practice, no source, all four: a shorter edge is no good to lay a square on, a square carries no farther than a
# few times the edge that it lies on, arcs that cross flatter than this mark nothing well, and beyond this a rule laid
# by hand drifts more than the cut may.
SHORTEST_EDGE_MM = 20.0
CARRIES = 5.0
LEAST_CROSSING_DEG = 30.0
HANDY_MM = 500.0
# Holes that tell an edge from the others.
MOST_NAMED = 3


class _Datum(NamedTuple):
    """Something to measure from: which way it pulls (the unit normal of its line of equal distance)."""

    name: str
    distance_mm: float
    normal: tuple[float, float]
    is_edge: bool

    @property
    def rank(self) -> tuple[bool, bool, float, str]:
        """What is at hand first, edges before holes, near before far."""
        return (self.distance_mm > HANDY_MM, not self.is_edge, self.distance_mm, self.name)


def marks_for(point_mm: Sequence[float], outlines: Sequence[Outline], spots: Sequence[Spot]) -> tuple[Mark, ...]:
    """Two distances that find a point on the part, from its outlines or from holes (`spots`) that are there already.

    Straight edges of at least 20 mm on which the point's perpendicular falls are used, no farther away than 5 times
    their length. The two cross at 30 degrees or more, edges before holes and near before far, what is more than
    500 mm away last; empty where there are no two such.
    """
    point = np.array(point_mm[:2], dtype=float)
    data = sorted(_edges(point, outlines, spots) + _holes(point, spots), key=lambda datum: datum.rank)
    for first, one in enumerate(data):
        for other in data[first + 1 :]:
            cross = abs(one.normal[0] * other.normal[1] - one.normal[1] * other.normal[0])
            if cross >= math.sin(math.radians(LEAST_CROSSING_DEG)) - 1e-9:
                return (_mark(one), _mark(other))
    return ()


def _mark(datum: _Datum) -> Mark:
    how = "square to" if datum.is_edge else "from the centre of"
    return Mark(datum.name, round(datum.distance_mm, 1), f"{datum.distance_mm:.1f} mm {how} {datum.name}")


def _edges(point: np.ndarray, outlines: Sequence[Outline], spots: Sequence[Spot]) -> list[_Datum]:
    lines = [segments_of(line.corners_mm) for line in outlines if line.kind == "edge" and len(line.corners_mm) > 1]
    pieces = [piece for line in lines for piece in zip(*line, strict=True)]
    at = np.array([spot.at_mm[:2] for spot in spots], dtype=float).reshape(-1, 2)
    away = np.array([to_segments_mm(at, *piece) for piece in pieces])
    found = []
    for (start, end), own in zip(pieces, away, strict=True):
        along = end - start
        length_mm = float(np.linalg.norm(along))
        if length_mm < SHORTEST_EDGE_MM:
            continue
        share = float((point - start) @ along) / length_mm**2
        gap = point - (start + share * along)
        away_mm = float(np.linalg.norm(gap))
        if 0.0 <= share <= 1.0 and 0.0 < away_mm <= CARRIES * length_mm:
            # Holes that no other edge is nearer to, in order along the edge.
            near = np.flatnonzero(own <= away.min(axis=0) + 1e-9).tolist()
            order = sorted((float((at[n] - start) @ along), spots[n].id) for n in near)
            name = _edge_name(length_mm, -gap, [hole for _, hole in order])
            found.append(_Datum(name, away_mm, tuple(gap / away_mm), True))
    return found


def _edge_name(length_mm: float, towards: np.ndarray, holes: Sequence[str]) -> str:
    """Name an edge by the side it lies on, seen as x to the right and y up, its length, and the holes along it."""
    x, y = towards
    side = ("right" if x > 0 else "left") if abs(x) >= abs(y) else ("upper" if y > 0 else "lower")
    if len(holes) > MOST_NAMED:
        holes = [holes[0], holes[len(holes) // 2], holes[-1]]
    by = ""
    if holes:
        *rest, last = holes
        by = f", past {', '.join(rest)}{' and ' * bool(rest)}{last}"
    return f"the {side} edge ({length_mm:.0f} mm long{by})"


def _holes(point: np.ndarray, spots: Sequence[Spot]) -> list[_Datum]:
    found = []
    for spot in spots:
        gap = point - np.array(spot.at_mm[:2], dtype=float)
        away_mm = float(np.linalg.norm(gap))
        if away_mm > 1.0 and spot.half_travel_mm == 0.0:
            found.append(_Datum(spot.id, away_mm, tuple(gap / away_mm), False))
    return found
