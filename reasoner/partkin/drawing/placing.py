"""Where labels go, so that none lies on another: first free place in a fixed order, the same each time."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise

from partkin.drawing.shapes import (
    BLUE,
    INK,
    Arc,
    Box,
    Hatched,
    Line,
    Obround,
    Oval,
    Point,
    Poly,
    Round,
    Shape,
    Strokes,
    Words,
    hatching,
    obround_points,
    text_width,
    turned,
)

# Right, left, above, below, then the corners: where a reader looks for a label first.
_AROUND: tuple[tuple[float, float], ...] = (
    (1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1),
    *((x, y) for x in (1, -1) for y in (-0.5, 0.5)), *((x, y) for y in (-1, 1) for x in (0.5, -0.5)),
)  # fmt: skip
_SQUARE = 48.0
_CLEARANCES = (0.0, 7.0, 15.0, 26.0, 40.0, 58.0, 80.0)
LEADER_FROM = 10.0
# Half the widest pen and a little air.
_HALF_LINE = 1.5
_ROW = 4.0


def boxes_along(a: Point, b: Point, half: float) -> list[Box]:
    """Return boxes that cover a straight strip, for text and lines that do not lie level.

    Examples
    --------
    >>> boxes_along((0.0, 0.0), (40.0, 0.0), 1.0)
    [(-1.0, -1.0, 41.0, 1.0)]
    """
    across, down = b[0] - a[0], b[1] - a[1]
    count = max(1, math.ceil(min(abs(across), abs(down)) / max(half, 2.0)))
    corners = [(a[0] + across * step / count, a[1] + down * step / count) for step in range(count + 1)]
    return [
        (min(x0, x1) - half, min(y0, y1) - half, max(x0, x1) + half, max(y0, y1) + half)
        for (x0, y0), (x1, y1) in pairwise(corners)
    ]


def boxes_of(shape: Shape) -> list[Box]:
    """Return boxes that cover a shape's lines and what small rounds enclose; nothing for words and hatching."""
    match shape:
        case Line():
            return boxes_along(shape.a, shape.b, _HALF_LINE)
        case Hatched():
            return []
        case Strokes():
            return [box for a, b in shape.lines for box in boxes_along(a, b, _HALF_LINE)]
        case Poly():
            ends = (*shape.points, shape.points[0]) if shape.closed else shape.points
            return [box for a, b in pairwise(ends) for box in boxes_along(a, b, _HALF_LINE)]
        case Round() | Arc():
            (x, y), reach = shape.centre, shape.radius + _HALF_LINE
            return [(x - reach, y - reach, x + reach, y + reach)]
        case Oval():
            spokes = [turned((1.0, 0.0), 15.0 * step) for step in range(25)]
            turns = [turned((x * shape.semi[0], y * shape.semi[1]), shape.angle_deg) for x, y in spokes]
            rim = [(shape.centre[0] + x, shape.centre[1] - y) for x, y in turns]
            return [box for a, b in pairwise(rim) for box in boxes_along(a, b, _HALF_LINE)]
        case Obround():
            return boxes_of(Poly(obround_points(shape, y_up=False, arc_steps=6)))
    return []


class _Boxes:
    """Boxes by the squares of a grid that they reach into, so that few are looked at."""

    def __init__(self) -> None:
        self._squares: dict[tuple[int, int], list[Box]] = {}

    def add(self, boxes: Iterable[Box]) -> None:
        for box in boxes:
            for square in _squares(box):
                self._squares.setdefault(square, []).append(box)

    def meet(self, box: Box) -> bool:
        """Whether any shares area with a box."""
        # Asked thousands of times a drawing, so nothing is called for each box.
        left, top, right, bottom = box
        squares = self._squares
        for square in _squares(box) if squares else ():
            for other in squares.get(square, ()):
                if left < other[2] and other[0] < right and top < other[3] and other[1] < bottom:
                    return True
        return False


def _squares(box: Box) -> list[tuple[int, int]]:
    left, top, right, bottom = box
    down = range(int(top // _SQUARE), int(bottom // _SQUARE) + 1)
    return [(x, y) for x in range(int(left // _SQUARE), int(right // _SQUARE) + 1) for y in down]


@dataclass
class Room:
    """The space of a drawing and what already stands in it (y down)."""

    bounds: Box
    _taken: _Boxes = field(default_factory=_Boxes)
    _texts: _Boxes = field(default_factory=_Boxes)
    _hatched: _Boxes = field(default_factory=_Boxes)

    def take(self, *boxes: Box) -> None:
        """Note that something stands here."""
        self._taken.add(boxes)

    def letter(self, *boxes: Box) -> None:
        """Note that a text stands here, which no later line may cross."""
        self._taken.add(boxes)
        self._texts.add(boxes)

    def draw(self, shapes: Iterable[Shape]) -> None:
        """Note what is drawn; hatching may be broken by a text where there is no better place."""
        for shape in shapes:
            self._taken.add(boxes_of(shape))
            if isinstance(shape, Hatched):
                rows = hatching(shape.corners, _ROW, 0.0)
                self._hatched.add((a[0], a[1] - _ROW, b[0], a[1] + _ROW) for a, b in rows)

    def inside(self, box: Box) -> bool:
        """Whether a box lies inside the bounds."""
        left, top, right, bottom = self.bounds
        return box[0] >= left and box[1] >= top and box[2] <= right and box[3] <= bottom

    def hatched(self, box: Box) -> bool:
        """Whether a box reaches into hatching."""
        return self._hatched.meet(box)

    def free(self, box: Box, breaks_hatching: bool = False) -> bool:
        """Whether a box lies inside the bounds and on nothing but, where it may break that, hatching."""
        return self.inside(box) and not self._taken.meet(box) and (breaks_hatching or not self.hatched(box))

    def crosses_text(self, a: Point, b: Point) -> bool:
        """Whether a line would run through a text."""
        return any(self._texts.meet(box) for box in boxes_along(a, b, _HALF_LINE))

    def place(
        self,
        about: Point,
        reach: Point,
        width: float,
        height: float,
        level_first: bool = True,
        farthest: float = _CLEARANCES[-1],
    ) -> tuple[Box, float] | None:
        """Find and take a place for a label of that size about a point.

        Parameters
        ----------
        about
            What is labelled.
        reach
            Half width and half height around it that the label stays out of.
        width, height
            Of the label.
        level_first
            Look beside it first; False: above and below first.
        farthest
            How far out it may be moved.

        Returns
        -------
        tuple of Box and float, or None
            The place, and how far it was moved out (a leader is wanted from `LEADER_FROM`, and has a free way);
            None: no room.
        """
        sides = _AROUND if level_first else (*_AROUND[2:4], *_AROUND[:2], *_AROUND[4:])
        for breaks_hatching in (False, True):
            for clearance in _CLEARANCES:
                if clearance > farthest:
                    break
                for x_side, y_side in sides:
                    slant = math.sqrt(0.5) if abs(x_side) == abs(y_side) else 1.0
                    away_x, away_y = reach[0] + 3.0 + clearance, reach[1] + 3.0 + clearance
                    left = about[0] + x_side * (away_x * slant + width / 2) - width / 2
                    top = about[1] + y_side * (away_y * slant + height / 2) - height / 2
                    box = (left, top, left + width, top + height)
                    if not self.free(box, breaks_hatching):
                        continue
                    if clearance >= LEADER_FROM and self.crosses_text(about, nearest(box, about)):
                        continue
                    self.letter(box)
                    return box, clearance
        return None


def nearest(box: Box, point: Point) -> Point:
    """Return the point of a box that is nearest to a point."""
    return min(max(point[0], box[0]), box[2]), min(max(point[1], box[1]), box[3])


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
) -> list[Shape] | None:
    """Set a label where it lies on nothing, with a leader where it stands off; None: no room (see `Room.place`)."""
    found = room.place(about, reach, text_width(text, size, bold) + 4.0, size + 3.0, level_first, farthest)
    if found is None:
        return None
    box, clearance = found
    leader: list[Shape] = []
    if clearance >= LEADER_FROM:
        leader = [Line(about, nearest(box, about), "donor-thin" if colour == BLUE else "thin")]
        room.draw(leader)
    return [*leader, *written(room, box, about, text, size, bold=bold, colour=colour)]


def written(
    room: Room, box: Box, about: Point, text: str, size: float, *, bold: bool = False, colour: str = INK
) -> list[Shape]:
    """Write a text into its box, at the end that is nearer to what it labels.

    It stands on paper where it breaks hatching, which ISO 128-3 lets lettering do (from memory).
    """
    left, top, right, bottom = box
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    anchor, x = "middle", (left + right) / 2
    if left >= about[0]:
        anchor, x = "start", left + 2.0
    elif right <= about[0]:
        anchor, x = "end", right - 2.0
    words = Words((x, bottom - 3.5), text, size, anchor, bold=bold, colour=colour, halo=True)
    return [Poly(corners, "paper"), words] if room.hatched(box) else [words]
