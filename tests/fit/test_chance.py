"""The sequential test keeps its error, stops early, and needs no draws where the spread cannot matter."""

import math

import numpy as np
import pytest

from partkin.fit.arrays import Pairs
from partkin.fit.batch import batch_fits
from partkin.fit.chance import bounds, certain, excludes, sequential, sure_without_draws


def draws_of(chance: float, seed: int):
    fits = np.random.default_rng([seed, round(1e6 * chance)]).random(10_000) < chance
    return lambda start, count: fits[start : start + count]


def test_stops_where_the_formula_says():
    # GEOMETRY of the method: stop when log B(k+1, n-k+1) - k log t - (n-k) log(1-t) > log 100.
    def formula(k, n, t):
        beta = math.lgamma(k + 1) + math.lgamma(n - k + 1) - math.lgamma(n + 2)
        return beta - k * math.log(t) - (n - k) * math.log(1 - t) > math.log(100)

    for k, n, t in [(128, 128, 0.95), (256, 256, 0.95), (250, 256, 0.95), (0, 128, 0.05), (900, 1000, 0.95)]:
        assert excludes(k, n, t) == formula(k, n, t)
    # All fitting: 1 / (n + 1) / 0.95^n passes 100 between one block of 128 and two.
    assert not excludes(128, 128, 0.95)
    assert excludes(256, 256, 0.95)


def test_bounds_are_where_the_martingale_crosses():
    for k, n in [(0, 128), (3, 128), (950, 1000), (640, 640)]:
        low, high = bounds(k, n)
        assert low <= k / n <= high
        for edge, away in ((low, -1e-6), (high, 1e-6)):
            if 0 < edge < 1:
                assert excludes(k, n, edge + away)
                assert not excludes(k, n, edge - away)


@pytest.mark.parametrize("chance", [0.0, 0.02, 0.2, 0.6, 0.9, 0.97, 0.995, 1.0])
def test_the_bounds_hold_as_often_as_they_say(chance):
    wrong = 0
    for seed in range(150):
        found = sequential(draws_of(chance, seed), 0.95)
        assert found.low <= found.fits <= found.high
        wrong += not found.low <= chance <= found.high
    # At most 1 % in the long run; 5 of 150 has a probability under 2 % even then.
    assert wrong <= 5


@pytest.mark.parametrize("chance", [0.0, 0.01, 0.05, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 0.995, 1.0])
def test_a_tenth_of_the_draws_away_from_the_threshold(chance):
    taken = [sequential(draws_of(chance, seed), 0.95).draws for seed in range(40)]
    assert np.mean(taken) <= 1000


def test_settled_against_both_thresholds():
    for chance, inside in [(0.999, lambda f: f.low > 0.95), (0.001, lambda f: f.high < 0.05),
                           (0.5, lambda f: f.low > 0.05 and f.high < 0.95)]:  # fmt: skip
        found = sequential(draws_of(chance, 1), 0.95)
        assert inside(found)
        assert found.draws < 1000


def test_at_the_threshold_the_cap_ends_it():
    found = sequential(draws_of(0.95, 3), 0.95, cap=3000)
    assert found.draws == 3000
    assert found.low < 0.95 < found.high


def test_blocks_are_taken_in_order_and_once():
    asked = []

    def block(start, count):
        asked.append((start, count))
        return np.zeros(count, dtype=bool) if start < 256 else np.ones(count, dtype=bool)

    sequential(block, 0.5, cap=1000)
    starts = [start for start, _ in asked]
    assert starts == list(np.cumsum([0] + [count for _, count in asked[:-1]]))
    assert all(count <= 128 for _, count in asked)


def test_certain_needs_no_draws():
    assert certain(True).fits == certain(True).low == 1.0
    assert certain(False).high == 0.0
    assert certain(True).draws == 0


HOST = np.array([(0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0)])


@pytest.mark.parametrize(
    ("stretch_mm", "half_mm", "expected"),
    [(0.0, 0.05, True), (0.0, 0.4, None), (1.5, 0.3, None), (6.0, 0.3, False)],
)
def test_sure_without_draws(stretch_mm, half_mm, expected):
    donor = HOST * (1 + stretch_mm / 300)
    pairs = Pairs.plain(donor, HOST, 0.5)
    answer = sure_without_draws(pairs, half_mm, half_mm)
    assert answer is expected
    if answer is not None:
        rng = np.random.default_rng(0)
        corners = rng.choice([-half_mm, half_mm], (2, 2000, 4, 2))
        fits = batch_fits(HOST + corners[0], donor + corners[1], pairs.rho)
        assert fits.all() if answer else not fits.any()


def test_one_pairing_of_several_is_enough():
    good, bad = Pairs.plain(HOST, HOST, 0.5), Pairs.plain(HOST[::-1] * (1, 2), HOST, 0.5)
    assert sure_without_draws([bad, good], 0.05, 0.05) is True
    assert sure_without_draws([bad, bad], 0.05, 0.05) is False
    near = Pairs.plain(HOST * 1.005, HOST, 0.5)
    assert sure_without_draws([bad, near], 0.3, 0.3) is None
    assert sure_without_draws([near, good], [0.3, 0.01], [0.3, 0.01]) is True
