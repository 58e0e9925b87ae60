"""Details beside an overlay: each pair's offset drawn larger, by one factor, against the play it has."""

from __future__ import annotations

import math
from itertools import pairwise

from partkin.drawing.laying import moved_angle_deg, offset_left
from partkin.drawing.lettering import millimetres, shortened
from partkin.drawing.pens import SOFT
from partkin.drawing.plane import Point, turned
from partkin.drawing.shapes import Line, Round, Shape, Strokes, Window, Words
from partkin.drawing.symbols import cross, rectangle, spread_mark, state_mark
from partkin.model.drawing import DrawnFeature, Matrix, OverlayView
from partkin.model.verdict import Pair

CELL_WIDTH, CELL_HEIGHT, HALF = 100.0, 136.0, 40.0
_FACTORS = (200.0, 100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0)
Drawn = tuple[Pair, DrawnFeature, DrawnFeature]


def factor_for(view: OverlayView, scale: float) -> float:
    """Return how many times larger than the pattern the offsets are drawn.

    The widest play of any pair fills at most 0.78 of its cell; where no play is known the widest offset does.
    """
    plays = [pair.allowed_mm for pair in view.pairs if pair.allowed_mm is not None and pair.allowed_mm > 0]
    offsets = [pair.offset_mm for pair in view.pairs if pair.offset_mm is not None and pair.offset_mm > 0]
    widest = max(plays or offsets or [1.0])
    return next((factor for factor in _FACTORS if widest * scale * factor <= 0.78 * HALF), 1.0)


def _offset_px(drawn: Drawn, matrix: Matrix, px_per_mm: float) -> tuple[Point, bool]:
    """Return the offset in pixels (y down), cut short where it would leave the cell, and whether it was."""
    pair, fixing, feature = drawn
    x, y = offset_left(fixing, feature, matrix)
    length = math.hypot(x, y)
    wanted = pair.offset_mm if pair.offset_mm is not None else length
    if length > 1e-9:
        x, y = x * wanted / length, y * wanted / length
    x, y = x * px_per_mm, -y * px_per_mm
    far, most = math.hypot(x, y), HALF - 8.0
    return ((x * most / far, y * most / far), True) if far > most else ((x, y), False)


def _slot_lines(drawn: Drawn, matrix: Matrix, centre: Point, dot: Point) -> list[Shape]:
    """Draw the centre lines along which slots let the pair slide."""
    _, fixing, feature = drawn
    shapes: list[Shape] = []
    for slot, at, angle_deg, pen in (
        (fixing, centre, fixing.angle_deg, "centre"),
        (feature, dot, moved_angle_deg(matrix, feature.angle_deg), "donor-thin"),
    ):
        if slot.half_travel_mm > 0:
            x, y = turned((2.5 * HALF, 0.0), angle_deg)
            shapes.append(Line((at[0] - x, at[1] + y), (at[0] + x, at[1] - y), pen))
    return shapes


def _path(centre: Point, dot: Point, cut_short: bool) -> list[Shape]:
    """Draw the way from the fixing's centre to the donor's, broken where it is cut short."""
    dx, dy = dot[0] - centre[0], dot[1] - centre[1]
    length = math.hypot(dx, dy)
    if length < 4.0:
        return []
    x, y, left, top = dx / length, dy / length, centre[0] + dx * 0.78, centre[1] + dy * 0.78
    zigzag = [(left + x * a - y * b, top + y * a + x * b) for a, b in ((-4, 0), (-1, 6), (1, -6), (4, 0))]
    broken = [Strokes(tuple(pairwise(zigzag)), "donor-thin")] if cut_short else []
    return [Line(centre, dot, "donor-thin"), *broken]


def enlarged(view: OverlayView, drawn: Drawn, matrix: Matrix, centre: Point, px_per_mm: float) -> list[Shape]:
    """Draw the inside of a cell, `HALF` pixels each way of its centre."""
    pair, fixing, feature = drawn
    offset, cut_short = _offset_px(drawn, matrix, px_per_mm)
    dot = (centre[0] + offset[0], centre[1] + offset[1])
    shapes: list[Shape] = [cross(centre, HALF, "centre")]
    if pair.allowed_mm is not None and pair.allowed_mm > 0:
        shapes.append(Round(centre, pair.allowed_mm * px_per_mm, "wide"))
    shapes += _slot_lines(drawn, matrix, centre, dot)
    for spread in view.spreads:
        if spread.of == "donor" and spread.id == feature.id:
            shapes.append(spread_mark(spread, dot, moved_angle_deg(matrix, spread.angle_deg), px_per_mm))
        elif spread.of != "donor" and spread.id == fixing.id:
            shapes.append(spread_mark(spread, centre, spread.angle_deg, px_per_mm))
    return [*shapes, *_path(centre, dot, cut_short), Round(dot, 2.6, "donor-dot")]


def figures(pair: Pair) -> str:
    """Say offset and play of a pair, in mm."""
    if pair.offset_mm is None:
        return "not placed"
    if pair.allowed_mm is None:
        return f"{millimetres(pair.offset_mm)}, play ?"
    return f"{millimetres(pair.offset_mm)} of {millimetres(pair.allowed_mm)}"


def drawn_pairs(view: OverlayView) -> list[Drawn]:
    """Return the pairs that can be drawn enlarged, each with its fixing and its feature."""
    fixings = {fixing.id: fixing for fixing in view.fixings}
    features = {feature.id: feature for feature in view.features}
    return [
        (pair, fixings[pair.fixing], features[pair.feature])
        for pair in view.pairs
        if view.matrix is not None and pair.fixing in fixings and pair.feature in features
    ]


def detail_cell(view: OverlayView, drawn: Drawn, matrix: Matrix, corner: Point, px_per_mm: float) -> list[Shape]:
    """Draw one pair enlarged, with its figures and its state beneath; 100 by 136 pixels at `corner`."""
    pair, (left, top) = drawn[0], (corner[0] + CELL_WIDTH / 2 - HALF, corner[1])
    middle, box = left + HALF, (left, top, left + 2 * HALF, top + 2 * HALF)
    sound = pair.state in ("lines up", "tight")
    name = shortened(f"{pair.fixing} - {pair.feature}", 11.5, CELL_WIDTH - 6, True)
    state_width = (5.0 if sound else 5.7) * len(pair.state)
    return [
        Window(box, tuple(enlarged(view, drawn, matrix, (middle, top + HALF), px_per_mm))),
        rectangle(box, "thin" if sound else "frame"),
        Words((middle, box[3] + 14.0), name, 11.5, "middle", bold=True),
        Words((middle, box[3] + 27.5), figures(pair), 11.0, "middle"),
        *state_mark((middle - state_width / 2 - 5.0, box[3] + 37.5), pair.state),
        Words((middle + 5.0, box[3] + 41.5), pair.state, 11.0, "middle", bold=not sound),
    ]


def details(
    view: OverlayView, matrix: Matrix, scale: float, left: float, top: float, width: float
) -> tuple[list[Shape], float]:
    """Draw all pairs enlarged, in rows; returns the height that they take too (0: there is no pair to draw)."""
    drawn = drawn_pairs(view)
    if not drawn:
        return [], 0.0
    factor = factor_for(view, scale)
    a_row = max(1, min(len(drawn), int(width // CELL_WIDTH)))
    pitch = min(width / a_row, CELL_WIDTH + 12.0)
    heading = f"Offsets drawn {factor:g} times as large" if factor > 1 else "Offsets at the pattern's scale"
    rule = "Circle: play allowed. Dot: donor's centre. Figures: offset of allowed, mm."
    lines = [rule] if width > 480 else rule.split(". ", 1)
    shapes: list[Shape] = [
        Words((left, top + 11.0), heading, 12.0, bold=True),
        *(Words((left, top + 26.0 + 13.0 * number), line, 11.0, colour=SOFT) for number, line in enumerate(lines)),
    ]
    down = top + 36.0 + 13.0 * (len(lines) - 1)
    for number, one in enumerate(drawn):
        row, column = divmod(number, a_row)
        corner = (left + column * pitch + (pitch - CELL_WIDTH) / 2, down + row * CELL_HEIGHT)
        shapes += detail_cell(view, one, matrix, corner, scale * factor)
    return shapes, down - top + math.ceil(len(drawn) / a_row) * CELL_HEIGHT
