"""A donor laid on the host as a drawing: pattern and conflict, from above too; and as a small sketch."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from partkin.drawing.alt import odd_words, overlay_words, span_words
from partkin.drawing.dimension import span_marks
from partkin.drawing.laying import IDENTITY, Frame, laid, moved, moved_angle_deg, moved_z, reach_mm, side_points
from partkin.drawing.lettering import millimetres, shortened, text_width
from partkin.drawing.pens import BLUE, INK, SOFT
from partkin.drawing.placing import EDGE, TEXT, Place, Room, lettered, strip_in, written
from partkin.drawing.plane import Point, spread_of
from partkin.drawing.shapes import Line, Picture, Poly, Round, Shape, Strokes, Words, on_layer
from partkin.drawing.svg import SvgWriter, clean, short
from partkin.drawing.symbols import (
    cut_marks,
    feature_marks,
    half_size_mm,
    scale_bar,
    size_mm,
    spread_mark,
    state_mark,
    zone_marks,
)
from partkin.model.drawing import Cut, DrawnFeature, DrawnOutline, DrawnZone, Matrix, OverlayView, Owner

_EDGE = 14.0
_ARROW = 24.0
_SHOWN_SPANS = 2


@dataclass(frozen=True)
class _Plan:
    """Where the pattern lies on the drawing."""

    view: OverlayView
    matrix: Matrix
    frame: Frame
    width: float
    height: float

    def px(self, of: Owner, at_mm: tuple[float, ...]) -> Point:
        return self.frame.px(moved(self.matrix, at_mm) if of == "donor" else at_mm)

    def corners(self, area: DrawnZone | DrawnOutline) -> tuple[Point, ...]:
        return tuple(self.px(area.of, corner) for corner in area.corners_mm)

    def turned_deg(self, of: Owner, angle_deg: float) -> float:
        return moved_angle_deg(self.matrix, angle_deg) if of == "donor" else angle_deg


def _plan(view: OverlayView, width: float) -> _Plan | None:
    """Choose scale and height; None where there is nothing with a place."""
    matrix = laid(view, beside=width > 520)
    box = spread_of(side_points(view, False, IDENTITY) + side_points(view, True, matrix))
    if box is None:
        return None
    across_mm, up_mm = max(box[2] - box[0], 1.0), max(box[3] - box[1], 1.0)
    wide = width > 520
    side = (62.0 if view.spans else 44.0) if wide else 34.0
    ends = 74.0 if view.spans else 40.0
    tallest = (0.5 if wide else 0.95) * width
    scale = min((width - 2 * side) / across_mm, (tallest - 2 * ends) / up_mm)
    height = max(up_mm * scale + 2 * ends, 150.0)
    return _Plan(view, matrix, Frame.about(box, scale, width, height), width, height)


def _areas(plan: _Plan) -> list[Shape]:
    shapes: list[Shape] = [
        Poly(plan.corners(outline), "donor" if outline.of == "donor" else "beyond")
        for outline in plan.view.outlines
        if len(outline.corners_mm) > 1
    ]
    return on_layer(
        [*shapes, *(mark for zone in plan.view.zones for mark in zone_marks(zone, plan.corners(zone)))], "areas"
    )


def _patterns(plan: _Plan) -> list[Shape]:
    scale, view = plan.frame.scale, plan.view
    shapes: list[Shape] = [
        Round(plan.px("host", fixing.at_mm), _drawn_reach(plan, fixing) - 2.0, "hidden")
        for fixing in view.fixings
        if fixing.id in view.conflict
    ]
    for cut in view.cuts:
        shapes += cut_marks(cut, plan.px(cut.of, cut.at_mm), scale, plan.turned_deg(cut.of, cut.angle_deg))
    for fixing in view.fixings:
        shapes += feature_marks(fixing, plan.px("host", fixing.at_mm), scale, fixing.angle_deg, False)
    for feature in view.features:
        angle_deg = plan.turned_deg("donor", feature.angle_deg)
        shapes += feature_marks(feature, plan.px("donor", feature.at_mm), scale, angle_deg, True)
    for spread in view.spreads:
        if max(spread.semi_mm) * scale >= 0.8:
            at, angle_deg = plan.px(spread.of, spread.centre_mm), plan.turned_deg(spread.of, spread.angle_deg)
            shapes.append(spread_mark(spread, at, angle_deg, scale))
    return shapes


def _drawn_reach(plan: _Plan, feature: DrawnFeature) -> float:
    ring = 5.0 if feature.id in plan.view.conflict and feature in plan.view.fixings else 0.0
    return max(reach_mm(feature), 2.5 if size_mm(feature) is None else 0.0) * plan.frame.scale + 4.0 + ring


def _clear(plan: _Plan, of: Owner, feature: DrawnFeature) -> float:
    """Return how far from a feature a line is clear of all that is drawn about it."""
    view, ring_mm = plan.view, [0.0]
    ring_mm += [spread.semi_mm[0] for spread in view.spreads if (spread.of, spread.id) == (of, feature.id)]
    ring_mm += [half_size_mm(cut) for cut in view.cuts if cut.feature == feature.id]
    return max(_drawn_reach(plan, feature), max(ring_mm) * plan.frame.scale + 4.0) + 3.0


def _spans(plan: _Plan, room: Room) -> list[Shape]:
    """Draw the worst distances in conflict."""
    view = plan.view
    host_px = {fixing.id: plan.px("host", fixing.at_mm) for fixing in view.fixings}
    donor_px = {feature.id: plan.px("donor", feature.at_mm) for feature in view.features}
    meant = {pair.fixing: pair.feature for pair in view.pairs}
    if not host_px or view.matrix is None:
        return []
    middle = tuple(sum(values) / len(host_px) for values in zip(*host_px.values(), strict=True))
    shapes: list[Shape] = []
    for span in view.spans[:_SHOWN_SPANS]:
        ends = ((span.from_fixing, span.from_feature), (span.to_fixing, span.to_feature))
        found = [host_px.get(fixing) for fixing, _ in ends]
        found += [donor_px.get(feature or meant.get(fixing, "")) for fixing, feature in ends]
        a, b, c, d = found
        if a is not None and b is not None and c is not None and d is not None:
            shapes += span_marks(span, (a, b), (c, d), (middle[0], middle[1]), room) or []
    return shapes


def _odd_arrows(plan: _Plan) -> tuple[list[Shape], list[tuple[Point, str]]]:
    """Draw an arrow at each odd hole, the way that it stands off; returns each tip with its figure too."""
    fixings = {fixing.id: fixing for fixing in plan.view.fixings}
    shapes: list[Shape] = []
    figures = []
    for odd in plan.view.odd:
        # As it is seen; what is off towards the eye is told in words.
        off_mm = math.hypot(*odd.out_mm[:2])
        if odd.fixing not in fixings or off_mm < 0.005:
            continue
        fixing = fixings[odd.fixing]
        at, away = plan.px("host", fixing.at_mm), _drawn_reach(plan, fixing) + off_mm * plan.frame.scale
        x, y = odd.out_mm[0] / off_mm, -odd.out_mm[1] / off_mm
        tail = (at[0] + x * away, at[1] + y * away)
        tip = (tail[0] + x * _ARROW, tail[1] + y * _ARROW)
        barbs = tuple((tip, (tip[0] - 8 * x + s * 4 * y, tip[1] - 8 * y - s * 4 * x)) for s in (1.0, -1.0))
        shapes += [Line(tail, tip, "donor"), Strokes(barbs, "donor")]
        figures.append((tip, f"{millimetres(off_mm, 1 if off_mm >= 1.0 else 2)} mm"))
    return shapes, figures


def cut_words(cut: Cut) -> str:
    """Say what is cut in two or three words.

    Examples
    --------
    >>> cut_words(Cut("slot", "e", (0.0, 0.0), 7.0, 11.0)), cut_words(Cut("open out", "e", (0.0, 0.0), 9.0))
    ('slot 7 x 11', 'open out to 9')
    """
    if cut.length_mm is not None:
        return f"slot {cut.across_mm:g} x {cut.length_mm:.3g}"
    return f"{cut.do}{' to' if cut.do == 'open out' else ''} {cut.across_mm:g}"


def _labels(plan: _Plan) -> Iterator[tuple[str, Owner, DrawnFeature, float, bool]]:
    """Yield what is labelled: a pair once where its two centres lie together, else each side for itself.

    Text, side, feature, how far a line is clear of it, whether it is bold.
    """
    view = plan.view
    features = {feature.id: feature for feature in view.features}
    meant = {pair.fixing: pair.feature for pair in view.pairs if pair.feature in features}
    told: set[str] = set()
    for fixing in view.fixings:
        partner = features.get(meant.get(fixing.id, ""))
        text, clear = fixing.id, _clear(plan, "host", fixing)
        apart = math.inf
        if partner is not None:
            apart = math.dist(plan.px("host", fixing.at_mm), plan.px("donor", partner.at_mm))
        if partner is not None and apart < 14.0:
            told.add(partner.id)
            clear = max(clear, apart + _clear(plan, "donor", partner))
            text = fixing.id if partner.id == fixing.id else f"{fixing.id} - {partner.id}"
        cut = next((cut for cut in view.cuts if cut.feature == meant.get(fixing.id)), None)
        cut = cut if view.after else None
        text += f": {cut_words(cut)}" if cut is not None else ""
        yield text, "host", fixing, clear, fixing.id in view.conflict or cut is not None
    for feature in view.features:
        if feature.id not in told:
            yield feature.id, "donor", feature, _clear(plan, "donor", feature), False


def _label_marks(plan: _Plan, room: Room) -> tuple[list[Shape], list[str]]:
    """Set the labels where they lie on nothing; returns those without room too."""
    shapes: list[Shape] = []
    left_out = []
    for said, of, feature, clear, bold in _labels(plan):
        text = shortened(clean(said), 12.0, max(0.3 * plan.width, 130.0), bold)
        at, reach, colour = plan.px(of, feature.at_mm), _drawn_reach(plan, feature), BLUE if of == "donor" else INK
        marks = lettered(room, at, (reach, reach), text, 12.0, bold=bold, colour=colour, clear=clear)
        if marks is None:
            left_out.append(text)
        shapes += marks or []
    return shapes, left_out


def _zone_labels(plan: _Plan, room: Room) -> tuple[list[Shape], list[str], list[str]]:
    """Name the zones: in words where there is room, else by a letter.

    Returns sentences that explain the letters too, and the names without any room.
    """
    shapes: list[Shape] = []
    explained, left_out = [], []
    letters = iter("ABCDEFGHJKLMNPQRSTUVWXYZ")
    for zone in plan.view.zones:
        corners, colour = plan.corners(zone), BLUE if zone.of == "donor" else INK
        name = clean(f"{zone.kind} ({zone.of})")
        marks = _zone_label(room, corners, name, colour) if plan.width > 520 else None
        if marks is None:
            letter = next(letters, "*")
            marks = _zone_label(room, corners, letter, colour)
            if marks is None:
                left_out.append(name)
            else:
                explained.append(f"{letter}: {zone.kind} of the {zone.of}")
        shapes += marks or []
    return shapes, ["Zones: " + "; ".join(explained) + "."] if explained else [], left_out


def _zone_label(room: Room, corners: tuple[Point, ...], text: str, colour: str) -> list[Shape] | None:
    """Set a name inside a zone, else beside it; a zone has at least one corner."""
    size = 10.5
    half = (text_width(text, size) / 2 + 2.0, size / 2 + 1.5)
    middle = (sum(x for x, _ in corners) / len(corners), sum(y for _, y in corners) / len(corners))
    halfway = [((x + middle[0]) / 2, (y + middle[1]) / 2) for x, y in corners]
    for x, y in (middle, *halfway) if len(corners) > 2 else ():
        box = (x - half[0], y - half[1], x + half[0], y + half[1])
        if room.free(box, EDGE):
            place = Place(box, breaks_hatching=not room.free(box))
            room.take(strip_in(box), kind=TEXT)
            return written(place, (x, y), text, size, colour=colour)
    reach = max(abs(middle[0] - x) for x, _ in corners), max(abs(middle[1] - y) for _, y in corners)
    ways = ((0.0, middle, reach), *((58.0, at, (0.0, 0.0)) for at in (middle, *corners)))
    tried = (
        lettered(room, at, about, text, size, colour=colour, level_first=False, farthest=farthest)
        for farthest, at, about in ways
    )
    return next((found for found in tried if found is not None), None)


def _pattern_part(plan: _Plan) -> tuple[list[Shape], list[str]]:
    """Draw it as it is seen along z; returns sentences for below it too."""
    room = Room((8.0, 8.0, plan.width - 8.0, plan.height - 22.0))
    areas, patterns = _areas(plan), _patterns(plan)
    arrows, figures = _odd_arrows(plan)
    room.draw(areas, EDGE)
    room.draw((*patterns, *arrows))
    shapes = [*areas, *_spans(plan, room), *patterns, *arrows]
    for tip, text in figures:
        shapes += lettered(room, tip, (4.0, 4.0), text, 12.0, bold=True, colour=BLUE, clear=4.0) or []
    room.bounds = (8.0, 8.0, plan.width - 8.0, plan.height - 8.0)
    room.take(strip_in((0.0, plan.height - 20.0, _EDGE + 190.0, plan.height)), kind=TEXT)
    labels, left_out = _label_marks(plan, room)
    zone_names, explained, nameless = _zone_labels(plan, room)
    left_out += nameless
    shapes += labels + zone_names + scale_bar((_EDGE, plan.height - 10.0), plan.frame.scale)
    said = odd_words(plan.view)[1:] + span_words(plan.view) + explained
    if plan.view.conflict and plan.view.shortfall_mm:
        names, short = ", ".join(plan.view.conflict), millimetres(plan.view.shortfall_mm)
        said.append(f"{names} together: {short} mm short at their best placement.")
    if left_out:
        said.append(f"No room to name: {', '.join(left_out)}.")
    if plan.view.matrix is None:
        said.insert(0, "No placement is known: the two are drawn beside each other, at the same scale.")
    if plan.view.note:
        said.append(plan.view.note)
    return shapes, said


@dataclass(frozen=True)
class Pattern:
    """The picture, the sentences that belong below it, pixels a millimetre.

    `scale` 0: nothing has a place, and the picture says so.
    """

    picture: Picture
    said: tuple[str, ...]
    scale: float
    matrix: Matrix


def pattern(view: OverlayView, width_px: float = 760.0) -> Pattern:
    """Draw the pattern of a donor on a host, from above too where it is in space."""
    title, words = overlay_words(view)
    plan = _plan(view, width_px)
    if plan is None:
        nothing = Words((_EDGE, 34.0), "Nothing to draw: no place is known on either side.", 12.0)
        return Pattern(Picture(width_px, 50.0, (nothing,), title, words), (), 0.0, IDENTITY)
    shapes, said = _pattern_part(plan)
    above, more = from_above(view, plan.matrix, plan.frame, plan.height, width_px)
    picture = Picture(width_px, plan.height + more, (*shapes, *above), title, words)
    return Pattern(picture, tuple(said), plan.frame.scale, plan.matrix)


_ABOUT = 34.0
_FLAT_MM = 1.0


def _mark(feature: DrawnFeature, x_px: float, y_px: float, scale: float, donor: bool) -> list[Shape]:
    """Draw a feature from the side: its width as a wide line, its axis as a centre line."""
    half = max((size_mm(feature) or 5.0) / 2 * scale, 2.0)
    shapes: list[Shape] = [Line((x_px - half, y_px), (x_px + half, y_px), "donor" if donor else "wide")]
    if not donor:
        shapes.append(Line((x_px, y_px - 9.0), (x_px, y_px + 9.0), "centre"))
    return shapes


def from_above(view: OverlayView, matrix: Matrix, frame: Frame, top: float, width: float) -> tuple[list[Shape], float]:
    """Draw x against z under the main view, at its scale; nothing for a flat pattern. Returns the height too.

    Seen from above, what is nearer to the eye of the main view lies lower.
    """
    spots = [(f, f.at_mm[0], f.at_mm[2], False) for f in view.fixings if len(f.at_mm) > 2]
    spots += [(f, moved(matrix, f.at_mm)[0], moved_z(matrix, f.at_mm), True) for f in view.features if len(f.at_mm) > 2]
    lowest, highest = min((z for _, _, z, _ in spots), default=0.0), max((z for _, _, z, _ in spots), default=0.0)
    if highest - lowest < _FLAT_MM:
        return [], 0.0
    base = top + _ABOUT - lowest * frame.scale
    height = (highest - lowest) * frame.scale + 2 * _ABOUT
    room = Room((8.0, top + 22.0, width - 8.0, top + height))
    places = [(f, (frame.px((x_mm, 0.0))[0], base + z_mm * frame.scale), donor) for f, x_mm, z_mm, donor in spots]
    shapes: list[Shape] = [Words((14.0, top + 16.0), "Seen from above", 11.0, colour=SOFT)]
    # The mark of first-angle projection: a blunt cone, its view from the left on its right.
    left, middle, ring = width - 58.0, top + 18.0, (width - 27.0, top + 18.0)
    cone = ((left, middle - 5.0), (left + 15.0, middle - 8.0), (left + 15.0, middle + 8.0), (left, middle + 5.0))
    axes = (((left - 4, middle), (width - 16.0, middle)), ((ring[0], middle - 11), (ring[0], middle + 11)))
    shapes += [Poly(cone, "thin"), Round(ring, 8.0, "thin"), Round(ring, 5.0, "thin"), Strokes(axes, "centre")]
    shapes += [mark for feature, at, donor in places for mark in _mark(feature, *at, frame.scale, donor)]
    room.draw(shapes)
    for feature, at, donor in places:
        if not donor:
            text = shortened(clean(feature.id), 11.0, 0.2 * width)
            shapes += lettered(room, at, (8.0, 8.0), text, 11.0, farthest=7.0) or []
    return shapes, height


_SKETCH_PX = 120.0


def sketch_svg(view: OverlayView) -> str:
    """Draw edges and the mark of each pair's state; hidden from who listens, for the row says the same."""
    matrix = view.matrix or IDENTITY
    box = spread_of(side_points(view, False, IDENTITY))
    if box is None or view.matrix is None:
        return ""
    across_mm, up_mm = max(box[2] - box[0], 1.0), max(box[3] - box[1], 1.0)
    scale = min((_SKETCH_PX - 16.0) / across_mm, 84.0 / up_mm)
    height = up_mm * scale + 16.0
    frame = Frame.about(box, scale, _SKETCH_PX, height)
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
    picture = Picture(_SKETCH_PX, height, tuple(shapes), "", "")
    body = SvgWriter().all(picture.shapes)
    box_of = f"0 0 {short(_SKETCH_PX)} {short(height, 1)}"
    return f'<svg class="dw sketch" viewBox="{box_of}" aria-hidden="true">{body}</svg>'
