"""Start values: which features hang together, and every layout that distances allow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from partkin.model.build import Reading
from partkin.positions import start
from partkin.positions.adjusting import adjust
from partkin.positions.network import Network
from partkin.positions.start import firm_points, layouts
from positions.parts import all_pairs, apart, features, random_network, readings

QUAD = np.array([[0.0, 0.0], [300.0, 0.0], [320.0, 210.0], [10.0, 190.0]])
SIX = np.array([[0.0, 0.0], [200.0, 0.0], [90.0, 150.0], [400.0, 50.0], [650.0, 20.0], [500.0, 260.0]])
PRISM = [(0, 1), (1, 2), (0, 2), (3, 4), (4, 5), (3, 5), (0, 3), (1, 4), (2, 5)]
K33 = [(a, b) for a in range(3) for b in range(3, 6)]


def network(points: np.ndarray, pairs: list[tuple[int, int]], stated: tuple[int, ...] = ()) -> Network:
    edges = np.array(pairs)
    seen = np.full_like(points, np.nan)
    seen[list(stated)] = points[list(stated)]
    length = apart(points)[edges[:, 0], edges[:, 1]]
    return Network(edges, length, np.full(len(edges), 0.3), seen, np.full_like(points, 0.3))


@pytest.mark.parametrize(
    ("pairs", "stated", "firm"),
    [
        ([(0, 1), (1, 2), (2, 3), (0, 3)], (), [0, 1]),
        ([(0, 1), (1, 2), (2, 3), (0, 3), (0, 2)], (), [0, 1, 2, 3]),
        ([(0, 1), (1, 2), (0, 2), (2, 3)], (), [0, 1, 2]),
        ([(0, 1), (1, 2), (0, 2)], (2, 3), [2, 3]),
        ([(0, 1), (1, 2), (0, 2)], (1, 2, 3), [0, 1, 2, 3]),
        ([(0, 1), (1, 2), (0, 2)], (3,), [0, 1, 2]),
        ([(0, 3)], (0, 1, 2), [0, 1, 2]),
    ],
)
def test_firm_points(pairs: list[tuple[int, int]], stated: tuple[int, ...], firm: list[int]) -> None:
    assert firm_points(network(QUAD, pairs, stated)).tolist() == firm


@pytest.mark.parametrize(
    ("points", "pairs", "count"),
    [
        (QUAD, [(0, 1), (1, 2), (2, 3), (0, 3), (0, 2)], 2),
        (QUAD, all_pairs(4), 1),
        (SIX, PRISM, None),
        (SIX, K33, None),
    ],
)
def test_the_true_layout_is_among_them(points: np.ndarray, pairs: list[tuple[int, int]], count: int | None) -> None:
    """A prism and K(3,3) are rigid and cannot be built point by point from two distances each.

    Nor does it matter from which end each was read.
    """
    found = layouts(network(points, pairs))
    backwards = layouts(network(points, [(b, a) for a, b in pairs]))
    same = [
        sorted(round(float(length), 2) for length in apart(one.xyz_mm)[0]) for one in found if one.chi_square < 1e-6
    ]
    turned = [sorted(round(float(x), 2) for x in apart(one.xyz_mm)[0]) for one in backwards if one.chi_square < 1e-6]
    assert sorted(turned) == sorted(same)
    good = [one for one in found if one.chi_square < 1e-6]
    assert any(np.allclose(apart(one.xyz_mm), apart(points), atol=1e-3) for one in good)
    if count is not None:
        assert len(good) == count
    for one in good:
        edges = np.array(pairs)
        same = apart(one.xyz_mm)[edges[:, 0], edges[:, 1]]
        assert same == pytest.approx(apart(points)[edges[:, 0], edges[:, 1]], abs=1e-3)


@pytest.mark.parametrize("seed", [seed for seed in range(36) if seed % 3])
def test_noisy_networks_start_from_nothing(seed: int) -> None:
    """No start is given; the best layout is at least as good as the one next to the truth."""
    from partkin.positions.network import solve

    whole, points, _ = random_network(seed)
    firm = firm_points(whole)
    part = whole.among(firm)
    near_truth = solve(part, points[firm])
    assert layouts(part)[0].chi_square <= near_truth.chi_square * (1.0 + 1e-6) + 1e-6


@pytest.mark.parametrize(("anchors", "d"), [(1, 2), (2, 2), (2, 3), (3, 3)])
def test_both_spots_have_the_distances_that_were_read(anchors: int, d: int) -> None:
    random = np.random.default_rng(anchors + d)
    laid, spot = random.uniform(0.0, 500.0, (5, anchors, d)), random.uniform(0.0, 500.0, d)
    for one in laid:
        length = np.linalg.norm(one - spot, axis=1)
        (spots,) = start._both_sides(one[None], length)
        assert np.linalg.norm(spots[:, None] - one, axis=2) == pytest.approx(np.stack([length] * 2), abs=1e-6)
        left, right = spots - one[0]
        if anchors > 1:
            first = np.append(one[1] - one[0], 0.0)
            assert (np.cross(first, np.append(left - right, 0.0))[2] if d == 2 else (left - right)[2]) > 0.0


@pytest.mark.parametrize(
    ("points", "flat"),
    [
        ([(5.0, 7.0)], True), ([(5.0, 7.0), (5.0, 7.0)], True), ([(0.0, 0.0), (30.0, 40.0), (60.0, 80.0)], True),
        ([(0.0, 0.0), (30.0, 40.0), (60.0, 80.1)], False), ([(0.0, 0.0, 0.0), (3.0, 0.0, 0.0), (3.0, 4.0, 0.0)], True),
        ([(0.0, 0.0, 0.0), (3.0, 0.0, 0.0), (3.0, 4.0, 0.0), (1.0, 1.0, 0.1)], False),
    ],
)  # fmt: skip
def test_points_that_leave_both_sides_the_same(points: list[tuple[float, ...]], flat: bool) -> None:
    assert start._flat(np.array(points)) is flat


def test_a_point_is_placed_as_soon_as_enough_readings_hold_it() -> None:
    """f2 has one reading to those that are placed until f3 is; f4 has none but to f2, and never enough."""
    points = np.vstack([QUAD, [600.0, 50.0]])
    tied = network(points, [(0, 1), (2, 1), (3, 2), (0, 3), (3, 1), (4, 2)])
    placed = np.array([True, True, False, False, False])
    for point in (3, 2, None):
        assert start._next_point(tied, placed) == point
        placed[point] = True


def test_a_layout_that_only_a_later_reading_bears_out_is_kept() -> None:
    """f2 to f3 was read 8 mm too long: until f4 and f5 are laid down, f2 looks better on the other side of f0 to f1."""
    points = np.array([[0.0, 0.0], [400.0, 0.0], [210.0, 5.0], [180.0, 160.0], [260.0, 250.0], [150.0, 300.0]])
    tied = network(points, all_pairs(6))
    long = tied.length_mm + 8.0 * (tied.edges == (2, 3)).all(axis=1)
    (found, *_) = layouts(replace(tied, length_mm=long))
    assert apart(found.xyz_mm) == pytest.approx(apart(points), abs=5.0)


def test_exact_coordinates_stay_while_a_rough_layout_is_refined() -> None:
    """Two holes are held fast; the others end where their distances are met."""
    seen = np.full_like(QUAD, np.nan)
    seen[:2] = QUAD[:2]
    pairs = np.array(all_pairs(4))
    length = apart(QUAD)[pairs[:, 0], pairs[:, 1]]
    held = Network(pairs, length, np.full(6, 0.3), seen, np.zeros_like(QUAD))
    rough = QUAD + np.array([[0.0, 0.0], [0.0, 0.0], [9.0, -7.0], [-6.0, 8.0]])
    found, cost = start._refined(held, rough[None])
    assert found[0, :2] == pytest.approx(QUAD[:2], abs=0.0)
    assert found[0] == pytest.approx(QUAD, abs=1e-4) and cost[0] < 1e-6


def test_a_separating_reading_is_named_and_separates() -> None:
    pairs = [(0, 1), (1, 2), (2, 3), (0, 3), (0, 2)]
    first = adjust("p", features(QUAD), readings(QUAD, pairs))
    assert len(first.layouts) == len(first.layout_covariances_mm2) == 2
    asked = next(ask for ask in first.missing if ask.quantity == "centres")
    assert {asked.from_feature, asked.to_feature} == {"f1", "f3"}
    assert "139 mm or 347 mm" in asked.says
    after = adjust("p", features(QUAD), readings(QUAD, [*pairs, (1, 3)]))
    assert len(after.layouts) == 1
    assert apart(after.xyz_mm) == pytest.approx(apart(QUAD), abs=1e-6)


def test_in_space() -> None:
    points = np.random.default_rng(2).uniform(0.0, 500.0, (7, 3))
    pairs = [pair for pair in all_pairs(7) if pair not in [(0, 6), (2, 5)]]
    found = layouts(network(points, pairs))
    assert apart(found[0].xyz_mm) == pytest.approx(apart(points), abs=1e-4)


@pytest.mark.parametrize("stated", [(), (0, 1, 2)])
def test_looks_choose_among_hundreds_of_layouts(stated: tuple[int, ...]) -> None:
    """Ten holes on two distances each, from the two before: 128 layouts, and a look at each leaves the true one."""
    points = np.random.default_rng(5).uniform(0.0, (900.0, 400.0), (10, 2))
    pairs = [(0, 1), (0, 2), (1, 2), *((at, at - back) for at in range(3, 10) for back in (1, 2))]
    bare = adjust("p", features(points, stated), readings(points, pairs))
    assert len(bare.layouts) > 4
    looks = [
        Reading("p", f"s{at}", "left of" if left_of(points, at) else "right of", None, None, f"f{at}",
                line_from=f"f{at - 2}", line_to=f"f{at - 1}")
        for at in range(2, 10)
    ]  # fmt: skip
    found = adjust("p", features(points, stated), [*readings(points, pairs), *looks])
    assert found.handed
    assert len(found.layouts) == 1
    assert apart(found.xyz_mm) == pytest.approx(apart(points), abs=1e-3)
    mixed_up = [replace(looks[4], quantity="right of" if looks[4].quantity == "left of" else "left of")]
    other = adjust("p", features(points, stated), [*readings(points, pairs), *looks[:4], *mixed_up, *looks[5:]])
    assert len(other.layouts) == 1
    assert np.abs(apart(other.xyz_mm) - apart(points)).max() > 20.0


def left_of(points: np.ndarray, at: int) -> bool:
    """Whether a point lies left of the line through the two before it."""
    along, off = points[at - 1] - points[at - 2], points[at] - points[at - 2]
    return bool(along[0] * off[1] > along[1] * off[0])
