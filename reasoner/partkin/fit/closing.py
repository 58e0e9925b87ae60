"""Close every branch of a conflict: pairs that cannot hold together, with proof, until no pairing is open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from partkin.fit.layout import Pair
from partkin.fit.search import NotProved
from partkin.fit.work import FIT_MM, Demand, WorkedTask
from partkin.model.fitting import Nogood

Named = tuple[str, str]


@dataclass(eq=False)
class Closing:
    """The branches closed so far.

    `beside` maps a pair to what bars it: sets of other pairs that it cannot stand beside.
    """

    work: WorkedTask
    nogoods: dict[frozenset[Pair], None] = field(default_factory=dict)
    beside: dict[Pair, list[frozenset[Pair]]] = field(default_factory=dict)

    def bar(self, pairs: Sequence[Pair]) -> None:
        """Record that these pairs cannot hold together."""
        whole = frozenset(pairs)
        self.nogoods[whole] = None
        for pair in whole:
            self.beside.setdefault(pair, []).append(whole - {pair})

    def barred(self, made: frozenset[Pair], pair: Pair) -> bool:
        """Whether something recorded keeps `pair` from standing beside all of `made`."""
        return any(others <= made for others in self.beside.get(pair, ()))

    def close(self, made: tuple[Pair, ...], demands: Sequence[Demand]) -> None:
        """Close every way to go on from `made` until all demands are covered.

        Raises
        ------
        LimitReached
        """
        self.work.budget.spend()
        left = [demand for demand in demands if all(pair[demand[0]] != demand[1] for pair in made)]
        if not left:
            raise AssertionError("a conflict that is none")
        demand = min(left, key=lambda one: (len(self._ways(made, one, clear=True)), one))
        for pair in self._ways(made, demand, clear=False):
            if self.barred(frozenset(made), pair):
                continue
            why = self._why_not(made, pair)
            if why is None:
                self.close((*made, pair), demands)
            else:
                self.bar(why)

    def _ways(self, made: tuple[Pair, ...], demand: Demand, *, clear: bool) -> list[Pair]:
        """Pairs that would cover a demand; `clear`: those alone that no two-pair test rules out."""
        side, index = demand
        allowed = self.work.layout.allowed_mm
        free = np.isfinite(allowed)
        for row, column in made:
            free[row, :] = False
            free[:, column] = False
        if clear:
            free &= -allowed <= FIT_MM
            for pair in made:
                free &= self.work.layout.pair_need_mm(*pair) <= FIT_MM
        if side == 0:
            return [(index, int(column)) for column in np.flatnonzero(free[index])]
        return [(int(row), index) for row in np.flatnonzero(free[:, index])]

    def _why_not(self, made: tuple[Pair, ...], pair: Pair) -> tuple[Pair, ...] | None:
        """Return the fewest pairs, `pair` among them, that cannot hold together; None: they can."""
        if -self.work.layout.allowed_mm[pair] > FIT_MM:
            return (pair,)
        for other in made:
            if self.work.layout.pair_need_mm(*other)[pair] > FIT_MM:
                return (other, pair)
        if len(made) == 0:
            return None
        settled = self.work.known.judge((*made, pair), FIT_MM)
        return self._fewest(settled) if isinstance(settled, tuple) else None

    def _fewest(self, pairs: Sequence[Pair]) -> tuple[Pair, ...]:
        """Leave out what can be left out."""
        kept = list(pairs)
        for pair in pairs:
            without = [other for other in kept if other != pair]
            if without and not self.work.known.holds(without, FIT_MM):
                kept = without
        return tuple(kept)


def close_all(work: WorkedTask, demands: Sequence[Demand], *, alone: bool = False) -> tuple[Nogood, ...]:
    """Prove that these demands cannot all be paired.

    Parameters
    ----------
    work
    demands
    alone
        True: prove that none of them can be paired even by itself.

    Raises
    ------
    LimitReached, NotProved
    """
    closing = Closing(work)
    for some in [[demand] for demand in demands] if alone else [demands]:
        closing.close((), some)
    return tuple(_proved(work, pairs) for pairs in closing.nogoods)


def _proved(work: WorkedTask, pairs: frozenset[Pair]) -> Nogood:
    ordered = sorted(pairs, key=work.layout.ids)
    named = tuple(work.layout.ids(pair) for pair in ordered)
    pieces = work.prove(ordered)
    if pieces is None:
        raise NotProved
    return Nogood(named, pieces, mirrored=work.task.mirrored)


def leaves_nothing_open(
    options: Sequence[Named], fixings: Sequence[str], features: Sequence[str],
    nogoods: Sequence[Sequence[Named]],
) -> bool:  # fmt: skip
    """Check, by ids alone, that every way to pair the named spots holds all pairs of some nogood.

    Shares nothing with the search that closed the branches.
    """
    barred = [frozenset((fixing, feature) for fixing, feature in pairs) for pairs in nogoods]
    # Most nogoods are of one or two pairs: those are looked up, the larger ones gone through.
    beside: dict[Named, set[Named]] = {}
    larger: dict[Named, list[frozenset[Named]]] = {}
    for pairs in barred:
        for pair in pairs:
            if len(pairs) > 2:
                larger.setdefault(pair, []).append(pairs)
            else:
                beside.setdefault(pair, set()).update(pairs - {pair} or pairs)
    spots = [(0, name) for name in fixings] + [(1, name) for name in features]
    ways = {(side, name): [pair for pair in options if pair[side] == name] for side, name in spots}

    def open_from(made: frozenset[Named]) -> bool:
        taken = {pair[0] for pair in made}, {pair[1] for pair in made}
        spot = next((spot for spot in spots if spot[1] not in taken[spot[0]]), None)
        if spot is None:
            return True
        for pair in ways[spot]:
            if pair[0] in taken[0] or pair[1] in taken[1]:
                continue
            grown = made | {pair}
            barring = not beside.get(pair, set()).isdisjoint(grown) or any(p <= grown for p in larger.get(pair, ()))
            if not barring and open_from(grown):
                return True
        return False

    return not open_from(frozenset())
