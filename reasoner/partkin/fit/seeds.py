"""Where a search begins: two rows that are paired, and what their pairs leave open for all others.

After pairing rows a and b, any third row c, with kappa = (c - a)/(b - a) as complex numbers, must come
within |1-kappa| reach_a + |kappa| reach_b of (1-kappa) A + kappa B, where A and B are the columns that a
and b are paired with. A rigid move keeps kappa, so nothing that holds is lost: a tube around two pairs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from partkin.fit.layout import NEVER_MM, WILD_MM, Aim, Layout, farthest_first

# Largest number of entries of one table of tube tests.
TABLE = 2_000_000


@dataclass(frozen=True)
class Block:
    """All pairings whose first paired rows (in search order) are one of `firsts` and `second`.

    `second` None: pairings of one pair alone. `after`: rows that may be paired beside those two.
    """

    bound: int
    firsts: tuple[int, ...]
    second: int | None
    after: tuple[int, ...]


@dataclass(frozen=True)
class Bar:
    """What a pairing must reach to be of interest: an excess at most, counted spots at least."""

    limit_mm: float
    at_least: int


@dataclass(frozen=True, eq=False)
class Seed:
    """Two rows with their columns (or one), and what that asks of all other pairs.

    `need_mm` (n, m): inflation of the allowances that each pair needs at least; `bound`: counted spots at
    most; `nearness_mm`: inflation that the seed needs at least.
    """

    need_mm: np.ndarray
    bound: int
    nearness_mm: float


def blocks_of(layout: Layout, aim: Aim) -> list[Block]:
    """Split all pairings by their first two paired rows.

    Rows that need a pair come first, so with two or more of them there is one block only.
    """
    need, count = aim.need, aim.count
    order = _row_order(layout, aim)
    needed, columns = int(need[0].sum()), int(count[1].sum())

    def bound(rows: tuple[int, ...]) -> int:
        return int(count[0][list(rows)].sum()) + min(columns, len(rows))

    blocks = []
    for place in range(1, 2 if needed >= 2 else len(order)):
        after = tuple(order[place + 1 :])
        firsts = tuple(order[:1]) if needed else tuple(order[:place])
        blocks.append(Block(bound((firsts[0], order[place], *after)), firsts, order[place], after))
    if needed < 2 and int(need[1].sum()) < 2 and order:
        firsts = tuple(order[:1]) if needed else tuple(order)
        blocks.append(Block(min(2, bound(firsts)), firsts, None, ()))
    return blocks


def _row_order(layout: Layout, aim: Aim) -> list[int]:
    """Needed rows, then counted, then the rest; those with a known play first, each far from those before."""
    useful = np.isfinite(layout.allowed_mm) & aim.useful()
    usable = useful.any(axis=1)
    tame = np.where(useful, layout.reach_mm, -np.inf).max(axis=1, initial=-np.inf) < WILD_MM
    need, count = aim.need[0], aim.count[0]
    order: list[int] = []
    for group in (need & usable, need & ~usable, count & ~need & usable, ~count & ~need & usable):
        for half in (group & tame, group & ~tame):
            order += farthest_first(layout.rows.point, [int(r) for r in np.flatnonzero(half)])
    return order


def seeds_of(layout: Layout, aim: Aim, block: Block, bar: Bar) -> Iterator[Seed]:
    """Go through the pairs, or pairs of pairs, that start a block and may reach the bar."""
    base = np.where(aim.useful(), -layout.allowed_mm, NEVER_MM)
    if block.second is None:
        for first in block.firsts:
            yield from _single_seeds(first, base, aim, bar)
        return
    rows = np.array(block.after, dtype=int)
    step = max(1, TABLE // max(1, len(rows) * base.shape[1]))
    for first in block.firsts:
        pair = (first, block.second)
        both = two_need_mm(layout, pair, base)
        starts = np.argwhere(both <= bar.limit_mm)
        for begin in range(0, len(starts), step):
            some = starts[begin : begin + step]
            tubes = _tube_need_mm(layout, pair, some, rows, base)
            yield from _worth_opening(layout, aim, bar, (pair, some, rows), both, tubes)


def _single_seeds(first: int, base: np.ndarray, aim: Aim, bar: Bar) -> Iterator[Seed]:
    for column in np.flatnonzero(base[first] <= bar.limit_mm):
        value = int(aim.count[0][first]) + int(aim.count[1][column])
        if value < bar.at_least or aim.need[1].sum() > aim.need[1][column]:
            continue
        need_mm = np.full(base.shape, NEVER_MM)
        need_mm[first, column] = base[first, column]
        yield Seed(need_mm, value, float(base[first, column]))


def two_need_mm(layout: Layout, pair: tuple[int, int], base: np.ndarray) -> np.ndarray:
    """(m, m) mm: inflation that the two rows need at least, for each two columns."""
    a, b = pair
    apart = np.abs(layout.row_gap_mm[a, b] - layout.column_gap_mm)
    need = (apart - layout.reach_mm[a][:, None] - layout.reach_mm[b][None, :]) / 2
    need = np.maximum(need, np.maximum(base[a][:, None], base[b][None, :]))
    np.fill_diagonal(need, NEVER_MM)
    return need


def _tube_need_mm(
    layout: Layout, pair: tuple[int, int], starts: np.ndarray, rows: np.ndarray, base: np.ndarray
) -> np.ndarray:
    """(seeds, rows, m) mm: inflation that each further pair needs at least beside each seed."""
    (a, b), (to_a, to_b) = pair, starts.T
    point, target = layout.rows.point, layout.columns.point
    reach_a, reach_b = layout.reach_mm[a, to_a][:, None, None], layout.reach_mm[b, to_b][:, None, None]
    reach = layout.reach_mm[rows][None]
    off_a = np.abs(layout.row_gap_mm[rows, a][None, :, None] - layout.column_gap_mm[to_a][:, None, :])
    off_b = np.abs(layout.row_gap_mm[rows, b][None, :, None] - layout.column_gap_mm[to_b][:, None, :])
    need = np.maximum((off_a - reach_a - reach) / 2, (off_b - reach_b - reach) / 2)
    span = point[b] - point[a]
    if abs(span) > 1e-9:
        kappa = (point[rows] - point[a]) / span
        share_a, share_b = np.abs(1 - kappa)[None, :, None], np.abs(kappa)[None, :, None]
        middle = np.outer(target[to_a], 1 - kappa) + np.outer(target[to_b], kappa)
        off = np.abs(middle[:, :, None] - target[None, None, :])
        tube = (off - share_a * reach_a - share_b * reach_b - reach) / (share_a + share_b + 1)
        need = np.maximum(need, tube)
    need = np.maximum(need, base[rows][None])
    seeds = np.arange(len(starts))
    need[seeds, :, to_a] = NEVER_MM
    need[seeds, :, to_b] = NEVER_MM
    return need


def _worth_opening(
    layout: Layout, aim: Aim, bar: Bar, start: tuple[tuple[int, int], np.ndarray, np.ndarray],
    both: np.ndarray, tubes: np.ndarray,
) -> Iterator[Seed]:  # fmt: skip
    """Keep the seeds that leave a partner to all that need one, and enough to what is counted."""
    (a, b), starts, rows = start
    (to_a, to_b), need, count = starts.T, aim.need, aim.count
    least = tubes.min(axis=2, initial=np.inf)
    hopeful = least <= bar.limit_mm
    needed = need[0][rows]
    row_value = int(count[0][a]) + int(count[0][b]) + (hopeful & count[0][rows]).sum(axis=1)
    reachable = np.asarray((tubes <= bar.limit_mm).any(axis=1))
    seeds = np.arange(len(starts))
    reachable[seeds, to_a] = reachable[seeds, to_b] = True
    bound = row_value + np.minimum((reachable & count[1]).sum(axis=1), 2 + hopeful.sum(axis=1))
    good = (hopeful | ~needed).all(axis=1) & (reachable | ~need[1]).all(axis=1) & (bound >= bar.at_least)
    nearness = np.maximum(both[to_a, to_b], np.where(needed, least, -np.inf).max(axis=1, initial=-np.inf))
    for seed in np.flatnonzero(good):
        need_mm = np.full((len(layout.rows.spots), tubes.shape[2]), NEVER_MM)
        need_mm[rows] = tubes[seed]
        need_mm[a, to_a[seed]] = need_mm[b, to_b[seed]] = both[to_a[seed], to_b[seed]]
        yield Seed(need_mm, int(bound[seed]), float(nearness[seed]))
