"""The bench sheet: every step in the order of work, how to mark it out, what to look at after it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from partkin.adaptation.choices import Bench
from partkin.adaptation.limits import LICENSED
from partkin.adaptation.marking import marks_for
from partkin.adaptation.pairs import bolt_of
from partkin.adaptation.tables import rule
from partkin.model.adapting import Action, Adaptation, AdaptationQuestion, ConnectorLine, EdgeGap, Mark, Step
from partkin.model.build import Outline
from partkin.model.fitting import Spot
from partkin.model.words import AIRBAG_ZONES, PROTECTED_ZONES

CUTS = ("open out", "slot", "new hole", "thread insert", "trim edge")
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
    sheet = _Sheet(question, adaptation)
    steps = [sheet.ready()]
    cuts = [a for a in (*adaptation.actions, *more) if a.do in CUTS]
    steps += [sheet.cut(action) for action in cuts if action.do != "trim edge"]
    steps += [sheet.plain(action) for action in adaptation.actions if action.do not in CUTS]
    steps.append(sheet.trial())
    steps += [sheet.cut(action) for action in cuts if action.do == "trim edge"]
    steps += [sheet.plugs(line) for line in connectors if line.state != "matches"]
    steps += [sheet.gap(gap) for gap in gaps]
    steps.append(sheet.done())
    return tuple(_numbered(step, number) for number, step in enumerate(steps, start=1))


def _numbered(step: Step, number: int) -> Step:
    return Step(
        number, step.do, step.part, step.feature, step.says, step.marks, step.tools, step.minutes, step.cautions,
        step.check,
    )  # fmt: skip


class _Sheet:
    """Steps of one adaptation."""

    def __init__(self, question: AdaptationQuestion, adaptation: Adaptation) -> None:
        self.question, self.adaptation = question, adaptation
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
        cautions += self._zones()
        seen = f" Dimensions are as seen from {donor.seen_from}." if donor.seen_from else ""
        says = (
            f"Lay {donor.part} down as it will sit and mark its face.{seen} x runs to the right and y up. Read all "
            "steps before the first cut; a hole can be made larger, never smaller."
        )
        tools = ("marking tape", "rule", "square")
        return Step(0, "get ready", donor.part, None, says, tools=tools, cautions=tuple(cautions))

    def _zones(self) -> list[str]:
        margin_mm = rule("zone margin").value
        return [
            f"Keep {margin_mm:g} mm away from the {zone.kind} {zone.zone}: no cut, glue, filler or extra skin on it or "
            f"near it. {_sentence(LICENSED)}"
            for zone in self.question.donor_zones
            if zone.kind in PROTECTED_ZONES
        ]

    def cut(self, action: Action) -> Step:
        limits = self.bench.limits(action.side)
        cautions = [limits.material.caution] if limits.material and limits.material.caution else []
        if limits.material is None:
            cautions.append(f"The material of {action.part} is not known: try on a hidden spot, and stop if it cracks.")
        if self._has_airbag_zone():
            cautions += self._zones()
        return Step(
            0, action.do, action.part, action.feature, action.says, self._marks(action), action.tools, action.minutes,
            tuple(cautions), self._play(action),
        )  # fmt: skip

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
        ends = [
            (x + way * half_mm * math.cos(turn), y + way * half_mm * math.sin(turn)) for way in (1.0, -1.0)
        ]
        spots = self.question.task.features if action.side == "donor" else self.question.task.fixings
        old = next((spot.at_mm for spot in spots if spot.id == action.feature), (x, y))
        return max(ends, key=lambda end: math.dist(end, old[:2]))

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
        bolt_mm = self._bolt_mm(action)
        through = f"The {bolt_mm:g} mm bolt" if bolt_mm is not None else "The bolt"
        across = f"about {2.0 * action.allowed_mm:.1f} mm in all from side to side"
        if action.do == "slot" and action.length_mm is not None and action.to_mm is not None:
            along_mm = action.length_mm - action.to_mm + 2.0 * action.allowed_mm
            return f"{through} goes through freely and moves {across} and {along_mm:.1f} mm along the slot."
        return f"{through} goes through freely and moves {across}."

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
        return Step(
            0, action.do, action.part, action.feature, action.says, (), action.tools, action.minutes, (), check
        )

    def trial(self) -> Step:
        tight = f"{max(0.0, self.adaptation.margin_mm):.1f} mm"
        return Step(
            0, "trial fit", self.donor, None,
            "Lay it on and start every fastener by hand before tightening any; then tighten from the middle outwards.",
            tools=("hand tools",),
            check=f"Every fastener starts by hand. At the tightest place {tight} of play is left over.",
        )  # fmt: skip

    def plugs(self, line: ConnectorLine) -> Step:
        return Step(0, line.state, self.donor, line.connector, line.says, check="It works before the trim goes on.")

    def gap(self, gap: EdgeGap) -> Step:
        low, high = gap.wanted_mm
        wanted = f"{low:g} to {high:g} mm" if low is not None and high is not None else "even along its length"
        return Step(
            0, "look at the gap", self.donor, gap.edge, gap.says, tools=("feeler strips or drill shanks",),
            check=f"The gap to {gap.neighbour} is {wanted}.",
        )  # fmt: skip

    def done(self) -> Step:
        cautions = []
        if self._has_airbag_zone():
            cautions.append(
                "An airbag bursts through this panel: that it fits says nothing of how it opens. Before the vehicle is "
                f"used, {LICENSED}."
            )
        says = "Check the work, then write down what happened, so that the next answer is better."
        return Step(0, "finish", self.donor, None, says, cautions=tuple(cautions))


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."
