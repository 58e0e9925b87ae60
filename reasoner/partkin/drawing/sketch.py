"""A small sketch of a donor on the host for the table of options: how many fixings line up, at a glance."""

from __future__ import annotations

from partkin.drawing.laying import IDENTITY, Frame, moved, side_points, spread_of
from partkin.drawing.shapes import Picture, Poly, Shape
from partkin.drawing.svg import SvgWriter, short
from partkin.drawing.symbols import state_mark
from partkin.model.drawing import OverlayView

_WIDTH = 120.0


def sketch_svg(view: OverlayView) -> str:
    """Draw edges and the mark of each pair's state; hidden from who listens, for the row says the same."""
    matrix = view.matrix or IDENTITY
    box = spread_of(side_points(view, False, IDENTITY))
    if box is None or view.matrix is None:
        return ""
    across_mm, up_mm = max(box[2] - box[0], 1.0), max(box[3] - box[1], 1.0)
    scale = min((_WIDTH - 16.0) / across_mm, 84.0 / up_mm)
    height = up_mm * scale + 16.0
    frame = Frame.about(box, scale, _WIDTH, height)
    shapes: list[Shape] = []
    for outline in view.outlines:
        if outline.kind == "edge" and len(outline.corners_mm) > 2:
            donor = outline.of == "donor"
            corners = (moved(matrix, corner) if donor else corner for corner in outline.corners_mm)
            shapes.append(Poly(tuple(frame.px(corner) for corner in corners), "donor-thin" if donor else "faint"))
    states = {pair.fixing: pair.state for pair in view.pairs}
    for fixing in view.fixings:
        if fixing.id in states:
            shapes += state_mark(frame.px(fixing.at_mm), states[fixing.id])
    picture = Picture(_WIDTH, height, tuple(shapes), "", "")
    body = SvgWriter().all(picture.shapes)
    box_of = f"0 0 {short(_WIDTH)} {short(height, 1)}"
    return f'<svg class="dw sketch" viewBox="{box_of}" aria-hidden="true">{body}</svg>'
