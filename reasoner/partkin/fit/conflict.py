"""A smallest set of musts that cannot all be paired, and the closed branches that prove it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from partkin.fit.closing import close_all, leaves_nothing_open
from partkin.fit.layout import NEVER_MM, Aim, farthest_first
from partkin.fit.seeds import two_need_mm
from partkin.fit.work import FIT_MM, Demand, WorkedTask
from partkin.model.fitting import Conflict, Nogood, PairFit


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
    return _named(work, demands, min(found[0].excess_mm, short_mm), work.pair_fits(found[0]), nogoods)


def _smallest(work: WorkedTask) -> list[Demand]:
    few = _one_or_two(work)
    if few is not None:
        return few
    point = (work.layout.rows.point, work.layout.columns.point)
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
        if len(musts) and least.max() > FIT_MM:
            return [(side, int(musts[int(np.argmax(least))]))]
    best: tuple[float, list[Demand]] | None = None
    rows = [int(r) for r in np.flatnonzero(work.must[0])]
    for place, a in enumerate(rows):
        for b in rows[place + 1 :]:
            need = float(two_need_mm(layout, (a, b), base).min())
            if need > FIT_MM and (best is None or need > best[0]):
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
    return not work.search(work.needing(demands), FIT_MM, every=False).run()


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
