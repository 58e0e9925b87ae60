"""Who contributes what, and ellipses."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from partkin.positions import adjust, budget, draws, ellipse
from partkin.positions.budget import covariance_mm2, length_row, slopes
from positions.parts import all_pairs, features, readings

FIVE = np.random.default_rng(6).uniform(0.0, 500.0, (5, 2))
PAIRS = [pair for pair in all_pairs(5) if pair != (0, 4)]


def measured():
    rows = readings(FIVE, PAIRS, rng=np.random.default_rng(2))
    return rows, adjust("p", features(FIVE), rows)


def test_a_budget_adds_up_to_the_covariance() -> None:
    _, found = measured()
    row = length_row(found, 0, 4)
    told = budget(found, row)
    assert told.uncertainty == pytest.approx(math.sqrt(row @ found.covariance_mm2 @ row))
    assert sum(share.share for share in told.shares) == pytest.approx(1.0)
    assert [share.share for share in told.shares] == sorted((s.share for s in told.shares), reverse=True)


def test_a_sensitivity_is_what_changing_the_reading_does() -> None:
    rows, found = measured()
    told = {share.name: share.sensitivity for share in budget(found, length_row(found, 0, 4)).shares}
    for at, row in enumerate(rows):
        lengths = []
        for step in (0.05, -0.05):
            changed = [*rows[:at], replace(row, value=row.value + step), *rows[at + 1 :]]
            again = adjust("p", features(FIVE), changed)
            lengths.append(np.linalg.norm(again.xyz_mm[0] - again.xyz_mm[4]))
        assert told[row.reading] == pytest.approx((lengths[0] - lengths[1]) / 0.1, abs=2e-3)


def test_the_shares_name_coordinates_too() -> None:
    found = adjust("p", features(FIVE, (0, 1, 2), plus_minus_mm=0.8), readings(FIVE, PAIRS))
    told = budget(found, length_row(found, 0, 4))
    assert "f0.x_mm" in {share.name for share in told.shares}
    assert sum(share.share for share in told.shares) == pytest.approx(1.0)
    bare = adjust("p", features(FIVE, range(5), plus_minus_mm=0.6), [])
    told = budget(bare, length_row(bare, 0, 4))
    assert told.uncertainty == pytest.approx(math.sqrt(2.0) * 0.6 / math.sqrt(3.0))


def test_widened_uncertainties_are_widened_in_the_budget() -> None:
    quad = np.array([[0.0, 0.0], [300.0, 0.0], [300.0, 200.0], [0.0, 200.0]])
    found = adjust("p", features(quad), readings(quad, all_pairs(4), slips_mm={1: 8.0}))
    row = length_row(found, 0, 2)
    told = budget(found, row)
    assert told.uncertainty == pytest.approx(math.sqrt(row @ found.covariance_mm2 @ row), rel=1e-9)


def test_features_in_one_line_have_a_line_of_their_own() -> None:
    row = np.array([[0.0, 0.0], [150.0, 0.0], [310.0, 0.0]])
    found = adjust("p", features(row), readings(row, all_pairs(3)))
    beside = np.array([0.0, 0.0, 0.0, 1.0, 0.0, 0.0])
    told = budget(found, beside)
    assert told.shares[0].name == "in one line"
    assert told.uncertainty == pytest.approx(math.sqrt(beside @ found.covariance_mm2 @ beside))


def test_slopes() -> None:
    at = np.array([[1.0, 2.0], [3.0, -1.0]])
    found = slopes(lambda x: float(x[0, 0] ** 2 * x[1, 1] + x[0, 1]), at, np.full((2, 2), 1e-3))
    assert found == pytest.approx(np.array([[-2.0, 1.0], [0.0, 1.0]]))


@pytest.mark.parametrize("p", [0.5, 0.95])
def test_an_ellipse_holds_its_share_of_the_draws(p: float) -> None:
    found = adjust("p", features(FIVE, (0, 1, 2), plus_minus_mm=0.8), readings(FIVE, PAIRS))
    drawn = draws(found, 20_000, 4)
    for at, name in enumerate(found.features):
        told = ellipse(found, name, p)
        off = drawn[:, at] - found.xyz_mm[at]
        turn = math.radians(told.angle_deg)
        along = off @ [math.cos(turn), math.sin(turn)] / told.long_mm
        across = off @ [-math.sin(turn), math.cos(turn)] / told.short_mm
        assert (along**2 + across**2 <= 1.0).mean() == pytest.approx(p, abs=0.015)
        assert told.long_mm >= told.short_mm


def test_an_ellipse_of_a_stated_place_is_a_circle() -> None:
    found = adjust("p", features(FIVE, range(5), plus_minus_mm=0.6), [])
    told = ellipse(found, "f2")
    assert told.long_mm == pytest.approx(told.short_mm)
    assert told.long_mm == pytest.approx(0.6 / math.sqrt(3.0) * math.sqrt(5.991465), rel=1e-6)
    assert covariance_mm2(found) == pytest.approx(0.12 * np.eye(10))


def test_in_space_the_height_stands_apart() -> None:
    points = np.column_stack([FIVE, [0.0, 5.0, 9.0, 1.0, 0.0]])
    found = adjust("p", features(points, range(5), plus_minus_mm=0.6), [])
    assert ellipse(found, "f1").height_mm == pytest.approx(1.959964 * 0.6 / math.sqrt(3.0), rel=1e-6)
