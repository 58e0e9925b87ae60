"""partkin measure-next: what is said to the person, to a program, and to a seller."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from partkin.cli.app import app
from partkin.commands import asking_next
from partkin.commands.seller_message import Message, message_for, message_to_seller
from partkin.model.build import Build, Part
from partkin.readings.asked_together import asked_together, expected_places, sketch_of
from partkin.readings.could_read import field_of
from partkin.readings.next_readings import order_of
from partkin.trial.places import in_layouts
from readings.panels import LEANING, all_pairs, panel

JARGON = (
    "datum",
    "covariance",
    "fixing",
    "seen_from",
    "centre to centre",
    "donor",
    "host",
    "mm)",
    "feature",
    "plus or",
)


def rough(instrument: str = "seller") -> Build:
    """A donor known to 1.2 mm by what a seller told, one hole 2.8 mm off: its verdict is open."""
    there = [*LEANING[:3], (LEANING[3][0] + 2.8, LEANING[3][1])]
    build = panel(there, [(0, 1)], placed=range(4), instrument=instrument, within_mm=2.5, host=LEANING)
    return replace(
        build,
        features=tuple(replace(f, plus_minus_mm=1.2) if f.part == "donor" else f for f in build.features),
    )


def nowhere() -> Build:
    """Neither side has places, nor readings that would give them."""
    build = panel(LEANING)
    return replace(build, features=tuple(replace(f, x_mm=None, y_mm=None) for f in build.features))


def message(build: Build, most: int = 3) -> Message:
    found = message_for(asking_next.next_for(build, "donor"), ".", most)
    assert found is not None
    return found


def test_for_a_person() -> None:
    text = asking_next.next_text(asking_next.next_for(rough("tape"), "donor"), "my build")
    assert text.startswith("[?] donor on host: not enough measured (chance ")
    assert "Worth reading, best first" in text
    assert re.search(r"  1\. a\d to a\d, centre to centre, of donor, with a steel rule \(1.5 min\): expected", text)
    assert re.search(r"tells \d+ % of what is open; settles it in \d+ of 100 cases", text)
    assert "VALUE --instrument \"steel rule\" --in 'my build'" in text
    assert all(len(line) <= 96 for line in text.splitlines() if "partkin record" not in line)
    text.encode("ascii")


def test_for_a_program() -> None:
    found = asking_next.next_for(rough("tape"), "donor")
    tree = json.loads(asking_next.next_json(found))
    assert (tree["donor"], tree["host"], tree["verdict"], tree["at_hand"]) == (
        "donor",
        "host",
        "not enough measured",
        True,
    )
    first = tree["readings"][0]
    assert set(first["reading"]) == {"part", "quantity", "from", "to"}
    assert 0.0 <= first["settles"] <= 1.0 and 0.0 < first["tells"] <= 1.0
    assert [band["from_mm"] for band in first["values"][1:]] == [band["to_mm"] for band in first["values"][:-1]]
    assert {band["means"] for band in first["values"]} <= {"bolts on", "does not", "between", "again"}
    assert tree == json.loads(asking_next.next_json(asking_next.next_for(rough("tape"), "donor")))


def test_a_check_names_the_same_readings() -> None:
    from partkin.pipeline import check

    verdict = check(rough("tape"), "donor")
    told = [(u.part, u.from_feature, u.to_feature) for u in verdict.unknown]
    ranked = asking_next.next_for(rough("tape"), "donor").readings
    assert told == [(w.reading.part, w.reading.from_feature, w.reading.to_feature) for w in ranked[:3]]
    assert verdict.next_step == f"Next: {verdict.unknown[0].says}"


def test_settled_needs_no_reading() -> None:
    fits = asking_next.next_text(asking_next.next_for(panel(LEANING, placed=range(4)), "donor"), ".")
    assert fits.startswith("[=] donor on host: bolts on (chance 100 in 100)\n    No reading is needed.")
    apart = panel([(0.0, 0.0), (420.0, 0.0), *LEANING[2:]], placed=range(4), host=LEANING)
    conflict = asking_next.next_text(asking_next.next_for(apart, "donor"), ".")
    assert conflict.startswith("[x] donor on host: does not fit")
    assert "read a0 to a1 on it, which nobody did yet: a slip looks the same" in " ".join(conflict.split())
    measured = panel([(0.0, 0.0), (420.0, 0.0), *LEANING[2:]], all_pairs(4), placed=range(4), host=LEANING)
    again = asking_next.next_text(asking_next.next_for(measured, "donor"), ".")
    assert "read a0 to a1 once more: a slip looks the same" in " ".join(again.split())
    assert message_for(asking_next.next_for(panel(LEANING, placed=range(4)), "donor"), ".") is None


def test_what_is_needed_comes_first() -> None:
    text = asking_next.next_text(asking_next.next_for(panel(LEANING, placed=(0, 1, 2)), "donor"), ".")
    assert "Needed first\n  1. ask the seller for a3 to" in text
    assert "partkin record donor a3 " in text


# To the seller


def test_three_questions_at_most_on_the_donor_alone() -> None:
    told = message(rough())
    questions = re.findall(r"^\d\. ", told.text, re.MULTILINE)
    assert 1 <= len(questions) <= 3
    assert "before I buy the side panel" in told.text
    assert "in millimetres? _____" in " ".join(told.text.split())


def test_no_word_of_the_trade() -> None:
    for build in (rough(), panel(LEANING, placed=(0, 1, 2)), panel(LEANING, all_pairs(4)), panel(LEANING)):
        text = message(build).text
        assert not [word for word in JARGON if word in text.lower()]
        assert not re.search(r"\ba\d\b", text), "ids of the sheet mean nothing to a seller"
        text.encode("ascii")
        assert all(len(line) <= 72 for line in text.splitlines())


def test_the_notes_tell_which_letter_is_which_and_how_to_take_the_answers_down() -> None:
    told = message(panel(LEANING, placed=(0, 1, 2)))
    assert re.match(r"For you, not for the seller: A is a3, B is a\d, C is a\d", told.notes[0])
    assert all("partkin record donor a3 a" in note and "--instrument seller" in note for note in told.notes[1:])


def test_the_sketch_lies_as_the_part_does() -> None:
    """Letters stand where the features do: right of, above, and none is lost."""
    sketch = sketch_of({"a": (0, 0), "b": (400, 0), "c": (430, 180), "d": (60, 250)}, {"a": "A", "c": "C"})
    where = {letter: (line.index(letter), -row) for row, line in enumerate(sketch) for letter in "AC" if letter in line}
    assert where["C"][0] > where["A"][0] and where["C"][1] > where["A"][1]
    assert sum(line.count("o") for line in sketch) == 2
    assert max(map(len, sketch)) <= 64 and len(sketch) <= 19


def test_features_in_one_place_keep_their_letters() -> None:
    sketch = sketch_of({"a": (0, 0), "b": (0.1, 0), "c": (900, 3)}, {"a": "A", "b": "B", "c": "C"})
    assert sorted("".join(sketch).replace(" ", "")) == ["A", "B", "C"]


def test_a_loose_hole_is_drawn_where_it_has_to_be() -> None:
    text = message(panel(LEANING, placed=(0, 1, 2))).text
    drawn = text[text.index("The side panel (A only where I expect it)") :].splitlines()
    rows = {
        letter: at
        for at, line in enumerate(drawn)
        for letter in "ABC"
        if line.strip().startswith(letter) or line.rstrip().endswith(letter)
    }
    assert rows["A"] == min(rows.values()), "a3 has the largest y"


def test_left_or_right_is_asked_without_giving_it_away() -> None:
    told = message(panel(LEANING, all_pairs(4)))
    words = " ".join(told.text.split())
    assert "go from hole A to hole B: is hole C on your left or on your right?" in words
    assert "as it is drawn here or turned over" in words
    assert any("partkin record donor a3 --left-of a0 a2" in note for note in told.notes)


def test_questions_asked_together_do_not_say_the_same() -> None:
    found = asking_next.next_for(rough(), "donor")
    pairs = [frozenset((one.from_feature, one.to_feature)) for one in asked_together(found, 3)]
    assert len(set(pairs)) == len(pairs) > 0


@pytest.mark.parametrize("most", [1, 2, 3, 5])
def test_at_most_as_many_questions_as_the_person_allows(most: int) -> None:
    for build in (rough(), panel(LEANING), panel(LEANING, placed=(0, 1, 2)), panel(LEANING, all_pairs(4))):
        told = message(build, most)
        assert 1 <= len(re.findall(r"^\d\. ", told.text, re.MULTILINE)) <= most


def test_a_distance_is_asked_once_whichever_way_it_runs() -> None:
    """Of a donor of which nothing is known every hole asks for the others."""
    for host in (LEANING, None):
        told = message(panel(LEANING) if host else nowhere(), 6)
        pairs = re.findall(r"middle of hole ([A-Z]) to the middle of hole ([A-Z])", " ".join(told.text.split()))
        assert len({frozenset(pair) for pair in pairs}) == len(pairs) > 1


def test_two_questions_cover_all_four_holes() -> None:
    """The diagonals tell more of a shape together than any distance with a second one from the same hole."""
    for build in (panel([(0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0)]), nowhere()):
        asked = asked_together(asking_next.next_for(build, "donor"), 2)
        assert {frozenset((one.from_feature, one.to_feature)) for one in asked} == {
            frozenset(("a0", "a2")), frozenset(("a1", "a3")),
        }  # fmt: skip


@pytest.mark.parametrize("shown_by", ["host", "original"])
def test_a_seller_is_asked_about_a_listing_of_which_nothing_is_listed(shown_by: str) -> None:
    """Its holes are supposed to be where the host's fixings, or the holes of the part that came off, are."""
    build = panel(LEANING)
    features = tuple(f for f in build.features if f.part == "host")
    parts = build.parts
    if shown_by == "original":
        features = tuple(replace(f, part="old", kind="hole", thread=None, across_mm=8.0) for f in features)
        parts = (*parts, Part("old", origin="original", takes_place_of="host", duty="trim"))
    told, verdict = message_to_seller(replace(build, parts=parts, features=features), "donor")
    assert told is not None and verdict.verdict == "not enough measured"
    assert len(re.findall(r"middle of hole [A-Z] to the middle of hole [A-Z]", " ".join(told.text.split()))) >= 2
    assert "laid out after the part that it would replace" in " ".join(told.text.split())
    assert all(f"donor,{f.feature},hole" in told.notes[-1] for f in features), "and what is to be listed first"


def test_a_sketch_is_there_where_no_place_is_known_and_says_what_it_rests_on() -> None:
    hosted, bare, loose = message(panel(LEANING), 2), message(nowhere(), 2), message(panel(LEANING, placed=(0, 1, 2)))
    assert "laid out after the part that it would replace, not to scale" in " ".join(hosted.text.split())
    assert "the letters only go round it in order, not to scale" in " ".join(bare.text.split())
    assert "(A only where I expect it)" in " ".join(loose.text.split())
    for told in (hosted, bare, loose):
        drawn = told.text[told.text.index(":\n\n", told.text.index("half a millimetre")) :]
        assert re.search(r"^ *A|\bA\b", drawn, re.MULTILINE)


def test_what_was_read_to_a_hole_tells_which_of_several_places_it_has() -> None:
    """The pairs are not given, and a3 and a4 are named the other way round than the studs that are left."""
    host = [(0.0, 0.0), (400.0, 0.0), (430.0, 180.0), (60.0, 250.0), (250.0, 300.0)]
    points = [*host[:3], host[4], host[3]]
    near = expected_places(asking_next.next_for(panel(points, [(0, 3)], range(3), host, given=False), "donor"))
    at = dict(zip(near.features, near.at_mm.tolist(), strict=True))
    assert near.source == "partly" and near.measured == {"a0", "a1", "a2"}
    assert at["a3"] == pytest.approx(host[4], abs=0.5) and at["a4"] == pytest.approx(host[3], abs=0.5)
    unread = expected_places(asking_next.next_for(panel(points, (), range(3), host, given=False), "donor"))
    at = dict(zip(unread.features, unread.at_mm.tolist(), strict=True))
    assert at["a3"] == pytest.approx(host[3], abs=0.5), "nothing was read: in the order of the ids"


def test_the_two_questions_tell_at_least_as_much_together_as_the_two_best_by_themselves() -> None:
    """Counted without the program's kernels: of draws alike in both distances, how many go on."""
    build = rough()
    found = asking_next.next_for(build, "donor")
    trial = found.findings.trial
    field = field_of(found.findings, in_layouts(found.places, trial.layouts), trial, at_hand=False, count=4096)
    own = [at for at, one in enumerate(field.candidates) if one.part == "donor"]
    ends = {(field.candidates[at].from_feature, field.candidates[at].to_feature): at for at in own}
    chosen = [ends[(one.from_feature, one.to_feature)] for one in asked_together(found, 2)]
    alone = [at for at in order_of(field, None) if at in own][:2]

    def left(rows: list[int]) -> float:
        read = np.array([field.drawn_mm[at] / field.candidates[at].sigma_mm for at in rows])
        noisy = read + np.random.default_rng(7).standard_normal(read.shape)
        share = [
            np.mean(field.fits[np.argsort(np.square(noisy - noisy[:, [k]]).sum(axis=0))[:60]])
            for k in range(0, 4096, 16)
        ]
        return float(np.mean([p * (1.0 - p) for p in share]))

    assert left(chosen) <= left(alone) + 0.004


# As a command


def test_the_command(partkin) -> None:
    shown = partkin("measure-next", "glove-dask")
    assert shown.exit_code == 0
    assert "Needed first" in shown.output
    assert json.loads(partkin("measure-next", "glove-dask", "--json").output)["needed"][0]["reading"]["from"] == "k4"
    sent = partkin("measure-next", "glove-dask", "--for-seller")
    assert "Hello, before I buy the glovebox surround" in sent.stdout
    assert "A is k4" not in sent.stdout and "A is k4" in sent.stderr
    done = partkin("measure-next", "top-kurm", "--for-seller")
    assert "there is nothing to ask a seller" in done.output


def test_a_restraint_part_is_never_measured_into_a_verdict(partkin) -> None:
    shown = partkin("measure-next", "bag-kurm")
    assert shown.exit_code == 0
    assert shown.output.startswith("[!] bag-kurm on bag-seat: not judged")
    assert "No reading changes that" in shown.output
    assert "nothing to ask" in partkin("measure-next", "bag-kurm", "--for-seller").output


@pytest.mark.parametrize("words", [("nobody",), ("dash-frame",)])
def test_what_is_no_donor_is_refused(partkin, words: tuple[str, ...]) -> None:
    assert partkin("measure-next", *words).exit_code == 2


def test_at_hand_or_far_may_be_said(partkin, folder: Path) -> None:
    path = folder / "features.csv"
    path.write_text(
        path.read_text().replace("top-kurm,a,hole,9,,,,,,0.1,-0.0,,0.5", "top-kurm,a,hole,9,,,,,,0.1,-0.0,,3")
    )
    near = json.loads(partkin("measure-next", "top-kurm", "--json", "--at-hand").output)
    far = json.loads(partkin("measure-next", "top-kurm", "--json", "--far").output)
    assert {one["instrument"] for one in near["readings"] if one["reading"]["part"] == "top-kurm"} <= {
        "tape", "steel rule", "caliper",
    }  # fmt: skip
    assert {one["instrument"] for one in far["readings"] if one["reading"]["part"] == "top-kurm"} <= {"seller"}
    assert near["at_hand"] and not far["at_hand"]


def test_asking_takes_less_than_a_tenth_of_a_second() -> None:
    import time

    from partkin.graph import known_of
    from partkin.pipeline import find_out
    from partkin.readings import next_readings
    from partkin.trial import trying

    build = rough("tape")
    findings, places = find_out(build, "donor"), trying.places_of(known_of(build, "donor"))
    next_readings.open_readings(findings, places)
    spent = []
    for _ in range(5):
        begun = time.process_time()
        next_readings.open_readings(findings, places)
        spent.append(time.process_time() - begun)
    assert np.median(spent) < 0.1


def test_where_no_seller_reads_finely_enough_the_bench_is_asked(partkin) -> None:
    for ends, value in (("g1", "208.1"), ("g3", "373.0"), ("g2", "431")):
        partkin("record", "glove-velt", ends, "g4", value, "-i", "caliper")
    partkin("record", "glove-dask", "k1", "k4", "213", "-i", "seller")
    done = partkin("record", "glove-dask", "k3", "k4", "370", "-i", "seller")
    assert done.output.splitlines()[-1].endswith("now open: k1 to k4 of glove-dask")
    lines = partkin("measure-next", "glove-dask").output.splitlines()
    assert "What a seller reads is too coarse to tell more; once it lies before you:" in lines
    assert any('VALUE --instrument "steel rule"' in line for line in lines)
    check = partkin("check", "glove-dask").output
    assert check.count("too coarse to tell more") == 2, "said once, and once more as what is next"
    assert "there is nothing to ask a seller" in partkin("measure-next", "glove-dask", "--for-seller").output


def test_a_message_asks_for_the_third_distance_at_once(partkin) -> None:
    done = partkin("measure-next", "glove-dask", "--for-seller")
    assert "I have two short questions" in done.output
    assert "record glove-dask k4 k3 VALUE --instrument seller" in done.output


def test_a_seller_is_asked_before_anything_else_is_known(tmp_path: Path) -> None:
    """Nothing is listed: a picture first. The donor's holes alone are listed: the distances between them."""
    rows = "part,name,origin,takes_place_of\nframe,,host,\ntop,dashboard top,donor,frame\n"
    (tmp_path / "parts.csv").write_text(rows, encoding="utf-8")
    sheet = tmp_path / "features.csv"
    sheet.write_text("part,feature,kind\n", encoding="utf-8")
    ask = ("measure-next", "top", "--for-seller", "--in", str(tmp_path))
    first = CliRunner().invoke(app, ask)
    assert "1. Could you take a picture of the whole back" in first.stdout and "3. Is there a number" in first.stdout
    assert "list what the pictures show of top in features.csv" in first.stderr
    assert "2. " not in CliRunner().invoke(app, (*ask, "--questions", "1")).stdout
    sheet.write_text("part,feature,kind\n" + "".join(f"top,{name},hole\n" for name in "abcd"), encoding="utf-8")
    then = CliRunner().invoke(app, ask)
    assert "from the middle of hole A to the middle of hole B" in then.stdout
    assert "partkin record top " in then.stderr and "VALUE --instrument seller" in then.stderr
