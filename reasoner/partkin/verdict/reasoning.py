"""The because-chain of a verdict, each reason recorded once, with how sure it is and what that rests on."""

from __future__ import annotations

import math
from dataclasses import replace

from partkin.model.fitting import Chance, FitAnswer, WithinErrors
from partkin.model.known import OneDrawing
from partkin.model.verdict import COMMON, Reason, Trial
from partkin.model.words import VerdictWord, in_hundred, mm
from partkin.trial.findings import Findings

PLAY_SOURCE = "ASME Y14.5, fixed and floating fastener formulas"
SEAM_SOURCE = "project rule (a seam lies where the original's lay), common practice, no source"
LEVELS = {
    1: "same part number", 2: "superseded by the maker's own number", 3: "measured", 4: "carried over",
    5: "looks alike",
}  # fmt: skip


def reasons(
    findings: Findings,
    chosen: VerdictWord,
    conflict: str | None = None,
    seam: str | None = None,
    errors: WithinErrors | None = None,
    odd: str | None = None,
) -> tuple[Reason, ...]:
    """Number the reasons from the verdict down: r1 rests on the others, and what one of them rests on follows it.

    What speaks against it comes first: the fixings in conflict, the seam that lies elsewhere.
    """
    known = findings.known
    below = [
        *([Reason("", odd, (), PLAY_SOURCE)] if odd else []),
        *([Reason("", conflict, (), PLAY_SOURCE)] if conflict else []),
        *([Reason("", out_by_says(errors))] if errors is not None else []),
        *([Reason("", seam, (), SEAM_SOURCE)] if seam else []),
        *(Reason("", f"{LEVELS.get(e.strength, 'against it')}: {e.says}", e.because, e.source) for e in known.evidence),
        *_geometry(findings),
        *_seams(findings),
        *(Reason("", e.says, e.because, e.source) for e in known.forbids),
        *(Reason("", note) for note in (*findings.notes, *(findings.adapting.notes if findings.adapting else ()))),
    ]  # fmt: skip
    numbered: list[Reason] = []
    carried: list[str] = []
    for reason in below:
        under = [Reason(f"r{len(numbered) + 3 + n}", text, (), reason.source) for n, text in enumerate(reason.because)]
        top = Reason(f"r{len(numbered) + 2}", reason.says, tuple(each.id for each in under), reason.source)
        numbered += [top, *under]
        carried.append(top.id)
    return (Reason("r1", f"the verdict is: {chosen}", tuple(carried), None), *numbered)


def _geometry(findings: Findings) -> list[Reason]:
    trial = findings.trial
    if trial is None:
        return []
    shown = "the places of the fixings were measured on the host"
    if findings.measured_from == "original":
        shown = (
            "the host was not measured: the original's holes show where its fixings stood, each to within that "
            "hole's own play"
        )
    found, answer = [Reason("", shown)], trial.answer
    if len({tried.mirrored for tried in findings.trials}) > 1:
        found.append(Reason("", f"{_open_face(findings)}: it was laid on as read and as its mirror image"))
    if findings.hand is not None:
        says = (
            f"nobody saw what is left and right, but both parts are for the {findings.hand}, and a mirror image would "
            f"be the other hand: the way round that goes on is its own"
        )
        found.append(Reason("", says))
    if trial.stand != "missing":
        if answer.margin_mm is not None:
            found.append(Reason("", _margin(answer, answer.margin_mm, trial.stand == "unsure"), (), PLAY_SOURCE))
        if answer.also:
            found.append(Reason("", f"{answer.also} other ways of pairing are equally good"))
        found += sureness(replace(trial, chance=findings.chance), findings.known.one_drawing, findings.confidence)
        found += [Reason("", text) for text in answer.slides]
    if answer.flex_used_mm > 0:
        found.append(Reason("", _pulled(answer)))
    if trial.task.dims == 3 and answer.pairs:
        found += _in_space(answer)
    return found


def _open_face(findings: Findings) -> str:
    """Why both faces were tried."""
    known = findings.known
    shown = known.original if findings.measured_from == "original" and known.original else known.host
    blank = [side.part.part for side in (shown, known.donor) if side.part.seen_from is None]
    if not blank:
        return "distances alone do not tell which side is which"
    return f"which face of {' and of '.join(blank)} was looked at is not said"


def _pulled(answer: FitAnswer) -> str:
    used = mm(answer.flex_used_mm)
    if not answer.fits:
        return f"neither rigid nor pulled by hand by {used} at a fixing does it go on"
    if answer.flex_to_be_sure:
        return f"rigid it goes on as it most likely is; to be sure, it may have to be pulled by hand by up to {used}"
    return f"rigid it does not go on; pulled by hand by {used} at a fixing it does"


def _in_space(answer: FitAnswer) -> list[Reason]:
    """What was taken for granted along the axes, and where the faces stand apart."""
    says = (
        "the fixings do not lie in one plane: across each axis the play of its hole counts, along it that its "
        "fastener engages to within one diameter of it either way"
    )
    found = [Reason("", says, (), COMMON)]
    if answer.gaps and answer.fits:
        fixing, gap_mm = answer.gaps[0]
        says = f"pushed on until the first faces meet, the largest gap is {mm(max(gap_mm, 0.0))}, at {fixing}"
        found.append(Reason("", says))
    return found


def _margin(answer: FitAnswer, margin_mm: float, unsure: bool) -> str:
    count = len(answer.pairs)
    worst = min(answer.pairs, key=lambda pair: pair.margin_mm)
    if worst.direction == "lean" and margin_mm < 0 and worst.lean_deg is not None:
        return f"laid on at its best, the axes of the worst of {count} pairs point {worst.lean_deg:.0f} degrees apart"
    if margin_mm >= -1e-6:
        return f"laid on at its best, all {count} fixings line up, the tightest with {mm(max(margin_mm, 0.0))} to spare"
    says = f"laid on at its best, the worst of {count} fixings is {mm(-margin_mm)} out of reach"
    return f"as read, {says}; the chance takes in how far the readings may be out" if unsure else says


def _seams(findings: Findings) -> list[Reason]:
    seams = findings.seams
    if seams is None:
        return []
    says = "the donor's {} lies within {} of the original's; the readings may be out by {}"
    return [Reason("", says.format(kind, mm(departure), mm(limit))) for kind, departure, limit in seams.coincide]


SPREAD_SOURCE = "JCGM 100:2008, 4.3.7"
HALF_OR_TWICE = 0.01


def chance_says(chance: Chance) -> str:
    """The chance with what it would be for somebody who thinks more or less of sister parts.

    >>> chance_says(Chance(0.96, 0.94, 0.98, 640, 0.8, 0.5, 0.93, 0.98))
    'chance that it bolts on: about 96 in 100 (93 if you think sister parts seldom share a drawing, 98 if often)'
    """
    says = f"chance that it bolts on: {chance.says}"
    if chance.at_half is None or chance.at_twice is None or chance.at_twice - chance.at_half < HALF_OR_TWICE:
        return says
    half, twice = (in_hundred(one).removesuffix(" in 100") for one in (chance.at_half, chance.at_twice))
    return f"{says} ({half} if you think sister parts seldom share a drawing, {twice} if often)"


def hidden_says(chance: Chance) -> str | None:
    """What a part of another drawing could hide; None: it was not asked."""
    if chance.hidden_mm is None:
        return None
    if chance.hidden_mm <= 0.0:
        return "a part of another drawing would have shown, unless it is off by no more than its play"
    return (
        f"a part of another drawing would have shown, unless a hole is out of reach by less than "
        f"{mm(chance.hidden_mm)}, likeliest at {chance.hidden_at}"
    )


def out_by_says(errors: WithinErrors) -> str:
    """By how much more than was stated the readings would have to be out for it to go on.

    >>> out_by_says(WithinErrors(0.7))
    'it would go on if readings were out by 0.7 times what you said, each in its favour: they seldom are'
    >>> from partkin.model.fitting import Nogood
    >>> out_by_says(WithinErrors(1.86, nogoods=(Nogood((), ()),)))
    'for it to go on, readings would have to be out by at least 1.8 times what you said (proved)'
    """
    if errors.share < 1.0:
        share = math.ceil(10.0 * errors.share) / 10.0
        return (
            f"it would go on if readings were out by {share:g} times what you said, each in its favour: they seldom are"
        )
    proved = "proved" if errors.nogoods else "found, not proved"
    share = math.floor(10.0 * errors.share) / 10.0
    return f"for it to go on, readings would have to be out by at least {share:g} times what you said ({proved})"


def hangs_on_it(chance: Chance, confidence: float) -> bool:
    """Whether half the odds of one drawing, or twice, would give another verdict."""
    if chance.at_half is None or chance.at_twice is None:
        return False
    least, most = min(chance.at_half, chance.fits), max(chance.at_twice, chance.fits)
    return any(least < bar <= most for bar in (confidence, 1.0 - confidence))


def sureness(trial: Trial, one_drawing: OneDrawing, confidence: float) -> list[Reason]:
    """Say how sure it is, and what that rests on."""
    chance = trial.chance
    if chance is None:
        conflict = trial.answer.conflict
        if trial.stand != "unsure" or conflict is None or conflict.errors is None:
            return []
        share = math.ceil(10.0 * conflict.errors.share) / 10.0
        return [Reason("", f"it looks far off, and readings out by {share:g} times what you said would let it go on")]
    if chance.draws == 0:
        says = "however the readings are out, within what you said, that stays so"
        return [Reason("", says, (), SPREAD_SOURCE)]
    found = []
    margin_mm = trial.answer.margin_mm
    if trial.stand == "fits" and margin_mm is not None and margin_mm < 0.0:
        found.append(Reason("", "the readings may be out by more: places within all their errors let it go on"))
    if trial.stand == "fits" and (hidden := hidden_says(chance)) is not None:
        found.append(Reason("", hidden))
    if chance.just_goes_on is not None:
        often = in_hundred(chance.just_goes_on).removesuffix(" in 100") if chance.just_goes_on else "none"
        found.append(Reason("", f"of 100 parts that just go on, {often} would be read as far off as this one"))
    rests = [
        f"before any reading, {in_hundred(chance.assumed)} that both were made to one drawing: {one_drawing.says}"
        if chance.assumed is not None else "",
        f"holes of one drawing scatter by {one_drawing.scatter_mm:g} mm: build.toml says so (scatter_mm)"
        if one_drawing.scatter_mm is not None else "",
        f"with the readings, {in_hundred(chance.one_drawing)} that they were" if chance.one_drawing is not None else "",
        f"{chance.draws} parts were made up as this one may really be: {round(chance.fits * chance.draws)} of them "
        f"went on, so {chance.says}; {in_hundred(confidence)} are asked for",
        "the verdict hangs on the drawing: taken for half as likely, or twice, it would be another"
        if hangs_on_it(chance, confidence) else "",
    ]  # fmt: skip
    return [*found, Reason("", chance_says(chance), tuple(one for one in rests if one), one_drawing.source)]
