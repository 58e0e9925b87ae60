"""Reads the lines of a DXF in text form, with limits, and no block nested deeper than it is worth."""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from partkin.drawing.loops import MARKED, Known, LinePiece, arc_points
from partkin.drawing.outline_import import LARGEST_MM, MOST_THINGS, ForeignDrawing, Refused
from partkin.drawing.plane import Point
from partkin.drawing.template import AIDS

# $INSUNITS of the DXF reference: inch, foot, mm, cm, m, micrometre, dm.
_INSUNITS_MM = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 13: 0.001, 14: 100.0}
_DEEPEST = 4


def read_dxf(content: bytes, said_mm: float | None, layers: tuple[str, ...] = ()) -> ForeignDrawing:
    """Read lines, arcs, circles, ellipses and polylines of the model space.

    `said_mm`: the unit that the caller gave; it settles how closely arcs are followed. `layers`: only these
    are read; (): all. Refused: it cannot be read, or holds too much.
    """
    import ezdxf

    if content.count(b"\n") > 40 * MOST_THINGS:
        raise Refused("the file holds too much for an outline", "Export the outline alone")
    try:
        document = ezdxf.read(io.StringIO(content.decode("utf-8", "replace").replace("\r\n", "\n")))
        unit_mm = _INSUNITS_MM.get(document.header.get("$INSUNITS", 0))
        reader = _Reader(said_mm or unit_mm or 1.0, layers, () if layers or MARKED not in document.appids else AIDS)
        return list(reader.pieces(document.modelspace(), 0)), unit_mm, reader.passed_over
    except (
        ezdxf.DXFError, ValueError, TypeError, KeyError, IndexError, AttributeError, ArithmeticError,
    ) as fault:  # fmt: skip
        # A damaged file makes the reader stumble anywhere; whatever it says, the file is at fault.
        said = " ".join(str(fault).split())[:120] or type(fault).__name__
        raise Refused(f"this is not a DXF that can be read ({said})", "Export it again") from fault


class _Reader:
    """Turns entities into pieces, counting as it goes."""

    def __init__(self, unit_mm: float, layers: tuple[str, ...], without: tuple[str, ...]) -> None:
        self.unit_mm = unit_mm
        self.layers = layers
        self.without = without
        self.left = MOST_THINGS
        self.passed_over: set[str] = set()

    def count(self, things: int = 1) -> None:
        self.left -= things
        if self.left < 0:
            raise Refused(f"the drawing holds more than {MOST_THINGS} things", "Export the outline alone")

    def pieces(self, entities: Iterable[Any], depth: int) -> Iterator[LinePiece]:
        for entity in entities:
            self.count()
            kind = entity.dxftype()
            layer, known = entity.dxf.layer, _known(entity)
            if kind == "INSERT" and depth >= _DEEPEST:
                self.passed_over.add("blocks nested too deep")
            elif kind == "INSERT":
                # An array of blocks is one INSERT with rows and columns: each copy has its holes.
                for copy in entity.multi_insert() if entity.mcount > 1 else (entity,):
                    self.count()
                    yield from self.pieces(copy.virtual_entities(), depth + 1)
            elif layer not in self.layers if self.layers else layer in self.without and known is None:
                continue
            elif kind in ("CIRCLE", "ARC", "LINE", "LWPOLYLINE", "POLYLINE", "ELLIPSE", "SPLINE"):
                yield from (replace(one, layer=layer, known=known) for one in self.piece(entity, kind))
            elif kind not in ("TEXT", "MTEXT", "DIMENSION", "POINT", "VIEWPORT", "ATTDEF"):
                self.passed_over.add(kind)

    def piece(self, entity: Any, kind: str) -> Iterator[LinePiece]:
        dxf = entity.dxf
        if kind == "LINE":
            yield LinePiece((_flat(dxf.start), _flat(dxf.end)))
        elif kind in ("CIRCLE", "ARC"):
            # A mirrored arc has its extrusion turned over; its own frame is then not the drawing's.
            if dxf.extrusion.z < 0:
                centre, sign = (-dxf.center.x, dxf.center.y), -1.0
            else:
                centre, sign = _flat(dxf.center), 1.0
            start, sweep = 0.0, 360.0
            if kind == "ARC":
                sweep = (dxf.end_angle - dxf.start_angle) % 360.0 or 360.0
                start = dxf.start_angle if sign > 0 else 180.0 - dxf.start_angle
            points = arc_points(centre, abs(dxf.radius), start, sign * sweep, self.unit_mm)
            yield LinePiece(points[:-1] if kind == "CIRCLE" else points, kind == "CIRCLE")
        elif kind == "POLYLINE" and not (entity.is_2d_polyline or entity.is_3d_polyline):
            self.passed_over.add("mesh")
        elif kind in ("LWPOLYLINE", "POLYLINE"):
            yield self.polyline(entity, kind)
        else:
            # A curve that lies far out is refused before it is followed in steps of two micrometres.
            near = [dxf.center, dxf.major_axis] if kind == "ELLIPSE" else [*entity.control_points, *entity.fit_points]
            if any(not abs(value) * self.unit_mm <= LARGEST_MM for point in near for value in (point[0], point[1])):
                raise ValueError("a curve lies too far out")
            points = tuple(_flat(point) for point in entity.flattening(0.002 / self.unit_mm))
            yield LinePiece(points, len(points) > 3 and math.dist(points[0], points[-1]) * self.unit_mm < 0.02)

    def polyline(self, entity: Any, kind: str) -> LinePiece:
        """Follow a polyline through its corners and its bulges."""
        if kind == "LWPOLYLINE":
            closed = bool(entity.closed)
            corners = [(float(x), float(y), float(bulge)) for x, y, bulge in entity.get_points("xyb")]
        else:
            closed = bool(entity.is_closed)
            corners = [(*_flat(one.dxf.location), float(one.dxf.get("bulge", 0.0))) for one in entity.vertices]
        if entity.dxf.extrusion.z < 0:
            corners = [(-x, y, -bulge) for x, y, bulge in corners]
        self.count(len(corners))
        points: list[Point] = [corners[0][:2]] if corners else []
        following = corners[1:] + corners[:1] if closed else corners[1:]
        for (x, y, bulge), (next_x, next_y, _) in zip(corners, following, strict=False):
            points += bulged((x, y), (next_x, next_y), bulge, self.unit_mm)
        return LinePiece(tuple(points), closed)


def bulged(a: Point, b: Point, bulge: float, unit_mm: float) -> tuple[Point, ...]:
    """Return the points after `a` up to `b`; bulge is the tangent of a quarter of the arc's angle.

    Examples
    --------
    >>> half = bulged((0.0, 0.0), (2.0, 0.0), 1.0, 1.0)
    >>> round(min(y for _, y in half), 3)
    -1.0
    """
    chord = math.dist(a, b)
    if abs(bulge) < 1e-9 or chord == 0.0:
        return (b,)
    sweep_deg = math.degrees(4.0 * math.atan(bulge))
    radius = chord * (1.0 + bulge * bulge) / (4.0 * abs(bulge))
    # From the middle of the chord to the centre, to the left of a -> b.
    left = chord * (1.0 - bulge * bulge) / (4.0 * bulge)
    along = ((b[0] - a[0]) / chord, (b[1] - a[1]) / chord)
    centre = ((a[0] + b[0]) / 2 - along[1] * left, (a[1] + b[1]) / 2 + along[0] * left)
    start_deg = math.degrees(math.atan2(a[1] - centre[1], a[0] - centre[0]))
    return (*arc_points(centre, radius, start_deg, sweep_deg, unit_mm)[1:-1], b)


def _known(entity: Any) -> Known | None:
    """Return what a template of ours wrote beside a shape; None: nothing, or nothing that is whole."""
    if not entity.has_xdata(MARKED):
        return None
    values = [tag.value for tag in entity.get_xdata(MARKED)]
    words, numbers = values[:3], values[3:]
    if len(words) < 3 or not all(isinstance(word, str) for word in words):
        return None
    whole = all(isinstance(one, float) and math.isfinite(one) for one in numbers)
    return Known.of(words[0], words[1], words[2], numbers if whole else ())


def _flat(point: Any) -> Point:
    return (float(point.x), float(point.y))
