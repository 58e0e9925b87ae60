"""Joins geometry and adaptation: what is the cheapest work that makes the donor fit, and does it then?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partkin.adaptation import (
    DEFAULT_LIMIT,
    GOES_ON_AS_IT_IS,
    TOO_MANY,
    Cheapest,
    Quick,
    adapted_task,
    not_to_be_altered,
    workmanship_of,
)
from partkin.fit import solve
from partkin.fit.task import Prepared
from partkin.judging.brackets import brackets_of
from partkin.judging.chances import chance_after_work
from partkin.judging.seams import compare
from partkin.judging.signs import goes_on, laid, lies, pressing
from partkin.judging.trying import Places, as_tried, prepared_task
from partkin.measuring.next_readings import covariance_mm2
from partkin.model.adapting import Adaptation, AdaptationAnswer, AdaptationQuestion
from partkin.model.build import Build, Feature
from partkin.model.fitting import Chance, FitAnswer, FitTask, Spot
from partkin.model.known import Side
from partkin.model.mating import Size
from partkin.model.trial import SeamCheck, Trial
from partkin.verdict import Findings, airbag, strictest_duty


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
    if len(findings.trials) > 1:
        answer = _whichever_way(build, findings, places)
        return _nothing_found(findings, as_tried(findings.known, places, trial), trial, [(answer, None)])
    places = as_tried(findings.known, places, trial)
    prepared = prepared_task(findings.known, places, mirrored=trial.mirrored)
    measured, waiting = _measured(prepared, trial)
    question = question_of(build, findings, trial, replace(prepared, task=measured))
    if waiting:
        answer = _as_far_as_measured(question, prepared, trial)
        return _nothing_found(findings, places, trial, [(answer, None)])
    found = _with_work(findings, question, prepared, places, others)
    if found.adapting is None or found.adapting.adaptations or found.adapting.waits:
        return found
    if question.duty == "body" and question.donor.material is None:
        return replace(found, adapting=replace(found.adapting, why=NO_MATERIAL, waits=True))
    if prepared.most_mm:
        answer = _as_far_as_measured(question, prepared, trial)
        return replace(found, adapting=answer) if answer.waits else found
    return found


def _whichever_way(build: Build, findings: Findings, places: Places) -> AdaptationAnswer:
    """Whether work would do for any of the ways that the sheets leave open; none is offered before that is known."""
    refused: AdaptationAnswer | None = None
    ways = sorted(findings.trials, key=lambda one: one is not findings.trial)
    for trial in [one for one in ways if one.without is None][:MOST_WAYS] or ways[:1]:
        here = as_tried(findings.known, places, trial)
        prepared = prepared_task(findings.known, here, mirrored=trial.mirrored)
        answer = _as_far_as_measured(question_of(build, findings, trial, prepared), prepared, trial)
        if answer.waits:
            return replace(answer, why=_several(findings, places))
        refused = refused or answer
    assert refused is not None
    return refused


def _with_work(
    findings: Findings, question: AdaptationQuestion, prepared: Prepared, places: Places, others: bool
) -> Findings:
    """Add the cheapest work after which the donor goes on surely enough, with as little play kept back as will do."""
    trial = findings.trial
    assert trial is not None
    refused: list[tuple[AdaptationAnswer, SeamCheck | None]] = []
    unsure: list[Trial] = []
    reserves_mm = list(dict.fromkeys(share * _spread_mm(places) for share in RESERVES))
    for number, reserve_mm in enumerate(reserves_mm):
        search = _search(question, trial, reserve_mm)
        if not search.first.adaptations:
            # Where less room would do, that there is none with more is only a want of sureness.
            refused = refused or [(search.whole(0), None)]
            if search.first.why == GOES_ON_AS_IT_IS:
                continue
            break
        sound, lying, open_yet = _sound(findings, search.first, prepared, places)
        unsure += open_yet
        if sound:
            answer = search.whole(OTHERS if others else 0)
            kept = [replace(answer.adaptations[0], margin_mm=sound[0][0].margin_mm)]
            kept += _others(findings, kept, answer, prepared, places)
            if others and len(kept) <= OTHERS and number + 1 < len(reserves_mm):
                # Ways that are not sure enough as they are may be with more room.
                roomier = _search(question, trial, reserves_mm[number + 1]).several(OTHERS)
                kept += _others(findings, kept, roomier, prepared, places)
            kept = [kept[0], *sorted(kept[1:], key=_work)][: OTHERS + 1]
            told = replace(answer, adaptations=tuple(_with_pairing(one, trial) for one in kept))
            return replace(findings, seams=lying, adapting=told, adapted_chance=sound[0][1])
        refused.append((replace(search.first, adaptations=(), why=TOO_UNSURE, waits=True), lying))
    found = _nothing_found(findings, places, trial, refused)
    if not unsure or not found.work_waits:
        return found
    return replace(found, likely=max(unsure, key=lambda after: after.chance.fits if after.chance is not None else 0.0))


def _others(
    findings: Findings, kept: list[Adaptation], answer: AdaptationAnswer, prepared: Prepared, places: Places
) -> list[Adaptation]:
    """Of an answer's ways those that are sure enough and do without a job of each way before them, cheapest first."""
    have = [_jobs(one) for one in kept]
    different = tuple(one for one in answer.adaptations if all(not jobs <= _jobs(one) for jobs in have))
    sound, _, _ = _sound(findings, replace(answer, adaptations=different), prepared, places)
    return [replace(one, proved_cheapest=False, proved_as_paired=False) for one, _ in sound]


def _work(adaptation: Adaptation) -> float:
    return adaptation.cost if adaptation.cost is not None else adaptation.minutes


def _jobs(adaptation: Adaptation) -> set[tuple[str, str, str]]:
    return {(job.do, job.feature, job.side) for job in adaptation.actions if job.do not in GO_WITH}


def _with_pairing(adaptation: Adaptation, trial: Trial) -> Adaptation:
    """Say how the donor is laid on for the work where that is not how it was shown to lie best as it is."""
    shown = {p.fixing: p.feature for p in trial.answer.pairs}
    own = {f.id for f in trial.task.features}
    if all(shown.get(fixing, feature) == feature for fixing, feature in adaptation.pairs if feature in own):
        return adaptation
    pairs = ", ".join(f"{feature} on {fixing}" for fixing, feature in adaptation.pairs)
    return replace(adaptation, notes=(*adaptation.notes, f"This lays it on another way round: {pairs}."))


def _measured(prepared: Prepared, trial: Trial) -> tuple[FitTask, bool]:
    """The task without pairs of which a size or a place is missing; whether something that has to hold waits for one.

    Not known is never taken as yes, so no work is offered past it.
    """
    task = prepared.task
    options = tuple(o for o in task.options if (o.fixing, o.feature) not in prepared.unknown)
    known = {name for o in options for name in (o.fixing, o.feature)}
    waiting = {name for pair in prepared.unknown for name in pair} - known
    shown = {(p.fixing, p.feature) for p in trial.answer.pairs}
    waiting |= {name for pair in shown & prepared.unknown for name in pair}
    held = {spot.id for spot in (*task.fixings, *task.features) if spot.must}

    def freed(spots: tuple[Spot, ...]) -> tuple[Spot, ...]:
        return tuple(replace(s, must=s.must and s.id not in waiting) for s in spots)

    measured = replace(
        task, fixings=freed(task.fixings), features=freed(task.features),
        options=tuple(o for o in options if waiting.isdisjoint((o.fixing, o.feature))),
    )  # fmt: skip
    return measured, not held.isdisjoint(waiting)


def _several(findings: Findings, places: Places) -> str:
    """What has to be found out before any work: cuts for one way of laying it on would be wrong for the other."""
    trials = findings.trials
    if any(trial.without is not None for trial in trials):
        return f"{WOULD_DO}, but readings contradict each other: take the ones named below again before any work"
    faces = (places.host_side.part.seen_from, findings.known.donor.part.seen_from)
    if len({trial.mirrored for trial in trials}) > 1 and None not in faces:
        asked = f": {findings.sides[0].says}" if findings.sides else ""
        return f"{WOULD_DO}, but distances leave open which side is which: find out before any work{asked}"
    if len({trial.mirrored for trial in trials}) > 1:
        return f"{WOULD_DO}, but which face was looked at (seen_from) has to be known on both parts before any work"
    return f"{WOULD_DO}, but the readings leave more than one layout open: tell them apart before any work"


def _as_far_as_measured(question: AdaptationQuestion, prepared: Prepared, trial: Trial) -> AdaptationAnswer:
    """Whether work may bring it on, what is not known being as kind as it can be: none is offered before it is known.

    That there is none is certain only where everything is known of what the part is to be held by.
    """
    refused = not_to_be_altered(question)
    if refused is not None:
        return AdaptationAnswer((), (), refused)
    spare = {s.id for s in (*prepared.task.fixings, *prepared.task.features) if not s.must and not s.should}
    if prepared.deciding() or any(spare.isdisjoint(pair) for pair in prepared.most_mm):
        return AdaptationAnswer((), why=UNMEASURED, waits=True)
    answer = _search(question, trial, 0.0, limit=TRIED_UNMEASURED).first
    if answer.adaptations or answer.why in (GOES_ON_AS_IT_IS, TOO_MANY):
        return replace(answer, adaptations=(), why=UNMEASURED, waits=True)
    return answer


def _search(question: AdaptationQuestion, trial: Trial, reserve_mm: float, limit: int = DEFAULT_LIMIT) -> Cheapest:
    """The search with some of every play kept back: the nearest pairing first, others where that cannot be adapted."""
    asked = replace(question, task=_narrowed(question.task, reserve_mm), reserve_mm=reserve_mm)
    options = {(o.fixing, o.feature) for o in asked.task.options}
    shown = tuple((p.fixing, p.feature) for p in trial.answer.pairs if (p.fixing, p.feature) in options)
    held = {spot.id for spot in (*asked.task.fixings, *asked.task.features) if spot.must}
    nearest = shown if held <= {name for pair in shown for name in pair} else ()
    return Cheapest(asked, solve, QUICK if asked.task.dims == 2 else None, nearest=nearest, limit=limit)


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
    unsure = [answer for answer, _ in refused if answer.why == TOO_UNSURE]
    lying = next((seams for _, seams in refused if seams is not None and seams.too_far), None)
    seams = lying or compare(findings.known, places, trial.answer, trial)
    return replace(findings, seams=seams, adapting=(unsure or [refused[-1][0]])[0])


def _sound(
    findings: Findings, answer: AdaptationAnswer, prepared: Prepared, places: Places
) -> tuple[list[tuple[Adaptation, Chance]], SeamCheck | None, list[Trial]]:
    """The adaptations after which the donor goes on surely enough, and where the first leaves the seam.

    And the donor after each of the others that would do as everything was read.
    """
    trial = findings.trial
    assert trial is not None
    found: list[tuple[Adaptation, Chance]] = []
    unsure: list[Trial] = []
    seams: SeamCheck | None = None
    for adaptation in answer.adaptations:
        after = _after(prepared, adaptation, places, findings.confidence)
        if after is None:
            continue
        task, lies, chance = after
        lying = compare(findings.known, places, lies, trial)
        in_place = lying is None or not lying.too_far
        # By the whole play of every pair: the search kept some of it back.
        whole = replace(adaptation, margin_mm=lies.margin_mm or 0.0)
        if chance.fits < findings.confidence:
            done = replace(trial, task=task, answer=lies, chance=chance, stand="unsure", work=whole)
            unsure += [done] if in_place else []
            continue
        seams = seams if found else lying
        if in_place:
            found.append((whole, chance))
    return found, seams, unsure


def _spread_mm(places: Places) -> float:
    """Standard deviation of how far a typical pair is out by the readings of both sides, radially."""
    sides = (places.host, places.donor)
    return float(sum(np.trace(covariance_mm2(side)) / max(len(side.features), 1) for side in sides)) ** 0.5


QUICK = Quick(goes_on, laid, lies, pressing)
MIRROR_IMAGES = ("other hand", "other drive")
NO_CURE = "new holes do not turn a mirror image into the part (common practice, no source)"
# Room asked for beyond the workmanship, in shares of the readings' spread: the least that is sure enough.
RESERVES = (0.0, 0.6, 1.2)
KEPT_BACK_AT_MOST = 0.7
OTHERS = 2
# Jobs that follow from the rest and make no way a different one.
GO_WITH = ("spacer", "longer bolt", "new clip")
# Sets of jobs that are tried only to say whether work would do, where no work is offered yet.
TRIED_UNMEASURED = 40
# Ways of laying it on (faces, layouts) for which that is asked.
MOST_WAYS = 4
WOULD_DO = "work would bring it within reach"
UNMEASURED = "work may bring it on, but not everything that has to hold is measured"
NO_MATERIAL = "work may bring it on, but what it is made of is not known, and high-strength steel is never cut"
TOO_UNSURE = f"{WOULD_DO}, but the readings are too coarse to be sure of it"


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
        airbag=airbag(known),
        settings=build.settings,
        work=build.work,
        donor_zones=known.donor.zones,
        host_zones=known.host.zones,
        donor_outlines=_outlines(build, known.donor),
        host_outlines=_outlines(build, known.host),
        original=original.part if original is not None else None,
        original_zones=original.zones if original is not None else (),
        brackets=brackets_of(build, original.part, frozenset(prepared.fixings)) if original is not None else (),
    )  # fmt: skip


def _sized(feature: Feature, across: Size, length: Size) -> Feature:
    """The feature with the sizes that readings give."""
    return replace(feature, across_mm=across.mm, length_mm=length.mm if length.mm is not None else feature.length_mm)


def _outlines(build: Build, side: Side) -> tuple:
    return tuple(outline for outline in build.outlines if outline.part == side.part.part)


def laid_after(prepared: Prepared, adaptation: Adaptation) -> FitAnswer:
    """How the donor lies once the work is done as asked for."""
    return laid(adapted_task(prepared.task, adaptation))


def _after(
    prepared: Prepared, adaptation: Adaptation, places: Places, confidence: float
) -> tuple[FitTask, FitAnswer, Chance] | None:
    """How the donor lies once the work is done, and its chance with what marking and drilling by hand adds."""
    task = adapted_task(prepared.task, adaptation)
    answer = laid(task)
    if not answer.fits:
        return None
    chance = chance_after_work(prepared, task, answer, places, confidence, workmanship_of(adaptation))
    return task, answer, chance
