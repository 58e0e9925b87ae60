"""OpenCV's published checkerboard photographs: what an uncorrected lens costs. Sources: the rows' own columns."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from partkin.photo.lens import lens_of, on_face
from partkin.photo.photo import Camera, homography, lens_sigma_px, to_plane, undistorted

HERE = Path(__file__).parent / "photographs"


def rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as sheet:
        return list(csv.DictReader(sheet))


PUBLISHED = [float(row["value"]) for row in rows("calibration.csv")]
CAMERA = Camera(PUBLISHED[0], PUBLISHED[0], *PUBLISHED[1:8])
SQUARE_MM = round(1000.0 * PUBLISHED[8], 3)
CORNERS_OF_BOARD = [0, 8, 45, 53]
PICKED_WITHIN_PX = 0.3


def views() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    found: dict[str, list[list[float]]] = {}
    for row in rows("corners.csv"):
        found.setdefault(row["photograph"], []).append(
            [SQUARE_MM * int(row["column"]), SQUARE_MM * int(row["row"]), float(row["x_px"]), float(row["y_px"])]
        )
    return {name: (np.array(table)[:, :2], np.array(table)[:, 2:]) for name, table in found.items()}


VIEWS = views()


def errors_mm(name: str, camera: Camera | None, known: list[int]) -> np.ndarray:
    board_mm, seen_px = VIEWS[name]
    if camera is not None:
        seen_px = undistorted(camera, seen_px)
    h = homography(seen_px[known], board_mm[known], PICKED_WITHIN_PX)
    assert h
    return np.linalg.norm(to_plane(h, seen_px)[0] - board_mm, axis=1)


def test_there_are_thirteen_views_of_fifty_four_corners() -> None:
    assert len(VIEWS) == 13
    assert {len(seen) for _, seen in VIEWS.values()} == {54}
    assert SQUARE_MM == 25.0


def test_raw_and_corrected() -> None:
    """From the board's four outer corners (200 x 125 mm) the rest come out 3.7 mm off at worst, 0.74 corrected."""
    raw = max(errors_mm(name, None, CORNERS_OF_BOARD).max() for name in VIEWS)
    corrected = max(errors_mm(name, CAMERA, CORNERS_OF_BOARD).max() for name in VIEWS)
    assert raw == pytest.approx(3.71, abs=0.01)
    assert corrected == pytest.approx(0.74, abs=0.01)


@pytest.mark.parametrize("name", VIEWS)
def test_correction_helps_in_every_view(name: str) -> None:
    assert errors_mm(name, CAMERA, list(range(54))).max() < 0.35 * errors_mm(name, None, list(range(54))).max()


@pytest.mark.parametrize("name", VIEWS)
def test_without_calibration_the_stated_uncertainty_covers_the_lens(name: str) -> None:
    board_mm, seen_px = VIEWS[name]
    widened_px = float(np.hypot(PICKED_WITHIN_PX, lens_sigma_px(seen_px[CORNERS_OF_BOARD])))
    h = homography(seen_px[CORNERS_OF_BOARD], board_mm[CORNERS_OF_BOARD], widened_px)
    assert h
    found_mm, covariance_mm2 = to_plane(h, seen_px)
    assert (np.abs(found_mm - board_mm).ravel() < 2.0 * np.sqrt(np.diagonal(covariance_mm2))).all()


# A sheet of 5 by 4 squares anywhere on the board; the rest of the board lies beyond it.
WIDE, HIGH = 5, 4
PICTURE_PX = (640, 480)


def sheets() -> Iterator[tuple[np.ndarray, np.ndarray, list[int], list[np.ndarray]]]:
    """Board, picture, the corners of a sheet on it, and the points along its four edges."""
    for board_mm, seen_px in VIEWS.values():
        for column, row in product(range(9 - WIDE), range(6 - HIGH)):
            at = [(column, row), (column + WIDE, row), (column + WIDE, row + HIGH), (column, row + HIGH)]
            corners = [9 * y + x for x, y in at]
            edges = [
                seen_px[np.linspace(one, other, count + 1).round().astype(int)]
                for one, other, count in zip(corners, np.roll(corners, -1), (WIDE, HIGH, WIDE, HIGH), strict=True)
            ]
            yield board_mm, seen_px, corners, edges


def test_the_edges_of_a_sheet_tell_how_the_lens_bends() -> None:
    """Carried beyond the sheet the board comes out 7.9 mm off at worst raw, 1.6 once the edges have told the lens."""
    raw_mm, found_mm, within, bends = [], [], [], []
    for board_mm, seen_px, corners, edges in sheets():
        plain = homography(seen_px[corners], board_mm[corners], PICKED_WITHIN_PX)
        raw_mm.append(np.abs(to_plane(plain, seen_px)[0] - board_mm).max())
        scale = float(np.linalg.norm(seen_px[corners[1]] - seen_px[corners[0]])) / (WIDE * SQUARE_MM)
        lens = lens_of(PICTURE_PX, edges, scale)
        _, at_mm, covariance_mm2 = on_face(seen_px[corners], board_mm[corners], seen_px, PICKED_WITHIN_PX, lens)
        off_mm = np.abs(at_mm - board_mm).ravel()
        found_mm.append(off_mm.max())
        within.append(off_mm <= np.sqrt(3.0 * np.diagonal(covariance_mm2)))
        bends.append(lens.bends[0])
    assert (max(raw_mm), max(found_mm)) == pytest.approx((7.85, 1.61), abs=0.01)
    assert np.mean(within) > 0.98
    assert np.mean(bends) == pytest.approx(published_bending(), abs=0.02)


def published_bending() -> float:
    """The published calibration as a bending by the square alone: what comes nearest over the whole picture."""
    grid = np.stack(np.meshgrid(np.linspace(20, 620, 20), np.linspace(20, 460, 20)), axis=-1).reshape(-1, 2)
    away = grid - np.array(PICTURE_PX) / 2.0
    square = np.sum(away**2, axis=1, keepdims=True) / float(np.sum(np.square(PICTURE_PX)) / 4.0)
    straight = undistorted(CAMERA, grid)

    def missed(bend: float) -> float:
        known = np.column_stack([away * (1.0 + bend * square), np.ones(len(grid))])
        return float(np.linalg.lstsq(known, straight, rcond=None)[1].sum())

    return min(np.linspace(-0.1, 0.4, 101), key=missed)
