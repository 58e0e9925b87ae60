"""From a fit task to its answer: which pairs, where, by what margin, and what conflicts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partkin.fit.arrays import FITS_MM, Pairs
from partkin.fit.conflict import find_conflict, no_pair_at_all, shortage
from partkin.fit.layout import Aim, Layout, Pair
from partkin.fit.minimax import best_placement
from partkin.fit.search import MOST_TIES, AllSpent, FoundPairing, LimitReached, NotProved
from partkin.fit.work import WorkedTask, placement_of
from partkin.model.fitting import Conflict, FitAnswer, FitTask, NoPlacement, Placement

NODE_LIMIT = 10_000
MOST_SHOWN = 64


def solve(task: FitTask, node_limit: int = NODE_LIMIT, *, proof: bool = True) -> FitAnswer:
    """Find the best pairing and placement of a donor on its fixings, or what makes that impossible.

    Parameters
    ----------
    task
        At nominal positions. Spots that must be paired, should be, or are spare.
    node_limit
        How many nodes may be opened for each question: does it fit, by what margin, what conflicts. Counts,
        never seconds: the same task gives the same answer.
    proof
        False where only the placement is wanted: no conflict of what does not fit, no movement left of what does.

    Returns
    -------
    FitAnswer
        `fits` True: some placement brings every pair of a pairing that covers all musts within its play.
        Among such pairings the one shown covers the most shoulds (with a placement that brings all of its
        pairs within their play), then has the largest margin, then comes first in feature-id order along
        the fixings in id order. Where nothing must be paired, at least one pair is still asked for.
        False: with the best margin over all pairings that cover the musts, and a smallest conflict.
        None: undecided within the limit; where no proof was found that it does not fit, with that margin.

    Notes
    -----
    The method is branch and bound over pairings: see `search`. A pairing of spare with spare is never made.
    """
    if task.dims == 3:
        from partkin.fit.space import solve_space

        return solve_space(task, node_limit, proof)
    return answer_of(WorkedTask.of(task, node_limit), proof)


def holds(task: FitTask, node_limit: int = NODE_LIMIT) -> bool | None:
    """Whether a task fits, and nothing more: quicker than `solve` where it does not. None: undecided.

    In space False is not proved: no start of the placements led to one.
    """
    if task.dims == 3:
        from partkin.fit.space import work_in_space

        work: WorkedTask = work_in_space(task, node_limit)
    else:
        work = WorkedTask.of(task, node_limit)
    aim = Aim(work.must, (np.zeros_like(work.must[0]), np.zeros_like(work.must[1])))
    if not _any(work.must):
        return None
    if not work.can_be_covered(work.demands):
        return False
    try:
        return bool(work.search(aim, FITS_MM, every=False).run())
    except LimitReached:
        return None


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


def quick_answer(task: FitTask) -> FitAnswer:
    """Answer a flat task with a given pairing as `solve` does, without the movement that is left in it.

    Where not all of its pairs hold together the whole answer is looked for, with what conflicts.
    """
    if not task.options or not task.given or task.dims != 2 or not _covers(task):
        return solve(task)
    work, found = _all_pairs(task)
    return solve(task) if found.excess_mm > FITS_MM else _answer(work, True, [found])


def lies_at(task: FitTask) -> Placement | None:
    """Where a flat task with a given pairing lies at best, whether it goes on or not."""
    if not task.options:
        return None
    work, found = _all_pairs(task)
    return placement_of(work.placed(found.pairs), task.mirrored)


def _all_pairs(task: FitTask) -> tuple[WorkedTask, FoundPairing]:
    """All pairs of a given pairing."""
    work = WorkedTask.of(task, NODE_LIMIT)
    rows, columns = np.nonzero(np.isfinite(work.layout.allowed_mm))
    pairs = tuple((int(row), int(column)) for row, column in zip(rows, columns, strict=True))
    return work, FoundPairing(pairs, len(pairs), work.known.place(pairs).excess_mm)


def _covers(task: FitTask) -> bool:
    held = {spot.id for spot in (*task.fixings, *task.features) if spot.must}
    return held <= {name for o in task.options for name in (o.fixing, o.feature)}


def answer_of(work: WorkedTask, proof: bool = True) -> FitAnswer:
    """Answer a task that has been arranged, in the plane or in space."""
    aim = Aim(work.must, work.should)
    if not _any(work.must) and not (np.isfinite(work.layout.allowed_mm) & aim.useful()).any():
        return replace(_nothing(work.task, "there is no pair that can be made"), conflict=no_pair_at_all(work))
    if not work.can_be_covered(work.demands):
        return _too_few(work)
    search = work.search(aim, FITS_MM, at_least=0 if _any(work.must) else 1)
    try:
        found = search.run()
    except LimitReached:
        return _undecided(work, search.best())
    return _answer(work, True, found, moves=proof) if found else _does_not_fit(work, proof)


def _any(sides: tuple[np.ndarray, np.ndarray]) -> bool:
    return bool(sides[0].any() or sides[1].any())


def _does_not_fit(work: WorkedTask, proof: bool) -> FitAnswer:
    if not _any(work.must):
        return _answer(work, False, [_best_single(work)], conflict=no_pair_at_all(work))
    limit = None
    try:
        work.next_question()
        found = work.nearest_miss(work.demands)
    except LimitReached:
        found = [work.some_pairing(work.demands)]
        limit = f"the margin is only what some placement has: limit of {work.limit}"
    if not proof:
        return _answer(work, False, found, limit=limit)
    try:
        work.next_question()
        conflict = find_conflict(work, found[0].excess_mm)
    except NotProved:
        says = f"that it does not go on was found, and not proved within the limit of {work.limit}"
        return _answer(work, None, found, limit=says)
    except LimitReached:
        conflict, limit = None, f"no smallest conflict was found within the limit of {work.limit}"
    return _answer(work, False, found, limit=limit, conflict=conflict)


def _too_few(work: WorkedTask) -> FitAnswer:
    """Some musts have too few partners: show the pairing that covers most of the others."""
    conflict = shortage(work)
    none = tuple(np.zeros_like(side) for side in work.must)
    try:
        found = work.search(Aim(none, work.must), FITS_MM, at_least=1).run()  # type: ignore[arg-type]
    except (LimitReached, AllSpent):
        answer = _nothing(work.task, "which pairs can be made of those that must be was not searched to the end")
        return replace(answer, conflict=conflict, limit=f"pairs were not searched to the end within {work.limit}")
    if not found:
        answer = _nothing(work.task, "no pair can be made of those that must be")
        return replace(answer, conflict=conflict)
    return replace(_answer(work, False, found, conflict=conflict), margin_mm=None)


def _best_single(work: WorkedTask) -> FoundPairing:
    allowed = np.where(Aim(work.must, work.should).useful(), work.layout.allowed_mm, -np.inf)
    row, column = np.unravel_index(int(np.argmax(allowed)), allowed.shape)
    pair = (int(row), int(column))
    settled = work.known.place([pair])
    return FoundPairing((pair,), 1, settled.excess_mm)


def _undecided(work: WorkedTask, found: list[FoundPairing]) -> FitAnswer:
    if found:
        says = f"pairs and margin are the best found within the limit of {work.limit}"
        return _answer(work, True, found, limit=says, moves=True)
    return undecided(work.task, work.limit)


def undecided(task: FitTask, limit: str) -> FitAnswer:
    """Return the answer of a task that could not be told within a limit, which is named."""
    return replace(_nothing(task, "undecided"), fits=None, limit=f"undecided within the limit of {limit}")


def _nothing(task: FitTask, reason: str) -> FitAnswer:
    return FitAnswer(
        False, NoPlacement(reason), (), None,
        unpaired_fixings=tuple(spot.id for spot in task.fixings),
        unpaired_features=tuple(spot.id for spot in task.features),
    )  # fmt: skip


def _answer(
    work: WorkedTask,
    fits: bool | None,
    found: list[FoundPairing],
    *,
    limit: str | None = None,
    conflict: Conflict | None = None,
    moves: bool = False,
) -> FitAnswer:
    ranked = sorted(found, key=lambda one: _id_order(work.layout, one.pairs))
    placed = work.placed(ranked[0].pairs)
    pairs = work.pair_fits(ranked[0].pairs, placed)
    if len(found) > MOST_TIES:
        limit = f"more than {MOST_TIES} pairings are equally good; the rest were not counted"
    used = {pair.fixing for pair in pairs}, {pair.feature for pair in pairs}
    return FitAnswer(
        fits, placement_of(placed, work.task.mirrored), pairs, min(pair.margin_mm for pair in pairs),
        also=len(ranked) - 1,
        also_pairs=tuple(_as_ids(work, one.pairs) for one in ranked[1 : MOST_SHOWN + 1]),
        unpaired_fixings=tuple(spot.id for spot in work.task.fixings if spot.id not in used[0]),
        unpaired_features=tuple(spot.id for spot in work.task.features if spot.id not in used[1]),
        conflict=conflict, limit=limit, slides=work.known.movement(ranked[0].pairs) if moves else (),
    )  # fmt: skip


def _id_order(layout: Layout, pairs: tuple[Pair, ...]) -> tuple[tuple[str, str], ...]:
    return tuple(sorted(layout.ids(pair) for pair in pairs))


def _as_ids(work: WorkedTask, pairs: tuple[Pair, ...]) -> tuple[tuple[str, str], ...]:
    order = {spot.id: place for place, spot in enumerate(work.task.fixings)}
    return tuple(sorted((work.layout.ids(pair) for pair in pairs), key=lambda pair: order[pair[0]]))
