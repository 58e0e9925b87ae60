"""The question that adaptation answers, of what was found and what may be moved over; and the bench it is worked on."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cached_property

from partkin.adaptation.limits import PartLimits, limits_of
from partkin.fit.task import Prepared
from partkin.model.adapting import Action, AdaptationQuestion, Bracket
from partkin.model.build import Build, Feature, Outline, Part, WorkRow
from partkin.model.known import Side, airbag, strictest_duty
from partkin.model.mating import Size
from partkin.tables.work import work_for
from partkin.trial.findings import Findings


def question_of(build: Build, findings: Findings, prepared: Prepared) -> AdaptationQuestion:
    """Put the question to the adaptation stage."""
    known, original = findings.known, findings.known.original
    return AdaptationQuestion(
        task=prepared.task,
        donor=known.donor.part,
        host=known.host.part,
        donor_features=tuple(_sized(f.feature, f.across, f.length) for f in prepared.features.values()),
        fixings=tuple(_sized(f.feature, f.across, f.length) for f in prepared.fixings.values()),
        matings=tuple(prepared.matings.values()),
        duty=strictest_duty(known),
        host_duty=known.host.part.duty,
        airbag=airbag(known),
        settings=build.settings,
        work=build.work,
        donor_zones=known.donor.zones,
        host_zones=known.host.zones,
        donor_outlines=_outlines(build, known.donor),
        host_outlines=_outlines(build, known.host),
        original=original.part if original is not None else None,
        original_zones=original.zones if original is not None else (),
        brackets=_brackets(build, original.part, frozenset(prepared.fixings)) if original is not None else (),
    )


def _sized(feature: Feature, across: Size, length: Size) -> Feature:
    """The feature with the sizes that readings give."""
    return replace(feature, across_mm=across.mm, length_mm=length.mm if length.mm is not None else feature.length_mm)


def _outlines(build: Build, side: Side) -> tuple[Outline, ...]:
    return tuple(outline for outline in build.outlines if outline.part == side.part.part)


def _brackets(build: Build, original: Part, fixings: frozenset[str]) -> tuple[Bracket, ...]:
    """List them by id: parts that are `part_of` the original with a feature that `goes_on` a fixing."""
    found = []
    for part in (p for p in build.parts if p.part_of == original.part and p.origin != "donor"):
        own = build.features_of(part.part)
        rows = [row for row in build.holdings if {row.part, row.held_to} == {part.part, original.part}]
        said = [f"{r.count} {r.kind}{'s' * (r.count != 1)}" + (f" ({r.tool})" if r.tool else "") for r in rows]
        undo = f"undo {' and '.join(said)}" if said else None
        holes = [f for f in own if f.goes_on not in fixings]
        minutes, duty = sum(row.minutes or 0.0 for row in rows), part.duty or original.duty
        for f in own:
            if f.goes_on is not None and f.goes_on in fixings:
                reach_mm, count = _reach_mm(f, holes), len(holes) or None
                found.append(Bracket(part.part, f, f.goes_on, count, reach_mm, undo, minutes, duty))
    return tuple(found)


def _reach_mm(feature: Feature, holes: list[Feature]) -> float | None:
    """How far from a bracket's feature its holes can reach; None where a place is not known."""
    reaches = []
    for hole in holes:
        if feature.x_mm is None or feature.y_mm is None or hole.x_mm is None or hole.y_mm is None:
            return None
        away_mm = math.hypot(hole.x_mm - feature.x_mm, hole.y_mm - feature.y_mm)
        reaches.append(away_mm + max(hole.across_mm or 0.0, hole.length_mm or 0.0) / 2.0)
    return max(reaches) if reaches else None


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

    def work(self, do: str, side: str = "donor") -> WorkRow:
        """What a job takes in that part's material, and how far a careful hand may miss."""
        return work_for(do, self.limits(side).group, self.question.work)

    def price(self, minutes: float, material_cost: float) -> float | None:
        """What work costs at the build's labour rate; None: no rate is known."""
        rate = self.question.settings.labour_rate
        return None if rate is None else minutes * rate / 60.0 + material_cost

    def tolerance_mm(self, do: str, side: str = "donor") -> float:
        """What a changed size leaves: for the hand, and for the spread of the readings."""
        return self.work(do, side).workmanship_mm + self.question.reserve_mm

    def action(self, do: str, feature: str, says: str, fixing: str | None = None, side: str = "donor") -> Action:
        """A job with what the work table says of it; sizes are filled in by the caller."""
        row = self.work(do, side)
        cost = self.price(row.minutes, row.cost)
        cost, part = None if cost is None else round(cost, 2), self.limits(side).part.part
        done = Action(do, feature, part, None, row.minutes, cost, says, fixing, tools=row.tools, source=row.source)
        return replace(done, workmanship_mm=row.workmanship_mm, side=side, material_cost=row.cost)
