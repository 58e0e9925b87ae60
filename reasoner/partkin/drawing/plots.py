"""The pictures that stand alone: a pattern, its margins, the chance against the next reading, calibration."""

from __future__ import annotations

import math

from partkin.drawing.alt import called
from partkin.drawing.axes import Axes, plot_sheet, round_steps
from partkin.drawing.laying import Frame, reach_mm, spread_of
from partkin.drawing.placing import Room
from partkin.drawing.shapes import (
    BLUE,
    SOFT,
    Line,
    Oval,
    Picture,
    Poly,
    Round,
    Shape,
    Strokes,
    Words,
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

WIDTH = 680.0
_FACTORS = (500.0, 200.0, 100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0)


def _pattern_frame(box: tuple[float, float, float, float]) -> tuple[Frame, float]:
    """Return the frame that a pattern is drawn in, and the height it takes."""
    edge = 60.0
    across_mm, up_mm = max(box[2] - box[0], 1.0), max(box[3] - box[1], 1.0)
    scale = min((WIDTH - 2 * edge) / across_mm, 360.0 / up_mm)
    height = max(up_mm * scale + 2 * edge, 170.0)
    x_px = WIDTH / 2 - (box[0] + box[2]) / 2 * scale
    return Frame(scale, x_px, height / 2 + (box[1] + box[3]) / 2 * scale), height


def _pattern_labels(plot: PatternPlot, frame: Frame, room: Room, reaches: dict[str, float]) -> list[Shape]:
    for feature in plot.features:
        x, y = frame.px(feature.at_mm)
        reach = reaches[feature.id]
        room.take((x, y, x, y, reach))
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
    box = spread_of(
        (feature.at_mm[0] + side * reach_mm(feature), feature.at_mm[1] + side * reach_mm(feature))
        for feature in plot.features
        for side in (-1, 1)
    )
    if box is None:
        return _nothing(title, "No place is known.")
    frame, height = _pattern_frame(box)
    largest = max((spread.semi_mm[0] for spread in plot.spreads), default=0.0)
    factor = next((f for f in _FACTORS if largest * frame.scale * f <= 34.0), 1.0)
    reaches = {feature.id: reach_mm(feature) * frame.scale + 4.0 for feature in plot.features}
    shapes: list[Shape] = []
    for feature in plot.features:
        shapes += feature_marks(feature, frame.px(feature.at_mm), frame.scale, feature.angle_deg, False)
    for spread in plot.spreads:
        semi = (spread.semi_mm[0] * frame.scale * factor, spread.semi_mm[1] * frame.scale * factor)
        shapes.append(Oval(frame.px(spread.centre_mm), semi, spread.angle_deg, "donor-spread"))
        if spread.id in reaches:
            reaches[spread.id] = max(reaches[spread.id], semi[0] + 1.0)
    room = Room((8.0, 8.0, WIDTH - 8.0, height - 26.0))
    shapes += _pattern_labels(plot, frame, room, reaches) + scale_bar((16.0, height - 10.0), frame.scale)
    notes = [f"Ellipses: where each centre lies, 95 in 100, drawn {factor:g} times as large as the pattern."]
    said = [
        f"{spread.id}: within {millimetres(spread.semi_mm[0])} by {millimetres(spread.semi_mm[1])} mm."
        for spread in plot.spreads
    ]
    says = " ".join([f"{title}.", *said])
    return plot_sheet(shapes, WIDTH, height, title, says, notes if plot.spreads else [])


def _nothing(title: str, why: str) -> Picture:
    return plot_sheet([Words((16.0, 30.0), why, 12.0)], WIDTH, 50.0, title, f"{title}. {why}", [])


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
        over = ((allowed, middle - 4.0), (end, middle - 4.0), (end, middle + 4.0), (allowed, middle + 4.0))
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
    values = [value for pair in plot.pairs for value in (pair.offset_mm, pair.allowed_mm) if value is not None]
    most = max([*(value for value in values if value > 0), 0.1])
    left = min(210.0, 30.0 + max(text_width(f"{pair.fixing} - {pair.feature}", 12.0, True) for pair in plot.pairs))
    axes = Axes((left, 26.0, WIDTH - 130.0, 30.0 + 34.0 * len(plot.pairs)), (0.0, 1.04 * most), (0.0, 1.0))
    shapes = axes.x_marks("mm")
    shapes.append(Line((left, axes.box[1]), (left, axes.box[3]), "wide"))
    for number, pair in enumerate(plot.pairs):
        shapes += _margin_row(pair, axes, 46.0 + 34.0 * number)
    said = []
    for pair in plot.pairs:
        if pair.offset_mm is None or pair.allowed_mm is None:
            said.append(f"{pair.fixing} with {pair.feature}: {pair.state}.")
        else:
            offset = f"{millimetres(pair.offset_mm)} mm of {millimetres(pair.allowed_mm)} mm"
            said.append(f"{pair.fixing} with {pair.feature}: offset {offset}, {pair.state}.")
    notes = ["Open bar: play allowed. Filled bar: offset at the best placement. Hatched: what is too much."]
    return plot_sheet(shapes, WIDTH, axes.box[3] + 48.0, title, " ".join([f"{title}.", *said]), notes)


def chance_picture(plot: ChancePlot) -> Picture:
    """Draw the chance that the donor fits against what the next reading may say."""
    title = clean(f"Chance that {plot.donor} fits, against {plot.reading}")
    if len(plot.values_mm) < 2:
        return _nothing(title, "No range of readings is given.")
    axes = Axes((64.0, 40.0, WIDTH - 40.0, 330.0), (plot.values_mm[0], plot.values_mm[-1]), (0.0, 1.0))
    shapes = axes.x_marks(f"{plot.reading}, mm") + axes.y_marks("chance, %", round_steps(0.0, 1.0, 5))
    left, _, right, bottom = axes.box
    for level, word, below in (
        (plot.confidence, "bolts on", False),
        (1.0 - plot.confidence, "does not fit", True),
    ):
        height = axes.at(plot.values_mm[0], level)[1]
        shapes.append(Line((left, height), (right, height), "hidden"))
        shapes.append(
            Words(
                (right - 4.0, height + (13.0 if not below else -5.0)),
                f"{word} from here",
                11.0,
                "end",
                halo=True,
            )
        )
    notes = []
    if plot.expected_mm is not None and plot.values_mm[0] <= plot.expected_mm <= plot.values_mm[-1]:
        shapes += _expected(plot, axes)
        spread = f" +/- {millimetres(plot.half_width_mm)}" if plot.half_width_mm else ""
        notes.append(f"Hatched: what is expected now, {millimetres(plot.expected_mm)}{spread} mm.")
    line = [axes.at(x, y) for x, y in zip(plot.values_mm, plot.chances, strict=True)]
    shapes.append(Poly(tuple(line), "donor", closed=False))
    shapes += [Round(point, 2.4, "donor-dot") for point in line] if len(line) <= 40 else []
    sure = [x for x, y in zip(plot.values_mm, plot.chances, strict=True) if y >= plot.confidence]
    if sure:
        says = f"It bolts on with readings of {millimetres(min(sure))} to {millimetres(max(sure))} mm."
    else:
        says = "No reading of this range makes it bolt on."
    return plot_sheet(shapes, WIDTH, bottom + 48.0, title, f"{title}. {says}", [says, *notes])


def _expected(plot: ChancePlot, axes: Axes) -> list[Shape]:
    _, top, _, bottom = axes.box
    assert plot.expected_mm is not None
    half = plot.half_width_mm or 0.0
    low, high = (
        max(plot.values_mm[0], plot.expected_mm - half),
        min(plot.values_mm[-1], plot.expected_mm + half),
    )
    x0, x1 = axes.at(low, 0.0)[0], axes.at(high, 0.0)[0]
    shapes: list[Shape] = []
    if x1 - x0 > 2.0:
        corners = ((x0, top), (x1, top), (x1, bottom), (x0, bottom))
        shapes.append(Strokes(hatching(corners, 8.0, 45.0), "faint"))
    middle = axes.at(plot.expected_mm, 0.0)[0]
    return [*shapes, Line((middle, top), (middle, bottom), "centre")]


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
    shapes = axes.x_marks("chance said, %") + axes.y_marks("went on, %", round_steps(0.0, 1.0, 5))
    shapes.append(Line(axes.at(0.0, 0.0), axes.at(100.0, 1.0), "centre"))
    said = []
    for found in plot.bins:
        if found.count == 0:
            continue
        middle = 50.0 * (found.low + found.high)
        low, high = likely_share(found.went_on, found.count)
        x, y = axes.at(middle, found.went_on / found.count)
        top, foot = axes.at(middle, high)[1], axes.at(middle, low)[1]
        ends = (((x - 4, top), (x + 4, top)), ((x - 4, foot), (x + 4, foot)), ((x, top), (x, foot)))
        shapes += [Strokes(ends, "donor-thin"), Round((x, y), 4.0, "donor-dot")]
        words = f"{found.went_on} of {found.count}"
        side = -9.0 if x > axes.box[2] - 60.0 else 9.0
        anchor = "end" if side < 0 else "start"
        shapes.append(
            Words(
                (x + side, y + (4.0 if y < axes.box[3] - 9.0 else -8.0)),
                words,
                11.0,
                anchor,
                colour=BLUE,
                halo=True,
            )
        )
        said.append(f"Said {100 * found.low:.0f} to {100 * found.high:.0f} %: {words} went on.")
    if not said:
        shapes.append(Words((axes.box[0] + 20.0, axes.box[1] + 40.0), "Nothing has happened yet.", 12.0))
        said = ["Nothing has happened yet."]
    notes = ["Bars: where the true share lies, 95 in 100.", "Slanting line: what was said is what happened."]
    return plot_sheet(shapes, WIDTH, 450.0, title, " ".join([f"{title}.", *said]), notes)
