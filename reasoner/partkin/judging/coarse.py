"""How often readings this coarse would make even the same part look as far off as the donor does.

The chance takes every pattern within the readings' errors as equally likely. Many patterns lie within coarse
errors and few of them fit, so the chance of a donor is small then whatever it really is: the very same part, read
to 2 mm, has next to none. This is the other question, a test of "its features are exactly where the fixings are":
how often would such a part, read as this one was, come out as far off or farther? Where that is not seldom, "does
not fit" would rest on the coarseness and not on the donor.

How far off is measured by the squares of the offsets that turning and shifting cannot take away, weighed by the
readings' own covariance (Mahalanobis), so that two holes that are known finely tell more than many known coarsely.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from partkin.fit.arrays import PlanePairs
from partkin.fit.task import Pairing, Prepared
from partkin.judging.chances import SEED, chance_of, pairings_of
from partkin.judging.places import Places
from partkin.model.fitting import FitAnswer, Placement
from partkin.model.positions import Positions
from partkin.positions import draws
from partkin.positions.budget import covariance_mm2

DRAWS = 1024
# Standard deviation that even what is said to be exact counts with.
FINEST_MM = 0.01


def same_would(prepared: Prepared, answer: FitAnswer, places: Places) -> float | None:
    """Share of cases in which the same part, read as this donor was, comes out as far off as this donor or farther.

    Parameters
    ----------
    prepared
        With the task that was judged.
    answer
        With a placement.
    places
        That it was made with.

    Returns
    -------
    float or None
        None where there is nothing to compare: no placement, or fewer than two pairs have to hold. 0 where a size
        alone keeps the donor off.
    """
    task, pairs, placement = prepared.task, pairings_of(prepared, answer)[0], answer.placement
    shown = [places.hosted.placed_by.get(fixing, fixing) for fixing, _ in pairs]
    there = [feature for _, feature in pairs]
    placed = set(shown) <= set(places.host.features) and set(there) <= set(places.donor.features)
    if not isinstance(placement, Placement) or answer.margin_mm is None or len(pairs) < 2 or not placed:
        return None
    allowed = {(option.fixing, option.feature): option.allowed_mm for option in task.options}
    if min(allowed[pair] for pair in pairs) < 0:
        return 0.0
    matrix = np.array(placement.matrix)
    onto, d = matrix[: task.dims, : task.dims], task.dims
    spread = _spread(places.host, shown, d) + _turned(_spread(places.donor, there, d), onto)
    gap_mm, arm_mm = _gaps(prepared, pairs, placement)
    weigh = _beyond_a_move(spread, arm_mm)
    off_mm = (_errors(places.donor, there, d) @ onto.T - _errors(places.host, shown, d)).reshape(DRAWS, -1)
    same = np.einsum("ki,ij,kj->k", off_mm, weigh, off_mm)
    return float(np.mean(same >= gap_mm.ravel() @ weigh @ gap_mm.ravel()))


def tells_nothing(prepared: Prepared, answer: FitAnswer, places: Places, confidence: float) -> bool:
    """Whether a small chance says nothing of the donor: it is as small with its features exactly on their fixings.

    So where a few holes are known finely and the others hardly at all.
    """
    if not isinstance(answer.placement, Placement):
        return False
    task, onto = prepared.task, np.linalg.inv(np.array(answer.placement.matrix))
    d, stood = task.dims, {spot.id: np.array(spot.at_mm) for spot in task.fixings}
    laid = {
        pair.feature: tuple((onto[:d, :d] @ stood[pair.fixing] + onto[:d, 3]).tolist()) for pair in answer.pairs
    }
    features = tuple(replace(spot, at_mm=laid.get(spot.id, spot.at_mm)) for spot in task.features)
    same = replace(prepared, task=replace(task, features=features))
    at_best = chance_of(same, replace(answer, also_pairs=()), places, confidence)
    return bool(at_best.draws) and at_best.fits <= 1.0 - confidence


def conflict_holds(prepared: Prepared, answer: FitAnswer, places: Places, confidence: float) -> bool:
    """Whether the pairs that are named as the conflict are sure enough by themselves; True without such pairs."""
    conflict = answer.conflict
    if conflict is None or not conflict.pairs:
        return True
    fixings, features = {pair.fixing for pair in conflict.pairs}, {pair.feature for pair in conflict.pairs}
    task = replace(
        prepared.task,
        fixings=tuple(replace(spot, must=spot.id in fixings) for spot in prepared.task.fixings),
        features=tuple(replace(spot, must=spot.id in features) for spot in prepared.task.features),
    )
    own = replace(answer, pairs=conflict.pairs, also_pairs=())
    return chance_of(replace(prepared, task=task), own, places, confidence).fits <= 1.0 - confidence


def _gaps(prepared: Prepared, pairs: Sequence[Pairing], placement: Placement) -> tuple[np.ndarray, np.ndarray]:
    """(n, d) how far each feature stands from its fixing at a placement, and where it stands from their middle."""
    d = prepared.task.dims
    at = {spot.id: np.array(spot.at_mm) for spot in prepared.task.features}
    stood = {spot.id: np.array(spot.at_mm) for spot in prepared.task.fixings}
    matrix = np.array(placement.matrix)
    laid = np.array([at[feature] for _, feature in pairs]) @ matrix[:d, :d].T + matrix[:d, 3]
    if d == 2:
        shift_mm = np.array([placement.x_mm, placement.y_mm])
        gap_mm = PlanePairs.of(prepared.task, pairs).contact(float(np.radians(placement.turn_deg)), shift_mm).gap_mm
    else:
        gap_mm = laid - np.array([stood[fixing] for fixing, _ in pairs])
    return gap_mm, laid - laid.mean(axis=0)


def _beyond_a_move(covariance: np.ndarray, arm_mm: np.ndarray) -> np.ndarray:
    """(n d, n d) weights of the squared offsets that no small turn and shift can take away."""
    n, d = arm_mm.shape
    planes = [(0, 1)] if d == 2 else [(0, 1), (1, 2), (2, 0)]
    moves = np.zeros((n, d, d + len(planes)))
    for axis in range(d):
        moves[:, axis, axis] = 1.0
    for column, (one, other) in enumerate(planes, start=d):
        moves[:, one, column], moves[:, other, column] = -arm_mm[:, other], arm_mm[:, one]
    flat = moves.reshape(n * d, -1)
    flat = flat / np.maximum(np.linalg.norm(flat, axis=0), 1e-9)
    weight = np.linalg.inv(covariance + FINEST_MM**2 * np.eye(n * d))
    held = weight @ flat
    return np.asarray(weight - held @ np.linalg.pinv(flat.T @ held) @ held.T)


def _rows(positions: Positions, names: Sequence[str]) -> list[int]:
    return [positions.features.index(name) for name in names]


def _spread(positions: Positions, names: Sequence[str], dims: int) -> np.ndarray:
    """(n d, n d) covariance of the named features."""
    at = [row * positions.dims + axis for row in _rows(positions, names) for axis in range(dims)]
    return np.asarray(covariance_mm2(positions)[np.ix_(at, at)])


def _turned(covariance: np.ndarray, onto: np.ndarray) -> np.ndarray:
    whole = np.kron(np.eye(len(covariance) // len(onto)), onto)
    return np.asarray(whole @ covariance @ whole.T)


def _errors(positions: Positions, names: Sequence[str], dims: int) -> np.ndarray:
    """(DRAWS, n, dims): how far each named feature may be off."""
    return np.asarray((draws(positions, DRAWS, SEED) - positions.xyz_mm)[:, _rows(positions, names), :dims])
