"""Points, boxes and hatching in the plane of a picture."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

Point = tuple[float, float]
Box = tuple[float, float, float, float]


def turned(vector: Point, angle_deg: float) -> Point:
    """Turn a vector anticlockwise (y up).

    Examples
    --------
    >>> turned((1.0, 0.0), 90.0)[1]
    1.0
    """
    cos, sin = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return (vector[0] * cos - vector[1] * sin, vector[0] * sin + vector[1] * cos)


def box_about(at: Sequence[float], reach: float) -> Box:
    """Return the square box that reaches so far each way of a point."""
    return (at[0] - reach, at[1] - reach, at[0] + reach, at[1] + reach)


def corners_of(box: Box) -> tuple[Point, ...]:
    """Return a box's corners in order round it."""
    left, first, right, last = box
    return ((left, first), (right, first), (right, last), (left, last))


def spread_of(points: Iterable[Point]) -> Box | None:
    """Return left, bottom, right, top of points; None where there are none."""
    points = list(points)
    if not points:
        return None
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return (min(xs), min(ys), max(xs), max(ys))


def hatching(corners: tuple[Point, ...], spacing: float, angle_deg: float) -> tuple[tuple[Point, Point], ...]:
    """Return the lines that hatch a polygon, by the even-odd rule.

    Lines stand on a grid fixed to the origin, so that two zones side by side share their lines.

    Examples
    --------
    >>> len(hatching(((0, 0), (10, 0), (10, 10), (0, 10)), 4.0, 0.0))
    2
    """
    flat = [turned(corner, -angle_deg) for corner in corners]
    lowest, highest = min(y for _, y in flat), max(y for _, y in flat)
    lines = []
    row = math.floor(lowest / spacing) + 1
    while row * spacing < highest:
        y = row * spacing
        crossings = []
        for (x0, y0), (x1, y1) in zip(flat, flat[1:] + flat[:1], strict=True):
            if (y0 <= y) != (y1 <= y):
                crossings.append(x0 + (y - y0) * (x1 - x0) / (y1 - y0))
        crossings.sort()
        for left, right in zip(crossings[::2], crossings[1::2], strict=False):
            lines.append((turned((left, y), angle_deg), turned((right, y), angle_deg)))
        row += 1
    return tuple(lines)
