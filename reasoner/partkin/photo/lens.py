"""How an uncalibrated lens bends a picture: what may be, and what the straight edges of a sheet in it tell."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from partkin.photo.photo import Homography, NoHomography, homography, to_plane

# Greatest bending believed possible: at the picture's corner, as a share of the distance from its middle, by the square
# and by the fourth power of that distance; then how far the lens's axis may stand off the middle, in half diagonals.
# OpenCV's published camera has 0.19 for the first (tests/published/test_photographs.py); the rest is common practice,
# no source.
MOST_BENDING = (0.3, 0.1, 0.05, 0.05)
# By how much an edge of a sheet that lies flat bulges in its middle at most; common practice, no source.
BULGE_MM = 0.1
# An edge is looked at here: stations along it, between these shares of its length, and a band of this share beside it.
STATIONS = 48
ALONG = (0.06, 0.94)
BAND = 0.015
LEAST_BAND_PX = 6.0
# A followed edge keeps this share of its stations within so many px of one smooth line, and rises by so much there.
LEAST_KEPT = 0.75
SMOOTH_PX = 1.0
LEAST_RISE = 6.0


@dataclass(frozen=True, eq=False)
class Lens:
    """How a lens bends a picture: `bends` (4,) as in MOST_BENDING, `covariance` (4, 4)."""

    middle_px: np.ndarray
    reach_px: float
    bends: np.ndarray
    covariance: np.ndarray


def lens_of(size_px: tuple[int, int], edges_px: Sequence[np.ndarray], px_per_mm: float) -> Lens:
    """Return what edges that are straight on the part tell of a lens, within what may be.

    Plumb-line calibration (Brown 1971; from memory): the bulge and the swing of each edge are two observations. Where
    the edges agree less well with each other than they should, all count for less. `size_px`: width and height of the
    picture; `edges_px`: points (n, 2) along each edge, n at least 5; `px_per_mm`: where the edges are.
    """
    middle = np.array(size_px) / 2.0
    sigma = np.array(MOST_BENDING) / np.sqrt(3.0)
    lens = Lens(middle, float(np.linalg.norm(middle)), np.zeros(4), np.diag(sigma**2))
    read_px = np.array([_bulge_and_swing(edge)[1] for edge in edges_px])
    weight = 1.0 / np.hypot(BULGE_MM * px_per_mm / np.sqrt(3.0), read_px).ravel()

    def departures(bends: np.ndarray) -> np.ndarray:
        own = replace(lens, bends=bends)
        return np.asarray(weight * np.ravel([_bulge_and_swing(straightened(own, edge))[0] for edge in edges_px]))

    bends = lens.bends
    for _ in range(8):
        slope = slopes(departures, bends)
        normal = slope.T @ slope + np.diag(sigma**-2)
        bends = bends - np.linalg.solve(normal, slope.T @ departures(bends) + bends / sigma**2)
    off = float(np.sum(departures(bends) ** 2)) / (2 * len(edges_px) - 1)
    return replace(lens, bends=bends, covariance=max(1.0, off) * np.linalg.inv(normal))


def on_face(
    reference_px: np.ndarray, plane_mm: np.ndarray, points_px: np.ndarray, sigma_px: float, lens: Lens | None = None
) -> tuple[Homography, np.ndarray, np.ndarray] | NoHomography:
    """Carry points (m, 2) onto the face by four or more points (n, 2) that are known there, however the lens bends.

    `sigma_px`: standard uncertainty of a picked coordinate; without a lens the picture is free of distortion, or it has
    that in it. Returns the homography of the straightened picture, places in mm (m, 2), and their covariance (2m, 2m).
    """
    if lens is None:
        plain = homography(reference_px, plane_mm, sigma_px)
        return plain if isinstance(plain, NoHomography) else (plain, *to_plane(plain, points_px))
    known = on_face(straightened(lens, reference_px), plane_mm, straightened(lens, points_px), sigma_px)
    if isinstance(known, NoHomography):
        return known

    def places(bends: np.ndarray) -> np.ndarray:
        own = replace(lens, bends=bends)
        made = homography(straightened(own, reference_px), plane_mm, sigma_px)
        assert made, "it is made of nearly the same points"
        return to_plane(made, straightened(own, points_px))[0].ravel()

    slope = slopes(places, lens.bends)
    made, at_mm, covariance = known
    return made, at_mm, covariance + slope @ lens.covariance @ slope.T


def slopes(of: Callable[[np.ndarray], np.ndarray], at: np.ndarray) -> np.ndarray:
    """Return the slopes (n, m) of a function of m numbers, by differences."""
    steps = 1e-4 * np.eye(len(at))
    return np.stack([(of(at + step) - of(at - step)) / 2e-4 for step in steps], axis=-1)


def straightened(lens: Lens, points_px: np.ndarray) -> np.ndarray:
    """Return points (n, 2) as a lens without bending would show them, in px."""
    axis = lens.middle_px + lens.bends[2:] * lens.reach_px
    away = points_px - axis
    square = np.sum(away**2, axis=1, keepdims=True) / lens.reach_px**2
    return np.asarray(axis + away * (1.0 + lens.bends[0] * square + lens.bends[1] * square**2))


def _bulge_and_swing(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return how far an edge stands off straight (2,), and how surely that is read (2,), in px.

    Bulge: of its middle against its ends, by the second Legendre polynomial; swing: of one half against the other, by
    the third.
    """
    about = points - points.mean(axis=0)
    along, across = (about @ np.linalg.svd(about, full_matrices=False)[2].T).T
    run = 2.0 * (along - along.min()) / np.ptp(along) - 1.0
    shape = np.polynomial.legendre.legfit(run, across, 3)
    left = across - np.polynomial.legendre.legval(run, shape)
    noise = np.sqrt(float(left @ left) / (len(points) - 4) / len(points) * np.array([5.0, 7.0]))
    return 1.5 * shape[2:], 1.5 * noise


def followed(shades: np.ndarray, corners_px: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return points (n, 2) along each edge of a quadrilateral in a picture that shows as one smooth line.

    `corners_px` (4, 2) in order round it, as marked: an edge may run a little beside the line between two of them. No
    edge where a corner lies outside the picture.
    """
    if not ((corners_px >= 0.0) & (corners_px <= shades.shape[::-1])).all():
        return ()
    ends = zip(corners_px, np.roll(corners_px, -1, axis=0), strict=True)
    found = (_followed(shades, one, other) for one, other in ends)
    return tuple(edge for edge in found if edge is not None)


def _followed(shades: np.ndarray, one: np.ndarray, other: np.ndarray) -> np.ndarray | None:
    length = float(np.linalg.norm(other - one))
    along = (other - one) / max(1e-9, length)
    across = np.array([-along[1], along[0]])
    band = max(LEAST_BAND_PX, BAND * length)
    if length < 8.0 * band:
        return None
    at = np.linspace(*ALONG, STATIONS)[:, None]
    beside = np.arange(-band, band + 0.25, 0.5)
    rises = np.gradient(_seen(shades, one + at * (other - one), beside, across), 0.5, axis=1)
    rises = rises * (1.0 if rises.sum() >= 0.0 else -1.0)
    peak = np.argmax(rises, axis=1)
    weight = np.clip(rises, 0.0, None) * (np.abs(beside - beside[peak][:, None]) <= 2.0)
    off = (weight * beside).sum(axis=1) / np.maximum(1e-9, weight.sum(axis=1))
    keep = rises[np.arange(STATIONS), peak] >= LEAST_RISE
    for _ in range(4):
        if keep.sum() < LEAST_KEPT * STATIONS:
            return None
        away = np.abs(off - np.polyval(np.polyfit(at[keep, 0], off[keep], 2), at[:, 0]))
        keep = keep & (away <= max(SMOOTH_PX, 3.0 * float(np.median(away[keep]))))
    if np.median(away[keep]) > SMOOTH_PX:
        return None
    return np.asarray((one + at * (other - one) + off[:, None] * across)[keep])


def _seen(shades: np.ndarray, on_line: np.ndarray, beside: np.ndarray, across: np.ndarray) -> np.ndarray:
    """Return the picture (n, m) beside n points of a line, between the pixels; each over a few px along it."""
    from scipy.ndimage import map_coordinates

    along = np.array([across[1], -across[0]])
    at = on_line[:, None] + beside[:, None] * across
    # The middle of the first pixel stands at half a pixel.
    seen = [
        map_coordinates(shades, np.moveaxis(at + step * along - 0.5, -1, 0)[::-1], np.float64, 1, mode="nearest")
        for step in (-2.0, -1.0, 0.0, 1.0, 2.0)
    ]
    return np.asarray(np.mean(seen, axis=0))
