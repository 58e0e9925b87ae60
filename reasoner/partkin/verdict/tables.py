"""The pairs of a trial and what is left over, as the verdict lists them."""

from __future__ import annotations

from collections.abc import Iterable

from partkin.model.adapting import Adaptation
from partkin.model.fitting import FitTask, PairFit, Placement
from partkin.model.mating import Mating
from partkin.model.verdict import Laid, Pair, Trial, Unpaired
from partkin.model.words import PairState
from partkin.trial.findings import Findings

TIGHT_MM = 0.1
ZERO_MM = 1e-6
OPEN_PLAY_MM = 1.0e4


def state(margin_mm: float, blocked: bool) -> PairState:
    """Name how a pair stands.

    Examples
    --------
    >>> state(0.29, False), state(0.0, False), state(-0.4, False), state(-0.5, True)
    ('lines up', 'tight', 'out of reach', 'blocked')
    """
    if blocked:
        return "blocked"
    if margin_mm < -ZERO_MM:
        return "out of reach"
    return "tight" if margin_mm < TIGHT_MM else "lines up"


def laid(findings: Findings, trial: Trial, placement: Placement | None, fits: Iterable[PairFit]) -> Laid:
    """A way of laying the donor on, with the state of every pair and what is left over.

    Every pair that is measured, and those that goes_on names and that cannot go together.
    """
    fits = tuple(fits)
    found = [
        _pair(pair, trial.matings.get((pair.fixing, pair.feature))) for pair in fits if pair.allowed_mm < OPEN_PLAY_MM
    ]
    found += _blocked_as_given(trial, {pair.fixing for pair in found})
    order = {spot.id: number for number, spot in enumerate(trial.task.fixings)}
    listed = tuple(sorted(found, key=lambda pair: order.get(pair.fixing, len(order))))
    return Laid(placement, listed, _unpaired(findings, trial, fits, {pair.fixing for pair in listed}))


def after_work(adaptation: Adaptation | None) -> Laid | None:
    """How the donor lies once the work is done; None: there is none, or where it then lies is not known."""
    if adaptation is None or adaptation.placement is None:
        return None
    return Laid(adaptation.placement, tuple(_pair(pair, None) for pair in adaptation.stands))


def _pair(pair: PairFit, mating: Mating | None) -> Pair:
    why = mating.blocked if mating is not None else None
    blocked = why is not None
    if not blocked and pair.direction == "lean" and pair.margin_mm < 0:
        why = f"its axis points {pair.lean_deg:.0f} degrees off that of the fixing"
    return Pair(
        pair.fixing, pair.feature, pair.offset_mm, pair.allowed_mm, pair.margin_mm,
        state(pair.margin_mm, blocked), why, pair.direction, pair.along_mm, pair.lean_deg,
    )  # fmt: skip


def _blocked_as_given(trial: Trial, shown: set[str]) -> list[Pair]:
    """Pairs that the sheet names with goes_on and that cannot go together (thread, kind)."""
    named: dict[str, list[Pair]] = {}
    for (fixing, feature), mating in trial.matings.items():
        named.setdefault(fixing, []).append(Pair(fixing, feature, None, None, None, "blocked", mating.blocked))
    return [
        options[0]
        for fixing, options in named.items()
        if fixing not in shown and len(options) == 1 and not trial.matings[fixing, options[0].feature].option
    ]


def _unpaired(findings: Findings, trial: Trial, fits: tuple[PairFit, ...], shown: set[str]) -> tuple[Unpaired, ...]:
    """Fixings and features that are left over, and why."""
    used = {name for pair in fits for name in ((0, pair.fixing), (1, pair.feature))}
    host_needs = needs(findings, donor=False)
    donor_needs = needs(findings, donor=True)
    open_ends = [pair.fixing for pair in fits if pair.allowed_mm >= OPEN_PLAY_MM]
    found = [
        Unpaired(fixing, None, host_needs.get(fixing, "must"), "not everything is measured here")
        for fixing in open_ends
    ]
    found += [
        Unpaired(spot.id, None, host_needs.get(spot.id, "must"), why_left(trial, spot.id))
        for spot in trial.task.fixings if (0, spot.id) not in used and spot.id not in shown
    ]  # fmt: skip
    for spot in trial.task.features:
        need = donor_needs.get(spot.id, "should")
        if (1, spot.id) not in used and need != "spare":
            found.append(Unpaired(None, spot.id, need, _why_feature_left(findings, spot.id)))
    return tuple(found)


def needs(findings: Findings, *, donor: bool) -> dict[str, str]:
    """Need of each feature, by id; fixings shown by the original keep the original's."""
    known = findings.known
    if donor:
        return {f.feature: f.need or "should" for f in known.donor.features}
    side = known.host if known.host.features or known.original is None else known.original
    return {f.feature: f.need or "must" for f in side.features}


def why_left(trial: Trial, fixing: str) -> str:
    """Why no donor feature was paired with a fixing."""
    task: FitTask = trial.task
    considered = [m for pair, m in trial.matings.items() if pair[0] == fixing]
    if not any(o.fixing == fixing for o in task.options):
        blocked = list(dict.fromkeys(m.blocked for m in considered if m.blocked))
        return blocked[0] if len(blocked) == 1 else "no feature of the donor can go on it"
    if trial.answer.limit and not trial.answer.pairs:
        return "what goes on it was not searched to the end"
    return "no feature of the donor is in reach"


def _why_feature_left(findings: Findings, feature: str) -> str:
    kind = next((f.kind for f in findings.known.donor.features if f.feature == feature), "hole")
    if kind in ("stud", "peg"):
        return f"this {kind} meets no hole of the host as listed: see that it stands clear, or it holds the part off"
    return "no fixing of the host is in reach"
