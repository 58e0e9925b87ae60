"""The pictures that stand alone: a pattern, its margins, the chance against the next reading, calibration."""

from __future__ import annotations

import math
from dataclasses import dataclass

from partkin.drawing.alt import called
from partkin.drawing.laying import Frame, reach_mm
from partkin.drawing.lettering import millimetres, shortened, text_width, wrapped
from partkin.drawing.pens import BLUE, SOFT
from partkin.drawing.placing import Room
from partkin.drawing.plane import Box, Point, box_about, corners_of, hatching, spread_of
from partkin.drawing.shapes import Line, Oval, Picture, Poly, Round, Shape, Strokes, Words
from partkin.drawing.svg import clean
from partkin.drawing.symbols import feature_marks, rectangle, scale_bar, state_mark
from partkin.model.drawing import CalibrationPlot, ChancePlot, MarginPlot, PatternPlot
from partkin.model.verdict import Pair

_FACTORS = (500.0, 200.0, 100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0)


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
    across_mm, up_mm = max(box[2] - box[0], 1.0), max(box[3] - box[1], 1.0)
    scale = min((WIDTH - 120.0) / across_mm, 360.0 / up_mm)
    height = max(up_mm * scale + 120.0, 170.0)
    frame = Frame.about(box, scale, WIDTH, height)
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
    """Return between what shares the true one lies, 95 in 100 (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927)."""
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


WIDTH = 680.0
_EDGE = 16.0


def round_steps(low: float, high: float, about: int = 6) -> list[float]:
    """Return round figures from low to high, near so many."""
    if not high > low:
        return [low]
    rough = (high - low) / max(about, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(base * power for base in (1.0, 2.0, 5.0, 10.0) if base * power >= rough * (1 - 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    decimals = max(0, -math.floor(math.log10(step)))
    return [round(n * step, decimals) + 0.0 for n in range(first, last + 1)]


def figure_words(value: float, steps: list[float]) -> str:
    """Write a figure of an axis with as many decimals as its steps need."""
    step = steps[1] - steps[0] if len(steps) > 1 else 1.0
    return f"{value:.{max(0, -math.floor(math.log10(step) + 1e-9))}f}"


@dataclass(frozen=True)
class Axes:
    """A field in which both ways are linear; `box` is left, top, right, bottom in pixels."""

    box: Box
    x_range: tuple[float, float]
    y_range: tuple[float, float]

    def at(self, x: float, y: float) -> Point:
        """Place a value."""
        left, top, right, bottom = self.box
        across = (x - self.x_range[0]) / (self.x_range[1] - self.x_range[0])
        up = (y - self.y_range[0]) / (self.y_range[1] - self.y_range[0])
        return (left + across * (right - left), bottom - up * (bottom - top))

    def x_marks(self, label: str) -> list[Shape]:
        """Draw the lower axis with its figures and its name."""
        left, _, right, bottom = self.box
        steps = round_steps(*self.x_range, 7)
        marks = [(self.at(x, self.y_range[0])[0], figure_words(x, steps)) for x in steps]
        return [
            Line((left, bottom), (right, bottom), "wide"),
            Strokes(tuple(((x, bottom), (x, bottom + 5)) for x, _ in marks), "thin"),
            *(Words((x, bottom + 18), text, 11.5, "middle") for x, text in marks),
            Words((right, bottom + 34), shortened(clean(label), 11.5, right - left), 11.5, "end", colour=SOFT),
        ]

    def y_percent(self, label: str) -> list[Shape]:
        """Draw the left axis, with its figures in hundredths, and its name above it."""
        left, top, _, bottom = self.box
        shapes: list[Shape] = [Line((left, top), (left, bottom), "wide")]
        for y in round_steps(*self.y_range, 5):
            height = self.at(self.x_range[0], y)[1]
            shapes.append(Line((left - 5, height), (left, height), "thin"))
            shapes.append(Words((left - 9, height + 4), f"{100 * y:.0f}", 11.5, "end"))
        return [*shapes, Words((left - 30, top - 12), label, 11.5, colour=SOFT)]


def plot_sheet(shapes: list[Shape], height: float, title: str, says: str, notes: list[str]) -> Picture:
    """Put a frame about a plot, its notes at the lower left and its title in a block at the lower right.

    `height` is that of the plot; the sheet is as much higher as notes and title need.
    """
    block_width = min(0.48 * WIDTH, 330.0)
    lines = [line for note in notes for line in wrapped(clean(note), 11.0, WIDTH - block_width - 2 * _EDGE, 3)]
    title_lines = wrapped(clean(title), 12.0, block_width - 14.0, 3, True)
    total = height + max(16.0 * len(lines) + 14.0, 16.0 * len(title_lines) + 14.0)
    left, top = WIDTH - 2.0 - block_width, total - 2.0 - 16.0 * len(title_lines) - 10.0
    block = (left, top, WIDTH - 2.0, total - 2.0)
    drawn = [*shapes, *_frame(total), rectangle(block, "paper"), rectangle(block, "frame")]
    for number, line in enumerate(title_lines):
        drawn.append(Words((left + 7.0, top + 16.0 + 16.0 * number), line, 12.0, bold=True))
    for number, line in enumerate(lines):
        drawn.append(Words((_EDGE, height + 12.0 + 16.0 * number), line, 11.0, colour=SOFT))
    return Picture(WIDTH, total, tuple(drawn), title, says)


def _frame(height: float) -> list[Shape]:
    """Return the sheet's frame with its centring marks."""
    inset, middle_x, middle_y, mark = 2.0, WIDTH / 2, height / 2, 6.0
    right, bottom = WIDTH - inset, height - inset
    return [
        rectangle((inset, inset, right, bottom), "frame"),
        Line((middle_x, inset), (middle_x, inset + mark), "frame"),
        Line((middle_x, bottom), (middle_x, bottom - mark), "frame"),
        Line((inset, middle_y), (inset + mark, middle_y), "frame"),
        Line((right, middle_y), (right - mark, middle_y), "frame"),
    ]
