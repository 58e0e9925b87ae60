"""The point that stands for a seam: twice reckoned, and bound to the line as is claimed."""

from __future__ import annotations

import math

import numpy as np
import pytest

from partkin.trial.seams import STEINER_FACTOR, hausdorff_mm, steiner_point
from partkin.verify.as_written_seams import middle


def corners_of(draw: np.random.Generator) -> list[tuple[float, float]]:
    count = int(draw.integers(1, 9))
    points = draw.uniform(-200.0, 200.0, (count, 2))
    if draw.random() < 0.3:
        points[:, 1] = 5.0
    return [(float(x), float(y)) for x, y in points]


@pytest.mark.parametrize("seed", range(60))
def test_both_ways_of_reckoning_agree_and_turn_with_the_seam(seed: int) -> None:
    draw = np.random.default_rng(seed)
    corners = corners_of(draw)
    assert steiner_point(corners) == pytest.approx(middle(tuple(corners)), abs=1e-9)
    angle = float(draw.uniform(-math.pi, math.pi))
    c, s = math.cos(angle), math.sin(angle)
    turned = [(c * x - s * y + 7.0, s * x + c * y) for x, y in corners]
    x, y = steiner_point(corners)
    assert steiner_point(turned) == pytest.approx((c * x - s * y + 7.0, s * x + c * y), abs=1e-9)


@pytest.mark.parametrize("seed", range(200))
def test_it_moves_no_further_than_the_line_but_for_the_factor(seed: int) -> None:
    draw = np.random.default_rng([seed, 1])
    one = corners_of(draw)
    other = corners_of(draw) if draw.random() < 0.5 else [
        (x + float(draw.normal(0, 4)), y + float(draw.normal(0, 4))) for x, y in one
    ]  # fmt: skip
    apart_mm = hausdorff_mm(np.array(one), np.array(other))
    assert math.dist(steiner_point(one), steiner_point(other)) <= STEINER_FACTOR * apart_mm + 1e-6


def test_the_middle_of_a_square_and_of_a_half_disc() -> None:
    """By symmetry; and of a half disc of radius 1, by its integral reckoned by hand, 1 / pi above the straight side."""
    assert steiner_point([(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)]) == pytest.approx((1.0, 1.0))
    arc = [(math.cos(t), math.sin(t)) for t in np.linspace(0.0, math.pi, 2001)]
    # 1 / pi times the integral of h(t) sin t: 2 / pi over the arc, where h = 1; over the lower half, where
    # h = |cos t|, minus 1 / pi.
    assert steiner_point(arc) == pytest.approx((0.0, 1.0 / math.pi), abs=1e-4)
