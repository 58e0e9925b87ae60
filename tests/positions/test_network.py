"""The adjustment against scipy, and its own laws."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import least_squares

from partkin.positions.network import Network, _spread_mm2, gauge, jacobian, rigid_moves, solve
from positions.parts import all_pairs, apart, random_network


def reference(network: Network, start_mm: np.ndarray):
    """scipy's least squares over the free coordinates, from the same start."""
    free = ~network.fixed
    whole = start_mm.ravel().copy()
    whole[~free] = network.seen_mm.ravel()[~free]

    def placed(values: np.ndarray) -> np.ndarray:
        every = whole.copy()
        every[free] = values
        return every.reshape(start_mm.shape)

    found = least_squares(
        lambda values: jacobian(network, placed(values))[1],
        whole[free],
        lambda values: -jacobian(network, placed(values))[0][:, free],
        xtol=1e-15, ftol=1e-15, gtol=1e-15,
    )  # fmt: skip
    return placed(found.x), 2.0 * found.cost, found.jac


def compare(seed: int) -> None:
    network, points, rng = random_network(seed)
    start_mm = points + rng.normal(0.0, 3.0, points.shape)
    ours = solve(network, start_mm)
    xyz_mm, chi_square, rows = reference(network, start_mm)
    assert ours.chi_square == pytest.approx(chi_square, rel=1e-7, abs=1e-9)
    free = ~network.fixed
    if ours.soft or ours.loose.shape[1]:
        return
    assert apart(ours.xyz_mm) == pytest.approx(apart(xyz_mm), abs=2e-3)
    pseudo = np.linalg.pinv(rows.T @ rows, rcond=1e-10)
    assert ours.redundancy == pytest.approx(1.0 - np.einsum("ij,jk,ik->i", rows, pseudo, rows), abs=1e-4)
    # Frames may differ by a turn; the spread of every distance does not depend on the frame.
    theirs = np.zeros_like(ours.covariance_mm2)
    theirs[np.ix_(free, free)] = pseudo
    told = distance_variances(xyz_mm, theirs)
    assert distance_variances(ours.xyz_mm, ours.covariance_mm2) == pytest.approx(told, rel=5e-3, abs=1e-9)


def distance_variances(xyz_mm: np.ndarray, covariance_mm2: np.ndarray) -> np.ndarray:
    k, d = xyz_mm.shape
    found = []
    for a, b in all_pairs(k):
        unit = (xyz_mm[a] - xyz_mm[b]) / np.linalg.norm(xyz_mm[a] - xyz_mm[b])
        row = np.zeros(k * d)
        row[a * d : a * d + d], row[b * d : b * d + d] = unit, -unit
        found.append(row @ covariance_mm2 @ row)
    return np.array(found)


@pytest.mark.parametrize("seed", range(20))
def test_against_scipy(seed: int) -> None:
    compare(seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(20, 220))
def test_against_scipy_on_two_hundred_networks(seed: int) -> None:
    compare(seed)


def test_jacobian_is_the_derivative() -> None:
    network, points, _ = random_network(9)
    rows, miss = jacobian(network, points)
    flat = points.ravel()
    for at in np.flatnonzero(~network.fixed):
        moved = flat.copy()
        moved[at] += 1e-4
        _, other = jacobian(network, moved.reshape(points.shape))
        assert rows[:, at] == pytest.approx((miss - other) / 1e-4, abs=1e-4)
    assert not rows[:, network.fixed].any()


@pytest.mark.parametrize("d", [2, 3])
def test_rigid_moves_change_no_distance(d: int) -> None:
    points = np.random.default_rng(1).uniform(0.0, 500.0, (6, d))
    moves = rigid_moves(points)
    assert moves.T @ moves == pytest.approx(np.eye(d * (d + 1) // 2), abs=1e-12)
    pairs = np.array(all_pairs(6))
    free = Network(pairs, np.ones(len(pairs)), np.ones(len(pairs)), np.full((6, d), np.nan), np.zeros((6, d)))
    assert jacobian(free, points)[0] @ moves == pytest.approx(0.0, abs=1e-12)


def test_covariance_of_a_free_network_has_no_part_in_the_gauge() -> None:
    network, points, _ = random_network(7)
    found = solve(network, points)
    assert found.covariance_mm2 @ gauge(network, found.xyz_mm) == pytest.approx(0.0, abs=1e-9)
    assert found.redundancy.sum() == pytest.approx(found.degrees_of_freedom, abs=1e-6)


def test_one_stated_point_leaves_the_turn_open() -> None:
    points = np.array([[10.0, 5.0], [310.0, 5.0], [310.0, 205.0]])
    pairs = np.array(all_pairs(3))
    seen = np.full((3, 2), np.nan)
    seen[0] = points[0]
    network = Network(pairs, apart(points)[pairs[:, 0], pairs[:, 1]], np.ones(3), seen, np.full((3, 2), 0.3))
    found = solve(network, points + 1.0)
    assert gauge(network, points).shape[1] == 1
    assert found.xyz_mm[0] == pytest.approx(points[0])
    assert found.degrees_of_freedom == 0


def test_coordinates_alone_come_back_as_they_were() -> None:
    seen = np.array([[0.0, 0.0], [100.0, 0.0]])
    empty = Network(np.zeros((0, 2), dtype=int), np.zeros(0), np.zeros(0), seen, np.full((2, 2), 0.5))
    found = solve(empty, seen)
    assert found.xyz_mm == pytest.approx(seen)
    assert found.covariance_mm2 == pytest.approx(0.25 * np.eye(4))


def test_covariance_is_what_repeated_measuring_gives() -> None:
    """600 repetitions of one network: spread of a distance that was not measured."""
    rng = np.random.default_rng(4)
    points = rng.uniform(0.0, 600.0, (6, 2))
    pairs = np.array([pair for pair in all_pairs(6) if pair != (0, 5)])
    true = apart(points)[pairs[:, 0], pairs[:, 1]]
    sigma = np.full(len(pairs), 0.4)
    free, none = np.full((6, 2), np.nan), np.zeros((6, 2))
    told = []
    for _ in range(600):
        found = solve(Network(pairs, true + rng.normal(0.0, sigma), sigma, free, none), points)
        told.append(np.linalg.norm(found.xyz_mm[0] - found.xyz_mm[5]))
    row = np.zeros(12)
    unit = (points[0] - points[5]) / np.linalg.norm(points[0] - points[5])
    row[:2], row[10:] = unit, -unit
    expected = np.sqrt(row @ solve(Network(pairs, true, sigma, free, none), points).covariance_mm2 @ row)
    assert np.std(told) == pytest.approx(expected, rel=0.1)
    assert np.mean(told) == pytest.approx(np.linalg.norm(points[0] - points[5]), abs=0.06)


@pytest.mark.parametrize(("sigma_mm", "tell"), [(0.4, True), (400.0, False)])
def test_coordinates_tell_of_the_shape_where_they_are_not_too_rough(sigma_mm: float, tell: bool) -> None:
    """Six distances have one to spare; with eight coordinates that are no less sure there are five more."""
    points = np.array([[0.0, 0.0], [300.0, 0.0], [320.0, 210.0], [10.0, 190.0]])
    edges = np.array(all_pairs(4))
    length = apart(points)[edges[:, 0], edges[:, 1]]
    seen = points + np.array([[0.0, 0.0], [0.0, 0.0], [6.0, 0.0], [0.0, 0.0]])
    found = solve(Network(edges, length, np.full(6, 0.3), seen, np.full_like(points, sigma_mm)), points)
    assert found.own_freedom == (6 if tell else 1)
    assert (found.own_chi_square > 20.0) == tell


@pytest.mark.parametrize(
    ("firmness", "lean", "bend"),
    [
        (4.0, 0.0, 0.1), (1.0, 0.6, 0.4), (1.0, -0.6, 0.4), (0.04, 0.01, 0.003), (0.04, -0.01, 0.003),
        (-1.0, 0.0, 0.2), (-0.5, 0.1, 0.2), (0.0, 0.3, 2.0), (0.25, 0.0, 0.0),
    ],
)  # fmt: skip
def test_the_spread_of_a_move_is_its_mean_square_on_this_side_of_the_ridge(
    firmness: float, lean: float, bend: float
) -> None:
    """By integrating, from where chi-square begins to fall again on one side to where it does on the other."""

    def chi_square(t: np.ndarray | float) -> np.ndarray | float:
        return firmness * t**2 + 2.0 * lean * t**3 + bend * t**4

    far = np.linspace(0.0, 12.0 * max(abs(firmness) ** -0.5 if firmness else 0.0, bend**-0.25 if bend else 0.0), 10_001)
    ends = []
    for way in (-far, far):
        falls = np.flatnonzero(np.diff(chi_square(way)) < 0.0) if firmness > 0.0 else []
        ends.append(float(way[falls[0]] if len(falls) else way[-1]))
    total, square = (
        quad(lambda t, power=power: t**power * np.exp(-0.5 * chi_square(t)), *ends, points=[0.0])[0] for power in (0, 2)
    )
    assert _spread_mm2(firmness, lean, bend) == pytest.approx(square / total, rel=0.01)


def test_what_nothing_bounds_hides_nothing_that_is_bounded_by_its_bend() -> None:
    """f3 lies nearly on the line of the two that it was read from, and f4 turns freely about f2."""
    points = np.array([[0.0, 0.0], [300.0, 0.0], [320.0, 210.0], [150.0, 1.5], [500.0, 400.0]])
    edges = np.array([(0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 4)])
    unseen = np.full_like(points, np.nan)
    tied = Network(edges, apart(points)[edges[:, 0], edges[:, 1]], np.full(6, 0.3), unseen, unseen)
    found = solve(tied, points)
    assert (found.soft, found.bent, found.loose.shape[1]) == (1, True, 1)
    assert jacobian(tied, points)[0] @ found.loose == pytest.approx(0.0, abs=1e-9)
