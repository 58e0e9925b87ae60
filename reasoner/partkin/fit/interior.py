"""A primal-dual interior point for the smallest worst excess of known pairs in the plane.

Each pair is a cone: the gap left between stud and hole must not be longer than play plus z, and z is
made as small as it will go over turn, shift and the way along every slot. The turn is exact: the cones
are laid on the turned points anew at every step, so no linear model of the turn is ever accepted.
Scaling after Nesterov and Todd, with Mehrotra's corrector; see L. Vandenberghe, The CVXOPT linear and
quadratic cone program solvers (2010), for the formulas.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from partkin.fit.arrays import Floats, PlanePairs, turn

_SIGNS = np.array([1.0, -1.0, -1.0])
_STEPS = 60
_SETTLED_MM = 1e-8


@dataclass(frozen=True, eq=False)
class Settled:
    """Where the iteration came to rest.

    `weights` (n, 2) are the directions in which the pairs press against each other there, balanced up
    to rounding; `height` (n,) their shares of the bound (sum 1, at least the length of each weight).
    """

    turn_rad: float
    shift_mm: Floats
    weights: Floats
    height: Floats
    steps: int


def kabsch(pairs: PlanePairs) -> tuple[float, Floats]:
    """Turn and shift that centre the one pattern on the other by least squares: a start, no answer."""
    p0, q0 = pairs.p.mean(axis=0), pairs.q.mean(axis=0)
    p, q = pairs.p - p0, pairs.q - q0
    along = float((p * q).sum())
    across = float((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum())
    size = float((p * p).sum() + (q * q).sum())
    angle = math.atan2(across, along) if math.hypot(along, across) > 1e-12 * size else 0.0
    return angle, q0 - turn(p0[None, :], math.cos(angle), math.sin(angle))[0]


class _Cones:
    """The pairs as second-order cones, and their slots as pairs of linear ones."""

    def __init__(self, pairs: PlanePairs, hold_turn: bool) -> None:
        self.pairs, self.hold_turn = pairs, hold_turn
        self.n = len(pairs)
        self.host = np.flatnonzero(pairs.s_h > 0)
        self.donor = np.flatnonzero(pairs.s_d > 0)
        self.kh, self.kd = len(self.host), len(self.donor)
        self.slots = self.kh + self.kd
        self.half = np.concatenate([pairs.s_h[self.host], pairs.s_d[self.donor]])
        self.size = math.sqrt(max(float((pairs.p**2).sum()) / self.n, 1e-6))
        unknowns = 4 + self.slots
        self.slope = np.zeros((self.n, 3, unknowns))
        self.slope[:, 0, 3] = self.slope[:, 1, 1] = self.slope[:, 2, 2] = 1.0
        columns = 4 + np.arange(self.kh)
        self.slope[self.host, 1, columns] = -pairs.u_h[self.host, 0]
        self.slope[self.host, 2, columns] = -pairs.u_h[self.host, 1]
        self.columns = 4 + self.kh + np.arange(self.kd)
        each = np.arange(self.slots)
        self.rails = np.zeros((2 * self.slots, unknowns))
        self.rails[each, 4 + each] = -1.0
        self.rails[self.slots + each, 4 + each] = 1.0

    def lay(self, turn_rad: float, shift: Floats, z: float, slid: Floats) -> tuple[Floats, Floats, Floats]:
        """Return the cones' points (n, 3), the rails' (2k,) and the levers; set the slopes."""
        pairs, n = self.pairs, self.n
        c, s = math.cos(turn_rad), math.sin(turn_rad)
        touching = pairs.p
        if self.kd:
            touching = touching.copy()
            touching[self.donor] += slid[self.kh :, None] * pairs.u_d[self.donor]
            w = turn(pairs.u_d[self.donor], c, s)
            self.slope[self.donor, 1, self.columns] = w[:, 0]
            self.slope[self.donor, 2, self.columns] = w[:, 1]
        lever = turn(touching, c, s)
        points = np.empty((n, 3))
        points[:, 0] = pairs.rho + z
        points[:, 1:] = lever + shift - pairs.q
        if self.kh:
            points[self.host, 1:] -= slid[: self.kh, None] * pairs.u_h[self.host]
        if not self.hold_turn:
            self.slope[:, 1, 0] = lever[:, 1] * (-1 / self.size)
            self.slope[:, 2, 0] = lever[:, 0] * (1 / self.size)
        return points, np.concatenate([self.half - slid, self.half + slid]), lever


def settle(
    pairs: PlanePairs,
    turn_rad: float,
    shift_mm: Floats,
    *,
    hold_turn: bool = False,
    enough: Callable[[float, Floats, Floats, Floats], bool] | None = None,
    settled_mm: float = _SETTLED_MM,
) -> Settled:
    """Walk from a start to the smallest worst excess near it.

    Parameters
    ----------
    pairs
        About the origin (see `PlanePairs.centred`), at least one.
    turn_rad, shift_mm
        Where to start.
    hold_turn
        Keep the turn: then the problem is convex and the answer is the least at that turn.
    enough
        Called at every step with turn, shift, weights and heights; True stops there.
    settled_mm
        Gap between the bounds at which to stop.

    Notes
    -----
    With the turn free the end is a local least; `minimax.best_placement` proves it over all turns.
    """
    cones = _Cones(pairs, hold_turn)
    n, k = cones.n, cones.slots
    shift = np.array(shift_mm, dtype=float)
    slid = np.zeros(k)
    floor = -float(pairs.rho.min())
    points, rails, lever = cones.lay(turn_rad, shift, 0.0, slid)
    worst = float((np.hypot(points[:, 1], points[:, 2]) - pairs.rho).max())
    z = worst + max(0.05, 0.3 * (worst - floor))
    points[:, 0] += z
    s, sl = points, rails
    y = s * _SIGNS / ((s * s) @ _SIGNS)[:, None]
    mu = 1.0 / float(y[:, 0].sum())
    y *= mu
    yl = mu / sl
    last = (turn_rad, shift, y, 0)
    for step in range(_STEPS):
        gap = float((s * y).sum() + sl @ yl)
        off = max(float(np.abs(points - s).max()), float(np.abs(rails - sl).max(initial=0.0)))
        if not math.isfinite(gap):
            break
        last = (turn_rad, shift, y, step)
        if gap < settled_mm and off < settled_mm:
            break
        if enough is not None and enough(turn_rad, shift, -y[:, 1:], y[:, 0]):
            break
        found = _direction(cones, (points - s, rails - sl), (s, sl), (y, yl), gap / (n + 2 * k), lever)
        if found is None:
            break
        dx, ds, dsl, dy, dyl, reach = found
        turn_rad += reach * float(dx[0]) / cones.size
        shift = shift + reach * dx[1:3]
        z += reach * float(dx[3])
        slid = slid + reach * dx[4:]
        s, sl = s + reach * ds, sl + reach * dsl
        y, yl = y + reach * dy, yl + reach * dyl
        points, rails, lever = cones.lay(turn_rad, shift, z, slid)
    turn_rad, shift, y, step = last
    return Settled(turn_rad, shift, -y[:, 1:], y[:, 0], step)


def _direction(
    cones: _Cones,
    off: tuple[Floats, Floats],
    primal: tuple[Floats, Floats],
    dual: tuple[Floats, Floats],
    mu: float,
    lever: Floats,
) -> tuple[Floats, Floats, Floats, Floats, Floats, float] | None:
    """Predictor and corrector in one: the step, and how much of it stays inside the cones."""
    (rp, rpl), (s, sl), (y, yl) = off, primal, dual
    n, unknowns = cones.n, cones.slope.shape[2]
    det_s, det_y = (s * s) @ _SIGNS, (y * y) @ _SIGNS
    if det_s.min() <= 0 or det_y.min() <= 0:
        return None
    back = _scaling(s, y, det_s, det_y)
    wl = np.sqrt(sl / yl)
    lam = (back @ s[:, :, None])[:, :, 0]
    laml = sl / wl
    det = (lam * lam) @ _SIGNS
    slope = np.concatenate([(back @ cones.slope).reshape(-1, unknowns), cones.rails / wl[:, None]])
    matrix = slope.T @ slope
    # A turn bends the path of each point: the exact second-order term, kept from spoiling convexity.
    bend = float((y[:, 1:] * lever).sum()) / cones.size**2
    matrix[0, 0] = max(matrix[0, 0] + bend, 0.2 * matrix[0, 0])
    if cones.hold_turn:
        matrix[0, 0] = 1.0
    each = np.arange(unknowns)
    matrix[each, each] += 1e-13 * float(matrix[each, each].max())
    try:
        inverse = np.linalg.inv(matrix)
    except np.linalg.LinAlgError:
        return None
    balance = -(y.reshape(-1) @ cones.slope.reshape(-1, unknowns)) - yl @ cones.rails
    balance[3] += 1.0
    missing = np.concatenate([(back @ rp[:, :, None]).reshape(-1), rpl / wl])
    scaled = np.concatenate([lam.reshape(-1), laml])

    def go(aim: Floats) -> tuple[Floats, Floats, Floats, float]:
        dx = inverse @ (slope.T @ (aim - missing) - balance)
        ds = slope @ dx + missing
        dy = aim - ds
        return dx, ds, dy, _reach(lam, det, laml, ds, dy)

    dx, ds, dy, reach = go(-scaled)
    centre = (1.0 - min(1.0, reach)) ** 3 * mu
    a, b = ds[: 3 * n].reshape(n, 3), dy[: 3 * n].reshape(n, 3)
    product0 = centre - (a * b).sum(axis=1)
    product1 = -(a[:, :1] * b[:, 1:] + b[:, :1] * a[:, 1:])
    first = (lam[:, 0] * product0 - (lam[:, 1:] * product1).sum(axis=1)) / det
    aim = np.empty_like(scaled)
    cone = aim[: 3 * n].reshape(n, 3)
    cone[:, 0] = first
    cone[:, 1:] = (product1 - first[:, None] * lam[:, 1:]) / lam[:, :1]
    aim[3 * n :] = (centre - ds[3 * n :] * dy[3 * n :]) / laml
    dx, ds, dy, reach = go(aim - scaled)
    if not math.isfinite(reach):
        return None
    reach = min(1.0, 0.99 * reach)
    dy3 = (back @ dy[: 3 * n].reshape(n, 3, 1))[:, :, 0]
    return dx, cones.slope @ dx + rp, cones.rails @ dx + rpl, dy3, dy[3 * n :] / wl, reach


def _scaling(s: Floats, y: Floats, det_s: Floats, det_y: Floats) -> Floats:
    """(n, 3, 3) inverse Nesterov-Todd scalings, which carry s and y to the same point."""
    rs, ry = 1 / np.sqrt(det_s), 1 / np.sqrt(det_y)
    sb, yb = s * rs[:, None], y * ry[:, None]
    middle = np.sqrt((1 + (sb * yb).sum(axis=1)) * 0.5)
    w = (sb + _SIGNS * yb) / (2 * middle)[:, None]
    out = np.empty((len(s), 3, 3))
    out[:, 0, 0] = w[:, 0]
    out[:, 0, 1:] = out[:, 1:, 0] = -w[:, 1:]
    out[:, 1:, 1:] = w[:, 1:, None] * (w[:, None, 1:] / (1 + w[:, :1])[:, :, None])
    out[:, 1, 1] += 1
    out[:, 2, 2] += 1
    out *= np.sqrt(rs / ry)[:, None, None]
    return out


def _reach(lam: Floats, det: Floats, laml: Floats, ds: Floats, dy: Floats) -> float:
    """How far both steps may be taken before one leaves its cone; may be above 1."""
    n = len(lam)
    both = np.stack([ds[: 3 * n].reshape(n, 3), dy[: 3 * n].reshape(n, 3)])
    a = (both * both) @ _SIGNS
    b = (lam * both) @ _SIGNS
    inside = b * b - a * det
    leave = np.where(inside >= 0, (np.sqrt(np.maximum(inside, 0.0)) - b) / det, 0.0)
    fastest = float(leave.max())
    if len(laml):
        fastest = max(fastest, float((-ds[3 * n :] / laml).max()), float((-dy[3 * n :] / laml).max()))
    return 1.0 / fastest if fastest > 1e-9 else 1e9
