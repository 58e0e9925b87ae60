"""Which reading would settle a verdict that could still go either way."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from partkin.fit.arrays import PlanePairs
from partkin.fit.minimax import best_placement
from partkin.model.positions import Positions
from partkin.model.reasons import Unknown
from partkin.model.trial import Trial
from partkin.tables import greatest_error_mm
from partkin.trying import Places
from partkin.verdict import Findings

MOST_ASKED = 3
SELLER, BENCH = "seller", "tape"


@dataclass(frozen=True)
class Candidate:
    """A distance that could be read, and by how much it narrows the margin's spread."""

    part: str
    one: str
    other: str
    drop_mm2: float
    instrument: str


def settling(findings: Findings, places: Places) -> tuple[Unknown, ...]:
    """The readings that narrow the margin most, best first.

    The margin's gradient is the set of balanced forces at the best placement; a distance between two centres
    narrows its variance by |T C a|^2 / (sigma^2 + a C a).
    """
    trial = findings.trial
    if trial is None or trial.task.dims != 2 or not trial.answer.pairs:
        return ()
    host_forces, donor_forces = forces(trial)
    found = [
        *_candidates(places.donor, donor_forces, SELLER),
        *_candidates(places.host, {places.hosted.placed_by.get(k, k): v for k, v in host_forces.items()}, BENCH),
    ]
    found.sort(key=lambda c: (-round(c.drop_mm2, 9), c.part, c.one, c.other))
    return tuple(_asked(c) for c in found[:MOST_ASKED] if c.drop_mm2 > 0)


def forces(trial: Trial) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """How the least margin changes when a fixing, or a donor feature, moves: (2,) each, in its own frame."""
    pairs = [(p.fixing, p.feature) for p in trial.answer.pairs if p.allowed_mm < 1e4]
    placed = best_placement(PlanePairs.of(trial.task, pairs))
    c, s = np.cos(placed.turn_rad), np.sin(placed.turn_rad)
    back = np.array([[c, s], [-s, c]])
    mirror = np.array([-1.0 if trial.mirrored else 1.0, 1.0])
    host = {fixing: weight for (fixing, _), weight in zip(pairs, placed.weights, strict=True)}
    donor = {feature: -(back @ weight) * mirror for (_, feature), weight in zip(pairs, placed.weights, strict=True)}
    return host, donor


def _candidates(positions: Positions, gradient: dict[str, np.ndarray], instrument: str) -> list[Candidate]:
    ids = [name for name in positions.features if name in gradient]
    if len(ids) < 2:
        return []
    covariance = covariance_mm2(positions)
    d = positions.dims
    t = np.zeros(len(positions.features) * d)
    for name in ids:
        at = positions.features.index(name) * d
        t[at : at + 2] = gradient[name]
    found = []
    for one, other in combinations(ids, 2):
        i, k = positions.features.index(one), positions.features.index(other)
        apart = positions.xyz_mm[k] - positions.xyz_mm[i]
        length_mm = float(np.linalg.norm(apart))
        if length_mm < 1e-6:
            continue
        a = np.zeros_like(t)
        a[k * d : k * d + d], a[i * d : i * d + d] = apart / length_mm, -apart / length_mm
        sigma_mm = greatest_error_mm(instrument, length_mm) / 3**0.5
        ca = covariance @ a
        drop = float(t @ ca) ** 2 / (sigma_mm**2 + float(a @ ca))
        found.append(Candidate(positions.part, one, other, drop, instrument))
    return found


def covariance_mm2(positions: Positions) -> np.ndarray:
    """Covariance of all coordinates, adjusted or rectangular."""
    d = positions.dims
    plain = np.repeat(np.asarray(positions.half_width_mm, dtype=float) ** 2 / 3.0, d)
    if positions.covariance_mm2 is None:
        return np.diag(plain)
    tied = np.repeat(np.isin(np.array(positions.features, dtype=object), positions.adjusted), d)
    return np.where(np.outer(tied, tied), positions.covariance_mm2, np.diag(np.where(tied, 0.0, plain)))


def _asked(candidate: Candidate) -> Unknown:
    how = "ask the seller for" if candidate.instrument == SELLER else "read"
    says = (
        f"{how} the distance from the centre of {candidate.one} to the centre of {candidate.other} on "
        f"{candidate.part}: it tells most of what is still open"
    )
    return Unknown(
        f"{candidate.one} to {candidate.other} of {candidate.part}", says, candidate.part, "centres", candidate.one,
        candidate.other,
    )  # fmt: skip
