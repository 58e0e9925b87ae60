"""A primal-dual interior point for the least worst excess of known pairs in space, many starts at once.

Unknowns are a turn, a shift, the excess z and the way along every slot. Across the axis each hole end is a
cone: the gap that is left must not be longer than play plus z; along the axis, and for the direction of the
axes, it is linear. The turn is exact: the cones are laid on the turned points anew at every step, so no
linear model of the turn is ever accepted. Scaling after Nesterov and Todd, with Mehrotra's corrector; see
L. Vandenberghe, The CVXOPT linear and quadratic cone program solvers (2010), for the formulas.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partkin.fit.rotations import cross, turned_by
from partkin.fit.space_pairs import LEAN_COS, LEAN_SCALE_MM, SpacePairs

Floats = np.ndarray

_SIGNS = np.array([1.0, -1.0, -1.0])
_STEPS = 40
_SETTLED_MM = 1e-8
_FLOOR_MM = 1e-7
_SHORT_MM = 1e-5
_BEND = 2.0
_EYE = np.eye(3)
_TURN, _SHIFT, _Z, _FIRST_SLOT = slice(0, 3), slice(3, 6), 6, 7


@dataclass(frozen=True, eq=False)
class Settled:
    """Where m walks came to rest.

    Attributes
    ----------
    turn, shift_mm
        (m, 3, 3) and (m, 3).
    worst_mm
        (m,): largest excess there, recomputed with the true rotation.
    across, along, lean
        (m, k, 3), (m, n, 3), (m, n): forces at the hole ends and along the axes, and the weights of the axes'
        directions, that balance there.
    at_rest
        (m,) bool: False where a walk stalled or was cut short.
    """

    turn: Floats
    shift_mm: Floats
    worst_mm: Floats
    across: Floats
    along: Floats
    lean: Floats
    at_rest: Floats


@dataclass(eq=False)
class _Walks:
    """The walks under way, along the first axis of everything.

    `cone` (m, k, 3) and `line` (m, l) are the slacks, `cone_dual` and `line_dual` their duals.
    """

    turn: Floats
    shift: Floats
    z: Floats
    slid: Floats
    cone: Floats
    line: Floats
    cone_dual: Floats
    line_dual: Floats

    def take(self, rows: Floats) -> _Walks:
        return _Walks(*(value[rows] for value in vars(self).values()))

    def put(self, rows: Floats, some: _Walks) -> None:
        for name, value in vars(some).items():
            getattr(self, name)[rows] = value


class _Cones:
    """What the constraints are at a placement, and how they change."""

    def __init__(self, pairs: SpacePairs, hold_turn: bool) -> None:
        self.pairs, self.hold_turn = pairs, hold_turn
        self.n, self.end_of = len(pairs), pairs.end_of
        self.host = np.flatnonzero(pairs.s_h[self.end_of] > 0)
        self.donor = np.flatnonzero(pairs.s_d[self.end_of] > 0)
        self.half = np.concatenate([pairs.s_h[self.end_of[self.host]], pairs.s_d[self.end_of[self.donor]]])
        self.slots = len(self.half)
        self.unknowns = _FIRST_SLOT + self.slots
        self.size = pairs.size_mm
        self.basis = pairs.basis[self.end_of]
        self.basis_turned = np.swapaxes(self.basis, 1, 2)
        self.host_columns = _FIRST_SLOT + np.arange(len(self.host))
        self.donor_columns = _FIRST_SLOT + len(self.host) + np.arange(len(self.donor))
        self.rails = np.zeros((2 * self.slots, self.unknowns))
        each = np.arange(self.slots)
        self.rails[each, _FIRST_SLOT + each] = -1.0
        self.rails[self.slots + each, _FIRST_SLOT + each] = 1.0

    def draws(self, rows: Floats) -> _Cones:
        """Return the constraints of some draws."""
        return self if self.pairs.p.ndim == 2 else _Cones(self.pairs.draws(rows), self.hold_turn)

    def lay(self, walks: _Walks) -> tuple[Floats, ...]:
        """Return (m, k, 3) and (m, l) values, their slopes, and (m, k + 2 n, 3) levers.

        The values would be the slacks, were every step exact.
        """
        pairs, k, m, n = self.pairs, self.end_of, len(walks.z), self.n
        back = np.swapaxes(walks.turn, 1, 2)
        centre, axis = pairs.p @ back, pairs.b @ back
        centre = np.broadcast_to(centre, (m, n, 3))
        off = centre + walks.shift[:, None, :] - pairs.q
        ends = np.broadcast_to(pairs.end_off @ back, (m, len(k), 3))
        lever, gap = centre[:, k] + ends, off[:, k] + ends
        values = np.empty((m, len(k), 3))
        slope = np.zeros((m, len(k), 3, self.unknowns))
        slope[:, :, 0, _Z] = 1.0
        slope[:, :, 1:, _SHIFT] = self.basis
        if len(self.donor):
            along = pairs.u_d[k[self.donor]] @ back
            moved = walks.slid[:, len(self.host) :, None] * along
            lever, gap = lever.copy(), gap.copy()
            lever[:, self.donor] += moved
            gap[:, self.donor] += moved
            flat = (along[:, :, None, :] @ self.basis_turned[self.donor])[:, :, 0]
            slope[:, self.donor, 1:, self.donor_columns] = np.swapaxes(flat, 0, 1)
        values[:, :, 0] = np.broadcast_to(pairs.rho, (m, n))[:, k] + walks.z[:, None]
        values[:, :, 1:] = (gap[:, :, None, :] @ self.basis_turned)[:, :, 0]
        if len(self.host):
            u = pairs.u_h[k[self.host]]
            values[:, self.host, 1:] -= walks.slid[:, : len(self.host), None] * u
            slope[:, self.host, 1:, self.host_columns] = -u[:, None, :]
        if not self.hold_turn:
            slope[:, :, 1:, _TURN] = cross(lever[:, :, None, :], self.basis) / self.size
        lines, line_slope = self._lines(walks, centre, axis, off)
        return values, lines, slope, line_slope, np.concatenate([lever, centre, axis], axis=1)

    def _lines(self, walks: _Walks, centre: Floats, axis: Floats, off: Floats) -> tuple[Floats, Floats]:
        """Along the axis either way, the direction of the axes, and both ends of every slot."""
        pairs, m, n = self.pairs, len(walks.z), self.n
        along = (off * pairs.a).sum(axis=-1)
        room = pairs.grip + walks.z[:, None]
        agree = (axis * pairs.a).sum(axis=-1) - LEAN_COS
        lean = LEAN_SCALE_MM * agree + pairs.room_mm + walks.z[:, None]
        rails = [self.half - walks.slid, self.half + walks.slid]
        values = np.concatenate([room - along, room + along, lean, *rails], axis=1)
        slope = np.zeros((m, 3 * n + 2 * self.slots, self.unknowns))
        slope[:, : 3 * n, _Z] = 1.0
        slope[:, :n, _SHIFT], slope[:, n : 2 * n, _SHIFT] = -pairs.a, pairs.a
        if not self.hold_turn:
            lever = cross(centre, pairs.a) / self.size
            slope[:, :n, _TURN], slope[:, n : 2 * n, _TURN] = -lever, lever
            slope[:, 2 * n : 3 * n, _TURN] = cross(axis, pairs.a) * (LEAN_SCALE_MM / self.size)
        slope[:, 3 * n :] = self.rails
        return values, slope

    def forces(self, walks: _Walks) -> tuple[Floats, Floats, Floats]:
        """Forces at the ends, along the axes, and the weights of the axes' directions."""
        n, dual = self.n, walks.line_dual
        across = (-walks.cone_dual[:, :, None, 1:] @ self.basis)[:, :, 0]
        along = (dual[:, :n] - dual[:, n : 2 * n])[..., None] * self.pairs.a
        return across, along, dual[:, 2 * n : 3 * n] * LEAN_SCALE_MM

    def bend(self, walks: _Walks, levers: Floats) -> Floats:
        """(m, 3, 3) second order of the turn."""
        across, along, lean = self.forces(walks)
        both = np.swapaxes(levers, 1, 2) @ np.concatenate(
            [across, along, -lean[..., None] * self.pairs.a], axis=1
        )
        sides = (both + np.swapaxes(both, 1, 2)) / 2
        trace = both[:, 0, 0] + both[:, 1, 1] + both[:, 2, 2]
        return np.asarray(sides - trace[:, None, None] * _EYE) / self.size**2


def settle(
    pairs: SpacePairs,
    turn: Floats,
    shift_mm: Floats,
    *,
    hold_turn: bool = False,
    stop_at_sign: bool = False,
    one_will_do: bool = False,
    settled_mm: float = _SETTLED_MM,
) -> Settled:
    """Walk from each start to the least worst excess near it.

    Parameters
    ----------
    pairs
        At least one.
    turn, shift_mm
        (m, 3, 3) and (m, 3): where to start.
    hold_turn
        Keep the turns: then the problem is convex, and the answer the least at that turn.
    stop_at_sign
        Leave a walk as soon as it stands where every pair is within its play, or its forces show that near
        here it never will.
    one_will_do
        Stop all walks where the first one is left so.
    settled_mm
        Gap between the bounds at which a walk has come to rest.
    """
    cones = _Cones(pairs, hold_turn)
    best = _begin(cones, np.array(turn, dtype=float), np.array(shift_mm, dtype=float))
    m = len(best.z)
    # No placement does better than the tightest play; one that stands there need not be improved.
    enough = np.broadcast_to(-np.minimum(pairs.rho.min(axis=-1), pairs.grip.min(axis=-1)), m) + _FLOOR_MM
    enough = np.maximum(enough, 0.0) if stop_at_sign else enough
    live = np.arange(m)
    at_rest = np.zeros(m, dtype=bool)
    for _ in range(_STEPS):
        if not hold_turn:
            good = _worst(pairs.draws(live), best.turn[live], best.shift[live]) <= enough[live]
            at_rest[live[good]] = True
            live = live[~good]
            if one_will_do and good.any():
                break
        if not len(live):
            break
        some = best.take(live)
        done, stalled = _step(cones.draws(live), some, settled_mm, stop_at_sign)
        best.put(live, some)
        at_rest[live[done]] = True
        live = live[~(done | stalled)]
    return Settled(best.turn, best.shift, _worst(pairs, best.turn, best.shift), *cones.forces(best), at_rest)


def _worst(pairs: SpacePairs, turn: Floats, shift: Floats) -> Floats:
    return np.asarray(pairs.excess(pairs.contact(turn, shift)).max(axis=1))


def _begin(cones: _Cones, turn: Floats, shift: Floats) -> _Walks:
    """Slots in the middle, z above all that is out, duals equally far from their bounds."""
    pairs, m = cones.pairs, len(turn)
    walks = _Walks(turn, shift, np.zeros(m), np.zeros((m, cones.slots)), *(np.zeros(0),) * 4)
    values, lines = cones.lay(walks)[:2]
    n = cones.n
    over = np.sqrt((values[..., 1:] ** 2).sum(axis=-1)) - values[..., 0]
    worst = np.maximum(over.max(axis=1), -lines[:, : 3 * n].min(axis=1))
    floor = -np.minimum(pairs.rho.min(axis=-1), pairs.grip.min(axis=-1))
    walks.z = worst + np.maximum(0.05, 0.3 * (worst - floor))
    values, lines = cones.lay(walks)[:2]
    dual = values * _SIGNS / ((values * values) @ _SIGNS)[..., None]
    line_dual = 1.0 / lines
    mu = 1.0 / (dual[..., 0].sum(axis=1) + line_dual[:, : 3 * n].sum(axis=1))
    walks.cone, walks.line = values, lines
    walks.cone_dual, walks.line_dual = dual * mu[:, None, None], line_dual * mu[:, None]
    return walks


def _step(cones: _Cones, walks: _Walks, settled_mm: float, sign: bool) -> tuple[Floats, Floats]:
    """One step of every walk, in place; tells which have come to rest and which stalled (neither is moved)."""
    values, lines, slope, line_slope, levers = cones.lay(walks)
    s, y, sl, yl = walks.cone, walks.cone_dual, walks.line, walks.line_dual
    m, k = s.shape[:2]
    gap = (s * y).sum(axis=(1, 2)) + (sl * yl).sum(axis=1)
    missing, line_missing = values - s, lines - sl
    off = np.maximum(np.abs(missing).max(axis=(1, 2)), np.abs(line_missing).max(axis=1))
    done = (gap < settled_mm) & (off < settled_mm)
    lost = ~(_inside(s, sl) & _inside(y, yl) & np.isfinite(gap))
    if lost.any():
        # Rounding has carried a walk out of its cones: it stays where it is.
        s, y = (np.where(lost[:, None, None], (1.0, 0.0, 0.0), value) for value in (s, y))
        sl, yl = (np.where(lost[:, None], 1.0, value) for value in (sl, yl))
    back = _scaling(s, y)
    wl = np.sqrt(sl / yl)
    lam, laml = (back @ s[..., None])[..., 0], sl / wl
    det = (lam * lam) @ _SIGNS
    whole = np.concatenate([(back @ slope).reshape(m, 3 * k, -1), line_slope / wl[..., None]], axis=1)
    balance = -(y.reshape(m, 1, 3 * k) @ slope.reshape(m, 3 * k, -1))[:, 0] - (yl[:, None] @ line_slope)[:, 0]
    balance[:, _Z] += 1.0
    # The forces' own bound stays above zero for all moves of up to the part's size, however they balance.
    short = walks.z - gap - np.abs(balance).sum(axis=1) * cones.size
    done |= sign & (short > _SHORT_MM) & (off < _SHORT_MM + 0.01 * np.maximum(walks.z, 0.0))
    invert = _inverse(cones, walks, whole, levers)
    lacking = np.concatenate([(back @ missing[..., None]).reshape(m, -1), line_missing / wl], axis=1)
    scaled = np.concatenate([lam.reshape(m, -1), laml], axis=1)

    def go(aim: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        right = (((aim - lacking)[:, None] @ whole)[:, 0] - balance)[..., None]
        dx = (invert @ right)[..., 0]
        ds = (whole @ dx[..., None])[..., 0] + lacking
        dy = aim - ds
        return dx, ds, dy, _reach(lam, det, laml, ds, dy)

    dx, ds, dy, reach = go(-scaled)
    mu = gap / (k + lines.shape[1]) * (1.0 - np.minimum(1.0, reach)) ** 3
    dx, ds, dy, reach = go(_corrected(lam, det, laml, ds, dy, mu) - scaled)
    reach = np.minimum(1.0, 0.99 * reach)
    # No further in one step than where the turn's second order comes to what is allowed.
    far = np.sqrt((dx[:, _TURN] ** 2).sum(axis=1)) / cones.size
    reach *= np.minimum(1.0, _BEND * np.sqrt(s[..., 0].mean(axis=1) / cones.size) / np.maximum(far, 1e-12))
    still = done | lost | ~np.isfinite(reach) | ~np.isfinite(dx).all(axis=1) | ~(reach > 1e-9)
    changes = (
        (slope @ dx[:, None, :, None])[..., 0] + missing, (line_slope @ dx[..., None])[..., 0] + line_missing,
        (back @ dy[:, : 3 * k].reshape(m, k, 3, 1))[..., 0], dy[:, 3 * k :] / wl,
    )  # fmt: skip
    _advance(cones, walks, np.flatnonzero(~still), reach[:, None], dx, changes)
    return np.asarray(done), np.asarray(still)


def _advance(
    cones: _Cones, walks: _Walks, on: Floats, reach: Floats, dx: Floats, changes: tuple[Floats, ...]
) -> None:
    """Take the step of some of the walks."""
    r, moved = reach[on], walks.take(on)
    moved.turn = turned_by(r * dx[on, _TURN] / cones.size) @ moved.turn
    moved.shift = moved.shift + r * dx[on, _SHIFT]
    moved.z = moved.z + r[:, 0] * dx[on, _Z]
    moved.slid = moved.slid + r * dx[on, _FIRST_SLOT:]
    cone, line, cone_dual, line_dual = (change[on] for change in changes)
    moved.cone, moved.line = moved.cone + r[..., None] * cone, moved.line + r * line
    moved.cone_dual, moved.line_dual = moved.cone_dual + r[..., None] * cone_dual, moved.line_dual + r * line_dual
    walks.put(on, moved)


def _inside(cone: Floats, line: Floats) -> Floats:
    """Walks whose cones and lines have not been left, nor are left by rounding alone."""
    room = (cone * cone) @ _SIGNS
    return np.asarray(((room > 1e-14 * cone[..., 0] ** 2) & (cone[..., 0] > 0)).all(axis=1) & (line > 0).all(axis=1))


def _inverse(cones: _Cones, walks: _Walks, whole: Floats, levers: Floats) -> Floats:
    """(m, u, u) inverse of the system, walked downhill also where the turn bends the wrong way."""
    matrix = np.swapaxes(whole, 1, 2) @ whole
    if cones.hold_turn:
        matrix[:, _TURN, _TURN] = _EYE
    else:
        matrix[:, _TURN, _TURN] += cones.bend(walks, levers)
    size, axes = np.linalg.eigh(matrix)
    size = np.maximum(np.abs(size), 1e-14 * np.abs(size).max(axis=1, keepdims=True))
    return np.asarray((axes / size[:, None, :]) @ np.swapaxes(axes, 1, 2))


def _corrected(
    lam: Floats, det: Floats, laml: Floats, ds: Floats, dy: Floats, mu: Floats
) -> Floats:
    """Mehrotra's aim: back to the central path, less what the predictor's own step bends."""
    m, k = lam.shape[:2]
    a, b = ds[:, : 3 * k].reshape(m, k, 3), dy[:, : 3 * k].reshape(m, k, 3)
    product0 = mu[:, None] - (a * b).sum(axis=-1)
    product1 = -(a[..., :1] * b[..., 1:] + b[..., :1] * a[..., 1:])
    first = (lam[..., 0] * product0 - (lam[..., 1:] * product1).sum(axis=-1)) / det
    cone = np.empty_like(lam)
    cone[..., 0] = first
    cone[..., 1:] = (product1 - first[..., None] * lam[..., 1:]) / lam[..., :1]
    line = (mu[:, None] - ds[:, 3 * k :] * dy[:, 3 * k :]) / laml
    return np.concatenate([cone.reshape(m, -1), line], axis=1)


def _scaling(s: Floats, y: Floats) -> Floats:
    """(m, k, 3, 3) inverse Nesterov-Todd scalings, which carry s and y to the same point."""
    rs = 1 / np.sqrt(np.maximum((s * s) @ _SIGNS, 1e-300))
    ry = 1 / np.sqrt(np.maximum((y * y) @ _SIGNS, 1e-300))
    sb, yb = s * rs[..., None], y * ry[..., None]
    middle = np.sqrt(np.maximum(1 + (sb * yb).sum(axis=-1), 1.0) * 0.5)
    w = (sb + _SIGNS * yb) / (2 * middle)[..., None]
    out = np.empty((*s.shape, 3))
    out[..., 0, 0] = w[..., 0]
    out[..., 0, 1:] = out[..., 1:, 0] = -w[..., 1:]
    out[..., 1:, 1:] = w[..., 1:, None] * (w[..., None, 1:] / (1 + w[..., :1])[..., None])
    out[..., 1, 1] += 1
    out[..., 2, 2] += 1
    out *= np.sqrt(rs / ry)[..., None, None]
    return out


def _reach(lam: Floats, det: Floats, laml: Floats, ds: Floats, dy: Floats) -> Floats:
    """(m,) how far both steps may be taken before one leaves its cone; may be above 1."""
    m, k = lam.shape[:2]
    fastest = np.maximum((-ds[:, 3 * k :] / laml).max(axis=1), (-dy[:, 3 * k :] / laml).max(axis=1))
    for change in (ds, dy):
        cone = change[:, : 3 * k].reshape(m, k, 3)
        a, b = (cone * cone) @ _SIGNS, (lam * cone) @ _SIGNS
        # Below zero by rounding alone: lam lies inside its cone.
        leave = (np.sqrt(np.maximum(b * b - a * det, 0.0)) - b) / det
        fastest = np.maximum(fastest, leave.max(axis=1))
    return np.asarray(1.0 / np.maximum(fastest, 1e-9))
