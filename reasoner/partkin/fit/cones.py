"""The least worst excess of known pairs near a start, in the plane or in space, one convex program after the other.

Each end of a hole is a cone: the gap that is left across the axis must not be longer than play plus z. Slots, the
way along the axis and the direction of the axes are linear, and z is made as small as it will go. Such a program is
exact but for the turn, in which it is linear; clarabel solves it, the pattern is truly turned, and the cones are laid
on the turned points anew. A step counts only by the excess that is recomputed with the true rotation. What the turn
bends is added to the program as the last one's forces tell it (sequential quadratic programming; J. Nocedal and
S. Wright, Numerical Optimization (2006), chapter 18, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, Protocol

import numpy as np

Floats = np.ndarray

_ROUNDS = 40
# Of a worst excess above this, any figure will do that some placement has: it settles where little more is promised.
_FAR_MM = 10.0
_FAR_SHARE = 0.02
# The sign is settled where no more than this part of the excess that is promised could still be gained.
_HOPELESS_SHARE = 0.5
_SETTLED_MM = 1e-8
_GAIN_MM = 1e-10
_SHORT_MM = 1e-5
_TOLERANCE = 1e-9


@dataclass(frozen=True, eq=False)
class Laid:
    """The constraints at m placements, with z at zero, and how they change.

    Attributes
    ----------
    ends, ends_by
        (m, k, 3) and (m, k, 3, u): play and gap of each hole end, and their slopes.
    lines, lines_by
        (m, l) and (m, l, u): what must not fall below zero; both ends of every slot come last.
    levers
        (m, j, d) mm: what a turn moves (see `Cones.bend`).
    """

    ends: Floats
    ends_by: Floats
    lines: Floats
    lines_by: Floats
    levers: Floats

    def bent_by(self, there: Laid, rows: Floats, step: Floats, z: int) -> Laid:
        """These constraints of some rows, so moved that they are as they stand `there`, one step on."""
        still = step.copy()
        still[:, z] = 0.0
        ends_by, lines_by = self.ends_by[rows], self.lines_by[rows]
        ends = there.ends - (ends_by @ still[:, None, :, None])[..., 0]
        return Laid(ends, ends_by, there.lines - (lines_by @ still[:, :, None])[..., 0], lines_by, self.levers[rows])


class Cones(Protocol):
    """Known pairs as constraints. Unknowns: `turns` of the turn, the shift, z, then the way along every slot.

    `turns`, `ends`, `lines`, `slots`: how many; `slotted` (s,): the end that each slot is at; `size_mm`: a turn counts
    in mm at this distance.
    """

    turns: int
    ends: int
    lines: int
    slots: int
    slotted: Floats
    size_mm: float

    @property
    def floor_mm(self) -> Floats | float:
        """What no placement does better than: the tightest play."""

    def draws(self, rows: Floats) -> Cones:
        """Return the constraints of some draws."""

    def lay(self, turn: Floats, shift: Floats, slid: Floats) -> Laid:
        """Lay the constraints on turned points."""

    def worst(self, turn: Floats, shift: Floats) -> Floats:
        """(m,) mm: largest excess, the slots taking what they can."""

    def turned(self, turn: Floats, by: Floats) -> Floats:
        """Turn on, by (m, turns) mm."""

    def bend(self, ends: Floats, lines: Floats, levers: Floats) -> Floats:
        """(m, turns, turns) second order of the turn, under forces at the ends and lines."""


@dataclass(eq=False)
class Walks:
    """Where m walks stand, and at last rest: placements, their largest excess, and the forces that balance there.

    Attributes
    ----------
    turn, shift_mm, slid_mm
        (m, ...), (m, d), (m, s): the placement, and the way along every slot.
    worst_mm
        (m,): largest excess, recomputed with the true rotation.
    ends, lines
        (m, k, 3), (m, l): forces at the ends and lines.
    trust_mm, bend
        (m,), (m, t, t): how far the next step may turn, and what the forces say that a turn bends.
    programs
        How many were solved.
    """

    turn: Floats
    shift_mm: Floats
    slid_mm: Floats
    worst_mm: Floats
    ends: Floats
    lines: Floats
    trust_mm: Floats
    bend: Floats
    programs: int = 0


def descend(
    cones: Cones, turn: Floats, shift_mm: Floats, *, hold_turn: bool = False, most_turn_mm: float | None = None,
    stop_at_sign: bool = False, one_will_do: bool = False,
) -> Walks:  # fmt: skip
    """Go from each start to the least worst excess near it.

    Parameters
    ----------
    cones
    turn, shift_mm
        Where to start: m of each.
    hold_turn
        Keep the turns: then one program is exact.
    most_turn_mm
        Turn no farther than this in the first step; half the size unless given.
    stop_at_sign
        Leave a walk as soon as it stands where every pair is within its play, or a program shows that near here it
        never will.
    one_will_do
        Stop all walks where the first one is within its play.

    Notes
    -----
    A count bounds the work: at most `_ROUNDS` programs a walk. Of a worst excess above `_FAR_MM` the answer is what
    some placement has, the least of them to about `_FAR_SHARE`.
    """
    walks = _begin(cones, np.array(turn, dtype=float), np.array(shift_mm, dtype=float))
    if most_turn_mm is not None:
        walks.trust_mm[:] = most_turn_mm
    descent, live = _Descent(cones, walks, hold_turn), np.arange(len(shift_mm))
    if hold_turn:
        descent.attempt(cones, live, cones.lay(walks.turn, walks.shift_mm, walks.slid_mm))
        return walks
    # One that stands at the tightest play need not be improved.
    enough_mm = np.broadcast_to(cones.floor_mm, len(live)) + 2 * _SETTLED_MM
    enough_mm = np.maximum(enough_mm, 0.0) if stop_at_sign else enough_mm
    for _ in range(_ROUNDS):
        good = walks.worst_mm[live] <= enough_mm[live]
        live = live[~good]
        if not len(live) or (one_will_do and good.any()):
            break
        live = live[~descent.step(live, stop_at_sign)]
    return walks


def _begin(cones: Cones, turn: Floats, shift: Floats) -> Walks:
    m, t = len(shift), cones.turns
    return Walks(
        turn, shift, np.zeros((m, cones.slots)), cones.worst(turn, shift), np.zeros((m, cones.ends, 3)),
        np.zeros((m, cones.lines)), np.full(m, cones.size_mm / 2), np.zeros((m, t, t)),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Attempt:
    """Steps (m, u), what they promised (m,), and where they led: taken only where `better`."""

    step: Floats
    promised: Floats
    turn: Floats
    shift: Floats
    better: Floats


class _Descent:
    """The steps of walks under way."""

    def __init__(self, cones: Cones, walks: Walks, hold_turn: bool) -> None:
        self.cones, self.walks, self.hold_turn = cones, walks, hold_turn
        self.t, self.z = cones.turns, cones.turns + walks.shift_mm.shape[1]
        self.program = Program(cones, self.z, hold_turn)

    def step(self, live: Floats, sign: bool) -> Floats:
        """One step of these walks, in place; tells which of them have come to rest."""
        walks, some = self.walks, self.cones.draws(live)
        before, trust = walks.worst_mm[live], walks.trust_mm[live]
        laid = some.lay(walks.turn[live], walks.shift_mm[live], walks.slid_mm[live])
        first = self.attempt(some, live, laid)
        far, gain, better = np.abs(first.step[:, : self.t]).max(axis=1), before - first.promised, first.better.copy()
        again = np.flatnonzero(~better & (gain > _SETTLED_MM))
        if len(again):
            # What the turn bent is taken into account (second-order correction).
            rows, those, by = live[again], self.cones.draws(live[again]), first.step[again]
            bent = those.lay(first.turn[again], first.shift[again], walks.slid_mm[rows] + by[:, self.z + 1 :])
            better[again] = self.attempt(those, rows, laid.bent_by(bent, again, by, self.z)).better
        at_edge = far > 0.99 * trust
        walks.trust_mm[live] = np.where(better, np.where(at_edge, 2.0, 1.0) * trust, np.minimum(trust, far) / 4)
        walks.bend[live] = _convex(some.bend(walks.ends[live], walks.lines[live], laid.levers))
        done = ~np.isfinite(gain) | (gain < _SETTLED_MM) | (~better & (gain < 10 * _SETTLED_MM))
        done |= better & (first.promised > _FAR_MM) & (gain < _FAR_SHARE * first.promised)
        if sign:
            # The program says that it never will, and it is nearly there.
            done |= (first.promised > _SHORT_MM) & ~at_edge & (gain < _HOPELESS_SHARE * first.promised)
        return np.asarray(done)

    def attempt(self, some: Cones, rows: Floats, laid: Laid) -> _Attempt:
        """Solve the programs of some walks, and go where that is better."""
        walks, t, z = self.walks, self.t, self.z
        walks.programs += len(rows)
        step, ends, lines = self.program.solve(laid, walks.bend[rows], walks.trust_mm[rows])
        turn, shift = some.turned(walks.turn[rows], step[:, :t]), walks.shift_mm[rows] + step[:, t:z]
        reached = some.worst(turn, shift)
        better = np.isfinite(reached) & (self.hold_turn | (reached < walks.worst_mm[rows] - _GAIN_MM))
        walks.ends[rows], walks.lines[rows] = ends, lines
        on = rows[better]
        walks.turn[on], walks.shift_mm[on], walks.worst_mm[on] = turn[better], shift[better], reached[better]
        walks.slid_mm[on] += step[better, z + 1 :]
        return _Attempt(step, step[:, z], turn, shift, better)


def _convex(bend: Floats) -> Floats:
    """The nearest matrices (m, t, t) that bend upwards only."""
    size, axes = np.linalg.eigh(bend)
    return np.asarray((axes * np.maximum(size, 0.0)[:, None, :]) @ np.swapaxes(axes, 1, 2))


@dataclass(frozen=True, eq=False)
class _Sparse:
    """What clarabel reads of a matrix stored by columns: scipy's own takes longer to import than a check takes."""

    data: Floats
    indices: Floats
    indptr: Floats
    shape: tuple[int, int]
    has_canonical_format: bool = True


class Program:
    """The convex programs of placements that differ in numbers alone: their common sparsity."""

    def __init__(self, cones: Cones, z: int, hold_turn: bool) -> None:
        k, t, s = cones.ends, cones.turns, cones.slots
        self.first, self.turns = (t, 0) if hold_turn else (0, t)
        plain = 3 * k + cones.lines - 2 * s
        can = np.zeros((plain + 2 * s + 2 * self.turns, z + 1 + s), dtype=bool)
        # Play grows with z alone, a gap with all but z.
        can[: 3 * k : 3, z] = can[3 * k : plain, : z + 1] = True
        can[1 : 3 * k : 3, :z] = can[2 : 3 * k : 3, :z] = True
        each = np.arange(s)
        for row in (3 * cones.slotted + 1, 3 * cones.slotted + 2, plain + each, plain + s + each):
            can[row, z + 1 + each] = True
        self.fixed = np.zeros(can.shape)
        each = np.arange(self.turns)
        for row, sign in ((plain + 2 * s + each, 1.0), (plain + 2 * s + self.turns + each, -1.0)):
            can[row, each], self.fixed[row, each] = True, sign
        self.can = can.T[self.first :]
        self.objective = np.zeros(len(self.can))
        self.objective[z - self.first] = 1.0
        self.indices = np.nonzero(self.can)[1]
        self.indptr = np.concatenate([[0], np.cumsum(self.can.sum(axis=1))])
        self.column, self.row = np.tril_indices(self.turns)
        self.bent = np.minimum(np.arange(len(self.can) + 1), self.turns)

    def solve(self, laid: Laid, bend: Floats, trust: Floats) -> tuple[Floats, Floats, Floats]:
        """Steps (m, u), and the forces at ends (m, k, 3) and lines (m, l)."""
        import clarabel

        m, k, _, u = laid.ends_by.shape
        inside = 3 * k + laid.lines.shape[1]
        shapes = [clarabel.SecondOrderConeT(3)] * k + [clarabel.NonnegativeConeT(len(self.fixed) - 3 * k)]
        right = np.concatenate(
            [laid.ends.reshape(m, -1), laid.lines, np.repeat(trust[:, None], 2 * self.turns, axis=1)], axis=1
        )
        step, forces, size = np.zeros((m, u)), np.zeros((m, inside)), len(self.can)
        by, bent_from = self.fixed.copy(), self.bent * (self.bent + 1) // 2
        for row in range(m):
            by[: 3 * k], by[3 * k : inside] = -laid.ends_by[row].reshape(3 * k, u), -laid.lines_by[row]
            rows = _Sparse(by.T[self.first :][self.can], self.indices, self.indptr, (len(by), size))
            bent = _Sparse(bend[row][self.row, self.column], self.row, bent_from, (size, size))
            found = clarabel.DefaultSolver(bent, self.objective, rows, right[row], shapes, _settings()).solve()
            step[row, self.first :], forces[row] = found.x, found.z[:inside]
        return step, forces[:, : 3 * k].reshape(m, k, 3), forces[:, 3 * k :]


def least(cost: Floats, rows: Floats, limits: Floats) -> tuple[Floats, Floats]:
    """Minimise cost.x where rows x <= limits: x (n,), and the multipliers (m,) with rows^T multipliers = -cost.

    Examples
    --------
    Least x with x >= 3 and x + y >= 5 and y <= 1: 4, where the last two meet.

    >>> rows, limits = np.array([[-1.0, 0.0], [-1.0, -1.0], [0.0, 1.0]]), np.array([-3.0, -5.0, 1.0])
    >>> x, weights = least(np.array([1.0, 0.0]), rows, limits)
    >>> (x + 0.0).round(6).tolist(), abs(weights).round(6).tolist()
    ([4.0, 1.0], [0.0, 1.0, 1.0])
    """
    import clarabel

    m, n = rows.shape
    column, row = np.nonzero(rows.T)
    starts = np.searchsorted(column, np.arange(n + 1))
    table = _Sparse(rows[row, column], row, starts, (m, n))
    flat = _Sparse(np.zeros(0), np.zeros(0, dtype=int), np.zeros(n + 1, dtype=int), (n, n))
    shapes = [clarabel.NonnegativeConeT(m)]
    found = clarabel.DefaultSolver(flat, cost, table, limits, shapes, _settings()).solve()
    return np.array(found.x), np.maximum(np.array(found.z), 0.0)


@cache
def _settings() -> Any:
    import clarabel

    settings = clarabel.DefaultSettings()
    settings.verbose = settings.presolve_enable = settings.chordal_decomposition_enable = False
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = _TOLERANCE
    # One thread, one way of solving, whatever else is installed.
    settings.direct_solve_method = "qdldl"
    return settings
