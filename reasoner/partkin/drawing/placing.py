"""Where labels go, so that none lies on another: first free place in a fixed order, the same each time."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product

import numpy as np

from partkin.drawing.lettering import text_width
from partkin.drawing.pens import BLUE, INK
from partkin.drawing.plane import Box, Point, corners_of, hatching, turned
from partkin.drawing.shapes import Arc, Hatched, Leader, Line, Obround, Oval, Poly, Round, Shape, Strokes, Words

# A straight strip with round ends: both ends of its middle line, and half its width.
Strip = tuple[float, float, float, float, float]

# What stands in a drawing, by what may cross it: a text that finds no better place breaks hatching; a leader crosses
# the edges of parts and zones too, and a dimension line all but texts.
HATCHING, EDGE, MARK, TEXT = range(4)

# Right, left, above, below, then the corners, then between: where a reader looks for a label first.
_AROUND: tuple[tuple[float, float], ...] = (
    (1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1),
    *(place for shares in ((-0.5, 0.5), (-0.25, 0.25, -0.75, 0.75)) for place in (
        *((x, share) for x in (1, -1) for share in shares), *((-share, y) for y in (-1, 1) for share in shares))),
)  # fmt: skip
_SQUARE = 48.0
_CLEARANCES = (0.0, 7.0, 15.0, 20.0, 26.0, 33.0, 40.0, 49.0, 58.0, 69.0, 80.0)
_LEADER_FROM = 10.0
# Half the widest pen and a little air.
_HALF_LINE = 1.5
_ROW = 4.0
_SLIDE = 8.0


def boxes_along(strip: Strip, step: float = 2.0) -> list[Box]:
    """Return boxes that cover a strip; the larger the `step`, the fewer and the looser.

    Examples
    --------
    >>> boxes_along((0.0, 0.0, 40.0, 0.0, 1.0))
    [(-1.0, -1.0, 41.0, 1.0)]
    """
    left, top, right, bottom, half = strip
    across, down = right - left, bottom - top
    count = max(1, math.ceil(min(abs(across), abs(down)) / max(half, step)))
    corners = [(left + across * step / count, top + down * step / count) for step in range(count + 1)]
    return [
        (min(x0, x1) - half, min(y0, y1) - half, max(x0, x1) + half, max(y0, y1) + half)
        for (x0, y0), (x1, y1) in pairwise(corners)
    ]


def strip_in(box: Box) -> Strip:
    """Return the strip that fills a box but for its corners."""
    left, top, right, bottom = box
    half = min(right - left, bottom - top) / 2
    return left + half, top + half, right - half, bottom - half, half


def _through(points: Sequence[Point]) -> list[Strip]:
    return [(*a, *b, _HALF_LINE) for a, b in pairwise(points)]


def strips_of(shape: Shape) -> list[Strip]:
    """Return strips that cover a shape's lines and what small rounds enclose; nothing for words and hatching."""
    match shape:
        case Line():
            return _through((shape.a, shape.b))
        case Hatched():
            return []
        case Strokes():
            return [strip for line in shape.lines for strip in _through(line)]
        case Poly():
            return _through((*shape.points, shape.points[0]) if shape.closed else shape.points)
        case Round() | Arc():
            return [(*shape.centre, *shape.centre, shape.radius + _HALF_LINE)]
        case Oval():
            spokes = [turned((1.0, 0.0), 15.0 * step) for step in range(25)]
            turns = [turned((x * shape.semi[0], y * shape.semi[1]), shape.angle_deg) for x, y in spokes]
            return _through([(shape.centre[0] + x, shape.centre[1] - y) for x, y in turns])
        case Obround():
            (x, y), (left, top) = turned((shape.half_travel, 0.0), shape.angle_deg), shape.centre
            return [(left - x, top + y, left + x, top - y, shape.radius + _HALF_LINE)]
    return []


def _meet(one: Strip, other: Strip) -> bool:
    """Whether two strips share any area."""
    ends = ((one[:2], other), (one[2:4], other), (other[:2], one), (other[2:4], one))
    if any(_to_middle(point, strip) < one[4] + other[4] for point, strip in ends):
        return True
    # On which side of the other's middle line each end is.
    a, b, c, d = ((s[2] - s[0]) * (point[1] - s[1]) - (s[3] - s[1]) * (point[0] - s[0]) for point, s in ends)
    return a * b < 0.0 and c * d < 0.0


def _to_middle(point: Point, strip: Strip) -> float:
    """Return how far a point is from a strip's middle line."""
    x, y = strip[2] - strip[0], strip[3] - strip[1]
    square = x * x + y * y
    along = ((point[0] - strip[0]) * x + (point[1] - strip[1]) * y) / square if square > 0.0 else 0.0
    along = min(1.0, max(0.0, along))
    return math.hypot(point[0] - strip[0] - along * x, point[1] - strip[1] - along * y)


def _squares(box: Box) -> list[tuple[int, int]]:
    left, top, right, bottom = box
    down = range(int(top // _SQUARE), int(bottom // _SQUARE) + 1)
    return [(x, y) for x in range(int(left // _SQUARE), int(right // _SQUARE) + 1) for y in down]


@dataclass(frozen=True)
class Place:
    """Where a label goes: its box, the ends of its leader where it has one, and whether it breaks hatching."""

    box: Box
    leader: tuple[Point, Point] | None = None
    breaks_hatching: bool = False


@dataclass
class Room:
    """The space of a drawing and what already stands in it (y down).

    What stands is kept in the squares of a grid that its boxes reach into, so that few are looked at.
    """

    bounds: Box
    _strips: list[Strip] = field(default_factory=list)
    _squares: dict[tuple[int, int], list[tuple[Box, int, Strip]]] = field(default_factory=dict)

    def take(self, *strips: Strip, kind: int = MARK) -> None:
        """Note that something stands here."""
        self._strips += strips
        for strip in strips:
            for box in boxes_along(strip):
                for square in _squares(box):
                    self._squares.setdefault(square, []).append((box, kind, strip))

    def draw(self, shapes: Iterable[Shape], kind: int = MARK) -> None:
        """Note what is drawn."""
        for shape in shapes:
            self.take(*strips_of(shape), kind=kind)
            if isinstance(shape, Hatched):
                rows = hatching(shape.corners, _ROW, 0.0)
                self.take(*((*a, *b, _ROW) for a, b in rows), kind=HATCHING)

    def inside(self, box: Box) -> bool:
        """Whether a box lies inside the bounds."""
        left, top, right, bottom = self.bounds
        return box[0] >= left and box[1] >= top and box[2] <= right and box[3] <= bottom

    def _near(self, box: Box, least: int) -> Iterator[Strip]:
        """Yield what has a box that shares area with a box, of that kind or of what is harder to cross."""
        # Asked thousands of times a drawing, so nothing is called for each box.
        left, top, right, bottom = box
        for square in _squares(box):
            for (x0, y0, x1, y1), kind, strip in self._squares.get(square, ()):
                if left < x1 and x0 < right and top < y1 and y0 < bottom and kind >= least:
                    yield strip

    def free(self, box: Box, least: int = HATCHING) -> bool:
        """Whether a box lies inside the bounds and on nothing of that kind, nor on what is harder to cross."""
        return self.inside(box) and next(self._near(box, least), None) is None

    def crosses(self, a: Point, b: Point, least: int) -> bool:
        """Whether a line would run through something of that kind, or through what is harder to cross."""
        line = (*a, *b, _HALF_LINE)
        return any(_meet(line, strip) for box in boxes_along(line, _SQUARE) for strip in self._near(box, least))

    def slide(self, text: Strip, farthest: float, more: Sequence[Strip]) -> float | None:
        """Return how far a text has to slide along itself, a step at a time, until it lies on nothing, nor on `more`.

        `farthest`: either way. None: there is no such place.
        """
        steps = np.arange(1, int(farthest / _SLIDE) + 1) * _SLIDE
        moves = np.concatenate([[0.0], np.stack([steps, -steps], axis=1).ravel()])
        ax, ay, bx, by, half = text
        long = math.hypot(bx - ax, by - ay)
        x, y, middle = (bx - ax) / long, (by - ay) / long, np.array([ax + bx, ay + by]) / 2
        standing = np.array([*self._strips, *more]).reshape(-1, 5)
        ends, wide = standing[:, :4].reshape(-1, 2, 2) - middle, standing[:, 4]
        along, off = ends @ (x, y), ends @ (-y, x)
        # What of each strip's middle line lies within the band that the text slides in.
        slope, reach = off[:, 1] - off[:, 0], half + wide
        slope = np.where(np.abs(slope) < 1e-9, 1e-9, slope)
        cuts = (np.stack([-reach, reach], axis=1) - off[:, :1]) / slope[:, None]
        cuts.sort(axis=1)
        met = (cuts[:, 0] < 1.0) & (cuts[:, 1] > 0.0)
        parts = along[:, :1] + np.clip(cuts, 0.0, 1.0) * (along[:, 1:] - along[:, :1])
        taken = wide + long / 2
        first, last = (parts.min(axis=1) - taken)[met], (parts.max(axis=1) + taken)[met]
        on_it = (moves[:, None] > first) & (moves[:, None] < last)
        corners = middle + [
            (s * long / 2 * x - t * half * y, s * long / 2 * y + t * half * x) for s in (-1, 1) for t in (-1, 1)
        ]
        low, high = corners.min(axis=0), corners.max(axis=0)
        shift = moves[:, None] * (x, y)
        inside = ((low + shift >= self.bounds[:2]) & (high + shift <= self.bounds[2:])).all(axis=1)
        free = np.flatnonzero(inside & ~on_it.any(axis=1))
        return float(moves[free[0]]) if len(free) else None

    def place(
        self,
        about: Point,
        reach: Point,
        width: float,
        height: float,
        level_first: bool = True,
        farthest: float = _CLEARANCES[-1],
        clear: float = 0.0,
    ) -> Place | None:
        """Find and take a place for a label of that size about a point; None: no room.

        It stays out of half a width and half a height of `reach` about the point, and is moved `farthest` at most: then
        with a leader that has a free way and begins `clear` of the point. `level_first`: beside it before above it.
        """
        sides = _AROUND if level_first else (*_AROUND[2:4], *_AROUND[:2], *_AROUND[4:])
        best: Place | None = None
        for clearance, (x_side, y_side) in product((one for one in _CLEARANCES if one <= farthest), sides):
            slant = math.sqrt(0.5) if abs(x_side) == abs(y_side) else 1.0
            away_x, away_y = reach[0] + 3.0 + clearance, reach[1] + 3.0 + clearance
            left = about[0] + x_side * (away_x * slant + width / 2) - width / 2
            top = about[1] + y_side * (away_y * slant + height / 2) - height / 2
            box = (left, top, left + width, top + height)
            if not self.free(box, EDGE):
                continue
            breaks_hatching = not self.free(box)
            if breaks_hatching and best is not None:
                continue
            leader = _leader(about, box, clear) if clearance >= _LEADER_FROM else None
            if leader is not None and self.crosses(*leader, MARK):
                continue
            best = Place(box, leader, breaks_hatching)
            if not breaks_hatching:
                break
        if best is not None:
            self.take(strip_in(best.box), kind=TEXT)
        return best


def _leader(about: Point, box: Box, clear: float) -> tuple[Point, Point] | None:
    """Return the ends of a leader from beside a mark to its label; None: the label is as near as that."""
    end = min(max(about[0], box[0]), box[2]), min(max(about[1], box[1]), box[3])
    long = math.dist(about, end)
    if long < clear + 2.0:
        return None
    share = clear / long
    return (about[0] + share * (end[0] - about[0]), about[1] + share * (end[1] - about[1])), end


def lettered(
    room: Room,
    about: Point,
    reach: Point,
    text: str,
    size: float,
    *,
    bold: bool = False,
    colour: str = INK,
    level_first: bool = True,
    farthest: float = _CLEARANCES[-1],
    clear: float = 0.0,
) -> list[Shape] | None:
    """Set a label where it lies on nothing, with a leader where it stands off; None: no room (see `Room.place`)."""
    wide, high = text_width(text, size, bold) + 4.0, size + 3.0
    found = room.place(about, reach, wide, high, level_first, farthest, clear)
    if found is None:
        return None
    leader: list[Shape] = []
    if found.leader is not None:
        leader = [Leader(*found.leader, "donor-thin" if colour == BLUE else "thin")]
        room.draw(leader)
    return [*leader, *written(found, about, text, size, bold=bold, colour=colour)]


def written(
    place: Place, about: Point, text: str, size: float, *, bold: bool = False, colour: str = INK
) -> list[Shape]:
    """Write a text into its box, at the end that is nearer to what it labels.

    It stands on paper where it breaks hatching, which ISO 128-3 lets lettering do (from memory).
    """
    left, _, right, bottom = place.box
    anchor, x = "middle", (left + right) / 2
    if left >= about[0]:
        anchor, x = "start", left + 2.0
    elif right <= about[0]:
        anchor, x = "end", right - 2.0
    words = Words((x, bottom - 3.5), text, size, anchor, bold=bold, colour=colour, halo=True)
    return [Poly(corners_of(place.box), "paper"), words] if place.breaks_hatching else [words]
