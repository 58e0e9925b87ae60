"""The pictures that stand alone: a pattern, its margins, the chance against the next reading, calibration."""

from __future__ import annotations

import math

from partkin.drawing.alt import called
from partkin.drawing.axes import WIDTH, Axes, plot_sheet
from partkin.drawing.laying import Frame, reach_mm, spread_of
from partkin.drawing.placing import Room
from partkin.drawing.shapes import (
    BLUE,
    SOFT,
    Box,
    Line,
    Oval,
    Picture,
    Poly,
    Round,
    Shape,
    Strokes,
    Words,
    box_about,
    corners_of,
    hatching,
    millimetres,
    shortened,
    text_width,
)
from partkin.drawing.svg import clean
from partkin.drawing.symbols import feature_marks, rectangle, state_mark
from partkin.drawing.titleblock import scale_bar
from partkin.model.drawing import CalibrationPlot, ChancePlot, MarginPlot, PatternPlot
from partkin.model.verdict import Pair

_FACTORS = (500.0, 200.0, 100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0)


def _pattern_frame(box: Box) -> tuple[Frame, float]:
    """Return the frame that a pattern is drawn in, and the height it takes."""
    edge = 60.0
    across_mm, up_mm = max(box[2] - box[0], 1.0), max(box[3] - box[1], 1.0)
    scale = min((WIDTH - 2 * edge) / across_mm, 360.0 / up_mm)
    height = max(up_mm * scale + 2 * edge, 170.0)
    return Frame.about(box, scale, WIDTH, height), height


def _pattern_labels(plot: PatternPlot, frame: Frame, room: Room, reaches: dict[str, float]) -> list[Shape]:
    for feature in plot.features:
        at = frame.px(feature.at_mm)
        room.take((*at, *at, reaches[feature.id]))
    shapes: list[Shape] = []
    for feature in plot.features:
        text = shortened(clean(feature.id), 12.0, 0.3 * WIDTH, True)
        width = text_width(text, 12.0, True)
        found = room.place(frame.px(feature.at_mm), (reaches[feature.id],) * 2, width, 12.0)
        if found is not None:
            shapes.append(Words((found.box[0], found.box[3] - 2.0), text, 12.0, bold=True, halo=True))
    return shapes


def pattern_picture(plot: PatternPlot) -> Picture:
    """Draw a pattern with the uncertainty of each place; the ellipses are larger by a factor that is said."""
    title = f"Pattern of {called(plot.part, plot.name)}"
    boxes = [box_about(feature.at_mm, reach_mm(feature)) for feature in plot.features]
    box = spread_of(point for one in boxes for point in (one[:2], one[2:]))
    if box is None:
        return _nothing(title, "No place is known.")
    frame, height = _pattern_frame(box)
    largest = max((spread.semi_mm[0] for spread in plot.spreads), default=0.0)
    factor = next((f for f in _FACTORS if largest * frame.scale * f <= 34.0), 1.0)
    reaches = {feature.id: reach_mm(feature) * frame.scale + 4.0 for feature in plot.features}
    shapes: list[Shape] = []
    for feature in plot.features:
        shapes += feature_marks(feature, frame.px(feature.at_mm), frame.scale, feature.angle_deg, False)
    said = []
    for spread in plot.spreads:
        semi = (spread.semi_mm[0] * frame.scale * factor, spread.semi_mm[1] * frame.scale * factor)
        shapes.append(Oval(frame.px(spread.centre_mm), semi, spread.angle_deg, "donor-spread"))
        if spread.id in reaches:
            reaches[spread.id] = max(reaches[spread.id], semi[0] + 1.0)
        said.append(f"{spread.id}: within {' by '.join(map(millimetres, spread.semi_mm))} mm.")
    room = Room((8.0, 8.0, WIDTH - 8.0, height - 26.0))
    shapes += _pattern_labels(plot, frame, room, reaches) + scale_bar((16.0, height - 10.0), frame.scale)
    notes = [f"Ellipses: where each centre lies, 95 in 100, drawn {factor:g} times as large as the pattern."]
    return plot_sheet(shapes, height, title, " ".join([f"{title}.", *said]), notes if plot.spreads else [])


def _nothing(title: str, why: str) -> Picture:
    return plot_sheet([Words((16.0, 30.0), why, 12.0)], 50.0, title, f"{title}. {why}", [])


def _margin_row(pair: Pair, axes: Axes, middle: float) -> list[Shape]:
    """Draw one pair: the play as an open bar, the offset as a filled one, hatched where it runs over."""
    left = axes.box[0]
    name = shortened(clean(f"{pair.fixing} - {pair.feature}"), 12.0, left - 24.0, True)
    shapes: list[Shape] = [Words((left - 10.0, middle + 4.0), name, 12.0, "end", bold=True)]
    if pair.offset_mm is None:
        return [*shapes, Words((left + 8.0, middle + 4.0), f"not placed, {pair.state}", 11.5)]
    end = axes.at(min(pair.offset_mm, axes.x_range[1]), 0.0)[0]
    allowed = None if pair.allowed_mm is None else max(left, axes.at(max(pair.allowed_mm, 0.0), 0.0)[0])
    within = end if allowed is None else min(end, allowed)
    if within > left:
        shapes.append(rectangle((left, middle - 4.0, within, middle + 4.0), "donor-fill"))
    if allowed is not None and end > allowed:
        over = corners_of((allowed, middle - 4.0, end, middle + 4.0))
        shapes += [Poly(over, "wide"), Strokes(hatching(over, 4.0, 45.0), "thin")]
    if allowed is not None:
        shapes.append(rectangle((left, middle - 8.0, allowed, middle + 8.0), "thin"))
    figures = f"{millimetres(pair.offset_mm)} of " + ("?" if pair.allowed_mm is None else millimetres(pair.allowed_mm))
    right = axes.box[2] + 14.0
    return [
        *shapes,
        *state_mark((right + 2.0, middle), pair.state),
        Words((right + 14.0, middle - 1.0), pair.state, 11.5, bold=pair.state not in ("lines up", "tight")),
        Words((right + 14.0, middle + 11.5), figures, 11.0, colour=SOFT),
    ]


def margin_picture(plot: MarginPlot) -> Picture:
    """Draw offset and play of every pair, one under the other on one scale."""
    title = clean(f"Margins of {plot.donor} on {plot.host}")
    if not plot.pairs:
        return _nothing(title, "No pair.")
    most = max(0.1, *(max(pair.offset_mm or 0.0, pair.allowed_mm or 0.0) for pair in plot.pairs))
    left = min(210.0, 30.0 + max(text_width(f"{pair.fixing} - {pair.feature}", 12.0, True) for pair in plot.pairs))
    axes = Axes((left, 26.0, WIDTH - 130.0, 30.0 + 34.0 * len(plot.pairs)), (0.0, 1.04 * most), (0.0, 1.0))
    shapes = [*axes.x_marks("mm"), Line((left, axes.box[1]), (left, axes.box[3]), "wide")]
    said = []
    for number, pair in enumerate(plot.pairs):
        shapes += _margin_row(pair, axes, 46.0 + 34.0 * number)
        offset = ""
        if pair.offset_mm is not None and pair.allowed_mm is not None:
            offset = f" offset {millimetres(pair.offset_mm)} mm of {millimetres(pair.allowed_mm)} mm,"
        said.append(f"{pair.fixing} with {pair.feature}:{offset} {pair.state}.")
    notes = ["Open bar: play allowed. Filled bar: offset at the best placement. Hatched: what is too much."]
    return plot_sheet(shapes, axes.box[3] + 48.0, title, " ".join([f"{title}.", *said]), notes)


def chance_picture(plot: ChancePlot) -> Picture:
    """Draw the chance that the donor fits against what the next reading may say."""
    title = clean(f"Chance that {plot.donor} fits, against {plot.reading}")
    if len(plot.values_mm) < 2:
        return _nothing(title, "No range of readings is given.")
    axes = Axes((64.0, 40.0, WIDTH - 40.0, 330.0), (plot.values_mm[0], plot.values_mm[-1]), (0.0, 1.0))
    shapes = axes.x_marks(f"{plot.reading}, mm") + axes.y_percent("chance, %")
    left, _, right, bottom = axes.box
    for level, word, off in ((plot.confidence, "bolts on", 13.0), (1.0 - plot.confidence, "does not fit", -5.0)):
        height = axes.at(plot.values_mm[0], level)[1]
        shapes.append(Line((left, height), (right, height), "hidden"))
        shapes.append(Words((right - 4.0, height + off), f"{word} from here", 11.0, "end", halo=True))
    notes = []
    if plot.expected_mm is not None and plot.values_mm[0] <= plot.expected_mm <= plot.values_mm[-1]:
        shapes += _expected(axes, plot.expected_mm, plot.half_width_mm or 0.0)
        spread = f" +/- {millimetres(plot.half_width_mm)}" if plot.half_width_mm else ""
        notes.append(f"Hatched: what is expected now, {millimetres(plot.expected_mm)}{spread} mm.")
    line = [axes.at(x, y) for x, y in zip(plot.values_mm, plot.chances, strict=True)]
    shapes.append(Poly(tuple(line), "donor", closed=False))
    shapes += [Round(point, 2.4, "donor-dot") for point in line] if len(line) <= 40 else []
    sure = [x for x, y in zip(plot.values_mm, plot.chances, strict=True) if y >= plot.confidence]
    says = "No reading of this range makes it bolt on."
    if sure:
        says = f"It bolts on with readings of {millimetres(min(sure))} to {millimetres(max(sure))} mm."
    return plot_sheet(shapes, bottom + 48.0, title, f"{title}. {says}", [says, *notes])


def _expected(axes: Axes, expected_mm: float, half_mm: float) -> list[Shape]:
    (_, top, _, bottom), (first, last) = axes.box, axes.x_range
    low, high = max(first, expected_mm - half_mm), min(last, expected_mm + half_mm)
    box = (axes.at(low, 0.0)[0], top, axes.at(high, 0.0)[0], bottom)
    hatched = [Strokes(hatching(corners_of(box), 8.0, 45.0), "faint")] if box[2] - box[0] > 2.0 else []
    middle = axes.at(expected_mm, 0.0)[0]
    return [*hatched, Line((middle, top), (middle, bottom), "centre")]


def likely_share(went_on: int, count: int, z: float = 1.96) -> tuple[float, float]:
    """Return between what shares the true one lies, 95 in 100 (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927).

    Examples
    --------
    >>> low, high = likely_share(0, 10)
    >>> round(low, 4), round(high, 4)
    (0.0, 0.2775)
    """
    if count == 0:
        return 0.0, 1.0
    share = went_on / count
    middle = (share + z * z / (2 * count)) / (1 + z * z / count)
    half = z / (1 + z * z / count) * math.sqrt(share * (1 - share) / count + z * z / (4 * count * count))
    return max(0.0, middle - half), min(1.0, middle + half)


def calibration_picture(plot: CalibrationPlot) -> Picture:
    """Draw what share went on against the chance that was said; on the slanting line the two agree."""
    title = "Chance said, against what happened"
    axes = Axes((64.0, 40.0, WIDTH - 40.0, 400.0), (0.0, 100.0), (0.0, 1.0))
    shapes = axes.x_marks("chance said, %") + axes.y_percent("went on, %")
    shapes.append(Line(axes.at(0.0, 0.0), axes.at(100.0, 1.0), "centre"))
    said = []
    for found in (one for one in plot.bins if one.count):
        middle = 50.0 * (found.low + found.high)
        low, high = likely_share(found.went_on, found.count)
        x, y = axes.at(middle, found.went_on / found.count)
        top, foot = axes.at(middle, high)[1], axes.at(middle, low)[1]
        ends = (((x - 4, top), (x + 4, top)), ((x - 4, foot), (x + 4, foot)), ((x, top), (x, foot)))
        words = f"{found.went_on} of {found.count}"
        side, anchor = (-9.0, "end") if x > axes.box[2] - 60.0 else (9.0, "start")
        at = (x + side, y + (4.0 if y < axes.box[3] - 9.0 else -8.0))
        shapes += [Strokes(ends, "donor-thin"), Round((x, y), 4.0, "donor-dot")]
        shapes.append(Words(at, words, 11.0, anchor, colour=BLUE, halo=True))
        said.append(f"Said {100 * found.low:.0f} to {100 * found.high:.0f} %: {words} went on.")
    if not said:
        shapes.append(Words((axes.box[0] + 20.0, axes.box[1] + 40.0), "Nothing has happened yet.", 12.0))
        said = ["Nothing has happened yet."]
    notes = ["Bars: where the true share lies, 95 in 100.", "Slanting line: what was said is what happened."]
    return plot_sheet(shapes, 450.0, title, " ".join([f"{title}.", *said]), notes)
