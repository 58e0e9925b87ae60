"""Why a donor got its verdict, and what would have to be true for another one."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from partkin import pipeline
from partkin.model.build import Build
from partkin.model.fitting import FitTask
from partkin.model.trial import Trial
from partkin.model.verdict import Verdict
from partkin.model.words import BOLTS_ON, NOT_ENOUGH, NOT_JUDGED
from partkin.verdict import Findings, decide, leading

WIDEST_MM = 40.0
LAW = "restraint parts are never judged by geometry (common practice, no source)"
SOURCE = "the geometry of this check, everything else left as it is"


@dataclass(frozen=True)
class Change:
    """The nearest change that would give another verdict."""

    says: str
    size_mm: float | None
    source: str


def explain(build: Build, donor: str, host: str | None = None) -> tuple[Verdict, tuple[Change, ...]]:
    """The verdict, and what would have to be true for another, the nearest change first."""
    findings = pipeline.find_out(build, donor, host)
    return decide(findings), changes(findings)


def changes(findings: Findings) -> tuple[Change, ...]:
    """What would have to be true for another verdict; empty where nothing that is measured could change it."""
    trial = findings.trial
    verdict = decide(findings).verdict
    if verdict == NOT_JUDGED:
        return (Change("nothing that is measured changes it: only the maker's part number decides", None, LAW),)
    lead = leading(findings.known)
    if lead is not None:
        return (Change(f"another part number: {lead.says}", None, lead.source),)
    if trial is None or verdict == NOT_ENOUGH:
        return (Change("the readings named by check and measure-next decide it", None, SOURCE),)
    if findings.seams is not None and findings.seams.too_far:
        kind, departure_mm, limit_mm = findings.seams.too_far[0]
        says = f"its {kind} would have to lie {departure_mm - limit_mm:.1f} mm nearer to where the original's lies"
        return (Change(says, departure_mm - limit_mm, SOURCE),)
    if trial.task.dims != 2 or trial.answer.margin_mm is None:
        return ()
    return _undone(trial) if verdict == BOLTS_ON else _mended(trial)


def _undone(trial: Trial) -> tuple[Change, ...]:
    """For a donor that fits: which feature would have to stand how far off before it no longer did."""
    from partkin.next_readings import forces

    margin_mm = trial.answer.margin_mm or 0.0
    _, donor = forces(trial)
    found = []
    for feature, force in donor.items():
        pull = float(np.hypot(*force))
        if pull > 1e-6:
            found.append((margin_mm / pull, feature))
    return tuple(
        Change(
            f"it would no longer go on if {feature} stood about {far_mm:.1f} mm further off, the worst way round "
            f"(to first order)",
            far_mm, SOURCE,
        )
        for far_mm, feature in sorted(found)[:3]
    )  # fmt: skip


def _mended(trial: Trial) -> tuple[Change, ...]:
    """For a donor that does not fit: which single hole, made wider by how much, would let it."""
    pairs = [(p.fixing, p.feature) for p in trial.answer.pairs]
    found = []
    for pair in pairs:
        wider_mm = _least_widening(trial.task, pair)
        if wider_mm is not None:
            found.append((wider_mm, pair))
    changes_ = tuple(
        Change(
            f"it would go on if {feature} on {fixing} had {wider_mm:.1f} mm more play (a hole {2 * wider_mm:.1f} mm "
            f"wider, or a reading that is out by as much)",
            wider_mm, SOURCE,
        )
        for wider_mm, (fixing, feature) in sorted(found)[:3]
    )  # fmt: skip
    return changes_ or (Change("no change at one fixing alone would let it go on: several are out", None, SOURCE),)


def _least_widening(task: FitTask, pair: tuple[str, str]) -> float | None:
    """Smallest extra play of one pair that makes the whole fit, to 0.05 mm; None up to WIDEST_MM."""
    from partkin.fit import solve

    def fits(extra_mm: float) -> bool:
        options = tuple(
            replace(o, allowed_mm=o.allowed_mm + extra_mm) if (o.fixing, o.feature) == pair else o for o in task.options
        )
        return solve(replace(task, options=options)).fits is True

    if not fits(WIDEST_MM):
        return None
    low, high = 0.0, WIDEST_MM
    while high - low > 0.05:
        middle = (low + high) / 2
        low, high = (low, middle) if fits(middle) else (middle, high)
    return high


__all__ = ["Change", "changes", "explain"]
