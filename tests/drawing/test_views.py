"""The views are filled truly from verdict, build and positions."""

import math
from dataclasses import replace

import numpy as np
import pytest

import partkin
from partkin.drawing.laying import WITHIN_95, drawn_feature, ellipse, inverse, moved, rigid_fit, spreads
from partkin.drawing.overlay import pattern
from partkin.drawing.svg import picture_svg
from partkin.drawing.template_dxf import template_dxf
from partkin.drawing.views import (
    conflict_spans,
    margin_plot,
    option_rows,
    overlay_view,
    pattern_plot,
    report_view,
    template_view,
)
from partkin.model.build import Build, Feature, Outline, Part, Zone
from partkin.model.fitting import Conflict, PairFit, Placement
from partkin.model.positions import Positions
from partkin.model.problem import FaultyInput
from partkin.model.verdict import Laid, Verdict
from partkin.tables.reader import shipped
from report import sample
from report.reading import svg_tree


def positions(part, features, places, **more):
    xyz = np.array(places, dtype=float)
    return Positions(part, features, xyz, np.full(len(features), 0.3), **more)


HOST = positions("H1", tuple(f.id for f in sample.FIXINGS), [f.at_mm for f in sample.FIXINGS])
DONOR = positions("D1", tuple(f.id for f in sample.GOOD), [f.at_mm for f in sample.GOOD])
KNOWN = {"H1": HOST, "D1": DONOR}


def test_an_overlay_is_filled_from_what_is_known():
    view = overlay_view(sample.BUILD, sample.BOLTS_ON, KNOWN)
    assert [f.id for f in view.fixings] == [f.id for f in sample.FIXINGS]
    assert [f.id for f in view.features] == [f.id for f in sample.GOOD]
    assert [f.at_mm for f in view.features] == [f.at_mm for f in sample.GOOD]
    assert view.matrix == sample.PLACED and view.pairs == sample.BOLTS_ON.pairs
    assert view.seen_from == "outside"
    assert {spread.of for spread in view.spreads} == {"host", "donor"}
    assert [line.of for line in view.outlines] == ["host"]
    svg_tree(picture_svg(pattern(view).picture))


def test_a_restraint_part_gets_no_drawing_and_nor_does_what_has_no_place():
    assert overlay_view(sample.BUILD, sample.NOT_JUDGED, KNOWN) is None
    assert overlay_view(sample.BUILD, sample.NOT_ENOUGH, {}) is None


def test_half_widths_become_circles_and_covariances_ellipses():
    """JCGM 100:2008, 4.3.7: a rectangular half-width a has the standard uncertainty a/sqrt(3)."""
    (circle, *_) = spreads(HOST, "host")
    assert circle.semi_mm == pytest.approx((0.3 / math.sqrt(3) * math.sqrt(-2 * math.log(0.05)),) * 2)
    # Made from its axes: 0.5 and 0.2 mm, turned by 30 degrees.
    c, s = math.cos(math.radians(30)), math.sin(math.radians(30))
    turn = np.array([[c, -s], [s, c]])
    block = turn @ np.diag([0.25, 0.04]) @ turn.T
    covariance = np.zeros((4, 4))
    covariance[2:, 2:] = block
    covariance[:2, :2] = np.eye(2) * 0.01
    known = positions("P", ("a", "b"), [(0, 0), (9, 9)], covariance_mm2=covariance)
    found = spreads(known, "donor")[1]
    assert found.semi_mm == pytest.approx((0.5 * WITHIN_95, 0.2 * WITHIN_95)) and found.angle_deg == pytest.approx(30.0)
    only_a = spreads(replace(known, adjusted=("a",)), "donor")[1]
    assert only_a.semi_mm[0] == only_a.semi_mm[1], "what was not adjusted stays within its half-width"
    rng = np.random.default_rng(5)
    drawn = rng.multivariate_normal((0, 0), block, 40_000)
    inside = np.einsum("ni,ij,nj->n", drawn, np.linalg.inv(block), drawn) <= WITHIN_95**2
    assert inside.mean() == pytest.approx(0.95, abs=0.004), "the factor holds 95 in 100"
    assert ellipse(1.0, 0.0, 1.0) == ((WITHIN_95, WITHIN_95), 0.0)


def test_in_space_the_block_of_x_and_y_is_taken():
    covariance = np.diag([0.04, 0.09, 1.0])
    known = positions("P", ("a",), [(1.0, 2.0, 3.0)], covariance_mm2=covariance)
    (found,) = spreads(known, "host")
    assert found.semi_mm == pytest.approx((0.3 * WITHIN_95, 0.2 * WITHIN_95)) and found.angle_deg == pytest.approx(90.0)


def test_sizes_come_from_the_thread_where_no_cell_says_them():
    stud = drawn_feature(Feature("H", "F", "stud", thread="M8x1.25"), {"F": (0.0, 0.0)})
    assert (stud.across_mm, stud.fastener_mm) == (8.0, 8.0)
    hole = drawn_feature(Feature("H", "F", "hole", across_mm=9.0, thread="M8"), {"F": (0.0, 0.0)})
    assert (hole.across_mm, hole.fastener_mm) == (9.0, 8.0)
    assert drawn_feature(Feature("H", "F", "hole"), {"F": (0.0, 0.0)}).across_mm is None


def test_a_host_known_by_the_original_is_drawn_where_that_shows_it():
    build = Build(
        parts=(Part("H", origin="host"), Part("O", origin="original", takes_place_of="H"), Part("D", origin="donor")),
        features=(
            Feature("H", "F1", "stud", thread="M6"), Feature("H", "F2", "stud", thread="M6"),
            Feature("O", "o1", "hole", 7.0, goes_on="F1"), Feature("O", "o2", "hole", 7.0, goes_on="F2"),
            Feature("D", "a", "hole", 7.0), Feature("D", "b", "hole", 7.0),
        ),
        zones=(Zone("O", "seam", "tear seam", ((1.0, 1.0), (5.0, 1.0), (5.0, 2.0))),),
    )  # fmt: skip
    known = {
        "O": positions("O", ("o1", "o2"), [(10, 10), (110, 10)]), "D": positions("D", ("a", "b"), [(0, 0), (100, 0)]),
    }  # fmt: skip
    verdict = Verdict(
        "H", "D", "original", "bolts on", placement=Placement(0, 10, 10, False, sample.matrix_of(0, 10, 10))
    )
    view = overlay_view(build, verdict, known)
    assert [(f.id, f.at_mm, f.kind) for f in view.fixings] == [
        ("F1", (10.0, 10.0), "stud"),
        ("F2", (110.0, 10.0), "stud"),
    ]
    assert [spread.id for spread in view.spreads if spread.of == "host"] == ["F1", "F2"]
    assert [(zone.of, zone.corners_mm[0]) for zone in view.zones] == [("original", (1.0, 1.0))]
    without = replace(build, features=tuple(row for row in build.features if row.part != "H"))
    assert [f.id for f in overlay_view(without, verdict, known).fixings] == ["o1", "o2"]


def test_the_originals_zones_are_carried_into_a_measured_hosts_frame():
    build = replace(
        sample.BUILD,
        features=(*sample.BUILD.features, *(Feature("O1", f"o{n}", "hole", 7.0, goes_on=f"F{n}") for n in (1, 2, 3))),
    )
    turn = sample.matrix_of(20.0, 7.0, -3.0)
    back = inverse(turn)
    places = [moved(back, fixing.at_mm) for fixing in sample.FIXINGS[:3]]
    known = {**KNOWN, "O1": positions("O1", ("o1", "o2", "o3"), places)}
    view = overlay_view(build, sample.BOLTS_ON, known)
    carried = next(zone for zone in view.zones if zone.kind == "tear seam")
    own = next(zone for zone in build.zones if zone.kind == "tear seam")
    for there, here in zip(own.corners_mm, carried.corners_mm, strict=True):
        assert here == pytest.approx(moved(turn, there), abs=1e-9)
    assert not overlay_view(build, sample.BOLTS_ON, KNOWN).zones, "no common place: not drawn rather than guessed"


def test_rigid_fit_finds_turn_shift_and_mirror():
    turn = sample.matrix_of(-35.0, 4.0, 9.0)
    points = [(0.0, 0.0), (30.0, 5.0), (-4.0, 50.0)]
    for mirrored in (False, True):
        there = [((-x if mirrored else x), y) for x, y in points]
        pairs = [(point, moved(turn, flipped)) for point, flipped in zip(points, there, strict=True)]
        found = rigid_fit(pairs, mirrored)
        for point, place in pairs:
            assert moved(found, point) == pytest.approx(place, abs=1e-9)
    assert rigid_fit(pairs[:1], False) is None
    assert rigid_fit([((0.0, 0.0), (1.0, 1.0)), ((0.0, 0.0), (1.0, 1.0))], False) is None


def test_inverse_undoes_a_mirrored_move():
    mirror = ((-0.6, -0.8, 0.0, 5.0), (-0.8, 0.6, 0.0, 7.0), (0.0, 0.0, 1.0, 2.0), (0.0, 0.0, 0.0, 1.0))
    assert moved(inverse(mirror), moved(mirror, (3.0, 4.0))) == pytest.approx((3.0, 4.0))


def test_spans_tell_distance_difference_and_the_play_along_them():
    fits = tuple(PairFit(f.id, g.id, 0.0, 0.5, 0.0) for f, g in zip(sample.FIXINGS[:3], sample.LONG[:3], strict=True))
    conflict = Conflict(("F1", "F2", "F3"), ("a", "b", "c"), 1.0, fits, ())
    spans = conflict_spans(conflict, sample.FIXINGS, sample.LONG, Laid(sample.PLACEMENT, ()))
    first = next(span for span in spans if (span.from_fixing, span.to_fixing) == ("F1", "F2"))
    assert first.host_mm == pytest.approx(430.0)
    assert first.too_long_mm == pytest.approx(math.dist(sample.LONG[0].at_mm, sample.LONG[1].at_mm) - 430.0)
    # b is a slot of 13 x 7 that lies along the line: 3 mm each way, and half a millimetre of play twice.
    assert first.play_mm == pytest.approx(1.0 + 3.0, abs=1e-4)
    excess = [abs(span.too_long_mm) - span.play_mm for span in spans]
    assert excess == sorted(excess, reverse=True) and all(one > 0 for one in excess)


def test_options_take_the_newest_offer_and_add_up():
    offers = (*sample.BUILD.offers, replace(sample.BUILD.offers[0], price=70.0, on="2024-05-01", hours=2.0))
    rows = option_rows(replace(sample.BUILD, offers=offers), [sample.WITH_ADAPTATION])
    first = next(row for row in rows if row.part == "D1")
    assert first.price == 70.0 and first.total == pytest.approx(70.0 + 19.0 + 2.0 * 42.0)
    second = next(row for row in rows if row.part == "D2")
    assert second.total == pytest.approx(40.0 + 19.0 + 12.6)
    view = report_view(sample.BUILD, [sample.BOLTS_ON], [None])
    assert view.costs_to_date == 12.5 and view.options


def test_a_template_carries_the_other_sides_pattern_and_the_cuts():
    overlay = overlay_view(sample.BUILD, replace(sample.WITH_ADAPTATION, donor="D1"), KNOWN)
    adaptation = replace(
        sample.OPEN_OUT, actions=tuple(replace(action, part="D1") for action in sample.OPEN_OUT.actions)
    )
    overlay = overlay_view(sample.BUILD, replace(sample.WITH_ADAPTATION, donor="D1", adaptation=adaptation), KNOWN)
    view = template_view(sample.BUILD, "D1", KNOWN, overlay, ("careful",))
    assert [(cut.do, cut.feature) for cut in view.cuts] == [("slot", "a"), ("open out", "d")]
    for fixing, drawn in zip(sample.FIXINGS, view.laid_on, strict=True):
        assert moved(sample.PLACED, drawn.at_mm) == pytest.approx(fixing.at_mm[:2], abs=1e-9)
    host = template_view(sample.BUILD, "H1", KNOWN, overlay)
    assert not host.cuts and host.laid_on_part == "D1"
    assert host.laid_on[0].at_mm == pytest.approx(moved(sample.PLACED, sample.GOOD[0].at_mm))
    assert template_dxf(view) and template_view(sample.BUILD, "D1", KNOWN).laid_on == ()


def test_no_template_is_made_of_a_restraint_part_and_a_structural_one_is_only_checked():
    with pytest.raises(FaultyInput, match="restraint part, of which no template is made"):
        template_view(sample.BUILD, "D5", KNOWN)
    for duty in ("structural", None):
        parts = tuple(replace(part, duty=duty) if part.part == "D1" else part for part in sample.BUILD.parts)
        view = template_view(replace(sample.BUILD, parts=parts), "D1", KNOWN, None, ("another",))
        assert view.cautions[0].startswith("To check only") and view.cautions[1] == "another"
    assert template_view(sample.BUILD, "D1", KNOWN).cautions == ()


def test_plots_are_filled():
    plot = pattern_plot(sample.BUILD, "D1", DONOR)
    assert len(plot.features) == len(plot.spreads) == 6
    assert margin_plot(sample.BOLTS_ON).pairs == sample.BOLTS_ON.pairs


def test_an_outline_of_the_donor_is_in_the_donors_frame():
    build = replace(sample.BUILD, outlines=(Outline("D1", "edge", "edge", ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0))),))
    (line,) = overlay_view(build, sample.BOLTS_ON, KNOWN).outlines
    assert line.of == "donor" and line.corners_mm[1] == (1.0, 0.0)


def test_hours_without_a_rate_and_carriage_that_is_not_stated_are_never_counted_as_nothing():
    unpriced = replace(sample.BUILD, settings=replace(sample.BUILD.settings, labour_rate=None))
    offers = (replace(sample.BUILD.offers[0], price=70.0, hours=2.0), replace(sample.BUILD.offers[0], part="D2"))
    first = option_rows(replace(unpriced, offers=offers), [])[0]
    assert first.price == 70.0 and first.total is None
    open_ = replace(sample.BUILD, offers=(replace(offers[1], shipping=None, hours=None),))
    (row,) = option_rows(open_, [])
    assert row.total == row.price and row.at_least


def test_the_report_and_rank_come_to_the_same_in_the_demo():
    demo = partkin.load_build(shipped("data") / "demo")
    verdicts = [partkin.check(demo, donor) for donor in ("top-kurm", "top-dask")]
    found = {row.part: row for row in option_rows(demo, verdicts) if row.option == "donor"}
    for way in partkin.rank(demo, "dash-frame").ways:
        if way.part in ("top-kurm", "top-dask"):
            assert found[way.part].total == pytest.approx(way.expected.low, abs=0.005)
            assert found[way.part].at_least == (way.expected.high is None)
