"""Where labels go, so that none lies on another: first free place in a fixed order, the same each time."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

from partkin.drawing.shapes import Box, Point

# Right, left, above, below, then the corners: where a reader looks for a label first.
_AROUND = ((1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1))
_SQUARE = 48.0
_CLEARANCES = (0.0, 7.0, 15.0, 26.0, 40.0, 58.0, 80.0)


def overlap(a: Box, b: Box) -> bool:
    """Whether two boxes (left, top, right, bottom) share any area.

    Examples
    --------
    >>> overlap((0, 0, 2, 2), (2, 0, 4, 2)), overlap((0, 0, 2, 2), (1, 1, 4, 2))
    (False, True)
    """
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def boxes_along(a: Point, b: Point, half: float) -> list[Box]:
    """Return squares that cover a straight strip, for text and lines that do not lie level."""
    length = math.dist(a, b)
    count = max(1, math.ceil(length / (2.0 * half)))
    boxes = []
    for step in range(count + 1):
        x, y = a[0] + (b[0] - a[0]) * step / count, a[1] + (b[1] - a[1]) * step / count
        boxes.append((x - half, y - half, x + half, y + half))
    return boxes


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
        # Asked thousands of times a drawing: `overlap` written out, without a call for each box.
        left, top, right, bottom = box
        for square in _squares(box):
            for other in self._squares.get(square, ()):
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
    _avoided: _Boxes = field(default_factory=_Boxes)

    def take(self, *boxes: Box) -> None:
        """Note that something stands here."""
        self._taken.add(boxes)

    def avoid(self, *boxes: Box) -> None:
        """Note that a line runs here, which a haloed label may cross where there is no better place."""
        self._avoided.add(boxes)

    def inside(self, box: Box) -> bool:
        """Whether a box lies inside the bounds."""
        left, top, right, bottom = self.bounds
        return box[0] >= left and box[1] >= top and box[2] <= right and box[3] <= bottom

    def free(self, box: Box, strict: bool = False) -> bool:
        """Whether a box lies inside the bounds and on nothing; strict: nor on what is to be avoided."""
        if not self.inside(box) or self._taken.meet(box):
            return False
        return not strict or not self._avoided.meet(box)

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
            The place, and how far it was moved out (a leader is wanted from about 10); None: no room.
        """
        sides = _AROUND if level_first else (*_AROUND[2:4], *_AROUND[:2], *_AROUND[4:])
        for strict in (True, False):
            for clearance in _CLEARANCES[:4] if strict else _CLEARANCES:
                if clearance > farthest:
                    break
                for x_side, y_side in sides:
                    slant = math.sqrt(0.5) if x_side and y_side else 1.0
                    away_x, away_y = reach[0] + 3.0 + clearance, reach[1] + 3.0 + clearance
                    centre_x = about[0] + x_side * (away_x * slant + width / 2)
                    centre_y = about[1] + y_side * (away_y * slant + height / 2)
                    box = (
                        centre_x - width / 2,
                        centre_y - height / 2,
                        centre_x + width / 2,
                        centre_y + height / 2,
                    )
                    if self.free(box, strict):
                        self.take(box)
                        return box, clearance
        return None
