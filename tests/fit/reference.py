"""A reference for the placement of known pairs that shares nothing with `partkin.fit` but the numbers.

The least worst excess is found as a second-order cone program (cvxpy, solved by clarabel), linear in the
turn: solved, turned, laid on anew until the turn rests, from several starts; at the end the program is
solved once more with the turn held, so that the value is that of a true rotation.
"""

from __future__ import annotations

import math
from functools import cache

import clarabel
import cvxpy as cp
import numpy as np
from scipy import sparse

FAR = math.pi


def distance(v, u, s_u, w, s_w) -> float:
    """From v to the parallelogram of b u + a w, |b| <= s_u, |a| <= s_w, by its corners and edges."""
    corners = [b * s_u * u + a * s_w * w for b, a in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    edges = list(zip(corners, corners[1:] + corners[:1]))
    area = s_u * s_w * abs(u[0] * w[1] - u[1] * w[0])
    if area > 1e-12:
        sides = [(d[0] - c[0]) * (v[1] - c[1]) - (d[1] - c[1]) * (v[0] - c[0]) for c, d in edges]
        if all(side >= 0 for side in sides) or all(side <= 0 for side in sides):
            return 0.0
    nearest = math.inf
    for c, d in edges:
        along = d - c
        length2 = float(along @ along)
        part = 0.0 if length2 == 0 else min(1.0, max(0.0, float((v - c) @ along) / length2))
        nearest = min(nearest, math.dist(v, c + part * along))
    return nearest


def excesses(pairs, turn_rad: float, shift) -> np.ndarray:
    """(n,) excess of each pair at a true rotation."""
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    rotation = np.array([[c, -s], [s, c]])
    return np.array(
        [
            distance(
                rotation @ pairs.p[i] + shift - pairs.q[i],
                pairs.u_h[i],
                pairs.s_h[i],
                rotation @ pairs.u_d[i],
                pairs.s_d[i],
            )
            - pairs.rho[i]
            for i in range(len(pairs.rho))
        ]
    )


@cache
def _program(n: int):
    """The program for n pairs; rotated points and slots are parameters."""
    points, lever, host, donor = (cp.Parameter((n, 2)) for _ in range(4))
    rho, may_turn = cp.Parameter(n), cp.Parameter(nonneg=True)
    turn, shift, z = cp.Variable(), cp.Variable(2), cp.Variable()
    b, a = cp.Variable(n), cp.Variable(n)
    limits = [cp.abs(b) <= 1, cp.abs(a) <= 1, cp.abs(turn) <= may_turn]
    cones = [
        cp.SOC(
            rho[i] + z,
            points[i] + turn * lever[i] + shift + cp.multiply(cp.hstack([a[i], a[i]]), donor[i])
            - cp.multiply(cp.hstack([b[i], b[i]]), host[i]),
        )
        for i in range(n)
    ]  # fmt: skip
    problem = cp.Problem(cp.Minimize(z), cones + limits)
    assert problem.is_dcp(dpp=True)
    return problem, (points, lever, host, donor, rho, may_turn), (turn, shift, z, a)


def with_cvxpy(pairs, turn_rad: float, slid, most_turn: float):
    """Solve once, linear in the turn: (turn, shift, z, way along each donor slot)."""
    problem, given, found = _program(len(pairs.rho))
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    rotation = np.array([[c, -s], [s, c]])
    size = max(1.0, float(np.abs(pairs.p).max()))
    turned = pairs.p @ rotation.T
    donor = (pairs.s_d[:, None] * pairs.u_d) @ rotation.T
    touching = turned + slid[:, None] * donor
    points, lever, host, moving, rho, may_turn = given
    points.value = turned - pairs.q
    lever.value = np.stack([-touching[:, 1], touching[:, 0]], axis=1) / size
    host.value, moving.value = pairs.s_h[:, None] * pairs.u_h, donor
    rho.value, may_turn.value = pairs.rho, most_turn * size
    problem.solve(solver=cp.CLARABEL, tol_gap_abs=1e-9, tol_gap_rel=1e-9, tol_feas=1e-9)
    turn, shift, z, a = found
    return float(turn.value) / size, shift.value, float(z.value), a.value


def with_clarabel(pairs, turn_rad: float, slid, most_turn: float):
    """Solve the same program by calling clarabel itself."""
    n = len(pairs.rho)
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    rotation = np.array([[c, -s], [s, c]])
    size = max(1.0, float(np.abs(pairs.p).max()))
    turned = pairs.p @ rotation.T
    donor = (pairs.s_d[:, None] * pairs.u_d) @ rotation.T
    host = pairs.s_h[:, None] * pairs.u_h
    touching = turned + slid[:, None] * donor
    hosts, donors = np.flatnonzero(pairs.s_h > 0), np.flatnonzero(pairs.s_d > 0)
    k = len(hosts) + len(donors)
    rows = np.zeros((3 * n, 4 + k))
    rows[0::3, 3] = -1.0
    rows[1::3, 0], rows[2::3, 0] = touching[:, 1] / size, -touching[:, 0] / size
    rows[1::3, 1] = rows[2::3, 2] = -1.0
    for column, i in enumerate(hosts, 4):
        rows[3 * i + 1 : 3 * i + 3, column] = host[i]
    for column, i in enumerate(donors, 4 + len(hosts)):
        rows[3 * i + 1 : 3 * i + 3, column] = -donor[i]
    right = np.empty(3 * n)
    right[0::3] = pairs.rho
    right[1::3], right[2::3] = (turned - pairs.q).T
    box = np.zeros((2 * (k + 1), 4 + k))
    box[0, 0], box[1, 0] = 1.0, -1.0
    for j in range(k):
        box[2 + 2 * j, 4 + j], box[3 + 2 * j, 4 + j] = 1.0, -1.0
    limit = np.concatenate([[most_turn * size] * 2, np.ones(2 * k)])
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix((4 + k, 4 + k)),
        np.eye(4 + k)[3],
        sparse.csc_matrix(np.vstack([rows, box])),
        np.concatenate([right, limit]),
        [clarabel.SecondOrderConeT(3)] * n + [clarabel.NonnegativeConeT(len(limit))],
        settings,
    )
    x = np.array(solver.solve().x)
    slid_now = np.zeros(n)
    slid_now[donors] = x[4 + len(hosts) :]
    return x[0] / size, x[1:3], x[3], slid_now


def from_start(pairs, turn_rad: float, once=with_cvxpy, rounds: int = 12) -> tuple[float, float, np.ndarray]:
    """Turn and lay on anew until the turn rests: (worst excess, turn, shift)."""
    slid = np.zeros(len(pairs.rho))
    most = 0.3
    best = (math.inf, turn_rad, np.zeros(2))
    for _ in range(rounds):
        delta, shift, _, slid = once(pairs, turn_rad, slid, most)
        turn_rad += delta
        worst = float(excesses(pairs, turn_rad, shift).max())
        if worst < best[0]:
            best = (worst, turn_rad, shift)
        else:
            most /= 2
        if abs(delta) < 1e-10:
            break
    _, shift, _, _ = once(pairs, best[1], slid, 0.0)
    worst = float(excesses(pairs, best[1], shift).max())
    return (worst, best[1], shift) if worst < best[0] else best


def least_squares_turn(pairs) -> float:
    """The turn that centres the patterns on each other."""
    p, q = pairs.p - pairs.p.mean(axis=0), pairs.q - pairs.q.mean(axis=0)
    return math.atan2(float((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum()), float((p * q).sum()))


def least(pairs, once=with_cvxpy, starts=(0.0,)) -> float:
    """Least worst excess over several starts about the centring turn."""
    middle = least_squares_turn(pairs)
    return min(from_start(pairs, middle + start, once)[0] for start in starts)
