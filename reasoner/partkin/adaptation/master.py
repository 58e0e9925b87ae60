"""Which set of choices is the cheapest that nothing refuted: enumerated, or found by integer programming.

Both take cuts of the form: not every one of these units may have a choice of its set.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from partkin.adaptation.placing import Sets
from partkin.fit.integer_program import INFINITE, IntegerProgram

MOST_LISTED = 150_000
MOST_NODES = 5_000
Numbers = Sequence[Sequence[int]]


class _Master:
    def strike(self, cut: Sets) -> None:
        """Take out every vector that a cut refutes."""
        raise NotImplementedError

    def strike_one(self, vector: Sequence[int]) -> None:
        """Take out one vector."""
        self.strike(tuple((unit, frozenset((choice,))) for unit, choice in enumerate(vector)))

    def cheapest(self) -> tuple[tuple[int, ...], int] | None:
        """A vector that is left (None: none is), with a cost that none is below: its own unless branches ran out."""
        raise NotImplementedError


class Listed(_Master):
    """Every vector in order of cost; each cut strikes out what it refutes."""

    def __init__(self, costs: Numbers, permitted: Numbers, keeps: Sequence[Sequence[bool]], kept: int) -> None:
        grids = np.meshgrid(*[np.array(choices, dtype=np.int16) for choices in permitted], indexing="ij")
        # Of no unit at all there is one set: no work.
        vectors = np.stack([grid.ravel() for grid in grids], axis=1) if grids else np.zeros((1, 0), dtype=np.int16)
        total, jobs, placing = (np.zeros(len(vectors), dtype=np.int64) for _ in range(3))
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
        hit = self.alive.copy()
        for unit, choices in cut:
            struck = np.zeros(self.most, dtype=bool)
            struck[sorted(choices)] = True
            hit &= struck[self.columns[unit]]
        self.alive &= ~hit

    def cheapest(self) -> tuple[tuple[int, ...], int] | None:
        left = np.flatnonzero(self.alive[self.at :])
        if not len(left):
            return None
        self.at += int(left[0])
        return tuple(int(value) for value in self.columns[:, self.at]), int(self.total[self.at])


class Programmed(_Master):
    """The same by integer programming, where there are too many vectors to list: one column a unit and choice."""

    def __init__(self, costs: Numbers, permitted: Numbers, keeps: Sequence[Sequence[bool]], kept: int) -> None:
        self.program = IntegerProgram()
        self.column = {(u, c): self.program.column(costs[u][c]) for u, choices in enumerate(permitted) for c in choices}
        for unit, choices in enumerate(permitted):
            self.program.row({self.column[unit, choice]: 1.0 for choice in choices}, 1.0, 1.0)
        self.program.row({at: 1.0 for (unit, choice), at in self.column.items() if keeps[unit][choice]}, kept, INFINITE)

    def strike(self, cut: Sets) -> None:
        sets = dict(cut)
        outside = {at: 1.0 for (unit, choice), at in self.column.items() if choice not in sets.get(unit, (choice,))}
        self.program.row(outside, 1.0, INFINITE)

    def cheapest(self) -> tuple[tuple[int, ...], int] | None:
        found = self.program.solve(MOST_NODES)
        if found.values is None:
            return None
        chosen = {unit: choice for (unit, choice), at in self.column.items() if found.values[at] > 0.5}
        return tuple(chosen[unit] for unit in sorted(chosen)), math.ceil(found.bound - 1e-3)


def master(
    costs: Numbers, permitted: Numbers, keeps: Sequence[Sequence[bool]], kept: int, most_listed: int
) -> Listed | Programmed:
    """Choose the way by the number of vectors."""
    many = math.prod(len(choices) for choices in permitted)
    return (Listed if many <= most_listed else Programmed)(costs, permitted, keeps, kept)
