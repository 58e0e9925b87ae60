"""Outlines from strangers: circles, slots and edges are read true, and hostile files are refused."""

import io
import math
import time
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from partkin.drawing.loops import arc_points, joined, recognised
from partkin.drawing.outline_import import MOST_BYTES, MOST_THINGS, read_outline
from partkin.drawing.svg_path import path_pieces, transform_of
from partkin.drawing.template import template_svg
from partkin.drawing.template_dxf import template_dxf
from partkin.model.drawing import DrawnFeature
from partkin.model.words import KINDS
from report import sample

ezdxf = pytest.importorskip("ezdxf")


def dxf_bytes(build, insunits=4):
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = insunits
    build(document.modelspace(), document)
    out = io.StringIO()
    document.write(out)
    return out.getvalue().encode()


def svg_bytes(body, head='width="200mm" height="100mm" viewBox="0 0 200 100"'):
    return f'<svg xmlns="http://www.w3.org/2000/svg" {head}>{body}</svg>'.encode()


def faults(read):
    return [problem for problem in read.problems if not problem.warning]


def own(view, name):
    return template_dxf(view) if name.endswith("dxf") else template_svg(view).encode()


@pytest.mark.parametrize("name", ["t.dxf", "t.svg"])
@pytest.mark.parametrize("turned_over", [False, True])
def test_our_own_templates_come_back_as_the_same_kinds_in_the_parts_own_frame(name, turned_over):
    """Read for another part, so that nothing is known: kinds and places are the sheet's, and no aid is read."""
    every = tuple(DrawnFeature(f"k{n}", (31.0 * n, -40.0), kind, 6.0) for n, kind in enumerate(KINDS) if kind != "slot")
    view = replace(sample.TEMPLATE, features=(*sample.TEMPLATE.features, *every), turned_over=turned_over)
    read = read_outline(own(view, name), name, "another")
    assert not read.problems and not read.redrawn
    wanted = sorted((f.kind, *f.at_mm[:2], f.across_mm or f.fastener_mm) for f in view.features)
    found = sorted((f.kind, f.x_mm, f.y_mm, f.across_mm) for f in read.features)
    assert [one[0] for one in found] == [one[0] for one in wanted]
    for one, other in zip(found, wanted, strict=True):
        assert one[1:] == pytest.approx(other[1:], abs=1e-3)
    lengths = sorted(f.length_mm for f in read.features if f.kind == "slot")
    assert lengths == pytest.approx(sorted(f.length_mm for f in view.features if f.kind == "slot"), abs=2e-3)
    assert [line.kind for line in read.outlines] == [line.kind for line in view.outlines]
    assert read.outlines[0].corners_mm == tuple((x, y) for x, y in sample.EDGE)


@pytest.mark.parametrize("name", ["t.dxf", "t.svg"])
@pytest.mark.parametrize("turned_over", [False, True])
def test_what_a_template_of_the_same_part_drew_is_known_again(name, turned_over):
    view = replace(sample.TEMPLATE, turned_over=turned_over)
    read = read_outline(own(view, name), name, view.part)
    assert {one.feature: one.cells for one in read.redrawn} == {feature.id: () for feature in view.features}
    assert [(line.kind, line.name) for line in read.known_lines] == [(o.kind, o.name) for o in view.outlines]
    assert not (read.features or read.outlines or read.problems)


def test_of_a_copied_hole_the_one_that_stayed_is_the_known_one():
    document = ezdxf.read(io.StringIO(template_dxf(sample.TEMPLATE).decode()))
    hole = document.modelspace().query('CIRCLE[layer=="holes"]')[0]
    x, y = hole.dxf.center.x, hole.dxf.center.y
    document.modelspace().add_entity(hole.copy().translate(-7.0, 3.0, 0.0))
    # A remark that is not whole is no remark.
    stranger = document.modelspace().add_circle((500.0, 500.0), 4.0, dxfattribs={"layer": "pegs"})
    stranger.set_xdata("PARTKIN", [(1000, sample.TEMPLATE.part)])
    out = io.StringIO()
    document.write(out)
    read = read_outline(out.getvalue().encode(), "t.dxf", sample.TEMPLATE.part)
    assert {one.cells for one in read.redrawn} == {()} and len(read.redrawn) == len(sample.TEMPLATE.features)
    assert [(f.feature, f.kind, f.x_mm, f.y_mm) for f in read.features] == [
        ("h1", "hole", round(x - 7.0, 3), round(y + 3.0, 3)),
        ("p1", "peg", 500.0, 500.0),
    ]


def test_a_dxf_of_loose_lines_arcs_blocks_and_mirrored_things():
    def build(space, document):
        space.add_circle((10, 20), 3.3)
        # A slot drawn as two lines and two arcs, in no order.
        space.add_arc((50, 0), 3.5, -90, 90)
        space.add_line((50, 3.5), (40, 3.5))
        space.add_line((40, -3.5), (50, -3.5))
        space.add_arc((40, 0), 3.5, 90, 270)
        # The same slot turned by 30 degrees, as a polyline with bulges.
        corners = []
        for x, y, bulge in ((5, -2, 1), (5, 2, 0), (-5, 2, 1), (-5, -2, 0)):
            c, s = math.cos(math.radians(30)), math.sin(math.radians(30))
            corners.append((100 + c * x - s * y, 50 + s * x + c * y, bulge))
        space.add_lwpolyline(corners, format="xyb", close=True)
        # A circle in a block, put in twice the size.
        block = document.blocks.new("hole")
        block.add_circle((1, 0), 2.0)
        space.add_blockref("hole", (150, 10), dxfattribs={"xscale": 2, "yscale": 2})
        # A circle on the back: its own x axis points the other way.
        space.add_circle((-70, 90), 4.0, dxfattribs={"extrusion": (0, 0, -1)})
        space.add_lwpolyline([(-20, -20), (200, -20), (200, 120), (-20, 120)], close=True)
        space.add_lwpolyline([(120, 80), (140, 80), (140, 90), (120, 90)], close=True)
        space.add_ellipse((170, 90), (2.5, 0), 1.0)
        space.add_text("ignored")

    read = read_outline(dxf_bytes(build), "p.dxf", "P")
    found = [(f.kind, f.across_mm, f.length_mm, f.angle_deg, f.x_mm, f.y_mm) for f in read.features]
    assert ("hole", 6.6, None, None, 10.0, 20.0) in found
    assert ("slot", 7.0, 17.0, 0.0, 45.0, 0.0) in found
    assert ("slot", 4.0, 14.0, 30.0, 100.0, 50.0) in found
    assert ("hole", 8.0, None, None, 152.0, 10.0) in found
    assert ("hole", 8.0, None, None, 70.0, 90.0) in found
    assert ("hole", 5.0, None, None, 170.0, 90.0) in found
    assert len(found) == 6
    assert [(o.kind, o.name) for o in read.outlines] == [("edge", "edge"), ("opening", "opening 1")]
    assert sorted(f.feature for f in read.features) == ["h1", "h2", "h3", "h4", "s1", "s2"]
    assert not read.problems


@pytest.mark.parametrize(("code", "factor"), [(1, 25.4), (2, 304.8), (4, 1.0), (5, 10.0), (6, 1000.0)])
def test_the_unit_of_a_dxf_is_obeyed(code, factor):
    read = read_outline(dxf_bytes(lambda space, _: space.add_circle((1.0, 0.5), 0.01), code), "u.dxf", "P")
    (hole,) = read.features
    assert hole.across_mm == pytest.approx(0.02 * factor, abs=6e-4)
    assert (hole.x_mm, hole.y_mm) == pytest.approx((factor, 0.5 * factor), abs=6e-4)


def test_a_unit_that_is_not_said_is_asked_for_and_taken():
    dxf = dxf_bytes(lambda space, _: space.add_circle((1, 2), 0.25), 0)
    svg = svg_bytes('<circle cx="10" cy="20" r="3"/>', 'width="200" height="100" viewBox="0 0 200 100"')
    for content, name in ((dxf, "u.dxf"), (svg, "u.svg")):
        read = read_outline(content, name, "P")
        assert [problem.what for problem in faults(read)] == ["the file does not say its unit"]
        assert not read.features and "--unit" in read.problems[0].mend
    (hole,) = read_outline(dxf, "u.dxf", "P", unit="in").features
    assert (hole.across_mm, hole.x_mm, hole.y_mm) == (12.7, 25.4, 50.8)
    (hole,) = read_outline(svg, "u.svg", "P", unit="mm").features
    assert (hole.across_mm, hole.x_mm, hole.y_mm) == (6.0, 10.0, 80.0)
    assert faults(read_outline(svg, "u.svg", "P", unit="furlong"))[0].what == "no unit is called 'furlong'"


def test_an_svg_with_every_way_to_draw_a_hole():
    body = """
    <g transform="translate(5 5)"><circle cx="10" cy="10" r="3.25"/></g>
    <ellipse cx="40" cy="10" rx="4" ry="4"/>
    <rect x="60" y="6.5" width="20" height="7" rx="3.5"/>
    <path d="M100 5a5 5 0 1 1 0 10 5 5 0 1 1 0-10z"/>
    <path d="M120 16.5h10a3.5 3.5 0 0 1 0 7h-10a3.5 3.5 0 0 1 0 -7z" transform="rotate(30 125 20)"/>
    <path d="M154 40C154 42.2091 152.2091 44 150 44C147.7909 44 146 42.2091 146 40
      C146 37.7909 147.7909 36 150 36C152.2091 36 154 37.7909 154 40Z"/>
    <polygon points="10,60 30,60 30,80 10,80"/>
    <path d="M0 0H200V100H0Z"/>
    <path d="M 60 60 q 10 -10 20 0 t 20 0 v 20 h -40 z"/>
    <text x="1" y="1">ignored</text><defs><circle cx="1" cy="1" r="1"/></defs>
    <circle cx="1" cy="1" r="1" style="fill:none; display : none"/>
    """
    read = read_outline(svg_bytes(body), "s.svg", "P")
    found = {(f.kind, f.across_mm, f.length_mm, f.angle_deg, f.x_mm, f.y_mm) for f in read.features}
    assert found >= {
        ("hole", 6.5, None, None, 15.0, 85.0),
        ("hole", 8.0, None, None, 40.0, 90.0),
        ("slot", 7.0, 20.0, 0.0, 70.0, 90.0),
        ("hole", 10.0, None, None, 100.0, 90.0),
        ("slot", 7.0, 17.0, 150.0, 125.0, 80.0),
    }
    (bezier,) = found - {one for one in found if one[4] != 150.0}
    # Four cubic curves with the usual 0.5523 stay within 0.03 % of their circle.
    assert bezier[1] == pytest.approx(8.0, abs=0.005) and bezier[5] == pytest.approx(60.0, abs=0.001)
    assert len(found) == 6
    assert [outline.kind for outline in read.outlines] == ["edge", "opening", "opening"]
    assert not read.problems


def test_without_a_view_box_an_svg_counts_in_css_pixels():
    read = read_outline(svg_bytes('<circle cx="96" cy="96" r="48"/>', 'width="4in" height="2in"'), "s.svg", "P")
    (hole,) = read.features
    assert (hole.across_mm, hole.x_mm, hole.y_mm) == (25.4, 25.4, 25.4)


def test_layers_can_be_chosen():
    body = '<g id="holes"><circle cx="5" cy="5" r="2"/></g><g id="rest"><circle cx="50" cy="5" r="3"/></g>'
    assert len(read_outline(svg_bytes(body), "s.svg", "P").features) == 2
    assert [f.across_mm for f in read_outline(svg_bytes(body), "s.svg", "P", layers=("holes",)).features] == [4.0]


def test_a_hexagon_and_a_rectangle_are_no_holes():
    hexagon = tuple((10 * math.cos(n * math.pi / 3), 10 * math.sin(n * math.pi / 3)) for n in range(6))
    assert recognised(hexagon) is None
    stop_sign = tuple((10 * math.cos(n * math.pi / 4), 10 * math.sin(n * math.pi / 4)) for n in range(8))
    assert recognised(stop_sign) is None
    rectangle = tuple((x, y) for x, y in ((0, 0), (5, 0), (10, 0), (10, 3), (10, 6), (5, 6), (0, 6), (0, 3)))
    assert recognised(rectangle) is None


@given(
    st.floats(-500, 500), st.floats(-500, 500), st.floats(1.0, 60.0), st.floats(0.2, 80.0), st.floats(0.0, 179.9),
    st.randoms(use_true_random=False),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_a_slot_in_any_place_and_order_is_found(x, y, radius, half, angle_deg, order):
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))

    def at(u, v):
        return (x + c * u - s * v, y + s * u + c * v)

    from partkin.drawing.loops import LinePiece

    end = arc_points(at(half, 0), radius, angle_deg - 90, 180, 1.0)
    other = arc_points(at(-half, 0), radius, angle_deg + 90, 180, 1.0)
    pieces = [
        LinePiece(end),
        LinePiece(other),
        LinePiece((at(half, radius), at(-half, radius))),
        LinePiece((at(-half, -radius), at(half, -radius))),
    ]
    order.shuffle(pieces)
    loops, loose = joined([LinePiece(piece.points[::-1]) if order.random() < 0.5 else piece for piece in pieces])
    assert loose == 0 and len(loops) == 1
    shape = recognised(loops[0].points)
    assert shape is not None and math.dist(shape.centre, (x, y)) < 0.01
    assert shape.radius == pytest.approx(radius, abs=0.01)
    if half > 0.05:
        assert shape.half_travel == pytest.approx(half, abs=0.02)
    if half > 1.0:
        assert abs((shape.angle_deg - angle_deg + 90.0) % 180.0 - 90.0) < 0.05


STRETCHED = 'width="9mm" height="90mm" viewBox="0 0 9 9" preserveAspectRatio="none"'
HOSTILE = {
    "entities that multiply": b'<!DOCTYPE s [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;">]><svg>&b;</svg>',
    "a file from outside": b'<!DOCTYPE s SYSTEM "file:///etc/passwd"><svg/>',
    "a document type in utf-16": '<?xml version="1.0" encoding="utf-16"?><!DOCTYPE s><svg/>'.encode("utf-16"),
    "not closed": b"<svg><g>",
    "no svg": b"<html><body/></html>",
    "too deep": b"<svg>" + b"<g>" * 500 + b"</g>" * 500 + b"</svg>",
    "a path of junk": svg_bytes('<path d="M0 0 L nowhere"/>'),
    "a number without end": svg_bytes('<path d="M0 0 L 1e999 5 Z"/>'),
    "too far out": svg_bytes('<path d="M0 0 L 1e9 5 L 5 1e9 Z"/>'),
    "a transform of junk": svg_bytes('<g transform="spin(4)"><circle r="3"/></g>'),
    "a long transform": svg_bytes(f'<g transform="{"a" * 200_000}"><circle r="3"/></g>'),
    "a long number": svg_bytes(f'<path d="M{"1" * 200_000} 0 L 5 5 Z"/>'),
    "digits for an arc": svg_bytes(f'<path d="M0 0A{"1" * 100_000}"/>'),
    "a long coordinate": svg_bytes(f'<circle cx="{"1" * 100_000}x" cy="0" r="4"/>'),
    "a stretched page": svg_bytes(
        '<circle r="3"/>', 'width="9mm" height="90mm" viewBox="0 0 9 9" preserveAspectRatio="none"'
    ),
    "too many things": svg_bytes("<g/>" * (MOST_THINGS + 10)),
    "nothing in it": svg_bytes(""),
    "empty": b"",
    "noise": bytes(range(256)) * 40,
    "a picture": b"\x89PNG\r\n\x1a\n" + bytes(500),
    "binary dxf": b"AutoCAD Binary DXF\r\n\x1a\x00" + bytes(50),
    "dxf cut short": b"  0\nSECTION\n  2\nENTITIES\n  0\nCIRCLE\n 10\n",
    "dxf of junk": b"0\nnonsense\n" * 300,
    "dxf with words for numbers": b"0\nSECTION\n2\nENTITIES\n0\nCIRCLE\n10\nhere\n20\nthere\n0\nENDSEC\n0\nEOF\n",
    "too large": b" " * (MOST_BYTES + 1),
}


@pytest.mark.parametrize("name", sorted(HOSTILE))
def test_a_hostile_or_broken_file_is_refused_in_words_and_soon(name):
    start = time.perf_counter()
    for ending in (".svg", ".dxf", ""):
        read = read_outline(HOSTILE[name], f"file{ending}", "P", unit="mm")
        assert not read.features and not read.outlines
        assert faults(read), "it says why"
        assert all(len(problem.what) < 300 and problem.mend for problem in read.problems)
    assert time.perf_counter() - start < 4.0


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("entities that multiply", "document type or entities"),
        ("a file from outside", "document type or entities"),
        ("a document type in utf-16", "not UTF-8"),
        ("too deep", "nested too deep"),
        ("too many things", "more than"),
        ("a long transform", "a transform cannot be read"),
        ("a stretched page", "stretched"),
        ("too far out", "m out, or is no number"),
        ("too large", "MB"),
    ],
)
def test_it_is_refused_for_the_right_reason(name, why):
    (fault,) = faults(read_outline(HOSTILE[name], "file.svg", "P"))
    assert why in fault.what


def test_an_array_of_blocks_has_a_hole_at_each_of_its_places():
    """One INSERT with 2 rows and 3 columns (DXF reference: groups 70, 71, 44, 45) is six holes, turned with it."""

    def build(space, document):
        document.blocks.new("hole").add_circle((0, 0), 3.0)
        space.add_blockref(
            "hole",
            (10, 20),
            dxfattribs={"row_count": 2, "column_count": 3, "row_spacing": 40, "column_spacing": 50, "rotation": 90},
        )

    read = read_outline(dxf_bytes(build), "p.dxf", "P")
    assert not read.problems
    assert sorted((round(f.x_mm, 3), round(f.y_mm, 3)) for f in read.features) == [
        (-30.0, 20.0),
        (-30.0, 70.0),
        (-30.0, 120.0),
        (10.0, 20.0),
        (10.0, 70.0),
        (10.0, 120.0),
    ]


def test_blocks_that_hold_blocks_that_hold_blocks_are_not_followed_for_ever():
    def build(space, document):
        for level in range(9):
            block = document.blocks.new(f"b{level}")
            if level == 0:
                block.add_circle((0, 0), 2)
            else:
                for n in range(12):
                    block.add_blockref(f"b{level - 1}", (n, 0))
        for n in range(12):
            space.add_blockref("b8", (n * 10, 0))

    start = time.perf_counter()
    read = read_outline(dxf_bytes(build), "bomb.dxf", "P")
    assert time.perf_counter() - start < 20.0
    assert not read.features and faults(read)


def test_a_curve_of_planetary_size_is_refused_before_it_is_followed():
    read = read_outline(dxf_bytes(lambda space, _: space.add_ellipse((0, 0), (1e9, 0), 0.5)), "e.dxf", "P")
    assert faults(read) and not read.features


def test_lines_that_close_to_nothing_are_told_and_doubles_are_read_once():
    def build(space, _):
        space.add_circle((0, 0), 3)
        space.add_circle((0, 0), 3)
        space.add_line((10, 10), (20, 20))

    read = read_outline(dxf_bytes(build), "d.dxf", "P")
    assert len(read.features) == 1 and not faults(read)
    assert sorted(problem.what.split(" ", 1)[1] for problem in read.problems) == [
        "closed lines are drawn twice on the same place and were read once", "lines close to nothing and were left out",
    ]  # fmt: skip


@given(st.text(alphabet="MmLlHhVvCcSsQqTtAaZz0123456789.,- eE", max_size=60))
@settings(max_examples=150, deadline=None)
def test_any_path_is_read_or_refused_and_never_breaks(text):
    try:
        pieces = path_pieces(text, 1.0)
    except (ValueError, ArithmeticError):
        return
    assert all(len(piece.points) > 1 for piece in pieces)


def test_arc_flags_may_stand_without_spaces():
    spaced = path_pieces("M10 10a5 5 0 0 1 10 0", 1.0)
    assert path_pieces("M10 10a5 5 0 0110 0", 1.0) == spaced
    assert path_pieces("M10 10a5,5,0,01,10,0", 1.0) == spaced


def test_transforms_follow_the_standard():
    """SVG 2: rotate(a, cx, cy) is translate(cx cy) rotate(a) translate(-cx -cy); matrix columns first."""
    assert transform_of("rotate(90 10 0)").moved((11.0, 0.0)) == pytest.approx((10.0, 1.0))
    assert transform_of("matrix(1 2 3 4 5 6)").moved((1.0, 1.0)) == (9.0, 12.0)
    assert transform_of("translate(1 2),scale(3)").moved((1.0, 1.0)) == (4.0, 5.0)
    assert transform_of("skewX(45)").moved((0.0, 2.0)) == pytest.approx((2.0, 2.0))
