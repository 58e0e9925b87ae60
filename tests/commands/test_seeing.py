"""What is drawn is what was found: pictures, reports, templates and plots out of real checks."""

from __future__ import annotations

import math
import pickle
import time

import pytest

from builders import build as build_of
from builders import given, holes, moved, studs
from partkin import pipeline
from partkin.commands import seeing
from partkin.commands.demonstration import write
from partkin.drawing.laying import moved as laid
from partkin.drawing.laying import offset_left
from partkin.model.build import Build, Feature, Part, Reading
from partkin.model.problem import FaultyInput
from partkin.report.html import report_html
from report.reading import html_tree, outside_references


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("seeing") / "demo"
    write(folder)
    return pipeline.load_build(folder)


DRAWN = ("top-kurm", "top-dask", "side-kurm-right", "glove-dask")


@pytest.mark.parametrize("donor", [*DRAWN, "bag-kurm"])
def test_its_verdict_is_that_of_the_check(demo, donor):
    assert seeing.see(demo, donor).verdict == pipeline.check(demo, donor)


@pytest.mark.parametrize("donor", [*DRAWN, "bag-kurm"])
def test_what_was_found_can_go_from_one_process_to_another(demo, donor):
    """Many donors are shared out, and what each came to is sent back."""
    found = pickle.loads(pickle.dumps(seeing.see(demo, donor)))
    assert found.verdict == pipeline.check(demo, donor)


def test_the_second_drawing_lies_as_it_does_with_the_work_done(demo):
    seen = seeing.see(demo, "top-dask")
    view = seeing.overlay(demo, seen, after=True)
    fixings = {fixing.id: fixing for fixing in view.fixings}
    features = {feature.id: feature for feature in view.features}
    assert {(cut.do, cut.feature) for cut in view.cuts} == {(a.do, a.feature) for a in seen.verdict.adaptation.actions}
    assert seen.verdict.after.holding == len(seen.verdict.after.pairs) == 8
    assert min(pair.margin_mm for pair in seen.verdict.after.pairs) == pytest.approx(seen.verdict.adaptation.margin_mm)
    for pair in seen.verdict.after.pairs:
        off = math.hypot(*offset_left(fixings[pair.fixing], features[pair.feature], view.matrix))
        assert off == pytest.approx(pair.offset_mm, abs=1e-6)
    assert seeing.overlay(demo, seeing.see(demo, "top-kurm"), after=True) is None
    assert not seeing.overlay(demo, seen).cuts


@pytest.mark.parametrize("donor", DRAWN)
def test_what_is_drawn_lies_where_the_verdict_says(demo, donor):
    seen = seeing.see(demo, donor)
    view = seeing.overlay(demo, seen)
    fixings = {fixing.id: fixing for fixing in view.fixings}
    features = {feature.id: feature for feature in view.features}
    said = dict(seen.verdict.host_positions), dict(seen.verdict.donor_positions)
    assert all(fixings[name].at_mm == said[0][name] for name in fixings)
    assert all(features[name].at_mm == said[1][name] for name in features)
    drawn = [pair for pair in seen.verdict.shown.pairs if pair.fixing in fixings and pair.feature in features]
    assert len(drawn) >= 3
    for pair in drawn:
        off = math.hypot(*offset_left(fixings[pair.fixing], features[pair.feature], view.matrix))
        assert off == pytest.approx(pair.offset_mm, abs=1e-6), "the drawing's offset is the verdict's"


def test_a_restraint_part_is_not_drawn(demo):
    assert seeing.overlay(demo, seeing.see(demo, "bag-kurm")) is None


def test_the_seam_of_the_part_that_came_off_is_drawn_where_it_was(demo):
    """Not that of the whole dashboard, which takes the same host's place and has no zones."""
    seen = seeing.see(demo, "top-kurm")
    view = seeing.overlay(demo, seen)
    zones = {(zone.of, zone.kind): zone for zone in view.zones}
    assert {("original", "tear seam"), ("donor", "tear seam")} <= set(zones)
    for kind in ("tear seam", "airbag door"):
        mine = [laid(view.matrix, corner) for corner in zones["donor", kind].corners_mm]
        off = [math.dist(a, b) for a, b in zip(mine, zones["original", kind].corners_mm, strict=True)]
        assert max(off) < 1.5, "the verdict says within half a millimetre, from edge to edge"


def test_dimension_lines_join_what_lies_there(demo):
    """The smallest conflict may pair its fixings otherwise than the best placement of all does."""
    view = seeing.overlay(demo, seeing.see(demo, "top-dask"))
    pairs = {pair.fixing: pair.feature for pair in view.pairs}
    assert view.spans
    for span in view.spans:
        assert (span.from_feature, span.to_feature) == (pairs[span.from_fixing], pairs[span.to_fixing])


def test_of_several_layouts_the_one_that_was_laid_on_is_drawn():
    """Three sides and two more distances leave the fourth hole on either side of a line."""
    host = studs([(0, 0), (300, 0), (300, 200), (100, -60)])
    own = [Feature("donor", f"a{n}", "hole", across_mm=7.0) for n in (1, 2, 3, 4)]
    at = {"a1": (0, 0), "a2": (300, 0), "a3": (300, 200), "a4": (100, -60)}
    ends = [("a1", "a2"), ("a2", "a3"), ("a1", "a3"), ("a1", "a4"), ("a2", "a4")]
    readings = tuple(
        Reading("donor", f"r{n}", "centres", round(math.dist(at[a], at[b]), 2), "mm", a, b, plus_minus=0.2)
        for n, (a, b) in enumerate(ends)
    )
    made = build_of(host, given(own))
    made = Build(made.settings, parts=made.parts, features=made.features, readings=readings)
    seen = seeing.see(made, "donor")
    assert len(seen.places.donor.layouts) > 1, "the readings leave two layouts"
    view = seeing.overlay(made, seen)
    drawn = {feature.id: feature.at_mm for feature in view.features}
    assert drawn == {name: place for name, place in seen.verdict.donor_positions if name in drawn}


# The report


def test_the_report_of_the_demo_is_whole_and_quick(demo):
    began = time.thread_time()
    page = report_html(seeing.report_of(demo))
    took_s = time.thread_time() - began
    assert took_s < 2.0
    assert len(page.encode()) < 300_000
    assert not outside_references(page) and "<script" not in page
    text = " ".join("".join(html_tree(page).itertext()).split())
    for donor in seeing.donors_of(demo):
        verdict = pipeline.check(demo, donor)
        assert verdict.says in text
        assert all(reason.says in text for reason in verdict.reasons)
        assert all(caution.says in text for caution in verdict.safety)
        assert all(one.says in text for one in verdict.unknown)
    assert "Next: Next:" not in text


def test_the_same_sheets_give_the_same_report(demo):
    assert report_html(seeing.report_of(demo)) == report_html(seeing.report_of(demo))


def twenty_donors():
    """Twenty donors with twelve holes each, every one turned and shifted and a little out; invented."""
    places = [(x, y) for x in (0.0, 190.0, 395.0, 610.0) for y in (0.0, 140.0, 310.0)]
    parts, features = [], []
    for number in range(20):
        part = f"donor-{number:02d}"
        told = {"origin": "donor", "takes_place_of": "host", "seen_from": "outside", "duty": "structural"}
        parts.append(Part(part, name=f"cover {number}", **told))
        off = [(0.03 * ((number * 7 + n * 5) % 11 - 5), 0.02 * number * (n % 3 - 1)) for n in range(len(places))]
        out = [(x + dx, y + dy) for (x, y), (dx, dy) in zip(places, off, strict=True)]
        rows = given(holes(moved(out, 3.0 * number, 20.0 * number, -7.0), part=part))
        features += [Feature(**{**row.__dict__, "plus_minus_mm": 0.1}) for row in rows]
    made = build_of(studs(places), [], extra=parts)
    keep = tuple(part for part in made.parts if part.part != "donor")
    return Build(made.settings, parts=keep, features=(*made.features, *features))


@pytest.mark.slow
def test_twenty_real_donors_stay_well_under_a_megabyte():
    made = twenty_donors()
    view = seeing.report_of(made)
    assert len(view.verdicts) == 20 and all(len(verdict.pairs) == 12 for verdict in view.verdicts)
    assert len(report_html(view).encode()) < 700_000


def test_a_donor_that_cannot_be_checked_is_said_and_the_rest_reported(demo):
    parts = tuple(
        Part(**{**part.__dict__, "takes_place_of": None}) if part.part == "bag-kurm" else part for part in demo.parts
    )
    view = seeing.report_of(Build(**{**demo.__dict__, "parts": parts}))
    assert [verdict.donor for verdict in view.verdicts] == [d for d in seeing.donors_of(demo) if d != "bag-kurm"]
    assert view.notes and all(note.startswith("bag-kurm was not checked. ") for note in view.notes)


def test_an_interruption_keeps_what_was_checked(demo, monkeypatch):
    real = seeing.see

    def interrupted(build, donor, host=None):
        if donor == "side-kurm-right":
            raise KeyboardInterrupt
        return real(build, donor, host)

    monkeypatch.setattr(seeing, "see", interrupted)
    view = seeing.report_of(demo)
    assert [verdict.donor for verdict in view.verdicts] == ["bag-kurm", "glove-dask"]
    assert "not looked at: side-kurm-right, top-dask, top-kurm" in view.notes[0]
    assert "not looked at" in report_html(view)


# Templates


def test_a_template_has_the_donors_places_what_is_to_be_cut_and_the_host_to_check_against(demo):
    view = seeing.template_of(demo, "top-dask")
    seen = seeing.see(demo, "top-dask")
    assert {f.id: f.at_mm for f in view.features} == dict(seen.verdict.donor_positions)
    assert {(cut.do, cut.feature) for cut in view.cuts} == {(a.do, a.feature) for a in seen.verdict.adaptation.actions}
    assert [fixing.id for fixing in view.laid_on] == [fixing.id for fixing in seeing.overlay(demo, seen).fixings]
    mine = {f.id: f.at_mm for f in view.features}
    pairs = {pair.fixing: pair for pair in seen.verdict.after.pairs}
    cut = {cut.feature for cut in view.cuts}
    for fixing in view.laid_on:
        if fixing.id != "F2" and pairs[fixing.id].feature not in cut:
            off = math.dist(fixing.at_mm, mine[pairs[fixing.id].feature])
            assert off == pytest.approx(pairs[fixing.id].offset_mm, abs=1e-6)
    assert any("tear seam" in caution or "Fit is all" in caution for caution in view.cautions)


def test_a_host_has_a_template_too_to_check_only(demo):
    view = seeing.template_of(demo, "dash-frame")
    assert len(view.features) == 8 and not view.cuts
    assert view.cautions[0].startswith("To check only")


@pytest.mark.parametrize("part", ["bag-kurm", "nobody", "glovebox-frame", "console-body"])
def test_no_template_of_what_has_no_places_or_restrains_people(demo, part):
    with pytest.raises(FaultyInput):
        seeing.template_of(demo, part)


# Plots


def test_the_pattern_is_that_of_the_part(demo):
    picture = seeing.pattern(demo, "top-dask")
    assert "top-dask" in picture.title
    with pytest.raises(FaultyInput):
        seeing.pattern(demo, "nobody")


def test_the_margins_say_every_pair(demo):
    says = seeing.margins(demo, "top-dask").says
    for pair in pipeline.check(demo, "top-dask").shown.pairs:
        assert f"{pair.fixing} with {pair.feature}: offset {pair.offset_mm:.2f} mm of {pair.allowed_mm:.2f} mm" in says


def unsure():
    """Two holes too far apart by about the play there is, on a donor that lies on the bench."""
    places = [(0.0, 0.0), (601.0, 0.0)]
    own = [
        Feature("donor", f"a{n}", "hole", across_mm=7.0, x_mm=x, y_mm=y, plus_minus_mm=2.0)
        for n, (x, y) in enumerate(places, 1)
    ]
    made = build_of(studs([(0, 0), (600, 0)]), given(own))
    across = Reading("donor", "r1", "across", 7.0, "mm", "a1", plus_minus=0.0, instrument="caliper")
    return Build(made.settings, parts=made.parts, features=made.features, readings=(across,))


def test_the_chance_against_the_next_reading_turns_where_its_bands_say():
    from partkin.readings import next_readings

    made = unsure()
    seen = seeing.see(made, "donor")
    assert seen.verdict.verdict == "not enough measured"
    plot = seeing.chance_plot(made, "donor")
    best = next_readings.wanted(seen.findings, seen.places, 1)[0]
    assert plot.expected_mm == best.ask.expected_mm
    assert list(plot.values_mm) == sorted(plot.values_mm) and all(0.0 <= c <= 1.0 for c in plot.chances)
    for value, chance in zip(plot.values_mm, plot.chances, strict=True):
        for band in best.ask.bands:
            over = band.from_mm is None or value > band.from_mm + 0.15
            inside = over and (band.to_mm is None or value < band.to_mm - 0.15)
            if inside and band.answer == "bolts on":
                assert chance >= plot.confidence - 0.02
            if inside and band.answer == "does not":
                assert chance <= 1.0 - plot.confidence + 0.02
    assert max(plot.chances) > 0.9 and min(plot.chances) < 0.1


def test_where_no_reading_tells_more_that_is_said(demo):
    with pytest.raises(FaultyInput):
        seeing.chance_plot(demo, "bag-kurm")
    with pytest.raises(FaultyInput) as fault:
        seeing.chance_plot(demo, "glove-dask")
    assert "k4" in fault.value.problems[0].mend, "what is missing comes first"


def test_outcomes_are_counted_by_the_chance_that_was_said(demo):
    from partkin.model.build import Outcome

    happened = tuple(
        Outcome("top-kurm", None, "bolts on", "fits" if n < 8 else "did not fit", chance_then=0.93) for n in range(10)
    )
    picture = seeing.calibration(Build(**{**demo.__dict__, "outcomes": happened}))
    assert "8 of 10 went on" in picture.says
    assert "Nothing has happened yet" in seeing.calibration(demo).says
