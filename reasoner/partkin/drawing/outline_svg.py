"""Reads the lines of an SVG: no document type, no entity, nothing from outside, and limits on everything."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import NamedTuple
from xml.parsers import expat

from partkin.drawing.loops import Known, LinePiece, arc_points
from partkin.drawing.outline_import import MOST_THINGS, ForeignDrawing, Refused
from partkin.drawing.plane import Point, corners_of
from partkin.drawing.svg_path import Transform, path_pieces, transform_of, within
from partkin.drawing.template import AIDS, LAYERS

MOST_POINTS = 500_000
_DEEPEST = 60
_UNIT_MM = {"mm": 1.0, "cm": 10.0, "in": 25.4, "pt": 25.4 / 72, "pc": 25.4 / 6, "q": 0.25}
_LENGTH = re.compile(r"^\s*([0-9]*\.?[0-9]+(?:[eE][-+]?\d+)?)\s*([a-zA-Z%]*)\s*$")
# Their content is not part of the drawing itself.
_SILENT = frozenset(
    (
        *("defs", "symbol", "clipPath", "mask", "pattern", "marker", "metadata", "style", "script", "text"),
        *("title", "desc", "filter", "linearGradient", "radialGradient", "foreignObject", "switch", "image"),
    )
)
_HIDDEN = re.compile(r"(?:^|;)\s*(?:display\s*:\s*none|visibility\s*:\s*hidden)")
_PLAIN = frozenset(("svg", "g", "a"))


def read_svg(content: bytes, said_mm: float | None, layers: tuple[str, ...] = ()) -> ForeignDrawing:
    """Read paths, circles, ellipses, rectangles, lines and polygons.

    `said_mm`: the unit that the caller gave; it settles how closely arcs are followed. `layers`: only what
    stands in a group of one of these ids or labels; (): everything. Refused: it cannot be read, or holds too much.
    """
    reader = _Reader(said_mm, layers)
    parser = expat.ParserCreate(encoding="utf-8", namespace_separator=" ")
    parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = reader.doctype
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    try:
        text = content.decode("utf-8-sig")
        if "\0" in text:
            raise Refused("the file holds zero bytes", "Export it again as plain SVG")
        parser.Parse(re.sub(r"^\s*<\?xml[^>]*\?>", "", text).encode("utf-8"), True)
    except UnicodeDecodeError:
        raise Refused("the file is not UTF-8", "Export it as plain SVG in UTF-8") from None
    except expat.ExpatError as fault:
        raise Refused(f"this is not well-formed SVG ({fault})", "Export it again as plain SVG") from fault
    up = (replace(piece, points=tuple((x, reader.floor - y) for x, y in piece.points)) for piece in reader.found)
    return list(up), reader.unit_mm, reader.passed_over


def _number(text: str | None, otherwise: float = 0.0) -> float:
    """Read a coordinate; units of its own make it unreadable here."""
    if text is None:
        return otherwise
    if len(text) > 60:
        raise Refused("a coordinate is longer than any number", "Export it as plain SVG")
    found = _LENGTH.match(text.replace("px", "").lstrip("+-"))
    if found is None or found.group(2):
        raise Refused(f"a coordinate {text[:20]!r} is not a plain number", "Export it as plain SVG")
    value = float(found.group(1))
    return -value if text.strip().startswith("-") else value


class _Open(NamedTuple):
    """An element that stands open: its transform, whether it is in a wanted layer, its layer, what names it."""

    transform: Transform = Transform()
    inside: bool = False
    layer: str = ""
    known: Known | None = None


class _Reader:
    """Follows the elements."""

    def __init__(self, said_mm: float | None, layers: tuple[str, ...]) -> None:
        self.said_mm = said_mm
        self.layers = layers
        self.frame: tuple[str, str] | None = None
        self.unit_mm: float | None = None
        self.floor = 0.0
        self.open = [_Open()]
        self.silent = 0
        self.count = 0
        self.points = 0
        self.found: list[LinePiece] = []
        self.passed_over: set[str] = set()

    def doctype(self, *_: object) -> None:
        raise Refused("the file declares a document type or entities", "Take the DOCTYPE out; plain SVG has none")

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.count += 1
        if self.count > MOST_THINGS:
            raise Refused(f"the drawing holds more than {MOST_THINGS} things", "Export the outline alone")
        name = tag.rsplit(" ", 1)[-1]
        hidden = attributes.get("display") == "none" or bool(_HIDDEN.search(attributes.get("style", "")))
        if self.silent or name in _SILENT or hidden:
            self.silent += 1
            return
        if len(self.open) > _DEEPEST:
            raise Refused("groups are nested too deep", "Ungroup the drawing")
        try:
            own = transform_of(attributes.get("transform", ""))
        except ValueError:
            raise Refused("a transform cannot be read", "Export it as plain SVG") from None
        if len(self.open) == 1:
            if name != "svg":
                raise Refused(f"the file begins with <{name[:30]}>, not with <svg>", "Export the drawing as SVG")
            self.root(attributes)
        around, names = self.open[-1], [v for key, v in attributes.items() if key == "id" or key.endswith(" label")]
        inside = self.wanted or (name == "g" and any(one in self.layers for one in names))
        layer, known = around.layer, around.known
        if name == "g":
            layer = next((one for one in names if one in LAYERS), layer)
        if self.frame and "data-of" in attributes:
            numbers = [_number(word) for word in attributes.get("data-stood", "")[:200].split()]
            known = Known.of(self.frame[0], attributes["data-of"], self.frame[1], numbers)
        self.open.append(_Open(within(around.transform, own), inside, layer, known))
        if name not in _PLAIN:
            self.element(name, attributes)
        elif name == "svg" and len(self.open) > 2:
            self.passed_over.add("the place of a drawing inside the drawing")

    def end(self, _tag: str) -> None:
        if self.silent:
            self.silent -= 1
        else:
            self.open.pop()

    @property
    def wanted(self) -> bool:
        """Whether what stands here is on a layer that is read."""
        here = self.open[-1]
        return here.inside if self.layers else self.frame is None or here.layer not in AIDS or here.known is not None

    def root(self, attributes: dict[str, str]) -> None:
        """Find the unit of the coordinates, and the line that y is counted up from."""
        words = re.split(r"[\s,]+", attributes.get("viewBox", "").strip()[:200])
        box = [_number(word) for word in words if word]
        sides = [self.side_mm(attributes.get(side)) for side in ("width", "height")]
        if len(box) == 4 and box[2] > 0 and box[3] > 0:
            self.floor = box[1] + box[3]
            if sides[0] is not None and sides[1] is not None:
                across, up = sides[0] / box[2], sides[1] / box[3]
                if attributes.get("preserveAspectRatio", "").startswith("none") and abs(across - up) > 1e-3 * up:
                    raise Refused(
                        "the drawing is stretched more one way than the other", "Set its scale alike both ways"
                    )
                self.unit_mm = min(across, up)
        elif sides[0] is not None and sides[1] is not None:
            # Without a view box a coordinate is a CSS pixel, 1/96 inch (CSS Values and Units).
            self.unit_mm = 25.4 / 96.0
            self.floor = sides[1] / self.unit_mm
        if "data-part" in attributes and "data-top" in attributes:
            self.frame = (attributes["data-part"], attributes.get("data-face", ""))
            self.floor = _number(attributes["data-top"])

    @staticmethod
    def side_mm(text: str | None) -> float | None:
        found = _LENGTH.match((text or "")[:60])
        if found is None or found.group(2).lower() not in _UNIT_MM:
            return None
        return float(found.group(1)) * _UNIT_MM[found.group(2).lower()] or None

    def element(self, name: str, attributes: dict[str, str]) -> None:
        if not self.wanted:
            return
        unit_mm, (transform, _, layer, known) = self.said_mm or self.unit_mm or 1.0, self.open[-1]
        try:
            pieces = _pieces(name, attributes, unit_mm * transform.largest)
        except (ValueError, ArithmeticError):
            raise Refused(f"a <{name[:30]}> cannot be read", "Export it again as plain SVG") from None
        if pieces is None:
            self.passed_over.add(f"<{name[:30]}>")
        for piece in pieces or ():
            self.points += len(piece.points)
            if self.points > MOST_POINTS:
                raise Refused("the drawing holds too many points", "Export the outline alone")
            self.found.append(LinePiece(tuple(map(transform.moved, piece.points)), piece.closed, layer, known))


def _pieces(name: str, attributes: dict[str, str], unit_mm: float) -> list[LinePiece] | None:
    """Return the lines of one element; None where it is of no kind that is read."""
    if name == "path":
        return path_pieces(attributes.get("d", ""), unit_mm)
    if name in ("circle", "ellipse"):
        centre = (_number(attributes.get("cx")), _number(attributes.get("cy")))
        rx = _number(attributes.get("r" if name == "circle" else "rx"))
        ry = rx if name == "circle" else _number(attributes.get("ry"))
        if rx <= 0 or ry <= 0:
            return []
        ring = arc_points((0.0, 0.0), max(rx, ry), 0.0, 360.0, unit_mm)[:-1]
        large = max(rx, ry)
        return [LinePiece(tuple((centre[0] + x * rx / large, centre[1] + y * ry / large) for x, y in ring), True)]
    if name == "rect":
        return _rectangle(attributes, unit_mm)
    if name == "line":
        ends = [(_number(attributes.get(f"x{n}")), _number(attributes.get(f"y{n}"))) for n in (1, 2)]
        return [LinePiece((ends[0], ends[1]))]
    if name in ("polyline", "polygon"):
        values = [_number(word) for word in re.split(r"[\s,]+", attributes.get("points", "").strip()) if word]
        points = tuple(zip(values[::2], values[1::2], strict=False))
        return [LinePiece(points, name == "polygon")] if len(points) > 1 else []
    return None


def _rectangle(attributes: dict[str, str], unit_mm: float) -> list[LinePiece]:
    """Return a rectangle, its corners rounded where it says so; fully rounded it is a slot."""
    x, y, width, height = (_number(attributes.get(name)) for name in ("x", "y", "width", "height"))
    if width <= 0 or height <= 0:
        return []
    rx_text, ry_text = attributes.get("rx"), attributes.get("ry")
    rx = min(_number(rx_text if rx_text is not None else ry_text), width / 2)
    ry = min(_number(ry_text if ry_text is not None else rx_text), height / 2)
    if rx <= 0 or ry <= 0:
        return [LinePiece(corners_of((x, y, x + width, y + height)), True)]
    points: list[Point] = []
    corners = ((width - rx, ry), (width - rx, height - ry), (rx, height - ry), (rx, ry))
    for (corner_x, corner_y), start_deg in zip(corners, (-90.0, 0.0, 90.0, 180.0), strict=True):
        for spoke_x, spoke_y in arc_points((0.0, 0.0), 1.0, start_deg, 90.0, max(rx, ry) * unit_mm):
            point = (x + corner_x + rx * spoke_x, y + corner_y + ry * spoke_y)
            if not points or math.dist(points[-1], point) > 1e-9 * max(width, height):
                points.append(point)
    return [LinePiece(tuple(points), True)]
