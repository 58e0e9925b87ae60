"""Dimension lines between fixings in conflict: thin, with oblique strokes, the figure above (ISO 129-1)."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product

from partkin.drawing.lettering import millimetres, text_width
from partkin.drawing.pens import BLUE, INK
from partkin.drawing.placing import TEXT, Room, Strip, strips_of
from partkin.drawing.plane import Point, box_about, turned
from partkin.drawing.shapes import Line, Shape, Words
from partkin.drawing.symbols import oblique
from partkin.model.drawing import Span

_SIZE = 11.5
_AWAY = tuple(range(26, 134, 8))


def difference_words(span: Span) -> str:
    """Say how much too long or short the donor is between two fixings."""
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


def _slid_free(laid: _Laid, room: Room, more: list[Strip]) -> _Laid | None:
    """Move the figure along its line, a little beyond at most, until it lies on nothing; None: nowhere."""
    farthest = (math.dist(*laid.ends) + laid.text_width) / 2 + 12.0
    by = room.slide(_text_strip(laid), farthest, more)
    if by is None:
        return None
    x, y = turned((by, 0.0), laid.turn_deg)
    return replace(laid, text_at=(laid.text_at[0] + x, laid.text_at[1] - y))


def _lines(laid: _Laid, donor: bool) -> list[Line]:
    """Return the dimension line, the lines from what is measured to a little beyond it, the oblique strokes."""
    pen = "donor-thin" if donor else "thin"
    lines = [Line(*laid.ends, pen)]
    for foot, end in zip(laid.feet, laid.ends, strict=True):
        length = math.dist(foot, end)
        if length > 1.0:
            x, y = 5 * (end[0] - foot[0]) / length, 5 * (end[1] - foot[1]) / length
            lines.append(Line((foot[0] + x, foot[1] + y), (end[0] + x, end[1] + y), pen))
    along_deg = -math.degrees(math.atan2(laid.ends[1][1] - laid.ends[0][1], laid.ends[1][0] - laid.ends[0][0]))
    return lines + [oblique(end, along_deg, "donor" if donor else "wide") for end in laid.ends]


def _drawn(laid: _Laid, donor: bool) -> list[Shape]:
    at, colour = laid.text_at, BLUE if donor else INK
    text = Words(at, laid.text, _SIZE, "middle", bold=donor, turn_deg=laid.turn_deg, colour=colour, halo=True)
    return [*_lines(laid, donor), text]


def span_marks(
    span: Span, host: tuple[Point, Point], donor: tuple[Point, Point], outward: Point, room: Room
) -> list[Shape] | None:
    """Draw the two distances of a conflict, the host's and the donor's, one above the other (y down).

    `outward`: middle of the pattern; the lines go on the side away from it first. The places that are used are taken.
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
    texts = (f"{at_donor}: {difference_words(span)}", at_donor)
    for donor_text, sign, away in product(texts, (first, -first), _AWAY):
        # Both from the host's points, so that the figures never run into each other.
        found = _placed(
            _laid(*host, along, base + sign * away, at_host),
            _laid(*donor, along, base + sign * (away + 20.0), donor_text),
            room,
        )
        if found is not None:
            return found
    return None


def _placed(host: _Laid, donor: _Laid, room: Room) -> list[Shape] | None:
    """Draw the host's line and the donor's where neither crosses a text and both figures find a place."""
    if not all(room.inside(box_about(end, 4)) for end in (*host.ends, *donor.ends)):
        return None
    (first, *more), (second, *others) = _lines(host, False), _lines(donor, True)
    leads = [*more, *others]
    if any(room.crosses(line.a, line.b, TEXT) for line in (first, second, *leads)):
        return None
    strips = [strip for line in leads for strip in strips_of(line)]
    host_free = _slid_free(host, room, strips)
    donor_free = _slid_free(donor, room, strips) if host_free is not None else None
    if host_free is None or donor_free is None:
        return None
    shapes = [*_drawn(host_free, donor=False), *_drawn(donor_free, donor=True)]
    room.draw(shapes)
    room.take(_text_strip(host_free), _text_strip(donor_free), kind=TEXT)
    return shapes
