"""Joins geometry and adaptation: what is the cheapest work that makes the donor fit, and does it then?

In: what was found of a donor that does not go on as it is. Out: the same with work after which it surely goes on,
or why there is none.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from partkin.adaptation.cheapest import DEFAULT_LIMIT, Cheapest, not_to_be_altered
from partkin.adaptation.one_pairing import GOES_ON_AS_IT_IS, TOO_MANY
from partkin.adaptation.placing import adapted_task
from partkin.adaptation.question import question_of
from partkin.fit.solve import quick_answer
from partkin.fit.task import Prepared
from partkin.model.adapting import Adaptation, AdaptationAnswer, AdaptationQuestion, workmanship_of
from partkin.model.build import Build
from partkin.model.fitting import Chance, FitTask, Spot
from partkin.model.verdict import SeamCheck, Trial
from partkin.positions.budget import covariance_mm2
from partkin.trial.chances import chance_after_work
from partkin.trial.findings import Findings
from partkin.trial.places import Places, as_tried, prepared_task
from partkin.trial.seams import compare

MIRROR_IMAGES = ("other hand", "other drive")
NO_CURE = "new holes do not turn a mirror image into the part (common practice, no source)"
# Play kept in reserve beyond the workmanship, in shares of the readings' spread: the least that is sure enough.
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


class _Sound(NamedTuple):
    """What of an answer goes on surely enough, with its chance; where the first leaves the seam; what is not sure."""

    ways: list[tuple[Adaptation, Chance]]
    seams: SeamCheck | None
    unsure: list[Trial]


def cheapest_work(build: Build, findings: Findings, places: Places, *, others: bool = True) -> Findings:
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
        return _without_work(findings, as_tried(findings.known, places, trial), [(answer, None)])
    places = as_tried(findings.known, places, trial)
    prepared = prepared_task(findings.known, places, mirrored=trial.mirrored)
    measured, waiting = _measured(prepared, trial)
    question = question_of(build, findings, replace(prepared, task=measured))
    if waiting:
        return _without_work(findings, places, [(_as_far_as_measured(question, prepared, trial), None)])
    found = _sure_enough(findings, question, prepared, places, others)
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
    ways = sorted(findings.trials, key=lambda one: one is not findings.trial)
    answers = []
    for trial in [one for one in ways if one.without is None][:MOST_WAYS] or ways[:1]:
        prepared = prepared_task(findings.known, as_tried(findings.known, places, trial), mirrored=trial.mirrored)
        answers.append(_as_far_as_measured(question_of(build, findings, prepared), prepared, trial))
        if answers[-1].waits:
            return replace(answers[-1], why=f"{WOULD_DO}, but {_to_find_out(findings, places)}")
    return answers[0]


def _sure_enough(
    findings: Findings, question: AdaptationQuestion, prepared: Prepared, places: Places, others: bool
) -> Findings:
    """Add the cheapest work after which the donor goes on surely enough, with as little play kept back as will do."""
    trial = findings.trial
    assert trial is not None
    refused: list[tuple[AdaptationAnswer, SeamCheck | None]] = []
    unsure: list[Trial] = []
    # Standard deviation of how far a typical pair is out by the readings of both sides, radially.
    sides = (places.host, places.donor)
    spread_mm = float(sum(np.trace(covariance_mm2(side)) / max(len(side.features), 1) for side in sides)) ** 0.5
    reserves_mm = list(dict.fromkeys(share * spread_mm for share in RESERVES))
    for reserve_mm, roomier_mm in zip(reserves_mm, [*reserves_mm[1:], None], strict=True):
        search = _search(question, trial, reserve_mm)
        if not search.first.adaptations:
            # It would go on with less play in reserve, so more accurate readings could settle it.
            refused = refused or [(search.whole(0), None)]
            if search.first.why == GOES_ON_AS_IT_IS:
                continue
            break
        sound = _sound(findings, search.first, prepared, places)
        unsure += sound.unsure
        if sound.ways:
            best, chance = sound.ways[0]
            answer = search.whole(OTHERS if others else 0)
            own = answer.adaptations[0]
            kept = [replace(own, margin_mm=best.margin_mm, placement=best.placement, stands=best.stands)]
            kept += _others(findings, kept, answer, prepared, places)
            if others and len(kept) <= OTHERS and roomier_mm is not None:
                # Ways that are not sure enough as they are may be with more room.
                kept += _others(findings, kept, _search(question, trial, roomier_mm).several(OTHERS), prepared, places)
            dearer = sorted(kept[1:], key=lambda one: one.cost if one.cost is not None else one.minutes)
            ways = tuple(_with_pairing(one, trial) for one in [kept[0], *dearer][: OTHERS + 1])
            answer = replace(answer, adaptations=ways)
            return replace(findings, seams=sound.seams, adapting=answer, adapted_chance=chance)
        refused.append((replace(search.first, adaptations=(), why=TOO_UNSURE, waits=True), sound.seams))
    found = _without_work(findings, places, refused)
    if not unsure or not found.work_waits:
        return found
    return replace(found, likely=max(unsure, key=lambda after: after.chance.fits if after.chance is not None else 0.0))


def _others(
    findings: Findings, kept: list[Adaptation], answer: AdaptationAnswer, prepared: Prepared, places: Places
) -> list[Adaptation]:
    """Of an answer's ways those that are sure enough and do without a job of each way before them, cheapest first."""
    have = [_jobs(one) for one in kept]
    different = tuple(one for one in answer.adaptations if all(not jobs <= _jobs(one) for jobs in have))
    sound = _sound(findings, replace(answer, adaptations=different), prepared, places)
    return [replace(one, proved_cheapest=False, proved_as_paired=False) for one, _ in sound.ways]


def _jobs(adaptation: Adaptation) -> set[tuple[str, str, str]]:
    return {(job.do, job.feature, job.side) for job in adaptation.actions if job.do not in GO_WITH}


def _with_pairing(adaptation: Adaptation, trial: Trial) -> Adaptation:
    """Say how the donor is laid on for the work where that is not how it was shown to lie best as it is."""
    shown, own = {p.fixing: p.feature for p in trial.answer.pairs}, {f.id for f in trial.task.features}
    if all(shown.get(fixing, feature) == feature for fixing, feature in adaptation.pairs if feature in own):
        return adaptation
    pairs = ", ".join(f"{feature} on {fixing}" for fixing, feature in adaptation.pairs)
    return replace(adaptation, notes=(*adaptation.notes, f"This lays it on another way round: {pairs}."))


def _measured(prepared: Prepared, trial: Trial) -> tuple[FitTask, bool]:
    """The task without the pairs of which a size or a place is missing; whether a must is among them.

    Unknown is never yes, so no work is offered before such a must is measured.
    """
    task, unknown = prepared.task, prepared.unknown
    options = [o for o in task.options if (o.fixing, o.feature) not in unknown]
    known = {name for o in options for name in (o.fixing, o.feature)}
    shown = {(p.fixing, p.feature) for p in trial.answer.pairs}
    waiting = {name for pair in unknown for name in pair} - known
    waiting |= {name for pair in shown & unknown for name in pair}

    def freed(spots: tuple[Spot, ...]) -> tuple[Spot, ...]:
        return tuple(replace(s, must=s.must and s.id not in waiting) for s in spots)

    left = tuple(o for o in options if waiting.isdisjoint((o.fixing, o.feature)))
    measured = replace(task, fixings=freed(task.fixings), features=freed(task.features), options=left)
    return measured, any(s.must and s.id in waiting for s in (*task.fixings, *task.features))


def _to_find_out(findings: Findings, places: Places) -> str:
    """What has to be found out before any work: cuts for one way of laying it on would be wrong for the other."""
    trials = findings.trials
    if any(trial.without is not None for trial in trials):
        return "readings contradict each other: take the ones named below again before any work"
    faces = (places.host_side.part.seen_from, findings.known.donor.part.seen_from)
    if len({trial.mirrored for trial in trials}) == 1:
        return "the readings leave more than one layout open: tell them apart before any work"
    if None in faces:
        return "which face was looked at (seen_from) has to be known on both parts before any work"
    asked = f": {findings.sides[0].says}" if findings.sides else ""
    return f"distances leave open which side is which: find out before any work{asked}"


def _as_far_as_measured(question: AdaptationQuestion, prepared: Prepared, trial: Trial) -> AdaptationAnswer:
    """Whether work could bring it on if every unknown turned out in the donor's favour; no work is offered yet.

    Only where every fixing that has to hold is known is it certain that no work does.
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
    """The search with some of every play kept back: the nearest pairing first, others where that cannot be adapted.

    So what fits still does when the readings are out.
    """
    task, options = question.task, []
    for option in task.options:
        kept_mm = min(reserve_mm, KEPT_BACK_AT_MOST * max(option.allowed_mm, 0.0))
        options.append(replace(option, allowed_mm=option.allowed_mm - kept_mm))
    asked = replace(question, task=replace(task, options=tuple(options)), reserve_mm=reserve_mm)
    pairs = {(option.fixing, option.feature) for option in options}
    shown = tuple((p.fixing, p.feature) for p in trial.answer.pairs if (p.fixing, p.feature) in pairs)
    held = {spot.id for spot in (*task.fixings, *task.features) if spot.must}
    nearest = shown if held <= {name for pair in shown for name in pair} else ()
    return Cheapest(asked, nearest=nearest, limit=limit)


def _without_work(
    findings: Findings, places: Places, refused: list[tuple[AdaptationAnswer, SeamCheck | None]]
) -> Findings:
    """Keep the reason why there is no work: a seam too far first, then readings too coarse, then no work possible."""
    assert findings.trial is not None
    unsure = [answer for answer, _ in refused if answer.why == TOO_UNSURE]
    seams = next((seams for _, seams in refused if seams is not None and seams.too_far), None)
    seams = seams or compare(findings.known, places, findings.trial.answer, findings.trial)
    return replace(findings, seams=seams, adapting=(unsure or [refused[-1][0]])[0])


def _sound(findings: Findings, answer: AdaptationAnswer, prepared: Prepared, places: Places) -> _Sound:
    """The adaptations after which the donor goes on surely enough; the donor after others that would do as read."""
    trial = findings.trial
    assert trial is not None
    found = _Sound([], None, [])
    for adaptation in answer.adaptations:
        task = adapted_task(prepared.task, adaptation)
        after = quick_answer(task)
        if not after.fits:
            continue
        chance = chance_after_work(prepared, task, after, places, findings.confidence, workmanship_of(adaptation))
        seams = compare(findings.known, places, after, trial)
        # By the whole play of every pair: the search kept some of it back.
        laid, margin_mm = after.placement or None, after.margin_mm or 0.0
        whole = replace(adaptation, margin_mm=margin_mm, placement=laid, stands=after.pairs)
        in_place, sure = seams is None or not seams.too_far, chance.fits >= findings.confidence
        if sure and not found.ways:
            found = found._replace(seams=seams)
        if sure and in_place:
            found.ways.append((whole, chance))
        elif in_place:
            found.unsure.append(replace(trial, task=task, answer=after, chance=chance, stand="unsure", work=whole))
    return found
