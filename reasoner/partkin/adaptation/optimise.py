"""The cheapest set of choices that the geometry bears out, with the bound that proves it.

Logic-based Benders: the master names the cheapest set not yet refuted; the geometry bears it out or names
a few fixings that cannot hold together, which refutes every set that gives them no more room. The master enumerates, or
finds its set by integer programming; both take cuts of the form: not every one of these units may have a choice of its
set.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from partkin.adaptation.choices import Choice, FixingChoices
from partkin.adaptation.placing import REACH_TOLERANCE_MM, Geometry, Refuted, Sets, excess_mm
from partkin.fit.integer_program import INFINITE, IntegerProgram
from partkin.model.adapting import Adaptation
from partkin.model.fitting import Placement
from partkin.model.pulse import beat
from partkin.tables.work import edge_rule

MOST_LISTED = 150_000
MOST_NODES = 5_000
Numbers = Sequence[Sequence[int]]
SETS = "sets of jobs"
ChoiceNumbers = tuple[int, ...]
Permitted = tuple[tuple[int, ...], ...]
# Cost, set of choices, and what `finish` made of it.
Priced = tuple[int, ChoiceNumbers, Adaptation]
# Two pairs are too far apart only beyond this, so that rounding never refutes what fits.
APART_MM = 1e-3


class Listed:
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
        """Take out every vector that a cut refutes."""
        hit = self.alive.copy()
        for unit, choices in cut:
            struck = np.zeros(self.most, dtype=bool)
            struck[sorted(choices)] = True
            hit &= struck[self.columns[unit]]
        self.alive &= ~hit

    def cheapest(self) -> tuple[tuple[int, ...], int] | None:
        """A vector that is left (None: none is), with a cost that none is below: its own unless branches ran out."""
        left = np.flatnonzero(self.alive[self.at :])
        if not len(left):
            return None
        self.at += int(left[0])
        return tuple(int(value) for value in self.columns[:, self.at]), int(self.total[self.at])


class Programmed:
    """The same by integer programming, where there are too many vectors to list: one column a unit and choice."""

    def __init__(self, costs: Numbers, permitted: Numbers, keeps: Sequence[Sequence[bool]], kept: int) -> None:
        self.program = IntegerProgram()
        self.column = {(u, c): self.program.column(costs[u][c]) for u, choices in enumerate(permitted) for c in choices}
        for unit, choices in enumerate(permitted):
            self.program.row({self.column[unit, choice]: 1.0 for choice in choices}, 1.0, 1.0)
        self.program.row({at: 1.0 for (unit, choice), at in self.column.items() if keeps[unit][choice]}, kept, INFINITE)

    def strike(self, cut: Sets) -> None:
        """As `Listed.strike`."""
        sets = dict(cut)
        outside = {at: 1.0 for (unit, choice), at in self.column.items() if choice not in sets.get(unit, (choice,))}
        self.program.row(outside, 1.0, INFINITE)

    def cheapest(self) -> tuple[tuple[int, ...], int] | None:
        """As `Listed.cheapest`."""
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


@dataclass(frozen=True)
class Optimum:
    """A set of choices with what `finish` made of it; None where there is none.

    `bound`: no permitted set costs less. `proved`: this one costs no more than that.
    """

    vector: ChoiceNumbers | None = None
    finished: Adaptation | None = None
    cost: int | None = None
    bound: int | None = None
    proved: bool = True


@dataclass(frozen=True)
class _Query:
    """One question to the optimiser: what may be chosen, its own cuts, its master, and the cost to beat."""

    permitted: Permitted
    cuts: tuple[Sets, ...]
    master: Listed | Programmed
    below: int | None
    # Costs of sets that were struck without a proof.
    unproved: list[int] = field(default_factory=list)


class Optimiser:
    """Units with their costs, and what has been refuted so far; every question about them shares it.

    `costs`: of each choice of each unit, in thousandths. `finish`: turns a placed set into jobs, or gives None where
    the jobs find no room there. `limit`: how many sets may be laid down; `left` counts what is left of them.
    """

    def __init__(
        self,
        units: Sequence[FixingChoices],
        geometry: Geometry,
        costs: Sequence[Sequence[int]],
        finish: Callable[[ChoiceNumbers, Placement], Adaptation | None],
        limit: int,
        most_listed: int = MOST_LISTED,
    ) -> None:
        self.units, self.geometry, self.costs, self.finish = units, geometry, costs, finish
        self.left = self.most = limit
        self.most_listed = most_listed
        # Choices that leave the donor's own fixing to place the part, and how many of those there have to be.
        own = [unit.feature is not None for unit in units]
        self.keeps = [[choice.shape is not None and o for choice in u.choices] for u, o in zip(units, own, strict=True)]
        self.kept = min(int(edge_rule("fixings that place the part").value), sum(own))
        self.struck: dict[ChoiceNumbers, None] = {}
        self.borne_out: dict[ChoiceNumbers, Adaptation] = {}
        task = geometry.task
        self.cuts = pairwise(units) if task.dims == 2 and not (task.flex_mm and task.flex_in_plane) else []

    def cost_of(self, vector: ChoiceNumbers) -> int:
        """Cost of a set, in thousandths."""
        return sum(self.costs[unit][choice] for unit, choice in enumerate(vector))

    def run(
        self,
        permitted: Permitted,
        more_cuts: Sequence[Sets] = (),
        below: int | None = None,
        any_will_do: bool = False,
    ) -> Optimum:
        """Find the cheapest set of permitted choices.

        `more_cuts`: conditions of this question alone. `below`: look only for sets that cost less. `any_will_do`: stop
        at the first set found, however dear.
        """
        if any(not choices for choices in permitted):
            return Optimum()
        asked = self._asked(permitted, tuple(more_cuts), below)
        best: Priced | None = None
        while True:
            named = asked.master.cheapest()
            if named is None or (below is not None and named[1] >= below):
                return self._settled(best, best[0] if best is not None else None, asked)
            vector, bound = named
            if best is not None and (any_will_do or best[0] <= bound):
                return self._settled(best, bound, asked)
            if self.left <= 0 and vector not in self.borne_out:
                return self._settled(best, bound, asked, stopped=True)
            taken, nearest = self._examine(vector, asked)
            if taken is not None:
                return self._settled(taken, bound, asked)
            if nearest is not None:
                best = self._at(nearest, asked, best)
            best = self._mended(vector, asked, best)

    def _asked(self, permitted: Permitted, cuts: tuple[Sets, ...], below: int | None) -> _Query:
        made = master(self.costs, permitted, self.keeps, self.kept, self.most_listed)
        asked = _Query(permitted, cuts, made, below)
        for cut in (*self.cuts, *cuts):
            made.strike(cut)
        for vector in self.struck:
            if all(choice in choices for choice, choices in zip(vector, permitted, strict=True)):
                self._put_aside(vector, asked)
        return asked

    def _cut_by(self, vector: Sequence[int], asked: _Query) -> Sets | None:
        return next((cut for cut in (*self.cuts, *asked.cuts) if refuted(cut, vector)), None)

    def _put_aside(self, vector: ChoiceNumbers, asked: _Query) -> None:
        """Strike one vector without a proof."""
        self.struck[vector] = None
        asked.master.strike(tuple((unit, frozenset((choice,))) for unit, choice in enumerate(vector)))
        if self._cut_by(vector, asked) is None:
            asked.unproved.append(self.cost_of(vector))

    def _examine(self, vector: ChoiceNumbers, asked: _Query) -> tuple[Priced | None, Placement | None]:
        """Ask about a vector: it is borne out, refuted or put aside; with the placement that misses least."""
        if vector not in self.borne_out:
            self.left -= 1
            beat(SETS, self.most - self.left, self.most)
            placed = self.geometry.place(vector)
            if isinstance(placed, Refuted) and placed.sets:
                self.cuts.append(placed.sets)
                asked.master.strike(placed.sets)
                return None, placed.nearest
            finished = None if isinstance(placed, Refuted) else self.finish(vector, placed)
            if finished is None:
                self._put_aside(vector, asked)
                return None, placed.nearest if isinstance(placed, Refuted) else None
            self.borne_out[vector] = finished
        return (self.cost_of(vector), vector, self.borne_out[vector]), None

    def _settled(self, best: Priced | None, bound: int | None, asked: _Query, stopped: bool = False) -> Optimum:
        """Say what is proved: sets that were put aside without a proof may have been cheaper."""
        beat(SETS, self.most, self.most)
        if best is None:
            return Optimum(bound=bound, proved=not stopped and not asked.unproved)
        low = min([best[0], *asked.unproved] + ([bound] if bound is not None else []))
        return Optimum(best[1], best[2], best[0], low, low == best[0])

    def _at(self, placement: Placement, asked: _Query, best: Priced | None) -> Priced | None:
        """At a placement that misses, take the cheapest choice that reaches at each fixing."""
        chosen = []
        for unit, costs, choices in zip(self.units, self.costs, asked.permitted, strict=True):
            reaching = [
                (costs[c], c)
                for c in choices
                if unit.feature is None or excess_mm(unit, unit.choices[c], placement) <= REACH_TOLERANCE_MM
            ]
            if not reaching:
                return best
            chosen.append(min(reaching)[1])
        return self._tried(tuple(chosen), asked, best) or best

    def _mended(self, vector: ChoiceNumbers, asked: _Query, best: Priced | None) -> Priced | None:
        """Give way where it is cheapest until the geometry agrees: a set that will do, and cuts on the way."""
        while self.left > 0:
            mended = self._past_cuts(vector, asked)
            if mended is None or mended in self.struck or not self._is_cheaper(mended, asked, best):
                return best
            vector, known = mended, len(self.cuts)
            better = self._tried(vector, asked, best)
            if better is not None or len(self.cuts) == known:
                return better or best
        return best

    def _past_cuts(self, vector: ChoiceNumbers, asked: _Query) -> ChoiceNumbers | None:
        """Change choices one by one, the cheapest way first, until no cut strikes the vector."""
        chosen = list(vector)
        for _ in range(4 * len(chosen)):
            cut = self._cut_by(chosen, asked)
            if cut is None:
                return tuple(chosen)
            ways = [
                (self.costs[unit][choice] - self.costs[unit][chosen[unit]], unit, choice)
                for unit, choices in cut
                for choice in asked.permitted[unit]
                if choice not in choices
            ]
            if not ways:
                return None
            _, unit, choice = min(ways)
            chosen[unit] = choice
        return None

    def _is_cheaper(self, vector: ChoiceNumbers, asked: _Query, best: Priced | None) -> bool:
        limit = best[0] if best is not None else asked.below
        return limit is None or self.cost_of(vector) < limit

    def _tried(self, vector: ChoiceNumbers, asked: _Query, best: Priced | None) -> Priced | None:
        """Ask the geometry about a set that would be better than the best one; None: it is not."""
        if not self._is_cheaper(vector, asked, best) or vector in self.struck or self.left <= 0:
            return None
        if self._cut_by(vector, asked) is not None:
            return None
        if sum(self.keeps[unit][choice] for unit, choice in enumerate(vector)) < self.kept:
            return None
        return self._examine(vector, asked)[0]


def refuted(cut: Sets, vector: Sequence[int]) -> bool:
    """Whether a cut strikes out a vector."""
    return all(vector[unit] in choices for unit, choices in cut)


def pairwise(units: Sequence[FixingChoices]) -> list[Sets]:
    """Refute what two fixings show by distance: no turn or shift changes how far apart two points are."""
    cuts: list[Sets] = []
    reach = [[_outer_mm(unit, choice) for choice in unit.choices] for unit in units]
    for first, one in enumerate(units):
        for second, other in enumerate(units[first + 1 :], start=first + 1):
            if one.feature is None or other.feature is None:
                continue
            on_host = math.dist(one.fixing.at_mm, other.fixing.at_mm)
            short_mm = abs(on_host - math.dist(one.feature.at_mm, other.feature.at_mm)) - APART_MM
            refutes = [frozenset(k for k, b in enumerate(reach[second]) if b + a < short_mm) for a in reach[first]]
            for struck in sorted(set(refutes), key=sorted):
                if struck:
                    holders = frozenset(n for n, others in enumerate(refutes) if others >= struck)
                    cuts.append(((first, holders), (second, struck)))
    return cuts


def _outer_mm(unit: FixingChoices, choice: Choice) -> float:
    """Farthest that the two centres of a pair may be from each other."""
    if choice.shape is None or unit.feature is None:
        return float("inf")
    travel_mm = unit.fixing.half_travel_mm + unit.feature.half_travel_mm
    return choice.shape.outer_mm + travel_mm + max(choice.shape.back_mm, choice.shape.forward_mm)
