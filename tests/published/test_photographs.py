"""OpenCV's published checkerboard photographs: what an uncorrected lens costs. Sources: the rows' own columns."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from partkin.photo.photo import Camera, homography, to_plane

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
    h = homography(seen_px[known], board_mm[known], PICKED_WITHIN_PX, camera=camera, lens_free=True)
    assert h
    return np.linalg.norm(to_plane(h, seen_px, camera)[0] - board_mm, axis=1)


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
    h = homography(seen_px[CORNERS_OF_BOARD], board_mm[CORNERS_OF_BOARD], PICKED_WITHIN_PX)
    assert h
    assert "No calibration" in h.notes[0]
    found_mm, covariance_mm2 = to_plane(h, seen_px)
    assert (np.abs(found_mm - board_mm).ravel() < 2.0 * np.sqrt(np.diagonal(covariance_mm2))).all()
