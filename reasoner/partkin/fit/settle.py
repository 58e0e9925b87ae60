"""The best placement of a pairing, found from the few pairs that hold it back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from partkin.fit.layout import WILD_MM, Layout, Pair, farthest_first
from partkin.fit.minimax import best_placement

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
    conflicts: list[tuple[frozenset[Pair], Settled]] = field(default_factory=list)
    _seen: set[frozenset[Pair]] = field(default_factory=set)

    def settle(self, pairs: Sequence[Pair], limit_mm: float) -> Settled:
        """Find the best placement of `pairs`.

        A few pairs are placed at their best, the pair that then stands out most is added, and so on: a few
        pairs can never do worse than all of them, so the search may stop where none stands out more, or
        where the few already exceed the limit.

        Parameters
        ----------
        pairs
            (row, column), at least one.
        limit_mm
            Excess above which the pairing is of no interest.
        """
        whole = frozenset(pairs)
        for tight, settled in self.conflicts:
            if settled.excess_mm > limit_mm and tight <= whole:
                return settled
        known = self.layout.known(pairs)
        few = self._first_few(pairs)
        while True:
            settled = self.place([pairs[k] for k in few])
            if settled.excess_mm > limit_mm:
                break
            excess = known.excess(settled.turn_rad, settled.shift_mm)
            worst = int(np.argmax(excess))
            if excess[worst] <= settled.excess_mm + EXACT_MM or worst in few:
                top = max(float(excess[worst]), settled.excess_mm)
                return Settled(top, settled.turn_rad, settled.shift_mm, settled.tight)
            few.append(worst)
        if frozenset(settled.tight) not in self._seen:
            self._seen.add(frozenset(settled.tight))
            self.conflicts.append((frozenset(settled.tight), settled))
        return settled

    def place(self, pairs: Sequence[Pair]) -> Settled:
        """Place these few pairs at their best, whatever that is."""
        key = frozenset(pairs)
        if key not in self.solved:
            self.solved[key] = self._place(sorted(key))
        return self.solved[key]

    def _place(self, pairs: list[Pair]) -> Settled:
        placed = best_placement(self.layout.known(pairs))
        worst = placed.worst_mm
        tight = [pairs[k] for k in np.flatnonzero(placed.excess_mm >= worst - TIGHT_MM)]
        if len(tight) < len(pairs):
            again = self.place(tight)
            tight = list(again.tight) if again.excess_mm >= worst - TIGHT_MM else pairs
        x, y = placed.shift_mm
        return Settled(worst, placed.turn_rad, (float(x), float(y)), tuple(tight))

    def _first_few(self, pairs: Sequence[Pair]) -> list[int]:
        """Three pairs far from each other to begin with; those whose play says nothing last."""
        tame = [k for k, pair in enumerate(pairs) if self.layout.reach_mm[pair] < WILD_MM]
        point = self.layout.rows.point[[row for row, _ in pairs]]
        return farthest_first(point, tame or list(range(len(pairs))))[:3]
