"""Where features lie and how surely, and how the donor is laid on the host for a drawing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from partkin.drawing.plane import Box, Point, box_about, spread_of, turned
from partkin.model.build import Build, Feature
from partkin.model.drawing import DrawnFeature, DrawnOutline, DrawnZone, Matrix, OverlayView, Owner, Spread
from partkin.model.mating import direction_deg
from partkin.model.positions import Positions
from partkin.tables.threads import parse_thread

IDENTITY: Matrix = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))


def moved(matrix: Matrix, at_mm: tuple[float, ...]) -> Point:
    """Carry a donor point (2 or 3 coordinates) into the host's frame, and look at it along z."""
    x, y, z = (*at_mm, 0.0)[:3]
    (a, b, c, d), (e, f, g, h) = matrix[:2]
    return (a * x + b * y + c * z + d, e * x + f * y + g * z + h)


def moved_z(matrix: Matrix, at_mm: tuple[float, ...]) -> float:
    """Return the height (z, towards the eye) of a donor point in the host's frame."""
    x, y, z = (*at_mm, 0.0)[:3]
    third = matrix[2]
    return third[0] * x + third[1] * y + third[2] * z + third[3]


def moved_angle_deg(matrix: Matrix, angle_deg: float) -> float:
    """Carry a direction of the donor's frame into the host's; right for mirrored placements too."""
    x, y = turned((1.0, 0.0), angle_deg)
    return math.degrees(math.atan2(matrix[1][0] * x + matrix[1][1] * y, matrix[0][0] * x + matrix[0][1] * y))


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


@dataclass(frozen=True)
class Frame:
    """From host millimetres (y up) to pixels (y down)."""

    scale: float
    x_px: float
    y_px: float

    @classmethod
    def about(cls, box: Box, scale: float, width: float, height: float) -> Frame:
        """Return the frame that has the middle of a box in the middle of a drawing."""
        return cls(scale, width / 2 - (box[0] + box[2]) / 2 * scale, height / 2 + (box[1] + box[3]) / 2 * scale)

    def px(self, at_mm: tuple[float, ...]) -> Point:
        """Place a point of the host's frame on the drawing."""
        return (self.x_px + at_mm[0] * self.scale, self.y_px - at_mm[1] * self.scale)


def side_points(view: OverlayView, donor: bool, matrix: Matrix) -> list[Point]:
    """Return all points of one side that the drawing must hold, in the host's frame."""
    points: list[Point] = []
    for feature in view.features if donor else view.fixings:
        box = box_about(moved(matrix, feature.at_mm) if donor else feature.at_mm, reach_mm(feature))
        points += [box[:2], box[2:]]
    areas: tuple[DrawnZone | DrawnOutline, ...] = (*view.zones, *view.outlines)
    corners = [corner for area in areas if (area.of == "donor") == donor for corner in area.corners_mm]
    return points + [moved(matrix, corner) if donor else corner for corner in corners]


def laid(view: OverlayView, beside: bool) -> Matrix:
    """Return the matrix to draw the donor with.

    Without a placement the donor is drawn beside the host (`beside`) or under it, at the same scale.
    """
    if view.matrix is not None:
        return view.matrix
    host = spread_of(side_points(view, False, IDENTITY))
    donor = spread_of(side_points(view, True, IDENTITY))
    if host is None or donor is None:
        return IDENTITY
    gap = 0.12 * max(host[2] - host[0], host[3] - host[1], donor[2] - donor[0], donor[3] - donor[1])
    by = (host[2] + gap - donor[0], host[3] - donor[3]) if beside else (host[0] - donor[0], host[1] - gap - donor[3])
    return ((1.0, 0.0, 0.0, by[0]), (0.0, 1.0, 0.0, by[1]), *IDENTITY[2:])


# Radius that holds 95 in 100 of a normal distribution in the plane, in standard deviations: sqrt(-2 ln 0.05).
WITHIN_95 = math.sqrt(-2.0 * math.log(0.05))


def drawn_feature(feature: Feature, places_mm: Mapping[str, tuple[float, ...]]) -> DrawnFeature:
    """Return a feature of the sheets at its place; sizes that a thread tells are taken from it."""
    thread = parse_thread(feature.thread) if feature.thread else None
    fastener_mm = feature.fastener_mm or (thread.major_mm if thread else None)
    threaded = feature.kind in ("stud", "tapped hole", "captive nut")
    across_mm = feature.across_mm or (fastener_mm if threaded else None)
    angle_deg = direction_deg(feature, places_mm) or 0.0
    size = (across_mm, feature.length_mm, angle_deg, fastener_mm)
    return DrawnFeature(feature.feature, places_mm[feature.feature], feature.kind, *size, feature.need)


def places_mm(positions: Positions | None) -> dict[str, tuple[float, ...]]:
    """Return the place of every feature that has one."""
    if positions is None:
        return {}
    rows = zip(positions.features, positions.xyz_mm, strict=True)
    return {feature: tuple(float(value) for value in row) for feature, row in rows}


def features_at(build: Build, part: str, at_mm: Mapping[str, tuple[float, ...]]) -> tuple[DrawnFeature, ...]:
    """Return the features of a part that have a place, in the order of their ids."""
    return tuple(drawn_feature(feature, at_mm) for feature in build.features_of(part) if feature.feature in at_mm)


def spreads(positions: Positions | None, of: Owner) -> tuple[Spread, ...]:
    """Return the ellipse of every feature's place, 95 in 100, in the plane of the drawing.

    From the covariance where the feature was adjusted, else from the greatest error of each coordinate,
    a, with the standard uncertainty a/sqrt(3) (JCGM 100:2008, 4.3.7).
    """
    if positions is None:
        return ()
    found = []
    for place, feature in enumerate(positions.features):
        centre = (float(positions.xyz_mm[place][0]), float(positions.xyz_mm[place][1]))
        covariance, row = positions.covariance_mm2, place * positions.dims
        if covariance is not None and (not positions.adjusted or feature in positions.adjusted):
            xx, xy, yy = (float(covariance[row + i][row + j]) for i, j in ((0, 0), (0, 1), (1, 1)))
            semi, angle_deg = ellipse(xx, xy, yy)
        else:
            a = float(positions.half_width_mm[place])
            semi, angle_deg = (a / math.sqrt(3.0) * WITHIN_95,) * 2, 0.0
        if semi[0] > 0.0:
            found.append(Spread(of, feature, centre, semi, angle_deg))
    return tuple(found)


def ellipse(xx_mm2: float, xy_mm2: float, yy_mm2: float) -> tuple[tuple[float, float], float]:
    """Return semi axes and direction of the ellipse that holds 95 in 100."""
    middle, half = (xx_mm2 + yy_mm2) / 2, math.hypot((xx_mm2 - yy_mm2) / 2, xy_mm2)
    angle_deg = math.degrees(0.5 * math.atan2(2.0 * xy_mm2, xx_mm2 - yy_mm2)) if half > 0 else 0.0
    large, small = math.sqrt(max(0.0, middle + half)), math.sqrt(max(0.0, middle - half))
    return (WITHIN_95 * large, WITHIN_95 * small), angle_deg


def rigid_fit(pairs: Sequence[tuple[tuple[float, ...], tuple[float, ...]]], mirrored: bool) -> Matrix | None:
    """Return the least-squares turn and shift that lays the first points on the second; None below 2.

    For bringing the original's zones into the host's frame; never for a verdict.
    """
    if len(pairs) < 2:
        return None
    sign = -1.0 if mirrored else 1.0
    p = [complex(sign * a[0], a[1]) for a, _ in pairs]
    q = [complex(b[0], b[1]) for _, b in pairs]
    p_mean, q_mean = sum(p) / len(p), sum(q) / len(q)
    turn = sum((b - q_mean) * (a - p_mean).conjugate() for a, b in zip(p, q, strict=True))
    if abs(turn) < 1e-9:
        return None
    turn /= abs(turn)
    shift = q_mean - turn * p_mean
    return (
        (sign * turn.real, -turn.imag, 0.0, shift.real),
        (sign * turn.imag, turn.real, 0.0, shift.imag),
        *IDENTITY[2:],
    )


def inverse(matrix: Matrix) -> Matrix:
    """Return the inverse of a rigid move, mirrored or not."""
    rows = []
    for i in range(3):
        turned = tuple(matrix[j][i] for j in range(3))
        rows.append((*turned, 0.0 - sum(turned[j] * matrix[j][3] for j in range(3))))
    return (*rows, (0.0, 0.0, 0.0, 1.0))
