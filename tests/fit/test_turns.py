"""Which turns two pairs exclude, and the bound of balanced weights over the rest."""

import itertools
import math

import numpy as np
import pytest
from flat_cases import pattern

from partkin.fit.arrays import Pairs
from partkin.fit.turns import Bound, TwoByTwo, balanced, excluded, left_over, open_arcs, two_by_two, whole_balanced

SAMPLES = np.linspace(-math.pi, math.pi, 4001)


def open_by_trying(pairs: Pairs, excess_mm: float) -> np.ndarray:
    """(samples,) whether every two pairs can stand together at the turn."""
    i, k = np.triu_indices(len(pairs), 1)
    p = (pairs.p[i] - pairs.p[k]) @ [1, 1j]
    q = (pairs.q[i] - pairs.q[k]) @ [1, 1j]
    reach = (pairs.sigma[i] + pairs.sigma[k]) + 2 * excess_mm
    return (np.abs(np.exp(1j * SAMPLES)[:, None] * p - q) <= reach).all(axis=1)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("excess_mm", [0.0, 30.0, 120.0])
def test_open_arcs_are_what_trying_leaves(seed, excess_mm):
    rng = np.random.default_rng(seed)
    pairs, _ = pattern(rng, int(rng.integers(1, 7)), slots=True, noise_mm=rng.choice([0.1, 40.0]))
    two = two_by_two(pairs, excess_mm)
    arcs = open_arcs(two)
    tried = open_by_trying(pairs, excess_mm)
    near = np.zeros(len(SAMPLES), dtype=bool)
    inside = np.zeros(len(SAMPLES), dtype=bool)
    for lo, hi in arcs:
        assert -math.pi <= lo < hi <= math.pi
        inside |= (lo <= SAMPLES) & (hi >= SAMPLES)
        near |= (np.abs(SAMPLES - lo) < 1e-5) | (np.abs(SAMPLES - hi) < 1e-5)
    assert np.array_equal(inside[~near], tried[~near])


@pytest.mark.parametrize("seed", range(12))
def test_the_excluded_ranges_cover_the_rest(seed):
    rng = np.random.default_rng(seed)
    pairs, _ = pattern(rng, 5, slots=True, noise_mm=0.2)
    two = two_by_two(pairs, 1.0)
    arcs = open_arcs(two)
    assert arcs
    ends = [-math.pi, *(end for arc in arcs for end in arc), math.pi]
    for lo, hi in zip(ends[::2], ends[1::2], strict=True):
        if hi <= lo:
            continue
        ranges = excluded(two, (lo, hi), 1e-9)
        assert ranges[0][0] == lo
        assert ranges[-1][1] == hi
        for start, end, who in ranges:
            i, k = two.first[who], two.second[who]
            p, q = ((side[i] - side[k]) @ [1, 1j] for side in (pairs.p, pairs.q))
            turns = np.linspace(start, end, 50)
            assert (np.abs(np.exp(1j * turns) * p - q) > pairs.sigma[i] + pairs.sigma[k] + 2.0).all()


@pytest.mark.parametrize("seed", range(12))
def test_the_bound_is_below_every_placement_and_its_least_below_all_of_it(seed):
    rng = np.random.default_rng(seed)
    pairs, _ = pattern(rng, 6, slots=True, noise_mm=2.0)
    bound = Bound(pairs, balanced(rng.normal(0, 1, (6, 2))))
    lo = rng.uniform(-3, 2)
    hi = lo + rng.uniform(0.01, 1.0)
    turns = np.linspace(lo, hi, 60)
    for at in turns:
        shift = rng.uniform(-50, 50, 2)
        assert bound.at(at) <= pairs.excess(at, shift).max() + 1e-9
    values = [bound.at(at) for at in turns]
    assert bound.least(lo, hi) <= min(values) + 1e-9
    assert bound.by_middle(lo, hi) <= min(values) + 1e-9
    level = min(values) - 0.5
    reach = bound.reach((lo + hi) / 2, lo, hi, level)
    assert all(bound.at(at) >= level - 1e-9 for at in np.linspace(*reach, 60))


def test_balanced_weights_add_up():
    weights = balanced(np.random.default_rng(0).normal(0, 1, (5, 2)))
    assert weights.sum(axis=0) == pytest.approx((0, 0), abs=1e-15)
    assert np.hypot(weights[:, 0], weights[:, 1]).sum() == pytest.approx(1.0)
    assert not balanced(np.zeros((3, 2))).any()
    assert not balanced(np.array([[1.0, 0.0]])).any()


def test_two_by_two_tells_the_turn_the_room_and_the_shortfall():
    """Two holes 100 and 103 apart, plays 0.5 and 1, a slot of 2: 3 - 3.5; and the law of cosines for the turn."""
    turn = 0.7
    there = 103.0 * np.array([np.cos(turn), np.sin(turn)])
    pairs = Pairs.plain([(0, 0), (100, 0)], [(5, 5), (5 + there[0], 5 + there[1])], [0.5, 1.0], s_d=[0.0, 2.0])
    two = two_by_two(pairs)
    assert (two.first.tolist(), two.second.tolist()) == ([0], [1])
    assert two.middle_rad == pytest.approx([turn], abs=1e-12)
    assert two.short_mm == pytest.approx([-0.5], abs=1e-5)
    assert two.half_rad == pytest.approx([math.acos((100**2 + 103**2 - 3.5**2) / (2 * 100 * 103))], rel=1e-4)
    # What is added counts for each of the two: none too short by 0.1, and all the way round with 203 and more in all.
    for excess_mm, short_mm in ((-0.3, 0.1), (-0.2, -0.1), (60.0, -120.5), (99.7, -199.9), (99.8, -200.1)):
        two = two_by_two(pairs, excess_mm)
        assert two.short_mm == pytest.approx([short_mm], abs=1e-5)
        assert (two.half_rad[0] == -1.0) == (short_mm > 0) and (two.half_rad[0] == math.pi) == (short_mm < -200)


def plain_bound(pairs: Pairs, f: np.ndarray, turn_rad: float) -> float:
    """The bound as the module states it, term by term."""
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    turned = np.array([[c, -s], [s, c]])
    whole = 0.0
    for i, weight in enumerate(f):
        whole += float(weight @ (turned @ pairs.p[i] - pairs.q[i])) - pairs.rho[i] * math.hypot(*weight)
        whole -= pairs.s_h[i] * abs(weight @ pairs.u_h[i]) + pairs.s_d[i] * abs(weight @ turned @ pairs.u_d[i])
    return whole / sum(math.hypot(*weight) for weight in f)


@pytest.mark.parametrize("seed", range(20))
def test_the_bound_and_its_least_are_what_the_module_states(seed):
    """At one turn; over a range, each wave by itself, against many turns; and by the middle and the half width."""
    rng = np.random.default_rng([seed, 3])
    pairs, _ = pattern(rng, 4, slots=seed % 3 > 0, noise_mm=2.0)
    f = rng.normal(0, 1, (4, 2)) * (3.0 if seed % 2 else 0.2)
    bound = Bound(pairs, f)
    for at in rng.uniform(-7, 7, 5):
        assert bound.at(at) == pytest.approx(plain_bound(pairs, f, at), abs=1e-9)
    lo = rng.uniform(-7, 7)
    hi = lo + rng.uniform(0.01, 7.0)
    turns = np.linspace(lo, hi, 20_001)
    waves = [bound.swing * np.cos(turns - bound.phase), *(-r * np.abs(np.cos(turns - t)) for r, t in bound.slots)]
    assert len(bound.slots) == np.count_nonzero(pairs.s_d)
    assert bound.least(lo, hi) == pytest.approx(sum(wave.min() for wave in waves) - bound.level, abs=1e-4)
    middle, half = lo, rng.uniform(0.01, math.pi / 4)
    expected = -bound.level
    for reach, tilt in ((bound.swing, bound.phase), *bound.slots):
        sides = (0.0,) if tilt is bound.phase else (0.0, math.pi)
        expected += reach * min(
            min(math.cos(middle - tilt + more), math.cos(middle - tilt + more) * math.cos(half))
            - abs(math.sin(middle - tilt)) * math.sin(half)
            for more in sides
        )
    assert bound.by_middle(middle - half, middle + half) == pytest.approx(expected, abs=1e-9)


def test_by_the_middle_nothing_is_said_of_more_than_a_quarter():
    rng = np.random.default_rng(1)
    bound = Bound(pattern(rng, 4, slots=False)[0], rng.normal(0, 1, (4, 2)))
    assert math.isfinite(bound.by_middle(0.2, 0.2 + math.pi / 2)) and bound.by_middle(0.2, 1.8) == -math.inf


@pytest.mark.parametrize("slots", [False, True])
@pytest.mark.parametrize("seed", range(30))
def test_a_range_is_as_wide_as_the_bound_stays_above(seed, slots):
    """It ends at lo and hi or where the bound crosses the level: with slots as far as `least` tells, else exactly."""
    rng = np.random.default_rng([seed, 8])
    bound = Bound(pattern(rng, 4, slots=slots, noise_mm=2.0)[0], balanced(rng.normal(0, 1, (4, 2))))
    at, wide = rng.uniform(-3, 3), (0.3, 2.0, 6.0)[seed % 3]
    lo, hi = at - wide * rng.random(), at + wide * rng.random()
    above = bound.at(at) - 10.0 ** rng.uniform(-3, 2)
    left, right = bound.reach(at, lo, hi, above)
    assert lo <= left <= at <= right <= hi
    if bound.slots:
        assert bound.least(left, right) > above
        # Halved so often that at most a sixteen thousandth of the way is left.
        if right < hi:
            assert bound.least(at, right + (hi - at) / 2**14) <= above
        if left > lo:
            assert bound.least(left - (at - lo) / 2**14, right) <= above
    else:
        assert all(bound.at(turn) >= above - 1e-9 for turn in np.linspace(left, right, 500))
        if left > lo:
            assert bound.at(left) == pytest.approx(above, abs=1e-7 * (1 + bound.swing))
        if right < hi:
            assert bound.at(right) == pytest.approx(above, abs=1e-7 * (1 + bound.swing))
    assert bound.reach(at, lo, hi, bound.at(at)) is None and bound.reach(at, lo, hi, bound.at(at) + 1.0) is None
    assert Bound(pattern(rng, 4, slots=slots)[0], np.zeros((4, 2))).reach(at, lo, hi, -1e9) is None


def test_balanced_again_without_what_is_negligible():
    weights = np.array([[3.0, 1.0], [-1.0, -4.0], [0.0, 2e-7], [0.0, 5e-6], [0.0, 0.0]])
    kept = balanced(weights)
    assert kept.any(axis=1).tolist() == [True, True, False, True, False]
    assert kept.sum(axis=0) == pytest.approx((0.0, 0.0), abs=1e-15)
    assert np.hypot(*kept.T).sum() == pytest.approx(1.0)
    spread = weights[[0, 1, 3]] - weights[[0, 1, 3]].mean(axis=0)
    assert kept[[0, 1, 3]] == pytest.approx(spread / np.hypot(*spread.T).sum())
    assert balanced(1e-3 * weights) == pytest.approx(kept)
    # A tenth of the longest, as it is asked for.
    assert balanced(np.array([[0.0, 1.0], [0.0, -1.0], [0.0, 0.09]]), 0.1)[2].tolist() == [0.0, 0.0]
    assert balanced(np.array([[0.0, 1.0], [0.0, -1.0], [0.11, 0.0]]), 0.1)[2].any()


@pytest.mark.parametrize("seed", range(20))
def test_whole_numbers_are_the_nearest_that_balance(seed):
    """Against every way of rounding up or down, in the plane and in space; what has no weight gets none."""
    rng = np.random.default_rng(seed)
    n, d = int(rng.integers(2, 6)), 2 + seed % 2
    exact = rng.uniform(-9.0, 9.0, (n, d))
    exact -= exact.mean(axis=0)
    whole = whole_balanced(np.insert(exact, 1, 0.0, axis=0))
    assert not whole[1].any() and not whole.sum(axis=0).any()
    whole = np.delete(whole, 1, axis=0)
    for axis in range(d):
        ways = itertools.product(*({math.floor(x), math.ceil(x)} for x in exact[:, axis]))
        nearest = min(np.abs(np.array(way) - exact[:, axis]).sum() for way in ways if not sum(way))
        assert np.abs(whole[:, axis] - exact[:, axis]).sum() == pytest.approx(nearest)


def test_more_than_one_each_is_taken_off_where_that_much_is_over():
    assert whole_balanced(np.array([[7.0, -4.0], [1.0, -1.0]])).tolist() == [[3.0, -1.0], [-3.0, 1.0]]


@pytest.mark.parametrize(
    ("piece", "left"),
    [((2.0, 3.0), [(1.0, 2.0), (3.0, 5.0)]), ((1.0, 3.0), [(3.0, 5.0)]), ((2.0, 5.0), [(1.0, 2.0)]), ((1.0, 5.0), [])],
)
def test_what_a_piece_leaves_of_an_arc(piece, left):
    assert left_over((1.0, 5.0), piece) == left


@pytest.mark.parametrize("seed", range(40))
def test_excluded_ranges_reach_as_far_as_they_can_and_end_on_the_grid(seed):
    """Each is the one of those about its start that ends last; None where there is none, or the grid is coarse."""
    rng = np.random.default_rng([seed, 5])
    count = int(rng.integers(2, 7))
    two = TwoByTwo(
        np.zeros(count), np.zeros(count), rng.uniform(-math.pi, math.pi, count), rng.uniform(0.8, 2.8, count),
        np.zeros(count),
    )  # fmt: skip
    start, stop = sorted(rng.uniform(-math.pi, math.pi, 2)) if seed % 4 else (-math.pi, math.pi)
    expected, at = [], start
    while at < stop:
        away = (at - two.middle_rad) % (2 * math.pi)
        reach = np.where((away >= two.half_rad) & (away < 2 * math.pi - two.half_rad), -away - two.half_rad, -np.inf)
        # A range goes no farther than the circle is cut open.
        end = min(at + max(float(reach.max()), -10.0) + 2 * math.pi, math.pi)
        end = stop if end >= stop else math.floor(end / 1e-3) * 1e-3
        if end <= at:
            expected = None
            break
        expected.append((at, end))
        at = end
    found = excluded(two, (start, stop), 1e-3)
    assert (found is None) == (expected is None)
    for (lo, hi, who), (low, high) in zip(found or (), expected or (), strict=True):
        assert (lo, hi) == pytest.approx((low, high), abs=1e-9)
        turns = np.linspace(lo, hi, 50) - two.middle_rad[who]
        assert (np.abs(np.remainder(turns + math.pi, 2 * math.pi) - math.pi) >= two.half_rad[who] - 1e-9).all()
    if found and len(found) > 1:
        assert excluded(two, (start, stop), 10.0) is None


def test_of_two_that_exclude_every_turn_the_one_that_is_shortest_by_most_is_named():
    pairs = Pairs.plain([(0, 0), (100, 0), (0, 100)], [(0, 0), (102, 0), (0, 109)], 0.5)
    two = two_by_two(pairs)
    assert excluded(two, (-1.0, 2.0), 1e-3) == [(-1.0, 2.0, 1)] and open_arcs(two) == []
