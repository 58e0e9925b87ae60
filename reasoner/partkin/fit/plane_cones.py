"""Known pairs of a flat pattern as cones and lines (see `cones`), and the least worst excess near a start."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partkin.fit.arrays import Floats, PlanePairs, turn
from partkin.fit.cones import Laid, descend

_FIRST_SLOT = 4


@dataclass(frozen=True, eq=False)
class Settled:
    """Where the descent came to rest.

    `weights` (n, 2) are the directions in which the pairs press against each other there, balanced up
    to rounding.
    """

    turn_rad: float
    shift_mm: Floats
    weights: Floats


def kabsch(pairs: PlanePairs) -> tuple[float, Floats]:
    """Turn and shift that centre the one pattern on the other by least squares: a start, no answer."""
    p0, q0 = pairs.p.mean(axis=0), pairs.q.mean(axis=0)
    p, q = pairs.p - p0, pairs.q - q0
    along = float((p * q).sum())
    across = float((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum())
    size = float((p * p).sum() + (q * q).sum())
    angle = math.atan2(across, along) if math.hypot(along, across) > 1e-12 * size else 0.0
    return angle, q0 - turn(p0[None, :], math.cos(angle), math.sin(angle))[0]


class PlaneCones:
    """One placement's constraints and how they change; turns are angles (1,) in radians."""

    turns = 1

    def __init__(self, pairs: PlanePairs) -> None:
        self.pairs, self.n = pairs, len(pairs)
        self.host, self.donor = np.flatnonzero(pairs.s_h > 0), np.flatnonzero(pairs.s_d > 0)
        self.half = np.concatenate([pairs.s_h[self.host], pairs.s_d[self.donor]])
        self.slots, self.slotted = len(self.half), np.concatenate([self.host, self.donor])
        self.ends, self.lines = self.n, 2 * self.slots
        self.size_mm = math.sqrt(max(float((pairs.p**2).sum()) / self.n, 1e-6))
        self.floor_mm = -float(pairs.rho.min())
        self.fixed = np.zeros((self.n, 3, _FIRST_SLOT + self.slots))
        self.fixed[:, 0, 3] = self.fixed[:, 1, 1] = self.fixed[:, 2, 2] = 1.0
        self.fixed[self.host, 1:, _FIRST_SLOT + np.arange(len(self.host))] = -pairs.u_h[self.host]
        self.columns = _FIRST_SLOT + len(self.host) + np.arange(len(self.donor))
        rails = np.eye(self.slots, _FIRST_SLOT + self.slots, _FIRST_SLOT)
        self.rails = np.concatenate([-rails, rails])

    def draws(self, rows: Floats) -> PlaneCones:
        """Return the constraints of some draws: there is but one."""
        return self

    def worst(self, turn_rad: Floats, shift: Floats) -> Floats:
        """(1,) mm: largest excess, the slots taking what they can."""
        return np.array([self.pairs.excess(float(turn_rad[0]), shift[0]).max()])

    def turned(self, turn_rad: Floats, by: Floats) -> Floats:
        """Turn on, by (1, 1) mm at the size."""
        return np.asarray(turn_rad + by[:, 0] / self.size_mm)

    def lay(self, turn_rad: Floats, shift: Floats, slid: Floats) -> Laid:
        """Lay the constraints on turned points."""
        pairs, at_host, at_donor = self.pairs, slid[0, : len(self.host)], slid[0, len(self.host) :]
        c, s = math.cos(turn_rad[0]), math.sin(turn_rad[0])
        slope, touching = self.fixed.copy(), pairs.p.copy()
        touching[self.donor] += at_donor[:, None] * pairs.u_d[self.donor]
        slope[self.donor, 1:, self.columns] = turn(pairs.u_d[self.donor], c, s)
        lever = turn(touching, c, s)
        values = np.column_stack([pairs.rho, lever + shift[0] - pairs.q])
        values[self.host, 1:] -= at_host[:, None] * pairs.u_h[self.host]
        slope[:, 1, 0], slope[:, 2, 0] = -lever[:, 1] / self.size_mm, lever[:, 0] / self.size_mm
        lines = np.concatenate([self.half - slid[0], self.half + slid[0]])
        return Laid(values[None], slope[None], lines[None], self.rails[None], lever[None])

    def bend(self, ends: Floats, lines: Floats, levers: Floats) -> Floats:
        """(1, 1, 1) second order of the turn, under forces at the ends."""
        return np.asarray((ends[:, :, 1:] * levers).sum(axis=(1, 2))[:, None, None] / self.size_mm**2)


def settle(
    pairs: PlanePairs, turn_rad: float, shift_mm: Floats, *, hold_turn: bool = False,
    most_turn_rad: float | None = None, stop_at_sign: bool = False,
) -> Settled:  # fmt: skip
    """Go from a start to the least worst excess near it: see `cones.descend`.

    Parameters
    ----------
    pairs
        About the origin (see `PlanePairs.centred`), at least one.
    turn_rad, shift_mm
        Where to start.
    hold_turn
        Keep the turn: the answer is the least at that turn.
    most_turn_rad
        Turn no farther than this in one step.
    stop_at_sign
        Any placement where every pair is within its play will do.

    Notes
    -----
    With the turn free the end is a local least; `minimax.best_placement` proves it over all turns.
    """
    cones = PlaneCones(pairs)
    most_mm = None if most_turn_rad is None else most_turn_rad * cones.size_mm
    rest = descend(
        cones, np.array([turn_rad]), shift_mm[None], hold_turn=hold_turn, most_turn_mm=most_mm,
        stop_at_sign=stop_at_sign,
    )  # fmt: skip
    return Settled(float(rest.turn[0]), rest.shift_mm[0], -rest.ends[0, :, 1:])
