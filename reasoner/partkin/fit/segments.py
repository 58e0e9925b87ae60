"""Points, segments and rings in the plane of a part (or in space): how far apart they are, and what lies inside.

Segments come as two arrays, starts and ends, (n, d) each; a line is one segment, (2, d). All in mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from partkin.model.fitting import Spot


def segments_of(corners_mm: Sequence[Sequence[float]] | np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Starts and ends of the segments through some corners: a point, a line, or a ring from three corners on."""
    points = np.asarray(corners_mm, dtype=float)
    return (points[:1], points[-1:]) if len(points) <= 2 else (points, np.roll(points, -1, axis=0))


def direction(angle_deg: float) -> np.ndarray:
    """Unit vector, (2,), in a direction."""
    turn = math.radians(angle_deg)
    return np.array([math.cos(turn), math.sin(turn)])


def centre_line(spot: Spot) -> np.ndarray:
    """Both ends, (2, 2), of a spot's centre line in its part's own frame."""
    centre, reach = np.array(spot.at_mm[:2], dtype=float), spot.half_travel_mm * direction(spot.angle_deg)
    return np.array([centre - reach, centre + reach])


def nearest_on(points: np.ndarray, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Points of segments that are nearest to some points; shapes broadcast."""
    along = ends - starts
    square = np.einsum("...i,...i->...", along, along)
    share = np.einsum("...i,...i->...", points - starts, along) / np.where(square > 0.0, square, 1.0)
    return np.asarray(starts + np.clip(share, 0.0, 1.0)[..., None] * along)


def to_segments_mm(points: np.ndarray, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Distances of points to segments; shapes broadcast."""
    return np.asarray(np.linalg.norm(points - nearest_on(points, starts, ends), axis=-1))


def apart_mm(line: np.ndarray, starts: np.ndarray, ends: np.ndarray) -> float:
    """Least distance between one segment, (2, 2), and n others; 0 where they cross."""
    return float(apart_each_mm(line, starts, ends, [0])[0])


def apart_each_mm(line: np.ndarray, starts: np.ndarray, ends: np.ndarray, firsts: Sequence[int]) -> np.ndarray:
    """Least distance between one segment, (2, 2), and each of some rows of others; `firsts`: where each row begins."""
    a, b = line
    cross = (_side(a, b, starts) * _side(a, b, ends) < 0) & (_side(starts, ends, a) * _side(starts, ends, b) < 0)
    of_ends = to_segments_mm(line[:, None], starts, ends).min(axis=0)
    of_others = to_segments_mm(np.stack([starts, ends]), a, b).min(axis=0)
    return np.asarray(np.minimum.reduceat(np.where(cross, 0.0, np.minimum(of_ends, of_others)), firsts))


def _side(p: np.ndarray, q: np.ndarray, r: np.ndarray) -> np.ndarray:
    """Positive where r lies to the left of the way from p to q."""
    return np.asarray(
        (q[..., 0] - p[..., 0]) * (r[..., 1] - p[..., 1]) - (q[..., 1] - p[..., 1]) * (r[..., 0] - p[..., 0])
    )


def covers(starts: np.ndarray, ends: np.ndarray, point: np.ndarray) -> bool:
    """Whether a ring has a point inside (even-odd rule); fewer than three segments have nothing inside."""
    if len(starts) < 3:
        return False
    (x, y), (ax, ay), (bx, by) = point, starts.T, ends.T
    level = (ay > y) != (by > y)
    rise = np.where(level, by - ay, 1.0)
    return bool(np.count_nonzero(level & (x < ax + (y - ay) * (bx - ax) / rise)) % 2)


def nearest(own: np.ndarray, other: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points of two segments, (2, 2) each, that are nearest to each other."""
    along, across, gap = own[1] - own[0], other[1] - other[0], other[0] - own[0]
    cross = along[0] * across[1] - along[1] * across[0]
    if abs(cross) > 1e-12:
        at_own = (gap[0] * across[1] - gap[1] * across[0]) / cross
        at_other = (gap[0] * along[1] - gap[1] * along[0]) / cross
        if 0.0 <= at_own <= 1.0 and 0.0 <= at_other <= 1.0:
            point = own[0] + at_own * along
            return point, point
    found: list[tuple[np.ndarray, np.ndarray]] = [(point, nearest_on(point, *other)) for point in own] + [
        (nearest_on(point, *own), point) for point in other
    ]
    return min(found, key=lambda pair: float(np.linalg.norm(pair[1] - pair[0])))


def distances_lack(
    host: np.ndarray,
    donor_mm: np.ndarray,
    ends: tuple[np.ndarray, np.ndarray],
    across_mm: np.ndarray,
    around_mm: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """How far distances are from those that two fixings leave: by axes and what lies across, and by a ball about each.

    A distance has to lie between those of the nearest and the farthest points that both plays leave.

    Parameters
    ----------
    host, donor_mm
        (..., 3), (...) mm: from one fixing to the other, and how far their features are apart.
    ends
        (..., 3) each: how far the two may stand off along their axes.
    across_mm, around_mm
        How far they may stand apart together across their axes, and in any direction.
    """
    nearest, farthest = distance_span(host, *ends)
    cut = np.maximum(donor_mm - farthest, nearest - donor_mm) - across_mm
    return cut, np.abs(donor_mm - lengths(host)) - around_mm


def distance_span(middle: np.ndarray, one: np.ndarray, two: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Least and greatest distance of the origin from the parallelograms middle + x one + y two, |x|, |y| <= 1.

    All (..., 3); the least is at both free, or with one of the two at an end.
    """
    farthest = np.zeros(middle.shape[:-1])
    for x in (1.0, -1.0):
        for y in (1.0, -1.0):
            farthest = np.maximum(farthest, lengths(middle + x * one + y * two))
    uu, uw, ww = ((a * b).sum(axis=-1) for a, b in ((one, one), (one, two), (two, two)))
    mu, mw = -(middle * one).sum(axis=-1), -(middle * two).sum(axis=-1)
    square = uu * ww - uw * uw
    safe = np.where(square > 1e-12 * np.maximum(1.0, uu * ww), square, np.inf)
    found = [((mu * ww - mw * uw) / safe, (mw * uu - mu * uw) / safe)]
    for end in (1.0, -1.0):
        found.append((np.full_like(uu, end), (mw - end * uw) / np.where(ww > 0, ww, np.inf)))
        found.append(((mu - end * uw) / np.where(uu > 0, uu, np.inf), np.full_like(uu, end)))
    nearest = np.full(middle.shape[:-1], np.inf)
    for x, y in found:
        at = middle + np.clip(x, -1.0, 1.0)[..., None] * one + np.clip(y, -1.0, 1.0)[..., None] * two
        nearest = np.minimum(nearest, lengths(at))
    return nearest, farthest


def lengths(vectors: np.ndarray) -> np.ndarray:
    """(...) of vectors (..., d)."""
    return np.asarray(np.sqrt((vectors * vectors).sum(axis=-1)))
