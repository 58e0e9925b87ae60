"""The question that adaptation answers: what was found of a donor, and what of the original may be moved over to it."""

from __future__ import annotations

import math
from dataclasses import replace

from partkin.fit.task import Prepared
from partkin.model.adapting import AdaptationQuestion, Bracket
from partkin.model.build import Build, Feature, Holding, Outline, Part
from partkin.model.known import Side, airbag, strictest_duty
from partkin.model.mating import Size
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
        holes = [f for f in own if f.goes_on not in fixings]
        minutes, duty = sum(row.minutes or 0.0 for row in rows), part.duty or original.duty
        for f in own:
            if f.goes_on is not None and f.goes_on in fixings:
                reach_mm, count = _reach_mm(f, holes), len(holes) or None
                found.append(Bracket(part.part, f, f.goes_on, count, reach_mm, _undo(rows), minutes, duty))
    return tuple(found)


def _reach_mm(feature: Feature, holes: list[Feature]) -> float | None:
    """How far from a bracket's feature its holes can reach; None where a place is not known."""
    reaches = []
    for hole in holes:
        if None in (feature.x_mm, feature.y_mm, hole.x_mm, hole.y_mm):
            return None
        dx, dy = (hole.x_mm or 0.0) - (feature.x_mm or 0.0), (hole.y_mm or 0.0) - (feature.y_mm or 0.0)
        reaches.append(math.hypot(dx, dy) + max(hole.across_mm or 0.0, hole.length_mm or 0.0) / 2.0)
    return max(reaches) if reaches else None


def _undo(rows: list[Holding]) -> str | None:
    """How it comes off, from held_by.csv.

    >>> _undo([Holding("bracket", "top", "s1", "screw", 2, tool="T20")])
    'undo 2 screws (T20)'
    """
    said = [f"{row.count} {row.kind}{'s' * (row.count != 1)}" + (f" ({row.tool})" if row.tool else "") for row in rows]
    return f"undo {' and '.join(said)}" if said else None
