"""The shapes that every picture is made of.

A picture is a list of these; svg.py, raster.py and template.py each write the same list in their own way.
Coordinates are in the unit of the picture (screen pixels with y down, or millimetres with y up); angles are
degrees, anticlockwise as seen, in both.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from partkin.drawing.lettering import text_width
from partkin.drawing.pens import INK
from partkin.drawing.plane import Point, turned


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


Shape = Line | Strokes | Poly | Round | Arc | Oval | Obround | Words


@dataclass(frozen=True)
class Picture:
    """Shapes on a sheet, with a title and the same said in words for who cannot see it."""

    width: float
    height: float
    shapes: tuple[Shape, ...]
    title: str
    says: str


def obround_points(shape: Obround, y_up: bool) -> tuple[Point, ...]:
    """Return an obround as a closed polygon, for writers that know no arcs."""
    sign = 1.0 if y_up else -1.0
    points = []
    for end, start_deg in ((shape.half_travel, -90.0), (-shape.half_travel, 90.0)):
        for step in range(25):
            spoke = turned((shape.radius, 0.0), start_deg + 180.0 * step / 24)
            x, y = turned((end + spoke[0], spoke[1]), shape.angle_deg)
            points.append((shape.centre[0] + x, shape.centre[1] + sign * y))
    return tuple(points)


def on_layer(shapes: Iterable[Shape], layer: str) -> list[Shape]:
    """Return the shapes with their layer named."""
    return [replace(shape, layer=layer) for shape in shapes]
