"""A template as DXF: millimetres, layers named in words, the same bytes each time."""

from __future__ import annotations

import io
import math

import ezdxf
from ezdxf.entities import DXFGraphic
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts import Modelspace

from partkin.drawing.loops import MARKED
from partkin.drawing.plane import turned
from partkin.drawing.shapes import Line, Obround, Poly, Round, Shape, Strokes, Words
from partkin.drawing.svg import clean
from partkin.drawing.template import LAYERS, template_picture
from partkin.model.drawing import TemplateView

# Line types: lengths of strokes and gaps in millimetres, a gap negative.
_LINE_TYPES = {
    "dashed": ("to be cut", (2.0, -0.8)),
    "long dashed": ("of the other part", (3.0, -1.0)),
    "dash dot": ("centre lines", (6.0, -1.0, 0.5, -1.0)),
    "dash two dots": ("zones", (6.0, -1.0, 0.5, -1.0, 0.5, -1.0)),
}
# By layer: colour (index of the DXF reference), line type, weight (hundredths of a millimetre out of a fixed list).
_LOOKS = {
    "edges": (7, "Continuous", 50), "openings": (7, "Continuous", 35), "keep clear": (8, "dash two dots", 25),
    "holes": (7, "Continuous", 25), "slots": (4, "Continuous", 25), "pegs": (6, "Continuous", 35),
    "studs": (5, "Continuous", 35), "tapped holes": (140, "Continuous", 25), "captive nuts": (150, "Continuous", 25),
    "peg holes": (210, "Continuous", 25), "clips": (190, "Continuous", 25), "clip holes": (200, "Continuous", 25),
    "zones": (8, "dash two dots", 13), "centres": (8, "dash dot", 13), "to cut": (6, "dashed", 50),
    "other part": (5, "long dashed", 13), "words": (7, "Continuous", 18), "rule": (7, "Continuous", 25),
}  # fmt: skip


def _add(space: Modelspace, shape: Shape, view: TemplateView) -> None:
    layer = {"layer": shape.layer or "rule"}
    match shape:
        case Round():
            _mark(space.add_circle(shape.centre, shape.radius, dxfattribs=layer), shape, view)
        case Obround(centre=(x, y)):
            along = turned((shape.half_travel, 0.0), shape.angle_deg)
            across = turned((0.0, shape.radius), shape.angle_deg)
            # Its four corners with their bulges (1: a half circle).
            corners = [
                (x + a * along[0] + b * across[0], y + a * along[1] + b * across[1], bulge)
                for a, b, bulge in ((1, -1, 1.0), (1, 1, 0.0), (-1, 1, 1.0), (-1, -1, 0.0))
            ]
            _mark(space.add_lwpolyline(corners, format="xyb", close=True, dxfattribs=layer), shape, view)
        case Poly():
            drawn = space.add_lwpolyline(shape.points, format="xy", close=shape.closed, dxfattribs=layer)
            _mark(drawn, shape, view)
        case Line():
            space.add_line(shape.a, shape.b, dxfattribs=layer)
        case Strokes():
            for a, b in shape.lines:
                space.add_line(a, b, dxfattribs=layer)
        case Words():
            said = clean(shape.text).replace("\n", " ").replace("%%", "% %")
            text = space.add_text(said, height=0.72 * shape.size, rotation=shape.turn_deg, dxfattribs=layer)
            align = TextEntityAlignment.MIDDLE_CENTER if shape.anchor == "middle" else TextEntityAlignment.LEFT
            text.set_placement(shape.at, align=align)
        case _:
            raise TypeError(f"a template has no {type(shape).__name__}")


def _mark(entity: DXFGraphic, shape: Round | Obround | Poly, view: TemplateView) -> None:
    """Write beside a known feature or line which one it is, and where it stood when it was drawn."""
    if shape.of:
        face = "turned over" if view.turned_over else "as it is"
        values: list[tuple[int, str | float]] = [(1000, view.part[:255]), (1000, shape.of[:255]), (1000, face)]
        values += [] if isinstance(shape, Poly) else [(1040, value) for value in shape.numbers]
        entity.set_xdata(MARKED, values)


def template_dxf(view: TemplateView) -> bytes:
    """Write a template as DXF R2010 in millimetres (y up); the same bytes for the same view.

    All layers are written, those without a shape too. What known features and lines are of is told beside them, so
    that `outline` knows them again.
    """
    fixed = ezdxf.options.write_fixed_meta_data_for_testing
    # The option is named for tests; what it does is leave out the date and random marks of the file.
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        document = ezdxf.new("R2010", units=ezdxf.units.MM)
        document.header["$MEASUREMENT"] = 1
        document.header["$LUNITS"] = 2
        document.appids.add(MARKED)
        for name, (says, lengths_mm) in _LINE_TYPES.items():
            document.linetypes.add(name, [sum(map(abs, lengths_mm)), *lengths_mm], description=says)
        for name in LAYERS:
            colour, line_type, weight = _LOOKS[name]
            document.layers.add(name, color=colour, linetype=line_type, lineweight=weight)
        for shape in template_picture(view)[0].shapes:
            point = isinstance(shape, Line) and math.dist(shape.a, shape.b) == 0.0
            if not point and getattr(shape, "pen", "") != "cut-band":
                _add(document.modelspace(), shape, view)
        # The library lists the classes in use from a set, whose order changes from one run to the next.
        for name in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(name)
        out = io.StringIO()
        document.write(out)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = fixed
    return out.getvalue().encode("utf-8", "replace")
