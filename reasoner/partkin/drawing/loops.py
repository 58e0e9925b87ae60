"""From loose pieces of line to closed loops, and from loops to circles and slots."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

from partkin.drawing.plane import Point, turned

# An arc is followed so closely that its chords stay within this of it.
CHORD_ERROR_MM = 0.002
JOIN_MM = 0.02
# The name that a DXF keeps our own remarks under.
MARKED = "PARTKIN"
_ROUND_ENOUGH_MM = 0.03


@dataclass(frozen=True)
class Known:
    """What our own templates write beside a shape: whose and which it is, and where it stood (mm), if it is round.

    It stood there in the part's frame; `turned_over`: drawn with x the other way.
    """

    part: str
    name: str
    turned_over: bool = False
    stood: RoundShape | None = None

    @classmethod
    def of(cls, part: str, name: str, face: str, numbers: Sequence[float]) -> Known:
        """Return what was written: whose, which, the face, and `numbers` of a round shape, not five for another one."""
        if len(numbers) != 5:
            return cls(part, name, face == "turned over")
        x, y, radius, half_travel, angle_deg = numbers
        if face != "turned over":
            return cls(part, name, False, RoundShape((x, y), radius, half_travel, angle_deg))
        return cls(part, name, True, RoundShape((-x, y), radius, half_travel, 180.0 - angle_deg))


@dataclass(frozen=True)
class LinePiece:
    """A line through points, open or closed; arcs are already followed by short chords.

    A loop is a closed one whose first point is not repeated at the end.
    """

    points: tuple[Point, ...]
    closed: bool = False
    layer: str = ""
    known: Known | None = None

    def scaled(self, factor: float, sideways: float = 1.0) -> LinePiece:
        """Return the piece in another unit; `sideways` -1: mirrored, x the other way."""
        return replace(self, points=tuple((x * factor * sideways, y * factor) for x, y in self.points))

    @property
    def stood(self) -> RoundShape | None:
        """Where it stood when a template drew it, if it is round."""
        return self.known.stood if self.known is not None else None

    @cached_property
    def round_shape(self) -> RoundShape | None:
        """The circle or obround that it is; None: it is neither."""
        return recognised(self.points)

    @property
    def area(self) -> float:
        """Area inside, never negative."""
        rest = self.points[1:] + self.points[:1]
        return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(self.points, rest, strict=True))) / 2


@dataclass(frozen=True)
class RoundShape:
    """A circle, or an obround where `half_travel` is over 0."""

    centre: Point
    radius: float
    half_travel: float = 0.0
    angle_deg: float = 0.0


def arc_points(centre: Point, radius: float, from_deg: float, sweep_deg: float, unit_mm: float) -> tuple[Point, ...]:
    """Follow an arc with chords; `sweep_deg` is negative for a clockwise one."""
    far_mm = max(radius * unit_mm, 1e-6)
    step_deg = 2.0 * math.degrees(math.acos(max(0.0, 1.0 - min(1.0, CHORD_ERROR_MM / far_mm))))
    # A multiple of four, so that a circle and a slot's ends are met at their utmost points.
    count = 4 * math.ceil(min(720, max(12, abs(sweep_deg) / max(step_deg, 0.25))) / 4)
    points = []
    for n in range(count + 1):
        x, y = turned((radius, 0.0), from_deg + sweep_deg * n / count)
        points.append((centre[0] + x, centre[1] + y))
    return tuple(points)


def joined(pieces: Iterable[LinePiece]) -> tuple[list[LinePiece], int]:
    """Join pieces end to end into closed loops, in the order of the pieces; returns how many closed to nothing too."""
    loops: list[tuple[int, LinePiece]] = []
    waiting: dict[int, LinePiece] = {}
    for number, piece in enumerate(pieces):
        points = piece.points
        if len(points) < 2:
            continue
        meets = math.dist(points[0], points[-1]) <= JOIN_MM
        if not piece.closed and not (meets and len(points) > 3):
            waiting[number] = piece
        elif len(points) - meets > 2:
            loops.append((number, LinePiece(points[:-1] if meets else points, True, piece.layer, piece.known)))
    ends = _Ends(waiting)
    loose = 0
    for number in sorted(waiting):
        if number not in waiting:
            continue
        first = waiting.pop(number)
        chain, used = list(first.points), 1
        while math.dist(chain[0], chain[-1]) > JOIN_MM or len(chain) < 4:
            following = ends.following(chain[-1], waiting)
            if following is None:
                break
            points = waiting.pop(following[0]).points
            chain += points[1:] if following[1] else points[-2::-1]
            used += 1
        if math.dist(chain[0], chain[-1]) <= JOIN_MM and len(chain) > 3:
            loops.append((number, LinePiece(tuple(chain[:-1]), True, first.layer)))
        else:
            loose += used
    loops.sort(key=lambda found: found[0])
    return [loop for _, loop in loops], loose


class _Ends:
    """Finds the piece that goes on from a point, in time that does not grow with the drawing."""

    def __init__(self, pieces: dict[int, LinePiece]) -> None:
        self._cells: dict[tuple[int, int], list[tuple[int, bool]]] = {}
        for number, piece in pieces.items():
            for from_start, end in ((True, piece.points[0]), (False, piece.points[-1])):
                self._cells.setdefault(self._cell(end), []).append((number, from_start))

    @staticmethod
    def _cell(point: Point) -> tuple[int, int]:
        return (math.floor(point[0] / JOIN_MM), math.floor(point[1] / JOIN_MM))

    def following(self, at: Point, waiting: dict[int, LinePiece]) -> tuple[int, bool] | None:
        """Return the nearest end within reach, as (piece, whether it is its start)."""
        column, row = self._cell(at)
        found: list[tuple[float, int, bool]] = []
        for cell in product((column - 1, column, column + 1), (row - 1, row, row + 1)):
            live = self._cells[cell] = [one for one in self._cells.get(cell, ()) if one[0] in waiting]
            for number, from_start in live:
                distance = math.dist(at, waiting[number].points[0 if from_start else -1])
                if distance <= JOIN_MM:
                    found.append((distance, number, not from_start))
        _, number, backwards = min(found, default=(0.0, -1, False))
        return (number, not backwards) if found else None


def _with_middles(points: tuple[Point, ...]) -> list[Point]:
    """Return the points with the middle of every side, so that a hexagon does not pass for a circle."""
    rest = points[1:] + points[:1]
    return [*points, *(((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) for a, b in zip(points, rest, strict=True))]


def recognised(points: tuple[Point, ...]) -> RoundShape | None:
    """Tell a circle or an obround from its outline; None: it is neither.

    Every point and every middle of a side has to lie within 0.03 mm or 0.1 % of the radius.
    """
    return _as_circle(points) or _as_obround(points) if len(points) >= 8 else None


def _as_circle(points: tuple[Point, ...]) -> RoundShape | None:
    xs, ys = [x for x, _ in points], [y for _, y in points]
    centre = ((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2)
    centre = _kasa(points, centre)
    far = [math.dist(centre, point) for point in points]
    radius = sum(far) / len(far)
    allowed = max(_ROUND_ENOUGH_MM, 0.001 * radius)
    if radius <= 0 or any(abs(math.dist(centre, point) - radius) > allowed for point in _with_middles(points)):
        return None
    return RoundShape(centre, radius)


def _kasa(points: tuple[Point, ...], about: Point) -> Point:
    """Return the centre of the circle that fits best (I. Kasa, IEEE Trans. Instrum. Meas. 25, 1976)."""
    suu = svv = suv = ru = rv = 0.0
    mean_x, mean_y = sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points)
    for x, y in points:
        u, v = x - mean_x, y - mean_y
        square = u * u + v * v
        suu, svv, suv = suu + u * u, svv + v * v, suv + u * v
        ru, rv = ru + u * square / 2, rv + v * square / 2
    determinant = suu * svv - suv * suv
    if determinant <= 1e-12 * max(suu, svv, 1e-12) ** 2:
        return about
    return (mean_x + (ru * svv - rv * suv) / determinant, mean_y + (rv * suu - ru * suv) / determinant)


def _axis(points: tuple[Point, ...]) -> tuple[Point, float]:
    """Return the middle of a closed line and the direction in which it is longest, both weighed by length."""
    rest = points[1:] + points[:1]
    sides = [(math.dist(a, b), a, b) for a, b in zip(points, rest, strict=True)]
    whole = sum(length for length, _, _ in sides) or 1.0
    middle = (
        sum(length * (a[0] + b[0]) / 2 for length, a, b in sides) / whole,
        sum(length * (a[1] + b[1]) / 2 for length, a, b in sides) / whole,
    )
    xx = yy = xy = 0.0
    for length, a, b in sides:
        p, q = (a[0] - middle[0], a[1] - middle[1]), (b[0] - middle[0], b[1] - middle[1])
        # Second moments of a straight side are exact in its ends.
        xx += length * (p[0] * p[0] + p[0] * q[0] + q[0] * q[0]) / 3
        yy += length * (p[1] * p[1] + p[1] * q[1] + q[1] * q[1]) / 3
        xy += length * (2 * p[0] * p[1] + 2 * q[0] * q[1] + p[0] * q[1] + q[0] * p[1]) / 6
    return middle, math.degrees(0.5 * math.atan2(2 * xy, xx - yy)) % 180.0


def _as_obround(points: tuple[Point, ...]) -> RoundShape | None:
    """Tell an obround: every point is equally far from a stretch of its axis."""
    about, angle_deg = _axis(points)
    flat = [turned((x - about[0], y - about[1]), -angle_deg) for x, y in points]
    us, vs = [u for u, _ in flat], [v for _, v in flat]
    radius = (max(vs) - min(vs)) / 2
    half = (max(us) - min(us)) / 2 - radius
    if radius <= 0 or half <= 0:
        return None
    x, y = turned(((max(us) + min(us)) / 2, (max(vs) + min(vs)) / 2), angle_deg)
    centre = (about[0] + x, about[1] + y)
    allowed = max(_ROUND_ENOUGH_MM, 0.001 * radius)
    for point in _with_middles(points):
        u, v = turned((point[0] - centre[0], point[1] - centre[1]), -angle_deg)
        if abs(math.hypot(u - min(half, max(-half, u)), v) - radius) > allowed:
            return None
    return RoundShape(centre, radius, half, 0.0 if angle_deg >= 180.0 - 1e-9 else angle_deg)
