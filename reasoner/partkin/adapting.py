"""Joins geometry and adaptation: what is the cheapest work that makes the donor fit, and does it then?"""

from __future__ import annotations

from dataclasses import replace

from partkin.adaptation import adapted_task, cheapest, workmanship_of
from partkin.fit import solve
from partkin.fit.task import Prepared
from partkin.model.adapting import Adaptation, AdaptationAnswer, AdaptationQuestion
from partkin.model.build import Build
from partkin.model.fitting import Chance
from partkin.model.known import Side
from partkin.model.trial import Trial
from partkin.trying import Places, chance_of, prepared_task
from partkin.verdict import Findings, strictest_duty


def look(build: Build, findings: Findings, places: Places) -> Findings:
    """Add the cheapest adaptation and the chance that the donor goes on after it.

    Nothing is offered where the seam of an airbag panel lies too far off: no work mends that.
    """
    trial = findings.trial
    if trial is None or (findings.seams is not None and findings.seams.too_far):
        return findings
    prepared = prepared_task(findings.known, places, mirrored=trial.mirrored)
    answer = cheapest(question_of(build, findings, trial, prepared), solve)
    if not answer.adaptations:
        return replace(findings, adapting=answer)
    sound = []
    for adaptation in answer.adaptations:
        chance = _chance_after(prepared, adaptation, places, findings.confidence)
        if chance is not None and chance.fits >= findings.confidence:
            sound.append((adaptation, chance))
    kept = AdaptationAnswer(
        tuple(a for a, _ in sound), answer.ruled_out, answer.why if sound else answer.why or TOO_UNSURE,
        answer.conflict, answer.notes,
    )  # fmt: skip
    return replace(findings, adapting=kept, adapted_chance=sound[0][1] if sound else None)


TOO_UNSURE = "work would bring it within reach, but the readings are too coarse to be sure of it"


def question_of(build: Build, findings: Findings, trial: Trial, prepared: Prepared) -> AdaptationQuestion:
    """Put the question to the adaptation stage."""
    known = findings.known
    original = known.original
    return AdaptationQuestion(
        task=prepared.task,
        donor=known.donor.part,
        host=known.host.part,
        donor_features=known.donor.features,
        fixings=tuple(fixing.feature for fixing in prepared.fixings.values()),
        matings=tuple(prepared.matings.values()),
        duty=strictest_duty(known),
        host_duty=known.host.part.duty,
        settings=build.settings,
        donor_zones=known.donor.zones,
        host_zones=known.host.zones,
        donor_outlines=_outlines(build, known.donor),
        host_outlines=_outlines(build, known.host),
        original=original.part if original is not None else None,
        original_zones=original.zones if original is not None else (),
    )  # fmt: skip


def _outlines(build: Build, side: Side) -> tuple:
    return tuple(outline for outline in build.outlines if outline.part == side.part.part)


def _chance_after(prepared: Prepared, adaptation: Adaptation, places: Places, confidence: float) -> Chance | None:
    """The chance once the work is done, with what marking and drilling by hand adds."""
    task = adapted_task(prepared.task, adaptation)
    answer = solve(task)
    if not answer.fits:
        return None
    changed = replace(
        prepared, task=task, unknown=frozenset((o.fixing, o.feature) for o in task.options)
    )
    return chance_of(changed, answer, places, confidence, workmanship_of(adaptation))
