"""The placement at which the most fixings hold: against every subset, and against holes that were moved on purpose."""

import math
import random
from dataclasses import replace
from itertools import combinations, permutations

import numpy as np
import pytest

from partkin.fit.arrays import Pairs
from partkin.fit.minimax import best_placement
from partkin.fit.odd_holes import CLOSE_MM, _best, _placed, odd_holes
from partkin.fit.solve import solve
from partkin.fit.work import WorkedTask
from partkin.model.fitting import FitTask, Option, Spot


def task_of(points, moved, *, given=True, allowed_mm=0.5, spare=0):
    """Fixings at `points`; the donor turned and shifted, with some of its holes moved (dx, dy) in the host's frame."""
    turn = math.radians(3.0)
    back = []
    for number, (x, y) in enumerate(points):
        dx, dy = moved.get(number, (0.0, 0.0))
        x, y = x + dx - 5.0, y + dy + 7.0
        back.append((math.cos(turn) * x + math.sin(turn) * y, -math.sin(turn) * x + math.cos(turn) * y))
    back += [(900.0 + 40.0 * k, 17.0 * k) for k in range(spare)]
    fixings = tuple(Spot(f"F{number}", tuple(at)) for number, at in enumerate(points))
    features = tuple(Spot(f"t{number}", at, must=False, should=True) for number, at in enumerate(back))
    pairs = [(f, d) for f in range(len(points)) for d in range(len(back)) if not given or f == d]
    return FitTask(fixings, features, tuple(Option(f"F{f}", f"t{d}", allowed_mm) for f, d in pairs), given=given)


def scattered(count, seed):
    draw = random.Random(seed)
    return [(draw.uniform(0.0, 600.0), draw.uniform(0.0, 300.0)) for _ in range(count)]


def hold(task, pairs):
    return best_placement(Pairs.of(task, pairs), stop_at_sign=True).fits


@pytest.mark.parametrize("given", [True, False])
def test_holes_that_were_moved_are_named_with_how_far_and_which_way(given):
    task = task_of(scattered(18, 3), {5: (-3.2, 0.0), 13: (0.0, -2.1)}, given=given)
    found = odd_holes(task)
    assert sum(pair.margin_mm >= -1e-6 for pair in found.pairs) == 16
    assert [(one.fixing, one.feature) for one in found.odd] == [("F5", "t5"), ("F13", "t13")]
    assert np.allclose([one.out_mm for one in found.odd], [(-3.2, 0.0), (0.0, -2.1)], atol=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_no_larger_set_holds(seed):
    """Against every set of fixings, and where the pairing is open every pairing."""
    draw = random.Random(seed)
    given, count = seed % 2 == 0, 5 if seed % 2 == 0 else 4
    moved = {k: (draw.uniform(-4.0, 4.0), draw.uniform(-4.0, 4.0)) for k in range(draw.choice((1, 2)))}
    task = task_of(scattered(count, seed), moved, given=given, spare=0 if given else 1)
    if solve(task).fits:
        pytest.skip("it goes on")
    found = odd_holes(task)
    holds = 0 if found is None else sum(pair.margin_mm >= -1e-6 for pair in found.pairs)
    features = [spot.id for spot in task.features]
    for size in range(max(holds + 1, math.ceil(count / 2)), count + 1):
        for some in combinations([spot.id for spot in task.fixings], size):
            ways = [tuple(f"t{name[1:]}" for name in some)] if given else permutations(features, size)
            assert not any(hold(task, list(zip(some, way, strict=True))) for way in ways)


@pytest.mark.parametrize("seed", range(6))
def test_the_odd_one_cannot_be_less_short_while_the_others_hold(seed):
    task = task_of(scattered(7, seed), {2: (2.0 + 0.3 * seed, -1.0)})
    found = odd_holes(task)
    (odd,) = found.odd
    for room_mm, fits in ((odd.short_mm - 4 * CLOSE_MM, False), (odd.short_mm + CLOSE_MM, True)):
        options = tuple(
            Option(o.fixing, o.feature, o.allowed_mm + room_mm * (o.fixing == odd.fixing)) for o in task.options
        )
        wider = FitTask(task.fixings, task.features, options, given=True)
        assert hold(wider, [(o.fixing, o.feature) for o in options]) is fits


@pytest.mark.parametrize("turned", range(6))
def test_of_sets_that_are_each_others_turn_the_one_shown_is_kept_and_few_are_laid_down(turned, monkeypatch):
    ring = [(75.0 * math.cos(k * math.pi / 3.0), 75.0 * math.sin(k * math.pi / 3.0)) for k in range(6)]
    task = task_of(ring, {2: (0.0, 4.0)}, given=False)
    laid = []
    monkeypatch.setattr("partkin.fit.odd_holes._placed", lambda *way: laid.append(_placed(*way)) or laid[-1])
    shown = [(f"F{(k + turned) % 6}", f"t{k}") for k in range(6)]
    found = odd_holes(task, shown)
    (odd,) = found.odd
    assert [(pair.fixing, pair.feature) for pair in found.pairs] == sorted(shown)
    assert (odd.fixing, odd.feature) == (f"F{(2 + turned) % 6}", "t2")
    assert odd.short_mm == pytest.approx(min(one.excess_mm[0] for one in laid), abs=4 * CLOSE_MM)
    assert len(laid) <= 3, "six turns need as much as each other"


@pytest.mark.parametrize("fixing", ["F0", "F1"])
def test_where_nothing_can_be_left_over_the_set_that_is_shown_is_kept(fixing):
    """One hole for two fixings: it holds on either, and nothing is left to go on the other."""
    task = task_of([(0.0, 0.0), (300.0, 40.0)], {}, given=False)
    one = replace(task, features=task.features[:1], options=tuple(o for o in task.options if o.feature == "t0"))
    found = odd_holes(one, [(fixing, "t0")])
    assert [(pair.fixing, pair.feature) for pair in found.pairs] == [(fixing, "t0")] and found.odd == ()


def test_patterns_with_little_in_common_have_nothing_odd():
    host, donor = scattered(9, 1), scattered(9, 2)
    moved = {k: (d[0] - h[0], d[1] - h[1]) for k, (h, d) in enumerate(zip(host, donor, strict=True))}
    assert odd_holes(task_of(host, moved)) is None


def in_space(count, moved, seed):
    """Fixings on a curved dashboard; the donor turned about two axes, some of its holes moved in the host's frame."""
    draw = random.Random(seed)
    host = np.array([(x, y, 0.0004 * (x - 300.0) ** 2 + draw.uniform(0.0, 30.0)) for x, y in scattered(count, seed)])
    (c, s), (d, t) = ((math.cos(a), math.sin(a)) for a in (0.05, -0.03))
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ np.array([[1, 0, 0], [0, d, -t], [0, t, d]])
    donor = (host + [moved.get(k, (0.0, 0.0, 0.0)) for k in range(count)] - (5.0, -7.0, 2.0)) @ turn
    axis = tuple(float(part) for part in turn[2])
    fixings = tuple(Spot(f"F{k}", tuple(map(float, at)), grip_mm=1.0) for k, at in enumerate(host))
    features = tuple(Spot(f"t{k}", tuple(map(float, at)), axis=axis, must=False) for k, at in enumerate(donor))
    return fixings, features


@pytest.mark.parametrize("given", [True, False])
@pytest.mark.parametrize("seed", range(3))
def test_in_space_a_moved_hole_is_named_and_no_larger_set_holds(seed, given):
    moved = {2: (-3.0, 1.0, 0.0), 5: (0.0, 0.0, 4.0)}
    fixings, features = in_space(8, moved, seed)
    ways = [(f.id, d.id) for f in fixings for d in features if not given or f.id[1:] == d.id[1:]]
    task = FitTask(fixings, features, tuple(Option(f, d, 0.5) for f, d in ways), given=given)
    found = odd_holes(task)
    assert sum(pair.margin_mm >= -1e-6 for pair in found.pairs) == 6
    assert [(one.fixing, one.feature) for one in found.odd] == [("F2", "t2"), ("F5", "t5")]
    for one, off in zip(found.odd, moved.values(), strict=True):
        assert np.allclose(one.out_mm, off, atol=0.05)
    for some in combinations(range(8), 7):
        names = {name for k in some for name in (f"F{k}", f"t{k}")}
        fewer = FitTask(
            tuple(f for f in fixings if f.id in names),
            features,
            tuple(o for o in task.options if o.fixing in names and o.feature in names),
            given=given,
        )
        assert solve(fewer, proof=False).fits is False
    matrix = np.array(found.placement.matrix)
    shown = {pair.fixing for pair in found.pairs if pair.margin_mm >= -1e-6}
    for fixing, feature in zip(fixings, features, strict=True):
        there = matrix[:3, :3] @ feature.at_mm + matrix[:3, 3] - fixing.at_mm
        assert (math.hypot(*there[:2]) <= 0.5 + 1e-6 and abs(there[2]) <= 1.0 + 1e-6) == (fixing.id in shown)


@pytest.mark.parametrize("seed", range(4, 7))
def test_of_all_ways_to_pair_what_is_left_over_the_one_with_the_least_excess_is_found(seed):
    """Three hold; two fixings and three features near each other are left: against placing every way."""
    draw = random.Random(seed)
    host = [(0.0, 0.0), (400.0, 0.0), (0.0, 300.0), (200.0, 150.0), (206.0, 152.0)]
    donor = [*host[:3], *((200.0 + draw.uniform(-6.0, 12.0), 150.0 + draw.uniform(-6.0, 8.0)) for _ in range(3))]
    fixings = tuple(Spot(f"F{k}", at) for k, at in enumerate(host))
    features = tuple(Spot(f"t{k}", at, must=False, should=True) for k, at in enumerate(donor))
    pairs = [(k, k) for k in range(3)] + [(f, d) for f in (3, 4) for d in (3, 4, 5)]
    work = WorkedTask.of(FitTask(fixings, features, tuple(Option(f"F{f}", f"t{d}", 0.5) for f, d in pairs)), 100)
    held = ((0, 0), (1, 1), (2, 2))
    found = _best(work, [held], work.must, frozenset())
    ways = [_placed(work, held, ((3, one), (4, other))) for one, other in permutations((3, 4, 5), 2)]
    assert np.allclose(found.rank, min(way.rank for way in ways), atol=3.0)
