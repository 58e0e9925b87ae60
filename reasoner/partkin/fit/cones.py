"""The least worst excess of known pairs near a start, in the plane or in space, one convex program after the other.

Each end of a hole is a cone: the gap that is left across the axis must not be longer than play plus z. Slots, the
way along the axis and the direction of the axes are linear, and z is made as small as it will go. Such a program is
exact but for the turn, in which it is linear; clarabel solves it, the pattern is truly turned, and the cones are laid
on the turned points anew. A step counts only by the excess that is recomputed with the true rotation. What the turn
bends is added to the program as the last one's forces tell it (sequential quadratic programming; J. Nocedal and
S. Wright, Numerical Optimization (2006), chapter 18, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partkin.fit.arrays import LEAN_COS, LEAN_SCALE_MM, Floats, Pairs
from partkin.fit.convex import Sparse, solve
from partkin.fit.rotations import cross, flat_turn, turned_by

_ROUNDS = 40
# Of a worst excess above this, any figure will do that some placement has: it settles where little more is promised.
_FAR_MM = 10.0
_FAR_SHARE = 0.02
# The sign is settled where no more than this part of the excess that is promised could still be gained.
_HOPELESS_SHARE = 0.5
_SETTLED_MM = 1e-8
_GAIN_MM = 1e-10
_SHORT_MM = 1e-5


@dataclass(frozen=True, eq=False)
class LaidConstraints:
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

    def bent_by(self, there: LaidConstraints, rows: Floats, step: Floats, z: int) -> LaidConstraints:
        """These constraints of some rows, so moved that they are as they stand `there`, one step on."""
        still = step.copy()
        still[:, z] = 0.0
        ends_by, lines_by = self.ends_by[rows], self.lines_by[rows]
        ends = there.ends - (ends_by @ still[:, None, :, None])[..., 0]
        return LaidConstraints(
            ends, ends_by, there.lines - (lines_by @ still[:, :, None])[..., 0], lines_by, self.levers[rows]
        )


class Cones:
    """Known pairs as constraints. Unknowns: the turn, the shift, z, then the way along every slot.

    `turns`, `ends`, `lines`, `slots`: how many; `slotted` (s,): the end that each slot is at; `size_mm`: a turn counts
    in mm at this distance.
    """

    def __init__(self, pairs: Pairs) -> None:
        self.pairs, self.d, end_of = pairs, pairs.dims, pairs.end_of
        self.turns = 1 if self.d == 2 else 3
        self.by_turn, self.by_shift = slice(0, self.turns), slice(self.turns, self.turns + self.d)
        self.z, first = self.turns + self.d, self.turns + self.d + 1
        self.host, self.donor = (np.flatnonzero(half[end_of] > 0) for half in (pairs.s_h, pairs.s_d))
        self.half = np.concatenate([pairs.s_h[end_of[self.host]], pairs.s_d[end_of[self.donor]]])
        self.slots, self.slotted = len(self.half), np.concatenate([self.host, self.donor])
        self.ends, self.lines = len(end_of), (0 if self.d == 2 else 3 * len(pairs)) + 2 * self.slots
        self.size_mm, self.basis = pairs.size_mm, pairs.basis[end_of]
        self.host_columns = first + np.arange(len(self.host))
        self.donor_columns = first + len(self.host) + np.arange(len(self.donor))
        rails = np.eye(self.slots, first + self.slots, first)
        self.rails = np.concatenate([-rails, rails])
        self.fixed = np.zeros((self.ends, 3, first + self.slots))
        self.fixed[:, 0, self.z] = 1.0
        self.fixed[:, 1:, self.by_shift] = self.basis
        self.fixed[self.host, 1:, self.host_columns] = -pairs.u_h[end_of[self.host]]

    @property
    def floor_mm(self) -> Floats:
        """What no placement does better than: the tightest play."""
        least = self.pairs.rho.min(axis=-1)
        return np.asarray(-least if self.d == 2 else -np.minimum(least, self.pairs.grip.min(axis=-1)))

    def draws(self, rows: Floats) -> Cones:
        """Return the constraints of some draws."""
        return self if self.pairs.p.ndim == 2 else Cones(self.pairs.draws(rows))

    def worst(self, turn: Floats, shift: Floats) -> Floats:
        """(m,) mm: largest excess, the slots taking what they can."""
        return np.asarray(self.pairs.out_by(self.pairs.contact(turn, shift)).max(axis=1))

    def turned(self, turn: Floats, by: Floats) -> Floats:
        """Turn on, by vectors (m, turns) whose length is mm at the size."""
        return np.asarray(turned_by(by / self.size_mm) @ turn)

    def lay(self, turn: Floats, shift: Floats, slid: Floats) -> LaidConstraints:
        """Lay the constraints on points turned by (m, d, d); levers are those of the ends, the centres and the axes."""
        pairs, k, m, n = self.pairs, self.pairs.end_of, len(turn), len(self.pairs)
        back = np.swapaxes(turn, 1, 2)
        centre = np.broadcast_to(pairs.p @ back, (m, n, self.d))
        off = centre + shift[:, None, :] - pairs.q
        lever, gap = centre[:, k], off[:, k]
        if self.d == 3:
            ends = pairs.end_off @ back
            lever, gap = lever + ends, gap + ends
        slope = np.broadcast_to(self.fixed, (m, *self.fixed.shape)).copy()
        if len(self.donor):
            along = pairs.u_d[k[self.donor]] @ back
            moved = slid[:, len(self.host) :, None] * along
            lever[:, self.donor] += moved
            gap[:, self.donor] += moved
            slope[:, self.donor, 1:, self.donor_columns] = np.swapaxes(self._across(along, self.donor), 0, 1)
        values = np.empty((m, self.ends, 3))
        values[:, :, 0] = pairs.rho[..., k]
        values[:, :, 1:] = self._across(gap)
        if len(self.host):
            values[:, self.host, 1:] -= slid[:, : len(self.host), None] * pairs.u_h[k[self.host]]
        if self.d == 2:
            slope[:, :, 1, 0], slope[:, :, 2, 0] = -lever[:, :, 1] / self.size_mm, lever[:, :, 0] / self.size_mm
            rails = np.broadcast_to(self.rails, (m, *self.rails.shape))
            return LaidConstraints(
                values, slope, np.concatenate([self.half - slid, self.half + slid], axis=1), rails, lever
            )
        slope[:, :, 1:, self.by_turn] = cross(lever[:, :, None, :], self.basis) / self.size_mm
        axis = np.broadcast_to(pairs.b @ back, (m, n, 3))
        lines, line_slope = self._lines(slid, centre, axis, off)
        return LaidConstraints(values, slope, lines, line_slope, np.concatenate([lever, centre, axis], axis=1))

    def _across(self, vectors: Floats, ends: Floats | slice = slice(None)) -> Floats:
        """(m, k, 2) what of vectors (m, k, d) at some ends lies across their axes."""
        if self.d == 2:
            return vectors
        return np.asarray((vectors[:, :, None, :] @ np.swapaxes(self.basis[ends], 1, 2))[:, :, 0])

    def _lines(self, slid: Floats, centre: Floats, axis: Floats, off: Floats) -> tuple[Floats, Floats]:
        """Along the axis either way, the direction of the axes, and both ends of every slot."""
        pairs, m, n = self.pairs, len(slid), len(self.pairs)
        along = (off * pairs.a).sum(axis=-1)
        lean = LEAN_SCALE_MM * ((axis * pairs.a).sum(axis=-1) - LEAN_COS) + pairs.room_mm
        rails = (self.half - slid, self.half + slid)
        values = np.concatenate([pairs.grip - along, pairs.grip + along, lean, *rails], axis=1)
        slope = np.zeros((m, self.lines, self.rails.shape[1]))
        slope[:, : 3 * n, self.z] = 1.0
        slope[:, :n, self.by_shift], slope[:, n : 2 * n, self.by_shift] = -pairs.a, pairs.a
        lever = cross(centre, pairs.a) / self.size_mm
        slope[:, :n, self.by_turn], slope[:, n : 2 * n, self.by_turn] = -lever, lever
        slope[:, 2 * n : 3 * n, self.by_turn] = cross(axis, pairs.a) * (LEAN_SCALE_MM / self.size_mm)
        slope[:, 3 * n :] = self.rails
        return values, slope

    def forces(self, ends: Floats, lines: Floats) -> tuple[Floats, Floats, Floats]:
        """Forces at the ends, along the axes, and the weights of the axes' directions."""
        if self.d == 2:
            return -ends[:, :, 1:], ends[:, :0, 1:], lines[:, :0]
        n = len(self.pairs)
        across = (-ends[:, :, None, 1:] @ self.basis)[:, :, 0]
        along = (lines[:, :n] - lines[:, n : 2 * n])[..., None] * self.pairs.a
        return across, along, lines[:, 2 * n : 3 * n] * LEAN_SCALE_MM

    def bend(self, ends: Floats, lines: Floats, levers: Floats) -> Floats:
        """(m, turns, turns) second order of the turn, under forces at the ends and lines."""
        across, along, lean = self.forces(ends, lines)
        if self.d == 2:
            return np.asarray(-(across * levers).sum(axis=(1, 2))[:, None, None]) / self.size_mm**2
        both = np.swapaxes(levers, 1, 2) @ np.concatenate([across, along, -lean[..., None] * self.pairs.a], axis=1)
        sides = (both + np.swapaxes(both, 1, 2)) / 2
        trace = both[:, 0, 0] + both[:, 1, 1] + both[:, 2, 2]
        return np.asarray(sides - trace[:, None, None] * np.eye(3)) / self.size_mm**2


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
        self.t, self.z = cones.turns, cones.z
        self.program = Program(cones, hold_turn)

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

    def attempt(self, some: Cones, rows: Floats, laid: LaidConstraints) -> _Attempt:
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


class Program:
    """The convex programs of placements that differ in numbers alone: their common sparsity."""

    def __init__(self, cones: Cones, hold_turn: bool) -> None:
        k, t, s, z = cones.ends, cones.turns, cones.slots, cones.z
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

    def solve(self, laid: LaidConstraints, bend: Floats, trust: Floats) -> tuple[Floats, Floats, Floats]:
        """Steps (m, u), and the forces at ends (m, k, 3) and lines (m, l)."""
        m, k, _, u = laid.ends_by.shape
        inside = 3 * k + laid.lines.shape[1]
        right = np.concatenate(
            [laid.ends.reshape(m, -1), laid.lines, np.repeat(trust[:, None], 2 * self.turns, axis=1)], axis=1
        )
        step, forces, size = np.zeros((m, u)), np.zeros((m, inside)), len(self.can)
        by, bent_from = self.fixed.copy(), self.bent * (self.bent + 1) // 2
        for row in range(m):
            by[: 3 * k], by[3 * k : inside] = -laid.ends_by[row].reshape(3 * k, u), -laid.lines_by[row]
            rows = Sparse(by.T[self.first :][self.can], self.indices, self.indptr, (len(by), size))
            bent = Sparse(bend[row][self.row, self.column], self.row, bent_from, (size, size))
            step[row, self.first :], weights = solve(bent, self.objective, rows, right[row], k)
            forces[row] = weights[:inside]
        return step, forces[:, : 3 * k].reshape(m, k, 3), forces[:, 3 * k :]


@dataclass(frozen=True, eq=False)
class Settled:
    """Where m walks came to rest.

    Attributes
    ----------
    turn, shift_mm
        (m, d, d) and (m, d).
    worst_mm
        (m,): largest excess there, recomputed with the true rotation.
    across, along, lean
        (m, k, d), (m, n, d), (m, n): forces at the hole ends and along the axes, and the weights of the axes'
        directions, that balance there; the last two are none in the plane.
    programs
        How many were solved.
    """

    turn: Floats
    shift_mm: Floats
    worst_mm: Floats
    across: Floats
    along: Floats
    lean: Floats
    programs: int


def settle(
    pairs: Pairs, turn: Floats, shift_mm: Floats, *, hold_turn: bool = False, most_turn_rad: float | None = None,
    stop_at_sign: bool = False, one_will_do: bool = False,
) -> Settled:  # fmt: skip
    """Go from each of (m, d, d) turns and (m, d) shifts to the least worst excess near it: see `descend`.

    `most_turn_rad`: turn no farther than this in the first step.
    """
    cones = Cones(pairs)
    rest = descend(
        cones, turn, shift_mm, hold_turn=hold_turn, stop_at_sign=stop_at_sign, one_will_do=one_will_do,
        most_turn_mm=None if most_turn_rad is None else most_turn_rad * cones.size_mm,
    )  # fmt: skip
    return Settled(rest.turn, rest.shift_mm, rest.worst_mm, *cones.forces(rest.ends, rest.lines), rest.programs)


def settle_flat(
    pairs: Pairs, turn_rad: float, shift_mm: Floats, *, hold_turn: bool = False,
    most_turn_rad: float | None = None, stop_at_sign: bool = False,
) -> tuple[float, Floats, Floats]:  # fmt: skip
    """The same from one placement in the plane: turn, shift (2,), and (n, 2) the directions in which pairs press.

    With the turn free the end is a local least; `minimax.best_placement` proves it over all turns.
    """
    rest = settle(
        pairs, flat_turn(turn_rad)[None], shift_mm[None], hold_turn=hold_turn, most_turn_rad=most_turn_rad,
        stop_at_sign=stop_at_sign,
    )  # fmt: skip
    turn = rest.turn[0]
    at = turn_rad if hold_turn else math.atan2(turn[1, 0], turn[0, 0])
    return at, rest.shift_mm[0], rest.across[0]
