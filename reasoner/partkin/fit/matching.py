"""Cover what must be paired, and as much as possible of what should be, by one matching."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


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
