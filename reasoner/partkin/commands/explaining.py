"""Why a donor got its verdict, and what would have to be true for another one."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from partkin import pipeline
from partkin.model.build import Build
from partkin.model.fitting import FitTask
from partkin.model.known import Evidence, Known, leading
from partkin.model.verdict import Trial, Verdict
from partkin.model.words import BOLTS_ON, NOT_ENOUGH, NOT_JUDGED
from partkin.trial.findings import Findings
from partkin.verdict import decide

WIDEST_MM = 40.0
MOST_TOLD = 3
LAW = "restraint parts are never judged by geometry (common practice, no source)"
NUMBER = "the maker's own number comes before what is measured (common practice, no source)"
READ = "the draws of this check"
READINGS = "the readings named by check and measure-next decide it"
SOURCE = "the geometry of this check, everything else left as it is"


class NeededChange(NamedTuple):
    """A change that would give another verdict."""

    says: str
    size_mm: float | None
    source: str


class Disagreement(NamedTuple):
    """Evidence that disagrees: what counts, and the reading or question that decides."""

    says: str
    decides: str


ASK = "ask before you pay"
# What tells who is right where a doubt speaks against a donor.
ASKED = {
    "older part number": "ask which number the maker sells now, and whether the later part goes on the earlier car",
    "other hand": "look which hand is moulded or stamped into it, and take its hand down in parts.csv",
    "other drive": "ask on which side the steering of its car was, and take that down in parts.csv",
    "other years": "ask for the day its car was built: the years of a model overlap a change in mid-life",
    "pictured different": "pick the holes once more in a photograph taken square on, or read distances off it",
}


def explain(build: Build, donor: str, host: str | None = None) -> tuple[Verdict, tuple[NeededChange, ...]]:
    """The verdict, and what would have to be true for another, the nearest change first."""
    findings = pipeline.find_out(build, donor, host, others=False)
    return decide(findings), changes(findings)


def verdict_and_disagreements(
    build: Build, donor: str, host: str | None = None
) -> tuple[Verdict, tuple[Disagreement, ...]]:
    """The verdict with its reasons, and where the evidence for it disagrees."""
    findings = pipeline.find_out(build, donor, host, others=False)
    return pipeline.decided(build, findings), disagreements(findings)


def disagreements(findings: Findings) -> tuple[Disagreement, ...]:
    """Where evidence disagrees with evidence, or with what was measured: the stronger counts, and what decides.

    The order of strength: same part number, superseded by the maker's own number, measured, carried over, looks alike.
    """
    known, trial = findings.known, findings.trial
    speaks = [e for e in known.evidence if e.speaks_for]
    lead = leading(known)
    found: list[Disagreement] = []
    stand = trial.stand if trial is not None else None
    if stand == "does not":
        found += [_against_readings(e, known, trial, e is lead) for e in speaks[:1]]
    if stand == "fits" and lead is None:
        found += [
            Disagreement(f"{e.says}; what was measured says that it goes on, and counts more", ASKED.get(e.kind, ASK))
            for e in known.evidence if not e.speaks_for
        ]  # fmt: skip
        return tuple(found)
    for doubt in (e for e in known.evidence if not e.speaks_for):
        if speaks:
            counts = "the number counts more" if speaks[0] is lead else "neither decides alone"
            says = f"{speaks[0].says}; against it: {doubt.says}; {counts}"
            found.append(Disagreement(says, ASKED.get(doubt.kind, ASK)))
    return tuple(found)


def _against_readings(speaks: Evidence, known: Known, trial: Trial | None, leads: bool) -> Disagreement:
    """Evidence for a donor that the readings speak against."""
    donor = known.donor.part.part
    names = [pair.feature for pair in trial.answer.conflict.pairs] if trial and trial.answer.conflict else []
    read = f"read {' to '.join(names[:2]) or 'its holes'} of {donor} once more"
    if leads:
        says = f"{speaks.says}, yet the readings say that it does not go on; the number counts more"
        return Disagreement(says, f"{read}, and read the number off the part itself")
    return Disagreement(f"{speaks.says}; what was measured says that it does not go on as it is, and counts more", read)


def changes(findings: Findings) -> tuple[NeededChange, ...]:
    """What would have to be true for another verdict; empty where nothing that is measured could change it."""
    trial = findings.trial
    verdict = decide(findings)
    if verdict.verdict == NOT_JUDGED:
        return (NeededChange("nothing that is measured changes it: only the maker's part number decides", None, LAW),)
    lead = leading(findings.known)
    if lead is not None:
        return (NeededChange(f"another part number: {lead.says}", None, lead.source),)
    if trial is None or verdict.verdict == NOT_ENOUGH:
        asked = verdict.unknown[:MOST_TOLD]
        return tuple(NeededChange(one.says, None, READ) for one in asked) or (NeededChange(READINGS, None, READ),)
    if findings.seams is not None and findings.seams.too_far:
        kind, departure_mm, limit_mm = findings.seams.too_far[0]
        says = f"its {kind} would have to lie {departure_mm - limit_mm:.1f} mm nearer to where the original's lies"
        return (NeededChange(says, departure_mm - limit_mm, SOURCE), *_by_number(findings.known))
    if trial.answer.margin_mm is None:
        return _by_number(findings.known)
    if verdict.verdict == BOLTS_ON:
        undone = _undone(trial) if trial.task.dims == 2 else ()
        if undone:
            return undone
        # In space, or where the patterns lie exactly on each other: how far every feature may be off.
        most_mm = max(trial.answer.margin_mm, 0.0)
        says = f"as long as no feature stands more than {most_mm:.2f} mm off where it was read it goes on"
        return (NeededChange(says, most_mm, SOURCE),)
    return (*_mended(trial), *_by_number(findings.known))


def _by_number(known: Known) -> tuple[NeededChange, ...]:
    """The maker's own number overrules every reading."""
    beside = known.original or known.host
    number = beside.part.part_number
    if number is None:
        return ()
    says = f"it would count as going on, whatever the readings say, if it carried {number} or a number that replaces it"
    return (NeededChange(says, None, NUMBER),)


def _undone(trial: Trial) -> tuple[NeededChange, ...]:
    """For a donor that fits: which feature would have to stand how far off before it no longer did."""
    from partkin.fit.arrays import Pairs
    from partkin.fit.minimax import best_placement
    from partkin.fit.task import UNKNOWN_PLAY_MM

    margin_mm = trial.answer.margin_mm or 0.0
    pairs = [(p.fixing, p.feature) for p in trial.answer.pairs if p.allowed_mm < UNKNOWN_PLAY_MM]
    # The balanced forces of the best placement say how fast the margin shrinks as one feature moves.
    forces = best_placement(Pairs.of(trial.task, pairs)).weights
    pulls = [(float(np.hypot(*force)), feature) for force, (_, feature) in zip(forces, pairs, strict=True)]
    found = [(margin_mm / pull, feature) for pull, feature in pulls if pull > 1e-6]
    return tuple(
        NeededChange(
            f"it would no longer go on if {feature} stood about {far_mm:.1f} mm further off, the worst way round "
            f"(to first order)",
            far_mm, SOURCE,
        )
        for far_mm, feature in sorted(found)[:MOST_TOLD]
    )  # fmt: skip


def _mended(trial: Trial) -> tuple[NeededChange, ...]:
    """For a donor that does not fit: which single hole, made wider by how much, would let it; or every one."""
    from partkin.fit.solve import solve

    pairs = [(p.fixing, p.feature) for p in trial.answer.pairs]
    found = []
    for pair in pairs if trial.task.dims == 2 else []:
        wider_mm = _least_widening(trial.task, pairs, pair)
        if wider_mm is not None and solve(_widened(trial.task, pair, wider_mm)).fits:
            found.append((wider_mm, pair))
    single = tuple(
        NeededChange(
            f"it would go on if {feature} on {fixing} had {wider_mm:.1f} mm more play (a hole {2 * wider_mm:.1f} mm "
            f"wider, or a reading that is out by as much)",
            wider_mm, SOURCE,
        )
        for wider_mm, (fixing, feature) in sorted(found)[:MOST_TOLD]
    )  # fmt: skip
    short_mm = -(trial.answer.margin_mm or 0.0)
    if single or short_mm <= 0:
        return single
    alone = "no change at one fixing alone lets it go on; " if trial.task.dims == 2 else ""
    return (NeededChange(f"{alone}it would if every fixing had {short_mm:.2f} mm more play", short_mm, SOURCE),)


def _widened(task: FitTask, pair: tuple[str, str], extra_mm: float) -> FitTask:
    options = tuple(
        replace(o, allowed_mm=o.allowed_mm + extra_mm) if (o.fixing, o.feature) == pair else o for o in task.options
    )
    return replace(task, options=options)


def _least_widening(task: FitTask, pairs: list[tuple[str, str]], pair: tuple[str, str]) -> float | None:
    """Smallest extra play of one pair that makes all of these fit, to 0.05 mm; None up to WIDEST_MM."""
    from partkin.fit.solve import goes_on

    held = tuple(o for o in task.options if (o.fixing, o.feature) in pairs)
    given = replace(task, options=held, given=True)
    if not goes_on(_widened(given, pair, WIDEST_MM)):
        return None
    low, high = 0.0, WIDEST_MM
    while high - low > 0.05:
        middle = (low + high) / 2
        low, high = (low, middle) if goes_on(_widened(given, pair, middle)) else (middle, high)
    return high
