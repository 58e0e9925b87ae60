"""Exact search for the pairing: seeds of two pairs, tube test, best bound first, branching on conflicts.

A node is judged by one matching that covers what must be paired, and as much as possible of what should be.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field

import numpy as np

from partkin.fit.layout import NEVER_MM, Aim, Layout, Pair
from partkin.fit.seeds import Bar, Block, Seed, blocks_of, open_seed, seeds_of
from partkin.fit.settle import KnownPairings, SettledExcess

# Two pairings whose margins differ by no more than this are equally good.
TIE_MM = 1.0e-6
# How many equally good pairings are counted before the count is given up.
MOST_TIES = 1024

# A block with so many seeds may be thinned out by a good pairing found early.
WORTH_A_GLANCE = 4


def cover(
    open_pairs: np.ndarray, closeness: np.ndarray, need: tuple[np.ndarray, np.ndarray],
    count: tuple[np.ndarray, np.ndarray],
) -> tuple[dict[int, int] | None, int]:  # fmt: skip
    """Find a matching that covers every needed row and column and the most counted ones.

    The sets of rows that some matching covers form a matroid, those of columns too, and one matching
    covers a best set of each at once (Mendelsohn and Dulmage, 1958); so both sides are grown greedily.

    Parameters
    ----------
    open_pairs
        bool (n, m).
    closeness
        float64 (n, m): the smaller, the sooner a pair is tried.
    need, count
        bool (n,) and bool (m,) each: needed, and counted, rows and columns.

    Returns
    -------
    row -> column, or None where the needed ones cannot all be covered; and how many counted ones it covers.
    Pairs that cover nothing needed or counted are left out.
    """
    simple = _already_a_matching(open_pairs)
    if simple is None:
        column_of: dict[int, int] = {}
        row_of: dict[int, int] = {}
        sides = ((open_pairs, closeness, column_of, row_of), (open_pairs.T, closeness.T, row_of, column_of))
        for side, (opened, near, partner, owner) in enumerate(sides):
            if not (need[side].any() or count[side].any()):
                continue
            if not _grow(_neighbours(opened, near), partner, owner, need[side], count[side]):
                return None, 0
    else:
        column_of = dict(simple)
        if not _covered(need, column_of):
            return None, 0
    wanted_row, wanted_column = need[0] | count[0], need[1] | count[1]
    kept = {r: c for r, c in sorted(column_of.items()) if wanted_row[r] or wanted_column[c]}
    value = sum(int(count[0][r]) + int(count[1][c]) for r, c in kept.items())
    return kept, value


def _covered(need: tuple[np.ndarray, np.ndarray], column_of: dict[int, int]) -> bool:
    rows, columns = set(column_of), set(column_of.values())
    return set(np.flatnonzero(need[0])) <= rows and set(np.flatnonzero(need[1])) <= columns


def _already_a_matching(open_pairs: np.ndarray) -> dict[int, int] | None:
    if open_pairs.size == 0:
        return {}
    if open_pairs.sum(axis=1).max() > 1 or open_pairs.sum(axis=0).max() > 1:
        return None
    return {int(r): int(c) for r, c in zip(*np.nonzero(open_pairs), strict=True)}


def _neighbours(open_pairs: np.ndarray, closeness: np.ndarray) -> list[list[int]]:
    order = np.argsort(np.where(open_pairs, closeness, np.inf), axis=1, kind="stable").tolist()
    return [near[:count] for near, count in zip(order, open_pairs.sum(axis=1).tolist(), strict=True)]


def _grow(
    neighbours: list[list[int]], partner: dict[int, int], owner: dict[int, int], need: np.ndarray,
    count: np.ndarray,
) -> bool:  # fmt: skip
    """Add this side's needed, then counted, members one by one; never uncover one added before.

    `partner` maps this side to the other, `owner` back; False when a needed member cannot be added.
    """
    chosen: set[int] = set()
    for wanted, must in ((need, True), (count & ~need, False)):
        for member in np.flatnonzero(wanted).tolist():
            if _add(member, neighbours, partner, owner, chosen):
                chosen.add(member)
            elif must:
                return False
    return True


def _add(
    member: int, neighbours: Sequence[list[int]], partner: dict[int, int], owner: dict[int, int],
    chosen: set[int],
) -> bool:  # fmt: skip
    if member in partner:
        return True
    came_from: dict[int, int] = {}
    queue = [member]
    for current in queue:
        for other in neighbours[current]:
            if other in came_from:
                continue
            came_from[other] = current
            holder = owner.get(other)
            if holder is None or holder not in chosen:
                if holder is not None:
                    del partner[holder]
                _flip(other, came_from, partner, owner, member)
                return True
            queue.append(holder)
    return False


def _flip(other: int, came_from: dict[int, int], partner: dict[int, int], owner: dict[int, int], start: int) -> None:
    while True:
        current = came_from[other]
        before = partner.get(current)
        partner[current], owner[other] = other, current
        if current == start:
            return
        assert before is not None
        other = before


class LimitReached(Exception):
    """The search needed more nodes than it may have."""


class NotProved(LimitReached):
    """No proof was found, within what a proof may take, that pairs cannot hold together."""


class AllSpent(Exception):
    """What is searched together has taken all steps that it may take."""


_together: ContextVar[list[int] | None] = ContextVar("together", default=None)


@contextmanager
def together(steps: int) -> Iterator[None]:
    """Let all that is searched meanwhile take so many steps: counts, never seconds, so that answers stay the same."""
    token = _together.set([steps])
    try:
        yield
    finally:
        _together.reset(token)


def take(steps: int) -> None:
    """Count steps of what is searched together; of nothing where nothing is.

    Raises
    ------
    AllSpent
        There was none left before.
    """
    left = _together.get()
    if left is None:
        return
    if left[0] <= 0:
        raise AllSpent
    left[0] -= steps


@dataclass(eq=False)
class StepBudget:
    """Nodes that may still be opened; shared by every search of one answer. `steps`: what each counts together."""

    nodes: int
    steps: int = 1
    spent: int = 0

    def spend(self) -> None:
        """Count one node.

        Raises
        ------
        LimitReached, AllSpent
        """
        if self.spent >= self.nodes:
            raise LimitReached
        take(self.steps)
        self.spent += 1


@dataclass(frozen=True)
class FoundPairing:
    """One pairing with what its best placement leaves: pairs as (row, column) in row order."""

    pairs: tuple[Pair, ...]
    value: int
    excess_mm: float


@dataclass(eq=False)
class Node:
    """A set of pairings still to be looked into.

    `need_mm` (n, m): how far the allowances must be inflated before a pair is possible here, at least;
    infinite where it is out of the question.
    """

    bound: int
    need_mm: np.ndarray
    kept: tuple[Pair, ...] = ()


@dataclass(eq=False)
class PairingSearch:
    """One run over all pairings that are possible with allowances inflated by `limit_mm`.

    Attributes
    ----------
    limit_mm
        Largest excess that a pairing may have; falls as better ones are found.
    at_least
        Least number of counted spots; rises as better ones are found.
    every
        True: collect all pairings that tie for the best. False: the first found that holds will do.
    """

    layout: Layout
    known: KnownPairings
    aim: Aim
    budget: StepBudget
    limit_mm: float
    at_least: int = 0
    every: bool = True
    found: dict[tuple[Pair, ...], FoundPairing] = field(default_factory=dict)
    overflow: bool = False
    _heap: list[tuple[int, float, int, Node | Seed | Block]] = field(default_factory=list)
    _serial: int = 0

    def run(self) -> list[FoundPairing]:
        """Search, and return the best pairings: most counted spots first, then least excess.

        Returns
        -------
        Every pairing whose excess is within `TIE_MM` of the best (or one, see `every`); empty: there is
        none, which is proved.

        Raises
        ------
        LimitReached
            `found` then holds what had been found.
        """
        for block in blocks_of(self.layout, self.aim):
            self._push(block.bound, -np.inf, block)
        while self._heap and not self.overflow:
            negative, _, _, item = heapq.heappop(self._heap)
            if -negative < self.at_least:
                break
            self.budget.spend()
            if isinstance(item, Block):
                self._open_block(item)
                continue
            if isinstance(item, Seed):
                item = Node(item.bound, open_seed(self.layout, self.aim, item))
            if self._open_node(item):
                break
        return self.best()

    def best(self) -> list[FoundPairing]:
        """Return what has been found so far and ties for the best."""
        good = [f for f in self.found.values() if f.value >= self.at_least]
        if not good:
            return []
        least = min(f.excess_mm for f in good)
        return [f for f in good if f.excess_mm <= least + TIE_MM]

    def _push(self, bound: int, nearness: float, item: Node | Seed | Block) -> None:
        self._serial += 1
        heapq.heappush(self._heap, (-bound, nearness, self._serial, item))

    def _open_block(self, block: Block) -> None:
        seeds = seeds_of(self.layout, self.aim, block, Bar(self.limit_mm, self.at_least))
        for seed in seeds:
            self._push(seed.bound, seed.nearness_mm, seed)
        if len(seeds) >= WORTH_A_GLANCE:
            self._glance(max(seeds, key=lambda seed: seed.bound))

    def _glance(self, seed: Seed) -> None:
        """Raise the bar at once where a seed holds that covers more than was asked for."""
        if seed.bound <= self.at_least:
            return
        need_mm = open_seed(self.layout, self.aim, seed)
        matched, value = cover(need_mm <= self.limit_mm, need_mm, self.aim.need, self.aim.count)
        if not matched or value <= self.at_least:
            return
        if isinstance(self.known.judge(tuple(matched.items()), self.limit_mm), SettledExcess):
            self.at_least = value

    def _open_node(self, node: Node) -> bool:
        """Look into one node; True when the search may stop."""
        open_pairs = node.need_mm <= self.limit_mm
        matched, value = cover(open_pairs, node.need_mm, self.aim.need, self.aim.count)
        if matched is None or value < self.at_least or not matched:
            return False
        if value < node.bound and self._heap and -self._heap[0][0] > value:
            self._push(value, 0.0, Node(value, node.need_mm, node.kept))
            return False
        pairs = tuple(matched.items())
        settled = (self.known.settle if self.every else self.known.judge)(pairs, self.limit_mm)
        if isinstance(settled, tuple):
            self._branch(node, open_pairs, settled, value)
            return False
        self._record(FoundPairing(pairs, value, settled.excess_mm))
        if not self.every:
            return True
        self._branch(node, node.need_mm <= self.limit_mm, pairs, value)
        return False

    def _record(self, found: FoundPairing) -> None:
        self.at_least = max(self.at_least, found.value)
        self.limit_mm = min(self.limit_mm, found.excess_mm + TIE_MM)
        self.found[found.pairs] = found
        if len(self.found) > MOST_TIES:
            self.found = {f.pairs: f for f in self.best()}
            self.overflow = len(self.found) > MOST_TIES

    def _branch(self, node: Node, open_pairs: np.ndarray, pairs: Sequence[Pair], value: int) -> None:
        """Split a node by the first of `pairs` that is left out; the ones before it are kept."""
        undecided = np.array([pair for pair in pairs if pair not in node.kept], dtype=int).reshape(-1, 2)
        rows, columns = undecided.T
        in_row, in_column = open_pairs[rows].sum(axis=1), open_pairs[:, columns].sum(axis=0)
        hopeful = self._hopeful(rows, columns, (in_row <= 1, in_column <= 1), value)
        need_mm, kept, left = node.need_mm, node.kept, int(hopeful.sum())
        for k in np.lexsort((columns, rows, in_row + in_column)):
            if not left:
                return
            row, column = int(rows[k]), int(columns[k])
            if hopeful[k]:
                left -= 1
                without = need_mm.copy()
                without[row, column] = NEVER_MM
                self._push(value, 0.0, Node(value, without, kept))
            stays = need_mm[row, column]
            need_mm = np.maximum(need_mm, self.layout.pair_need_mm(row, column))
            need_mm[row, :] = NEVER_MM
            need_mm[:, column] = NEVER_MM
            need_mm[row, column] = stays
            kept = (*kept, (row, column))

    def _hopeful(
        self, rows: np.ndarray, columns: np.ndarray, alone: tuple[np.ndarray, np.ndarray], value: int
    ) -> np.ndarray:
        """Bool (k,): without this pair something good may be left. `alone`: it is the only one of its row, column."""
        need, count = self.aim.need, self.aim.count
        starved = (alone[0] & need[0][rows]) | (alone[1] & need[1][columns])
        lost = np.where(alone[0] & alone[1], count[0][rows].astype(int) + count[1][columns], 0)
        return np.asarray(~starved & (value - lost >= self.at_least))
