"""Which set of choices is the cheapest that nothing refuted: enumerated, or found by integer programming.

Both take cuts of the form: not every one of these units may have a choice of its set.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from partkin.adaptation.placing import Sets

MOST_LISTED = 150_000
MOST_NODES = 5_000
Numbers = Sequence[Sequence[int]]


class Listed:
    """Every vector in order of cost; each cut strikes out what it refutes."""

    def __init__(
        self, costs: Numbers, permitted: Numbers, keeps: Sequence[Sequence[bool]], kept: int
    ) -> None:
        grids = np.meshgrid(*[np.array(choices, dtype=np.int16) for choices in permitted], indexing="ij")
        # Of no unit at all there is one set: no work.
        vectors = np.stack([grid.ravel() for grid in grids], axis=1) if grids else np.zeros((1, 0), dtype=np.int16)
        total = np.zeros(len(vectors), dtype=np.int64)
        jobs = np.zeros(len(vectors), dtype=np.int64)
        placing = np.zeros(len(vectors), dtype=np.int64)
        for unit, (cost, places) in enumerate(zip(costs, keeps, strict=True)):
            price = np.array(cost, dtype=np.int64)[vectors[:, unit]]
            total += price
            jobs += price > 0
            placing += np.array(places)[vectors[:, unit]]
        order = np.lexsort((*vectors.T[::-1], jobs, total))
        self.columns, self.total = np.ascontiguousarray(vectors[order].T), total[order]
        self.most = max((len(cost) for cost in costs), default=0)
        self.alive = (placing >= kept)[order]
        self.at = 0

    def strike(self, cut: Sets) -> None:
        """Take out every vector that a cut refutes."""
        hit = self.alive.copy()
        for unit, choices in cut:
            struck = np.zeros(self.most, dtype=bool)
            struck[sorted(choices)] = True
            hit &= struck[self.columns[unit]]
        self.alive &= ~hit

    def strike_one(self, vector: Sequence[int]) -> None:
        """Take out one vector."""
        self.strike(tuple((unit, frozenset((choice,))) for unit, choice in enumerate(vector)))

    def cheapest(self) -> tuple[tuple[int, ...], int] | None:
        """The first vector that is left, with a cost that no other is below: its own."""
        left = np.flatnonzero(self.alive[self.at :])
        if not len(left):
            return None
        self.at += int(left[0])
        return tuple(int(value) for value in self.columns[:, self.at]), int(self.total[self.at])


class Programmed:
    """The same by integer programming (HiGHS), where there are too many vectors to list."""

    def __init__(
        self, costs: Numbers, permitted: Numbers, keeps: Sequence[Sequence[bool]], kept: int
    ) -> None:
        self.columns = [(unit, choice) for unit, choices in enumerate(permitted) for choice in choices]
        self.column_of = {pair: number for number, pair in enumerate(self.columns)}
        self.price = np.array([costs[unit][choice] for unit, choice in self.columns], dtype=float)
        self.rows: list[np.ndarray] = []
        self.low: list[float] = []
        self.high: list[float] = []
        for unit, choices in enumerate(permitted):
            self._row([(unit, choice) for choice in choices], 1.0, 1.0)
        placing = [pair for pair in self.columns if keeps[pair[0]][pair[1]]]
        self._row(placing, float(kept), math.inf)

    def _row(self, pairs: Sequence[tuple[int, int]], low: float, high: float) -> None:
        row = np.zeros(len(self.columns))
        for pair in pairs:
            row[self.column_of[pair]] = 1.0
        self.rows.append(row)
        self.low.append(low)
        self.high.append(high)

    def strike(self, cut: Sets) -> None:
        """Ask for at least one choice outside the cut's sets."""
        sets = dict(cut)
        outside = [(u, c) for u, c in self.columns if u in sets and c not in sets[u]]
        self._row(outside, 1.0, math.inf)

    def strike_one(self, vector: Sequence[int]) -> None:
        """Take out one vector."""
        self.strike(tuple((unit, frozenset((choice,))) for unit, choice in enumerate(vector)))

    def cheapest(self) -> tuple[tuple[int, ...], int] | None:
        """A vector that is left, with a cost that none is below: its own unless nodes ran out."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        found = milp(
            self.price,
            integrality=np.ones(len(self.price)),
            bounds=Bounds(0.0, 1.0),
            constraints=LinearConstraint(np.array(self.rows), np.array(self.low), np.array(self.high)),
            options={"mip_rel_gap": 0.0, "node_limit": MOST_NODES},
        )
        if found.x is None:
            return None
        taken = found.x > 0.5
        chosen = dict(pair for pair, is_taken in zip(self.columns, taken, strict=True) if is_taken)
        vector = tuple(chosen[unit] for unit in sorted(chosen))
        if found.status == 0:
            return vector, round(float(self.price @ taken))
        return vector, math.ceil(float(found.mip_dual_bound) - 1e-6)


def master(
    costs: Numbers, permitted: Numbers, keeps: Sequence[Sequence[bool]], kept: int, most_listed: int
) -> Listed | Programmed:
    """Choose the way by the number of vectors."""
    many = math.prod(len(choices) for choices in permitted)
    return (Listed if many <= most_listed else Programmed)(costs, permitted, keeps, kept)
