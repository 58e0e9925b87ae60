"""A reference for placements in space that shares no solver with `partkin.fit`: sequential cones by cvxpy and clarabel.

Each round linearises the turn, solves the second-order cone programme in a trust region, turns exactly, and
takes the step only if the excess recomputed with the true rotation falls.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import lsq_linear
from scipy.spatial.transform import Rotation

from partkin.model.fitting import FitTask, Spot

LEAN_COS, LEAN_MM = 0.866, 1000.0


@dataclass(frozen=True)
class Held:
    """One pair in plain numbers; `ends` are the donor's points that have to lie within the play."""

    ends: np.ndarray
    p: np.ndarray
    b: np.ndarray
    q: np.ndarray
    a: np.ndarray
    allowed: float
    grip: float
    host_slot: np.ndarray
    donor_slot: np.ndarray


def held(task: FitTask) -> list[Held]:
    """Pairs of a task whose pairing is given."""
    fixings, features = ({s.id: s for s in side} for side in (task.fixings, task.features))
    found = []
    for option in task.options:
        f, d = fixings[option.fixing], features[option.feature]
        p, b = np.array(d.at_mm), np.array(d.axis)
        depth = max(f.depth_mm or 0.0, d.depth_mm or 0.0)
        ends = np.array([p + depth / 2 * b, p - depth / 2 * b]) if depth else p[None]
        grip = f.grip_mm if f.grip_mm is not None else (d.grip_mm or 0.0)
        found.append(Held(ends, p, b, np.array(f.at_mm), np.array(f.axis), option.allowed_mm, grip, slot(f), slot(d)))
    return found


def slot(spot: Spot) -> np.ndarray:
    """Half of a slot's centre line as a vector: z laid over to the axis the shorter way takes (cos, sin, 0) along."""
    axis = np.array(spot.axis)
    axis = -axis if axis[2] < 0 else axis
    way = np.array([math.cos(math.radians(spot.angle_deg)), math.sin(math.radians(spot.angle_deg)), 0.0])
    pole = np.cross([0.0, 0.0, 1.0], axis)
    size = np.linalg.norm(pole)
    if size > 1e-12:
        way = Rotation.from_rotvec(pole / size * math.atan2(size, axis[2])).apply(way)
    return way * spot.half_travel_mm


def excess(pairs: list[Held], turn: np.ndarray, shift: np.ndarray) -> np.ndarray:
    """By how much each pair is out at a placement, worked out one by one."""
    out = []
    for pair in pairs:
        flat = np.eye(3) - np.outer(pair.a, pair.a)
        values = [abs(pair.a @ (turn @ pair.p + shift - pair.q)) - pair.grip]
        values.append(LEAN_MM * (LEAN_COS - pair.a @ (turn @ pair.b)))
        slots = np.column_stack([flat @ pair.host_slot, flat @ (turn @ pair.donor_slot)])
        slots = slots[:, np.abs(slots).max(axis=0) > 0]
        for end in pair.ends:
            gap = flat @ (turn @ end + shift - pair.q)
            if slots.shape[1]:
                gap = gap - slots @ lsq_linear(slots, gap, (-1.0, 1.0), method="bvls", tol=1e-14).x
            values.append(float(np.linalg.norm(gap)) - pair.allowed)
        out.append(max(values))
    return np.array(out)


def reference(task: FitTask, rounds: int = 12, starts: int = 3) -> tuple[float, np.ndarray, np.ndarray]:
    """Least worst excess from several starts, with its placement."""
    pairs = held(task)
    p, q = np.array([pair.p for pair in pairs]), np.array([pair.q for pair in pairs])
    a, b = np.array([pair.a for pair in pairs]), np.array([pair.b for pair in pairs])
    best = None
    for weight in (1.0, 50.0, 1e4)[:starts]:
        turn = Rotation.align_vectors(
            np.vstack([q - q.mean(axis=0), a]),
            np.vstack([p - p.mean(axis=0), b]),
            weights=np.concatenate([np.ones(len(p)), np.full(len(p), weight)]),
        )[0].as_matrix()
        found = _walk(pairs, turn, q.mean(axis=0) - turn @ p.mean(axis=0), rounds)
        if best is None or found[0] < best[0]:
            best = found
    assert best is not None
    return best


def _walk(pairs: list[Held], turn: np.ndarray, shift: np.ndarray, rounds: int) -> tuple[float, np.ndarray, np.ndarray]:
    import warnings

    worst, trust = float(excess(pairs, turn, shift).max()), 0.3
    middle = np.mean([pair.q for pair in pairs], axis=0)
    for _ in range(rounds):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            step = _programme(pairs, turn, shift, middle, trust)
        if step is None:
            trust /= 4
            continue
        more = Rotation.from_rotvec(step[:3]).as_matrix()
        turned, shifted = more @ turn, more @ (shift - middle) + middle + step[3:6]
        reached = float(excess(pairs, turned, shifted).max())
        if reached < worst - 1e-9:
            worst, turn, shift = reached, turned, shifted
        elif np.abs(step[:3]).max() < 1e-9:
            break
        else:
            trust = float(np.abs(step[:3]).max()) / 4
    return worst, turn, shift


def _programme(
    pairs: list[Held], turn: np.ndarray, shift: np.ndarray, middle: np.ndarray, trust: float
) -> np.ndarray | None:
    import cvxpy as cp

    x, z = cp.Variable(6), cp.Variable()
    limits = [cp.norm(x[:3], "inf") <= trust]

    def line(vector: np.ndarray, at: np.ndarray) -> cp.Expression:
        lever = np.cross(at - middle, vector)
        return float(vector @ at) + lever @ x[:3] + vector @ x[3:]

    for pair in pairs:
        basis = np.linalg.svd(pair.a[None])[2][1:]
        at = turn @ pair.p + shift
        limits += [
            line(pair.a, at) - pair.a @ pair.q <= pair.grip + z,
            line(pair.a, at) - pair.a @ pair.q >= -pair.grip - z,
        ]
        lean = np.cross(turn @ pair.b, pair.a)
        limits.append(LEAN_MM * (LEAN_COS - pair.a @ turn @ pair.b - lean @ x[:3]) <= z)
        for end in pair.ends:
            at = turn @ end + shift
            gap = [line(row, at) - row @ pair.q for row in basis]
            if np.abs(pair.host_slot).max() > 0:
                slid = cp.Variable()
                limits += [slid <= 1, slid >= -1]
                gap = [g - slid * float(row @ pair.host_slot) for g, row in zip(gap, basis)]
            if np.abs(pair.donor_slot).max() > 0:
                slid = cp.Variable()
                limits += [slid <= 1, slid >= -1]
                gap = [g - slid * float(row @ turn @ pair.donor_slot) for g, row in zip(gap, basis)]
            limits.append(cp.norm(cp.hstack(gap)) <= pair.allowed + z)
    problem = cp.Problem(cp.Minimize(z), limits)
    try:
        problem.solve(solver=cp.CLARABEL)
    except cp.SolverError:
        return None
    return None if x.value is None else np.asarray(x.value)
