"""Where a search begins: two rows that are paired, and what their pairs leave open for all others.

After pairing rows a and b, any third row c, with kappa = (c - a)/(b - a) as complex numbers, must come
within |1-kappa| reach_a + |kappa| reach_b of (1-kappa) A + kappa B, where A and B are the columns that a
and b are paired with. A rigid move keeps kappa, so nothing that holds is lost: a tube around two pairs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partkin.fit.arrays import WILD_MM
from partkin.fit.layout import NEVER_MM, Aim, Layout, farthest_first

ROUNDING_MM = 1.0e-9
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


@dataclass(frozen=True)
class Seed:
    """Two rows with their columns (or one), and what may come of it.

    `rows`: those that may be paired besides. `bound`: counted spots at most; `nearness_mm`: inflation of
    the allowances that the two need at least.
    """

    start: tuple[tuple[int, int], ...]
    rows: tuple[int, ...]
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
            # With two needed rows at the head, the order of the others makes no difference.
            spread = None if need.sum() < 2 else 2 - len(order)
            order += farthest_first(layout.points[0], [int(r) for r in np.flatnonzero(half)], spread)
    return order


def seeds_of(layout: Layout, aim: Aim, block: Block, bar: Bar) -> list[Seed]:
    """List the pairs, or pairs of pairs, that start a block and may reach the bar."""
    base = layout.base_mm(aim)
    if block.second is None:
        return [seed for first in block.firsts for seed in _single_seeds(first, base, aim, bar)]
    rows = np.array(block.after, dtype=int)
    step = max(1, TABLE // max(1, len(rows) * base.shape[1]))
    starts, needs = _starts(layout, block, base, bar.limit_mm)
    found: list[Seed] = []
    for begin in range(0, len(starts), step):
        some = starts[begin : begin + step]
        near = _within_tubes(layout, some, block.second, rows, base, bar.limit_mm)
        found += _worth_opening(aim, bar, block, some, needs[begin : begin + step], near)
    return found


def _single_seeds(first: int, base: np.ndarray, aim: Aim, bar: Bar) -> list[Seed]:
    found = []
    for column in np.flatnonzero(base[first] <= bar.limit_mm):
        value = int(aim.count[0][first]) + int(aim.count[1][column])
        if value >= bar.at_least and aim.need[1].sum() <= aim.need[1][column]:
            found.append(Seed(((first, int(column)),), (), value, float(base[first, column])))
    return found


def two_need_mm(layout: Layout, pair: tuple[int, int], base: np.ndarray) -> np.ndarray:
    """(m, m) mm: inflation that two rows need at least, for each two columns."""
    a, b = pair
    need = layout.two_rows_need_mm(a, b)
    need = np.maximum(need, np.maximum(base[a][:, None], base[b][None, :]))
    np.fill_diagonal(need, NEVER_MM)
    return np.asarray(need)


def _starts(layout: Layout, block: Block, base: np.ndarray, limit_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """(seeds, 3) first row and the columns of first and second; and what each needs at least, mm."""
    assert block.second is not None
    starts, needs = [], []
    for first in block.firsts:
        both = two_need_mm(layout, (first, block.second), base)
        to_a, to_b = np.nonzero(both <= limit_mm)
        starts.append(np.stack([np.full(len(to_a), first), to_a, to_b], axis=1))
        needs.append(both[to_a, to_b])
    return np.concatenate(starts), np.concatenate(needs)


def _within_tubes(
    layout: Layout, starts: np.ndarray, b: int, rows: np.ndarray, base: np.ndarray, limit_mm: float
) -> np.ndarray:
    """Bool (seeds, rows, m): further pairs that lie within the tube around each seed."""
    a, to_a, to_b = starts.T
    point, target = layout.points
    reach = np.maximum(layout.reach_mm[rows] + limit_mm, -1.0)
    span = point[b] - point[a]
    apart = np.abs(span) > 1e-9
    kappa = (point[rows][None, :] - point[a][:, None]) / np.where(apart, span, 1.0)[:, None]
    kappa[~apart] = 0.0
    reach_a, reach_b = layout.reach_mm[a, to_a] + limit_mm, layout.reach_mm[b, to_b] + limit_mm
    tube = np.abs(1 - kappa) * reach_a[:, None] + np.abs(kappa) * reach_b[:, None]
    tube[~apart] = WILD_MM**2
    middle = (1 - kappa) * target[to_a][:, None] + kappa * target[to_b][:, None]
    x = middle.real[:, :, None] - target.real
    y = middle.imag[:, :, None] - target.imag
    far = tube[:, :, None] + reach[None] + ROUNDING_MM
    x *= x
    y *= y
    x += y
    near = (x <= far * far) & (base[rows] <= limit_mm)[None]
    seeds = np.arange(len(starts))
    near[seeds, :, to_a] = False
    near[seeds, :, to_b] = False
    return np.asarray(near)


def _worth_opening(
    aim: Aim, bar: Bar, block: Block, starts: np.ndarray, needs: np.ndarray, near: np.ndarray
) -> list[Seed]:
    """Keep the seeds that leave a partner to all that need one, and enough to what is counted."""
    (a, to_a, to_b), b, rows = starts.T, block.second, np.array(block.after, dtype=int)
    assert b is not None
    need, count = aim.need, aim.count
    hopeful, reachable = near.any(axis=2), np.asarray(near.any(axis=1))
    seeds = np.arange(len(starts))
    reachable[seeds, to_a] = reachable[seeds, to_b] = True
    pairs = np.minimum(2 + hopeful.sum(axis=1), reachable.sum(axis=1))
    row_value = count[0][a] + int(count[0][b]) + (hopeful & count[0][rows]).sum(axis=1)
    column_value = (reachable & count[1]).sum(axis=1)
    bound = np.minimum(row_value, pairs) + np.minimum(column_value, pairs)
    covered = (hopeful | ~need[0][rows]).all(axis=1) & (reachable | ~need[1]).all(axis=1)
    return [
        Seed(((int(a[k]), int(to_a[k])), (b, int(to_b[k]))), block.after, int(bound[k]), float(needs[k]))
        for k in np.flatnonzero(covered & (bound >= bar.at_least))
    ]


def open_seed(layout: Layout, aim: Aim, seed: Seed) -> np.ndarray:
    """(n, m) mm: inflation of the allowances that each pair needs at least beside a seed."""
    base = layout.base_mm(aim)
    need = np.full(base.shape, NEVER_MM)
    rows = np.array(seed.rows, dtype=int)
    for pair in seed.start:
        if len(rows):
            base = np.maximum(base, layout.pair_need_mm(*pair))
    if len(seed.start) == 2:
        need[rows] = np.maximum(base[rows], _tube_need_mm(layout, seed.start, rows))
    for row, column in seed.start:
        need[:, column] = NEVER_MM
        need[row] = NEVER_MM
    for row, column in seed.start:
        need[row, column] = seed.nearness_mm
    return need


def _tube_need_mm(layout: Layout, start: tuple[tuple[int, int], ...], rows: np.ndarray) -> np.ndarray:
    """(rows, m) mm: inflation that further pairs need at least to lie within the tube around two."""
    (a, to_a), (b, to_b) = start
    point, target = layout.points
    span = point[b] - point[a]
    if abs(span) <= 1e-9:
        return np.full((len(rows), len(target)), -NEVER_MM)
    kappa = ((point[rows] - point[a]) / span)[:, None]
    share_a, share_b = np.abs(1 - kappa), np.abs(kappa)
    off = np.abs((1 - kappa) * target[to_a] + kappa * target[to_b] - target[None, :])
    reach = share_a * layout.reach_mm[a, to_a] + share_b * layout.reach_mm[b, to_b] + layout.reach_mm[rows]
    return np.asarray((off - reach) / (share_a + share_b + 1))
