"""A smallest set of musts that cannot all be paired, and the closed branches that prove it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from partkin.fit.arrays import FITS_MM
from partkin.fit.layout import NEVER_MM, Aim, Pair, farthest_first
from partkin.fit.search import NotProved
from partkin.fit.seeds import two_need_mm
from partkin.fit.work import Demand, WorkedTask
from partkin.model.fitting import Conflict, Nogood, PairFit

Named = tuple[str, str]


def shortage(work: WorkedTask) -> Conflict:
    """Name musts with too few partners between them (Hall's condition); none can be left out."""
    can = np.isfinite(work.layout.allowed_mm)
    options = {demand: (can if demand[0] == 0 else can.T)[demand[1]] for demand in work.demands}
    # Those with the most options go first, so that what is left shares few.
    left = sorted(work.demands, key=lambda demand: (-int(options[demand].sum()), demand))
    for demand in tuple(left):
        without = [other for other in left if other != demand]
        if not work.can_be_covered(without):
            left = without
    return _named(work, left, None, (), ())


def find_conflict(work: WorkedTask, short_mm: float) -> Conflict:
    """Find a smallest conflict of a task that does not fit although every must has a partner.

    Parameters
    ----------
    work
    short_mm
        By how much a placement of all musts is short: a few of them are never short by more.

    Returns
    -------
    Conflict
        None of its spots can be left out. Single ones are tried first, then all twos, then larger sets.

    Raises
    ------
    LimitReached, NotProved
    """
    demands = _smallest(work)
    nogoods = close_all(work, demands)
    found = work.nearest_miss(demands)
    fixings, features = _split(work, demands)
    options = [(option.fixing, option.feature) for option in work.task.options]
    # A bug in the search must not pass as a proof.
    assert leaves_nothing_open(options, fixings, features, [nogood.pairs for nogood in nogoods])
    pairs = work.pair_fits(found[0].pairs, work.placed(found[0].pairs))
    return _named(work, demands, min(found[0].excess_mm, short_mm), pairs, nogoods)


def _smallest(work: WorkedTask) -> list[Demand]:
    few = _one_or_two(work)
    if few is not None:
        return few
    point = work.layout.points
    order = [(0, r) for r in farthest_first(point[0], [i for side, i in work.demands if side == 0])]
    order += [(1, c) for c in farthest_first(point[1], [i for side, i in work.demands if side == 1])]
    first = _progression(work, order)
    if len(first) <= 3:
        return first
    # Beginning with what conflicted last often finds a smaller set.
    again = _progression(work, [*(demand for demand in order if demand not in first)][::-1] + first)
    return min(first, again, key=lambda demands: (len(demands), demands))


def _one_or_two(work: WorkedTask) -> list[Demand] | None:
    """Return the single row, else the two rows, that are short by most all alone; None: there are none."""
    layout = work.layout
    base = np.where(np.isfinite(layout.allowed_mm), -layout.allowed_mm, NEVER_MM)
    for side, table in ((0, base), (1, base.T)):
        musts = np.flatnonzero(work.must[side])
        least = table[musts].min(axis=1) if len(musts) else np.zeros(0)
        if len(musts) and least.max() > FITS_MM:
            return [(side, int(musts[int(np.argmax(least))]))]
    best: tuple[float, list[Demand]] | None = None
    rows = [int(r) for r in np.flatnonzero(work.must[0])]
    for place, a in enumerate(rows):
        for b in rows[place + 1 :]:
            need = float(two_need_mm(layout, (a, b), base).min())
            if need > FITS_MM and (best is None or need > best[0]):
                best = need, [(0, a), (0, b)]
    return best[1] if best else None


def _progression(work: WorkedTask, order: Sequence[Demand]) -> list[Demand]:
    """Keep the last demand of the shortest conflicting beginning, put it first, and begin again."""
    kept: list[Demand] = []
    rest = list(order)
    while not _conflicting(work, kept):
        low, high = 1, len(rest)
        while low < high:
            middle = (low + high) // 2
            if _conflicting(work, [*kept, *rest[:middle]]):
                high = middle
            else:
                low = middle + 1
        kept.append(rest[low - 1])
        rest = rest[: low - 1]
    return sorted(kept)


def _conflicting(work: WorkedTask, demands: Sequence[Demand]) -> bool:
    if not demands:
        return False
    return not work.search(work.needing(demands), FITS_MM, every=False).run()


def no_pair_at_all(work: WorkedTask) -> Conflict:
    """Nothing must be paired, and not one pair that is wanted can be made: of another kind, or too small by itself."""
    can = np.isfinite(work.layout.allowed_mm)
    useful = can & Aim(work.must, work.should).useful()
    if not useful.any():
        wanted = [(side, int(index)) for side in (0, 1) for index in np.flatnonzero(work.should[side])]
        return _named(work, wanted, None, (), ())
    wanted = [(0, int(r)) for r in np.flatnonzero(work.should[0] & can.any(axis=1))]
    wanted += [(1, int(c)) for c in np.flatnonzero(work.should[1] & can.any(axis=0))]
    shortfall_mm = -float(work.layout.allowed_mm[useful].max())
    return _named(work, wanted, shortfall_mm, (), close_all(work, wanted, alone=True))


def _split(work: WorkedTask, demands: Sequence[Demand]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Fixing ids and feature ids of some demands, each in the task's order."""
    fixing_side = 0 if work.layout.fixings_in_rows else 1
    sides = (work.layout.rows.spots, work.layout.columns.spots)
    named = [(side == fixing_side, sides[side][index].id) for side, index in demands]
    fixings = {name for is_fixing, name in named if is_fixing}
    features = {name for is_fixing, name in named if not is_fixing}
    return (
        tuple(spot.id for spot in work.task.fixings if spot.id in fixings),
        tuple(spot.id for spot in work.task.features if spot.id in features),
    )


def _named(
    work: WorkedTask, demands: Sequence[Demand], shortfall_mm: float | None, pairs: Sequence[PairFit],
    nogoods: Sequence[Nogood],
) -> Conflict:  # fmt: skip
    fixings, features = _split(work, demands)
    return Conflict(fixings, features, shortfall_mm, tuple(pairs), tuple(nogoods))


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
            free &= -allowed <= FITS_MM
            for pair in made:
                free &= self.work.layout.pair_need_mm(*pair) <= FITS_MM
        if side == 0:
            return [(index, int(column)) for column in np.flatnonzero(free[index])]
        return [(int(row), index) for row in np.flatnonzero(free[:, index])]

    def _why_not(self, made: tuple[Pair, ...], pair: Pair) -> tuple[Pair, ...] | None:
        """Return the fewest pairs, `pair` among them, that cannot hold together; None: they can."""
        if -self.work.layout.allowed_mm[pair] > FITS_MM:
            return (pair,)
        for other in made:
            if self.work.layout.pair_need_mm(*other)[pair] > FITS_MM:
                return (other, pair)
        if len(made) == 0:
            return None
        settled = self.work.known.judge((*made, pair), FITS_MM)
        return self._fewest(settled) if isinstance(settled, tuple) else None

    def _fewest(self, pairs: Sequence[Pair]) -> tuple[Pair, ...]:
        """Leave out what can be left out."""
        kept = list(pairs)
        for pair in pairs:
            without = [other for other in kept if other != pair]
            if without and not self.work.known.holds(without, FITS_MM):
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
