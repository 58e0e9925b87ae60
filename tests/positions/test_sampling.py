"""Draws: the right spread, and the same whichever way they are split."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from partkin.positions import adjust, draws, within_play
from partkin.positions.sampling import evenly, of_layout, split_mix
from positions.parts import all_pairs, features, readings

QUAD = np.array([[0.0, 0.0], [300.0, 0.0], [320.0, 210.0], [10.0, 190.0]])
STATED = adjust("p", features(QUAD, range(4), plus_minus_mm=0.6), [])
MEASURED = adjust("p", features(QUAD, (0, 1, 3), plus_minus_mm=0.6), readings(QUAD, all_pairs(4)))


@given(start=st.integers(0, 700), count=st.integers(0, 400), seed=st.integers(0, 2**31))
def test_any_block_is_the_same_draws(start: int, count: int, seed: int) -> None:
    for positions in (STATED, MEASURED):
        whole = draws(positions, start + count, seed)
        assert np.array_equal(draws(positions, count, seed, start=start), whole[start:])


@given(start=st.integers(0, 500), count=st.integers(0, 300))
def test_any_block_of_play_is_the_same_draws(start: int, count: int) -> None:
    size = (np.array([0.5, 1.0]), np.array([0.0, 3.0]), np.array([0.1, np.inf]))
    whole = within_play(start + count, 5, *size, ["p a", "p b"])
    assert np.array_equal(within_play(count, 5, *size, ["p a", "p b"], start), whole[start:])


def test_seeds_and_parts_differ() -> None:
    other = replace(STATED, part="q")
    assert not np.array_equal(draws(STATED, 10, 1), draws(STATED, 10, 2))
    one, two = draws(STATED, 4000, 1), draws(other, 4000, 1)
    assert abs(np.corrcoef((one - QUAD).ravel(), (two - QUAD).ravel())[0, 1]) < 0.02


def test_each_feature_is_drawn_for_itself() -> None:
    """Whatever else is listed, and in whichever order."""
    one, other = (adjust("p", features(QUAD, which, plus_minus_mm=0.6), []) for which in (range(4), (2, 0)))
    drawn = dict(zip(one.features, np.moveaxis(draws(one, 300, 1), 1, 0), strict=True))
    for name, at in zip(other.features, np.moveaxis(draws(other, 300, 1), 1, 0), strict=True):
        assert np.array_equal(at, drawn[name])


def test_rows_in_another_order_are_drawn_alike_where_distances_tie_them() -> None:
    rows = features(QUAD, (0, 1, 3), plus_minus_mm=0.6)
    one, other = (adjust("p", listed, readings(QUAD, all_pairs(4))) for listed in (rows, rows[::-1]))
    back = [other.features.index(name) for name in one.features]
    assert draws(other, 300, 1)[:, back] == pytest.approx(draws(one, 300, 1), abs=1e-6)


def test_stated_coordinates_are_rectangular() -> None:
    off = draws(STATED, 20_000, 1) - QUAD
    assert np.abs(off).max() <= 0.6
    assert off.std() == pytest.approx(0.6 / np.sqrt(3.0), rel=0.01)
    assert off.mean() == pytest.approx(0.0, abs=0.01)
    # Rectangular and not normal: the fourth moment is 1.8 times the square of the second.
    assert (off**4).mean() / (off**2).mean() ** 2 == pytest.approx(1.8, abs=0.02)


def test_exact_coordinates_stay_where_they_are() -> None:
    exact = adjust("p", features(QUAD, range(4), plus_minus_mm=0.0), [])
    assert np.array_equal(draws(exact, 5, 1), np.broadcast_to(QUAD, (5, 4, 2)))


def test_adjusted_positions_have_their_covariance() -> None:
    off = (draws(MEASURED, 40_000, 1) - MEASURED.xyz_mm).reshape(40_000, -1)
    told = np.cov(off.T)
    largest = np.abs(MEASURED.covariance_mm2).max()
    assert told == pytest.approx(MEASURED.covariance_mm2, abs=0.02 * largest)


def test_a_feature_that_no_distance_touches_stays_rectangular() -> None:
    rows = features(QUAD, range(4), plus_minus_mm=0.6)
    found = adjust("p", rows, readings(QUAD, [(0, 1)]))
    off = draws(found, 5000, 1) - found.xyz_mm
    assert np.abs(off[:, 2:]).max() <= 0.6
    assert np.abs(off[:, :2]).max() > 0.6


def test_layouts_are_drawn_one_at_a_time() -> None:
    found = adjust("p", features(QUAD), readings(QUAD, [(0, 1), (1, 2), (2, 3), (0, 3), (0, 2)]))
    other = of_layout(found, 1)
    assert draws(other, 3000, 1).mean(axis=0) == pytest.approx(found.layouts[1], abs=0.05)


@pytest.mark.parametrize(("radius", "travel"), [(0.5, 0.0), (0.7, 4.0), (0.0, 3.0), (3.0, 0.0)])
@pytest.mark.parametrize("spread", [0.1, 0.5, 2.0, np.inf])
def test_what_lies_within_a_play(radius: float, travel: float, spread: float) -> None:
    """Normal numbers but for those beyond the play, and evenly along a slot besides.

    Half the square of the distance over that of the spread is exponential, and cut off at c it is 1 - c / (e^c - 1).
    """
    x, y = within_play(30_000, 2, np.array([radius]), np.array([travel]), np.array([spread]), ["a"])[:, 0].T
    assert np.hypot(x - np.clip(x, -travel, travel), y).max() <= radius + 1e-12
    cut = min(0.5 * (radius / spread) ** 2, 500.0)
    own = spread * np.sqrt(1.0 - cut / np.expm1(cut)) if cut else radius / 2.0
    assert y.mean() == pytest.approx(0.0, abs=0.02 * max(own, 1e-9)) and y.std() == pytest.approx(own, rel=0.015)
    assert x.std() == pytest.approx(np.hypot(own, travel / np.sqrt(3.0)), rel=0.015)


def test_no_play_is_no_play() -> None:
    assert not within_play(10, 2, np.array([-0.2]), np.array([0.0]), np.array([0.1]), ["a"]).any()


def test_a_rough_frame_does_not_stretch_the_part() -> None:
    """Places by eye within 20 mm turn the part by degrees; every draw still has the distances that were read."""
    found = adjust("p", features(QUAD, (0, 1, 3), plus_minus_mm=20.0), readings(QUAD, all_pairs(4)))
    bare = adjust("p", features(QUAD), readings(QUAD, all_pairs(4)))
    assert np.trace(found.covariance_mm2) == pytest.approx(np.trace(bare.covariance_mm2), rel=1e-3)
    assert np.trace(found.in_frame_mm2) > 500.0
    assert not any("one line" in note for note in found.notes)
    drawn = draws(found, 2000, 1)
    for a, b in all_pairs(4):
        length = np.linalg.norm(drawn[:, a] - drawn[:, b], axis=1)
        assert length.mean() == pytest.approx(np.linalg.norm(QUAD[a] - QUAD[b]), abs=0.1)
        assert length.std() < 0.5


@pytest.mark.parametrize("plus_minus", [0.5, 2.0])
def test_what_may_stand_far_beside_a_line_keeps_its_distances(plus_minus: float) -> None:
    """f3 is read from both ends of a line that it nearly stands on: sideways it is open, and lengths are as read."""
    points = np.array([[0.0, 0.0], [300.0, 0.0], [320.0, 210.0], [140.0, 1.5]])
    pairs = [(0, 1), (1, 2), (0, 2), (0, 3), (1, 3)]
    found = adjust("p", features(points), readings(points, pairs, plus_minus))
    assert found.bent
    drawn = draws(found, 4000, 1)
    sigma = plus_minus / np.sqrt(3.0)
    assert drawn[:, 3, 1].std() > np.sqrt(0.25 * 140.0 * sigma)
    for a, b in pairs:
        length = np.linalg.norm(drawn[:, a] - drawn[:, b], axis=1)
        assert length.mean() == pytest.approx(np.linalg.norm(points[a] - points[b]), abs=0.25 * sigma)
        assert length.std() < 1.05 * sigma


def test_bending_back_leaves_exact_places_alone() -> None:
    rows = features(QUAD, (0, 1, 3), plus_minus_mm=20.0)
    rows[0] = replace(rows[0], plus_minus_mm=0.0)
    found = adjust("p", rows, readings(QUAD, all_pairs(4)))
    assert not found.bent
    assert np.array_equal(draws(found, 50, 1)[:, 0], np.broadcast_to(QUAD[0], (50, 2)))


def test_streams_are_those_of_split_mix() -> None:
    """The first numbers of the stream that begins at 1234567 (from memory)."""
    first = (6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431, 16408922859458223821)
    made = split_mix(np.array([1234567], dtype=np.uint64), np.arange(5, dtype=np.uint64))
    assert tuple(int(one) for one in made) == first


def test_streams_are_even_and_do_not_know_each_other() -> None:
    drawn = evenly(1, [f"part f{k}" for k in range(40)], 0, 4000)
    assert drawn.min() >= 0.0 and drawn.max() < 1.0
    assert np.abs(drawn.mean(axis=0) - 0.5).max() < 4.5 / np.sqrt(12.0 * 4000)
    flat = drawn.reshape(4000, -1)
    one, later = np.corrcoef(flat.T) - np.eye(120), np.corrcoef(flat[:-1].T, flat[1:].T)[:120, 120:]
    assert max(np.abs(one).max(), np.abs(later).max()) < 5.5 / np.sqrt(4000)
