"""The overlay says what the verdict says, in lines and in words, and nothing lies on anything else."""

import math
import re
from dataclasses import replace

import pytest

from drawing.boxes import overlap
from partkin.drawing.alt import overlay_words
from partkin.drawing.details import HALF, drawn_pairs, enlarged, factor_for, figures
from partkin.drawing.dimension import difference_words, span_marks
from partkin.drawing.laying import moved, moved_angle_deg, offset_left
from partkin.drawing.lettering import text_width
from partkin.drawing.overlay import pattern
from partkin.drawing.pens import SCREEN_PENS
from partkin.drawing.placing import Room
from partkin.drawing.shapes import Line, Obround, Poly, Round, Strokes, Words
from partkin.drawing.svg import picture_svg
from partkin.model.drawing import DrawnFeature, OverlayView, Span
from partkin.model.verdict import Pair
from partkin.report.html_figure import BROAD_PX, NARROW_PX, figure
from report import sample
from report.reading import SVG, outside_references, svg_tree, words_of

DRAWN = [view for view in sample.OVERLAYS if view is not None]
WIDTHS = (340.0, 760.0)


def svg(view):
    return picture_svg(pattern(view).picture)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("view", DRAWN, ids=lambda view: view.donor)
def test_it_is_one_well_formed_drawing_with_title_and_description(view, width):
    text = picture_svg(pattern(view, width).picture, "x7")
    tree = svg_tree(text)
    assert tree.tag == f"{SVG}svg" and tree.get("role") == "img"
    assert tree.find(f"{SVG}title").get("id") == tree.get("aria-labelledby") == "x7-t"
    assert tree.find(f"{SVG}desc").get("id") == tree.get("aria-describedby") == "x7-d"
    assert not outside_references(text)
    assert "<script" not in text and "<image" not in text
    used = {one for element in tree.iter() for one in (element.get("class") or "").split()}
    ruled = set(re.findall(r"\.(\w+)\{", text))
    assert used <= ruled | {"dw"}, "a pen without a rule would be drawn as a black blot"
    assert len(used & ruled) > 8
    # The styles hold only the ink, greys, Okabe and Ito's blue and their orange: no red, amber or green.
    colours = set(re.findall(r"#[0-9A-Fa-f]{3,6}\b", text))
    allowed = {"#111111", "#111", "#fff", "#FFFFFF", "#555555", "#0072B2", "#E69F00", "#DCDCDC", "#D4E7F3", "#767676"}
    assert colours <= allowed


def _boxes(shapes, within=None):
    for shape in shapes:
        if isinstance(shape, Words) and not shape.turn_deg:
            width = text_width(shape.text, shape.size, shape.bold)
            left = {"start": 0.0, "middle": -width / 2, "end": -width}[shape.anchor] + shape.at[0]
            yield shape.text, (left, shape.at[1] - 0.75 * shape.size, left + width, shape.at[1] + 0.15 * shape.size)


def _crowd(count):
    """A pattern so close that labels have to look for room."""
    fixings = tuple(
        DrawnFeature(f"F{n}", (18.0 * (n % 6), 16.0 * (n // 6)), "stud", 6.0, fastener_mm=6.0) for n in range(count)
    )
    features = tuple(replace(fixing, id=f"a{n}", kind="hole", across_mm=7.0) for n, fixing in enumerate(fixings))
    pairs = tuple(
        Pair(fixing.id, feature.id, 0.0, 0.5, 0.5, "lines up")
        for fixing, feature in zip(fixings, features, strict=True)
    )
    return OverlayView("H", "D", fixings=fixings, features=features, pairs=pairs, matrix=sample.matrix_of(0, 0, 0))


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize(
    "view", [*DRAWN, _crowd(36), replace(DRAWN[2], matrix=None)], ids=["D1", "D2", "D3", "D4", "crowd", "beside"]
)
def test_no_text_lies_on_another_nor_beyond_the_edge(view, width):
    picture = pattern(view, width).picture
    boxes = list(_boxes(picture.shapes))
    assert len(boxes) > 10
    for number, (text, box) in enumerate(boxes):
        assert box[0] >= 2 and box[2] <= picture.width - 1 and box[1] >= 2 and box[3] <= picture.height, text
        for other, far in boxes[number + 1 :]:
            assert not overlap(box, far), (text, other)


def test_what_finds_no_room_is_listed_instead():
    view = _crowd(36)
    tight = replace(
        view,
        fixings=tuple(replace(one, at_mm=(one.at_mm[0] / 30, one.at_mm[1] / 30)) for one in view.fixings),
        features=tuple(replace(one, at_mm=(one.at_mm[0] / 30, one.at_mm[1] / 30)) for one in view.features),
    )
    drawn = pattern(tight, 340.0)
    texts = [shape.text for shape in drawn.picture.shapes if isinstance(shape, Words)]
    shown = {text.split(" - ")[0] for text in texts if " - " in text}
    assert "No room to name" in " ".join(drawn.said)
    assert shown, "some are named"


def test_every_figure_of_the_drawing_is_in_its_words_too():
    view = sample.OVERLAYS[2]
    _, said = overlay_words(view)
    for pair in view.pairs:
        assert (
            f"Fixing {pair.fixing} with {pair.feature}: offset {pair.offset_mm:.2f} mm of {pair.allowed_mm:.2f} mm"
            in said
        )
    assert "F1 to F2: host 430.00 mm, donor 435.20 mm, 5.2 too long; play takes up 4.50 mm of it." in said
    assert "In conflict: F1, F2; together they are 1.70 mm short." in said
    assert "tear seam, hatched" in said and "blocked (thread M6x1 on the host" in said
    for zone in view.zones:
        assert zone.kind in said


def test_a_conflict_is_dimensioned_on_both_sides_with_how_much_too_long():
    texts = words_of(svg_tree(svg(sample.OVERLAYS[2])))
    assert "host 430.0" in texts and "donor 435.2: 5.2 too long" in texts
    short = replace(sample.OVERLAYS[2], spans=(Span("F1", "F2", 430.0, 429.36),))
    assert "donor 429.4: 0.64 too short" in words_of(svg_tree(svg(short)))
    assert difference_words(Span("a", "b", 10.0, 10.001)) == "the same"


def test_a_dimension_line_is_thin_and_as_long_as_what_it_measures():
    view = sample.OVERLAYS[2]
    picture = pattern(view, 760.0).picture
    pixels = {shape.pen: [] for shape in picture.shapes if isinstance(shape, Line)}
    for shape in picture.shapes:
        if isinstance(shape, Line) and abs(shape.a[1] - shape.b[1]) < 1.0:
            pixels[shape.pen].append(math.dist(shape.a, shape.b))
    bar = next(shape for shape in picture.shapes if isinstance(shape, Words) and shape.text.endswith(" mm"))
    wide = [shape for shape in picture.shapes if isinstance(shape, Line) and shape.pen == "wide" and shape.a[0] == 14.0]
    scale = math.dist(wide[0].a, wide[0].b) / float(bar.text.split()[0])
    assert any(abs(length - 430.0 * scale) < 0.05 for length in pixels["thin"])
    lengths = [length for length in pixels["donor-thin"] if length > 300.0 * scale]
    donor = [moved(view.matrix, feature.at_mm) for feature in view.features[:2]]
    assert any(abs(length - (donor[1][0] - donor[0][0]) * scale) < 0.05 for length in lengths)


def test_wide_lines_are_twice_the_narrow_ones():
    """ISO 128-2, line groups: wide to narrow as 2 to 1."""
    assert SCREEN_PENS["wide"].width == 2 * SCREEN_PENS["thin"].width
    assert SCREEN_PENS["donor"].width == 2 * SCREEN_PENS["donor-thin"].width


@pytest.mark.parametrize("width", [BROAD_PX, NARROW_PX])
def test_the_enlarged_offsets_keep_to_the_factor_that_is_said(width):
    view = sample.OVERLAYS[0]
    picture = pattern(view, width).picture
    told = figure(view, "d").times[(BROAD_PX, NARROW_PX).index(width)]
    studs = [shape for shape in picture.shapes if isinstance(shape, Round) and shape.pen == "stud"]
    scale = studs[0].radius / 3.0  # F1 is a stud of 6 mm
    broad = pattern(view, BROAD_PX).scale
    px_per_mm = broad * factor_for(view, broad)
    assert float(re.search(r"(\d+) times", told).group(1)) == round(px_per_mm / scale)
    drawn = drawn_pairs(view)
    assert len(drawn) == len(view.pairs)
    for one, fixing, feature in zip(drawn, view.fixings, view.features, strict=True):
        pair, centre, shapes = one[0], (50.0, 60.0), enlarged(view, one, view.matrix, (50.0, 60.0), px_per_mm)
        play = next(shape for shape in shapes if isinstance(shape, Round) and shape.pen == "wide")
        assert play.radius == pytest.approx(pair.allowed_mm * px_per_mm)
        dot = next(shape for shape in shapes if isinstance(shape, Round) and shape.pen == "donor-dot")
        assert math.dist(dot.centre, centre) / px_per_mm == pytest.approx(pair.offset_mm, abs=1e-9)
        x_mm, y_mm = offset_left(fixing, feature, view.matrix)
        assert (dot.centre[0] - centre[0], centre[1] - dot.centre[1]) == pytest.approx(
            (x_mm * px_per_mm, y_mm * px_per_mm)
        )


def test_play_is_drawn_at_the_patterns_own_scale():
    picture = pattern(sample.OVERLAYS[0], 760.0).picture
    stud = next(shape for shape in picture.shapes if isinstance(shape, Round) and shape.pen == "stud")
    hole = next(shape for shape in picture.shapes if isinstance(shape, Round) and shape.pen == "donor")
    assert hole.radius / stud.radius == pytest.approx(7.0 / 6.0)
    slot = next(shape for shape in picture.shapes if isinstance(shape, Obround))
    assert slot.half_travel / slot.radius == pytest.approx((13.0 - 7.0) / 7.0)


def test_an_offset_too_far_for_its_cell_is_broken_off_and_still_told():
    view = sample.OVERLAYS[2]
    far = replace(view, pairs=(replace(view.pairs[2], offset_mm=25.0),), features=view.features[:3])
    (one,) = drawn_pairs(far)
    shapes = enlarged(far, one, far.matrix, (HALF, HALF), 20.0)
    dot = next(shape for shape in shapes if isinstance(shape, Round) and shape.pen == "donor-dot")
    assert 0.0 < dot.centre[0] < 2 * HALF and 0.0 < dot.centre[1] < 2 * HALF
    assert figures(one[0]).startswith("25.00 of")
    assert any(isinstance(shape, Strokes) and shape.pen == "donor-thin" for shape in shapes), "a zigzag"


def test_cuts_are_outlined_where_and_as_large_as_they_will_be():
    view = sample.OVERLAYS[1]
    picture = pattern(view, 760.0).picture
    slots = [shape for shape in picture.shapes if isinstance(shape, Obround) and shape.pen == "cut"]
    rounds = [shape for shape in picture.shapes if isinstance(shape, Round) and shape.pen == "cut"]
    stud = next(shape for shape in picture.shapes if isinstance(shape, Round) and shape.pen == "stud")
    scale = stud.radius / 3.0
    assert any(shape.radius == pytest.approx(4.5 * scale) for shape in rounds)
    assert any(
        shape.radius == pytest.approx(3.5 * scale) and shape.half_travel == pytest.approx(2.5 * scale)
        for shape in slots
    )


def test_zones_of_both_sides_are_hatched_and_slope_differently():
    picture = pattern(sample.OVERLAYS[0], 760.0).picture
    pens = [getattr(shape, "pen", "") for shape in picture.shapes]
    assert "hatch" in pens and "donor-hatch" in pens

    def slopes(pen):
        found = set()
        for shape in picture.shapes:
            for a, b in getattr(shape, "lines", ()) if getattr(shape, "pen", "") == pen else ():
                if math.dist(a, b) > 4.0:
                    found.add(round(math.degrees(math.atan2(b[1] - a[1], b[0] - a[0])) % 180.0))
        return found

    assert not slopes("hatch") & slopes("donor-hatch")


def test_without_a_placement_both_sides_are_drawn_beside_each_other():
    view = sample.OVERLAYS[3]
    picture = pattern(view, 760.0).picture
    host = [shape for shape in picture.shapes if isinstance(shape, Poly) and shape.pen == "beyond"]
    donor = [shape for shape in picture.shapes if isinstance(shape, Poly) and shape.pen == "donor"]
    assert max(x for x, _ in host[0].points) < min(x for x, _ in donor[0].points)
    assert "No placement is known" in picture.says


def test_nothing_known_says_so():
    picture = pattern(OverlayView("H", "D"), 340.0).picture
    assert any(isinstance(shape, Words) and shape.text.startswith("Nothing to draw") for shape in picture.shapes)


def test_a_mirrored_placement_turns_slots_the_right_way():
    mirror = ((-1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))
    assert moved_angle_deg(mirror, 30.0) == pytest.approx(150.0)
    slot = DrawnFeature("a", (-10.0, 0.0), "slot", 7.0, 17.0, 30.0)
    stud = DrawnFeature("F", (10.0 - 5.0 * math.cos(math.radians(30)), 5.0 * math.sin(math.radians(30))), "stud", 6.0)
    assert math.hypot(*offset_left(stud, slot, mirror)) == pytest.approx(0.0, abs=1e-12)


def test_two_slots_add():
    """Minkowski sum of two crossed segments is a parallelogram: inside it nothing is left."""
    level = DrawnFeature("F", (0.0, 0.0), "slot", 7.0, 17.0, 0.0)
    upright = DrawnFeature("a", (4.0, 3.0), "slot", 7.0, 17.0, 90.0)
    matrix = sample.matrix_of(0.0, 0.0, 0.0)
    assert offset_left(level, upright, matrix) == (0.0, 0.0)
    far = replace(upright, at_mm=(9.0, 3.0))
    assert offset_left(level, far, matrix) == pytest.approx((4.0, 0.0))
    alike = replace(upright, at_mm=(13.0, 2.0), angle_deg=0.0)
    assert offset_left(level, alike, matrix) == pytest.approx((3.0, 2.0))


def test_a_pattern_in_space_gets_its_second_view_and_a_flat_one_does_not():
    view = sample.OVERLAYS[0]
    tall = replace(
        view, fixings=tuple(replace(f, at_mm=(*f.at_mm, 10.0 * n)) for n, f in enumerate(view.fixings)),
        features=tuple(replace(f, at_mm=(*f.at_mm, 10.0 * n)) for n, f in enumerate(view.features)),
    )  # fmt: skip
    flat = words_of(svg_tree(svg(view)))
    space = words_of(svg_tree(svg(tall)))
    assert "Seen from above" in space and "Seen from above" not in flat


@pytest.mark.parametrize("off", [-40.0, -18.0, 0.0, 18.0, 40.0])
def test_the_two_figures_of_a_conflict_keep_apart_however_the_donor_lies(off):
    """The figure of the lower line stands between the two, so they are as far apart as it is high."""
    host, donor = ((100.0, 200.0), (400.0, 200.0)), ((95.0, 200.0 + off), (410.0, 204.0 + off))
    marks = span_marks(Span("F1", "F2", 300.0, 315.0), host, donor, (250.0, 100.0), Room((0.0, 0.0, 600.0, 500.0)))
    level = sorted({mark.a[1] for mark in marks if isinstance(mark, Line) and mark.a[1] == mark.b[1]})
    heights = [mark.size for mark in marks if isinstance(mark, Words)]
    assert len(level) == 2 and len(heights) == 2
    assert level[1] - level[0] >= max(heights) + 3.5
