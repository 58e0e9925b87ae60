"""Distances of segments and rings against shapely, and how far points along two ways may be from each other."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import LineString, Point, Polygon

from partkin.fit.segments import (
    apart_each_mm,
    apart_mm,
    centre_line,
    covers,
    distance_span,
    distances_lack,
    lengths,
    nearest,
    nearest_on,
    segments_of,
    to_segments_mm,
)
from partkin.model.fitting import Spot


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


@pytest.mark.parametrize("seed", range(20))
def test_points_and_rows_of_segments(seed: int) -> None:
    """The nearest point of each of many segments, some of them points; and the least of each row of them."""
    random = np.random.default_rng(seed)
    starts, ends, points = random.integers(0, 5, (3, 9, 2)).astype(float)
    on, away = nearest_on(points[:, None], starts, ends), to_segments_mm(points[:, None], starts, ends)
    assert on.shape == (9, 9, 2)
    lines = [LineString(both) for both in zip(starts, ends, strict=True)]
    for k, point in enumerate(points):
        for line, near, mm in zip(lines, on[k], away[k], strict=True):
            assert mm == pytest.approx(line.distance(Point(point)), abs=1e-9)
            assert np.linalg.norm(near - point) == pytest.approx(mm) and line.distance(Point(near)) < 1e-9
    one = segment(random)
    each = [LineString(one).distance(line) for line in lines]
    found = apart_each_mm(one, starts, ends, [0, 2, 3])
    assert found == pytest.approx([min(each[:2]), each[2], min(each[3:])], abs=1e-9)


@pytest.mark.parametrize("seed", range(10))
def test_in_space_the_nearest_point_of_a_segment_is_square_to_it_or_an_end(seed: int) -> None:
    random = np.random.default_rng(seed)
    start, end, point = random.normal(size=(3, 3)) * 3.0
    near = nearest_on(point, start, end)
    at = np.linspace(0.0, 1.0, 2001)[:, None]
    assert np.linalg.norm(point - near) == pytest.approx(
        np.linalg.norm(start + at * (end - start) - point, axis=1).min(), abs=1e-5
    )
    assert lengths(np.array([[3.0, 4.0, 12.0], [0.0, -2.0, 0.0]])).tolist() == [13.0, 2.0]


def test_lines_of_corners_and_of_slots() -> None:
    corners = [(0.0, 0.0), (4.0, 0.0), (4.0, 3.0)]
    starts, ends = segments_of(corners)
    assert starts.tolist() == [list(c) for c in corners] and ends.tolist() == [[4.0, 0.0], [4.0, 3.0], [0.0, 0.0]]
    for few in (1, 2):
        starts, ends = segments_of(corners[:few])
        assert starts.tolist() == [[0.0, 0.0]] and ends.tolist() == [list(corners[few - 1])]
        assert not covers(starts, ends, np.array([1.0, 0.5]))
    # There and back: a ring of two segments has nothing inside; a triangle has.
    there, back = np.array([[0.0, 0.0], [2.0, 2.0]]), np.array([[2.0, 2.0], [0.0, 0.0]])
    assert not covers(there, back, np.array([0.5, 1.0]))
    assert covers(*segments_of(corners), np.array([3.0, 1.0])) and not covers(
        *segments_of(corners), np.array([1.0, 2.0])
    )
    slot = Spot("s", (10.0, 5.0, 2.0), half_travel_mm=2.0, angle_deg=30.0)
    reach = np.array([2.0 * np.cos(np.pi / 6), 1.0])
    assert centre_line(slot) == pytest.approx(np.array([[10.0, 5.0]]) + np.outer([-1.0, 1.0], reach))


def test_what_distances_lack_by_hand() -> None:
    """300 apart; axes along the line reach 2 and 3: from 295 to 305, and 1 mm of play across; 4 in any direction."""
    host = np.array([300.0, 0.0, 0.0])
    ends = np.array([2.0, 0.0, 0.0]), np.array([3.0, 0.0, 0.0])
    for donor_mm, cut_mm, ball_mm in ((308.0, 2.0, 4.0), (290.0, 4.0, 6.0), (300.0, -6.0, -4.0)):
        cut, ball = distances_lack(host, np.array(donor_mm), ends, np.array(1.0), np.array(4.0))
        assert (cut, ball) == (pytest.approx(cut_mm), pytest.approx(ball_mm))
