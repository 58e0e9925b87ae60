"""The because-chain of a verdict, each reason recorded once."""

from __future__ import annotations

from dataclasses import replace

from partkin.model.fitting import FitAnswer, WithinErrors
from partkin.model.verdict import Reason
from partkin.model.words import VerdictWord, mm
from partkin.trial.findings import Findings
from partkin.verdict.sureness import out_by_says, sureness

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
    below = [
        *([Reason("", odd, (), PLAY_SOURCE)] if odd else []),
        *([Reason("", conflict, (), PLAY_SOURCE)] if conflict else []),
        *([Reason("", out_by_says(errors))] if errors is not None else []),
        *([Reason("", seam, (), SEAM_SOURCE)] if seam else []),
        *_evidence(findings), *_geometry(findings), *_seams(findings), *_forbids(findings),
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


def _evidence(findings: Findings) -> list[Reason]:
    return [
        Reason("", f"{_strength(e.strength)}{e.says}", e.because, e.source) for e in findings.known.evidence
    ]  # fmt: skip


def _strength(strength: int) -> str:
    return f"{LEVELS[strength]}: " if strength in LEVELS else "against it: "


def _geometry(findings: Findings) -> list[Reason]:
    trial = findings.trial
    if trial is None:
        return []
    found = [Reason("", _measured_from(findings), (), None)]
    answer = trial.answer
    if len({tried.mirrored for tried in findings.trials}) > 1:
        found.append(Reason("", f"{_open_face(findings)}: it was laid on as read and as its mirror image", (), None))
    if findings.hand is not None:
        says = (
            f"nobody saw what is left and right, but both parts are for the {findings.hand}, and a mirror image would "
            f"be the other hand: the way round that goes on is its own"
        )
        found.append(Reason("", says))
    if answer.margin_mm is not None and trial.stand != "missing":
        found.append(Reason("", _margin(answer, answer.margin_mm, trial.stand == "unsure"), (), PLAY_SOURCE))
    if answer.also and trial.stand != "missing":
        found.append(Reason("", f"{answer.also} other ways of pairing are equally good", (), None))
    if trial.stand != "missing":
        found += sureness(replace(trial, chance=findings.chance), findings.known.one_drawing, findings.confidence)
    if trial.stand != "missing":
        found += [Reason("", text, (), None) for text in answer.slides]
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
    found = [
        Reason(
            "", "the fixings do not lie in one plane: across each axis the play of its hole counts, along it that its "
            "fastener engages to within one diameter of it either way", (), "common practice, no source",
        )
    ]  # fmt: skip
    if answer.gaps and answer.fits:
        fixing, gap_mm = answer.gaps[0]
        found.append(
            Reason("", f"pushed on until the first faces meet, the largest gap is {mm(max(gap_mm, 0.0))}, at {fixing}")
        )
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


def _measured_from(findings: Findings) -> str:
    if findings.measured_from == "original":
        return (
            "the host was not measured: the original's holes show where its fixings stood, each to within that "
            "hole's own play"
        )
    return "the places of the fixings were measured on the host"


def _seams(findings: Findings) -> list[Reason]:
    seams = findings.seams
    if seams is None:
        return []
    says = "the donor's {} lies within {} of the original's; the readings may be out by {}"
    return [Reason("", says.format(kind, mm(departure), mm(limit))) for kind, departure, limit in seams.coincide]


def _forbids(findings: Findings) -> list[Reason]:
    return [Reason("", e.says, e.because, e.source) for e in findings.known.forbids]
