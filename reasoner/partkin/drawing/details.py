"""Details beside an overlay: each pair's offset drawn larger, by one factor, against the play it has."""

from __future__ import annotations

import math
from itertools import pairwise

from partkin.drawing.laying import moved_angle_deg, offset_left
from partkin.drawing.lettering import millimetres
from partkin.drawing.plane import Point, turned
from partkin.drawing.shapes import Line, Round, Shape, Strokes
from partkin.drawing.symbols import cross, spread_mark
from partkin.model.drawing import DrawnFeature, Matrix, OverlayView
from partkin.model.verdict import Pair

HALF = 40.0
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
    # The way from the fixing's centre to the donor's, broken where it is cut short.
    dx, dy = dot[0] - centre[0], dot[1] - centre[1]
    length = math.hypot(dx, dy)
    if length >= 4.0:
        shapes.append(Line(centre, dot, "donor-thin"))
    if length >= 4.0 and cut_short:
        x, y, left, top = dx / length, dy / length, centre[0] + dx * 0.78, centre[1] + dy * 0.78
        zigzag = [(left + x * a - y * b, top + y * a + x * b) for a, b in ((-4, 0), (-1, 6), (1, -6), (4, 0))]
        shapes.append(Strokes(tuple(pairwise(zigzag)), "donor-thin"))
    return [*shapes, Round(dot, 2.6, "donor-dot")]


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
