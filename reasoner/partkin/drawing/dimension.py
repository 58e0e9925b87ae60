"""Dimension lines between fixings in conflict: thin, with oblique strokes, the figure above (ISO 129-1)."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product

from partkin.drawing.placing import TEXT, Room, Strip, strips_of
from partkin.drawing.shapes import BLUE, INK, Line, Point, Shape, Words, millimetres, text_width, turned
from partkin.drawing.symbols import oblique
from partkin.model.drawing import Span

_SIZE = 11.5
_AWAY = tuple(range(26, 134, 8))


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


def _text_strip(laid: _Laid) -> Strip:
    """Return the strip that covers the figure's text."""
    cos, sin = math.cos(math.radians(laid.turn_deg)), -math.sin(math.radians(laid.turn_deg))
    half, up = laid.text_width / 2, 0.19 * _SIZE
    x, y = laid.text_at[0] + sin * up, laid.text_at[1] - cos * up
    return x - cos * half, y - sin * half, x + cos * half, y + sin * half, 0.55 * _SIZE


def _leads(laid: _Laid) -> list[tuple[Point, Point]]:
    """Return the lines that lead from what is measured to a little beyond the dimension line."""
    leads = []
    for foot, end in zip(laid.feet, laid.ends, strict=True):
        length = math.dist(foot, end)
        if length > 1.0:
            x, y = 5 * (end[0] - foot[0]) / length, 5 * (end[1] - foot[1]) / length
            leads.append(((foot[0] + x, foot[1] + y), (end[0] + x, end[1] + y)))
    return leads


def _slid_free(laid: _Laid, room: Room, more: list[Strip]) -> _Laid | None:
    """Move the figure along its line, a little beyond at most, until it lies on nothing; None: nowhere."""
    farthest = (math.dist(*laid.ends) + laid.text_width) / 2 + 12.0
    by = room.slide(_text_strip(laid), farthest, more)
    if by is None:
        return None
    x, y = turned((by, 0.0), laid.turn_deg)
    return replace(laid, text_at=(laid.text_at[0] + x, laid.text_at[1] - y))


def _lines(laid: _Laid, donor: bool) -> list[Line]:
    """Return the dimension line, then the lines that lead to it and the oblique strokes at its ends."""
    pen = "donor-thin" if donor else "thin"
    along_deg = -math.degrees(math.atan2(laid.ends[1][1] - laid.ends[0][1], laid.ends[1][0] - laid.ends[0][0]))
    strokes = [oblique(end, along_deg, "donor" if donor else "wide") for end in laid.ends]
    return [Line(*laid.ends, pen), *(Line(*lead, pen) for lead in _leads(laid)), *strokes]


def _drawn(laid: _Laid, donor: bool) -> list[Shape]:
    shapes: list[Shape] = [*_lines(laid, donor)]
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
    at_host, at_donor = f"host {millimetres(span.host_mm, 1)}", f"donor {millimetres(span.donor_mm, 1)}"
    base = host[0][0] * normal[0] + host[0][1] * normal[1]
    # Where the longer words find no room the sentence below the drawing tells the difference.
    for donor_text in (f"{at_donor}: {difference_words(span)}", at_donor):
        for sign, away in product((first, -first), _AWAY):
            # Both from the host's points, so that the figures never run into each other.
            pair = [
                _laid(*host, along, base + sign * away, at_host),
                _laid(*donor, along, base + sign * (away + 20.0), donor_text),
            ]
            found = _placed(pair, room)
            if found is not None:
                return found
    return None


def _placed(pair: list[_Laid], room: Room) -> list[Shape] | None:
    """Draw the host's line and the donor's where neither crosses a text and both figures find a place."""
    lines = [_lines(laid, donor) for laid, donor in zip(pair, (False, True), strict=True)]
    if not all(_ends_inside(laid, room) for laid in pair):
        return None
    if any(room.crosses(line.a, line.b, TEXT) for line in (*lines[0], *lines[1])):
        return None
    leads = [strip for line in (*lines[0][1:], *lines[1][1:]) for strip in strips_of(line)]
    host = _slid_free(pair[0], room, leads)
    donor = _slid_free(pair[1], room, leads) if host is not None else None
    if host is None or donor is None:
        return None
    shapes = [*_drawn(host, donor=False), *_drawn(donor, donor=True)]
    room.draw(shapes)
    room.take(_text_strip(host), _text_strip(donor), kind=TEXT)
    return shapes


def _ends_inside(laid: _Laid, room: Room) -> bool:
    return all(room.inside((x - 4, y - 4, x + 4, y + 4)) for x, y in laid.ends)
