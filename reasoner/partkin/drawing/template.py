"""True-size templates of a part, for paper, for a cutter or plotter, and for a screen."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from partkin.drawing.alt import called
from partkin.drawing.lettering import millimetres, shortened, text_width, wrapped
from partkin.drawing.pens import BLUE, INK, PAPER, PAPER_PENS, SOFT
from partkin.drawing.placing import Room, strip_in
from partkin.drawing.plane import Box, Point, box_about, corners_of, hatching, spread_of, turned
from partkin.drawing.shapes import Line, Obround, Picture, Poly, Round, Shape, Strokes, Words, on_layer
from partkin.drawing.svg import FONT, SvgWriter, clean, escaped, pen_rules, short
from partkin.drawing.symbols import cut_marks, half_size_mm, size_mm
from partkin.model.drawing import Cut, DrawnFeature, DrawnOutline, DrawnZone, TemplateView
from partkin.model.problem import refused
from partkin.model.words import KINDS, Kind, OutlineKind

FARTHEST_MM = 100_000.0
# What is read back; then what only helps to see and to work, of which the own zones alone are known again.
KIND_OF_LAYER: dict[str, Kind] = {f"{kind}s": kind for kind in KINDS}
LINES_OF_LAYER: dict[str, OutlineKind] = {"edges": "edge", "openings": "opening", "keep clear": "keep clear"}
ZONES = "zones"
AIDS = (ZONES, "centres", "to cut", "other part", "words", "rule")
LAYERS = (*LINES_OF_LAYER, *KIND_OF_LAYER, *AIDS)
_LINE_LAYERS = {kind: layer for layer, kind in LINES_OF_LAYER.items()}
_LABEL_MM = 4.0
_LEAST_FILED_MM = 0.05


def face_words(view: TemplateView) -> str:
    """Return, large, which face is drawn."""
    if view.seen_from is None:
        return "FACE TURNED OVER, NOT SAID WHICH" if view.turned_over else "FACE NOT SAID"
    other = {"outside": "inside", "inside": "outside"}
    return f"SEEN FROM {(other[view.seen_from] if view.turned_over else view.seen_from).upper()}"


def heading_words(view: TemplateView) -> str:
    """Return what the template is of."""
    on = f", with {called(view.laid_on_part, view.laid_on_name)} drawn on it" if view.laid_on_part else ""
    return clean(f"{called(view.part, view.name)}{on}")


def as_seen(view: TemplateView) -> TemplateView:
    """Return the view with x negated where the part is turned over, so that drawing needs no more thought."""
    if not view.turned_over:
        return view

    def spot(one: Any) -> Any:
        return replace(one, at_mm=(0.0 - one.at_mm[0], *one.at_mm[1:]), angle_deg=180.0 - one.angle_deg)

    def area(one: Any) -> Any:
        return replace(one, corners_mm=tuple((0.0 - x, y) for x, y in one.corners_mm))

    of = {"features": spot, "laid_on": spot, "cuts": spot, "zones": area, "outlines": area}
    changed: dict[str, Any] = {name: tuple(map(turn, getattr(view, name))) for name, turn in of.items()}
    return replace(view, **changed)


def spots_of(view: TemplateView) -> list[DrawnFeature | Cut]:
    """Return all that has a middle: the features of both parts, and what is cut."""
    return [*view.features, *view.laid_on, *view.cuts]


def _corners(view: TemplateView) -> list[Point]:
    areas: list[DrawnOutline | DrawnZone] = [*view.outlines, *view.zones]
    return [corner for area in areas for corner in area.corners_mm]


def size_words(feature: DrawnFeature) -> str:
    """Return a feature's size as a drawing says it.

    Examples
    --------
    >>> size_words(DrawnFeature("a", (0.0, 0.0), "slot", 7.0, 13.0))
    'slot 7.0 x 13.0'
    """
    size = size_mm(feature)
    kind = "" if feature.kind == "hole" else f"{feature.kind} "
    if size is None:
        return f"{kind}size not known"
    decimals = 1 if abs(size * 10 - round(size * 10)) < 1e-6 else 2
    if feature.kind == "slot" and feature.length_mm is not None:
        return f"{kind}{millimetres(size, decimals)} x {millimetres(feature.length_mm, decimals)}"
    return f"{kind}\u00d8{millimetres(size, decimals)}"


def cut_words(cut: Cut) -> str:
    """Return what is to be cut, short enough for a label."""
    size = f"\u00d8{millimetres(cut.across_mm, 1)}"
    if cut.length_mm is not None and cut.length_mm > cut.across_mm:
        size = f"{millimetres(cut.across_mm, 1)} x {millimetres(cut.length_mm, 1)}"
    return f"{cut.do} to {size}" if cut.do == "open out" else f"{cut.do} {size}"


def _xy(at_mm: tuple[float, ...]) -> Point:
    return (at_mm[0], at_mm[1])


def filing_ends(cut: Cut, view: TemplateView) -> list[tuple[Point, float]]:
    """Return the ends of a slot that are filed out of a hole or slot that is there: where, and by how much (mm).

    Nothing is filed where the slot is made anew.
    """
    old = next((feature for feature in view.features if feature.id == cut.feature), None)
    if old is None or cut.length_mm is None or cut.length_mm <= cut.across_mm:
        return []
    along = turned((1.0, 0.0), cut.angle_deg)
    off = ((cut.at_mm[0] - old.at_mm[0]) * along[0]) + ((cut.at_mm[1] - old.at_mm[1]) * along[1])
    turn = turned((1.0, 0.0), old.angle_deg - cut.angle_deg)[0]
    reach = (size_mm(old) or 0.0) / 2 + (old.half_travel_mm * abs(turn) if old.kind == "slot" else 0.0)
    ends = []
    for side in (1.0, -1.0):
        by_mm, out = side * off + cut.length_mm / 2 - reach, side * cut.length_mm / 2
        if by_mm >= _LEAST_FILED_MM:
            ends.append(((cut.at_mm[0] + out * along[0], cut.at_mm[1] + out * along[1]), by_mm))
    return ends


def _cross(at: Point, reach: float, pen: str, layer: str) -> list[Shape]:
    x, y = at
    return [Line((x - reach, y), (x + reach, y), pen, layer), Line((x, y - reach), (x, y + reach), pen, layer)]


def _end_marks(slot: Obround, layer: str) -> Strokes:
    """Draw a stroke across each end of a slot, where its edge is farthest out."""

    def at(side: float, across: float) -> Point:
        x, y = turned((side * (slot.half_travel + slot.radius), across * (slot.radius + 1.5)), slot.angle_deg)
        return (slot.centre[0] + x, slot.centre[1] + y)

    return Strokes(tuple((at(side, 1.0), at(side, -1.0)) for side in (1.0, -1.0)), "thin", layer)


def _feature_shapes(feature: DrawnFeature, other: bool, crossed: bool = True) -> list[Shape]:
    """Draw a feature's edge, a slot's ends and, unless what is cut has it, the cross 4 mm beyond the edge."""
    centre, radius = _xy(feature.at_mm), (size_mm(feature) or 0.0) / 2
    half = feature.half_travel_mm if feature.kind == "slot" else 0.0
    edge, middle = ("laid-on", "laid-on-centre") if other else ("thin", "centre")
    layer, known = ("other part", "") if other else (f"{feature.kind}s", feature.id)
    shapes: list[Shape] = []
    if radius > 0 and half > 0:
        slot = Obround(centre, half, radius, feature.angle_deg, edge, layer, known)
        shapes += [slot] if other else [slot, _end_marks(slot, "centres")]
    elif radius > 0:
        shapes.append(Round(centre, radius, edge, layer, known))
    reach = radius + half + (2.5 if other else 4.0)
    return shapes + (_cross(centre, reach, middle, "other part" if other else "centres") if crossed else [])


def _cut_shapes(cut: Cut, view: TemplateView) -> list[Shape]:
    """Draw what is cut, and the cross of what is made anew; what keeps a feature's centre has that one's."""
    centre = _xy(cut.at_mm)
    shapes = on_layer(cut_marks(cut, centre, 1.0, cut.angle_deg), "to cut")
    if isinstance(shapes[0], Obround):
        shapes.append(_end_marks(shapes[0], "to cut"))
    if any(math.dist(centre, _xy(feature.at_mm)) < 0.01 for feature in view.features):
        return shapes
    return shapes + _cross(centre, half_size_mm(cut) + 4.0, "centre", "to cut")


def _zone_shapes(zone: DrawnZone) -> list[Shape]:
    if len(zone.corners_mm) < 2:
        return []
    closed = len(zone.corners_mm) > 2
    of = zone.name if closed and zone.of == "donor" else ""
    slopes = (45.0, 135.0) if zone.kind == "tear seam" else (45.0,)
    hatched = [] if zone.kind == "opening" or not closed else [hatching(zone.corners_mm, 4.0, one) for one in slopes]
    return [Poly(zone.corners_mm, "thin", closed, ZONES, of), *(Strokes(lines, "hatch", ZONES) for lines in hatched)]


def _named(view: TemplateView) -> Iterator[tuple[str, tuple[float, ...], Point, str, bool]]:
    """Yield the label of every feature, cut and zone: text, where, how far that reaches, colour, whether it is bold."""
    cut_at = {cut.feature: cut for cut in view.cuts}
    for feature in view.features:
        cut = cut_at.pop(feature.id, None)
        text = f"{feature.id}  {size_words(feature)}" + (f", {cut_words(cut)}" if cut is not None else "")
        yield text, feature.at_mm, (half_size_mm(feature) + 2.5,) * 2, INK, True
    for cut in cut_at.values():
        yield f"{cut.feature}  {cut_words(cut)}", cut.at_mm, (cut.across_mm / 2 + 1.0,) * 2, INK, True
    for cut in view.cuts:
        for at, by_mm in filing_ends(cut, view):
            yield f"file this end, {millimetres(by_mm, 1)} mm", at, (2.5, cut.across_mm / 2 + 2.0), INK, False
    for feature in view.laid_on:
        yield feature.id, feature.at_mm, (half_size_mm(feature) + 1.0,) * 2, BLUE, False
    for zone in view.zones:
        box = spread_of(zone.corners_mm)
        if box is not None:
            middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
            text = zone.kind if zone.kind == "opening" else f"{zone.kind}: do not cut or drill here"
            yield text, middle, ((box[2] - box[0]) / 2, (box[3] - box[1]) / 2), INK, False


def _labels(view: TemplateView, room: Room) -> list[Words]:
    """Name every feature, cut and zone, upright, where nothing else stands."""
    words = []
    for text, at, reach, colour, bold in _named(view):
        text, about = shortened(clean(text), _LABEL_MM, 110.0, bold), _xy(at)
        across, up = text_width(text, _LABEL_MM, bold) / 2, _LABEL_MM / 2
        box: Box | None = (about[0] - across, about[1] - up, about[0] + across, about[1] + up)
        # Inside what it names where there is room, else beside it.
        if box is not None and across < reach[0] and up < reach[1] and room.free(box):
            room.take(strip_in(box))
        else:
            found = room.place(about, reach, 2 * across, _LABEL_MM, level_first=reach[0] < 3.0 * reach[1])
            box = found.box if found else None
        if box is not None:
            place = (box[0], box[1] + 0.9)
            words.append(Words(place, text, _LABEL_MM, bold=bold, colour=colour, halo=True, layer="words"))
    return words


def pattern_shapes(view: TemplateView) -> tuple[list[Shape], Box]:
    """Draw the pattern at true size in the part's frame (y up); returns the box that it fills too.

    The view has to be `as_seen` already.
    """
    places = [*(one.at_mm for one in spots_of(view)), *_corners(view)]
    if not all(math.isfinite(value) and abs(value) <= FARTHEST_MM for place in places for value in place):
        what = f"a place of {view.part} is not a number, or more than {FARTHEST_MM / 1000:g} m out"
        raise refused("features.csv", 0, "x_mm", what, "Mend the sheet")
    shapes: list[Shape] = [
        Poly(outline.corners_mm, "wide", True, _LINE_LAYERS[outline.kind], outline.name)
        for outline in view.outlines
        if len(outline.corners_mm) > 1
    ]
    shapes += [shape for zone in view.zones for shape in _zone_shapes(zone)]
    shapes += [shape for cut in view.cuts for shape in _cut_shapes(cut, view)]
    shapes += [shape for feature in view.laid_on for shape in _feature_shapes(feature, True)]
    middles = {cut.feature: _xy(cut.at_mm) for cut in view.cuts}
    for feature in view.features:
        crossed = math.dist(middles.get(feature.id, _xy(feature.at_mm)), _xy(feature.at_mm)) < 0.01
        shapes += _feature_shapes(feature, False, crossed)
    boxes = [box_about(feature.at_mm, half_size_mm(feature) + 0.5) for feature in (*view.features, *view.laid_on)]
    boxes += [box_about(cut.at_mm, half_size_mm(cut) + 1.0) for cut in view.cuts]
    points = _corners(view) + [corner for box in boxes for corner in (box[:2], box[2:])]
    box = spread_of(points) or (0.0, 0.0, 10.0, 10.0)
    room = Room((box[0] - 60.0, box[1] - 60.0, box[2] + 60.0, box[3] + 60.0))
    room.take(*(strip_in(box) for box in boxes))
    labels = _labels(view, room)
    for label in labels:
        points += [label.at, (label.at[0] + label.width, label.at[1] + label.size)]
    return shapes + list(labels), spread_of(points) or box


def caution_lines(view: TemplateView, size: float, room: float) -> list[str]:
    """Return the cautions whole, each beginning a line of its own."""
    return [line for caution in view.cautions for line in wrapped(clean(caution), size, room)]


def rule_shapes(at: Point, upright: bool) -> list[Shape]:
    """Draw a rule of 100 mm with a stroke each 10 mm, to the right or upward from a point (y up)."""

    def on(along: float, beside: float) -> Point:
        return (at[0] + beside, at[1] + along) if upright else (at[0] + along, at[1] + beside)

    heights = [5.0 if step in (0, 10) else 3.6 if step == 5 else 2.4 for step in range(11)]
    ticks = tuple((on(10.0 * step, 0.0), on(10.0 * step, height)) for step, height in enumerate(heights))
    text_at, turn_deg = on(4.0, 7.8 if upright else 6.4), 90.0 if upright else 0.0
    return [
        Line(at, on(100.0, 0.0), "thin", "rule"),
        Strokes(ticks, "thin", "rule"),
        Words(text_at, "THIS MUST MEASURE 100 mm", 4.4, bold=True, turn_deg=turn_deg, layer="words"),
    ]


def square_shapes(at: Point) -> list[Shape]:
    """Draw a square of 20 mm to check the scale both ways (y up)."""
    x, y = at
    return [
        Poly(corners_of((x, y, x + 20.0, y + 20.0)), "thin", True, "rule"),
        Words((x + 10.0, y + 8.8), "20 x 20 mm", 2.8, "middle", layer="words"),
    ]


def template_picture(view: TemplateView) -> tuple[Picture, Point]:
    """Draw a template on one sheet as large as it needs (millimetres, y up), with its heading and rules.

    Returns the lower left corner of the sheet too, in the part's frame.
    """
    view = as_seen(view)
    shapes, box = pattern_shapes(view)
    left = box[0] - 20.0
    width = max(box[2] + 12.0 - left, 200.0)
    lines = caution_lines(view, 3.0, width - 24.0)
    lift = 3.8 * max(0, len(lines) - 2)
    bottom = box[1] - 62.0 - lift
    height = max(box[3] + 10.0 - bottom, 112.0)
    x, top, of = left + 12.0, bottom + lift, heading_words(view)
    drawn = (
        Poly(corners_of((left, bottom, left + width, bottom + height)), "hair", True, "rule"),
        *shapes,
        Words((x, top + 44.0), face_words(view), 9.0, bold=True, layer="words"),
        Words((x, top + 37.0), shortened(of, 4.2, width - 24.0), 4.2, layer="words"),
        *(Words((x, top + 31.5 - 3.8 * n), line, 3.0, colour=SOFT, layer="words") for n, line in enumerate(lines)),
        *rule_shapes((x, bottom + 6.0), False),
        *rule_shapes((left + 3.0, bottom + 6.0), True),
        *square_shapes((left + 118.0, bottom + 2.0)),
    )
    words = [f"Template of {of}, true size, {face_words(view).lower()}."]
    words += [f"{one.id}: {size_words(one)} at {_place_words(one.at_mm)}." for one in view.features]
    words += [f"{cut.feature}: {cut_words(cut)} at {_place_words(cut.at_mm)}." for cut in view.cuts]
    words += [f"{zone.kind}: nothing is cut or drilled there." for zone in view.zones if zone.kind != "opening"]
    return Picture(width, height, drawn, f"Template: {of}", " ".join([*words, *view.cautions])), (left, bottom)


def _place_words(at_mm: tuple[float, ...]) -> str:
    return f"{millimetres(at_mm[0])}, {millimetres(at_mm[1])}"


def template_svg(view: TemplateView) -> str:
    """Write a template as SVG at true size, one group a layer; coordinates in mm.

    The file tells whose frame that is, whether x counts the other way, and the line that y is counted from, so that
    `outline` knows its features again.
    """
    picture, (left, bottom) = template_picture(view)
    top, width, height = (short(value, 4) for value in (bottom + picture.height, picture.width, picture.height))
    face = "turned over" if view.turned_over else "as it is"
    body = SvgWriter(bottom + picture.height, 4, True, PAPER_PENS).all(picture.shapes)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="{short(left, 4)} 0 {width} {height}" data-part="{escaped(view.part)}" data-face="{face}" '
        f'data-top="{top}" role="img" aria-labelledby="t" aria-describedby="d">'
        f'<title id="t">{escaped(picture.title)}</title><desc id="d">{escaped(picture.says)}</desc>'
        f"<style>text{{font-family:{FONT};fill:{INK}}}.b{{font-weight:bold}}"
        f".h{{paint-order:stroke;stroke:{PAPER};stroke-width:1px}}{pen_rules(PAPER_PENS)}</style>{body}</svg>\n"
    )
