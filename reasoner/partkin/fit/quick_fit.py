"""Whether a flat task goes on, and where it then lies: much faster than the whole answer with its proofs."""

from __future__ import annotations

import numpy as np

from partkin.fit.arrays import FITS_MM, Pairs
from partkin.fit.layout import Pair
from partkin.fit.minimax import best_placement
from partkin.fit.search import LimitReached
from partkin.fit.solve import NODE_LIMIT, solve
from partkin.fit.work import WorkedTask, placement_of
from partkin.model.fitting import FitAnswer, FitTask, Placement


def goes_on(task: FitTask) -> bool | None:
    """Whether a flat task goes on: of a given pairing all pairs, of an open one all musts; None: limit reached."""
    if task.given:
        pairs = [(o.fixing, o.feature) for o in task.options]
        return _covers(task) and best_placement(Pairs.of(task, pairs), stop_at_sign=True).fits
    work = WorkedTask.of(task, NODE_LIMIT)
    if not work.demands or not work.can_be_covered(work.demands):
        return solve(task).fits
    try:
        return bool(work.search(work.needing(work.demands), FITS_MM, every=False).run())
    except LimitReached:
        return None


def conflicting(task: FitTask) -> tuple[str, ...] | None:
    """Fixings of a flat task with a given pairing that cannot all hold, mostly the few that decide; None: all hold."""
    pairs = [(o.fixing, o.feature) for o in task.options]
    placed = best_placement(Pairs.of(task, pairs), stop_at_sign=True)
    if placed.fits:
        return None
    named = tuple(fixing for (fixing, _), active in zip(pairs, placed.active, strict=True) if active)
    if not 0 < len(named) < len(pairs):
        return tuple(fixing for fixing, _ in pairs)
    few = [pair for pair in pairs if pair[0] in named]
    alone = best_placement(Pairs.of(task, few), stop_at_sign=True)
    return tuple(fixing for fixing, _ in pairs) if alone.fits else named


def answer(task: FitTask) -> FitAnswer:
    """Answer a flat task with a given pairing as `solve` does, without the movement that is left in it.

    Where not all of its pairs hold together the whole answer is looked for, with what conflicts.
    """
    if not task.options or not task.given or task.dims != 2 or not _covers(task):
        return solve(task)
    work, pairs = _all_pairs(task)
    settled = work.known.place(pairs)
    if settled.excess_mm > FITS_MM:
        return solve(task)
    stands = work.pair_fits(pairs, settled.placed)
    used = {pair.fixing for pair in stands}, {pair.feature for pair in stands}
    return FitAnswer(
        True,
        placement_of(settled.placed, task.mirrored),
        stands,
        min(pair.margin_mm for pair in stands),
        unpaired_fixings=tuple(spot.id for spot in task.fixings if spot.id not in used[0]),
        unpaired_features=tuple(spot.id for spot in task.features if spot.id not in used[1]),
    )


def placement(task: FitTask) -> Placement | None:
    """Where a flat task with a given pairing lies at best, whether it goes on or not."""
    if not task.options:
        return None
    work, pairs = _all_pairs(task)
    return placement_of(work.placed(pairs), task.mirrored)


def _all_pairs(task: FitTask) -> tuple[WorkedTask, tuple[Pair, ...]]:
    """All pairs of a given pairing."""
    work = WorkedTask.of(task, NODE_LIMIT)
    rows, columns = np.nonzero(np.isfinite(work.layout.allowed_mm))
    return work, tuple((int(row), int(column)) for row, column in zip(rows, columns, strict=True))


def _covers(task: FitTask) -> bool:
    held = {spot.id for spot in (*task.fixings, *task.features) if spot.must}
    return held <= {name for o in task.options for name in (o.fixing, o.feature)}
