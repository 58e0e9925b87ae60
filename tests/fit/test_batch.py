"""Many draws at once are judged as each would be by itself."""

import math

import numpy as np
import pytest
from flat_cases import pattern, pushed

from partkin.fit.arrays import Pairs
from partkin.fit.batch import batch_fits
from partkin.fit.minimax import best_placement

KINDS = [(n, slots) for n in (1, 2, 3, 5, 10) for slots in (False, True)]


def one_by_one(pairs: Pairs, q, p, rho) -> list[bool]:
    return [
        best_placement(Pairs(p[k], q[k], rho[k], pairs.s_h, pairs.u_h, pairs.s_d, pairs.u_d), stop_at_sign=True).fits
        for k in range(len(q))
    ]


def drawn(pairs: Pairs, rng, m: int, scatter_mm: float):
    n = len(pairs)
    q = pairs.q + rng.normal(0, scatter_mm, (m, n, 2))
    p = pairs.p + rng.normal(0, scatter_mm, (m, n, 2))
    return q, p, pairs.rho + rng.uniform(-0.1, 0.1, (m, n))


@pytest.mark.parametrize(("n", "slots"), KINDS)
def test_as_each_by_itself(n, slots):
    rng = np.random.default_rng([n, slots])
    pairs, _ = pattern(rng, n, slots, noise_mm=0.05)
    q, p, rho = drawn(pairs, rng, 80, 0.3)
    fits = batch_fits(q, p, rho, pairs)
    assert fits.tolist() == one_by_one(pairs, q, p, rho)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize(("n", "slots"), KINDS)
def test_as_each_by_itself_at_length(n, slots, seed):
    rng = np.random.default_rng([n, slots, seed])
    pairs, _ = pattern(rng, n, slots, noise_mm=0.05)
    q, p, rho = drawn(pairs, rng, 300, rng.choice([0.1, 0.3, 1.0]))
    fits = batch_fits(q, p, rho, pairs)
    assert fits.tolist() == one_by_one(pairs, q, p, rho)


@pytest.mark.parametrize("short_mm", [0.002, 1e-4, 1e-5])
def test_close_to_the_edge(short_mm):
    rng = np.random.default_rng(4)
    pairs, _ = pattern(rng, 6, slots=False)
    worst = best_placement(pairs).worst_mm
    rho = np.stack([pushed(pairs, worst, -short_mm).rho, pushed(pairs, worst, short_mm).rho])
    assert batch_fits(pairs.q, pairs.p, rho).tolist() == [True, False]


def test_awkward_draws():
    p = np.array([(0.0, 0.0), (100.0, 0.0), (100.0, 50.0)])
    half_turn, far = 5.0 - p, p + np.array([0.0, 1e5])
    cases = [
        (p, p, [0.0] * 3),
        (half_turn, p, [0.0] * 3),
        (p, p, [0.3, -0.1, 0.3]),
        (p[[0, 0, 0]], p[[1, 1, 1]], [0.1] * 3),
        (far, p, [0.2] * 3),
        (p[[0, 0, 1]], p[[0, 1, 1]], [0.3] * 3),
    ]
    q, donor, rho = (np.array([case[k] for case in cases]) for k in range(3))
    assert batch_fits(q, donor, rho).tolist() == [True, True, False, True, True, False]
    kept = donor.copy()
    assert batch_fits(q[:1, :1], donor[:1, :1], rho[:1, :1]).tolist() == [True]
    assert np.array_equal(donor, kept)
    assert batch_fits(np.zeros((4, 0, 2)), np.zeros((4, 0, 2)), np.zeros((4, 0))).tolist() == [True] * 4
    assert batch_fits(np.zeros((0, 3, 2)), np.zeros((0, 3, 2)), np.zeros((0, 3))).tolist() == []


def test_the_same_draw_is_judged_alike_in_any_block():
    rng = np.random.default_rng(9)
    pairs, _ = pattern(rng, 6, slots=True, noise_mm=0.05)
    q, p, rho = drawn(pairs, rng, 2500, 0.25)
    whole = batch_fits(q, p, rho, pairs)
    parts = [batch_fits(q[k : k + 128], p[k : k + 128], rho[k : k + 128], pairs) for k in range(0, 2500, 128)]
    assert np.array_equal(whole, np.concatenate(parts))
    assert 0.05 < whole.mean() < 0.999


def held_chance(holes: int, sigma_mm: float, c_mm: float) -> float:
    """P(max <= c) for holes held at true position, normal centre errors on both parts.

    F. Scholz, Hole Alignment Tolerance Stacking Issues (1999): (1 - exp(-c^2 / (4 sigma^2)))^K.
    """
    return (1 - math.exp(-(c_mm**2) / (4 * sigma_mm**2))) ** holes


@pytest.mark.parametrize(("holes", "sigma_mm", "c_mm"), [(1, 0.3, 0.5), (4, 0.25, 0.8), (10, 0.2, 0.7)])
def test_scholz_where_the_placement_cannot_move(holes, sigma_mm, c_mm):
    draws = 8000
    rng = np.random.default_rng([holes, 42])
    at = rng.uniform(-200, 200, (holes, 2))
    pins = np.array([(-400.0, 0.0), (400.0, 0.0)])
    nominal = np.concatenate([at, pins])
    q, p = (np.broadcast_to(nominal, (draws, holes + 2, 2)).copy() for _ in range(2))
    for side in (q, p):
        side[:, :holes] += rng.normal(0, sigma_mm, (draws, holes, 2))
    rho = np.array([c_mm] * holes + [1e-4] * 2)
    expected = held_chance(holes, sigma_mm, c_mm)
    held = batch_fits(q, p, rho).mean()
    # 3.3 standard errors of a share, and what a millimetre of 1e-4 of play may add.
    assert held == pytest.approx(expected, abs=3.3 * math.sqrt(expected * (1 - expected) / draws) + 0.001)
    assert batch_fits(q[:, :holes], p[:, :holes], rho[:holes]).mean() >= held
