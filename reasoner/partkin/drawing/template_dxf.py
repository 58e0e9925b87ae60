"""A template as DXF: millimetres, layers named in words, the same bytes each time."""

from __future__ import annotations

import io
import math

import ezdxf
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts import Modelspace

from partkin.drawing.shapes import Line, Obround, Picture, Poly, Round, Shape, Strokes, Words, turned
from partkin.drawing.svg import clean

# Lineweights of DXF are hundredths of a millimetre out of a fixed list.
_WEIGHTS = {"outline": 50, "centres": 13, "rule": 25}


def _obround(shape: Obround) -> list[tuple[float, float, float]]:
    """Return the four corners of a slot with their bulges (1: a half circle)."""
    along = turned((shape.half_travel, 0.0), shape.angle_deg)
    across = turned((0.0, shape.radius), shape.angle_deg)
    x, y = shape.centre
    corners = []
    for a, b, bulge in ((1, -1, 1.0), (1, 1, 0.0), (-1, 1, 1.0), (-1, -1, 0.0)):
        corners.append((x + a * along[0] + b * across[0], y + a * along[1] + b * across[1], bulge))
    return corners


def _add(space: Modelspace, shape: Shape) -> None:
    layer = {"layer": getattr(shape, "layer", "") or "outline"}
    if isinstance(shape, Round):
        space.add_circle(shape.centre, shape.radius, dxfattribs=layer)
    elif isinstance(shape, Line):
        space.add_line(shape.a, shape.b, dxfattribs=layer)
    elif isinstance(shape, Strokes):
        for a, b in shape.lines:
            space.add_line(a, b, dxfattribs=layer)
    elif isinstance(shape, Poly):
        space.add_lwpolyline(shape.points, format="xy", close=shape.closed, dxfattribs=layer)
    elif isinstance(shape, Obround):
        space.add_lwpolyline(_obround(shape), format="xyb", close=True, dxfattribs=layer)
    elif isinstance(shape, Words):
        text = space.add_text(
            clean(shape.text).replace("\n", " ").replace("%%", "% %"),
            height=0.72 * shape.size,
            rotation=shape.turn_deg,
            dxfattribs=layer,
        )
        align = TextEntityAlignment.MIDDLE_CENTER if shape.anchor == "middle" else TextEntityAlignment.LEFT
        text.set_placement(shape.at, align=align)
    else:
        raise TypeError(f"a template has no {type(shape).__name__}")


def picture_dxf(picture: Picture, layers: tuple[str, ...]) -> bytes:
    """Write a picture in millimetres (y up) as DXF R2010.

    Parameters
    ----------
    picture
    layers
        All layers, in order; those without a shape are written too, so that every file has the same ones.
    """
    fixed = ezdxf.options.write_fixed_meta_data_for_testing
    # The option is named for tests; what it does is leave out the date and random marks of the file.
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        document = ezdxf.new("R2010", units=ezdxf.units.MM)
        document.header["$MEASUREMENT"] = 1
        document.header["$LUNITS"] = 2
        for name in layers:
            document.layers.add(name, color=7, lineweight=_WEIGHTS.get(name, 25))
        space = document.modelspace()
        for shape in picture.shapes:
            if getattr(shape, "pen", "") == "cut-band" or _is_point(shape):
                continue
            _add(space, shape)
        # The library lists the classes in use from a set, whose order changes from one run to the next.
        for name in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(name)
        out = io.StringIO()
        document.write(out)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = fixed
    return out.getvalue().encode("utf-8", "replace")


def _is_point(shape: Shape) -> bool:
    return isinstance(shape, Line) and math.dist(shape.a, shape.b) == 0.0
