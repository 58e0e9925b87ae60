"""Joins geometry and adaptation: what is the cheapest work that makes the donor fit, and does it then?"""

from __future__ import annotations

from dataclasses import replace

from partkin.adaptation import adapted_task, cheapest, workmanship_of
from partkin.fit import solve
from partkin.fit.task import Prepared
from partkin.model.adapting import Adaptation, AdaptationQuestion
from partkin.model.build import Build
from partkin.model.fitting import Chance, FitAnswer
from partkin.model.known import Side
from partkin.model.trial import Trial
from partkin.seams import compare
from partkin.trying import Places, chance_of, prepared_task
from partkin.verdict import Findings, strictest_duty


def look(build: Build, findings: Findings, places: Places) -> Findings:
    """Add the cheapest adaptation, the chance that the donor goes on after it, and where its seam then lies.

    An adaptation that would put the tear seam of an airbag panel elsewhere is not offered.
    """
    trial = findings.trial
    if trial is None:
        return findings
    prepared = prepared_task(findings.known, places, mirrored=trial.mirrored)
    answer = cheapest(question_of(build, findings, trial, prepared), solve)
    as_it_is = compare(findings.known, places, trial.answer, trial, findings.confidence)
    sound, seams = [], as_it_is
    for adaptation in answer.adaptations:
        after = _after(prepared, adaptation, places, findings.confidence)
        if after is None or after[1].fits < findings.confidence:
            continue
        lying = compare(findings.known, places, after[0], trial, findings.confidence)
        if lying is not None and lying.too_far:
            seams = seams if sound else lying
            continue
        seams = seams if sound else lying
        sound.append((adaptation, after[1]))
    why = answer.why if sound or not answer.adaptations else TOO_UNSURE
    kept = replace(answer, adaptations=tuple(a for a, _ in sound), why=why)
    return replace(findings, seams=seams, adapting=kept, adapted_chance=sound[0][1] if sound else None)


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


def _after(
    prepared: Prepared, adaptation: Adaptation, places: Places, confidence: float
) -> tuple[FitAnswer, Chance] | None:
    """How the donor lies once the work is done, and its chance with what marking and drilling by hand adds."""
    task = adapted_task(prepared.task, adaptation)
    answer = solve(task)
    if not answer.fits:
        return None
    changed = replace(prepared, task=task, unknown=frozenset((o.fixing, o.feature) for o in task.options))
    return answer, chance_of(changed, answer, places, confidence, workmanship_of(adaptation))
