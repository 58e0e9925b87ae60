"""What no turn and shift takes away: against finite differences, least squares, and conditioning written out."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from partkin.fit.discrepancies import FINEST_MM, Discrepancies, discrepancies, rotation, turning
from partkin.fit.just_goes_on import Reach, at_their_ends, just_goes_on, nearest_that_goes_on, shortfalls


def some(seed: int, d: int, n: int = 4) -> tuple[Discrepancies, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """A donor turned and shifted, read with errors that hang together; the sides and their covariances."""
    rng = np.random.default_rng([seed, d])
    host = rng.uniform(-200, 200, (n, d))
    turn = rotation(rng.normal(size=1 if d == 2 else 3))
    donor = (host + rng.normal(0, 0.5, (n, d)) - rng.uniform(-50, 50, d)) @ turn
    spreads = [a @ a.T * 0.05 for a in rng.normal(size=(2, n * d, n * d))]
    nearly = rotation(0.05 * rng.normal(size=1 if d == 2 else 3)) @ turn
    return discrepancies(host, donor, *spreads, nearly), host, donor, *spreads


@pytest.mark.parametrize("d", [2, 3])
def test_small_turns_move_every_coordinate_as_the_rotation_does(d: int) -> None:
    rng = np.random.default_rng(d)
    arm = rng.normal(size=(3, d))
    moves = turning(arm)
    for k, one in enumerate(np.eye(moves.shape[1])):
        slope = (arm @ rotation(1e-6 * one).T - arm @ rotation(-1e-6 * one).T) / 2e-6
        assert moves[:, k] == pytest.approx(slope.ravel(), abs=1e-8)
    vector = rng.normal(size=1 if d == 2 else 3)
    whole = Rotation.from_rotvec([0.0, 0.0, vector[0]] if d == 2 else vector).as_matrix()[:d, :d]
    assert rotation(vector) == pytest.approx(whole) and rotation(0.0 * vector).tolist() == np.eye(d).tolist()


@pytest.mark.parametrize("d", [2, 3])
@pytest.mark.parametrize("seed", range(4))
def test_what_is_left_is_laid_by_least_squares_and_its_errors_are_those_of_the_readings(seed: int, d: int) -> None:
    of, host, donor, host_mm2, donor_mm2 = some(seed, d)
    n = len(host)
    turns = 1 if d == 2 else 3
    assert of.basis.shape == (n * d, n * d - d - turns)
    assert of.basis.T @ of.basis == pytest.approx(np.eye(of.basis.shape[1]), abs=1e-10)
    # The best rotation of least squares (Kabsch), and no shift or turn among the directions.
    centred = [side - side.mean(axis=0) for side in (host, donor)]
    u, _, vt = np.linalg.svd(centred[0].T @ centred[1])
    best = u @ np.diag([*np.ones(d - 1), np.linalg.det(u @ vt)]) @ vt
    assert of.onto == pytest.approx(best, abs=1e-7)
    laid = donor @ best.T
    gap = laid - laid.mean(axis=0) - centred[0]
    assert of.shift_mm == pytest.approx(host.mean(axis=0) - laid.mean(axis=0), abs=1e-6)
    assert of.basis.T @ np.tile(np.eye(d), (n, 1)) == pytest.approx(0.0, abs=1e-9)
    assert of.basis.T @ turning(laid - laid.mean(axis=0)) == pytest.approx(0.0, abs=1e-4)
    assert of.y_mm == pytest.approx(of.basis.T @ gap.ravel(), abs=1e-6)
    whole = np.kron(np.eye(n), best)
    spread = of.basis.T @ (host_mm2 + whole @ donor_mm2 @ whole.T) @ of.basis
    assert spread == pytest.approx(np.diag(of.variance_mm2), abs=1e-6)
    # Back in the donor's frame: as read where they depart as they do, but for what a turn and shift takes away.
    back = of.donor_mm(np.stack([of.y_mm, 2.0 * of.y_mm]))
    assert back[0] @ of.onto.T + of.shift_mm == pytest.approx(host + (of.basis @ of.y_mm).reshape(n, d), abs=1e-6)
    assert back[1] @ of.onto.T + of.shift_mm == pytest.approx(host + 2.0 * (of.basis @ of.y_mm).reshape(n, d), abs=1e-6)
    # Errors are standard normal numbers along the directions, times their own deviation, however the pattern lies.
    drawn = np.random.default_rng(seed).normal(size=(5, n, d))
    axes = of.own_mm(np.eye(d)[None])[0].T
    assert axes.T @ axes == pytest.approx(np.eye(d), abs=1e-9)
    errors = [((axes @ one.T).T.ravel() @ of.basis) * np.sqrt(of.variance_mm2) for one in drawn]
    assert of.errors_mm(drawn) == pytest.approx(np.array(errors), abs=1e-9)


def test_what_is_exact_counts_with_the_finest_deviation() -> None:
    at, none = np.array([(0.0, 0.0), (300.0, 0.0), (0.0, 200.0)]), np.zeros((6, 6))
    of = discrepancies(at, at, none, none, np.eye(2))
    assert of.variance_mm2 == pytest.approx(np.full(3, FINEST_MM**2))
    told, _ = of.told(np.zeros(3), 1.0, np.zeros(1))
    assert told.variance_mm2 == pytest.approx(np.full(3, FINEST_MM**2))


@pytest.mark.parametrize("seed", range(4))
def test_one_more_reading_conditions_the_errors(seed: int) -> None:
    """Gauss: what is left is the covariance less what the reading shares; each value moves what is expected of y."""
    of, *_ = some(seed, 2, 5)
    rng = np.random.default_rng(seed)
    shared = rng.normal(size=len(of.y_mm)) * np.sqrt(of.variance_mm2) * 0.3
    by = np.array([-0.7, 0.0, 1.3])
    told, y = of.told(shared, 2.0, by)
    left = np.diag(of.variance_mm2) - np.outer(shared, shared) / 2.0
    assert told.basis @ np.diag(told.variance_mm2) @ told.basis.T == pytest.approx(
        of.basis @ left @ of.basis.T, abs=1e-9
    )
    assert told.basis @ told.y_mm == pytest.approx(of.basis @ of.y_mm)
    for value, one in zip(by, y, strict=True):
        assert told.basis @ one == pytest.approx(of.basis @ (of.y_mm - value * shared / 2.0))


def a_reach(rng: np.random.Generator, n: int, d: int, slots: int) -> Reach:
    along = rng.normal(size=(n, slots, d))
    along /= np.linalg.norm(along, axis=2, keepdims=True)
    return Reach(rng.uniform(0.2, 0.6, n), along, rng.uniform(0.0, 1.0, (n, slots)))


@pytest.mark.parametrize("d", [2, 3])
@pytest.mark.parametrize("slots", [0, 1])
def test_the_nearest_that_a_play_and_a_slot_leave(d: int, slots: int) -> None:
    """Against the nearest of many points of the slot, and in space across its axis alone."""
    rng = np.random.default_rng([d, slots])
    reach = a_reach(rng, 3, d, slots)
    off = rng.normal(size=(20, 3, d))
    near, rest = reach.nearest(off), reach.slid(off)
    ways = np.linspace(-1.0, 1.0, 4001)
    for k in range(3):
        line = ways[:, None] * (reach.half_mm[k, 0] * reach.along[k, 0] if slots else np.zeros(d))
        for one, there, left in zip(off[:, k], near[:, k], rest[:, k], strict=True):
            away = np.linalg.norm(one - line, axis=1)
            assert np.linalg.norm(left) == pytest.approx(away.min(), abs=1e-4)
            beyond = max(0.0, away.min() - reach.radius_mm[k])
            assert np.linalg.norm(one - there) == pytest.approx(beyond, abs=1e-4)
            assert np.linalg.norm(there - line, axis=1).min() <= reach.radius_mm[k] + 1e-4
    ends = at_their_ends(reach, near)
    assert ends.tolist() == (np.linalg.norm(rest, axis=2) >= reach.radius_mm - 1e-6).sum(axis=1).tolist()
    if d == 3:
        axis = np.array([(0.0, 0.0, 1.0)] * 3)
        flat = Reach(reach.radius_mm, axis[:, None], np.full((3, 1), 0.1), axis)
        across = flat.nearest(off)
        assert across[..., 2] == pytest.approx(np.clip(off[..., 2], -0.1, 0.1))
        far = np.linalg.norm(off[..., :2], axis=2)
        shrunk = off[..., :2] * np.minimum(1.0, flat.radius_mm / far)[..., None]
        assert across[..., :2] == pytest.approx(shrunk)


def test_two_slots_together_take_the_most_that_they_can() -> None:
    rng = np.random.default_rng(3)
    along = np.array([[(1.0, 0.0), (0.6, 0.8)]])
    reach = Reach(np.array([0.1]), along, np.array([[1.0, 0.5]]))
    grid = np.linspace(-1.0, 1.0, 401)
    for one in rng.normal(size=(20, 2)) * 1.5:
        left = one - (grid[:, None, None] * (1.0, 0.0) + grid[None, :, None] * (0.3, 0.4)).reshape(-1, 2)
        assert np.linalg.norm(reach.slid(one[None, None])[0, 0]) == pytest.approx(
            np.linalg.norm(left, axis=1).min(), abs=0.12
        )


@pytest.mark.parametrize("seed", range(4))
def test_no_other_configuration_that_goes_on_is_nearer_to_the_readings(seed: int) -> None:
    """By SLSQP of scipy over the configurations: the squares missed by, in variances, and where."""
    from scipy.optimize import minimize

    of, *_ = some(seed, 2)
    rng = np.random.default_rng(seed)
    n = len(of.fixings_mm)
    reach = Reach(rng.uniform(0.1, 0.4, n), np.zeros((n, 0, 2)), np.zeros((n, 0)))
    y = np.stack([2.0 * of.y_mm, 0.001 * of.y_mm])
    held, missed = nearest_that_goes_on(of, reach, y)
    assert (np.linalg.norm(held, axis=2) <= reach.radius_mm + 1e-9).all() and missed[1] == pytest.approx(0.0, abs=1e-9)

    def squares(x: np.ndarray) -> float:
        return float(((y[0] - x @ of.basis) ** 2 / of.variance_mm2).sum())

    best = minimize(
        squares, held[0].ravel(), method="SLSQP", options={"maxiter": 500, "ftol": 1e-12},
        constraints={"type": "ineq", "fun": lambda x: reach.radius_mm**2 - (x.reshape(n, 2) ** 2).sum(axis=1)},
    )  # fmt: skip
    assert missed[0] == pytest.approx(squares(held[0].ravel()))
    assert missed[0] == pytest.approx(best.fun, rel=0.02, abs=1e-6)


def test_shares_that_look_as_far_off() -> None:
    """All of them where it goes on as read; then the fewer, the farther out it was read; of one pair nothing is off."""
    rng = np.random.default_rng(1)
    at = rng.uniform(-200, 200, (4, 2))
    spread = np.eye(8) * 0.25**2
    n = len(at)
    reach = Reach(np.full(n, 0.3), np.zeros((n, 0, 2)), np.zeros((n, 0)))
    shares = []
    for off in (0.0, 1.0, 1.5, 4.0):
        there = at + np.array([(off, 0.0), *[(0.0, 0.0)] * 3])
        shares.append(just_goes_on(discrepancies(at, there, spread, spread, np.eye(2)), reach, 0.95))
    assert shares[0] == 1.0 and shares[0] > shares[1] > shares[2] > shares[3] == 0.0
    one = discrepancies(at[:1], at[:1], spread[:2, :2], spread[:2, :2], np.eye(2))
    assert just_goes_on(one, Reach(np.full(1, 0.3), np.zeros((1, 0, 2)), np.zeros((1, 0))), 0.95) == 1.0


@pytest.mark.parametrize("seed", range(4))
def test_shortfalls_are_about_those_of_the_best_placement(seed: int) -> None:
    from partkin.fit.arrays import Pairs
    from partkin.fit.minimax import best_placement

    of, *_ = some(seed, 2)
    n = len(of.fixings_mm)
    rng = np.random.default_rng(seed)
    radius = rng.uniform(0.1, 0.5, n)
    departs = np.stack([of.y_mm, 3.0 * of.y_mm, -2.0 * of.y_mm])
    short, which = shortfalls(of, Reach(radius, np.zeros((n, 0, 2)), np.zeros((n, 0))), departs)
    for mm, pair, donor in zip(short, which, of.donor_mm(departs), strict=True):
        best = best_placement(Pairs.plain(donor, of.fixings_mm, radius))
        assert best.worst_mm - 1e-3 <= mm <= best.worst_mm + 0.05 and best.excess_mm[pair] >= best.worst_mm - 0.1
