"""The bench sheet: every step in the order of work, how to mark it out, what to look at after it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from partkin.adaptation.choices import Bench
from partkin.adaptation.limits import LICENSED
from partkin.adaptation.marking import heading, marks_for, way
from partkin.adaptation.pairs import bolt_of
from partkin.adaptation.tables import rule
from partkin.adaptation.zones import to_zone_mm
from partkin.model.adapting import Action, Adaptation, AdaptationQuestion, ConnectorLine, EdgeGap, Mark, Step
from partkin.model.build import Outline, Zone
from partkin.model.fitting import Spot
from partkin.model.words import AIRBAG_ZONES, PROTECTED_ZONES
from partkin.together import together

CUTS = ("open out", "slot", "new hole", "thread insert", "trim edge")
FASTENERS = ("leave unused", "spacer", "longer bolt", "other bolt", "new clip")
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
) -> tuple[Step, ...]:
    """Lay out an adaptation as a bench sheet.

    Parameters
    ----------
    question, adaptation
    more
        Further jobs (edges to trim).
    gaps
        Gaps to look at once the part is on.
    connectors
        What plugs in where.

    Returns
    -------
    tuple of Step
        Numbered from 1: get ready, cut, fit, check. Values only; the words of each are ready to print.
    """
    besides = together(more)
    sheet = _Sheet(question, adaptation, besides)
    steps = [sheet.ready()]
    # A hole to start from is wanted by the others: what is drilled and opened comes before what is filed.
    jobs = together(adaptation.actions)
    steps += [sheet.cut(action) for action in jobs if action.do in CUTS]
    steps += [sheet.plain(action) for action in (*jobs, *besides) if action.do in FASTENERS]
    steps.append(sheet.trial())
    steps += [sheet.bracket(action) for action in jobs if action.do == "move over"]
    steps += [sheet.cut(action) for action in besides if action.do == "trim edge"]
    steps += [sheet.plugs(line, besides) for line in connectors if line.state != "matches"]
    steps += [sheet.gap(gap) for gap in gaps]
    steps.append(sheet.done())
    return tuple(replace(step, order=number) for number, step in enumerate(steps, start=1))


class _Sheet:
    """Steps of one adaptation."""

    def __init__(self, question: AdaptationQuestion, adaptation: Adaptation, besides: Sequence[Action]) -> None:
        self.question, self.adaptation = question, adaptation
        self.is_cut = any(
            action.do in CUTS or (action.do == "move over" and action.fixing is not None)
            for action in (*adaptation.actions, *besides)
        )
        self.bench = Bench(question)
        self.donor = question.donor.part

    def ready(self) -> Step:
        donor = self.question.donor
        cautions = []
        if donor.mass_kg is not None and donor.mass_kg > HEAVY_KG:
            cautions.append(
                f"{donor.part} weighs {donor.mass_kg:g} kg: two people or a hoist (HSE INDG143: about 25 kg for men, "
                "16 kg for women, held close at waist height)."
            )
        cautions += [zone for zone, _ in self._zones()]
        face = f"with its {donor.seen_from} face towards you" if donor.seen_from else "as it was measured"
        says = (
            f"Lay {donor.part} down {face}, supported as it will sit.{self._turned()} Left, right, up and down are "
            "meant like that on this whole sheet. Read all steps before the first cut; a hole can be made larger, "
            "never smaller."
        )
        tools: tuple[str, ...] = ("marking tape", "rule", "square")
        if not self.is_cut:
            tools = ()
            says = f"Look {donor.part} over {face}: no crack runs into a hole, no clip or insert is missing."
        return Step(0, "get ready", donor.part, None, says, tools=tools, cautions=tuple(cautions))

    def _turned(self) -> str:
        """How to turn the part so that x runs to the right: by the two holes that are farthest apart."""
        spots = [spot for spot in self.question.task.features if spot.id in self.bench.donor_feature]
        pairs = [(math.dist(one.at_mm[:2], other.at_mm[:2]), one, other) for one, other in combinations(spots, 2)]
        if not pairs:
            return ""
        _, one, other = max(pairs, key=lambda pair: (round(pair[0], 1), pair[1].id, pair[2].id))
        if one.at_mm[0] > other.at_mm[0]:
            one, other = other, one
        kind = self.bench.donor_feature[other.id].kind
        return f" Turn it until {kind} {other.id} lies {way(one.id, one.at_mm, other.at_mm)}."

    def _zones(self) -> list[tuple[str, Zone]]:
        margin_mm = rule("zone margin").value
        return [
            (
                f"Keep {margin_mm:g} mm away from the {zone.kind} {zone.zone}: no cut, glue, filler or extra skin on "
                f"it or near it. {_sentence(LICENSED)}",
                zone,
            )
            for zone in self.question.donor_zones
            if zone.kind in PROTECTED_ZONES
        ]

    def cut(self, action: Action) -> Step:
        limits = self.bench.limits(action.side)
        drilled = action.do != "trim edge"
        cautions = [limits.material.caution] if drilled and limits.material and limits.material.caution else []
        if limits.material is None:
            cautions.append(f"The material of {action.part} is not known: try on a hidden spot, and stop if it cracks.")
        if action.side == "donor":
            cautions += self._zones_near(action)
        says = action.says
        if action.do == "slot" and action.at_mm is not None:
            seen = "seen as in step 1" if action.side == "donor" else self._seen_on_the_vehicle()
            says += f" It runs {heading(self._heading_deg(action))}, {seen}."
        return Step(
            0,
            action.do,
            action.part,
            action.feature,
            says,
            self._marks(action),
            action.tools,
            action.minutes,
            tuple(cautions),
            self._play(action),
            self._before(action),
        )

    def _seen_on_the_vehicle(self) -> str:
        face = self.question.host.seen_from
        return f"seen from the {face} with x to the right and y up" if face else "with x to the right and y up"

    def _zones_near(self, action: Action) -> list[str]:
        """Cautions of the zones that a cut comes anywhere near to, with the distance that it keeps."""
        if action.at_mm is None:
            return [says for says, _ in self._zones()]
        point = np.array([self._point(action)] * 2)
        found = []
        for says, zone in self._zones():
            away_mm = to_zone_mm(point, (action.to_mm or 0.0) / 2.0, zone)
            if away_mm <= NEAR_A_ZONE_MM or action.do == "trim edge":
                found.append(f"{says} This cut stays {away_mm:.0f} mm away." if action.do != "trim edge" else says)
        return found

    def _heading_deg(self, action: Action) -> float:
        (x, y), old = self._point(action), self._old(action)
        return math.degrees(math.atan2(y - old[1], x - old[0]))

    def _old(self, action: Action) -> tuple[float, ...]:
        """Where the hole that is worked on is now."""
        spots = self.question.task.features if action.side == "donor" else self.question.task.fixings
        at_mm = action.at_mm or (0.0, 0.0)
        return next((spot.at_mm for spot in spots if spot.id == action.feature), at_mm)

    def _before(self, action: Action) -> str | None:
        """What must be so before the first chip is cut."""
        if action.do == "slot" and action.at_mm is not None:
            away_mm = math.dist(self._point(action), self._old(action)[:2])
            return (
                f"The mark lies {away_mm:.1f} mm from the centre of {action.feature}, to within half a millimetre. If "
                "it does not, stop and measure again."
            )
        if action.do == "new hole":
            return f"With the part laid on by its other fixings, the mark falls on {action.fixing}."
        return None

    def _has_airbag_zone(self) -> bool:
        return any(zone.kind in AIRBAG_ZONES for zone in self.question.donor_zones)

    def _marks(self, action: Action) -> tuple[Mark, ...]:
        """Where the new centre is: of a new hole, or of a new slot's far end."""
        if action.at_mm is None or action.do not in ("slot", "new hole"):
            return ()
        return marks_for(self._point(action), self._outlines(action), self._standing(action))

    def _point(self, action: Action) -> tuple[float, float]:
        x, y = (action.at_mm or (0.0, 0.0))[:2]
        if action.do != "slot" or action.length_mm is None or action.to_mm is None:
            return x, y
        half_mm, turn = (action.length_mm - action.to_mm) / 2.0, math.radians(action.angle_deg or 0.0)
        ends = [(x + way * half_mm * math.cos(turn), y + way * half_mm * math.sin(turn)) for way in (1.0, -1.0)]
        return max(ends, key=lambda end: math.dist(end, self._old(action)[:2]))

    def _outlines(self, action: Action) -> Sequence[Outline]:
        return self.question.donor_outlines if action.side == "donor" else self.question.host_outlines

    def _standing(self, action: Action) -> list[Spot]:
        """Holes that are there already and are not themselves recut."""
        spots = self.question.task.features if action.side == "donor" else self.question.task.fixings
        kept = self.bench.donor_feature if action.side == "donor" else self.bench.host_feature
        recut = {a.feature for a in self.adaptation.actions if a.do in CUTS and a.side == action.side}
        holes = [spot for spot in spots if spot.id in kept and spot.id not in recut]
        # The hole that a slot starts from is there as long as the slot is not cut.
        return holes or [spot for spot in spots if spot.id in kept and spot.id != action.feature]

    def _play(self, action: Action) -> str | None:
        """What the bolt should do in the finished hole."""
        if action.allowed_mm is None or action.fixing is None:
            return None
        bolt_mm, what = self._bolt_mm(action), self._what_goes_through(action)
        through = f"The {bolt_mm:g} mm {what}" if bolt_mm is not None else f"The {what}"
        across = f"about {2.0 * action.allowed_mm:.1f} mm in all from side to side"
        if action.do == "slot" and action.length_mm is not None and action.to_mm is not None:
            along_mm = action.length_mm - action.to_mm + 2.0 * action.allowed_mm
            return f"{through} goes through freely and moves {across} and {along_mm:.1f} mm along the slot."
        return f"{through} goes through freely and moves {across}."

    def _what_goes_through(self, action: Action) -> str:
        host = self.bench.host_feature.get(action.fixing or "")
        donor = self.bench.donor_feature.get(dict(self.adaptation.pairs).get(action.fixing or "", action.feature))
        kinds = [feature.kind for feature in (host, donor) if feature is not None]
        return next((kind for kind in ("stud", "peg", "clip") if kind in kinds), "bolt")

    def _bolt_mm(self, action: Action) -> float | None:
        host = self.bench.host_feature.get(action.fixing or "")
        if host is None:
            return None
        partner = dict(self.adaptation.pairs).get(host.feature, action.feature)
        return bolt_of(self.question, host, self.bench.donor_feature.get(partner, host))

    def plain(self, action: Action) -> Step:
        check = None
        if action.do in ("other bolt", "longer bolt"):
            check = "It starts by hand, runs freely and pulls tight before it reaches the bottom."
        elif action.do == "spacer":
            check = "The face lies level with its neighbours before anything is tightened."
        return Step(0, action.do, action.part, action.feature, action.says, (), action.tools, action.minutes, (), check)

    def bracket(self, action: Action) -> Step:
        limits = self.bench.donor
        cautions = [limits.material.caution] if limits.material and limits.material.caution else []
        cautions += [says for says, _ in self._zones()]
        check = f"The fastener or clip at {action.fixing} goes home with the part on, and the bracket does not rock."
        return Step(
            0,
            action.do,
            action.part,
            action.feature,
            action.says,
            (),
            action.tools,
            action.minutes,
            tuple(cautions),
            check,
        )

    def trial(self) -> Step:
        tight = f"{max(0.0, self.adaptation.margin_mm):.1f} mm"
        pairs = self.adaptation.pairs
        laid = f": {', '.join(f'{feature} on {fixing}' for fixing, feature in pairs)}" if pairs else ""
        return Step(
            0,
            "trial fit",
            self.donor,
            None,
            f"Lay it on{laid}. Start every fastener by hand before tightening any; then tighten from the middle "
            "outwards.",
            tools=("hand tools",),
            check=f"Every fastener starts by hand. At the tightest place {tight} of play is left over.",
        )

    def plugs(self, line: ConnectorLine, jobs: Sequence[Action]) -> Step:
        job = next((job for job in jobs if job.feature == line.connector and job.fixing is None), None)
        check = "It works; try it before the trim goes on."
        return Step(
            0,
            line.state,
            self.donor,
            line.connector,
            line.says,
            tools=job.tools if job else (),
            minutes=job.minutes if job else None,
            check=None if line.state in ("licensed practice only", "not used") else check,
        )

    def gap(self, gap: EdgeGap) -> Step:
        low, high = gap.wanted_mm
        wanted = f"{low:g} to {high:g} mm" if low is not None and high is not None else "even along its length"
        return Step(
            0,
            "look at the gap",
            self.donor,
            gap.edge,
            f"Look at the gap all along. By the drawing, {gap.says}",
            tools=("feeler strips or drill shanks",),
            check=f"The gap to {gap.neighbour} is {wanted}.",
        )

    def done(self) -> Step:
        cautions = []
        if self._has_airbag_zone():
            cautions.append(
                "An airbag bursts through this panel: that it fits says nothing of how it opens. Before the vehicle is "
                f"used, {LICENSED}."
            )
        says = "Look over all that was done, then write down what happened (a row of outcomes.csv)."
        return Step(0, "finish", self.donor, None, says, cautions=tuple(cautions))


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."
