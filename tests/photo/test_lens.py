"""How a lens bends, read off the straight edges of a sheet in drawn pictures."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFilter

from partkin.photo.lens import followed, lens_of, on_face
from partkin.photo.photo import Camera, NoHomography, distorted, homography, to_plane

SIZE = (3000, 2000)
STRAIGHT = Camera(2500.0, 2500.0, 1500.0, 1000.0)
BARREL = Camera(2500.0, 2500.0, 1500.0, 1000.0, k1=-0.2, k2=0.05)
MOUSTACHE = Camera(2500.0, 2500.0, 1500.0, 1000.0, k1=0.12, k2=-0.25)
SHEET_MM = np.array([[0.0, 0.0], [210.0, 0.0], [210.0, 148.0], [0.0, 148.0]])
HOLES_MM = np.array([[-60.0, -35.0], [326.0, -31.0], [319.0, 176.0], [-54.0, 173.0]])
# From the face to a straight picture, seen aslant.
VIEW = np.array([[3.3, 0.4, 1100.0], [0.25, -3.4, 1300.0], [2e-4, -2.5e-4, 1.0]])


def pictured(face_mm: np.ndarray, camera: Camera) -> np.ndarray:
    there = np.column_stack([face_mm, np.ones(len(face_mm))]) @ VIEW.T
    return distorted(camera, there[:, :2] / there[:, 2:])


def drawn(camera: Camera, shades: tuple[int, int] = (70, 235)) -> np.ndarray:
    """The sheet, lighter than what it lies on, its edges drawn as the lens bends them; with some noise."""
    share = np.linspace(0.0, 1.0, 200, endpoint=False)[:, None]
    edge_mm = np.vstack([a + share * (b - a) for a, b in zip(SHEET_MM, np.roll(SHEET_MM, -1, axis=0), strict=True)])
    image = Image.new("L", SIZE, shades[0])
    ImageDraw.Draw(image).polygon([tuple(at) for at in pictured(edge_mm, camera)], fill=shades[1])
    noise = np.random.default_rng(1).normal(0.0, 3.0, SIZE[::-1])
    soft = np.asarray(image.filter(ImageFilter.GaussianBlur(1.5)), dtype=float)
    return np.clip(soft + noise, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("camera", [STRAIGHT, BARREL, MOUSTACHE], ids=["straight", "barrel", "moustache"])
def test_places_beyond_the_sheet_come_out_within_what_is_stated(camera: Camera) -> None:
    corners, holes = pictured(SHEET_MM, camera), pictured(HOLES_MM, camera)
    edges = followed(drawn(camera), corners)
    assert len(edges) == 4
    lens = lens_of(SIZE, edges, 3.4)
    _, at_mm, covariance_mm2 = on_face(corners, SHEET_MM, holes, 1.5, lens)
    off_mm, stated_mm = np.abs(at_mm - HOLES_MM).ravel(), np.sqrt(3.0 * np.diagonal(covariance_mm2))
    assert (off_mm <= stated_mm).all() and off_mm.max() < 1.5
    raw_mm = np.abs(to_plane(homography(corners, SHEET_MM), holes)[0] - HOLES_MM).max()
    if camera is not STRAIGHT:
        assert off_mm.max() < 0.6 * raw_mm


def test_a_mark_beside_the_corner_still_finds_the_edges() -> None:
    corners = pictured(SHEET_MM, BARREL) + np.array([[4.0, -3.0], [-5.0, 2.0], [3.0, 4.0], [-4.0, -4.0]])
    assert len(followed(drawn(BARREL), corners)) == 4


@pytest.mark.parametrize("shades", [(128, 128), (128, 130)], ids=["nothing", "hardly anything"])
def test_where_no_edge_shows_none_is_followed(shades: tuple[int, int]) -> None:
    assert followed(drawn(STRAIGHT, shades), pictured(SHEET_MM, STRAIGHT)) == ()


def test_corners_outside_the_picture_are_not_followed() -> None:
    corners = pictured(SHEET_MM, STRAIGHT)
    for far_px in (-1.0, 1e300):
        assert followed(drawn(STRAIGHT), np.vstack([corners[:3], [[far_px, 500.0]]])) == ()


def test_a_ragged_edge_is_left_out() -> None:
    picture = drawn(STRAIGHT)
    corners = pictured(SHEET_MM, STRAIGHT)
    low, high = np.sort(corners[:2, 0]).astype(int)
    middle = int(corners[:2, 1].mean())
    for number, x in enumerate(range(low, high, 20)):
        picture[middle - 40 : middle + 9 * (number % 3) - 9, x : x + 20] = 235
        picture[middle + 9 * (number % 3) - 9 : middle + 40, x : x + 20] = 70
    assert len(followed(picture, corners)) == 3


def test_edges_that_disagree_are_trusted_less() -> None:
    edges = followed(drawn(STRAIGHT), pictured(SHEET_MM, STRAIGHT))
    run = np.linspace(-1.0, 1.0, len(edges[0]))
    bowed = (edges[0] + np.column_stack([0.0 * run, 8.0 * run**2]), *edges[1:])
    sure, less = (np.sqrt(np.diagonal(lens_of(SIZE, one, 3.4).covariance)[0]) for one in (edges, bowed))
    assert less > 2.0 * sure


def test_what_is_no_quadrilateral_is_refused() -> None:
    told = on_face(SHEET_MM[[0, 0, 1, 2]], SHEET_MM, HOLES_MM, 1.5)
    assert isinstance(told, NoHomography)
