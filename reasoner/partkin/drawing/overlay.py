"""A donor laid on the host as one drawing: pattern, conflict, details, key and title block."""

from __future__ import annotations

import math
from dataclasses import dataclass

from partkin.drawing.alt import odd_words, overlay_words, span_words
from partkin.drawing.details import details
from partkin.drawing.dimension import span_marks
from partkin.drawing.laying import IDENTITY, Frame, laid, moved, moved_angle_deg, reach_mm, side_points, spread_of
from partkin.drawing.placing import EDGE, TEXT, Place, Room, lettered, strip_in, written
from partkin.drawing.second_view import from_above
from partkin.drawing.shapes import (
    BLUE,
    INK,
    Line,
    Oval,
    Picture,
    Point,
    Poly,
    Round,
    Shape,
    Strokes,
    Words,
    millimetres,
    on_layer,
    shortened,
    text_width,
)
from partkin.drawing.svg import clean, picture_svg
from partkin.drawing.symbols import cut_marks, feature_marks, size_mm, zone_marks
from partkin.drawing.titleblock import key, paragraph, scale_bar, sheet_frame, title_block
from partkin.model.drawing import Cut, DrawnFeature, Matrix, OverlayView

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

    def host_px(self, feature: DrawnFeature) -> Point:
        return self.frame.px(feature.at_mm)

    def donor_px(self, at_mm: tuple[float, ...]) -> Point:
        return self.frame.px(moved(self.matrix, at_mm))


def _plan(view: OverlayView, width: float) -> _Plan | None:
    """Choose scale and height; None where there is nothing with a place."""
    matrix, _ = laid(view, beside=width > 520)
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
    x_px = width / 2 - (box[0] + box[2]) / 2 * scale
    y_px = height / 2 + (box[1] + box[3]) / 2 * scale
    return _Plan(view, matrix, Frame(scale, x_px, y_px), width, height)


def _areas(plan: _Plan) -> list[Shape]:
    shapes: list[Shape] = []
    for outline in plan.view.outlines:
        donor = outline.of == "donor"
        corners = tuple(plan.donor_px(corner) if donor else plan.frame.px(corner) for corner in outline.corners_mm)
        if len(corners) > 1:
            shapes.append(Poly(corners, "donor" if donor else "beyond"))
    for zone in plan.view.zones:
        corners = tuple(
            plan.donor_px(corner) if zone.of == "donor" else plan.frame.px(corner) for corner in zone.corners_mm
        )
        shapes += zone_marks(zone, corners)
    return on_layer(shapes, "areas")


def _patterns(plan: _Plan) -> list[Shape]:
    scale = plan.frame.scale
    shapes: list[Shape] = [
        Round(plan.host_px(fixing), _drawn_reach(plan, fixing) - 2.0, "hidden")
        for fixing in plan.view.fixings
        if fixing.id in plan.view.conflict
    ]
    for cut in plan.view.cuts:
        donor = cut.of == "donor"
        centre = plan.donor_px(cut.at_mm) if donor else plan.frame.px(cut.at_mm)
        angle_deg = moved_angle_deg(plan.matrix, cut.angle_deg) if donor else cut.angle_deg
        shapes += cut_marks(cut, centre, scale, angle_deg)
    for fixing in plan.view.fixings:
        shapes += feature_marks(fixing, plan.host_px(fixing), scale, fixing.angle_deg, False)
    for feature in plan.view.features:
        angle_deg = moved_angle_deg(plan.matrix, feature.angle_deg)
        shapes += feature_marks(feature, plan.donor_px(feature.at_mm), scale, angle_deg, True)
    for spread in plan.view.spreads:
        donor = spread.of == "donor"
        centre = plan.donor_px(spread.centre_mm) if donor else plan.frame.px(spread.centre_mm)
        angle_deg = moved_angle_deg(plan.matrix, spread.angle_deg) if donor else spread.angle_deg
        semi = (spread.semi_mm[0] * scale, spread.semi_mm[1] * scale)
        if max(semi) >= 0.8:
            shapes.append(Oval(centre, semi, angle_deg, "donor-spread" if donor else "spread"))
    return shapes


def _drawn_reach(plan: _Plan, feature: DrawnFeature) -> float:
    ring = 5.0 if feature.id in plan.view.conflict and feature in plan.view.fixings else 0.0
    return max(reach_mm(feature), 2.5 if size_mm(feature) is None else 0.0) * plan.frame.scale + 4.0 + ring


def _clear(plan: _Plan, of: str, feature: DrawnFeature) -> float:
    """Return how far from a feature a line is clear of all that is drawn about it."""
    view, ring_mm = plan.view, [0.0]
    ring_mm += [spread.semi_mm[0] for spread in view.spreads if (spread.of, spread.id) == (of, feature.id)]
    ring_mm += [max(cut.across_mm, cut.length_mm or 0.0) / 2 for cut in view.cuts if cut.feature == feature.id]
    return max(_drawn_reach(plan, feature), max(ring_mm) * plan.frame.scale + 4.0) + 3.0


def _spans(plan: _Plan, room: Room) -> list[Shape]:
    """Draw the worst distances in conflict."""
    view = plan.view
    fixings = {fixing.id: fixing for fixing in view.fixings}
    features = {feature.id: feature for feature in view.features}
    meant = {pair.fixing: pair.feature for pair in view.pairs}
    shapes: list[Shape] = []
    centres = [plan.host_px(fixing) for fixing in view.fixings]
    if not centres:
        return shapes
    middle = (sum(x for x, _ in centres) / len(centres), sum(y for _, y in centres) / len(centres))
    if view.matrix is None:
        return shapes
    for span in view.spans[:_SHOWN_SPANS]:
        ends = (fixings.get(span.from_fixing), fixings.get(span.to_fixing))
        donor = (
            features.get(span.from_feature or meant.get(span.from_fixing, "")),
            features.get(span.to_feature or meant.get(span.to_fixing, "")),
        )
        if ends[0] is None or ends[1] is None or donor[0] is None or donor[1] is None:
            continue
        host_px = (plan.host_px(ends[0]), plan.host_px(ends[1]))
        donor_px = (plan.donor_px(donor[0].at_mm), plan.donor_px(donor[1].at_mm))
        shapes += span_marks(span, host_px, donor_px, middle, room) or []
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
        at, away = plan.host_px(fixing), _drawn_reach(plan, fixing) + off_mm * plan.frame.scale
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


@dataclass(frozen=True)
class _Label:
    text: str
    at: Point
    reach: float
    colour: str
    clear: float
    bold: bool = False


def _labels(plan: _Plan) -> list[_Label]:
    """List what is labelled: a pair once where its two centres lie together, else each side for itself."""
    view = plan.view
    features = {feature.id: feature for feature in view.features}
    meant = {pair.fixing: pair.feature for pair in view.pairs if pair.feature in features}
    told: set[str] = set()
    labels = []
    for fixing in view.fixings:
        at, reach = plan.host_px(fixing), _drawn_reach(plan, fixing)
        partner = features.get(meant.get(fixing.id, ""))
        text, clear = fixing.id, _clear(plan, "host", fixing)
        apart = math.dist(at, plan.donor_px(partner.at_mm)) if partner is not None else math.inf
        if partner is not None and apart < 14.0:
            told.add(partner.id)
            clear = max(clear, apart + _clear(plan, "donor", partner))
            text = fixing.id if partner.id == fixing.id else f"{fixing.id} - {partner.id}"
        cut = next((cut for cut in view.cuts if cut.feature == meant.get(fixing.id)), None)
        text += f": {cut_words(cut)}" if cut is not None and view.after else ""
        bold = fixing.id in view.conflict or (cut is not None and view.after)
        labels.append(_Label(text, at, reach, INK, clear, bold))
    for feature in view.features:
        if feature.id not in told:
            at = plan.donor_px(feature.at_mm)
            labels.append(_Label(feature.id, at, _drawn_reach(plan, feature), BLUE, _clear(plan, "donor", feature)))
    return labels


def _label_marks(plan: _Plan, room: Room) -> tuple[list[Shape], list[str]]:
    """Set the labels where they lie on nothing; returns those without room too."""
    shapes: list[Shape] = []
    left_out = []
    size = 12.0
    for label in _labels(plan):
        text = shortened(clean(label.text), size, max(0.3 * plan.width, 130.0), label.bold)
        reach = label.reach, label.reach
        marks = lettered(
            room, label.at, reach, text, size, bold=label.bold, colour=label.colour, clear=label.clear
        )  # fmt: skip
        if marks is None:
            left_out.append(text)
        shapes += marks or []
    return shapes, left_out


def _zone_labels(plan: _Plan, room: Room) -> tuple[list[Shape], list[str], list[str]]:
    """Name the zones: in words where there is room, else by a letter.

    Returns
    -------
    tuple of list of shapes, list of str and list of str
        The shapes, sentences that explain the letters, and the names without any room.
    """
    shapes: list[Shape] = []
    explained, left_out = [], []
    letters = iter("ABCDEFGHJKLMNPQRSTUVWXYZ")
    for zone in plan.view.zones:
        donor = zone.of == "donor"
        corners = [plan.donor_px(corner) if donor else plan.frame.px(corner) for corner in zone.corners_mm]
        name, colour = clean(f"{zone.kind} ({zone.of})"), BLUE if donor else INK
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


def _zone_label(room: Room, corners: list[Point], text: str, colour: str) -> list[Shape] | None:
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
    for farthest, (x, y) in ((0.0, middle), *((58.0, corner) for corner in (middle, *corners))):
        reach = (0.0, 0.0)
        if farthest == 0.0:
            reach = max(abs(x - corner[0]) for corner in corners), max(abs(y - corner[1]) for corner in corners)
        found = lettered(room, (x, y), reach, text, size, colour=colour, level_first=False, farthest=farthest)
        if found is not None:
            return found
    return None


def _pattern_part(plan: _Plan) -> tuple[list[Shape], list[str]]:
    """Draw the upper part; returns sentences for below it too."""
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
    """The upper part of an overlay: the picture, the sentences that belong below it, pixels a millimetre.

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


def overlay_picture(view: OverlayView, width_px: float = 760.0) -> Picture:
    """Draw a donor on a host as one sheet: pattern, offsets drawn larger, key and title block.

    Parameters
    ----------
    view
    width_px
        Natural width. Text keeps its size, so a telephone gets its own drawing (340), not a smaller one.

    Returns
    -------
    Picture
        In pixels, y down.
    """
    upper = pattern(view, width_px)
    shapes, down = list(upper.picture.shapes), upper.picture.height
    if upper.scale > 0:
        inner = width_px - 2 * _EDGE
        enlarged, taken = details(view, upper.matrix, upper.scale, _EDGE, down + 12.0, inner)
        if taken:
            shapes += [Line((2.0, down), (width_px - 2.0, down), "thin"), *enlarged]
            down += 12.0 + taken
    shapes.append(Line((2.0, down), (width_px - 2.0, down), "thin"))
    foot, height = _foot(view, width_px, down, list(upper.said))
    shapes += foot
    frame = sheet_frame(width_px, height)
    return Picture(width_px, height, (*shapes, *frame), upper.picture.title, upper.picture.says)


def _foot(view: OverlayView, width: float, top: float, said: list[str]) -> tuple[list[Shape], float]:
    """Draw key and sentences with the title block at the lower right; returns the drawing's height too."""
    narrow = width <= 520
    block_width = width - 4.0 if narrow else 330.0
    text_room = width - 2 * _EDGE if narrow else width - block_width - 2 * _EDGE - 8.0
    shapes, key_height = key(view, _EDGE, top + 10.0, text_room)
    ellipses = ["Dashed ellipses: where a centre lies, 95 in 100."] if view.spreads else []
    words, words_height = paragraph([*said, *ellipses], _EDGE, top + 12.0 + key_height, text_room)
    shapes += words
    text_height = 12.0 + key_height + words_height + 12.0
    height = top + text_height + 120.0 if narrow else top + max(text_height, 120.0) + 2.0
    block, _ = title_block(view, width - 2.0, height - 2.0, block_width)
    return shapes + block, height


def overlay_svg(view: OverlayView, width_px: float = 760.0, prefix: str = "d", bounded: bool = False) -> str:
    """Draw a donor on a host as SVG, with title and description; see `overlay_picture` and `picture_svg`."""
    return picture_svg(overlay_picture(view, width_px), prefix, bounded=bounded)
