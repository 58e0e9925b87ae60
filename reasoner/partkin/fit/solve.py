"""From a fit task to its answer: which pairs, where, by what margin, and what conflicts.

Donors that give are judged rigid first, then pulled by hand as far as the sheet says. Out of its plane (along the
fixings' axes) a pull lets each fixing engage from that much further off, which in a flat pattern changes nothing; in
its plane, where the sheet says that it gives there too, it widens what is allowed at each fixing. Each fixing is pulled
by itself: that a stiff part pulled at one fixing moves at the next is not counted. How far a hole leans stays.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from partkin.fit.arrays import FITS_MM, WILD_MM, Pairs
from partkin.fit.conflict import find_conflict, no_pair_at_all, shortage
from partkin.fit.layout import Aim, Layout, Pair
from partkin.fit.minimax import best_placement, best_wherever
from partkin.fit.search import MOST_TIES, AllSpent, FoundPairing, LimitReached, NotProved
from partkin.fit.work import WorkedTask, placement_of
from partkin.model.fitting import Conflict, FitAnswer, FitTask, NoPlacement, Option, Placement, Spot

NODE_LIMIT = 10_000
MOST_SHOWN = 64

STEP_MM = 0.01
"""The pull that is needed is found to this."""


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


def gives(task: FitTask) -> bool:
    """Whether a pull by hand changes anything."""
    return task.flex_mm > 0 and (task.dims == 3 or task.flex_in_plane)


def pulled(task: FitTask, by_mm: float) -> FitTask:
    """The task of the donor pulled by this much at every fixing, rigid otherwise.

    Examples
    --------
    >>> flat = FitTask((Spot("F", (0.0, 0.0)),), (Spot("a", (0.0, 0.0)),), (Option("F", "a", 0.5),),
    ...                flex_mm=2.0, flex_in_plane=True)
    >>> pulled(flat, 1.5).options[0].allowed_mm
    2.0
    """
    options = task.options
    if task.flex_in_plane:
        options = tuple(_wider(option, by_mm) for option in options)
    fixings, features = task.fixings, task.features
    if task.dims == 3:
        held = {spot.id for spot in features if spot.grip_mm is not None}
        fastened = {option.fixing for option in options if option.feature in held}
        fixings = tuple(_further(spot, by_mm, spot.id in fastened) for spot in fixings)
        features = tuple(_further(spot, by_mm, True) for spot in features)
    return replace(
        task, fixings=fixings, features=features, options=options, flex_mm=0.0, pulled_mm=task.pulled_mm + by_mm
    )


def with_flex(task: FitTask) -> FitAnswer:
    """Solve a task rigid, and where it does not fit so, pulled by hand no more than is needed.

    Parameters
    ----------
    task

    Returns
    -------
    FitAnswer
        `flex_used_mm` 0: as rigid. Where it fits pulled: the least pull that is enough for the pairing that fits
        best, to `STEP_MM`, and the placement under that pull. Where it fits not even pulled as far as it gives:
        the conflict that is left then.
    """
    rigid = solve(task)
    if rigid.fits is not False or not gives(task):
        return rigid
    full = solve(pulled(task, task.flex_mm))
    if full.fits is not True:
        return replace(full, flex_used_mm=task.flex_mm)
    by_mm = _least_pull_mm(task, _needed(task, full))
    answer = solve(pulled(task, by_mm))
    if answer.fits is not True:
        answer, by_mm = full, task.flex_mm
    return replace(answer, flex_used_mm=by_mm)


def _needed(task: FitTask, answer: FitAnswer) -> list[tuple[str, str]]:
    """The pairs that have to hold: those that cover a must, or all where nothing must be paired."""
    must = {s.id for s in task.fixings if s.must}, {s.id for s in task.features if s.must}
    shown = [(pair.fixing, pair.feature) for pair in answer.pairs]
    return [pair for pair in shown if pair[0] in must[0] or pair[1] in must[1]] or shown


def _least_pull_mm(task: FitTask, pairs: list[tuple[str, str]]) -> float:
    low, high = 0, math.ceil(task.flex_mm / STEP_MM)
    while high - low > 1:
        middle = (low + high) // 2
        if _holds(pulled(task, middle * STEP_MM), pairs):
            high = middle
        else:
            low = middle
    return min(round(high * STEP_MM, 6), task.flex_mm)


def _holds(task: FitTask, pairs: list[tuple[str, str]]) -> bool:
    """Whether these pairs hold together."""
    return best_wherever(Pairs.of(task, pairs), stop_at_sign=True).fits


def _wider(option: Option, by_mm: float) -> Option:
    """A fastener that is too large for its hole stays so, and what is not known stays unknown."""
    if not 0 <= option.allowed_mm < WILD_MM:
        return option
    return replace(option, allowed_mm=option.allowed_mm + by_mm)


def _further(spot: Spot, by_mm: float, fastened: bool) -> Spot:
    """Where no fastener is known the faces have to meet, and the pull is all that brings them together."""
    if spot.grip_mm is None and fastened:
        return spot
    return replace(spot, grip_mm=(spot.grip_mm or 0.0) + by_mm)
