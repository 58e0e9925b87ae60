"""partkin record: what is typed is understood or refused, added to the sheet, and what it changes is said."""

from __future__ import annotations

import re
import shlex
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from partkin.commands import recording
from partkin.commands.doubts import examine
from partkin.model.build import Build, Feature, Part, Reading
from partkin.model.problem import FaultyInput
from partkin.pipeline import load_build
from partkin.readings.typed_readings import TypedWords, on_a_side, understood
from partkin.sheets.values import cells_of

HOLES = tuple(Feature("top", name, "hole", across_mm=8.0) for name in ("a", "b", "1"))
EARLIER = (
    Reading("top", "r1", "centres", 24.0, "in", "a", "b", instrument="tape"),
    Reading("top", "r2", "across", 8.1, "mm", "a", instrument="caliper"),
)
TOP = Build(parts=(Part("top", origin="donor"),), features=HOLES, readings=EARLIER)


def typed(*words: str, **rest: str) -> Reading:
    return understood(TOP, TypedWords("top", words, **rest))


@pytest.mark.parametrize(
    ("words", "rest", "value", "unit"),
    [
        (("a", "b", "612"), {}, 612.0, "mm"),
        (("a", "b", "611,8"), {}, 611.8, "mm"),
        (("a", "b", "611.8mm"), {}, 611.8, "mm"),
        (("a", "b", "61.2", "cm"), {}, 61.2, "cm"),
        (("a", "b", "24 1/8 in"), {}, 24.125, "in"),
        (("a", "b", "24", "1/8", "in"), {}, 24.125, "in"),
        (("a", "b", '24-1/8"'), {}, 24.125, "in"),
        (("a", "b", "24 1/8"), {"unit": "inches"}, 24.125, "in"),
        (("a", "1", "0.6118"), {"unit": "m"}, 0.6118, "m"),
        (("a", "7,1"), {"quantity": "across"}, 7.1, "mm"),
        (("a", "14"), {"quantity": "length"}, 14.0, "mm"),
        (("2,5",), {"quantity": "thickness"}, 2.5, "mm"),
        (("a", "2.5"), {"quantity": "thickness"}, 2.5, "mm"),
        (("6.4",), {"quantity": "mass"}, 6.4, "kg"),
        (("14", "lb"), {"quantity": "mass"}, 14.0, "lb"),
        (("front", "windscreen", "5"), {"quantity": "gap"}, 5.0, "mm"),
        (("a", "b", "604"), {"quantity": "near-edges"}, 604.0, "mm"),
        (("a", "b", "620"), {"quantity": "far edges"}, 620.0, "mm"),
    ],
)
def test_what_is_typed_is_understood(words: tuple[str, ...], rest: dict[str, str], value: float, unit: str) -> None:
    found = typed(*words, **rest)
    assert (found.value, found.unit) == (pytest.approx(value), unit)
    assert found.quantity == rest.get("quantity", "centres").replace("-", " ")


def test_the_ends_are_those_named() -> None:
    assert (typed("a", "1", "300").from_feature, typed("a", "1", "300").to_feature) == ("a", "1")
    assert typed("6.4", quantity="mass").from_feature is None
    assert typed("a", "2.5", quantity="thickness").from_feature == "a"
    gap = typed("front", "windscreen", "5", quantity="gap")
    assert (gap.from_feature, gap.to_feature) == ("front", "windscreen")


@pytest.mark.parametrize(
    ("words", "rest", "column", "says"),
    [
        (("a", "c", "612"), {}, "feature", "has no feature c"),
        (("a", "a", "612"), {}, "feature", "named twice"),
        (("a", "612"), {}, "value", "two names"),
        ((), {}, "value", "here is nothing"),
        (("a", "b", "long"), {}, "value", "not a number"),
        (("a", "b", "1,234"), {}, "value", "may be"),
        (("a", "b", "1,234.5"), {}, "value", "both a comma and a dot"),
        (("a", "b", "7.1"), {"quantity": "across"}, "value", "one name"),
        (("a", "b", "24 ft"), {}, "value", "feet"),
        (("a", "b", "12 1/4"), {}, "value", "a fraction without a unit"),
        (("a", "b", "6.4 kg"), {}, "unit", "no unit of centres"),
        (("a", "b", "612 mm"), {"unit": "in"}, "unit", "--unit says in"),
        (("a", "b", "612"), {"unit": "furlong"}, "unit", "furlong"),
        (("6.4",), {"quantity": "mass", "unit": "mm"}, "unit", "no unit of mass"),
        (("a", "b", "612"), {"quantity": "distance"}, "quantity", "no quantity"),
        (("a", "b", "612"), {"instrument": "laser"}, "instrument", "no instrument"),
        (("a", "b", "612"), {"plus_minus": "-1"}, "plus_minus", "less than nothing"),
        (("a", "b", "612"), {"plus_minus": "0.1 in"}, "plus_minus", "in in and the value in mm"),
        (("a", "b", "612"), {"corrects": "r9"}, "corrects", "no reading r9"),
        (("a", "1", "612"), {"corrects": "r1"}, "corrects", "was read at a to b"),
        (("612",), {"corrects": "r1"}, "unit", "no unit is said"),
        (("a", "8"), {"corrects": "r1", "quantity": "across"}, "quantity", "is a reading of centres"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused(words: tuple[str, ...], rest: dict[str, str], column: str, says: str) -> None:
    with pytest.raises(FaultyInput) as refused:
        typed(*words, **rest)
    (problem,) = refused.value.problems
    assert problem.column == column
    assert says in problem.what
    assert problem.mend


def test_a_correction_may_leave_out_what_stays() -> None:
    found = typed("8.0", corrects="r2")
    assert (found.quantity, found.from_feature, found.instrument, found.unit) == ("across", "a", "caliper", "mm")
    assert typed("b", "a", "24 1/4 in", corrects="r1").value == 24.25


def test_everything_that_is_wrong_is_told_at_once() -> None:
    rest = {"unit": "ell", "instrument": "laser", "plus_minus": "-3", "on": "31.5."}
    with pytest.raises(FaultyInput) as refused:
        typed("x", "y", "long", **rest)
    columns = [problem.column for problem in refused.value.problems]
    assert columns == ["unit", "feature", "feature", "value", "instrument", "plus_minus", "on"]
    with pytest.raises(FaultyInput) as refused:
        understood(TOP, TypedWords("tip", ("x", "y", "612"), unit="ell"))
    assert [problem.column for problem in refused.value.problems] == ["part", "unit"]
    with pytest.raises(FaultyInput) as refused:
        typed("612", corrects="r9", instrument="laser")
    assert [problem.column for problem in refused.value.problems] == ["corrects", "instrument"]


def test_no_such_part_names_those_there_are() -> None:
    with pytest.raises(FaultyInput, match=r"there is no part 'tip'\. Did you mean 'top'\?"):
        understood(TOP, TypedWords("tip", ("a", "b", "612")))


# In a folder


def lines(folder: Path) -> list[str]:
    return (folder / "readings.csv").read_text(encoding="utf-8").splitlines()


def test_a_reading_is_added_and_nothing_else_changes(partkin, folder: Path) -> None:
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    done = partkin("record", "glove-dask", "k1", "k4", "208,5", "--unit", "mm", "--instrument", "seller", "--by", "me")
    assert done.exit_code == 0
    after = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert after.pop("readings.csv").startswith(before.pop("readings.csv"))
    assert after == before
    assert lines(folder)[-1] == "glove-dask,r1,centres,k1,k4,208.5,mm,,seller,me,,,"
    assert (
        "recorded r1 of glove-dask: k1 to k4, centre to centre, 208.5 mm, plus or minus 2.5 mm (seller)" in done.output
    )


def test_ids_go_on_from_the_greatest(partkin, folder: Path) -> None:
    for value in ("7.0", "7.1"):
        assert partkin("record", "top-kurm", "c", value, "-q", "across", "-i", "caliper").exit_code == 0
    # The demo has t2 of the same size, and the newest is the one with the highest id.
    assert [line.split(",")[1] for line in lines(folder)[-2:]] == ["t3", "t4"]


def test_the_change_of_the_verdict_is_said_in_one_line(partkin) -> None:
    """No chance is said while two layouts are open: that of the likelier one is not the donor's."""
    done = partkin("record", "glove-dask", "k1", "k4", "208.1", "-i", "tape")
    assert done.output.splitlines()[-1] == (
        "glove-dask: not enough measured, as before; now open: which of 2 layouts is the right one"
    )
    done = partkin("record", "glove-dask", "k3", "k4", "373.0", "-i", "tape")
    assert done.output.splitlines()[-1].endswith("-> bolts on (chance at least 96 in 100)")


def test_a_reading_of_the_original_tells_every_donor_of_its_place(partkin) -> None:
    done = partkin("record", "top-velt", "a", "c", "333.5", "-i", "tape")
    told = [line for line in done.output.splitlines() if line.startswith("top-")]
    assert [line.split(":")[0] for line in told] == ["top-dask", "top-kurm"]
    assert all(line.endswith("as before") for line in told)


def test_a_surprise_is_said_at_once_and_accepted(partkin, folder: Path) -> None:
    done = partkin("record", "top-kurm", "a", "f", "432", "-i", "tape")
    assert done.exit_code == 0
    assert "LOOK: 37 mm more than the other reading allows; tape hooked on the wrong edge?" in done.output
    assert "partkin record top-kurm VALUE --corrects r1" in done.output
    assert lines(folder)[-1].startswith("top-kurm,r1,centres,a,f,432,")
    mended = partkin("record", "top-kurm", "395.2", "--corrects", "r1")
    assert "LOOK" not in mended.output
    assert lines(folder)[-1] == "top-kurm,r2,centres,a,f,395.2,mm,,tape,,,r1,"


def test_one_slip_does_not_turn_the_verdict(partkin) -> None:
    """Three distances of a hole of which one is a slip: each of them may be it, so the verdict stays open."""
    partkin("record", "glove-dask", "k1", "k4", "208.1", "-i", "tape")
    done = partkin("record", "glove-dask", "k3", "k4", "12.5 in", "-i", "tape")
    assert "LOOK" in done.output
    assert "does not fit" not in done.output
    asked = partkin("measure-next", "glove-dask").output
    assert "partkin record glove-dask VALUE --corrects r2" in asked


def test_faulty_sheets_are_refused_and_stay(partkin, folder: Path) -> None:
    path = folder / "features.csv"
    path.write_text(path.read_text().replace("k1,hole,7", "k1,hoole,7"))
    before = (folder / "readings.csv").read_bytes()
    done = partkin("record", "glove-dask", "k1", "k4", "208.5")
    assert done.exit_code == 2
    assert (folder / "readings.csv").read_bytes() == before


def test_what_the_sheet_refuses_is_refused(partkin, folder: Path) -> None:
    before = (folder / "readings.csv").read_bytes()
    for words in (("k1", "k4", "0"), ("k1", "k4", "900 m"), ("k1", "k4", "208.5", "--on", "yesterday")):
        assert partkin("record", "glove-dask", *words).exit_code == 2, words
    assert (folder / "readings.csv").read_bytes() == before


def test_rows_that_belong_together_find_other_ids_where_theirs_were_taken_in_between(folder: Path) -> None:
    """As a photograph's distances do: numbered by a build that somebody else has added to since."""
    seen = load_build(folder)
    words = [TypedWords("side-kurm-right", ("r1", "r2", str(value)), instrument="tape") for value in (212, 213, 214)]
    first = recording.appended(folder, seen, lambda build: understood(build, words[0]))
    rest = recording.appended_all(folder, seen, lambda build: [understood(build, one) for one in words[1:]])
    ids = [row.reading for row in (first, *rest)]
    assert len(set(ids)) == 3
    now = {(row.reading, row.value) for row in load_build(folder).readings if row.part == "side-kurm-right"}
    assert set(zip(ids, (212.0, 213.0, 214.0), strict=True)) <= now


def test_several_at_once_all_get_their_own_id(folder: Path) -> None:
    faults: list[Exception] = []

    def one(number: int) -> None:
        try:
            recording.appended(folder, load_build(folder), lambda build: understood(build, said(number)))
        except Exception as fault:
            faults.append(fault)

    def said(number: int) -> TypedWords:
        return TypedWords("side-kurm-right", ("r1", "r2", str(212 + number)), instrument="tape")

    threads = [threading.Thread(target=one, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not faults
    rows = [line.split(",") for line in lines(folder) if line.startswith("side-kurm-right,")]
    assert sorted(row[1] for row in rows) == ["r1", "r2", "r3", "r4"]
    assert sorted(float(row[5]) for row in rows) == [212.0, 213.0, 214.0, 215.0]


# Taking back


def test_the_last_reading_is_taken_back_by_a_later_row(partkin, folder: Path) -> None:
    partkin("record", "glove-dask", "k1", "k4", "208.1", "-i", "tape")
    partkin("record", "glove-dask", "k3", "k4", "12.5 in", "-i", "tape")
    before = lines(folder)
    done = partkin("record", "glove-dask", "--undo")
    assert done.exit_code == 0
    assert lines(folder) == [*before, "glove-dask,r3,withdrawn,,,,,,,,,r2,"]
    assert done.output.splitlines()[0] == "recorded r3 of glove-dask: r2 does not count any more"
    assert "[r2]" not in partkin("positions", "glove-dask").output
    partkin("record", "glove-dask", "--undo")
    assert lines(folder)[-1] == "glove-dask,r4,withdrawn,,,,,,,,,r1,"
    partkin("record", "glove-dask", "--undo")
    assert lines(folder)[-1] == "glove-dask,r5,withdrawn,,,,,,,,,t3,"
    none_left = partkin("record", "glove-dask", "--undo")
    assert none_left.exit_code == 2
    assert "no reading of glove-dask counts" in none_left.stderr
    assert examine(folder).problems == ()


def test_a_correction_taken_back_lets_what_it_replaced_count_again(partkin, folder: Path) -> None:
    partkin("record", "glove-dask", "k1", "k4", "208.1", "-i", "tape", "--by", "me")
    partkin("record", "glove-dask", "281", "--corrects", "r1")
    done = partkin("record", "glove-dask", "--undo")
    assert "r2 does not count any more; k1 to k4, centre to centre, 208.1 mm" in done.output
    assert lines(folder)[-1] == "glove-dask,r3,centres,k1,k4,208.1,mm,,tape,me,,r2,"


def test_a_reading_that_is_named_is_taken_back(partkin, folder: Path) -> None:
    partkin("record", "glove-dask", "k1", "k4", "208.1", "-i", "tape")
    partkin("record", "glove-dask", "k3", "k4", "373.0", "-i", "tape")
    assert partkin("record", "glove-dask", "r1", "--undo").exit_code == 0
    for words, says in (
        (("r1", "--undo"), "r1 is taken back by r3 already"), (("r3", "--undo"), "r3 takes back r1"),
        (("281", "--corrects", "r3"), "r3 takes back r1"), (("r2", "r1", "--undo"), "one reading at most"),
        (("r2", "--undo", "--note", "x"), "--note"), (("1", "-q", "withdrawn"), "--undo"),
    ):  # fmt: skip
        refused = partkin("record", "glove-dask", *words)
        assert refused.exit_code == 2, words
        assert says in refused.stderr, refused.stderr
    assert len(lines(folder)) == len({line for line in lines(folder)})


def test_what_goes_wrong_in_judging_is_said_and_the_reading_stands(
    partkin, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise IndexError("a bug")

    monkeypatch.setattr("partkin.pipeline.check", broken)
    monkeypatch.setattr("partkin.positions.adjust", broken)
    done = partkin("record", "glove-dask", "k1", "k4", "208.1", "-i", "tape")
    assert done.exit_code == 0
    assert lines(folder)[-1].startswith("glove-dask,r1,centres,k1,k4,208.1,")
    assert "glove-dask was not checked: a fault of this program: IndexError: a bug" in done.output


# Places


def test_a_place_is_filled_in_where_there_is_none(partkin, folder: Path) -> None:
    before = (folder / "features.csv").read_text().splitlines()
    done = partkin("record", "glove-dask", "k4", "--at", "6,208", "--instrument", "template")
    assert done.exit_code == 0, done.output
    after = (folder / "features.csv").read_text().splitlines()
    assert [number for number, (a, b) in enumerate(zip(before, after, strict=True)) if a != b] == [len(before) - 1]
    assert after[-1] == "glove-dask,k4,hole,7,,,,,,6,208,,0.604,G4,,"
    assert "bolts on" in done.output


def test_a_stated_place_is_never_written_over(partkin, folder: Path) -> None:
    before = (folder / "features.csv").read_bytes()
    done = partkin("record", "glove-dask", "k1", "--at", "6,208")
    assert done.exit_code == 2
    assert b"has a place already (x_mm 0, y_mm 0)" in done.stderr_bytes
    assert (folder / "features.csv").read_bytes() == before


@pytest.mark.parametrize("at", ["6", "6;208;1;2", "6,5,208,1", "x,y", "6,"])
def test_no_place_at_all(partkin, folder: Path, at: str) -> None:
    before = (folder / "features.csv").read_bytes()
    assert partkin("record", "glove-dask", "k4", "--at", at).exit_code == 2
    assert (folder / "features.csv").read_bytes() == before


def test_everything_that_is_wrong_with_a_place_is_told_at_once(partkin, folder: Path) -> None:
    before = (folder / "features.csv").read_bytes()
    done = partkin("record", "glove-dask", "k1", "--at", "x", "-u", "ell", "-i", "laser", "--plus-minus", "-3")
    assert done.exit_code == 2
    assert [line.split(":")[2] for line in done.stderr.splitlines()] == ["at", "unit", "at", "instrument", "plus_minus"]
    assert (folder / "features.csv").read_bytes() == before


@pytest.mark.parametrize("at", ["6.5,208.25", "6,5;208,25", "0.25590551,8.198818898"])
def test_places_with_commas_and_inches(partkin, folder: Path, at: str) -> None:
    unit = ("--unit", "in") if at.startswith("0.2") else ()
    assert partkin("record", "glove-dask", "k4", "--at", at, *unit, "--plus-minus", "0.02").exit_code == 0
    found = next(f for f in load_build(folder).features if f.feature == "k4")
    assert (found.x_mm, found.y_mm) == (pytest.approx(6.5), pytest.approx(208.25))
    assert found.plus_minus_mm == pytest.approx(0.508 if unit else 0.02)


def test_help_ends_in_an_example(partkin) -> None:
    from typer.testing import CliRunner

    from partkin.cli.app import app

    for command in ("record", "positions", "measure-next", "photo", "same-shape"):
        shown = CliRunner().invoke(app, [command, "--help"])
        assert shown.exit_code == 0
        assert f"Example: partkin {command}" in shown.output


def test_the_commands_of_the_page_on_measuring_do_what_it_says(partkin, folder: Path) -> None:
    page = (Path(__file__).parents[2] / "docs" / "measuring.md").read_text(encoding="utf-8")
    commands = re.findall(r"^    partkin (record .*)$", page, re.MULTILINE)
    assert len(commands) == 7
    for command in commands:
        done = partkin(*shlex.split(command))
        assert done.exit_code == 0, (command, done.stderr)
    assert [line.split(",")[1] for line in lines(folder)[-6:]] == ["r1", "r1", "r2", "r3", "r4", "r2"]


# Left and right


def test_left_of_a_line_is_an_answer_without_a_value() -> None:
    words = on_a_side(TypedWords("top", ("1",)), ("a", "b"), None)
    found = understood(TOP, words)
    assert (found.quantity, found.from_feature, found.line_from, found.line_to) == ("left of", "1", "a", "b")
    assert (found.value, found.unit, found.to_feature) == (None, None, None)
    cells = cells_of("readings.csv", [replace(found, reading="r1")])
    assert cells == [{"part": "top", "reading": "r1", "quantity": "left of", "from": "1", "to": "a b"}]
    assert understood(TOP, TypedWords("top", ("1", "a", "b"), quantity="left-of")) == found


@pytest.mark.parametrize(
    ("words", "rest", "says"),
    [
        (("1", "a"), {}, "a feature and a line through two others"),
        (("1", "a", "a"), {}, "a is named twice"),
        (("a", "a", "b"), {}, "a is named twice"),
        (("1", "a", "c"), {}, "has no feature c"),
        (("1", "a", "b"), {"unit": "mm"}, "has no value, and so no unit"),
        (("1", "a", "b"), {"plus_minus": "1"}, "has no value, and so no plus minus"),
        (("1", "a", "b"), {"corrects": "r1"}, "r1 is a reading of centres"),
    ],
)
def test_an_answer_that_cannot_be_meant_is_refused(words: tuple, rest: dict, says: str) -> None:
    with pytest.raises(FaultyInput) as refused:
        typed(*words, quantity="left of", **rest)
    assert says in " ".join(str(problem) for problem in refused.value.problems)


@pytest.mark.parametrize("lines", [(("a", "b"), ("a", "b")), (("a", "--in"), None)])
def test_two_sides_at_once_or_an_option_for_a_name_are_refused(lines: tuple) -> None:
    with pytest.raises(FaultyInput):
        on_a_side(TypedWords("top", ("1",)), *lines)


def test_an_answer_is_corrected_by_the_other_one_of_the_same_three() -> None:
    seen = Reading("top", "s1", "left of", None, None, "1", line_from="a", line_to="b")
    build = Build(parts=TOP.parts, features=HOLES, readings=(seen,))
    found = understood(build, TypedWords("top", ("1", "b", "a"), quantity="left of", corrects="s1"))
    assert found.corrects == "s1" and found.line_from == "b"
    with pytest.raises(FaultyInput, match="seen at 1 beside a to b"):
        understood(build, TypedWords("top", ("a", "1", "b"), quantity="left of", corrects="s1"))
