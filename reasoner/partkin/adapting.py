"""Joins geometry and adaptation: what is the cheapest work that makes the donor fit, and does it then?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partkin.adaptation import adapted_task, cheapest, workmanship_of
from partkin.fit import solve
from partkin.fit.arrays import PlanePairs
from partkin.fit.minimax import best_placement
from partkin.fit.task import Prepared
from partkin.model.adapting import Adaptation, AdaptationAnswer, AdaptationQuestion
from partkin.model.build import Build, Feature
from partkin.model.fitting import Chance, FitAnswer, FitTask
from partkin.model.known import Side
from partkin.model.mating import Size
from partkin.model.trial import SeamCheck, Trial
from partkin.next_readings import covariance_mm2
from partkin.seams import compare
from partkin.trying import Places, chance_of, prepared_task
from partkin.verdict import Findings, strictest_duty


def look(build: Build, findings: Findings, places: Places, *, others: bool = True) -> Findings:
    """Add the cheapest adaptation, the chance that the donor goes on after it, and where its seam then lies.

    An adaptation that would put the tear seam of an airbag panel elsewhere is not offered. `others`: look for the
    next different ways as well.
    """
    trial = findings.trial
    if trial is None:
        return findings
    wrong_way = next((e for e in findings.known.evidence if e.kind in MIRROR_IMAGES), None)
    if wrong_way is not None:
        seams = compare(findings.known, places, trial.answer, trial)
        return replace(findings, seams=seams, adapting=AdaptationAnswer((), why=f"{wrong_way.says}; {NO_CURE}"))
    prepared = prepared_task(findings.known, places, mirrored=trial.mirrored)
    question = question_of(build, findings, trial, prepared)
    refused: list[tuple[AdaptationAnswer, SeamCheck | None]] = []
    for task in _as_paired_then_open(prepared.task, trial):
        for reserve_mm in dict.fromkeys(share * _spread_mm(places) for share in RESERVES):
            narrowed = replace(question, task=_narrowed(task, reserve_mm), reserve_mm=reserve_mm)
            quick = goes_on if task.given and task.dims == 2 else None
            answer = cheapest(narrowed, solve, fits=quick, different=OTHERS if others else 0)
            if not answer.adaptations:
                refused.append((answer, None))
                break
            measured = tuple(one for one in answer.adaptations if not _rests_on_unknown(prepared, one))
            if not measured:
                refused.append((replace(answer, adaptations=(), why=UNMEASURED), None))
                break
            sound, lying = _sound(findings, replace(answer, adaptations=measured), prepared, places)
            if sound:
                kept = replace(answer, adaptations=tuple(adaptation for adaptation, _ in sound))
                return replace(findings, seams=lying, adapting=kept, adapted_chance=sound[0][1])
            refused.append((replace(answer, adaptations=(), why=TOO_UNSURE), lying))
        if refused[0][0].why == TOO_UNSURE:
            break
    return _nothing_found(findings, places, trial, refused)


def goes_on(task: FitTask) -> bool:
    """Whether a flat task with a given pairing fits: the sign alone, much faster than the whole answer."""
    held = {spot.id for spot in (*task.fixings, *task.features) if spot.must}
    pairs = [(o.fixing, o.feature) for o in task.options]
    if held - {name for pair in pairs for name in pair}:
        return False
    return best_placement(PlanePairs.of(task, pairs), stop_at_sign=True).fits


def _as_paired_then_open(task: FitTask, trial: Trial) -> list[FitTask]:
    """The pairing that lies nearest first; every other one only where that cannot be made to go on."""
    pairs = {(p.fixing, p.feature) for p in trial.answer.pairs}
    nearest = replace(task, options=tuple(o for o in task.options if (o.fixing, o.feature) in pairs), given=True)
    return [nearest, task] if trial.answer.margin_mm is not None and not task.given else [task]


def _narrowed(task: FitTask, reserve_mm: float) -> FitTask:
    """The task with some of every play kept back, so that what fits still does when the readings are out."""
    options = tuple(
        replace(o, allowed_mm=o.allowed_mm - min(reserve_mm, KEPT_BACK_AT_MOST * max(o.allowed_mm, 0.0)))
        for o in task.options
    )
    return replace(task, options=options)


def _nothing_found(
    findings: Findings, places: Places, trial: Trial, refused: list[tuple[AdaptationAnswer, SeamCheck | None]]
) -> Findings:
    """Keep why: readings too coarse rather than no work possible, and a seam too far before either."""
    unsure = [answer for answer, _ in refused if answer.why in (TOO_UNSURE, UNMEASURED)]
    lying = next((seams for _, seams in refused if seams is not None and seams.too_far), None)
    seams = lying or compare(findings.known, places, trial.answer, trial)
    return replace(findings, seams=seams, adapting=(unsure or [refused[-1][0]])[0])


def _sound(
    findings: Findings, answer: AdaptationAnswer, prepared: Prepared, places: Places
) -> tuple[list[tuple[Adaptation, Chance]], SeamCheck | None]:
    """The adaptations after which the donor goes on surely enough, and where the first leaves the seam."""
    trial = findings.trial
    assert trial is not None
    found: list[tuple[Adaptation, Chance]] = []
    seams: SeamCheck | None = None
    for adaptation in answer.adaptations:
        after = _after(prepared, adaptation, places, findings.confidence)
        if after is None or after[1].fits < findings.confidence:
            continue
        lying = compare(findings.known, places, after[0], trial)
        seams = seams if found else lying
        if lying is None or not lying.too_far:
            found.append((adaptation, after[1]))
    return found, seams


def _spread_mm(places: Places) -> float:
    """Standard deviation of how far a typical pair is out by the readings of both sides, radially."""
    sides = (places.host, places.donor)
    return float(sum(np.trace(covariance_mm2(side)) / max(len(side.features), 1) for side in sides)) ** 0.5


MIRROR_IMAGES = ("other hand", "other drive")
NO_CURE = "new holes do not turn a mirror image into the part (common practice, no source)"
# Room asked for beyond the workmanship, in shares of the readings' spread: the least that is sure enough.
RESERVES = (0.0, 0.6, 1.2)
KEPT_BACK_AT_MOST = 0.7
OTHERS = 2
UNMEASURED = "work would bring what is measured within reach, but not everything that has to hold is measured"
TOO_UNSURE = "work would bring it within reach, but the readings are too coarse to be sure of it"


def question_of(build: Build, findings: Findings, trial: Trial, prepared: Prepared) -> AdaptationQuestion:
    """Put the question to the adaptation stage."""
    known = findings.known
    original = known.original
    return AdaptationQuestion(
        task=prepared.task,
        donor=known.donor.part,
        host=known.host.part,
        donor_features=tuple(_sized(f.feature, f.across, f.length) for f in prepared.features.values()),
        fixings=tuple(_sized(f.feature, f.across, f.length) for f in prepared.fixings.values()),
        matings=tuple(prepared.matings.values()),
        duty=strictest_duty(known),
        host_duty=known.host.part.duty,
        settings=build.settings,
        work=build.work,
        donor_zones=known.donor.zones,
        host_zones=known.host.zones,
        donor_outlines=_outlines(build, known.donor),
        host_outlines=_outlines(build, known.host),
        original=original.part if original is not None else None,
        original_zones=original.zones if original is not None else (),
    )  # fmt: skip


def _sized(feature: Feature, across: Size, length: Size) -> Feature:
    """The feature with the sizes that readings give."""
    return replace(feature, across_mm=across.mm, length_mm=length.mm if length.mm is not None else feature.length_mm)


def _outlines(build: Build, side: Side) -> tuple:
    return tuple(outline for outline in build.outlines if outline.part == side.part.part)


def _rests_on_unknown(prepared: Prepared, adaptation: Adaptation) -> bool:
    """Whether a pair that has to hold afterwards lacks a size or a place: not known is never taken as yes."""
    must = {spot.id for spot in (*prepared.task.fixings, *prepared.task.features) if spot.must}
    return any(pair in prepared.unknown and not must.isdisjoint(pair) for pair in adaptation.pairs)


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
