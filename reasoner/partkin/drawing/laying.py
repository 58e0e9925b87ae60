"""Laying the donor on the host for a drawing: frames, matrices, and the offset that is left of a pair."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from partkin.drawing.shapes import Point, turned
from partkin.model.drawing import DrawnFeature, DrawnOutline, DrawnZone, Matrix, OverlayView

IDENTITY: Matrix = (
    (1.0, 0.0, 0.0, 0.0),
    (0.0, 1.0, 0.0, 0.0),
    (0.0, 0.0, 1.0, 0.0),
    (0.0, 0.0, 0.0, 1.0),
)


def moved(matrix: Matrix, at_mm: tuple[float, ...]) -> Point:
    """Carry a donor point (2 or 3 coordinates) into the host's frame, and look at it along z."""
    x, y = at_mm[0], at_mm[1]
    z = at_mm[2] if len(at_mm) > 2 else 0.0
    first, second = matrix[0], matrix[1]
    return (
        first[0] * x + first[1] * y + first[2] * z + first[3],
        second[0] * x + second[1] * y + second[2] * z + second[3],
    )


def moved_z(matrix: Matrix, at_mm: tuple[float, ...]) -> float:
    """Return the height (z, towards the eye) of a donor point in the host's frame."""
    x, y, z = at_mm[0], at_mm[1], at_mm[2] if len(at_mm) > 2 else 0.0
    third = matrix[2]
    return third[0] * x + third[1] * y + third[2] * z + third[3]


def moved_angle_deg(matrix: Matrix, angle_deg: float) -> float:
    """Carry a direction of the donor's frame into the host's; right for mirrored placements too."""
    x, y = turned((1.0, 0.0), angle_deg)
    return math.degrees(math.atan2(matrix[1][0] * x + matrix[1][1] * y, matrix[0][0] * x + matrix[0][1] * y))


def shift(x_mm: float, y_mm: float) -> Matrix:
    """Return the matrix of a plain shift."""
    return ((1.0, 0.0, 0.0, x_mm), (0.0, 1.0, 0.0, y_mm), *IDENTITY[2:])


def _to_segment(point: Point, a: Point, b: Point) -> Point:
    """Return what is left from the nearest point of a segment to `point`."""
    along = (b[0] - a[0], b[1] - a[1])
    square = along[0] ** 2 + along[1] ** 2
    t = 0.0
    if square > 0:
        t = ((point[0] - a[0]) * along[0] + (point[1] - a[1]) * along[1]) / square
        t = min(1.0, max(0.0, t))
    return (point[0] - a[0] - t * along[0], point[1] - a[1] - t * along[1])


def offset_left(fixing: DrawnFeature, feature: DrawnFeature, matrix: Matrix) -> Point:
    """Return the offset vector of a pair, in the host's frame, after the slots have taken what they can.

    A slot is the segment between its end-arc centres; two slots add (Minkowski sum).
    """
    q = fixing.at_mm
    g = moved(matrix, feature.at_mm)
    d = (g[0] - q[0], g[1] - q[1])
    host = turned((fixing.half_travel_mm, 0.0), fixing.angle_deg)
    donor = turned((feature.half_travel_mm, 0.0), moved_angle_deg(matrix, feature.angle_deg))
    area = host[0] * donor[1] - host[1] * donor[0]
    if abs(area) > 1e-9:
        a = (d[0] * donor[1] - d[1] * donor[0]) / area
        b = (host[0] * d[1] - host[1] * d[0]) / area
        if abs(a) <= 1.0 and abs(b) <= 1.0:
            return (0.0, 0.0)
    corners = [
        (sh * host[0] + sd * donor[0], sh * host[1] + sd * donor[1]) for sh, sd in ((1, 1), (1, -1), (-1, -1), (-1, 1))
    ]
    edges = zip(corners, corners[1:] + corners[:1], strict=True)
    return min((_to_segment(d, a, b) for a, b in edges), key=lambda left: left[0] ** 2 + left[1] ** 2)


def reach_mm(feature: DrawnFeature) -> float:
    """Return the radius of the circle about a feature's centre that holds all of it."""
    return max(feature.across_mm or 0.0, feature.fastener_mm or 0.0, 1.0) / 2 + feature.half_travel_mm


def spread_of(points: Iterable[Point]) -> tuple[float, float, float, float] | None:
    """Return left, bottom, right, top of points; None where there are none."""
    points = list(points)
    if not points:
        return None
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return (min(xs), min(ys), max(xs), max(ys))


@dataclass(frozen=True)
class Frame:
    """From host millimetres (y up) to pixels (y down)."""

    scale: float
    x_px: float
    y_px: float

    def px(self, at_mm: tuple[float, ...]) -> Point:
        """Place a point of the host's frame on the drawing."""
        return (self.x_px + at_mm[0] * self.scale, self.y_px - at_mm[1] * self.scale)


def side_points(view: OverlayView, donor: bool, matrix: Matrix) -> list[Point]:
    """Return all points of one side that the drawing must hold, in the host's frame."""
    points: list[Point] = []
    for feature in view.features if donor else view.fixings:
        centre = moved(matrix, feature.at_mm) if donor else (feature.at_mm[0], feature.at_mm[1])
        reach = reach_mm(feature)
        points += [(centre[0] - reach, centre[1] - reach), (centre[0] + reach, centre[1] + reach)]
    areas: tuple[DrawnZone | DrawnOutline, ...] = (*view.zones, *view.outlines)
    for area in areas:
        if (area.of == "donor") == donor:
            points += [moved(matrix, corner) if donor else corner for corner in area.corners_mm]
    return points


def laid(view: OverlayView, beside: bool) -> tuple[Matrix, bool]:
    """Return the matrix to draw the donor with, and whether that is a true placement.

    Without a placement the donor is drawn beside the host (`beside`) or under it, at the same scale.
    """
    if view.matrix is not None:
        return view.matrix, True
    host = spread_of(side_points(view, False, IDENTITY))
    donor = spread_of(side_points(view, True, IDENTITY))
    if host is None or donor is None:
        return IDENTITY, False
    gap = 0.12 * max(host[2] - host[0], host[3] - host[1], donor[2] - donor[0], donor[3] - donor[1])
    if beside:
        return shift(host[2] + gap - donor[0], host[3] - donor[3]), False
    return shift(host[0] - donor[0], host[1] - gap - donor[3]), False
