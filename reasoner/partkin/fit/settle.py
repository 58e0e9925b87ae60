"""The best placement of a pairing, found from the few pairs that hold it back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from partkin.fit.layout import WILD_MM, Layout, Pair, farthest_first
from partkin.fit.minimax import FITS_MM, best_placement

# A pair counts as holding a placement back when its excess is this close to the largest.
TIGHT_MM = 1.0e-6
EXACT_MM = 1.0e-7


@dataclass(frozen=True)
class Settled:
    """The least largest excess of some pairs, or, above the limit asked for, a lower bound on it.

    `tight`: pairs that alone already force it.
    """

    excess_mm: float
    turn_rad: float
    shift_mm: tuple[float, float]
    tight: tuple[Pair, ...]


@dataclass(eq=False)
class Known:
    """Placements of known pairings of one layout, each set of pairs worked out once."""

    layout: Layout
    solved: dict[frozenset[Pair], Settled] = field(default_factory=dict)
    judged: dict[tuple[frozenset[Pair], float], Settled] = field(default_factory=dict)
    conflicts: dict[frozenset[Pair], Settled] = field(default_factory=dict)

    def settle(self, pairs: Sequence[Pair], limit_mm: float) -> Settled:
        """Find the best placement of `pairs`, or a few of them that exceed the limit.

        Parameters
        ----------
        pairs
            (row, column), at least one.
        limit_mm
            Excess above which the pairing is of no interest.
        """
        return self._from_few(pairs, limit_mm, self.place)

    def judge(self, pairs: Sequence[Pair], limit_mm: float) -> Settled:
        """Find any placement of `pairs` within the limit, or a few of them that exceed it."""
        return self._from_few(pairs, limit_mm, lambda few: self._judge(few, limit_mm))

    def holds(self, pairs: Sequence[Pair], limit_mm: float) -> bool:
        """Whether some placement brings all pairs within the limit."""
        return self.judge(pairs, limit_mm).excess_mm <= limit_mm

    def place(self, pairs: Sequence[Pair]) -> Settled:
        """Place these few pairs at their best, whatever that is."""
        key = frozenset(pairs)
        if key not in self.solved:
            self.solved[key] = self._place(sorted(key))
        return self.solved[key]

    def _from_few(self, pairs: Sequence[Pair], limit_mm: float, place: Callable[..., Settled]) -> Settled:
        """Place a few pairs, add the one that then stands out most, and so on.

        A few pairs never do worse than all of them, so this may stop where none stands out more, or where
        the few exceed the limit by themselves.
        """
        whole = frozenset(pairs)
        for tight, settled in self.conflicts.items():
            if settled.excess_mm > limit_mm and tight <= whole:
                return settled
        known = self.layout.known(pairs)
        few = self._first_few(pairs)
        while True:
            settled = place([pairs[k] for k in few])
            if settled.excess_mm > limit_mm:
                break
            excess = known.excess(settled.turn_rad, settled.shift_mm)
            worst = int(np.argmax(excess))
            if excess[worst] <= settled.excess_mm + EXACT_MM or worst in few:
                return replace(settled, excess_mm=max(float(excess[worst]), settled.excess_mm))
            few.append(worst)
        before = self.conflicts.get(frozenset(settled.tight))
        if before is None or before.excess_mm < settled.excess_mm:
            self.conflicts[frozenset(settled.tight)] = settled
        return settled

    def _place(self, pairs: list[Pair]) -> Settled:
        placed = best_placement(self.layout.known(pairs))
        worst = placed.worst_mm
        tight = [pairs[k] for k in np.flatnonzero(placed.excess_mm >= worst - TIGHT_MM)]
        if len(tight) < len(pairs):
            again = self.place(tight)
            tight = list(again.tight) if again.excess_mm >= worst - TIGHT_MM else pairs
        x, y = placed.shift_mm
        return Settled(worst, placed.turn_rad, (float(x), float(y)), tuple(tight))

    def _judge(self, pairs: Sequence[Pair], limit_mm: float) -> Settled:
        key = frozenset(pairs), limit_mm
        if key not in self.judged:
            self.judged[key] = self._judge_anew(sorted(key[0]), limit_mm)
        return self.judged[key]

    def _judge_anew(self, pairs: list[Pair], limit_mm: float) -> Settled:
        solved = self.solved.get(frozenset(pairs))
        if solved is not None:
            return solved
        known = self.layout.known(pairs)
        room_mm = limit_mm - FITS_MM
        placed = best_placement(replace(known, rho=known.rho + room_mm), stop_at_sign=True)
        x, y = placed.shift_mm
        at = placed.turn_rad, (float(x), float(y))
        if placed.fits:
            return Settled(min(placed.worst_mm + room_mm, limit_mm), *at, tuple(pairs))
        tight = [pairs[k] for k in np.flatnonzero(placed.active)]
        if len(tight) < len(pairs):
            again = self._judge(tight, limit_mm)
            tight = list(again.tight) if again.excess_mm > limit_mm else pairs
        # More than the limit is proved, and how much more is not known.
        return Settled(float(np.nextafter(limit_mm, np.inf)), *at, tuple(tight))

    def _first_few(self, pairs: Sequence[Pair]) -> list[int]:
        """Three pairs far from each other to begin with; those whose play says nothing last."""
        tame = [k for k, pair in enumerate(pairs) if self.layout.reach_mm[pair] < WILD_MM]
        point = self.layout.rows.point[[row for row, _ in pairs]]
        return farthest_first(point, tame or list(range(len(pairs))))[:3]
