"""Homographies between a flat face and its picture, many at a time. Numbers only.

Points of the face in mm, of the picture in px; b cases of n points each. A homography is 9 numbers of
unit length, rows of the 3 x 3 matrix, in coordinates that `centred` has brought to a size near 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

ROUNDS = 12


@dataclass(frozen=True, eq=False)
class Fits:
    """Homographies fitted to b cases.

    `h` (b, 9); `residual_px` (b, n, 2) picture minus homography; `chi_square` (b,); `in_front` bool (b,):
    every point is on one side of the camera; `turn` (b,): +1 where the picture runs round the same way
    as the face in numbers (x right, y up against x right, y down: a true view of the face has -1), else -1.
    """

    h: np.ndarray
    residual: np.ndarray
    chi_square: np.ndarray
    in_front: np.ndarray
    turn: np.ndarray


def centred(points: np.ndarray) -> np.ndarray:
    """Return the 3 x 3 matrix that brings points (n, 2) to mean 0 and mean distance sqrt(2)."""
    middle = points.mean(axis=0)
    size = math.sqrt(2.0) / max(1e-12, float(np.linalg.norm(points - middle, axis=1).mean()))
    return np.array([[size, 0.0, -size * middle[0]], [0.0, size, -size * middle[1]], [0.0, 0.0, 1.0]])


def moved(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Apply a 3 x 3 matrix to points (n, 2)."""
    there = np.asarray(points) @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(there[..., :2] / there[..., 2:])


def projected(h: np.ndarray, plane: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return picture points (b, n, 2), their slopes by h (b, n, 2, 9) and depth (b, n)."""
    b, n, _ = plane.shape
    p = np.concatenate([plane, np.ones((b, n, 1))], axis=2)
    there = p @ h.reshape(b, 3, 3).transpose(0, 2, 1)
    depth = there[:, :, 2]
    safe = np.where(np.abs(depth) < 1e-12, 1e-12, depth)[:, :, None]
    picture = there[:, :, :2] / safe
    slope = np.zeros((b, n, 2, 9))
    ratio = p / safe
    slope[:, :, 0, 0:3] = ratio
    slope[:, :, 1, 3:6] = ratio
    slope[:, :, :, 6:9] = -picture[:, :, :, None] * ratio[:, :, None, :]
    return picture, slope, depth


def stretch(h: np.ndarray, plane: np.ndarray) -> np.ndarray:
    """Return (b, n, 2, 2): how far the picture point moves for a small move on the face."""
    picture, _, depth = projected(h, plane)
    rows = h.reshape(-1, 3, 3)
    safe = np.where(np.abs(depth) < 1e-12, 1e-12, depth)[:, :, None, None]
    return np.asarray((rows[:, None, :2, :2] - picture[:, :, :, None] * rows[:, None, 2:, :2]) / safe)


def first_guess(plane: np.ndarray, picture: np.ndarray) -> np.ndarray:
    """Return h (b, 9) by the direct linear transformation."""
    b, n, _ = plane.shape
    p = np.concatenate([plane, np.ones((b, n, 1))], axis=2)
    rows = np.zeros((b, 2 * n, 9))
    rows[:, 0::2, 0:3] = p
    rows[:, 1::2, 3:6] = p
    rows[:, 0::2, 6:9] = -picture[:, :, 0:1] * p
    rows[:, 1::2, 6:9] = -picture[:, :, 1:2] * p
    return np.asarray(np.linalg.eigh(rows.transpose(0, 2, 1) @ rows)[1][:, :, 0])


def whitening(variance: np.ndarray) -> np.ndarray:
    """Return (..., 2, 2) matrices W with W' W the inverse of covariances (..., 2, 2)."""
    a, c, e = variance[..., 0, 0], variance[..., 0, 1], variance[..., 1, 1]
    first = 1.0 / np.sqrt(a)
    second = 1.0 / np.sqrt(np.maximum(1e-300, e - c * c / a))
    out = np.zeros_like(variance)
    out[..., 0, 0] = first
    out[..., 1, 0] = -second * c / a
    out[..., 1, 1] = second
    return out


def fit(plane: np.ndarray, picture: np.ndarray, sigma: float, slack: np.ndarray, rounds: int = ROUNDS) -> Fits:
    """Fit homographies to b cases by Gauss-Newton on what is seen in the picture.

    `plane`, `picture` (b, n, 2), centred; in centred units the standard uncertainties `sigma` of a picture coordinate
    and `slack` (b, n) of one on the face.
    """
    h = first_guess(plane, picture)
    b, n, _ = plane.shape
    best, least = h, np.full(b, math.inf)
    white = whitening(_variance(h, plane, sigma, slack))
    for turn in range(rounds + 1):
        seen, slope, _ = projected(h, plane)
        miss = np.einsum("bnij,bnj->bni", white, picture - seen)
        now = np.einsum("bni,bni->b", miss, miss)
        better = now < least
        best = np.where(better[:, None], h, best)
        least = np.where(better, now, least)
        if turn == rounds:
            break
        rows = np.einsum("bnij,bnjk->bnik", white, slope).reshape(b, 2 * n, 9)
        normal = rows.transpose(0, 2, 1) @ rows
        scale = np.einsum("bii->b", normal) / 9.0
        normal = normal + scale[:, None, None] * (h[:, :, None] * h[:, None, :] + 1e-13 * np.eye(9))
        right = (rows.transpose(0, 2, 1) @ miss.reshape(b, 2 * n, 1))[:, :, 0]
        h = h + np.linalg.solve(normal, right[:, :, None])[:, :, 0]
        h /= np.linalg.norm(h, axis=1, keepdims=True)
        if turn == 0 and slack.any():
            # Slack on the face is seen through the homography: once from the guess, once from a better one.
            white = whitening(_variance(h, plane, sigma, slack))
            least[:] = math.inf
    seen, _, depth = projected(best, plane)
    miss = np.einsum("bnij,bnj->bni", white, picture - seen)
    in_front = np.asarray((depth > 0).all(axis=1) | (depth < 0).all(axis=1))
    determinant = np.linalg.det(best.reshape(-1, 3, 3)) * np.sign(depth[:, 0])
    return Fits(best, picture - seen, np.einsum("bni,bni->b", miss, miss), in_front, np.sign(determinant))


def _variance(h: np.ndarray, plane: np.ndarray, sigma: float, slack: np.ndarray) -> np.ndarray:
    j = stretch(h, plane) * slack[:, :, None, None]
    return np.asarray(j @ j.transpose(0, 1, 3, 2) + sigma**2 * np.eye(2))


def covariance(h: np.ndarray, plane: np.ndarray, sigma: float) -> np.ndarray:
    """Return the covariance (9, 9) of one homography h (9,) from points (n, 2) picked within sigma."""
    _, slope, _ = projected(h[None], plane[None])
    rows = slope[0].reshape(-1, 9) / sigma
    scale = float(np.trace(rows.T @ rows)) / 9.0
    along = np.outer(h, h)
    return np.asarray(np.linalg.inv(rows.T @ rows + scale * along) - along / scale)
