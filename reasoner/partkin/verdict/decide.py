"""From findings to one of the five words, with the reasons that carry it."""

from __future__ import annotations

from dataclasses import replace

from partkin.model.adapting import Adaptation
from partkin.model.fitting import Chance, Conflict, FitAnswer, Spot, WithinErrors
from partkin.model.known import airbag, is_restraint, leading
from partkin.model.verdict import Laid, SeamElsewhere, Trial, Unknown, Verdict
from partkin.model.words import BOLTS_ON, DOES_NOT_FIT, NOT_ENOUGH, NOT_JUDGED, WITH_ADAPTATION, VerdictWord, mm
from partkin.trial.findings import Findings
from partkin.verdict.cautions import cautions
from partkin.verdict.phrases import after_work, conflict_says, laid, odd_says
from partkin.verdict.reasoning import reasons
from partkin.verdict.unknowns import mirror_says, unknowns


def word(findings: Findings) -> VerdictWord:
    """Choose the word. The order of the questions is the order in which they overrule each other."""
    trial, seams = findings.trial, findings.seams
    if is_restraint(findings.known):
        return NOT_JUDGED
    if leading(findings.known):
        return BOLTS_ON
    if trial is None or findings.face_open:
        return NOT_ENOUGH
    if seams is not None and seams.too_far and trial.stand in ("fits", "unsure", "does not"):
        return DOES_NOT_FIT
    if trial.stand == "fits":
        return BOLTS_ON
    if trial.stand != "does not" or findings.work_waits:
        return NOT_ENOUGH
    chance = findings.adapted_chance
    adapted = findings.adapting is not None and findings.adapting.adaptations
    return WITH_ADAPTATION if adapted and chance and chance.fits >= findings.confidence else DOES_NOT_FIT


def decide(findings: Findings) -> Verdict:
    """Make the verdict; `says` and `next_step` are its first and last sentence."""
    chosen = word(findings)
    known, trial = findings.known, findings.trial
    verdict = Verdict(
        known.host.part.part, known.donor.part.part, findings.measured_from, chosen,
        safety=cautions(known, findings.seams),
    )  # fmt: skip
    if chosen == NOT_JUDGED:
        says = "A restraint part is never judged by geometry."
        last = "Go by the maker's part number for that very vehicle, fitted by licensed practice."
        return replace(verdict, reasons=reasons(findings, chosen), says=says, next_step=last)
    if trial is not None:
        verdict = _with_trial(verdict, trial, findings.chance)
    offered = _offered(findings, chosen)
    verdict = _with_work(verdict, findings, offered)
    as_read, odd, after = _laid(findings, offered)
    conflict = _conflict(findings) if chosen in (DOES_NOT_FIT, WITH_ADAPTATION) else None
    told = trial is not None and (conflict is not None or (findings.work_waits and trial.answer.conflict is not None))
    conflict_text = conflict_says(trial, (odd or as_read).pairs) if told and trial is not None else None
    seam_text = _seam_text(findings) if chosen == DOES_NOT_FIT else None
    open_questions = unknowns(findings, chosen)
    return replace(
        verdict,
        pairs=as_read.pairs,
        unpaired=as_read.unpaired,
        odd=odd,
        after=after,
        conflict=conflict,
        conflict_says=conflict_text or seam_text,
        elsewhere=_elsewhere(trial) if seam_text and trial is not None else None,
        unknown=open_questions,
        reasons=reasons(
            findings, chosen, conflict_text, seam_text, conflict.errors if conflict is not None else None,
            odd.says if odd is not None else None,
        ),
        says=_says(findings, chosen, trial.answer if trial is not None else None, odd),
        next_step=_next_step(findings, chosen, open_questions, offered),
        notes=findings.notes,
    )  # fmt: skip


def _with_trial(verdict: Verdict, trial: Trial, chance: Chance | None) -> Verdict:
    """Add where the donor lies, and where nothing is missing how well and how surely."""
    answer = trial.answer
    verdict = replace(
        verdict,
        placement=answer.placement or None,
        host_positions=_positions(trial.task.fixings, trial.nowhere[0]),
        donor_positions=_positions(trial.task.features, trial.nowhere[1]),
        likely=trial.likely if verdict.verdict == BOLTS_ON else None,
    )
    if trial.stand == "missing":
        return verdict
    # The pull under which the placement shown was found; what is for sureness' sake alone is among the reasons.
    flex_mm = answer.flex_used_mm if answer.flex_used_mm and not answer.flex_to_be_sure else None
    verdict = replace(verdict, chance=chance, margin_mm=answer.margin_mm, flex_used_mm=flex_mm)
    return replace(verdict, gaps=answer.gaps, also=answer.also)


def _with_work(verdict: Verdict, findings: Findings, offered: tuple[Adaptation, ...]) -> Verdict:
    """Add the work that is listed, and what is likely to do where nothing is decided."""
    likely = findings.likely if verdict.verdict == NOT_ENOUGH else None
    return replace(
        verdict,
        adaptation=offered[0] if offered else None,
        other_adaptations=offered[1:],
        ruled_out=findings.adapting.ruled_out if findings.adapting else (),
        adapted_chance=findings.adapted_chance if offered else None,
        likely_work=likely.work if likely is not None else None,
        likely_chance=likely.chance if likely is not None else None,
    )


def _laid(findings: Findings, offered: tuple[Adaptation, ...]) -> tuple[Laid, Laid | None, Laid | None]:
    """How it lies by its best margin, where the most fixings hold, and after the work."""
    trial, found = findings.trial, findings.odd
    if trial is None:
        return Laid(None, ()), None, None
    as_read = laid(findings, trial, trial.answer.placement or None, trial.answer.pairs)
    odd = None
    if found is not None:
        odd = replace(laid(findings, trial, found.placement, found.pairs), odd=found.odd)
        odd = replace(odd, says=odd_says(odd))
    return as_read, odd, after_work(offered[0] if offered else None)


def _positions(spots: tuple[Spot, ...], nowhere: frozenset[str]) -> tuple[tuple[str, tuple[float, ...]], ...]:
    return tuple((spot.id, spot.at_mm) for spot in spots if spot.id not in nowhere)


def _offered(findings: Findings, chosen: VerdictWord) -> tuple[Adaptation, ...]:
    """The adaptations to show: those that make it go on whichever way the readings fall."""
    sure = findings.adapted_chance is not None and findings.adapted_chance.fits >= findings.confidence
    if findings.adapting is None or not sure or chosen not in (WITH_ADAPTATION, NOT_ENOUGH):
        return ()
    if chosen == NOT_ENOUGH and findings.may_go_on:
        return ()
    return findings.adapting.adaptations


def _conflict(findings: Findings) -> Conflict | None:
    """The conflict of the trial shown; where both faces were tried, its proof covers both.

    A proof for other layouts, or without a reading, is one of other places than those that the verdict states.
    """
    trial = findings.trial
    own = _conflict_of(trial) if trial is not None else None
    if trial is None or own is None:
        return None
    alike = [t for t in findings.trials if (t.layouts, t.without) == (trial.layouts, trial.without)]
    conflicts = [own, *filter(None, (_conflict_of(other) for other in alike if other is not trial))]
    return replace(
        own,
        fixings=tuple(dict.fromkeys(name for conflict in conflicts for name in conflict.fixings)),
        features=tuple(dict.fromkeys(name for conflict in conflicts for name in conflict.features)),
        nogoods=tuple(nogood for conflict in conflicts for nogood in conflict.nogoods),
        seams=tuple(dict.fromkeys(seam for conflict in conflicts for seam in conflict.seams)),
        errors=_whatever_the_errors(conflicts),
    )


def _whatever_the_errors(conflicts: list[Conflict]) -> WithinErrors | None:
    """What share of the errors would undo any of the conflicts; None: of one of them it is not known."""
    told = [conflict.errors for conflict in conflicts if conflict.errors is not None]
    if len(told) < len(conflicts):
        return None
    least = min(told, key=lambda one: (one.share, bool(one.nogoods)))
    if not all(one.nogoods for one in told):
        return replace(least, nogoods=())
    return replace(
        least,
        fixings=tuple(dict.fromkeys(name for one in told for name in one.fixings)),
        features=tuple(dict.fromkeys(name for one in told for name in one.features)),
        nogoods=tuple(nogood for one in told for nogood in one.nogoods),
    )


def _conflict_of(trial: Trial) -> Conflict | None:
    """Of a panel that goes on, but not with its seam in place: the proof of that."""
    return trial.answer.conflict or (trial.seams.conflict if trial.seams is not None else None)


def _elsewhere(trial: Trial) -> SeamElsewhere | None:
    """Where the seam lies of a donor that is laid as it is; that of one that does not go on lies nowhere yet."""
    seams = trial.seams
    if seams is None or not seams.too_far or trial.stand == "does not":
        return None
    return SeamElsewhere(*seams.too_far[0], seams.original_at)


def _seam_text(findings: Findings) -> str | None:
    seams = findings.seams
    if seams is None or not seams.too_far:
        return None
    kind, departure_mm, limit_mm = seams.too_far[0]
    return (
        f"the donor's {kind} lies {mm(departure_mm)} from where the original's lies, and what was measured and the "
        f"play explain at most {mm(limit_mm)}"
    )


def _says(findings: Findings, chosen: VerdictWord, answer: FitAnswer | None, odd: Laid | None) -> str:
    host, donor = findings.known.host.part, findings.known.donor.part
    name, place = donor.name or donor.part, host.name or host.part
    lead, stands = leading(findings.known), f": {odd.says}" if odd is not None else ""
    if chosen == BOLTS_ON and lead is not None:
        return f"{donor.part} ({name}) goes on {place}: {lead.says}."
    if chosen == BOLTS_ON and answer is not None and (answer.margin_mm or 0.0) < 0.0:
        return (
            f"{donor.part} ({name}) goes on {place} as it is: the worst of {len(answer.pairs)} fixings was read "
            f"{mm(-(answer.margin_mm or 0.0))} out of reach, which is within what the readings may be out."
        )
    if chosen == BOLTS_ON and answer is not None:
        return (
            f"{donor.part} ({name}) goes on {place} as it is: {len(answer.pairs)} fixings line up, the tightest with "
            f"{mm(answer.margin_mm or 0.0)} to spare."
        )
    if chosen == WITH_ADAPTATION:
        return f"{donor.part} ({name}) goes on {place} after the work listed below. As it is{stands or ' it does not'}."
    if chosen == DOES_NOT_FIT or findings.work_waits:
        return f"{donor.part} ({name}) does not go on {place} as it is{stands}; {_why_no_work(findings)}."
    if (mirror := mirror_says(findings)) is not None:
        return f"{donor.part} ({name}) bolts on {place}, unless it is a mirror image: {mirror}."
    return f"Whether {donor.part} ({name}) goes on {place} cannot be told from what was measured."


def _why_no_work(findings: Findings) -> str:
    if findings.seams is not None and findings.seams.too_far:
        return "no work mends a seam that lies elsewhere"
    if airbag(findings.known) is None:
        return "nothing is cut before it is known whether an airbag opens through it"
    if findings.adapting is not None and findings.adapting.why:
        return findings.adapting.why.rstrip(".")
    return "no work that may be done to it was found"


def _next_step(
    findings: Findings, chosen: VerdictWord, open_questions: tuple[Unknown, ...], offered: tuple[Adaptation, ...]
) -> str:
    safety_first = open_questions and open_questions[0].quantity in ("airbag", "duty")
    if open_questions and (chosen == NOT_ENOUGH or (chosen == DOES_NOT_FIT and safety_first)):
        return f"Next: {open_questions[0].says}"
    if chosen == WITH_ADAPTATION:
        jobs = len(offered[0].actions)
        return f"Next: weigh the {jobs} job{'s' if jobs != 1 else ''} against the other ways before you pay."
    trial, seams = findings.trial, findings.seams
    seam_alone = trial is not None and trial.stand != "does not" and seams is not None and bool(seams.too_far)
    if chosen == DOES_NOT_FIT and seam_alone:
        return "Next: before you let it go, read the corners of its seam once more; a slip looks the same."
    if chosen == DOES_NOT_FIT:
        return "Next: before you let it go, measure the fixings named above once more; a slip looks the same."
    if findings.known.donor.part.origin == "original":
        return "Next: name a donor, to see whether another part goes on in its place."
    return "Next: lay a paper template on the part, or have the seller do it, before you pay."
