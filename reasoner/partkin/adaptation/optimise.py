"""The cheapest set of choices that the geometry bears out, with the bound that proves it.

Logic-based Benders: the master names the cheapest set not yet refuted; the geometry bears it out or names
a few fixings that cannot hold together, which refutes every set that gives them no more room.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from partkin.adaptation.choices import Choice, Unit
from partkin.adaptation.master import MOST_LISTED, Listed, Programmed, master
from partkin.adaptation.placing import Geometry, Refuted, Sets
from partkin.adaptation.standing import REACH_TOLERANCE_MM, excess_mm
from partkin.adaptation.tables import rule
from partkin.model.fitting import Placement
from partkin.pulse import beat

SETS = "sets of jobs"
Vector = tuple[int, ...]
Permitted = tuple[tuple[int, ...], ...]
# Two pairs are called too far apart only beyond this, so that rounding never refutes what fits.
APART_MM = 1e-3


Found = tuple[int, Vector, object]


@dataclass(frozen=True)
class _Aim:
    """One question to the optimiser: what may be chosen, its own cuts, its master, and the cost to beat."""

    permitted: Permitted
    cuts: tuple[Sets, ...]
    asked: Listed | Programmed
    below: int | None
    unproved: list[int] = field(default_factory=list)


@dataclass(frozen=True)
class Optimum:
    """A set of choices with what `finish` made of it; None where there is none.

    `bound`: no permitted set costs less. `proved`: this one costs no more than that.
    """

    vector: Vector | None
    finished: object | None
    cost: int | None
    bound: int | None
    proved: bool


@dataclass
class Optimiser:
    """Units with their costs, and what has been refuted so far; every question about them shares it.

    `finish` turns a placed set into jobs, or gives None where the jobs find no room there.
    """

    units: Sequence[Unit]
    geometry: Geometry
    costs: Sequence[Sequence[int]]
    finish: Callable[[Vector, Placement], object | None]
    left: int
    most_listed: int = MOST_LISTED
    cuts: list[Sets] = field(default_factory=list)
    struck: dict[Vector, None] = field(default_factory=dict)
    borne_out: dict[Vector, object] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refute by distance alone what two fixings show."""
        self.most = self.left
        task = self.geometry.task
        if task.dims == 2 and not (task.flex_mm and task.flex_in_plane):
            self.cuts += pairwise(self.units)

    @property
    def keeps(self) -> list[list[bool]]:
        """Which choices leave the donor's own fixing to place the part."""
        return [
            [choice.shape is not None and unit.feature is not None for choice in unit.choices]
            for unit in self.units
        ]

    @property
    def kept(self) -> int:
        """How many of the donor's own fixings have to go on placing it."""
        own = sum(unit.feature is not None for unit in self.units)
        return min(int(rule("fixings that place the part").value), own)

    def cost_of(self, vector: Vector) -> int:
        """Cost of a set, in thousandths."""
        return sum(self.costs[unit][choice] for unit, choice in enumerate(vector))

    def run(
        self, permitted: Permitted, more_cuts: Sequence[Sets] = (), below: int | None = None,
        any_will_do: bool = False,
    ) -> Optimum:  # fmt: skip
        """Find the cheapest set of permitted choices.

        Parameters
        ----------
        permitted
            Choices that may be taken, by unit.
        more_cuts
            Conditions of this question alone.
        below
            Look only for sets that cost less.
        any_will_do
            Stop at the first set found, however dear.
        """
        if any(not choices for choices in permitted):
            return Optimum(None, None, None, None, True)
        aim = self._aim(permitted, tuple(more_cuts), below)
        best: Found | None = None
        while True:
            named = aim.asked.cheapest()
            if named is None or (below is not None and named[1] >= below):
                return self._settled(best, best[0] if best is not None else None, aim)
            vector, bound = named
            if best is not None and (any_will_do or best[0] <= bound):
                return self._settled(best, bound, aim)
            if self.left <= 0 and vector not in self.borne_out:
                return self._settled(best, bound, aim, stopped=True)
            taken, nearest = self._examine(vector, aim)
            if taken is not None:
                return self._settled(taken, bound, aim)
            if nearest is not None:
                best = self._by_hand(nearest, aim, best)
            best = self._mended(vector, aim, best)

    def _aim(self, permitted: Permitted, cuts: tuple[Sets, ...], below: int | None) -> _Aim:
        asked = master(self.costs, permitted, self.keeps, self.kept, self.most_listed)
        aim = _Aim(permitted, cuts, asked, below)
        for cut in (*self.cuts, *cuts):
            asked.strike(cut)
        for vector in self.struck:
            if all(choice in choices for choice, choices in zip(vector, permitted, strict=True)):
                self._put_aside(vector, aim)
        return aim

    def _put_aside(self, vector: Vector, aim: _Aim) -> None:
        """Strike one vector without a proof."""
        self.struck[vector] = None
        aim.asked.strike_one(vector)
        if not any(refuted(cut, vector) for cut in (*self.cuts, *aim.cuts)):
            aim.unproved.append(self.cost_of(vector))

    def _examine(self, vector: Vector, aim: _Aim) -> tuple[Found | None, Placement | None]:
        """Ask the geometry about the master's vector: it is borne out, refuted or put aside."""
        if vector not in self.borne_out:
            self.left -= 1
            beat(SETS, self.most - self.left, self.most)
            placed = self.geometry.place(vector)
            if isinstance(placed, Refuted):
                if placed.sets:
                    self.cuts.append(placed.sets)
                    aim.asked.strike(placed.sets)
                else:
                    self._put_aside(vector, aim)
                return None, placed.nearest
            finished = self.finish(vector, placed)
            if finished is None:
                self._put_aside(vector, aim)
                return None, None
            self.borne_out[vector] = finished
        return (self.cost_of(vector), vector, self.borne_out[vector]), None

    def _settled(self, best: Found | None, bound: int | None, aim: _Aim, stopped: bool = False) -> Optimum:
        """Say what is proved: sets that were put aside without a proof may have been cheaper."""
        beat(SETS, self.most, self.most)
        if best is None:
            return Optimum(None, None, None, bound, not stopped and not aim.unproved)
        low = min([best[0], *aim.unproved] + ([bound] if bound is not None else []))
        return Optimum(best[1], best[2], best[0], low, low == best[0])

    def _by_hand(self, placement: Placement, aim: _Aim, best: Found | None) -> Found | None:
        """At a placement that misses, take the cheapest choice that reaches at each fixing."""
        chosen = []
        for number, unit in enumerate(self.units):
            reaching = [c for c in aim.permitted[number] if self._reaches(unit, unit.choices[c], placement)]
            if not reaching:
                return best
            chosen.append(min(reaching, key=lambda c, n=number: (self.costs[n][c], c)))  # type: ignore[misc]
        return self._tried(tuple(chosen), aim, best) or best

    def _mended(self, vector: Vector, aim: _Aim, best: Found | None) -> Found | None:
        """Give way where it is cheapest until the geometry agrees: a set that will do, and cuts on the way."""
        mended: Vector | None = vector
        while self.left > 0:
            mended = self._past_cuts(mended, aim) if mended is not None else None
            if mended is None or mended in self.struck or not self._is_cheaper(mended, aim, best):
                return best
            known = len(self.cuts)
            better = self._tried(mended, aim, best)
            if better is not None or len(self.cuts) == known:
                return better or best
        return best

    def _past_cuts(self, vector: Vector, aim: _Aim) -> Vector | None:
        """Change choices one by one, the cheapest way first, until no cut strikes the vector."""
        chosen = list(vector)
        for _ in range(4 * len(chosen)):
            cut = next((cut for cut in (*self.cuts, *aim.cuts) if refuted(cut, chosen)), None)
            if cut is None:
                return tuple(chosen)
            ways = [
                (self.costs[unit][choice] - self.costs[unit][chosen[unit]], unit, choice)
                for unit, choices in cut
                for choice in aim.permitted[unit]
                if choice not in choices
            ]
            if not ways:
                return None
            _, unit, choice = min(ways)
            chosen[unit] = choice
        return None

    def _is_cheaper(self, vector: Vector, aim: _Aim, best: Found | None) -> bool:
        limit = best[0] if best is not None else aim.below
        return limit is None or self.cost_of(vector) < limit

    def _tried(self, vector: Vector, aim: _Aim, best: Found | None) -> Found | None:
        """Ask the geometry about a set that would be better than the best one; None: it is not."""
        if not self._is_cheaper(vector, aim, best) or vector in self.struck or self.left <= 0:
            return None
        if any(refuted(cut, vector) for cut in (*self.cuts, *aim.cuts)):
            return None
        if sum(self.keeps[unit][choice] for unit, choice in enumerate(vector)) < self.kept:
            return None
        return self._examine(vector, aim)[0]

    @staticmethod
    def _reaches(unit: Unit, choice: Choice, placement: Placement) -> bool:
        if choice.shape is None or unit.feature is None:
            return True
        return excess_mm(unit, choice, placement) <= REACH_TOLERANCE_MM


def refuted(cut: Sets, vector: Sequence[int]) -> bool:
    """Whether a cut strikes out a vector."""
    return all(vector[unit] in choices for unit, choices in cut)


def pairwise(units: Sequence[Unit]) -> list[Sets]:
    """Refute what two fixings show by distance: no turn or shift changes how far apart two points are."""
    cuts: list[Sets] = []
    for first, one in enumerate(units):
        for second in range(first + 1, len(units)):
            other = units[second]
            if one.feature is None or other.feature is None:
                continue
            on_host = _apart(one.fixing.at_mm, other.fixing.at_mm)
            on_donor = _apart(one.feature.at_mm, other.feature.at_mm)
            short_mm = abs(on_host - on_donor) - APART_MM
            reach_one = [_outer_mm(one, choice) for choice in one.choices]
            reach_other = [_outer_mm(other, choice) for choice in other.choices]
            refutes = [
                frozenset(k for k, other_mm in enumerate(reach_other) if other_mm + one_mm < short_mm)
                for one_mm in reach_one
            ]
            for set_of in sorted(set(refutes), key=sorted):
                if set_of:
                    holders = frozenset(n for n, set_ in enumerate(refutes) if set_ >= set_of)
                    cuts.append(((first, holders), (second, set_of)))
    return cuts


def _apart(a: Sequence[float], b: Sequence[float]) -> float:
    return float(np.linalg.norm(np.array(a) - np.array(b)))


def _outer_mm(unit: Unit, choice: Choice) -> float:
    """Farthest that the two centres of a pair may be from each other."""
    if choice.shape is None or unit.feature is None:
        return float("inf")
    travel_mm = unit.fixing.half_travel_mm + unit.feature.half_travel_mm
    return choice.shape.outer_mm + travel_mm + max(choice.shape.back_mm, choice.shape.forward_mm)


