"""Pair and place a donor in space: fixings with their own axes, certified over every rotation.

The pairing is searched as in the plane (`search`), with distances and the angles between axes as filters and
the placements of `space_minimax` in place of the plane's. A fit is shown by its placement. That something does
not fit is proved over all rotations by the boxes of `space_certificate`; where they do not suffice, it is undecided.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from partkin.fit.space_layout import HoldsAfterAll, SpaceKnown, SpaceWork
from partkin.model.fitting import FitAnswer, FitTask, PairFit

# How often a search may begin again because a proof came upon a placement that no start had led to.
MOST_BEGINNINGS = 6
SAME_WAY = 0.866
NODES_FOR_ONE = 2


def solve_space(task: FitTask, node_limit: int, proof: bool = True) -> FitAnswer:
    """Find the best pairing and placement of a donor in space, or what makes that impossible.

    Parameters
    ----------
    task
        Places with three coordinates. Semantics of must, should and spare as in `solve.solve`.
    node_limit
        How many nodes each search may open; in space half of them, as each takes longer.
    proof
        As with `solve.solve`.

    Returns
    -------
    FitAnswer
        As in the plane, but: the margin is the largest that several starts lead to; `gaps` lists how far the faces
        of each fixing stand apart when the donor is pushed on until the first of those that face the same way meet.
    """
    from partkin.fit.solve import answer_of

    work = work_in_space(task, node_limit)
    assert isinstance(work.known, SpaceKnown)
    hints = work.known.hints
    for _ in range(MOST_BEGINNINGS):
        try:
            answer = answer_of(work, proof)
        except HoldsAfterAll as found:
            hints.append(found.turn)
            work = work_in_space(task, node_limit)
            assert isinstance(work.known, SpaceKnown)
            work.known.hints = hints
            continue
        return replace(answer, gaps=gaps(task, answer.pairs))
    raise AssertionError("a proof and the placements do not agree")


def work_in_space(task: FitTask, node_limit: int) -> SpaceWork:
    """Arrange a task; in space half as many nodes may be opened, as each takes longer."""
    return SpaceWork.of(task, max(1, node_limit // NODES_FOR_ONE))


def gaps(task: FitTask, pairs: Sequence[PairFit]) -> tuple[tuple[str, float], ...]:
    """How far the faces of each paired fixing stand apart, largest first.

    Fixings whose axes point the same way (to within 30 degrees) are pushed on together until the first of
    them meets; a fixing that faces a way of its own is taken as it stands.
    """
    axis = {spot.id: np.array(spot.axis) for spot in task.fixings}
    named = [(pair.fixing, pair.along_mm) for pair in pairs if pair.along_mm is not None]
    found = []
    for fixing, along_mm in named:
        beside = [other for name, other in named if float(axis[name] @ axis[fixing]) >= SAME_WAY]
        gap_mm = along_mm - min(beside) if len(beside) > 1 else abs(along_mm)
        found.append((fixing, float(gap_mm)))
    return tuple(sorted(found, key=lambda one: (-round(one[1], 6), one[0])))
