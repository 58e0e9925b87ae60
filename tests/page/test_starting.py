"""A build begun on the page, without a script: three short questions, the holes, and no sheet opened by hand."""

from __future__ import annotations

import csv
import html
import re

import pytest

from partkin import pipeline
from partkin.model.problem import FaultyInput
from partkin.model.verdict import Unknown
from partkin.page import answer_form, feature_view, frame, reading_form, starting, taking_down
from partkin.page.desk import Desk
from partkin.readings.record_command import alike

from .person import person
from .test_taking_down import fields_of, plain, settled_page

BROKE = {"origin": "original", "name": "Dash top", "model": "Kurm 2", "duty": "trim", "broken_by": "airbag"}
FIXED = {"origin": "host", "name": "cross beam"}
DONOR = {"origin": "donor", "name": "Dash top of the estate", "model": "Kurm 3"}
ESTATE = "dash-top-of-the-estate"
STUDS = {"donor": ESTATE, "count": "4", "kind": "stud", "feature": "F1", "through": "M6", "do": "done"}
HOLES = {**STUDS, "kind": "hole", "feature": "a", "through": "", "across_mm": "7", "goes_on": "in order"}


def sheet(folder, name):
    with (folder / name).open(newline="") as opened:
        return list(csv.DictReader(opened))


def begun(desk):
    """The folder after the three questions."""
    for form in (BROKE, FIXED, DONOR):
        starting.add_part(desk, form["origin"], form)
    return desk


def spaced(html):
    """The words of a page, with a blank between elements."""
    return " ".join(re.sub("<[^>]*>", " ", html).split())


@pytest.fixture
def desk(tmp_path):
    return Desk(tmp_path)


def test_from_an_empty_folder_to_the_first_asked_reading(bare_page):
    with bare_page.client() as client:

        def sent(address, form):
            answer = client.post(address, data=form)
            assert answer.status_code == 303, plain(answer.text)
            return answer.headers["location"]

        assert "What broke?" in plain(client.get("/").text)
        for form in ({**BROKE, "duty": ""}, FIXED):
            assert sent("/parts", form) == "/"
        at = sent("/parts", DONOR)
        assert at == "/part/cross-beam/features?donor=dash-top-of-the-estate"
        assert fields_of(client.get(at).text)["feature"] == "F1"
        at = sent("/part/cross-beam/features", STUDS)
        assert fields_of(client.get(at).text)["feature"] == "a"
        at = sent("/part/dash-top-of-the-estate/features", HOLES)
        assert at == "/part/dash-top-of-the-estate"
        shown = settled_page(client, at)
        form = fields_of(shown)
        assert form["from"] and form["to"] and form["part"] in ("cross-beam", "dash-top-of-the-estate")
        assert "Next" in plain(shown)
    build = pipeline.load_build(bare_page.folder)
    assert [(one.part, one.origin, one.takes_place_of) for one in build.parts] == [
        ("cross-beam", "host", None),
        ("dash-top", "original", "cross-beam"),
        ("dash-top-of-the-estate", "donor", "cross-beam"),
    ]
    assert build.part("dash-top").duty is None and build.part("dash-top").model == "Kurm 2"
    assert [(f.feature, f.thread) for f in build.features_of("cross-beam")] == [(f"F{n}", "M6") for n in range(1, 5)]
    holes = build.features_of("dash-top-of-the-estate")
    assert [(f.feature, f.across_mm, f.goes_on) for f in holes] == [
        ("a", 7.0, "F1"), ("b", 7.0, "F2"), ("c", 7.0, "F3"), ("d", 7.0, "F4"),
    ]  # fmt: skip


def test_a_folder_that_does_not_exist_is_made(tmp_path, monkeypatch):
    import uvicorn

    from partkin.page import serve

    monkeypatch.setattr(uvicorn.Server, "run", lambda self, sockets: None)
    serve(tmp_path / "new" / "build")
    assert (tmp_path / "new" / "build").is_dir()
    (tmp_path / "file").write_text("")
    with pytest.raises(FaultyInput, match="cannot be made"):
        serve(tmp_path / "file")


def test_what_was_answered_stays_and_the_next_question_comes(bare_page):
    """Closed after the first question and opened again: the sheets say what comes next."""
    with bare_page.client() as client:
        client.post("/parts", data=BROKE)
    with bare_page.client() as client:
        shown = client.get("/").text
        assert re.search(r'<li aria-current="step"><h2>What is it fixed to\?', shown) and "Dash top" in shown
        assert plain(client.get("/part/dash-top").text)


def test_a_question_without_an_answer_changes_nothing(bare_page):
    with bare_page.client() as client:
        answer = client.post("/parts", data={**BROKE, "name": " "})
        assert answer.status_code == 422 and "What people call it: nothing was typed" in plain(answer.text)
        assert fields_of(answer.text)["model"] == "Kurm 2", "what was typed stays"
        assert client.post("/parts", data={**BROKE, "origin": "moon"}).status_code == 422
    assert list(bare_page.folder.iterdir()) == []


@pytest.mark.parametrize(("broken_by", "asked"), [("airbag", True), ("", False)])
def test_what_an_airbag_broke_has_the_airbag_asked_for(tmp_path, broken_by, asked):
    """Of a panel of the body that is asked only where an airbag broke it; the form offers that without a fright."""
    desk = Desk(tmp_path)
    assert "How it broke not known, or it is whole an airbag did its work and opened it" in spaced(
        starting.start_page(desk)
    )
    for form in ({**BROKE, "duty": "body", "broken_by": broken_by}, FIXED, {**DONOR, "duty": "body"}):
        starting.add_part(desk, form["origin"], form)
    assert sheet(tmp_path, "parts.csv")[0]["broken_by"] == broken_by
    feature_view.add_features(desk, "cross-beam", STUDS)
    feature_view.add_features(desk, ESTATE, HOLES)
    unknown = pipeline.check(desk.build(), ESTATE).unknown
    assert ("airbag" in {one.quantity for one in unknown}) is asked


def test_sheets_that_hold_faults_are_not_a_new_build(tmp_path):
    (tmp_path / "parts.csv").write_text("part\nbroken id\n")
    assert Desk(tmp_path).sheets().build is None
    assert "hold faults" in plain(starting.start_page(Desk(tmp_path)))


def test_a_second_donor_is_added_beside_the_first(desk):
    begun(desk)
    assert starting.step_of(desk.build()) is None
    at = starting.add_part(desk, "donor", {"name": "Dash top of the estate"})
    assert desk.build().part("dash-top-of-the-estate-2").takes_place_of == "cross-beam"
    assert "features" in at
    assert "Another part that might go on" in plain(starting.start_page(desk))


def test_a_model_is_listed_where_models_are(desk):
    begun(desk)
    assert desk.build().part("dash-top").duty == "trim"
    (desk.folder / "models.csv").write_text("model,platform\nKurm 2,k\nKurm 3,k\n")
    starting.add_part(desk, "donor", {"name": "another", "model": "Velt 1"})
    assert [row["model"] for row in sheet(desk.folder, "models.csv")] == ["Kurm 2", "Kurm 3", "Velt 1"]


def test_where_the_vehicle_cannot_be_got_at_the_old_part_shows_its_fixings(desk):
    begun(desk)
    page = feature_view.features_page(desk, "cross-beam", "dash-top-of-the-estate")
    assert 'href="/part/dash-top/features?donor=dash-top-of-the-estate"' in page
    at = feature_view.add_features(desk, "dash-top", {**STUDS, "kind": "hole", "feature": "o1", "across_mm": "7"})
    assert at == "/part/dash-top-of-the-estate/features?donor=dash-top-of-the-estate", "the donor's are next"


@pytest.mark.parametrize(
    ("typed", "cells"),
    [
        ({"kind": "stud", "through": "M6"}, {"thread": "M6", "across_mm": ""}),
        ({"kind": "stud", "through": "6"}, {"thread": "", "across_mm": "6"}),
        ({"kind": "hole", "across_mm": "7,5", "through": "M6"}, {"across_mm": "7.5", "thread": "M6"}),
        ({"kind": "hole", "across_mm": "7", "through": "6 mm"}, {"thread": "", "fastener_mm": "6 mm"}),
        ({"kind": "slot", "across_mm": "7", "length_mm": "12"}, {"across_mm": "7", "length_mm": "12"}),
        ({"kind": "captive nut", "through": "1/4-20", "float_mm": "1.5"}, {"thread": "1/4-20", "float_mm": "1.5"}),
    ],
)  # fmt: skip
def test_sizes_go_into_their_own_cells(desk, typed, cells):
    begun(desk)
    feature_view.add_features(desk, "cross-beam", {"feature": "F1", "count": "1", **typed})
    (row,) = sheet(desk.folder, "features.csv")
    assert {name: row[name] for name in cells} == cells and row["kind"] == typed["kind"]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"count": "many"}, "How many alike: \"many\" is not 1 to 40"),
        ({"feature": "F1"}, "Name of the first: F1 is listed already. F2 is free"),
        ({"feature": "my hole"}, "cannot be an id"),
        ({"across_mm": "wide"}, 'Across, mm: "wide" is not a number'),
        ({"through": "M6x20x1"}, "Thread, or what goes through"),
        ({"count": "3", "across_mm": "-4"}, "Across, mm"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_changes_nothing_and_is_said_once(desk, typed, said):
    from partkin.page.frame import refusal

    begun(desk)
    feature_view.add_features(desk, "cross-beam", {"feature": "F1", "kind": "stud", "through": "M6"})
    before = (desk.folder / "features.csv").read_bytes()
    form = {"kind": "hole", "feature": "a", "across_mm": "7", "count": "1", **typed}
    with pytest.raises(FaultyInput) as fault:
        feature_view.add_features(desk, "cross-beam", form)
    told = plain(refusal(fault.value.problems, labels=feature_view.LABELS))
    assert said in told and len(fault.value.problems) == 1
    assert (desk.folder / "features.csv").read_bytes() == before


def test_the_name_and_the_kind_go_on_from_the_last_one(desk):
    begun(desk)
    feature_view.add_features(desk, "cross-beam", {**STUDS, "do": "more"})
    form = fields_of(feature_view.features_page(desk, "cross-beam", None))
    assert (form["feature"], form["kind"], form["count"]) == ("F5", "stud", "1")


ANSWERS = [
    ({"asked": "airbag", "answer": "no"}, "parts.csv", "airbag", "no"),
    ({"asked": "duty", "answer": "trim"}, "parts.csv", "duty", "trim"),
    ({"asked": "seen_from", "answer": "inside"}, "parts.csv", "seen_from", "inside"),
    ({"asked": "fastener", "feature": "a", "answer": "M6"}, "features.csv", "thread", "M6"),
    ({"asked": "fastener", "feature": "a", "answer": "5 mm"}, "features.csv", "fastener_mm", "5 mm"),
    ({"asked": "angle", "feature": "a", "answer": "to b"}, "features.csv", "angle_deg", "to b"),
]


@pytest.mark.parametrize(("typed", "name", "column", "cell"), ANSWERS)
def test_what_is_no_distance_is_answered_by_a_short_form(desk, typed, name, column, cell):
    """Each fills the one empty cell, and is refused where something stands there."""
    begun(desk)
    feature_view.add_features(desk, ESTATE, {"feature": "a", "kind": "slot", "across_mm": "7", "length_mm": "12"})
    feature_view.add_features(desk, ESTATE, {"feature": "b", "kind": "hole", "across_mm": "7"})
    asked = Unknown("", "", ESTATE, typed["asked"], typed.get("feature"))
    assert answer_form.own_form(asked)
    shown = frame.piece("reading.html", "answer_form", asked, ESTATE, answer_form.own_form(asked))
    assert f'action="/part/{ESTATE}/answers"' in shown and f'value="{ESTATE}"' in shown
    answer_form.take_answer(desk, {"part": ESTATE, **typed})
    row = next(row for row in sheet(desk.folder, name) if row["part"] == ESTATE)
    assert row[column] == cell
    with pytest.raises(FaultyInput, match="stated already"):
        answer_form.take_answer(desk, {"part": ESTATE, **typed})


def test_one_bolt_is_written_down_for_all_that_it_is_asked_of(desk):
    begun(desk)
    feature_view.add_features(desk, ESTATE, {"feature": "a", "kind": "hole", "across_mm": "7", "count": "4"})
    asked = [Unknown("", "", ESTATE, "fastener", name) for name in "abc"]
    others = alike(asked[0], [*asked, Unknown("", "", ESTATE, "across", "d")])
    assert others == ("a", "b", "c") and alike(Unknown("", "", ESTATE, "angle", "a"), asked) == ()
    shown = frame.piece("reading.html", "answer_form", asked[0], ESTATE, "Thread", others)
    (value,) = re.findall(r'<button name="alike" value="([a-z ]+)">The same for b, c too<', shown)
    assert 'name="alike"' not in frame.piece("reading.html", "answer_form", asked[0], ESTATE, "Thread")
    typed = {"part": ESTATE, "asked": "fastener", "feature": "a", "answer": "M6"}
    answer_form.take_answer(desk, {**typed, "alike": value})
    rows = [row for row in sheet(desk.folder, "features.csv") if row["part"] == ESTATE]
    assert [(row["feature"], row["thread"]) for row in rows] == [("a", "M6"), ("b", "M6"), ("c", "M6"), ("d", "")]
    before = (desk.folder / "features.csv").read_bytes()
    with pytest.raises(FaultyInput, match="stated already"):
        answer_form.take_answer(desk, {**typed, "feature": "d", "alike": "a"})
    assert (desk.folder / "features.csv").read_bytes() == before, "none or all"


@pytest.mark.parametrize("typed", [{}, {"asked": "duty", "answer": "brave"}, {"asked": "part", "answer": "x"}])
def test_an_answer_that_was_not_asked_for_changes_nothing(desk, typed):
    begun(desk)
    before = {path.name: path.read_bytes() for path in desk.folder.iterdir()}
    with pytest.raises(FaultyInput):
        answer_form.take_answer(desk, {"part": ESTATE, **typed})
    assert {path.name: path.read_bytes() for path in desk.folder.iterdir()} == before


def test_left_or_right_is_answered_by_one_of_two_buttons(desk):
    begun(desk)
    feature_view.add_features(desk, ESTATE, {"feature": "a", "kind": "hole", "across_mm": "7", "count": "3"})
    asked = Unknown("which way round it is", "", ESTATE, "left of", "c", "a b")
    assert answer_form.own_form(asked) and not reading_form.takes(asked)
    shown = frame.piece("reading.html", "answer_form", asked, ESTATE, answer_form.own_form(asked))
    assert re.findall(r'<button name="quantity" value="([a-z ]+)">([a-z ]+)<', shown) == [
        ("left of", "on the left"), ("right of", "on the right"),
    ]  # fmt: skip
    hidden = dict(re.findall(r'type="hidden" name="([a-z]+)" value="([^"]*)"', shown))
    taken = taking_down.take_down(desk, ESTATE, {**hidden, "quantity": "right of"}).reading
    assert (taken.quantity, taken.from_feature, taken.line_from, taken.line_to) == ("right of", "c", "a", "b")


def test_the_message_to_the_seller_is_that_of_the_command(page):
    from partkin.commands.asking_next import next_for
    from partkin.commands.seller_message import message_for

    build = pipeline.load_build(page.folder)
    with page.client() as client:
        for most in (1, 2):
            shown = client.get(f"/part/glove-dask/seller?questions={most}").text
            message = message_for(next_for(build, "glove-dask"), ".", most).text
            assert html.unescape(re.search(r"<pre[^>]*>(.*?)</pre>", shown, re.DOTALL)[1]) == message
            assert f'value="{most}" selected' in shown
        assert "For you: A is k4" in plain(shown)
        assert "there is nothing to ask a seller" in plain(client.get("/part/top-kurm/seller").text)
        assert client.get("/part/dash-frame/seller").status_code == 404, "it is nobody's to sell"


def answered(client, asked, who):
    """Answer what the page of the donor asks for, in its own forms."""
    form = re.search(r"<form.*?</form>", asked, re.DOTALL)
    if form is None:
        return None
    hidden = dict(re.findall(r'type="hidden" name="([a-z]+)" value="([^"]*)"', form[0]))
    if 'name="quantity"' in form[0]:
        side = who.side(hidden["part"], hidden["from"], hidden["to"])
        return client.post(f"/part/{ESTATE}/readings", data={**hidden, "quantity": side})
    return client.post(f"/part/{ESTATE}/answers", data={**hidden, "answer": who.word(hidden["asked"])})


@pytest.mark.parametrize(
    ("moved", "verdict"),
    [({}, "bolts on"), ({"c": (340.0, 200.0)}, "bolts on with adaptation")],
    ids=["like", "unlike"],
)
def test_one_answer_after_another_until_a_verdict_stands(bare_page, moved, verdict):
    """By what the page asks for alone; a tape, three holes of 9 mm, and nothing known at the start."""
    who = person(3, moved)
    with bare_page.client() as client:
        for form in (BROKE, FIXED, DONOR):
            client.post("/parts", data=form)
        client.post("/part/cross-beam/features", data={**STUDS, "count": "3"})
        client.post(f"/part/{ESTATE}/features", data={**HOLES, "count": "3", "across_mm": "9"})
        for _ in range(25):
            shown = settled_page(client, f"/part/{ESTATE}")
            if f"<span>{verdict}</span>" in shown:
                break
            asked = shown[shown.index('id="told-asked"') : shown.index('id="reading"')].rpartition("<form")[0]
            answer = answered(client, asked, who)
            if answer is None:
                form = fields_of(shown)
                assert form["quantity"] == "centres" and form["from"], plain(shown)
                form["value"] = who.distance(form["part"], form["from"], form["to"])
                answer = client.post(f"/part/{ESTATE}/readings", data={**form, "instrument": "tape"})
            assert answer.status_code == 303, plain(answer.text)
        else:
            pytest.fail("no verdict stands after 25 answers")
    assert pipeline.check(pipeline.load_build(bare_page.folder), ESTATE).verdict == verdict
