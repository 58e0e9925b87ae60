"""Bounds by which pairings are passed over: none asks for more inflation than some placement needs."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pytest
from random_tasks import random_task, spots, task

from partkin.fit.arrays import Pairs
from partkin.fit.layout import Aim, Layout
from partkin.fit.minimax import best_placement
from partkin.fit.search import cover
from partkin.fit.seeds import Bar, Seed, _tube_need_mm, blocks_of, open_seed, seeds_of, two_need_mm
from partkin.fit.work import WorkedTask


@pytest.mark.parametrize("seed", range(60))
def test_bounds_hold_at_every_placement(seed: int) -> None:
    """Two pairs laid near each other anyhow, and what a third lacks there: more than the bounds say, wherever it is."""
    random = np.random.default_rng(seed)
    tasks = (random_task(number, 6, 7) for number in range(1000 * seed, 1000 * seed + 100))
    layout = Layout.of(next(one for one in tasks if min(len(one.fixings), len(one.features)) >= 3 and not one.given))
    rows, columns = layout.points
    for _ in range(20):
        a, b = random.choice(len(rows), 2, replace=False)
        to_a, to_b = random.choice(len(columns), 2, replace=False)
        apart = columns[to_b] - columns[to_a]
        turn = np.exp(1j * (np.angle((rows[b] - rows[a]) / apart) if apart else 0.0) + 1j * random.normal(scale=0.02))
        shift = rows[a] - turn * columns[to_a] + complex(*random.normal(scale=2.0, size=2))
        lack = np.abs(rows[:, None] - (turn * columns + shift)[None, :]) - layout.reach_mm
        start = max(lack[a, to_a], lack[b, to_b])
        if not np.isfinite(start):
            continue
        others = np.setdiff1d(np.arange(len(rows)), [a, b])
        bounds = (
            (layout.two_rows_need_mm(a, b)[to_a, to_b], start),
            (_tube_need_mm(layout, ((a, to_a), (b, to_b)), others), np.maximum(lack[others], start)),
            (layout.pair_need_mm(a, to_a), np.maximum(lack, lack[a, to_a])),
        )
        assert all((np.asarray(need) <= found + 1e-9).all() for need, found in bounds)


@pytest.mark.parametrize(("at", "need_mm"), [(-300.0, 2.0), (40.0, 9.5), (400.0, 2.0)])
def test_a_third_pair_in_line_with_two_lacks_what_their_turn_leaves(at: float, need_mm: float) -> None:
    """20 mm beside the line of two 100 mm apart, plays of 0.5: (20 - 3.5 - 0.5) / (7 + 1) far beyond them.

    Between them it is moved by no more than they are: (20 - 0.5 - 0.5) / (1 + 1).
    """
    donor = [(0.0, 0.0), (100.0, 0.0), (at, 20.0)]
    wanted = task(spots([(x, 0.0) for x, _ in donor], "F"), spots(donor, "d"))
    layout = Layout.of(wanted)
    (need,) = _tube_need_mm(layout, ((0, 0), (1, 1)), np.array([2]))
    assert need[2] == pytest.approx(need_mm)
    found = best_placement(Pairs.of(wanted, [("F00", "d00"), ("F01", "d01"), ("F02", "d02")]))
    assert need[2] == pytest.approx(found.worst_mm, abs=0.05)


def worked(seed: int) -> tuple[WorkedTask, Aim]:
    """A random task of at least two rows, and what it has to cover and had better cover."""
    one = next(one for one in (random_task(k, 5, 6) for k in range(100 * seed, 100 * seed + 100)) if one.options)
    work = WorkedTask.of(one, 100)
    return work, Aim(work.must, work.should)


@pytest.mark.parametrize("seed", range(40))
def test_every_set_of_rows_begins_in_one_block(seed: int) -> None:
    """All sets of usable rows that hold those which need a pair, against the first two of each block."""
    work, aim = worked(seed)
    useful = np.isfinite(work.layout.allowed_mm) & aim.useful()
    usable = np.flatnonzero(useful.any(axis=1))
    needed = set(np.flatnonzero(aim.need[0]).tolist())
    blocks = blocks_of(work.layout, aim)
    columns = int(aim.count[1].sum())
    for size in range(1, len(usable) + 1):
        for some in map(set, combinations(usable.tolist(), size)):
            if not needed <= some:
                continue
            begin = [
                block for block in blocks
                for first in some & {*block.firsts}
                if ({first, block.second} if block.second is not None else {first}) <= some
                and some - {first, block.second} <= {*block.after} and (size == 1) == (block.second is None)
            ]  # fmt: skip
            if size > 1 or int(aim.need[1].sum()) < 2:
                assert len(begin) == 1
                assert begin[0].bound >= min(int(aim.count[0][list(some)].sum()) + min(columns, size), 2 * size)


@pytest.mark.parametrize("limit_mm", [1e-6, 0.4, 3.0])
@pytest.mark.parametrize("seed", range(40))
def test_no_start_is_passed_over_that_may_reach_the_bar(seed: int, limit_mm: float) -> None:
    """All pairs of pairs of a block whose plays leave them: what a matching of all that is open beside them covers."""
    work, aim = worked(seed)
    layout, base = work.layout, work.layout.base_mm(aim)
    for block in blocks_of(layout, aim):
        listed = {seed.start: seed for seed in seeds_of(layout, aim, block, Bar(limit_mm, 1))}
        assert all(seed.bound >= 1 and seed.nearness_mm <= limit_mm for seed in listed.values())
        if block.second is None:
            singles = {
                ((row, column),): int(aim.count[0][row]) + int(aim.count[1][column])
                for row in block.firsts for column in np.flatnonzero(base[row] <= limit_mm)
                if set(np.flatnonzero(aim.need[1])) <= {column}
            }  # fmt: skip
            assert {start: seed.bound for start, seed in listed.items()} == {s: v for s, v in singles.items() if v >= 1}
            assert all(seed.nearness_mm == base[start[0]] for start, seed in listed.items())
            continue
        for first in block.firsts:
            both = two_need_mm(layout, (first, block.second), base)
            for to_a, to_b in product(range(base.shape[1]), repeat=2):
                apart = layout.two_rows_need_mm(first, block.second)[to_a, to_b]
                expected = max(apart, base[first, to_a], base[block.second, to_b]) if to_a != to_b else np.inf
                assert both[to_a, to_b] == expected
                start = ((first, to_a), (block.second, to_b))
                if expected > limit_mm:
                    assert start not in listed
                    continue
                opened = open_seed(layout, aim, Seed(start, block.after, 0, float(expected)))
                others = [row for row in range(len(base)) if row not in (first, block.second)]
                assert np.isinf(opened[[r for r in others if r not in block.after]]).all()
                assert (
                    np.isinf(opened[others][:, [to_a, to_b]]).all() and opened[start[0]] == opened[start[1]] == expected
                )
                matched, value = cover(opened <= limit_mm, opened, aim.need, aim.count)
                if matched is not None and value >= 1:
                    assert listed[start].bound >= value and listed[start].nearness_mm == expected
                    assert listed[start].rows == block.after
    assert not seeds_of(layout, aim, blocks_of(layout, aim)[0], Bar(limit_mm, 100))
