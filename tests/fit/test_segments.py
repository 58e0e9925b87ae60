"""Distances of segments and rings against shapely, and how far points along two ways may be from each other."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import LineString, Point, Polygon

from partkin.fit.segments import apart_mm, covers, distance_span, nearest, segments_of


def segment(random: np.random.Generator) -> np.ndarray:
    """Whole numbers, so that some touch, cross, run side by side or are points."""
    return random.integers(0, 7, (2, 2)).astype(float)


@pytest.mark.parametrize("seed", range(60))
def test_the_nearest_points_of_two_segments(seed: int) -> None:
    random = np.random.default_rng(seed)
    one, other = segment(random), segment(random)
    here, there = nearest(one, other)
    lines = LineString(one), LineString(other)
    assert np.linalg.norm(there - here) == pytest.approx(lines[0].distance(lines[1]), abs=1e-9)
    assert lines[0].distance(Point(here)) < 1e-9 and lines[1].distance(Point(there)) < 1e-9
    starts, ends = other[:1], other[1:]
    assert float(np.min(apart_mm(one, starts, ends))) == pytest.approx(lines[0].distance(lines[1]), abs=1e-9)


@pytest.mark.parametrize("seed", range(30))
def test_what_a_ring_has_inside(seed: int) -> None:
    random = np.random.default_rng(seed)
    turns = np.sort(random.uniform(0.0, 2.0 * np.pi, int(random.integers(3, 7))))
    ring = 4.5 + random.uniform(1.0, 4.5, (len(turns), 1)) * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    starts, ends = segments_of(tuple(map(tuple, ring)))
    for point in random.uniform(-1.0, 10.0, (20, 2)):
        assert covers(starts, ends, point) == Polygon(ring).contains(Point(point))


@pytest.mark.parametrize("seed", range(20))
def test_least_and_greatest_distance_of_a_parallelogram(seed: int) -> None:
    """Against a grid over both ways; some of them are no way at all, or the same."""
    random = np.random.default_rng(seed)
    middle, one, two = random.normal(size=(3, 3)) * np.array([[6.0], [2.0], [3.0]])
    two = (two, one, np.zeros(3))[seed % 3]
    at = np.linspace(-1.0, 1.0, 201)
    away = np.linalg.norm(middle + at[:, None, None] * one + at[None, :, None] * two, axis=2)
    least, most = (float(one) for one in distance_span(middle, one, two))
    assert most == pytest.approx(away.max(), abs=1e-9)
    assert least <= away.min() + 1e-9 and least == pytest.approx(away.min(), abs=0.03)
