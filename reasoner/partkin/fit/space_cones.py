"""Known pairs in space as cones and lines (see `cones`), and the least worst excess from many starts at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partkin.fit.cones import Laid, descend
from partkin.fit.rotations import cross, turned_by
from partkin.fit.space_pairs import LEAN_COS, LEAN_SCALE_MM, SpacePairs

Floats = np.ndarray

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


class SpaceCones:
    """What the constraints are at a placement, and how they change."""

    turns = 3

    def __init__(self, pairs: SpacePairs) -> None:
        self.pairs = pairs
        self.n, self.end_of = len(pairs), pairs.end_of
        self.host = np.flatnonzero(pairs.s_h[self.end_of] > 0)
        self.donor = np.flatnonzero(pairs.s_d[self.end_of] > 0)
        self.half = np.concatenate([pairs.s_h[self.end_of[self.host]], pairs.s_d[self.end_of[self.donor]]])
        self.slots, self.slotted = len(self.half), np.concatenate([self.host, self.donor])
        self.ends, self.lines = len(self.end_of), 3 * self.n + 2 * self.slots
        self.unknowns = _FIRST_SLOT + self.slots
        self.size_mm = pairs.size_mm
        self.basis = pairs.basis[self.end_of]
        self.basis_turned = np.swapaxes(self.basis, 1, 2)
        self.host_columns = _FIRST_SLOT + np.arange(len(self.host))
        self.donor_columns = _FIRST_SLOT + len(self.host) + np.arange(len(self.donor))
        self.rails = np.zeros((2 * self.slots, self.unknowns))
        each = np.arange(self.slots)
        self.rails[each, _FIRST_SLOT + each] = -1.0
        self.rails[self.slots + each, _FIRST_SLOT + each] = 1.0

    @property
    def floor_mm(self) -> Floats:
        """What no placement does better than: the tightest play."""
        return np.asarray(-np.minimum(self.pairs.rho.min(axis=-1), self.pairs.grip.min(axis=-1)))

    def draws(self, rows: Floats) -> SpaceCones:
        """Return the constraints of some draws."""
        return self if self.pairs.p.ndim == 2 else SpaceCones(self.pairs.draws(rows))

    def worst(self, turn: Floats, shift: Floats) -> Floats:
        """(m,) mm: largest excess, the slots taking what they can."""
        return np.asarray(self.pairs.excess(self.pairs.contact(turn, shift)).max(axis=1))

    def turned(self, turn: Floats, by: Floats) -> Floats:
        """Turn on, about vectors (m, 3) whose length is mm at the size."""
        return np.asarray(turned_by(by / self.size_mm) @ turn)

    def lay(self, turn: Floats, shift: Floats, slid: Floats) -> Laid:
        """Lay the constraints on points turned by (m, 3, 3); levers are those of the ends, the centres and the axes."""
        pairs, k, m, n = self.pairs, self.end_of, len(turn), self.n
        back = np.swapaxes(turn, 1, 2)
        centre, axis = pairs.p @ back, pairs.b @ back
        centre = np.broadcast_to(centre, (m, n, 3))
        off = centre + shift[:, None, :] - pairs.q
        ends = np.broadcast_to(pairs.end_off @ back, (m, len(k), 3))
        lever, gap = centre[:, k] + ends, off[:, k] + ends
        values = np.empty((m, len(k), 3))
        slope = np.zeros((m, len(k), 3, self.unknowns))
        slope[:, :, 0, _Z] = 1.0
        slope[:, :, 1:, _SHIFT] = self.basis
        if len(self.donor):
            along = pairs.u_d[k[self.donor]] @ back
            moved = slid[:, len(self.host) :, None] * along
            lever, gap = lever.copy(), gap.copy()
            lever[:, self.donor] += moved
            gap[:, self.donor] += moved
            flat = (along[:, :, None, :] @ self.basis_turned[self.donor])[:, :, 0]
            slope[:, self.donor, 1:, self.donor_columns] = np.swapaxes(flat, 0, 1)
        values[:, :, 0] = np.broadcast_to(pairs.rho, (m, n))[:, k]
        values[:, :, 1:] = (gap[:, :, None, :] @ self.basis_turned)[:, :, 0]
        if len(self.host):
            u = pairs.u_h[k[self.host]]
            values[:, self.host, 1:] -= slid[:, : len(self.host), None] * u
            slope[:, self.host, 1:, self.host_columns] = -u[:, None, :]
        slope[:, :, 1:, _TURN] = cross(lever[:, :, None, :], self.basis) / self.size_mm
        lines, line_slope = self._lines(slid, centre, axis, off)
        return Laid(values, slope, lines, line_slope, np.concatenate([lever, centre, axis], axis=1))

    def _lines(self, slid: Floats, centre: Floats, axis: Floats, off: Floats) -> tuple[Floats, Floats]:
        """Along the axis either way, the direction of the axes, and both ends of every slot."""
        pairs, m, n = self.pairs, len(slid), self.n
        along = (off * pairs.a).sum(axis=-1)
        lean = LEAN_SCALE_MM * ((axis * pairs.a).sum(axis=-1) - LEAN_COS) + pairs.room_mm
        rails = (self.half - slid, self.half + slid)
        values = np.concatenate([pairs.grip - along, pairs.grip + along, lean, *rails], axis=1)
        slope = np.zeros((m, 3 * n + 2 * self.slots, self.unknowns))
        slope[:, : 3 * n, _Z] = 1.0
        slope[:, :n, _SHIFT], slope[:, n : 2 * n, _SHIFT] = -pairs.a, pairs.a
        lever = cross(centre, pairs.a) / self.size_mm
        slope[:, :n, _TURN], slope[:, n : 2 * n, _TURN] = -lever, lever
        slope[:, 2 * n : 3 * n, _TURN] = cross(axis, pairs.a) * (LEAN_SCALE_MM / self.size_mm)
        slope[:, 3 * n :] = self.rails
        return values, slope

    def forces(self, ends: Floats, lines: Floats) -> tuple[Floats, Floats, Floats]:
        """Forces at the ends, along the axes, and the weights of the axes' directions."""
        n = self.n
        across = (-ends[:, :, None, 1:] @ self.basis)[:, :, 0]
        along = (lines[:, :n] - lines[:, n : 2 * n])[..., None] * self.pairs.a
        return across, along, lines[:, 2 * n : 3 * n] * LEAN_SCALE_MM

    def bend(self, ends: Floats, lines: Floats, levers: Floats) -> Floats:
        """(m, 3, 3) second order of the turn, under forces at the ends and lines."""
        across, along, lean = self.forces(ends, lines)
        both = np.swapaxes(levers, 1, 2) @ np.concatenate([across, along, -lean[..., None] * self.pairs.a], axis=1)
        sides = (both + np.swapaxes(both, 1, 2)) / 2
        trace = both[:, 0, 0] + both[:, 1, 1] + both[:, 2, 2]
        return np.asarray(sides - trace[:, None, None] * _EYE) / self.size_mm**2


def settle(
    pairs: SpacePairs, turn: Floats, shift_mm: Floats, *, hold_turn: bool = False, stop_at_sign: bool = False,
    one_will_do: bool = False,
) -> Settled:  # fmt: skip
    """Go from each of (m, 3, 3) turns and (m, 3) shifts to the least worst excess near it: see `cones.descend`."""
    cones = SpaceCones(pairs)
    rest = descend(
        cones, turn, shift_mm, hold_turn=hold_turn, stop_at_sign=stop_at_sign, one_will_do=one_will_do
    )
    return Settled(rest.turn, rest.shift_mm, rest.worst_mm, *cones.forces(rest.ends, rest.lines), rest.programs)
