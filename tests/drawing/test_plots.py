"""The plots show their figures where they belong, as SVG and as PNG."""

import io
import math
from dataclasses import replace
from itertools import pairwise

import pytest

from drawing.boxes import overlap
from partkin.drawing.lettering import text_width
from partkin.drawing.overlay import pattern
from partkin.drawing.plots import (
    WIDTH,
    Axes,
    calibration_picture,
    chance_picture,
    figure_words,
    likely_share,
    margin_picture,
    pattern_picture,
    round_steps,
)
from partkin.drawing.raster import picture_png
from partkin.drawing.shapes import Oval, Poly, Round, Words
from partkin.drawing.svg import picture_svg
from partkin.model.drawing import CalibrationBin, CalibrationPlot, ChancePlot, MarginPlot, PatternPlot
from report import sample
from report.reading import outside_references, svg_tree

VALUES = tuple(426.0 + 0.25 * n for n in range(33))
CHANCES = tuple(1.0 / (1.0 + math.exp(-6.0 * (1.2 - abs(value - 430.0)))) for value in VALUES)
PICTURES = {
    "pattern": pattern_picture(PatternPlot("D1", "Panel", sample.GOOD, sample.spreads_of(sample.GOOD)[6:])),
    "margin": margin_picture(MarginPlot("D3", "H1", sample.DOES_NOT_FIT.pairs)),
    "chance": chance_picture(ChancePlot("D4", "centres a to b", VALUES, CHANCES, 0.95, 429.0, 1.0)),
    "calibration": calibration_picture(
        CalibrationPlot(
            (CalibrationBin(0.0, 0.1, 6, 0), CalibrationBin(0.4, 0.6, 5, 3), CalibrationBin(0.9, 1.0, 20, 19))
        )
    ),
    "overlay": pattern(sample.OVERLAYS[2]).picture,
}


@pytest.mark.parametrize("name", sorted(PICTURES))
def test_it_is_well_formed_and_no_text_lies_on_another(name):
    picture = PICTURES[name]
    text = picture_svg(picture, bounded=True)
    svg_tree(text)
    assert not outside_references(text)
    boxes = []
    for shape in picture.shapes:
        if isinstance(shape, Words) and not shape.turn_deg:
            width = text_width(shape.text, shape.size, shape.bold)
            left = {"start": 0.0, "middle": -width / 2, "end": -width}[shape.anchor] + shape.at[0]
            boxes.append((shape.text, (left, shape.at[1] - 0.7 * shape.size, left + width, shape.at[1])))
    for number, (words, box) in enumerate(boxes):
        assert box[0] > 1 and box[2] < picture.width - 1 and box[3] < picture.height, words
        for other, far in boxes[number + 1 :]:
            assert not overlap(box, far), (words, other)


@pytest.mark.parametrize("name", sorted(PICTURES))
def test_the_png_has_the_same_size_and_the_same_bytes_each_time(name):
    image = pytest.importorskip("PIL.Image")
    picture = PICTURES[name]
    png = picture_png(picture, 1.0)
    assert png == picture_png(picture, 1.0)
    opened = image.open(io.BytesIO(png))
    assert opened.size == (round(picture.width), round(picture.height))
    counts = opened.convert("L").histogram()
    assert sum(counts[:100]) > 500, "there is ink on it"
    assert sum(counts[240:]) > 0.7 * opened.size[0] * opened.size[1], "and more paper"


def test_the_png_shows_what_the_svg_shows():
    """The donor's blue dots of the chance plot are found in the image at the pixels where the SVG has them."""
    pytest.importorskip("PIL.Image")
    from PIL import Image

    picture = PICTURES["chance"]
    image = Image.open(io.BytesIO(picture_png(picture, 2.0))).convert("RGB")
    dots = [shape for shape in picture.shapes if isinstance(shape, Round) and shape.pen == "donor-dot"]
    assert len(dots) == len(VALUES)
    for dot in dots:
        red, green, blue = image.getpixel((round(2 * dot.centre[0]), round(2 * dot.centre[1])))
        assert blue > 120 and red < 60 and green < 160


def test_an_absurd_image_is_refused():
    with pytest.raises(ValueError, match="too large"):
        picture_png(PICTURES["chance"], 50.0)


def test_the_ellipses_keep_to_the_factor_that_is_said():
    picture = PICTURES["pattern"]
    note = next(
        shape.text for shape in picture.shapes if isinstance(shape, Words) and shape.text.startswith("Ellipses")
    )
    rest = " ".join(shape.text for shape in picture.shapes if isinstance(shape, Words))
    factor = float(rest.split("drawn ", 1)[1].split(" ")[0])
    ovals = [shape for shape in picture.shapes if isinstance(shape, Oval)]
    centre = {oval.centre for oval in ovals}
    assert len(ovals) == len(sample.GOOD) == len(centre) and note
    a, b = sample.GOOD[0].at_mm, sample.GOOD[1].at_mm
    scale = math.dist(ovals[0].centre, ovals[1].centre) / math.dist(a, b)
    assert ovals[0].semi == pytest.approx((0.30 * scale * factor, 0.16 * scale * factor))


def test_bars_of_the_margins_end_where_the_figures_say():
    plot = MarginPlot("D1", "H1", sample.BOLTS_ON.pairs)
    picture = margin_picture(plot)
    bars = [
        shape for shape in picture.shapes if isinstance(shape, Poly) and shape.pen == "thin" and len(shape.points) == 4
    ]
    lengths = [bar.points[1][0] - bar.points[0][0] for bar in bars]
    wanted = [pair.allowed_mm for pair in plot.pairs]
    assert [length / lengths[0] for length in lengths] == pytest.approx([mm / wanted[0] for mm in wanted])
    filled = [shape for shape in picture.shapes if isinstance(shape, Poly) and shape.pen == "donor-fill"]
    drawn = [bar.points[1][0] - bar.points[0][0] for bar in filled]
    offsets = [min(pair.offset_mm, pair.allowed_mm) for pair in plot.pairs]
    assert [one / lengths[0] for one in drawn] == pytest.approx([mm / wanted[0] for mm in offsets])


def test_the_chance_curve_runs_through_its_points_and_says_what_would_do():
    picture = PICTURES["chance"]
    curve = next(shape for shape in picture.shapes if isinstance(shape, Poly) and shape.pen == "donor")
    dots = [shape.centre for shape in picture.shapes if isinstance(shape, Round) and shape.pen == "donor-dot"]
    assert list(curve.points) == dots
    heights = {chance: point[1] for chance, point in zip(CHANCES, curve.points, strict=True)}
    assert heights[max(CHANCES)] < heights[min(CHANCES)]
    sure = [value for value, chance in zip(VALUES, CHANCES, strict=True) if chance >= 0.95]
    assert f"It bolts on with readings of {sure[0]:.2f} to {sure[-1]:.2f} mm." in picture.says


def test_wilson_interval_against_published_figures():
    """R. G. Newcombe, Stat. Med. 17 (1998) 857-872, table I, method 3 (Wilson score): from memory, four figures."""
    published = {
        (81, 263): (0.2553, 0.3662),
        (15, 148): (0.0624, 0.1605),
        (0, 20): (0.0, 0.1611),
        (1, 29): (0.0061, 0.1718),
    }
    for (went_on, count), interval in published.items():
        assert likely_share(went_on, count, 1.959964) == pytest.approx(interval, abs=6e-5)


@pytest.mark.parametrize("low,high", [(0.0, 1.0), (426.1, 433.9), (-3.0, 7.0), (0.0, 1e-4), (1e5, 3e5)])
def test_round_steps_are_round_rising_and_inside(low, high):
    steps = round_steps(low, high, 6)
    assert 3 <= len(steps) <= 14
    assert all(low - 1e-9 <= step <= high + 1e-9 for step in steps)
    gaps = {round((b - a) / (steps[1] - steps[0]), 6) for a, b in pairwise(steps)}
    assert gaps == {1.0}
    assert len({figure_words(step, steps) for step in steps}) == len(steps)


def test_axes_place_linearly():
    axes = Axes((10.0, 20.0, 110.0, 220.0), (0.0, 10.0), (0.0, 1.0))
    assert axes.at(0.0, 0.0) == (10.0, 220.0) and axes.at(10.0, 1.0) == (110.0, 20.0)
    assert axes.at(5.0, 0.25) == (60.0, 170.0)


def test_empty_plots_say_so():
    for picture in (
        pattern_picture(PatternPlot("D", None, (), ())),
        margin_picture(MarginPlot("D", "H", ())),
        chance_picture(ChancePlot("D", "r", (), ())),
        calibration_picture(CalibrationPlot(())),
    ):
        assert picture.width == WIDTH
        svg_tree(picture_svg(picture))
        assert any(
            isinstance(shape, Words) and shape.text.rstrip(".").split()[0] in ("No", "Nothing")
            for shape in picture.shapes
        )


def test_a_pair_without_figures_is_told_in_words():
    pair = replace(sample.BOLTS_ON.pairs[0], offset_mm=None, allowed_mm=None, margin_mm=None, state="blocked")
    picture = margin_picture(MarginPlot("D", "H", (pair,)))
    assert any(isinstance(shape, Words) and shape.text == "not placed, blocked" for shape in picture.shapes)
