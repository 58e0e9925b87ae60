"""Which turns two pairs exclude, and the bound of balanced weights over the rest."""

import math

import numpy as np
import pytest
from flat_cases import pattern

from partkin.fit.arrays import Pairs
from partkin.fit.turns import Bound, balanced, excluded, open_arcs, two_by_two

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
