"""From picked points to millimetres."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from partkin.photo.photo import (
    Camera,
    NoHomography,
    distance,
    distorted,
    homography,
    sides_ratio,
    to_plane,
    undistorted,
)
from partkin.readings.photographed import SIDES_WITHIN
from photo.scenes import seen

RECTANGLE = np.array([[0.0, 0.0], [300.0, 0.0], [300.0, 200.0], [0.0, 200.0]])
OTHERS = np.array([[150.0, 100.0], [30.0, 170.0], [280.0, 20.0]])
PHONE = Camera(3000.0, 3010.0, 2000.0, 1490.0, k1=0.12, k2=-0.25, p1=0.0008, p2=-0.0005, k3=0.05)


@pytest.mark.parametrize("seed", range(8))
def test_exact_picks_give_exact_places(seed: int) -> None:
    picture = seen(np.random.default_rng(seed), np.vstack([RECTANGLE, OTHERS]))
    h = homography(picture[:4], RECTANGLE)
    assert h
    assert h.degrees_of_freedom == 0
    assert to_plane(h, picture[4:])[0] == pytest.approx(OTHERS, abs=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_more_points_than_needed_against_opencv(seed: int) -> None:
    rng = np.random.default_rng(seed)
    face = rng.uniform(0.0, 400.0, (15, 2))
    picture = seen(rng, face) + rng.normal(0.0, 1.0, (15, 2))
    ours = homography(picture, face, 1.0)
    theirs, _ = cv2.findHomography(face, picture)
    same = ours.matrix / ours.matrix[2, 2]
    grid = np.array([[0.0, 0.0, 1.0], [400.0, 0.0, 1.0], [400.0, 400.0, 1.0], [0.0, 400.0, 1.0]])
    ours_px, theirs_px = (grid @ m.T for m in (same, theirs))
    # Both minimise the reprojection error; OpenCV stops a little earlier.
    assert ours_px[:, :2] / ours_px[:, 2:] == pytest.approx(theirs_px[:, :2] / theirs_px[:, 2:], abs=0.05)
    assert ours.degrees_of_freedom == 22


@pytest.mark.parametrize("known", [4, 8])
def test_covariance_is_what_picking_again_gives(known: int) -> None:
    rng = np.random.default_rng(3)
    face = np.vstack([RECTANGLE, rng.uniform(0.0, 300.0, (known - 4, 2)), OTHERS])
    picture = seen(rng, face)
    found = []
    for _ in range(700):
        picked = picture + rng.normal(0.0, 1.5, picture.shape)
        h = homography(picked[:known], face[:known], 1.5)
        found.append(to_plane(h, picked[known:])[0].ravel())
    told = to_plane(homography(picture[:known], face[:known], 1.5), picture[known:])[1]
    assert np.cov(np.array(found).T) == pytest.approx(told, abs=0.15 * np.diagonal(told).max())
    spread = np.std([np.linalg.norm(one[0:2] - one[2:4]) for one in np.array(found)])
    plane = face[known:]
    assert distance(plane, told, 0, 1) == pytest.approx((np.linalg.norm(plane[0] - plane[1]), spread), rel=0.1)


@pytest.mark.parametrize(
    ("face", "why"),
    [
        (RECTANGLE[:3], "four points"),
        (np.array([[0.0, 0.0], [100.0, 0.0], [200.0, 0.0], [100.0, 150.0]]), "one line on the part"),
        (np.array([[0.0, 0.0], [0.0, 0.0], [300.0, 0.0], [300.0, 200.0]]), "one line on the part"),
        (np.column_stack([np.arange(6.0) * 50.0, [0.0, 0.0, 0.0, 0.0, 0.0, 90.0]]), "one line on the part"),
    ],
)
def test_refused(face: np.ndarray, why: str) -> None:
    told = homography(face * 4.0 + 100.0, face)
    assert not told
    assert isinstance(told, NoHomography)
    assert why in told.reason


@pytest.mark.parametrize(
    ("cut_px", "false", "missed"), [((0, 0, 4000, 3000), 0.0, 0.04), ((1000, 800, 4000, 3000), 0.04, 0.05)],
    ids=["whole", "cut from a corner"],
)  # fmt: skip
def test_sides_that_were_swapped_are_told_from_right_ones(cut_px: tuple[int, ...], false: float, missed: float) -> None:
    """A sheet of A4 from up to 40 degrees off square, 300 times: the sides as they are, and swapped."""
    rng = np.random.default_rng(0)
    sheet = np.array([[0.0, 0.0], [297.0, 0.0], [297.0, 210.0], [0.0, 210.0]])
    asked = []
    for _ in range(300):
        picture = seen(rng, sheet + np.array([100.0, 50.0])) + rng.normal(0.0, 1.5, (4, 2)) - np.array(cut_px[:2])
        size = cut_px[2] - cut_px[0], cut_px[3] - cut_px[1]
        ratios = [
            sides_ratio(homography(picture, sides), size) for sides in (sheet, sheet * [210.0 / 297.0, 297.0 / 210.0])
        ]
        asked.append([not least / SIDES_WITHIN <= 1.0 <= most * SIDES_WITHIN for least, most in ratios])
    right, swapped = np.mean(asked, axis=0)
    assert right <= false and 1.0 - swapped <= missed


def test_refused_where_the_picture_shows_the_face_edge_on() -> None:
    told = homography(RECTANGLE * [4.0, 0.01] + 100.0, RECTANGLE)
    assert not told
    assert "in the picture" in told.reason


def test_faulty_arrays_are_a_bug_of_the_caller() -> None:
    with pytest.raises(ValueError, match="as many picked points"):
        homography(RECTANGLE[:3], RECTANGLE)
    with pytest.raises(ValueError, match="finite"):
        homography(RECTANGLE * np.nan, RECTANGLE)
    with pytest.raises(ValueError, match="finite"):
        homography(RECTANGLE, RECTANGLE, sigma_px=0.0)


def test_lens_against_opencv() -> None:
    rng = np.random.default_rng(0)
    points = rng.uniform([300.0, 300.0], [3700.0, 2700.0], (40, 2))
    matrix = np.array([[PHONE.fx, 0.0, PHONE.cx], [0.0, PHONE.fy, PHONE.cy], [0.0, 0.0, 1.0]])
    bends = np.array([PHONE.k1, PHONE.k2, PHONE.p1, PHONE.p2, PHONE.k3])
    straight = (points - [PHONE.cx, PHONE.cy]) / [PHONE.fx, PHONE.fy]
    theirs, _ = cv2.projectPoints(np.column_stack([straight, np.ones(40)]), np.zeros(3), np.zeros(3), matrix, bends)
    assert distorted(PHONE, points) == pytest.approx(theirs[:, 0], abs=1e-6)
    assert undistorted(PHONE, distorted(PHONE, points)) == pytest.approx(points, abs=1e-6)


def test_a_lens_that_folds_the_picture_over_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot be taken back"):
        undistorted(Camera(1000.0, 1000.0, 0.0, 0.0, k1=-1.5), np.array([[900.0, 900.0]]))


def test_calibration_takes_the_lens_out() -> None:
    face = np.vstack([RECTANGLE, OTHERS])
    bent = distorted(PHONE, seen(np.random.default_rng(4), face))
    straight = undistorted(PHONE, bent)
    assert to_plane(homography(straight[:4], RECTANGLE), straight[4:])[0] == pytest.approx(OTHERS, abs=1e-5)
    assert np.abs(to_plane(homography(bent[:4], RECTANGLE), bent[4:])[0] - OTHERS).max() > 0.05
