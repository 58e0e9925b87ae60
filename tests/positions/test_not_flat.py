"""Distances that no plane holds and that space does: how many there are to spare there."""

from __future__ import annotations

import numpy as np
import pytest

from partkin.positions.adjusting import adjust
from partkin.positions.network import Network
from partkin.positions.not_flat import spare_in_space
from positions.parts import all_pairs, apart, features, readings

BENT = np.array(
    [(0.0, 0.0, 0.0), (300.0, 0.0, 30.0), (320.0, 210.0, 0.0), (10.0, 190.0, 60.0), (150.0, 90.0, 10.0),
     (400.0, 90.0, 45.0)]
)  # fmt: skip


def of_distances(points: np.ndarray, long_mm: float = 0.0) -> Network:
    """Every distance of these points in space, one of them out by so much; nothing is known of places."""
    edges = np.array(all_pairs(len(points)))
    length = apart(points)[edges[:, 0], edges[:, 1]]
    length[0] += long_mm
    seen = np.full((len(points), 2), np.nan)
    return Network(edges, length, np.full(len(edges), 0.3), seen, np.zeros_like(seen))


@pytest.mark.parametrize(("count", "spare"), [(4, 0), (5, 1), (6, 3)])
def test_space_has_to_spare_what_no_place_takes_up(count: int, spare: int) -> None:
    """Three numbers a point, less the six of a rigid move."""
    points = BENT[:count]
    assert spare_in_space(of_distances(points), points[:, :2]) == spare
    if spare:
        assert spare_in_space(of_distances(points, long_mm=40.0), points[:, :2]) is None


def test_three_points_lie_in_a_plane_whatever_was_read() -> None:
    assert spare_in_space(of_distances(BENT[:3]), BENT[:3, :2]) is None


def test_heights_are_asked_for_where_space_has_some_to_spare_and_else_the_doubt_is_said() -> None:
    found = adjust("p", features(BENT[:, :2]), readings(BENT, all_pairs(6)))
    assert not found.flat and found.missing[0].quantity == "z"
    assert found.missing[0].says.startswith("no plane holds these distances of p, though space does")
    four = adjust("p", features(BENT[:4, :2]), readings(BENT[:4], all_pairs(4)))
    assert four.flat and any("no plane holds these distances of p" in note for note in four.notes)
    flat = adjust("p", features(BENT[:, :2]), readings(BENT[:, :2], all_pairs(6)))
    assert flat.flat and not any("no plane" in note for note in flat.notes)
