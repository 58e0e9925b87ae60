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
    """The pairs as second-order cones, and their slots (and a limited turn) as pairs of linear ones."""

    def __init__(self, pairs: PlanePairs, turn_rad: float, hold_turn: bool, most_turn_rad: float | None) -> None:
        self.pairs, self.hold_turn, self.start_rad = pairs, hold_turn, turn_rad
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
        bounded = list(range(4, 4 + self.slots))
        if most_turn_rad is not None:
            bounded.append(0)
            self.half = np.append(self.half, most_turn_rad * self.size)
        self.bounds = len(bounded)
        self.rails = np.zeros((2 * self.bounds, unknowns))
        self.rails[np.arange(self.bounds), bounded] = -1.0
        self.rails[self.bounds + np.arange(self.bounds), bounded] = 1.0

    def start_slid(self, turn_rad: float, shift: Floats) -> Floats:
        """Nine tenths of what each slot takes at a placement: strictly between its ends."""
        if not self.slots:
            return np.zeros(0)
        pairs = self.pairs
        c, s = math.cos(turn_rad), math.sin(turn_rad)
        contact = pairs.contact(turn_rad, shift)
        taken = contact.lever_mm + shift - pairs.q - contact.gap_mm
        at_host = (taken * pairs.u_h).sum(axis=1)[self.host]
        moved = contact.lever_mm - turn(pairs.p, c, s)
        at_donor = (moved * turn(pairs.u_d, c, s)).sum(axis=1)[self.donor]
        return 0.9 * np.concatenate([at_host, at_donor])

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
        if self.bounds > self.slots:
            slid = np.append(slid, (turn_rad - self.start_rad) * self.size)
        return points, np.concatenate([self.half - slid, self.half + slid]), lever


class _Walk:
    """Where the walk stands: the point, the cones and rails, and the pressures on them."""

    def __init__(self, cones: _Cones, turn_rad: float, shift_mm: Floats) -> None:
        self.cones, pairs = cones, cones.pairs
        self.turn_rad, self.shift = turn_rad, np.array(shift_mm, dtype=float)
        self.slid = cones.start_slid(turn_rad, self.shift)
        floor = -float(pairs.rho.min())
        points, rails, self.lever = cones.lay(turn_rad, self.shift, 0.0, self.slid)
        worst = float((np.hypot(points[:, 1], points[:, 2]) - pairs.rho).max())
        self.z = worst + max(0.05, 0.3 * (worst - floor))
        points[:, 0] += self.z
        self.points, self.rails = self.s, self.sl = points, rails
        self.y = points * _SIGNS / ((points * points) @ _SIGNS)[:, None]
        mu = 1.0 / float(self.y[:, 0].sum())
        self.y *= mu
        self.yl = mu / rails

    def gap(self) -> tuple[float, float]:
        """Gap between the bounds, and how far the cones are off the turned points, mm."""
        off = float(np.abs(self.points - self.s).max())
        if len(self.sl):
            off = max(off, float(np.abs(self.rails - self.sl).max()))
        return float((self.s * self.y).sum() + self.sl @ self.yl), off

    def step(self, gap: float) -> bool:
        """Go one step; False where rounding leaves no direction."""
        cones = self.cones
        scaled = _Scaled.at(self)
        if scaled is None:
            return False
        mu = gap / (cones.n + 2 * cones.bounds)
        _, ds, dy, reach = scaled.direction(-scaled.point)
        aim = scaled.aim((1.0 - min(1.0, reach)) ** 3 * mu, ds, dy)
        dx, ds, dy, reach = scaled.direction(aim)
        if not math.isfinite(reach):
            return False
        reach = min(1.0, 0.99 * reach)
        n = cones.n
        self.s = self.s + reach * (cones.slope @ dx + self.points - self.s)
        self.sl = self.sl + reach * (cones.rails @ dx + self.rails - self.sl)
        self.y = self.y + reach * (scaled.back @ dy[: 3 * n].reshape(n, 3, 1))[:, :, 0]
        self.yl = self.yl + reach * dy[3 * n :] / scaled.wl
        self.turn_rad += reach * float(dx[0]) / cones.size
        self.shift = self.shift + reach * dx[1:3]
        self.z += reach * float(dx[3])
        self.slid = self.slid + reach * dx[4:]
        self.points, self.rails, self.lever = cones.lay(self.turn_rad, self.shift, self.z, self.slid)
        return True


def settle(
    pairs: PlanePairs,
    turn_rad: float,
    shift_mm: Floats,
    *,
    hold_turn: bool = False,
    most_turn_rad: float | None = None,
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
    most_turn_rad
        Turn no farther than this from the start.
    enough
        Called at every step with turn, shift, weights and heights; True stops there.
    settled_mm
        Gap between the bounds at which to stop.

    Notes
    -----
    With the turn free the end is a local least; `minimax.best_placement` proves it over all turns.
    """
    walk = _Walk(_Cones(pairs, turn_rad, hold_turn, most_turn_rad), turn_rad, shift_mm)
    last = (walk.turn_rad, walk.shift, walk.y, 0)
    for step in range(_STEPS):
        gap, off = walk.gap()
        if not math.isfinite(gap):
            break
        last = (walk.turn_rad, walk.shift, walk.y, step)
        if gap < settled_mm and off < settled_mm:
            break
        if enough is not None and enough(walk.turn_rad, walk.shift, -walk.y[:, 1:], walk.y[:, 0]):
            break
        if not walk.step(gap):
            break
    turn_rad, shift, y, step = last
    return Settled(turn_rad, shift, -y[:, 1:], y[:, 0], step)


class _Scaled:
    """The equations of one step, scaled so that cones and pressures stand at the same point."""

    def __init__(self, walk: _Walk, det_s: Floats, det_y: Floats) -> None:
        cones, s, y = walk.cones, walk.s, walk.y
        self.n, self.unknowns = cones.n, cones.slope.shape[2]
        self.back = _scaling(s, y, det_s, det_y)
        self.wl = np.sqrt(walk.sl / walk.yl)
        self.lam = (self.back @ s[:, :, None])[:, :, 0]
        self.laml = walk.sl / self.wl
        self.det = (self.lam * self.lam) @ _SIGNS
        self.point = np.concatenate([self.lam.reshape(-1), self.laml])
        cone_rows = (self.back @ cones.slope).reshape(-1, self.unknowns)
        self.slope = np.concatenate([cone_rows, cones.rails / self.wl[:, None]])
        missing = (self.back @ (walk.points - s)[:, :, None]).reshape(-1)
        self.missing = np.concatenate([missing, (walk.rails - walk.sl) / self.wl])
        self.balance = -(y.reshape(-1) @ cones.slope.reshape(-1, self.unknowns)) - walk.yl @ cones.rails
        self.balance[3] += 1.0
        self.inverse = np.linalg.inv(self._matrix(walk))

    @classmethod
    def at(cls, walk: _Walk) -> _Scaled | None:
        """Scale where the walk stands; None where rounding has brought it to the edge of a cone."""
        det_s, det_y = (walk.s * walk.s) @ _SIGNS, (walk.y * walk.y) @ _SIGNS
        if det_s.min() <= 0 or det_y.min() <= 0 or ((walk.s * walk.y).sum(axis=1) <= 0).any():
            return None
        try:
            return cls(walk, det_s, det_y)
        except np.linalg.LinAlgError:
            return None

    def _matrix(self, walk: _Walk) -> Floats:
        matrix = self.slope.T @ self.slope
        # A turn bends the path of each point: the exact second-order term, kept from spoiling convexity.
        bend = float((walk.y[:, 1:] * walk.lever).sum()) / walk.cones.size**2
        matrix[0, 0] = 1.0 if walk.cones.hold_turn else max(matrix[0, 0] + bend, 0.2 * matrix[0, 0])
        each = np.arange(self.unknowns)
        matrix[each, each] += 1e-13 * float(matrix[each, each].max())
        return matrix

    def direction(self, aim: Floats) -> tuple[Floats, Floats, Floats, float]:
        """Step of the unknowns, of the cones and of the pressures (scaled), and how far it may be taken."""
        dx = self.inverse @ (self.slope.T @ (aim - self.missing) - self.balance)
        ds = self.slope @ dx + self.missing
        dy = aim - ds
        return dx, ds, dy, _reach(self.lam, self.det, self.laml, ds, dy)

    def aim(self, centre: float, ds: Floats, dy: Floats) -> Floats:
        """Right-hand side that centres and makes up for what the predictor's products left out."""
        n, lam = self.n, self.lam
        a, b = ds[: 3 * n].reshape(n, 3), dy[: 3 * n].reshape(n, 3)
        product0 = centre - (a * b).sum(axis=1)
        product1 = -(a[:, :1] * b[:, 1:] + b[:, :1] * a[:, 1:])
        first = (lam[:, 0] * product0 - (lam[:, 1:] * product1).sum(axis=1)) / self.det
        out = np.empty_like(self.point)
        cone = out[: 3 * n].reshape(n, 3)
        cone[:, 0] = first
        cone[:, 1:] = (product1 - first[:, None] * lam[:, 1:]) / lam[:, :1]
        out[3 * n :] = (centre - ds[3 * n :] * dy[3 * n :]) / self.laml
        return out - self.point


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
