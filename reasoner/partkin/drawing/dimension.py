"""Dimension lines between fixings in conflict: thin, with oblique strokes, the figure above (ISO 129-1)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from partkin.drawing.placing import Room, boxes_along
from partkin.drawing.shapes import BLUE, INK, Line, Point, Shape, Words, millimetres, text_width
from partkin.drawing.symbols import oblique
from partkin.model.drawing import Span

_SIZE = 11.5
_AWAY = (26.0, 44.0, 62.0, 82.0, 104.0, 130.0)


def difference_words(span: Span) -> str:
    """Say how much too long or short the donor is between two fixings.

    Examples
    --------
    >>> difference_words(Span("F1", "F4", 450.0, 453.2))
    '3.2 too long'
    """
    by_mm = span.too_long_mm
    if abs(by_mm) < 0.005:
        return "the same"
    decimals = 1 if abs(by_mm) >= 1.0 else 2
    return f"{millimetres(abs(by_mm), decimals)} too {'long' if by_mm > 0 else 'short'}"


@dataclass(frozen=True)
class _Laid:
    """One dimension line as it would lie: its ends, its text, and the places that it takes."""

    ends: tuple[Point, Point]
    feet: tuple[Point, Point]
    text: str
    text_at: Point
    turn_deg: float
    text_width: float


def _laid(a: Point, b: Point, along: Point, depth_at: float, text: str) -> _Laid:
    """Lay a dimension line parallel to `along` and `depth_at` along its normal, for two points (y down)."""
    normal = (-along[1], along[0])
    ends = []
    for point in (a, b):
        depth = depth_at - (point[0] * normal[0] + point[1] * normal[1])
        ends.append((point[0] + normal[0] * depth, point[1] + normal[1] * depth))
    turn_deg = -math.degrees(math.atan2(along[1], along[0]))
    # Readable from below or from the right: from just over -90 up to 90 degrees.
    turn_deg = (turn_deg + 89.9) % 180.0 - 89.9
    up = (-math.sin(math.radians(turn_deg)), -math.cos(math.radians(turn_deg)))
    middle = ((ends[0][0] + ends[1][0]) / 2, (ends[0][1] + ends[1][1]) / 2)
    at = (middle[0] + up[0] * 3.5, middle[1] + up[1] * 3.5)
    return _Laid((ends[0], ends[1]), (a, b), text, at, turn_deg, text_width(text, _SIZE, True))


def _text_strip(laid: _Laid) -> tuple[Point, Point]:
    """Return the middle line of the figure's text."""
    cos, sin = math.cos(math.radians(laid.turn_deg)), -math.sin(math.radians(laid.turn_deg))
    half = max(0.0, laid.text_width / 2 - _SIZE / 2)
    x, y = laid.text_at[0] + sin * _SIZE * 0.4, laid.text_at[1] - cos * _SIZE * 0.4
    return (x - cos * half, y - sin * half), (x + cos * half, y + sin * half)


def _slid_inside(laid: _Laid, room: Room, strict: bool) -> _Laid | None:
    """Move the figure along its line until it stands inside the drawing; None where it cannot."""
    cos, sin = math.cos(math.radians(laid.turn_deg)), -math.sin(math.radians(laid.turn_deg))
    for step in range(0, 41):
        for sign in (1, -1):
            by = sign * step * 8.0
            at = (laid.text_at[0] + cos * by, laid.text_at[1] + sin * by)
            moved = _Laid(laid.ends, laid.feet, laid.text, at, laid.turn_deg, laid.text_width)
            a, b = _text_strip(moved)
            if all(room.free(box, strict) for box in boxes_along(a, b, _SIZE / 2 + 0.5)):
                return moved
    return None


def _drawn(laid: _Laid, donor: bool) -> list[Shape]:
    pen = "donor-thin" if donor else "thin"
    shapes: list[Shape] = []
    for foot, end in zip(laid.feet, laid.ends, strict=True):
        length = math.dist(foot, end)
        if length > 1.0:
            x, y = (end[0] - foot[0]) / length, (end[1] - foot[1]) / length
            shapes.append(Line((foot[0] + 5 * x, foot[1] + 5 * y), (end[0] + 5 * x, end[1] + 5 * y), pen))
    along_deg = -math.degrees(math.atan2(laid.ends[1][1] - laid.ends[0][1], laid.ends[1][0] - laid.ends[0][0]))
    shapes.append(Line(laid.ends[0], laid.ends[1], pen))
    shapes += [oblique(end, along_deg, "donor" if donor else "wide") for end in laid.ends]
    shapes.append(
        Words(
            laid.text_at,
            laid.text,
            _SIZE,
            "middle",
            bold=donor,
            turn_deg=laid.turn_deg,
            colour=BLUE if donor else INK,
            halo=True,
        )
    )
    return shapes


def span_marks(
    span: Span, host: tuple[Point, Point], donor: tuple[Point, Point], outward: Point, room: Room
) -> list[Shape] | None:
    """Draw the two distances of a conflict, the host's and the donor's, one above the other.

    Parameters
    ----------
    span
    host, donor
        The two fixings, and the two donor features, on the drawing (y down).
    outward
        Middle of the pattern; the lines go on the side away from it first.
    room
        Takes the places that are used.

    Returns
    -------
    list of shapes, or None
        None: no room for them; the words below the drawing tell the same.
    """
    length = math.dist(*host)
    if length < 1.0:
        return None
    along = ((host[1][0] - host[0][0]) / length, (host[1][1] - host[0][1]) / length)
    normal = (-along[1], along[0])
    middle = ((host[0][0] + host[1][0]) / 2, (host[0][1] + host[1][1]) / 2)
    side = (middle[0] - outward[0]) * normal[0] + (middle[1] - outward[1]) * normal[1]
    first = 1.0 if side >= 0 else -1.0
    texts = (
        f"host {millimetres(span.host_mm, 1)}",
        f"donor {millimetres(span.donor_mm, 1)}: {difference_words(span)}",
    )
    base = host[0][0] * normal[0] + host[0][1] * normal[1]
    for strict in (True, False):
        for sign in (first, -first):
            for away in _AWAY:
                # Both from the host's points, so that the figures never run into each other.
                pair = [
                    _laid(*points, along, base + sign * (away + more), text)
                    for points, text, more in ((host, texts[0], 0.0), (donor, texts[1], 20.0))
                ]
                if not all(_ends_inside(laid, room) for laid in pair):
                    continue
                lines = []
                for laid in pair:
                    line = _slid_inside(laid, room, strict)
                    if line is None:
                        break
                    lines.append(line)
                else:
                    return _taken(lines, room)
    return None


def _ends_inside(laid: _Laid, room: Room) -> bool:
    return all(room.inside((x - 4, y - 4, x + 4, y + 4)) for x, y in laid.ends)


def _taken(lines: list[_Laid], room: Room) -> list[Shape]:
    """Take the places of the host's line and the donor's, and draw both."""
    shapes: list[Shape] = []
    for donor_line, laid in zip((False, True), lines, strict=True):
        room.take(*boxes_along(*_text_strip(laid), _SIZE / 2 + 0.5))
        room.take(*boxes_along(*laid.ends, 2.0))
        shapes += _drawn(laid, donor_line)
    return shapes
