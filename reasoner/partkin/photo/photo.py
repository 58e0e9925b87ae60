"""A photograph of a flat face: from picked points to millimetres, with covariance."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from partkin.photo import projective

# A triangle flatter than this (height over its longest side) counts as three points in one line.
IN_LINE = 0.03
# Worst error over the longest side that an uncorrected lens made in OpenCV's published checkerboard photographs:
# 3.71 mm on a board of 200 x 125 mm, diagonal 236 mm (tests/published/photographs).
LENS_SHARE = 0.016
# How far from square a rectangle may come out for a focal length, as the cosine of its corner, beside the best.
ASKEW = 0.03


@dataclass(frozen=True)
class Camera:
    """A calibration in pixels (pinhole with radial and tangential distortion, as OpenCV numbers it)."""

    fx: float
    fy: float
    cx: float
    cy: float
    k1: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0
    k3: float = 0.0


@dataclass(frozen=True, eq=False)
class Homography:
    """What carries the face (mm) onto the picture (px).

    `matrix` (3, 3) of unit norm; `covariance` (9, 9) of its rows; `sigma_px` of a picked coordinate; `worst_px`:
    largest residual of the points it was made from; `chi_square` with `degrees_of_freedom` (0 for four points: nothing
    checks them).
    """

    matrix: np.ndarray
    covariance: np.ndarray
    sigma_px: float
    worst_px: float
    chi_square: float
    degrees_of_freedom: int


@dataclass(frozen=True)
class NoHomography:
    """Why none was made. Falsy."""

    reason: str

    def __bool__(self) -> Literal[False]:
        """Stay falsy."""
        return False


def undistorted(camera: Camera, points_px: np.ndarray) -> np.ndarray:
    """Return points (n, 2) as a camera without lens distortion would show them, in px.

    Raises
    ------
    ValueError
        The distortion cannot be taken back: it folds the picture over at some point.
    """
    there = (np.asarray(points_px, dtype=float) - [camera.cx, camera.cy]) / [camera.fx, camera.fy]
    at = there.copy()
    for _ in range(50):
        slope = _bending(camera, at)
        # Where the picture folds over, the determinant goes through 0 on the way.
        if not (np.linalg.det(slope) > 1e-6).all():
            break
        step = np.linalg.solve(slope, (there - _bent(camera, at))[:, :, None])[:, :, 0]
        at = at + step
        if float(np.abs(step).max()) < 1e-13:
            return at * [camera.fx, camera.fy] + [camera.cx, camera.cy]
    raise ValueError("the lens distortion of this calibration cannot be taken back at every point")


def _bending(camera: Camera, at: np.ndarray) -> np.ndarray:
    """Slopes (n, 2, 2) of `_bent`."""
    x, y = at.T
    r2 = x * x + y * y
    radial = 1.0 + r2 * (camera.k1 + r2 * (camera.k2 + r2 * camera.k3))
    grows = 2.0 * (camera.k1 + r2 * (2.0 * camera.k2 + r2 * 3.0 * camera.k3))
    mixed = grows * x * y + 2.0 * (camera.p1 * x + camera.p2 * y)
    first = radial + grows * x * x + 2.0 * camera.p1 * y + 6.0 * camera.p2 * x
    last = radial + grows * y * y + 6.0 * camera.p1 * y + 2.0 * camera.p2 * x
    return np.moveaxis(np.array([[first, mixed], [mixed, last]]), -1, 0)


def distorted(camera: Camera, points_px: np.ndarray) -> np.ndarray:
    """Return where a lens shows points (n, 2) of an undistorted picture, in px."""
    at = (np.asarray(points_px, dtype=float) - [camera.cx, camera.cy]) / [camera.fx, camera.fy]
    return _bent(camera, at) * [camera.fx, camera.fy] + [camera.cx, camera.cy]


def _bent(camera: Camera, at: np.ndarray) -> np.ndarray:
    x, y = at.T
    r2 = x * x + y * y
    radial = 1.0 + r2 * (camera.k1 + r2 * (camera.k2 + r2 * camera.k3))
    across = x * radial + 2.0 * camera.p1 * x * y + camera.p2 * (r2 + 2.0 * x * x)
    return np.stack([across, y * radial + camera.p1 * (r2 + 2.0 * y * y) + 2.0 * camera.p2 * x * y], axis=1)


def lens_sigma_px(points_px: np.ndarray) -> float:
    """Return the standard uncertainty that an uncorrected lens adds to a picked coordinate.

    Half-width a of LENS_SHARE of the widest distance between the points, rectangular (JCGM 100:2008, 4.3.7).
    """
    points = np.asarray(points_px, dtype=float)
    widest = max(float(np.linalg.norm(a - b)) for a, b in combinations(points, 2))
    return LENS_SHARE * widest / math.sqrt(3.0)


def homography(points_px: np.ndarray, points_mm: np.ndarray, sigma_px: float = 1.5) -> Homography | NoHomography:
    """Fit the homography from four or more points whose places on the face are known.

    Normalised direct linear transformation, then Gauss-Newton on the picture's residuals. The points are float64 (n,
    2): as picked (x right, y down) and freed of what the lens bends, and on the face; `sigma_px`: standard uncertainty
    of a picked coordinate. Refused where fewer than four points, or no four of them without three in one line, are
    given.
    """
    picture, plane = np.array(points_px, dtype=float), np.array(points_mm, dtype=float)
    if picture.shape != plane.shape or picture.ndim != 2 or picture.shape[1] != 2:
        raise ValueError("as many picked points as known ones are needed, two numbers each")
    if not (np.isfinite(picture).all() and np.isfinite(plane).all()) or sigma_px <= 0.0:
        raise ValueError("points have to be finite and the picking error above 0")
    reason = _refusal(picture, plane)
    if reason:
        return NoHomography(reason)
    to_plane, to_picture = projective.centred(plane), projective.centred(picture)
    p, q = projective.moved(to_plane, plane), projective.moved(to_picture, picture)
    sigma = sigma_px * float(to_picture[0, 0])
    fits = projective.fit(p[None], q[None], sigma, np.zeros((1, len(p))))
    covariance = projective.covariance(fits.h[0], p, sigma)
    # Back to mm and px: matrix = inverse(to_picture) h to_plane, linear in h.
    linear = np.kron(np.linalg.inv(to_picture), to_plane.T)
    h = linear @ fits.h[0]
    norm = float(np.linalg.norm(h)) * float(np.sign(h[6:] @ [*plane[0], 1.0]) or 1.0)
    h, covariance = h / norm, linear @ covariance @ linear.T / norm**2
    worst = float(np.linalg.norm(fits.residual[0], axis=1).max() / to_picture[0, 0])
    return Homography(h.reshape(3, 3), covariance, sigma_px, worst, float(fits.chi_square[0]), 2 * len(p) - 8)


def _refusal(picture: np.ndarray, plane: np.ndarray) -> str | None:
    if len(plane) < 4:
        return "four points whose places are known are needed, no three of them in one line"
    for points, where in ((plane, "on the part"), (picture, "in the picture")):
        if not any(_spread_out(points[list(four)]) for four in _fours(points)):
            return f"three of any four of these points lie in one line {where}: others are needed"
    return None


def _fours(points: np.ndarray) -> list[tuple[int, ...]]:
    """Sets of four to look at: all of few points, else of twelve that stand far apart."""
    if len(points) <= 12:
        return list(combinations(range(len(points)), 4))
    chosen = [0]
    while len(chosen) < 12:
        away = np.min([np.linalg.norm(points - points[at], axis=1) for at in chosen], axis=0)
        chosen.append(int(np.argmax(away)))
    return list(combinations(chosen, 4))


def _spread_out(four: np.ndarray) -> bool:
    for three in combinations(four, 3):
        longest = float(max(np.linalg.norm(a - b) for a, b in combinations(three, 2)))
        (ax, ay), (bx, by) = three[1] - three[0], three[2] - three[0]
        if longest == 0.0 or abs(ax * by - ay * bx) / longest**2 < IN_LINE:
            return False
    return True


def to_plane(h: Homography, points_px: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Carry picked points (n, 2) back onto the face.

    Returns places in mm (n, 2), and their covariance (2n, 2n): the error of each pick, and that of the homography,
    which they share.
    """
    picture = np.array(points_px, dtype=float).reshape(-1, 2)
    flat = h.matrix.ravel()[None]
    plane = projective.moved(np.linalg.inv(h.matrix), picture)
    _, slope, _ = projective.projected(flat, plane[None])
    back = np.linalg.inv(projective.stretch(flat, plane[None])[0])
    by_h = -np.einsum("nij,njk->nik", back, slope[0]).reshape(-1, 9)
    covariance = by_h @ h.covariance @ by_h.T
    for at, own in enumerate(back):
        place = slice(2 * at, 2 * at + 2)
        covariance[place, place] += h.sigma_px**2 * own @ own.T
    return plane, covariance


def distance(plane_mm: np.ndarray, covariance_mm2: np.ndarray, a: int, b: int) -> tuple[float, float]:
    """Return the distance of two points that `to_plane` gave, and its standard uncertainty, in mm."""
    apart = plane_mm[a] - plane_mm[b]
    length_mm = float(np.linalg.norm(apart))
    row = np.zeros(plane_mm.size)
    row[2 * a : 2 * a + 2] = apart / max(1e-12, length_mm)
    row[2 * b : 2 * b + 2] = -row[2 * a : 2 * a + 2]
    return length_mm, math.sqrt(max(0.0, float(row @ covariance_mm2 @ row)))


def sides_ratio(h: Homography, size_px: tuple[int, int]) -> tuple[float, float]:
    """Return how much longer than given lengths along x are than those along y, by how the face is seen.

    The camera is taken to have square pixels and its axis through the middle of a picture of that width and height
    (image of the absolute conic; Zhang 2000, from memory). Where lengths were given right, 1 lies between the two.
    Focal lengths from half to three times the picture's diagonal are tried. Returns the least and the most.
    """
    tried = 80
    axes = h.matrix[:, :2].copy()
    axes[:2] -= np.outer(np.array(size_px) / 2.0, axes[2])
    focal_px = np.geomspace(0.5, 3.0, tried) * math.hypot(*size_px)
    seen = np.stack([axes[0] / focal_px[:, None], axes[1] / focal_px[:, None], np.tile(axes[2], (tried, 1))])
    long = np.linalg.norm(seen, axis=0)
    askew = np.abs(np.einsum("cfa,cfb->fab", seen, seen)[:, 0, 1]) / long.prod(axis=1)
    ratio = (long[:, 0] / long[:, 1])[askew <= askew.min() + ASKEW]
    return float(ratio.min()), float(ratio.max())
