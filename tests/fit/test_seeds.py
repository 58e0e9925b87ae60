"""Bounds by which pairings are passed over: none asks for more inflation than some placement needs."""

from __future__ import annotations

import numpy as np
import pytest
from random_tasks import random_task, spots, task

from partkin.fit.arrays import Pairs
from partkin.fit.layout import Layout
from partkin.fit.minimax import best_placement
from partkin.fit.seeds import _tube_need_mm


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
