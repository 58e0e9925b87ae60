"""Rotations, quaternions and turns about an axis: each way of writing one down tells the same."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from partkin.fit.rotations import angle_deg, best_turn, flat_turn, form, laid_over, matrix_of, quaternion_of, turned_by

# Small and large turns about every axis, and half turns, of which a quaternion's first part is nothing.
VECTORS = [
    np.array(axis) / np.linalg.norm(axis) * math.radians(degrees)
    for axis in ((1, 0, 0), (0, 1, 0), (0, 0, 1), (1, -2, 3), (-3, 1, 1), (1, 4, -2))
    for degrees in (0.0, 12.0, 85.0, 119.0, 121.0, 175.0, 180.0)
]


@pytest.mark.parametrize("vector", VECTORS)
def test_a_turn_is_the_same_however_it_is_written(vector: np.ndarray) -> None:
    expected = Rotation.from_rotvec(vector)
    turn = turned_by(vector)
    assert turn == pytest.approx(expected.as_matrix(), abs=1e-12)
    quaternion = quaternion_of(turn)
    x, y, z, w = expected.as_quat()
    assert abs(quaternion @ (w, x, y, z)) == pytest.approx(1.0) and quaternion[np.abs(quaternion).argmax()] > 0.0
    assert matrix_of(quaternion) == pytest.approx(turn, abs=1e-12)
    assert matrix_of(3.0 * quaternion) == pytest.approx(turn, abs=1e-12)
    assert angle_deg(turn) == pytest.approx(math.degrees(float(np.linalg.norm(vector))), abs=1e-5)
    p, f = np.array([3.0, -1.0, 2.0]), np.array([0.5, 4.0, -2.0])
    assert quaternion @ form(p, f) @ quaternion == pytest.approx(f @ turn @ p)


@pytest.mark.parametrize("axis", [(0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.6, 0.0, 0.8), (-0.36, 0.48, -0.8)])
def test_the_frame_over_an_axis_stands_on_it(axis: tuple[float, float, float]) -> None:
    frame = laid_over(np.array(axis))
    assert frame.T @ frame == pytest.approx(np.eye(3), abs=1e-12) and np.linalg.det(frame) == pytest.approx(1.0)
    assert abs(frame[:, 2] @ axis) == pytest.approx(1.0)


def test_turns_of_the_plane_and_the_rotation_at_which_a_form_is_largest() -> None:
    turns = flat_turn(np.array([0.3, -2.0]))
    for turn, angle in zip(turns, (0.3, -2.0), strict=True):
        assert turn == pytest.approx(Rotation.from_euler("z", angle).as_matrix()[:2, :2])
    rng = np.random.default_rng(4)
    p, f = rng.normal(size=(2, 2, 5, 3))
    for best, points, ways in zip(best_turn(form(p, f).sum(axis=1)), p, f, strict=True):
        expected = Rotation.align_vectors(ways, points)[0].as_matrix()
        assert best == pytest.approx(expected, abs=1e-7)
