"""True-size templates of a part, for paper, for a cutter or plotter, and for a screen."""

from __future__ import annotations

import math
from dataclasses import replace

from partkin.drawing.alt import called
from partkin.drawing.laying import spread_of
from partkin.drawing.placing import Room, strip_in
from partkin.drawing.shapes import (
    BLUE,
    INK,
    PAPER_PENS,
    SOFT,
    Box,
    Line,
    Obround,
    Picture,
    Point,
    Poly,
    Round,
    Shape,
    Strokes,
    Words,
    hatching,
    millimetres,
    shortened,
    text_width,
    turned,
    wrapped,
)
from partkin.drawing.svg import clean, true_size_svg
from partkin.drawing.symbols import size_mm
from partkin.model.drawing import Cut, DrawnFeature, DrawnOutline, DrawnZone, TemplateView
from partkin.model.problem import FaultyInput, Problem
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
    """Return, large, which face is drawn.

    Examples
    --------
    >>> face_words(TemplateView("D1", seen_from="outside", turned_over=True))
    'SEEN FROM INSIDE'
    """
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

    def at(point: tuple[float, ...]) -> tuple[float, ...]:
        return (0.0 - point[0], *point[1:])

    def feature(one: DrawnFeature) -> DrawnFeature:
        return replace(one, at_mm=at(one.at_mm), angle_deg=180.0 - one.angle_deg)

    def cut(one: Cut) -> Cut:
        return replace(one, at_mm=at(one.at_mm), angle_deg=180.0 - one.angle_deg)

    def zone(one: DrawnZone) -> DrawnZone:
        return replace(one, corners_mm=tuple((0.0 - x, y) for x, y in one.corners_mm))

    def outline(one: DrawnOutline) -> DrawnOutline:
        return replace(one, corners_mm=tuple((0.0 - x, y) for x, y in one.corners_mm))

    return replace(
        view,
        features=tuple(map(feature, view.features)),
        laid_on=tuple(map(feature, view.laid_on)),
        cuts=tuple(map(cut, view.cuts)),
        zones=tuple(map(zone, view.zones)),
        outlines=tuple(map(outline, view.outlines)),
    )


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
        by_mm = side * off + cut.length_mm / 2 - reach
        if by_mm >= _LEAST_FILED_MM:
            out = side * cut.length_mm / 2
            ends.append(((cut.at_mm[0] + out * along[0], cut.at_mm[1] + out * along[1]), by_mm))
    return ends


def _cross(at: Point, reach: float, pen: str, layer: str) -> list[Shape]:
    x, y = at
    return [Line((x - reach, y), (x + reach, y), pen, layer), Line((x, y - reach), (x, y + reach), pen, layer)]


def _end_marks(slot: Obround, layer: str) -> list[Shape]:
    """Draw a stroke across each end of a slot, where its edge is farthest out."""
    lines = []
    for side in (1.0, -1.0):
        ends = []
        for across in (1.0, -1.0):
            x, y = turned((side * (slot.half_travel + slot.radius), across * (slot.radius + 1.5)), slot.angle_deg)
            ends.append((slot.centre[0] + x, slot.centre[1] + y))
        lines.append((ends[0], ends[1]))
    return [Strokes(tuple(lines), "thin", layer)]


def _feature_shapes(feature: DrawnFeature, other: bool, crossed: bool = True) -> list[Shape]:
    """Draw a feature's edge, a slot's ends and, unless what is cut has it, the cross 4 mm beyond the edge."""
    centre = _xy(feature.at_mm)
    size = size_mm(feature)
    radius = (size if size is not None else 0.0) / 2
    half = feature.half_travel_mm if feature.kind == "slot" else 0.0
    edge, middle = ("laid-on", "laid-on-centre") if other else ("thin", "centre")
    layer, known = ("other part", "") if other else (f"{feature.kind}s", feature.id)
    shapes: list[Shape] = []
    if radius > 0 and half > 0:
        slot = Obround(centre, half, radius, feature.angle_deg, edge, layer, known)
        shapes += [slot, *(() if other else _end_marks(slot, "centres"))]
    elif radius > 0:
        shapes.append(Round(centre, radius, edge, layer, known))
    reach = radius + half + (2.5 if other else 4.0)
    return shapes + (_cross(centre, reach, middle, "other part" if other else "centres") if crossed else [])


def _cut_shapes(cut: Cut) -> list[Shape]:
    centre, radius = _xy(cut.at_mm), cut.across_mm / 2
    half = max(0.0, ((cut.length_mm or cut.across_mm) - cut.across_mm) / 2)
    if half > 0:
        slots = [Obround(centre, half, radius, cut.angle_deg, pen, "to cut") for pen in ("cut-band", "cut")]
        return [*slots, *_end_marks(slots[0], "to cut")]
    return [Round(centre, radius, pen, "to cut") for pen in ("cut-band", "cut")]


def _cut_cross(cut: Cut, view: TemplateView) -> list[Shape]:
    """Draw the cross of what is made anew; what keeps a feature's centre has that one's."""
    if any(math.dist(_xy(cut.at_mm), _xy(feature.at_mm)) < 0.01 for feature in view.features):
        return []
    return _cross(_xy(cut.at_mm), max(cut.across_mm, cut.length_mm or 0.0) / 2 + 4.0, "centre", "to cut")


def _check(view: TemplateView) -> None:
    """Refuse places that are no numbers or lie absurdly far out, before anything is drawn."""
    places = [feature.at_mm for feature in (*view.features, *view.laid_on)] + [cut.at_mm for cut in view.cuts]
    places += [corner for zone in view.zones for corner in zone.corners_mm]
    places += [corner for outline in view.outlines for corner in outline.corners_mm]
    for place in places:
        if not all(math.isfinite(value) and abs(value) <= FARTHEST_MM for value in place):
            what = f"a place of {view.part} is not a number, or more than {FARTHEST_MM / 1000:g} m out"
            raise FaultyInput((Problem("features.csv", 0, "x_mm", what, "Mend the sheet"),))


def _zone_shapes(zone: DrawnZone) -> list[Shape]:
    if len(zone.corners_mm) < 2:
        return []
    closed = len(zone.corners_mm) > 2
    of = zone.name if closed and zone.of == "donor" else ""
    shapes: list[Shape] = [Poly(zone.corners_mm, "thin", closed, ZONES, of)]
    if zone.kind == "opening" or not closed:
        return shapes
    slopes = (45.0, 135.0) if zone.kind == "tear seam" else (45.0,)
    for slope_deg in slopes:
        shapes.append(Strokes(hatching(zone.corners_mm, 4.0, slope_deg), "hatch", ZONES))
    return shapes


def _labels(view: TemplateView, room: Room) -> list[Words]:
    """Name every feature, cut and zone, upright, where nothing else stands."""
    cut_at = {cut.feature: cut for cut in view.cuts}
    wanted: list[tuple[str, Point, tuple[float, float], str, bool]] = []
    for feature in view.features:
        radius = (size_mm(feature) or 0.0) / 2 + feature.half_travel_mm + 2.5
        text = f"{feature.id}  {size_words(feature)}"
        if feature.id in cut_at:
            text += f", {cut_words(cut_at.pop(feature.id))}"
        wanted.append((text, _xy(feature.at_mm), (radius, radius), INK, True))
    for cut in cut_at.values():
        wanted.append(
            (
                f"{cut.feature}  {cut_words(cut)}",
                _xy(cut.at_mm),
                (cut.across_mm / 2 + 1.0,) * 2,
                INK,
                True,
            )
        )
    for cut in view.cuts:
        for at, by_mm in filing_ends(cut, view):
            text = f"file this end, {millimetres(by_mm, 1)} mm"
            wanted.append((text, at, (2.5, cut.across_mm / 2 + 2.0), INK, False))
    for feature in view.laid_on:
        radius = (size_mm(feature) or 0.0) / 2 + feature.half_travel_mm + 1.0
        wanted.append((feature.id, _xy(feature.at_mm), (radius, radius), BLUE, False))
    for zone in view.zones:
        box = spread_of(zone.corners_mm)
        if box is not None:
            middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
            text = zone.kind if zone.kind == "opening" else f"{zone.kind}: do not cut or drill here"
            wanted.append((text, middle, ((box[2] - box[0]) / 2, (box[3] - box[1]) / 2), INK, False))
    words = []
    for text, about, reach, colour, bold in wanted:
        text = shortened(clean(text), _LABEL_MM, 110.0, bold)
        box = _label_box(room, about, reach, text_width(text, _LABEL_MM, bold))
        if box is not None:
            words.append(
                Words((box[0], box[1] + 0.9), text, _LABEL_MM, bold=bold, colour=colour, halo=True, layer="words")
            )
    return words


def _label_box(room: Room, about: Point, reach: tuple[float, float], width: float) -> Box | None:
    """Find room for a label inside what it names, else beside it."""
    half = (width / 2, _LABEL_MM / 2)
    inside = (about[0] - half[0], about[1] - half[1], about[0] + half[0], about[1] + half[1])
    if half[0] < reach[0] and half[1] < reach[1] and room.free(inside):
        room.take(strip_in(inside))
        return inside
    found = room.place(about, reach, width, _LABEL_MM, level_first=reach[0] < 3.0 * reach[1])
    return found.box if found else None


def _taken(feature: DrawnFeature) -> Box:
    """Return the box that a feature and its cross take up."""
    reach = (size_mm(feature) or 0.0) / 2 + feature.half_travel_mm + 0.5
    x, y = _xy(feature.at_mm)
    return (x - reach, y - reach, x + reach, y + reach)


def pattern_shapes(view: TemplateView) -> tuple[list[Shape], Box]:
    """Draw the pattern at true size in the part's frame (y up); returns the box that it fills too.

    The view has to be `as_seen` already.
    """
    _check(view)
    shapes: list[Shape] = []
    for outline in view.outlines:
        if len(outline.corners_mm) > 1:
            shapes.append(Poly(outline.corners_mm, "wide", True, _LINE_LAYERS[outline.kind], outline.name))
    for zone in view.zones:
        shapes += _zone_shapes(zone)
    for cut in view.cuts:
        shapes += _cut_shapes(cut) + _cut_cross(cut, view)
    for feature in view.laid_on:
        shapes += _feature_shapes(feature, True)
    middles = {cut.feature: _xy(cut.at_mm) for cut in view.cuts}
    for feature in view.features:
        crossed = math.dist(middles.get(feature.id, _xy(feature.at_mm)), _xy(feature.at_mm)) < 0.01
        shapes += _feature_shapes(feature, False, crossed)
    points = [point for line in view.outlines for point in line.corners_mm]
    points += [point for zone in view.zones for point in zone.corners_mm]
    boxes = [_taken(feature) for feature in (*view.features, *view.laid_on)]
    for cut in view.cuts:
        reach = max(cut.across_mm, cut.length_mm or 0.0) / 2 + 1.0
        boxes.append((cut.at_mm[0] - reach, cut.at_mm[1] - reach, cut.at_mm[0] + reach, cut.at_mm[1] + reach))
    points += [corner for box in boxes for corner in (box[:2], box[2:])]
    box = spread_of(points) or (0.0, 0.0, 10.0, 10.0)
    room = Room((box[0] - 60.0, box[1] - 60.0, box[2] + 60.0, box[3] + 60.0))
    room.take(*(strip_in(box) for box in boxes))
    labels = _labels(view, room)
    for label in labels:
        points += [
            label.at,
            (label.at[0] + text_width(label.text, label.size, label.bold), label.at[1] + label.size),
        ]
    return shapes + list(labels), spread_of(points) or box


def caution_lines(view: TemplateView, size: float, room: float) -> list[str]:
    """Return the cautions whole, each beginning a line of its own."""
    return [line for caution in view.cautions for line in wrapped(clean(caution), size, room)]


def rule_shapes(at: Point, upright: bool) -> list[Shape]:
    """Draw a rule of 100 mm with a stroke each 10 mm, to the right or upward from a point (y up)."""
    ticks = []
    for step in range(11):
        height = 5.0 if step in (0, 10) else 3.6 if step == 5 else 2.4
        along = step * 10.0
        ticks.append(
            ((at[0], at[1] + along), (at[0] + height, at[1] + along))
            if upright
            else ((at[0] + along, at[1]), (at[0] + along, at[1] + height))
        )
    end = (at[0], at[1] + 100.0) if upright else (at[0] + 100.0, at[1])
    text_at = (at[0] + 7.8, at[1] + 4.0) if upright else (at[0] + 4.0, at[1] + 6.4)
    return [
        Line(at, end, "thin", "rule"),
        Strokes(tuple(ticks), "thin", "rule"),
        Words(
            text_at,
            "THIS MUST MEASURE 100 mm",
            4.4,
            "start",
            bold=True,
            turn_deg=90.0 if upright else 0.0,
            layer="words",
        ),
    ]


def square_shapes(at: Point) -> list[Shape]:
    """Draw a square of 20 mm to check the scale both ways (y up)."""
    x, y = at
    return [
        Poly(((x, y), (x + 20.0, y), (x + 20.0, y + 20.0), (x, y + 20.0)), "thin", True, "rule"),
        Words((x + 10.0, y + 8.8), "20 x 20 mm", 2.8, "middle", layer="words"),
    ]


def template_picture(view: TemplateView) -> Picture:
    """Draw a template on one sheet as large as it needs (millimetres, y up), with its heading and rules.

    The sheet begins at `sheet_corner(picture)`.
    """
    view = as_seen(view)
    shapes, box = pattern_shapes(view)
    left = box[0] - 20.0
    width = max(box[2] + 12.0 - left, 200.0)
    lines = caution_lines(view, 3.0, width - 24.0)
    lift = 3.8 * max(0, len(lines) - 2)
    bottom = box[1] - 62.0 - lift
    heading: list[Shape] = [
        Words((left + 12.0, bottom + lift + 44.0), face_words(view), 9.0, bold=True, layer="words"),
        Words(
            (left + 12.0, bottom + lift + 37.0), shortened(heading_words(view), 4.2, width - 24.0), 4.2, layer="words"
        ),
        *(
            Words((left + 12.0, bottom + lift + 31.5 - 3.8 * n), line, 3.0, colour=SOFT, layer="words")
            for n, line in enumerate(lines)
        ),
        *rule_shapes((left + 12.0, bottom + 6.0), False),
        *rule_shapes((left + 3.0, bottom + 6.0), True),
        *square_shapes((left + 118.0, bottom + 2.0)),
    ]
    words = [f"Template of {heading_words(view)}, true size, {face_words(view).lower()}."]
    words += [f"{feature.id}: {size_words(feature)} at {_place_words(feature.at_mm)}." for feature in view.features]
    words += [f"{cut.feature}: {cut_words(cut)} at {_place_words(cut.at_mm)}." for cut in view.cuts]
    words += [f"{zone.kind}: nothing is cut or drilled there." for zone in view.zones if zone.kind != "opening"]
    height = max(box[3] + 10.0 - bottom, 112.0)
    corner_mark = Poly(
        ((left, bottom), (left + width, bottom), (left + width, bottom + height), (left, bottom + height)),
        "hair",
        True,
        "rule",
    )
    title = f"Template: {heading_words(view)}"
    return Picture(width, height, (corner_mark, *shapes, *heading), title, " ".join([*words, *view.cautions]))


def sheet_corner(picture: Picture) -> Point:
    """Return the lower left corner of a template's sheet, in the part's frame."""
    first = picture.shapes[0]
    assert isinstance(first, Poly)
    return first.points[0]


def _place_words(at_mm: tuple[float, ...]) -> str:
    return f"{millimetres(at_mm[0])}, {millimetres(at_mm[1])}"


def template_svg(view: TemplateView) -> str:
    """Write a template as SVG at true size, one group a layer; coordinates in mm."""
    picture = template_picture(view)
    return true_size_svg(picture, PAPER_PENS, sheet_corner(picture), view.part, view.turned_over)


def template_dxf(view: TemplateView) -> bytes:
    """Write a template as DXF in millimetres, layers named in words; the same bytes for the same view."""
    from partkin.drawing.template_dxf import picture_dxf

    return picture_dxf(template_picture(view), LAYERS, view.part, view.turned_over)


def template_pdf(view: TemplateView, paper: str = "A4", printer: tuple[float, float] = (1.0, 1.0)) -> bytes:
    """Write a template as PDF at true size, over as many sheets as it takes.

    Parameters
    ----------
    view
    paper
        A4, A3 or Letter.
    printer
        What the printer makes of a true millimetre, across and up the sheet.

    Returns
    -------
    bytes
        A first sheet to read, then the tiles; the same bytes for the same view.

    Raises
    ------
    FaultyInput
        Unknown paper, an impossible correction, or too many sheets.
    """
    from partkin.drawing.template_pdf import tiled_pdf

    return tiled_pdf(as_seen(view), paper, printer)
