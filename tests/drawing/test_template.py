"""Templates are true: every vector of the PDF, the SVG and the DXF lies where it should."""

import io
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from partkin.drawing.lettering import text_width
from partkin.drawing.pens import PAPER_PENS
from partkin.drawing.shapes import Words
from partkin.drawing.template import LAYERS, as_seen, face_words, filing_ends, pattern_shapes, template_svg
from partkin.drawing.template_dxf import template_dxf
from partkin.drawing.template_pdf import printable, template_pdf
from partkin.drawing.tiles import (
    BOTTOM_STRIP_MM,
    LEFT_STRIP_MM,
    OVERLAP_MM,
    PAPER_MARGIN_MM,
    PAPERS,
    join_marks,
    lay_out,
    tile_name,
)
from partkin.model.drawing import Cut, DrawnFeature, DrawnOutline, TemplateView
from partkin.model.problem import FaultyInput
from report import sample
from report.reading import (
    SVG,
    laid_together,
    matched_places,
    misplaced_mm,
    pdf_crosses,
    pdf_lines,
    svg_tree,
    words_of,
)

pypdf = pytest.importorskip("pypdf")
ezdxf = pytest.importorskip("ezdxf")


# The other part's crosses lie within a millimetre of this part's; without them each cross is one feature's.
ALONE = replace(sample.TEMPLATE, laid_on=(), cuts=())


def pages_of(view, paper="A4", printer=(1.0, 1.0)):
    return pypdf.PdfReader(io.BytesIO(template_pdf(view, paper, printer))).pages


def tile_of(page):
    text = page.extract_text()
    return text.split("tile ", 1)[1].split()[0] if "tile " in text else None


def crosses_by_tile(view, paper, printer):
    """Every hole's cross and every join mark of each tile, in millimetres of its own sheet."""
    tiles = {}
    for page in pages_of(view, paper, printer):
        name = tile_of(page)
        if name is None:
            continue
        tiles[name] = (pdf_crosses(page), pdf_crosses(page, PAPER_PENS["join"].width))
    return tiles


@pytest.mark.parametrize("paper", ["A4", "A3", "Letter"])
def test_crosses_of_the_pdf_lie_within_a_hundredth_of_a_millimetre(paper):
    view = ALONE
    tiles = crosses_by_tile(view, paper, (1.0, 1.0))
    wanted = {feature.id: feature.at_mm for feature in view.features}
    found = 0
    for crosses, _ in tiles.values():
        # Distances within one sheet: between any two crosses, as between the features they are of.
        for feature_a, a in matched_places(crosses, wanted):
            for feature_b, b in matched_places(crosses, wanted):
                true_mm = math.dist(wanted[feature_a], wanted[feature_b])
                assert math.dist(a, b) == pytest.approx(true_mm, abs=0.01)
        found += len(crosses)
    assert found >= len(wanted)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_tiles_joined_by_their_marks_put_every_cross_in_its_place(paper):
    """The tiles are laid together by the vectors of the join marks; then all crosses are compared."""
    view = ALONE
    tiles = crosses_by_tile(view, paper, (1.0, 1.0))
    assert len(tiles) > 2
    points = laid_together(tiles)
    wanted = {feature.id: feature.at_mm for feature in view.features}
    off_mm = misplaced_mm(points, wanted)
    assert set(off_mm) == set(wanted)
    assert max(off_mm.values()) < 0.01, off_mm


@pytest.mark.parametrize("printer", [(1.0, 1.0), (0.993, 1.002), (1.05, 0.97)])
def test_every_sheet_has_a_rule_both_ways_and_a_square_and_a_faulty_printer_makes_them_true(printer):
    for page in pages_of(sample.TEMPLATE, "A4", printer):
        lines = [line for line in pdf_lines(page) if abs(line[2] - PAPER_PENS["thin"].width) < 1e-9]
        # What this printer makes of the page:
        printed = [
            ((a[0] * printer[0], a[1] * printer[1]), (b[0] * printer[0], b[1] * printer[1])) for a, b, _ in lines
        ]
        level = [abs(b[0] - a[0]) for a, b in printed if abs(a[1] - b[1]) < 1e-3]
        upright = [abs(b[1] - a[1]) for a, b in printed if abs(a[0] - b[0]) < 1e-3]
        assert any(abs(length - 100.0) < 0.01 for length in level)
        assert any(abs(length - 100.0) < 0.01 for length in upright)
        # The square's fourth side is the closing of its path, which is no line operator.
        assert sum(abs(length - 20.0) < 0.01 for length in level) >= 2
        assert any(abs(length - 20.0) < 0.01 for length in upright)


def test_a_faulty_printer_is_corrected_for_the_crosses_too():
    corrected = crosses_by_tile(ALONE, "A3", (0.993, 1.002))
    wanted = {feature.id: feature.at_mm for feature in ALONE.features}
    compared = 0
    for crosses, _ in corrected.values():
        printed = [(x * 0.993, y * 1.002) for x, y in crosses]
        for name_a, a in matched_places(printed, wanted):
            for name_b, b in matched_places(printed, wanted):
                assert math.dist(a, b) == pytest.approx(math.dist(wanted[name_a], wanted[name_b]), abs=0.01)
                compared += name_a != name_b
    assert compared > 4


def test_every_sheet_says_face_parts_and_place():
    pages = pages_of(sample.TEMPLATE)
    for number, page in enumerate(pages, 1):
        text = page.extract_text()
        assert "SEEN FROM OUTSIDE" in text and f"Sheet {number} of {len(pages)}" in text
        assert "D2" in text and "H1" in text and "20 x 20 mm" in text
        assert text.count("THIS MUST MEASURE 100 mm") == 2
    first = pages[0].extract_text()
    for feature in sample.TEMPLATE.features:
        assert f"{feature.id}:" in first
    assert "open out to" in first and "9.0" in first


def placed_words(page):
    """Every run of text with the lower left of its first letter, in millimetres of the paper."""
    found = []

    def visit(text, page_matrix, text_matrix, *_):
        if text.strip():
            x, y = text_matrix[4], text_matrix[5]
            a, b, c, d, e, f = page_matrix
            found.append((text.strip(), (a * x + c * y + e) / 72 * 25.4, (b * x + d * y + f) / 72 * 25.4))

    page.extract_text(visitor_text=visit)
    return found


LONG = tuple(
    f"Caution {n}: " + "never cut here, and ask somebody who is licensed. " * 6 + f"End of {n}." for n in (1, 2, 3)
)


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_every_sheet_has_the_cautions_whole(paper):
    view = replace(sample.TEMPLATE, cautions=LONG)
    for page in pages_of(view, paper):
        said = " ".join(page.extract_text().split())
        assert all(" ".join(caution.split()) in said for caution in LONG)
        assert min(y for _, _, y in placed_words(page)) >= 8.0, "within what a printer reaches"
    said = " ".join(words_of(svg_tree(template_svg(view))))
    assert all(" ".join(caution.split()) in said for caution in LONG)


def test_cautions_that_leave_no_room_for_the_drawing_are_told():
    with pytest.raises(FaultyInput, match="the cautions leave no room"):
        template_pdf(replace(sample.TEMPLATE, cautions=LONG * 8))


@pytest.mark.parametrize("seen_from", ["outside", None])
def test_name_face_and_a_rule_stay_when_a_sheet_is_trimmed(seen_from):
    """A sheet is cut along its dashed edges, right and below; beside the drawing all three are still there."""
    view = replace(sample.TEMPLATE, seen_from=seen_from, turned_over=True)
    hidden = PAPER_PENS["hidden"].width
    trimmed = 0
    for page in pages_of(view)[1:]:
        name = tile_of(page)
        window = [line for line in pdf_lines(page) if abs(line[2] - hidden) < 1e-9]
        foot = min(min(a[1], b[1]) for a, b, _ in window if math.dist(a, b) > 110.0 and min(a[1], b[1]) > 40.0)
        kept = [text for text, x, y in placed_words(page) if y >= foot and x < 20.0]
        assert f"{name}  {face_words(view)}" in kept and "THIS MUST MEASURE 100 mm" in kept
        assert any(abs(b[1] - a[1]) == pytest.approx(100.0, abs=0.01) and min(a[1], b[1]) >= foot for a, b, _ in window)
        trimmed += 1
    assert trimmed > 3


def test_a_part_turned_over_is_drawn_mirrored_and_says_so():
    view = replace(sample.TEMPLATE, turned_over=True)
    assert face_words(view) == "SEEN FROM INSIDE"
    assert face_words(replace(view, seen_from=None)) == "FACE TURNED OVER, NOT SAID WHICH"
    assert face_words(replace(view, seen_from=None, turned_over=False)) == "FACE NOT SAID"
    seen = as_seen(replace(view, features=(DrawnFeature("a", (10.0, 4.0), "slot", 7.0, 12.0, 30.0),)))
    assert seen.features[0].at_mm == (-10.0, 4.0) and seen.features[0].angle_deg == 150.0
    text = pages_of(view)[1].extract_text()
    assert "SEEN FROM INSIDE" in text, "text stays readable"


def test_pdf_svg_and_dxf_have_the_same_bytes_each_time():
    for make in (template_pdf, template_svg, template_dxf):
        assert make(sample.TEMPLATE) == make(sample.TEMPLATE)
    for stamp in (b"/CreationDate (D:2000", b"/ModDate (D:2000"):
        assert stamp in template_pdf(sample.TEMPLATE), "reportlab's invariant date, not today's"


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_tiles_cover_the_whole_and_overlap(paper):
    sheets = lay_out((-30.0, -40.0, 700.0, 420.0), paper, (1.0, 1.0))
    boxes = {tile: sheets.tile_box(*tile) for tile in sheets.tiles()}
    assert min(box[0] for box in boxes.values()) <= -30.0 and max(box[2] for box in boxes.values()) >= 700.0
    assert min(box[1] for box in boxes.values()) <= -40.0 and max(box[3] for box in boxes.values()) >= 420.0
    for (column, row), box in boxes.items():
        if (column + 1, row) in boxes:
            assert box[2] - boxes[column + 1, row][0] == pytest.approx(OVERLAP_MM)
        if (column, row + 1) in boxes:
            assert boxes[column, row + 1][3] - box[1] == pytest.approx(OVERLAP_MM)
    for mark in join_marks(sheets, []):
        inside = [
            tile_name(*tile)
            for tile, (left, bottom, right, top) in boxes.items()
            if left + 5 < mark.at[0] < right - 5 and bottom + 5 < mark.at[1] < top - 5
        ]
        assert set(mark.between) <= set(inside), "both neighbours show all of the mark"


def in_one_piece(tiles):
    """Whether every tile can be reached from every other over sides."""
    together, waiting = set(), [min(tiles)]
    while waiting:
        column, row = waiting.pop()
        if (column, row) in tiles and (column, row) not in together:
            together.add((column, row))
            waiting += [(column + 1, row), (column - 1, row), (column, row + 1), (column, row - 1)]
    return together == set(tiles)


BOXES = st.tuples(st.floats(0, 1500), st.floats(0, 700), st.floats(1, 60), st.floats(1, 12))


@given(st.lists(BOXES, min_size=1, max_size=25))
@settings(max_examples=40, deadline=None)
def test_no_tile_is_bare_but_to_join_others_and_all_that_is_needed_is_shown(found):
    """Each needed box is whole on a tile, or, where it fits on none, all of it is on tiles; none can be spared."""
    needed = [(x, y, x + across, y + up) for x, y, across, up in found]
    box = tuple(edge(one[at] for one in needed) for edge, at in ((min, 0), (min, 1), (max, 2), (max, 3)))
    sheets = lay_out(box, "A4", (1.0, 1.0), needed=needed)
    shown = {tile: sheets.tile_box(*tile) for tile in sheets.tiles()}
    everything = lay_out(box, "A4", (1.0, 1.0))
    assert len(shown) <= everything.columns * everything.rows and in_one_piece(set(shown))

    def touches(tile, one):
        return tile[0] <= one[2] and one[0] <= tile[2] and tile[1] <= one[3] and one[1] <= tile[3]

    def whole(tile, one):
        return all(tile[at] - 1e-6 <= one[at] and one[at + 2] <= tile[at + 2] + 1e-6 for at in (0, 1))

    for one in needed:
        if not any(whole(tile, one) for tile in shown.values()):
            assert max(one[2] - one[0], one[3] - one[1]) > OVERLAP_MM
            for x in (one[0], (one[0] + one[2]) / 2, one[2]):
                for y in (one[1], (one[1] + one[3]) / 2, one[3]):
                    assert any(touches(tile, (x, y, x, y)) for tile in shown.values())
    for name, tile in shown.items():
        if len(shown) > 1 and in_one_piece(set(shown) - {name}):
            assert any(touches(tile, one) for one in needed), "a tile that joins nothing is not bare"


def test_a_long_part_takes_fewer_sheets_than_its_box_and_joins_as_truly():
    """Holes at the ends and the middle of 1.3 m, and an edge about them: the edge alone takes no sheet."""
    spots = ((0, 0), (640, -2), (1276, 9), (194, 272), (1076, 281))
    holes = tuple(DrawnFeature(f"h{n}", (float(x), float(y)), "hole", 7.0) for n, (x, y) in enumerate(spots))
    rim = ((-26.0, -34.0), (1300.0, -23.0), (1300.0, 312.0), (-26.0, 312.0))
    view = TemplateView("P", seen_from="inside", features=holes, outlines=(DrawnOutline("rim", "edge", rim, "donor"),))
    tiles = crosses_by_tile(view, "A4", (1.0, 1.0))
    everything = lay_out((-32.0, -40.0, 1306.0, 318.0), "A4", (1.0, 1.0))
    assert len(tiles) <= 10 < len(everything.kept) == 16
    off_mm = misplaced_mm(laid_together(tiles), {feature.id: feature.at_mm for feature in holes})
    assert set(off_mm) == {feature.id for feature in holes} and max(off_mm.values()) < 0.01


def test_join_marks_keep_clear_of_holes():
    sheets = lay_out((0.0, 0.0, 400.0, 200.0), "A4", (1.0, 1.0))
    first = join_marks(sheets, [])[0]
    moved = join_marks(sheets, [first.at])[0]
    assert math.dist(first.at, moved.at) >= 12.0


@pytest.mark.parametrize(
    ("paper", "printer", "says"),
    [
        ("A5", (1.0, 1.0), "no paper is called 'A5'"),
        ("A4", (0.5, 1.0), "a printer is not out by more than a tenth"),
        ("A4", (float("nan"), 1.0), "a printer is not out by more than a tenth"),
    ],
)
def test_impossible_wishes_are_refused_with_what_to_do(paper, printer, says):
    with pytest.raises(FaultyInput, match=says):
        template_pdf(sample.TEMPLATE, paper, printer)


def test_a_drawing_of_acres_is_refused():
    far = replace(
        sample.TEMPLATE, features=(DrawnFeature("a", (90_000.0, 0.0), "hole", 7.0), *sample.TEMPLATE.features)
    )
    with pytest.raises(FaultyInput, match="sheets"):
        template_pdf(far)
    with pytest.raises(FaultyInput, match="not a number"):
        template_pdf(replace(far, features=(DrawnFeature("a", (float("nan"), 0.0), "hole", 7.0),)))


def test_what_is_to_be_made_anew_has_a_cross_of_its_own():
    hole = Cut("new hole", "n1", (60.0, 40.0), 6.6)
    plain = sum(len(pdf_crosses(page)) for page in pages_of(ALONE, "A3"))
    more = sum(len(pdf_crosses(page)) for page in pages_of(replace(ALONE, cuts=(hole,)), "A3"))
    assert more == plain + 1


def test_a_slot_to_be_filed_has_one_cross_at_its_middle_and_says_which_end_is_filed():
    """A hole of 7 mm becomes a slot of 7 x 11 whose middle lies 2 mm towards 30 degrees: that end is filed, by 4 mm."""
    hole = DrawnFeature("a", (60.0, 40.0), "hole", 7.0)
    c, s = math.cos(math.radians(30.0)), math.sin(math.radians(30.0))
    cut = Cut("slot", "a", (60.0 + 2.0 * c, 40.0 + 2.0 * s), 7.0, 11.0, 30.0)
    view = TemplateView("P", seen_from="inside", features=(hole,), cuts=(cut,))
    first, tile = pages_of(view)
    assert len(pdf_crosses(tile)) == 1
    assert tile.extract_text().count("file this end, 4.0 mm") == 1
    x, y = 60.0 + 7.5 * c, 40.0 + 7.5 * s
    assert f"To file, a: 4.0 mm as far as its end, at {x:.2f}, {y:.2f}" in first.extract_text()
    space = ezdxf.read(io.StringIO(template_dxf(view).decode())).modelspace()
    lines = [line for line in space.query('LINE[layer=="to cut"]') if (line.dxf.end - line.dxf.start).magnitude < 10.5]
    ends = sorted(tuple((line.dxf.start + (line.dxf.end - line.dxf.start) / 2).xyz)[:2] for line in lines)
    wanted = ((60.0 - 3.5 * c, 40.0 - 3.5 * s), (x, y))
    assert [pytest.approx(end) for end in wanted] == ends
    across = lines[0].dxf.end - lines[0].dxf.start
    assert across.x * c + across.y * s == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("old", "middle_mm", "filed_mm"),
    [
        (DrawnFeature("a", (0.0, 0.0), "hole", 7.0), 0.0, {5.5: 2.0, -5.5: 2.0}),
        (DrawnFeature("a", (0.0, 0.0), "hole", 7.0), -2.0, {-7.5: 4.0}),
        (DrawnFeature("a", (0.0, 0.0), "slot", 7.0, 9.0), 1.0, {6.5: 2.0}),
        (DrawnFeature("a", (0.0, 0.0), "slot", 7.0, 9.0, 90.0), 1.0, {6.5: 3.0, -4.5: 1.0}),
        (DrawnFeature("b", (0.0, 0.0), "hole", 7.0), 0.0, {}),
    ],
)
def test_what_is_filed_is_what_lies_beyond_the_old_edge(old, middle_mm, filed_mm):
    cut = Cut("slot", "a", (middle_mm, 0.0), 7.0, 11.0)
    found = {at[0]: by_mm for at, by_mm in filing_ends(cut, TemplateView("P", features=(old,), cuts=(cut,)))}
    assert found == pytest.approx(filed_mm)


def test_one_feature_alone_takes_one_tile_and_two_sheets():
    view = TemplateView("P", seen_from="inside", features=(DrawnFeature("a", (5.0, 5.0), "hole", 7.0),))
    assert len(pages_of(view)) == 2


def test_the_dxf_reads_back_in_millimetres_with_layers_named_in_words():
    document = ezdxf.read(io.StringIO(template_dxf(sample.TEMPLATE).decode()))
    assert document.header["$INSUNITS"] == 4 and document.header["$MEASUREMENT"] == 1
    looks = {layer.dxf.name: (layer.dxf.color, layer.dxf.linetype) for layer in document.layers}
    assert set(LAYERS) <= set(looks)
    assert len({looks[name] for name in ("holes", "slots", "pegs", "studs", "zones", "to cut", "other part")}) == 7
    assert all(looks[name][0] not in (1, 2, 3) for name in LAYERS), "no red, yellow or green"
    assert all(looks[name][1] != "Continuous" for name in ("to cut", "other part", "zones", "centres"))
    space = document.modelspace()
    assert not document.audit().errors
    holes = {
        (round(c.dxf.center.x, 6), round(c.dxf.center.y, 6)): c.dxf.radius
        for c in space.query('CIRCLE[layer=="holes"]')
    }
    for feature in sample.TEMPLATE.features:
        if feature.kind == "hole":
            key = (round(feature.at_mm[0], 6), round(feature.at_mm[1], 6))
            assert holes.pop(key) == pytest.approx(feature.across_mm / 2)
    assert not holes
    slot = next(feature for feature in sample.TEMPLATE.features if feature.kind == "slot")
    (line,) = space.query('LWPOLYLINE[layer=="slots"]')
    corners = list(line.get_points("xyb"))
    assert line.closed and [corner[2] for corner in corners] == [1.0, 0.0, 1.0, 0.0]
    middle = (sum(c[0] for c in corners) / 4, sum(c[1] for c in corners) / 4)
    assert middle == pytest.approx(slot.at_mm)
    assert math.dist(corners[0][:2], corners[1][:2]) == pytest.approx(slot.across_mm)
    assert math.dist(corners[1][:2], corners[2][:2]) == pytest.approx(slot.length_mm - slot.across_mm)
    texts = [text.dxf.text for text in space.query("TEXT")]
    assert "SEEN FROM OUTSIDE" in texts
    rules = [line for line in space.query('LINE[layer=="rule"]') if (line.dxf.end - line.dxf.start).magnitude == 100.0]
    assert len(rules) == 2


def test_the_svg_is_true_size_and_grouped_by_layer():
    tree = svg_tree(template_svg(sample.TEMPLATE))
    width, height = tree.get("width"), tree.get("height")
    box = [float(word) for word in tree.get("viewBox").split()]
    assert width.endswith("mm") and float(width[:-2]) == box[2] and float(height[:-2]) == box[3]
    groups = {group.get("id"): group for group in tree.iter(f"{SVG}g") if group.get("id")}
    assert set(groups) <= set(LAYERS)
    circles = list(groups["holes"].iter(f"{SVG}circle"))
    wanted = [feature for feature in sample.TEMPLATE.features if feature.kind == "hole"]
    assert len(circles) == len(wanted)
    first = wanted[0]
    for circle, feature in zip(circles, wanted, strict=True):
        assert float(circle.get("cx")) == pytest.approx(feature.at_mm[0], abs=1e-4)
        up = float(circles[0].get("cy")) - float(circle.get("cy"))
        assert up == pytest.approx(feature.at_mm[1] - first.at_mm[1], abs=2e-4)
        assert float(circle.get("r")) == pytest.approx(feature.across_mm / 2)
    assert "SEEN FROM OUTSIDE" in words_of(tree)


def test_letters_that_pdf_has_no_glyph_for_are_replaced_and_never_lost_silently():
    assert printable("\u0645\u0642") == "??"
    assert printable("Na\u00efve \u00d87") == "Na\u00efve \u00d87"


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_each_cross_is_whole_on_a_sheet_and_no_join_mark_lies_on_a_label(paper):
    shapes, _ = pattern_shapes(as_seen(ALONE))
    labels = [shape for shape in shapes if isinstance(shape, Words)]
    found = []
    for page in pages_of(ALONE, paper)[1:]:
        (left, bottom), (right, top) = window_of(page)
        for x, y in pdf_crosses(page):
            found.append(min(x - left, right - x, y - bottom, top - y))
        text = {words: (x, y) for words, x, y in placed_words(page)}
        for label in labels:
            if label.text not in text:
                continue
            x, y = text[label.text]
            length = text_width(label.text, label.size, label.bold)
            for mark_x, mark_y in pdf_crosses(page, PAPER_PENS["join"].width):
                inside = left < mark_x < right and x - 3.2 < mark_x < x + length + 3.2 and y - 3.2 < mark_y < y + 7.0
                assert not inside, (label.text, paper)
    assert len([reach for reach in found if reach > 8.0]) >= len(ALONE.features)


def window_of(page):
    """Lower left and upper right corner of what a sheet shows of the drawing: its foot holds two lines of cautions."""
    width, height = (float(side) / 72 * 25.4 for side in page.mediabox[2:])
    foot = BOTTOM_STRIP_MM + 3.4 * len(ALONE.cautions)
    left, bottom = PAPER_MARGIN_MM + LEFT_STRIP_MM, PAPER_MARGIN_MM + foot
    return (left, bottom), (width - PAPER_MARGIN_MM, height - PAPER_MARGIN_MM)
