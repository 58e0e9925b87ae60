"""Pair and place a donor in space: fixings with their own axes, certified over every rotation.

The pairing is searched as in the plane (`search`), with distances and the angles between axes as filters and
the placements of `space_minimax` in place of the plane's. A fit is shown by its placement. That something does
not fit is proved over all rotations by the boxes of `space_certificate`; where they do not suffice, it is undecided.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import ClassVar

import numpy as np

from partkin.fit.arrays import Floats, Pairs
from partkin.fit.layout import NEVER_MM, Pair
from partkin.fit.minimax import Placed
from partkin.fit.search import LimitReached, take
from partkin.fit.segments import lengths
from partkin.fit.settle import KnownPairings, SettledExcess
from partkin.fit.space_certificate import BOXES, prove
from partkin.fit.space_minimax import best_in_space
from partkin.fit.work import WorkedTask
from partkin.model.fitting import FitAnswer, FitTask, PairFit, Piece

# How often a search may begin again because a proof came upon a placement that no start had led to.
MOST_BEGINNINGS = 6
SAME_WAY = 0.866
NODES_FOR_ONE = 2
# Boxes of rotations that all proofs of one answer may look at together.
BOXES_IN_ALL = 60_000
# Convex programs that one question about a pairing may solve: counts, never seconds.
PROGRAMS = 2_000
# What a program of a pairing takes, in nodes.
PROGRAM_STEPS = 4


@dataclass(eq=False)
class SpaceKnown(KnownPairings):
    """Placements of known pairings in space, each set of pairs worked out once.

    `hints`: rotations at which a set of pairs once held although no start had led there. `sure`: what has been
    judged from every start. `programs_left`: how many this question may still solve.

    Raises
    ------
    LimitReached
        By what asks for the sign alone, where none is left.
    """

    hints: list[Floats] = field(default_factory=list)
    sure: dict[tuple[frozenset[Pair], float], SettledExcess] = field(default_factory=dict)
    programs_left: int = PROGRAMS

    def settle(self, pairs: Sequence[Pair], limit_mm: float) -> SettledExcess | tuple[Pair, ...]:
        """Find the best placement of `pairs` (at least one), or a few of them that exceed the limit."""
        known = self._conflict(pairs, limit_mm)
        if known is None and isinstance(few := self._within(self._surely(pairs, limit_mm), limit_mm), tuple):
            return few
        return known or self._within(self.place(pairs), limit_mm)

    def _conflict(self, pairs: Sequence[Pair], limit_mm: float) -> tuple[Pair, ...] | None:
        """Two pairs that cannot stand beside each other, or some among these that are known to exceed the limit."""
        rows, columns = zip(*pairs, strict=True)
        need_mm = np.stack([self.layout.pair_need_mm(*pair)[rows, columns] for pair in pairs])
        np.fill_diagonal(need_mm, -NEVER_MM)
        one, other = divmod(int(need_mm.argmax()), len(pairs))
        if need_mm[one, other] > limit_mm:
            return tuple(sorted((pairs[one], pairs[other])))
        return super()._conflict(pairs, limit_mm)

    def _apart(self, pairs: Sequence[Pair], limit_mm: float) -> tuple[Pair, ...] | None:
        return None

    def _surely(self, pairs: Sequence[Pair], limit_mm: float) -> SettledExcess:
        """Look at the sign alone, from every start; few will do elsewhere: what does not hold is then proved."""
        key = self._telling(pairs), limit_mm
        if key[0] in self.solved:
            return self.solved[key[0]]
        if key not in self.sure:
            self.judged[key] = self.sure[key] = self._judge_anew(tuple(sorted(key[0])), limit_mm, few_starts=False)
        return self.sure[key]

    def _at_best(self, known: Pairs) -> Placed:
        return best_in_space(known, hints=self.hints)

    def _by_sign(self, known: Pairs, few_starts: bool) -> Placed:
        if self.programs_left <= 0:
            raise LimitReached
        placed = best_in_space(known, stop_at_sign=True, hints=self.hints, few_starts=few_starts)
        self.programs_left -= placed.programs
        take(PROGRAM_STEPS * placed.programs)
        return placed


class HoldsAfterAll(Exception):
    """Pairs that no start had brought together do hold at a rotation that a proof came upon."""

    def __init__(self, turn: Floats) -> None:
        super().__init__("pairs hold where no start led")
        self.turn = turn


@dataclass(eq=False)
class SpaceWork(WorkedTask):
    """One task in space being worked on; `boxes_left`: how many its proofs may still look at."""

    boxes_left: int = BOXES_IN_ALL
    known_as: ClassVar[type[KnownPairings]] = SpaceKnown

    @property
    def limit(self) -> str:
        """What bounds a question."""
        return f"{self.node_limit} nodes, {PROGRAMS} convex programs or {BOXES} boxes of rotations"

    def next_question(self) -> None:
        """Allow all nodes and programs anew."""
        super().next_question()
        assert isinstance(self.known, SpaceKnown)
        self.known.programs_left = PROGRAMS

    def _laid_plainly(self) -> Iterator[Floats]:
        """(n, m) mm: how far rows and columns stand apart with the sides' main directions laid together."""
        here, there = (side.at_mm - side.at_mm.mean(axis=0) for side in (self.layout.rows, self.layout.columns))
        for turn in _main_directions(here, there):
            yield lengths(here[:, None] - there @ turn.T)

    def prove(self, pairs: Sequence[Pair]) -> tuple[Piece, ...] | None:
        """Prove that these pairs cannot all hold; None: not within the limit.

        Raises
        ------
        HoldsAfterAll
        """
        ordered = sorted(pairs)
        ids = [self.layout.ids(pair)[0] for pair in ordered]
        # Laid down only where a proof asks for it: that takes longer than to see that two are too far apart.
        near = map(self.placed, [ordered])
        found = prove(self.layout.known(ordered), ids, near, min(BOXES, self.boxes_left))
        self.boxes_left -= found.boxes
        if found.better is not None:
            raise HoldsAfterAll(found.better)
        return found.pieces


def _main_directions(rows: Floats, columns: Floats) -> list[Floats]:
    """The four rotations (3, 3) that lay the main directions of points about their middle along the others'."""
    sides = [np.linalg.svd(at, full_matrices=True)[2] for at in (rows, columns)]
    signs = [(x, y, z) for x in (1, -1) for y in (1, -1) for z in (1, -1)]
    turns = [sides[0].T @ np.diag(sign) @ sides[1] for sign in signs]
    return [turn for turn in turns if np.linalg.det(turn) > 0]


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

    hints: list[Floats] = []
    for _ in range(MOST_BEGINNINGS):
        work = work_in_space(task, node_limit)
        assert isinstance(work.known, SpaceKnown)
        work.known.hints = hints
        try:
            answer = answer_of(work, proof)
        except HoldsAfterAll as found:
            hints.append(found.turn)
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
