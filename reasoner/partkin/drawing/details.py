"""Details beside an overlay: each pair's offset drawn larger, by one factor, against the play it has."""

from __future__ import annotations

import math
from itertools import pairwise

from partkin.drawing.laying import moved_angle_deg, offset_left
from partkin.drawing.shapes import (
    INK,
    SOFT,
    Line,
    Oval,
    Point,
    Round,
    Shape,
    Strokes,
    Window,
    Words,
    millimetres,
    shortened,
    turned,
)
from partkin.drawing.symbols import cross, rectangle, state_mark
from partkin.model.drawing import DrawnFeature, Matrix, OverlayView, Spread
from partkin.model.verdict import Pair

CELL_WIDTH = 100.0
CELL_HEIGHT = 136.0
HALF = 40.0
_FACTORS = (200.0, 100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0)


def factor_for(view: OverlayView, scale: float) -> float:
    """Return how many times larger than the pattern the offsets are drawn.

    The widest play of any pair fills at most 0.78 of its cell; where no play is known the widest offset does.
    """
    plays = [pair.allowed_mm for pair in view.pairs if pair.allowed_mm is not None and pair.allowed_mm > 0]
    offsets = [pair.offset_mm for pair in view.pairs if pair.offset_mm is not None and pair.offset_mm > 0]
    widest = max(plays or offsets or [1.0])
    for factor in _FACTORS:
        if widest * scale * factor <= 0.78 * HALF:
            return factor
    return 1.0


def _ellipse(spread: Spread, at: Point, angle_deg: float, px_per_mm: float, donor: bool) -> Oval:
    semi = (spread.semi_mm[0] * px_per_mm, spread.semi_mm[1] * px_per_mm)
    return Oval(at, semi, angle_deg, "donor-spread" if donor else "spread")


def _offset_px(
    pair: Pair, fixing: DrawnFeature, feature: DrawnFeature, matrix: Matrix, px_per_mm: float
) -> tuple[Point, bool]:
    """Return the offset in pixels (y down), cut short where it would leave the cell, and whether it was."""
    x, y = offset_left(fixing, feature, matrix)
    length = math.hypot(x, y)
    wanted = pair.offset_mm if pair.offset_mm is not None else length
    if length > 1e-9:
        x, y = x * wanted / length, y * wanted / length
    x, y = x * px_per_mm, -y * px_per_mm
    far = math.hypot(x, y)
    most = HALF - 8.0
    return ((x * most / far, y * most / far), True) if far > most else ((x, y), False)


def _play(pair: Pair, centre: Point, px_per_mm: float) -> list[Shape]:
    if pair.allowed_mm is None or pair.allowed_mm <= 0:
        return []
    return [Round(centre, pair.allowed_mm * px_per_mm, "wide")]


def _slot_lines(fixing: DrawnFeature, feature: DrawnFeature, matrix: Matrix, centre: Point, dot: Point) -> list[Shape]:
    """Draw the centre lines along which slots let the pair slide."""
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
    shapes: list[Shape] = [Line(centre, dot, "donor-thin")]
    if cut_short:
        x, y = dx / length, dy / length
        middle = (centre[0] + dx * 0.78, centre[1] + dy * 0.78)
        zigzag = [
            (middle[0] + x * a - y * b, middle[1] + y * a + x * b) for a, b in ((-4, 0), (-1, 6), (1, -6), (4, 0))
        ]
        shapes.append(Strokes(tuple(pairwise(zigzag)), "donor-thin"))
    return shapes


def enlarged(
    view: OverlayView,
    pair: Pair,
    sides: tuple[DrawnFeature, DrawnFeature],
    matrix: Matrix,
    centre: Point,
    px_per_mm: float,
) -> list[Shape]:
    """Draw the inside of a cell, `HALF` pixels each way of its centre."""
    fixing, feature = sides
    offset, cut_short = _offset_px(pair, fixing, feature, matrix, px_per_mm)
    dot = (centre[0] + offset[0], centre[1] + offset[1])
    shapes: list[Shape] = [cross(centre, HALF, "centre"), *_play(pair, centre, px_per_mm)]
    shapes += _slot_lines(fixing, feature, matrix, centre, dot)
    for spread in view.spreads:
        if spread.of == "donor" and spread.id == feature.id:
            angle_deg = moved_angle_deg(matrix, spread.angle_deg)
            shapes.append(_ellipse(spread, dot, angle_deg, px_per_mm, True))
        elif spread.of != "donor" and spread.id == fixing.id:
            shapes.append(_ellipse(spread, centre, spread.angle_deg, px_per_mm, False))
    shapes += _path(centre, dot, cut_short)
    shapes.append(Round(dot, 2.6, "donor-dot"))
    return shapes


def figures(pair: Pair) -> str:
    """Say offset and play of a pair, in mm."""
    if pair.offset_mm is None:
        return "not placed"
    if pair.allowed_mm is None:
        return f"{millimetres(pair.offset_mm)}, play ?"
    return f"{millimetres(pair.offset_mm)} of {millimetres(pair.allowed_mm)}"


def drawn_pairs(view: OverlayView) -> list[tuple[Pair, DrawnFeature, DrawnFeature]]:
    """Return the pairs that can be drawn enlarged, each with its fixing and its feature."""
    fixings = {fixing.id: fixing for fixing in view.fixings}
    features = {feature.id: feature for feature in view.features}
    if view.matrix is None:
        return []
    return [
        (pair, fixings[pair.fixing], features[pair.feature])
        for pair in view.pairs
        if pair.fixing in fixings and pair.feature in features
    ]


def detail_cell(
    view: OverlayView,
    pair: Pair,
    sides: tuple[DrawnFeature, DrawnFeature],
    matrix: Matrix,
    corner: Point,
    px_per_mm: float,
) -> list[Shape]:
    """Draw one pair enlarged, with its figures and its state beneath; 100 by 136 pixels at `corner`."""
    left, top = corner[0] + CELL_WIDTH / 2 - HALF, corner[1]
    centre = (left + HALF, top + HALF)
    box = (left, top, left + 2 * HALF, top + 2 * HALF)
    sound = pair.state in ("lines up", "tight")
    edge = rectangle(box, "thin" if sound else "frame")
    name = shortened(f"{pair.fixing} - {pair.feature}", 11.5, CELL_WIDTH - 6, True)
    middle = centre[0]
    state_width = (5.0 if sound else 5.7) * len(pair.state)
    return [
        Window(box, tuple(enlarged(view, pair, sides, matrix, centre, px_per_mm))),
        edge,
        Words((middle, box[3] + 14.0), name, 11.5, "middle", bold=True),
        Words((middle, box[3] + 27.5), figures(pair), 11.0, "middle"),
        *state_mark((middle - state_width / 2 - 5.0, box[3] + 37.5), pair.state),
        Words((middle + 5.0, box[3] + 41.5), pair.state, 11.0, "middle", bold=not sound),
    ]


def details(
    view: OverlayView, matrix: Matrix, scale: float, left: float, top: float, width: float
) -> tuple[list[Shape], float]:
    """Draw all pairs enlarged, in rows.

    Returns
    -------
    tuple of list of shapes and float
        The shapes, and the height that they take (0: there is no pair to draw).
    """
    drawn = drawn_pairs(view)
    if not drawn:
        return [], 0.0
    factor = factor_for(view, scale)
    a_row = max(1, min(len(drawn), int(width // CELL_WIDTH)))
    pitch = min(width / a_row, CELL_WIDTH + 12.0)
    heading = f"Offsets drawn {factor:g} times as large" if factor > 1 else "Offsets at the pattern's scale"
    shapes: list[Shape] = [Words((left, top + 11.0), heading, 12.0, bold=True, colour=INK)]
    rule = "Circle: play allowed. Dot: donor's centre. Figures: offset of allowed, mm."
    lines = [rule] if width > 480 else rule.split(". ", 1)
    for number, line in enumerate(lines):
        shapes.append(Words((left, top + 26.0 + 13.0 * number), line, 11.0, colour=SOFT))
    down = top + 36.0 + 13.0 * (len(lines) - 1)
    for number, (pair, fixing, feature) in enumerate(drawn):
        corner = (
            left + (number % a_row) * pitch + (pitch - CELL_WIDTH) / 2,
            down + (number // a_row) * CELL_HEIGHT,
        )
        shapes += detail_cell(view, pair, (fixing, feature), matrix, corner, scale * factor)
    rows = math.ceil(len(drawn) / a_row)
    return shapes, down - top + rows * CELL_HEIGHT
