"""The shapes that every picture is made of, the pens they are drawn with, and how wide words run.

A picture is a list of these; svg.py, raster.py and template.py each write the same list in their own way.
Coordinates are in the unit of the picture (screen pixels with y down, or millimetres with y up); angles are
degrees, anticlockwise as seen, in both.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

Point = tuple[float, float]
Box = tuple[float, float, float, float]

INK, SOFT, FAINT, RULE = "#111111", "#555555", "#767676", "#999999"
PAPER, SHADE, SOLID, TINT = "#FFFFFF", "#F2F2F2", "#DCDCDC", "#D4E7F3"
BLUE, ORANGE = "#0072B2", "#E69F00"
"""Black on white; blue and orange from the palette of M. Okabe and K. Ito, Color Universal Design (2008)."""

# Report and page name these colours; each as it is, and as it is on a screen that asks for a dark page. There the blue
# is that palette's sky blue, and the orange is darker, so that the dashes of a cut stay apart from their band.
THEME: dict[str, tuple[str, str]] = {
    "ink": (INK, "#ECECEC"),
    "soft": (SOFT, "#B4B4B4"),
    "faint": (FAINT, "#929292"),
    "rule": (RULE, "#6E6E6E"),
    "paper": (PAPER, "#151719"),
    "shade": (SHADE, "#2A2D31"),
    "solid": (SOLID, "#44484C"),
    "tint": (TINT, "#123A52"),
    "blue": (BLUE, "#56B4E9"),
    "orange": (ORANGE, "#936600"),
}


@dataclass(frozen=True)
class Pen:
    """A line and what it encloses: colour, width and dashes in units of the picture, fill."""

    stroke: str | None
    width: float = 0.0
    dash: tuple[float, ...] = ()
    fill: str | None = None


CENTRE_DASH = (9.0, 2.0, 1.5, 2.0)
BEYOND_DASH = (11.0, 2.0, 1.5, 2.0, 1.5, 2.0)

# Wide lines are twice the narrow ones (ISO 128-2, line groups). Dashes: centre lines long-dashed dotted,
# adjacent parts long-dashed double-dotted, as ISO 128-2 lists them.
SCREEN_PENS: dict[str, Pen] = {
    "frame": Pen(INK, 1.8),
    "thin": Pen(INK, 0.9),
    "wide": Pen(INK, 1.8),
    "faint": Pen(FAINT, 0.45),
    "centre": Pen(INK, 0.6, CENTRE_DASH),
    "beyond": Pen(INK, 0.9, BEYOND_DASH),
    "hidden": Pen(INK, 0.9, (4.0, 2.0)),
    "stud": Pen(INK, 1.8, fill=SOLID),
    "dot": Pen(None, fill=INK),
    "hollow": Pen(INK, 0.9, fill=PAPER),
    "hatch": Pen(INK, 0.45),
    "donor": Pen(BLUE, 1.8),
    "donor-thin": Pen(BLUE, 0.9),
    "donor-fill": Pen(BLUE, 1.8, fill=TINT),
    "donor-dot": Pen(None, fill=BLUE),
    "donor-hatch": Pen(BLUE, 0.45),
    "spread": Pen(INK, 0.9, (2.5, 1.8)),
    "donor-spread": Pen(BLUE, 0.9, (2.5, 1.8)),
    "cut-band": Pen(ORANGE, 5.0),
    "cut": Pen(INK, 1.3, (5.0, 2.2)),
    "paper": Pen(None, fill=PAPER),
}

# Millimetres; line group 0.5 of ISO 128-2: 0.5 wide, 0.25 narrow.
PAPER_PENS: dict[str, Pen] = {
    "thin": Pen(INK, 0.25),
    "wide": Pen(INK, 0.5),
    "hair": Pen(INK, 0.13),
    "centre": Pen(INK, 0.13),
    "beyond": Pen(INK, 0.25, (6.0, 1.0, 0.5, 1.0, 0.5, 1.0)),
    "hidden": Pen(INK, 0.25, (2.0, 1.0)),
    "laid-on": Pen(BLUE, 0.25, (3.0, 1.0)),
    "laid-on-centre": Pen(BLUE, 0.13),
    "hatch": Pen(SOFT, 0.13),
    "cut-band": Pen(ORANGE, 1.6),
    "cut": Pen(INK, 0.35, (2.0, 0.8)),
    "join": Pen(INK, 0.18),
    "dot": Pen(None, fill=INK),
    "paper": Pen(None, fill=PAPER),
}


@dataclass(frozen=True)
class Line:
    """A straight line."""

    a: Point
    b: Point
    pen: str = "thin"
    layer: str = ""


@dataclass(frozen=True)
class Leader(Line):
    """A line from a mark to its label."""


@dataclass(frozen=True)
class Strokes:
    """Many straight lines of one pen, such as a hatching."""

    lines: tuple[tuple[Point, Point], ...]
    pen: str = "thin"
    layer: str = ""


@dataclass(frozen=True)
class Hatched(Strokes):
    """The hatching of a polygon: its lines, and how they were laid, for writers that know patterns."""

    corners: tuple[Point, ...] = ()
    spacing: float = 0.0
    angle_deg: float = 0.0


@dataclass(frozen=True)
class Poly:
    """A line through points, closed or open."""

    points: tuple[Point, ...]
    pen: str = "thin"
    closed: bool = True
    layer: str = ""
    of: str = ""


@dataclass(frozen=True)
class Round:
    """A circle."""

    centre: Point
    radius: float
    pen: str = "thin"
    layer: str = ""
    of: str = ""

    @property
    def numbers(self) -> tuple[float, ...]:
        """Where it stands, as a file keeps it: centre, radius, and no travel."""
        return (*self.centre, self.radius, 0.0, 0.0)


@dataclass(frozen=True)
class Arc:
    """Part of a circle, anticlockwise from one angle to the other."""

    centre: Point
    radius: float
    from_deg: float
    to_deg: float
    pen: str = "thin"
    layer: str = ""


@dataclass(frozen=True)
class Oval:
    """An ellipse."""

    centre: Point
    semi: tuple[float, float]
    angle_deg: float = 0.0
    pen: str = "thin"
    layer: str = ""


@dataclass(frozen=True)
class Obround:
    """A slot: a straight stretch of `half_travel` each way, with round ends of `radius`."""

    centre: Point
    half_travel: float
    radius: float
    angle_deg: float = 0.0
    pen: str = "thin"
    layer: str = ""
    of: str = ""

    @property
    def numbers(self) -> tuple[float, ...]:
        """Where it stands, as a file keeps it: centre, radius, travel either way and direction."""
        return (*self.centre, self.radius, self.half_travel, self.angle_deg)


@dataclass(frozen=True)
class Words:
    """A line of text; `at` is on its base line. Haloed text is legible over lines."""

    at: Point
    text: str
    size: float
    anchor: str = "start"
    bold: bool = False
    turn_deg: float = 0.0
    colour: str = INK
    halo: bool = False
    layer: str = ""

    @property
    def width(self) -> float:
        """How wide it runs at most."""
        return text_width(self.text, self.size, self.bold)


@dataclass(frozen=True)
class Window:
    """Shapes of which only what lies inside the box is seen."""

    box: Box
    shapes: tuple[Shape, ...]
    layer: str = ""


Shape = Line | Strokes | Poly | Round | Arc | Oval | Obround | Words | Window


@dataclass(frozen=True)
class Picture:
    """Shapes on a sheet, with a title and the same said in words for who cannot see it."""

    width: float
    height: float
    shapes: tuple[Shape, ...]
    title: str
    says: str


def turned(vector: Point, angle_deg: float) -> Point:
    """Turn a vector anticlockwise (y up).

    Examples
    --------
    >>> turned((1.0, 0.0), 90.0)[1]
    1.0
    """
    cos, sin = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return (vector[0] * cos - vector[1] * sin, vector[0] * sin + vector[1] * cos)


def obround_points(shape: Obround, y_up: bool, arc_steps: int = 24) -> tuple[Point, ...]:
    """Return an obround as a closed polygon, for writers that know no arcs."""
    sign = 1.0 if y_up else -1.0
    points = []
    for end, start_deg in ((shape.half_travel, -90.0), (-shape.half_travel, 90.0)):
        for step in range(arc_steps + 1):
            spoke = turned((shape.radius, 0.0), start_deg + 180.0 * step / arc_steps)
            x, y = turned((end + spoke[0], spoke[1]), shape.angle_deg)
            points.append((shape.centre[0] + x, shape.centre[1] + sign * y))
    return tuple(points)


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


def box_about(at: Sequence[float], reach: float) -> Box:
    """Return the square box that reaches so far each way of a point."""
    return (at[0] - reach, at[1] - reach, at[0] + reach, at[1] + reach)


def corners_of(box: Box) -> tuple[Point, ...]:
    """Return a box's corners in order round it."""
    left, first, right, last = box
    return ((left, first), (right, first), (right, last), (left, last))


def on_layer(shapes: Iterable[Shape], layer: str) -> list[Shape]:
    """Return the shapes with their layer named."""
    return [replace(shape, layer=layer) for shape in shapes]


# Advance widths in ems of a broad sans serif (rounded up from DejaVu Sans), so that what fits by this
# measure fits in the narrower faces that most machines show.
_NARROW = {
    **dict.fromkeys("il'|", 0.28),
    **dict.fromkeys("j,.:; ", 0.33),
    **dict.fromkeys('ftrI![]()-/\\"', 0.42),
    **dict.fromkeys("mMWw@%", 0.98),
    **dict.fromkeys("ABCDEFGHKNOPQRSTUVXYZ", 0.74),
    "J": 0.4,
    "L": 0.57,
}


@lru_cache(maxsize=8192)
def text_width(text: str, size: float, bold: bool = False) -> float:
    """Return how wide a line of text runs at most, in the unit of `size`."""
    ems = sum(_NARROW.get(letter, 0.64 if ord(letter) < 0x250 else 1.0) for letter in text)
    return ems * size * (1.1 if bold else 1.0)


def shortened(text: str, size: float, room: float, bold: bool = False) -> str:
    """Return the text, cut with three dots where it would run wider than `room`."""
    text = text if len(text) <= 400 else text[:400] + "..."
    if text_width(text, size, bold) <= room:
        return text
    while text and text_width(text + "...", size, bold) > room:
        text = text[:-1]
    return text.rstrip() + "..."


def wrapped(text: str, size: float, room: float, most: int = 99, bold: bool = False) -> list[str]:
    """Break text into lines no wider than `room`; what does not go on `most` lines is cut with three dots."""
    lines: list[str] = []
    current = ""
    for word in text.split():
        longer = f"{current} {word}" if current else word
        if text_width(longer, size, bold) <= room or not current:
            current = longer
            continue
        lines.append(current)
        current = word
    if current:
        lines.append(current)
    if len(lines) > most:
        lines = [*lines[: most - 1], " ".join(lines[most - 1 :])]
    return [shortened(line, size, room, bold) for line in lines]


def millimetres(value: float, decimals: int = 2) -> str:
    """Write a length as the drawings do: plain, without a minus zero.

    Examples
    --------
    >>> millimetres(-0.001), millimetres(3.14159), millimetres(450.0, 1)
    ('0.00', '3.14', '450.0')
    """
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if float(text) == 0 else text
