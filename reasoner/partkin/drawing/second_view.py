"""A pattern in space seen from above too, under the main view: first-angle projection (ISO 5456-2)."""

from __future__ import annotations

from partkin.drawing.laying import Frame, moved, moved_z
from partkin.drawing.placing import Room, lettered
from partkin.drawing.shapes import SOFT, Line, Poly, Round, Shape, Strokes, Words, shortened
from partkin.drawing.svg import clean
from partkin.drawing.symbols import size_mm
from partkin.model.drawing import DrawnFeature, Matrix, OverlayView

_EDGE = 34.0
_FLAT_MM = 1.0


def _mark(feature: DrawnFeature, x_px: float, y_px: float, scale: float, donor: bool) -> list[Shape]:
    """Draw a feature from the side: its width as a wide line, its axis as a centre line."""
    half = max((size_mm(feature) or 5.0) / 2 * scale, 2.0)
    shapes: list[Shape] = [Line((x_px - half, y_px), (x_px + half, y_px), "donor" if donor else "wide")]
    if not donor:
        shapes.append(Line((x_px, y_px - 9.0), (x_px, y_px + 9.0), "centre"))
    return shapes


def projection_mark(right: float, middle: float) -> list[Shape]:
    """Draw the mark of first-angle projection: a blunt cone, its view from the left on its right."""
    left, ring = right - 40.0, (right - 9.0, middle)
    cone = ((left, middle - 5.0), (left + 15.0, middle - 8.0), (left + 15.0, middle + 8.0), (left, middle + 5.0))
    axes = (((left - 4, middle), (right + 2, middle)), ((ring[0], middle - 11), (ring[0], middle + 11)))
    return [Poly(cone, "thin"), Round(ring, 8.0, "thin"), Round(ring, 5.0, "thin"), Strokes(axes, "centre")]


def from_above(view: OverlayView, matrix: Matrix, frame: Frame, top: float, width: float) -> tuple[list[Shape], float]:
    """Draw x against z under the main view, at its scale; nothing for a flat pattern. Returns the height too.

    Seen from above, what is nearer to the eye of the main view lies lower.
    """
    spots = [(f, f.at_mm[0], f.at_mm[2], False) for f in view.fixings if len(f.at_mm) > 2]
    spots += [(f, moved(matrix, f.at_mm)[0], moved_z(matrix, f.at_mm), True) for f in view.features if len(f.at_mm) > 2]
    lowest, highest = min((z for _, _, z, _ in spots), default=0.0), max((z for _, _, z, _ in spots), default=0.0)
    if highest - lowest < _FLAT_MM:
        return [], 0.0
    base = top + _EDGE - lowest * frame.scale
    height = (highest - lowest) * frame.scale + 2 * _EDGE
    room = Room((8.0, top + 22.0, width - 8.0, top + height))
    places = [(f, (frame.px((x_mm, 0.0))[0], base + z_mm * frame.scale), donor) for f, x_mm, z_mm, donor in spots]
    shapes: list[Shape] = [Words((14.0, top + 16.0), "Seen from above", 11.0, colour=SOFT)]
    shapes += projection_mark(width - 18.0, top + 18.0)
    shapes += [mark for feature, at, donor in places for mark in _mark(feature, *at, frame.scale, donor)]
    room.draw(shapes)
    for feature, at, donor in places:
        if not donor:
            text = shortened(clean(feature.id), 11.0, 0.2 * width)
            shapes += lettered(room, at, (8.0, 8.0), text, 11.0, farthest=7.0) or []
    return shapes, height
