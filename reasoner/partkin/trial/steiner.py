"""The Steiner point of a line or ring: a middle that moves no further than the line does, but for a factor."""

from __future__ import annotations

import math
from collections.abc import Sequence

Point = tuple[float, float]
# Lipschitz constant of the Steiner point in the plane, for the Hausdorff distance of the convex hulls, and so for
# that of the lines (Schneider, Convex Bodies: The Brunn-Minkowski Theory, section 1.8; from memory).
STEINER_FACTOR = 4.0 / math.pi


def steiner_point(corners: Sequence[Point]) -> Point:
    """Mean of the corners of the convex hull, each weighed by its outer angle; turned with what it belongs to.

    Examples
    --------
    >>> steiner_point([(0.0, 0.0), (10.0, 0.0)]), steiner_point([(0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (0.0, 2.0)])
    ((5.0, 0.0), (2.0, 1.0))
    """
    hull = _hull(sorted(set(corners)))
    if len(hull) < 3:
        return sum(x for x, _ in hull) / len(hull), sum(y for _, y in hull) / len(hull)
    x = y = 0.0
    for before, at, after in zip([hull[-1], *hull[:-1]], hull, [*hull[1:], hull[0]], strict=True):
        first, second = (at[0] - before[0], at[1] - before[1]), (after[0] - at[0], after[1] - at[1])
        # Anticlockwise it never turns right; where corners lie in one line rounding may say so.
        left = abs(first[0] * second[1] - first[1] * second[0])
        turn = math.atan2(left, first[0] * second[0] + first[1] * second[1]) / (2.0 * math.pi)
        x, y = x + turn * at[0], y + turn * at[1]
    return x, y


def _hull(points: list[Point]) -> list[Point]:
    """Corners of the convex hull, anticlockwise (monotone chain)."""
    if len(points) < 3:
        return points

    def chain(run: Sequence[Point]) -> list[Point]:
        found: list[Point] = []
        for p in run:
            while len(found) > 1 and _left(found[-2], found[-1], p) <= 0:
                found.pop()
            found.append(p)
        return found[:-1]

    return chain(points) + chain(points[::-1])


def _left(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
