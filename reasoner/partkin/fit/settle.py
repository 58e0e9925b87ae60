"""The best placement of a known pairing, and the few of its pairs that hold it back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from partkin.fit.arrays import FITS_MM, WILD_MM, Pairs
from partkin.fit.freedom import free_movement
from partkin.fit.layout import Layout, Pair
from partkin.fit.minimax import Placed, best_placement
from partkin.fit.turns import two_by_two

# A pair counts as holding a placement back when its excess is this close to the largest.
TIGHT_MM = 1.0e-6


@dataclass(frozen=True)
class SettledExcess:
    """The least largest excess of some pairs, or, above the limit asked for, a lower bound on it.

    `pressing`: the pairs that seem to force it.
    """

    pairs: tuple[Pair, ...]
    excess_mm: float
    pressing: tuple[Pair, ...]
    placed: Placed


@dataclass(eq=False)
class KnownPairings:
    """Placements of known pairings of one layout, each set of pairs worked out once.

    `conflicts`: sets of pairs, with the largest excess that each is known to exceed.
    """

    layout: Layout
    solved: dict[frozenset[Pair], SettledExcess] = field(default_factory=dict)
    judged: dict[tuple[frozenset[Pair], float], SettledExcess] = field(default_factory=dict)
    conflicts: dict[frozenset[Pair], float] = field(default_factory=dict)

    def settle(self, pairs: Sequence[Pair], limit_mm: float) -> SettledExcess | tuple[Pair, ...]:
        """Find the best placement of `pairs` (at least one), or a few of them that exceed the limit."""
        return self._conflict(pairs, limit_mm) or self._within(self.place(pairs), limit_mm)

    def judge(self, pairs: Sequence[Pair], limit_mm: float) -> SettledExcess | tuple[Pair, ...]:
        """Find any placement of `pairs` within the limit, or a few of them that exceed it."""
        return self._conflict(pairs, limit_mm) or self._within(self._judge(pairs, limit_mm), limit_mm)

    def holds(self, pairs: Sequence[Pair], limit_mm: float) -> bool:
        """Whether some placement brings all pairs within the limit."""
        return self._judge(pairs, limit_mm).excess_mm <= limit_mm

    def place(self, pairs: Sequence[Pair]) -> SettledExcess:
        """Place these pairs at their best, whatever that is."""
        key = self._telling(pairs)
        if key not in self.solved:
            ordered = tuple(sorted(key))
            self.solved[key] = _settled(ordered, self._at_best(self.layout.known(ordered)), 0.0)
        return self.solved[key]

    def movement(self, pairs: Sequence[Pair]) -> tuple[str, ...]:
        """Say what movement is left at the best placement of these pairs, where they were placed and fit."""
        settled = self.solved.get(self._telling(pairs))
        if settled is None or not (settled.placed.loose and settled.placed.fits):
            return ()
        fixings = [self.layout.ids(pair)[0] for pair in settled.pairs]
        return free_movement(self.layout.known(settled.pairs), settled.placed, fixings)

    def _at_best(self, known: Pairs) -> Placed:
        return best_placement(known)

    def _by_sign(self, known: Pairs, few_starts: bool) -> Placed:
        """`few_starts`: in space, leave out those that seldom matter; in the plane every turn is looked at."""
        return best_placement(known, stop_at_sign=True)

    def _telling(self, pairs: Sequence[Pair]) -> frozenset[Pair]:
        """Leave out pairs whose play says nothing; if that is all of them, keep the one that says most."""
        reach_mm = self.layout.allowed_mm if self.layout.in_space else self.layout.across_mm
        telling = [pair for pair in pairs if reach_mm[pair] < WILD_MM]
        return frozenset(telling or [min(pairs, key=lambda pair: (reach_mm[pair], pair))])

    def _conflict(self, pairs: Sequence[Pair], limit_mm: float) -> tuple[Pair, ...] | None:
        """Pairs among these that are known to exceed the limit."""
        whole = frozenset(pairs)
        for few, exceeded_mm in self.conflicts.items():
            if exceeded_mm >= limit_mm and few <= whole:
                return tuple(sorted(few))
        return self._apart(pairs, limit_mm)

    def _apart(self, pairs: Sequence[Pair], limit_mm: float) -> tuple[Pair, ...] | None:
        """Up to four pairs of which two ask for other turns than the other two, found without placing any."""
        ordered = sorted(self._telling(pairs))
        if len(ordered) < 2 or not self.solved:
            # The first pairing that a search tries is mostly right.
            return None
        two = two_by_two(self.layout.known(ordered), limit_mm)
        narrow = int(np.argmin(two.half_rad))
        away = np.abs(np.remainder(two.middle_rad - two.middle_rad[narrow] + np.pi, 2 * np.pi) - np.pi)
        gap = away - two.half_rad - two.half_rad[narrow]
        wide = int(np.argmax(gap))
        if two.half_rad[narrow] >= 0 and gap[wide] <= 0:
            return None
        ends = {narrow} if two.half_rad[narrow] < 0 else {narrow, wide}
        few = sorted({ordered[int(side[k])] for k in ends for side in (two.first, two.second)})
        return self._kept(tuple(few), limit_mm)

    def _within(self, settled: SettledExcess, limit_mm: float) -> SettledExcess | tuple[Pair, ...]:
        if settled.excess_mm <= limit_mm:
            return settled
        few = settled.pressing
        if len(few) == len(settled.pairs) or self.holds(few, limit_mm):
            few = settled.pairs
        return self._kept(few, limit_mm)

    def _kept(self, few: tuple[Pair, ...], limit_mm: float) -> tuple[Pair, ...]:
        """Keep that these pairs exceed a limit."""
        self.conflicts[frozenset(few)] = max(limit_mm, self.conflicts.get(frozenset(few), limit_mm))
        return few

    def _judge(self, pairs: Sequence[Pair], limit_mm: float) -> SettledExcess:
        key = self._telling(pairs), limit_mm
        if key[0] in self.solved:
            return self.solved[key[0]]
        if key not in self.judged:
            self.judged[key] = self._judge_anew(tuple(sorted(key[0])), limit_mm)
        return self.judged[key]

    def _judge_anew(self, pairs: tuple[Pair, ...], limit_mm: float, few_starts: bool = True) -> SettledExcess:
        """Inflate the plays by the limit, less what counts as none, and look at the sign alone."""
        room_mm = limit_mm - FITS_MM
        placed = self._by_sign(self.layout.known(pairs).widened(room_mm), few_starts)
        found = _settled(pairs, placed, room_mm)
        if placed.fits:
            return replace(found, excess_mm=min(found.excess_mm, limit_mm))
        # More than the limit is proved, and how much more is not known.
        return replace(found, excess_mm=max(found.excess_mm, float(np.nextafter(limit_mm, np.inf))))


def _settled(pairs: tuple[Pair, ...], placed: Placed, room_mm: float) -> SettledExcess:
    near = placed.excess_mm >= placed.worst_mm - TIGHT_MM
    pressing = tuple(pairs[k] for k in np.flatnonzero(near | placed.active))
    return SettledExcess(pairs, placed.worst_mm + room_mm, pressing, placed)
