"""One check asked of the graph: the sides, the evidence, what forbids, and what cannot be told."""

from dataclasses import replace

import pytest

from graph.builds import dashboard
from partkin.graph import ask_check, compile_graph
from partkin.model.build import Build, Feature, Part, VehicleModel
from partkin.model.known import Known


def ask(build: Build, donor: str, host: str | None = None):
    return ask_check(compile_graph(build), donor, host)


def known(build: Build, donor: str, host: str | None = None) -> Known:
    answer = ask(build, donor, host)
    assert isinstance(answer, Known), answer
    return answer


def problem(build: Build, donor: str, host: str | None = None):
    answer = ask(build, donor, host)
    assert isinstance(answer, tuple) and len(answer) == 1
    return answer[0]


def parts(*listed: Part) -> Build:
    return Build(parts=listed)


HOST = Part("h", origin="host")
ORIGINAL = Part("o", origin="original", takes_place_of="h")
DONOR = Part("d", origin="donor", takes_place_of="h")


def ids(answer: Known) -> tuple[str, str, str | None]:
    return answer.host.part.part, answer.donor.part.part, answer.original.part.part if answer.original else None


def test_the_host_is_the_one_the_donor_names():
    assert ids(known(parts(HOST, ORIGINAL, DONOR, Part("g", origin="host")), "d")) == ("h", "d", "o")


def test_an_original_that_is_named_gives_way_to_its_host():
    assert ids(known(parts(HOST, ORIGINAL, replace(DONOR, takes_place_of="o")), "d")) == ("h", "d", "o")
    assert ids(known(parts(HOST, ORIGINAL, DONOR), "d", "o")) == ("h", "d", "o")


def test_an_original_without_a_host_stands_as_host():
    alone = replace(ORIGINAL, takes_place_of=None)
    assert ids(known(parts(alone, replace(DONOR, takes_place_of="o")), "d")) == ("o", "d", "o")
    assert ids(known(parts(alone, replace(DONOR, takes_place_of=None)), "d")) == ("o", "d", "o")


def test_with_no_place_named_the_only_host_is_meant():
    assert ids(known(parts(HOST, ORIGINAL, replace(DONOR, takes_place_of=None)), "d")) == ("h", "d", "o")
    unsure = problem(parts(HOST, Part("g", origin="host"), replace(DONOR, takes_place_of=None)), "d")
    assert unsure.column == "takes_place_of" and "g, h" in unsure.mend
    assert problem(parts(replace(DONOR, takes_place_of=None)), "d").column == "origin"


def test_the_answer_names_the_other_host_when_asked_for_it():
    build = parts(HOST, ORIGINAL, DONOR, Part("g", origin="host"))
    assert ids(known(build, "d", "g")) == ("g", "d", None)


def test_of_two_originals_the_measured_one_is_taken_and_then_the_first():
    second = replace(ORIGINAL, part="o2")
    build = parts(HOST, ORIGINAL, second, DONOR)
    assert ids(known(build, "d"))[2] == "o"
    measured = replace(build, features=(Feature("o2", "a", "hole"),))
    assert ids(known(measured, "d"))[2] == "o2"
    assert ids(known(measured, "d", "o"))[2] == "o"


def test_an_original_may_be_checked_on_its_own_host():
    answer = known(parts(HOST, ORIGINAL), "o")
    assert ids(answer) == ("h", "o", "o")
    assert answer.evidence[0].kind == "same part number" and answer.evidence[0].strength == 1


def test_a_part_that_is_not_there_is_told_with_the_nearest():
    assert problem(dashboard(), "top2").mend == "Did you mean 'top-2'?"
    assert problem(dashboard(), "top-2", "fram").mend == "Did you mean 'frame'?"
    assert problem(Build(), "x").mend == "No part is listed yet: give each a row there, with an id of its own"


def test_a_host_is_no_donor_and_a_donor_no_host():
    assert problem(dashboard(), "frame").column == "origin"
    assert problem(dashboard(), "top-2", "top-3").column == "origin"


def test_a_place_that_is_not_there_is_told_at_its_row():
    told = problem(parts(HOST, replace(DONOR, takes_place_of="hh", row=7)), "d")
    assert (told.row, told.column) == (7, "takes_place_of")


def kinds(answer: Known) -> list[tuple[str, int, bool]]:
    return [(one.kind, one.strength, one.speaks_for) for one in answer.evidence]


def test_a_chain_of_numbers_is_told_link_by_link():
    answer = known(dashboard(), "top-2")
    assert kinds(answer) == [("superseded", 2, True), ("carried over", 4, True)]
    assert answer.evidence[0].because == (
        "top-1 carries X-100.A",
        "X-100a is replaced by X101, says spare",
        "X 101 is replaced by x102, says top-2",
        "top-2 carries x102",
    )
    assert answer.evidence[0].source == "common practice, no source"


def test_another_hand_drive_and_years_are_doubts():
    answer = known(dashboard(), "top-3")
    assert kinds(answer) == [
        ("looks alike", 5, True),
        ("pictured alike", 5, True),
        ("other hand", 0, False),
        ("other drive", 0, False),
        ("other years", 0, False),
    ]
    assert "right-hand" in answer.evidence[2].says and "left-hand" in answer.evidence[2].says
    assert "1998 to 2002" in answer.evidence[4].says and "2004 to 2009" in answer.evidence[4].says


def test_a_donor_without_a_place_is_compared_with_what_it_is_asked_about():
    graph = compile_graph(dashboard())
    first = ask_check(graph, "spare", "frame")
    assert isinstance(first, Known)
    assert kinds(first) == [("superseded", 2, True)]
    assert ask_check(graph, "spare", "frame") == first


def test_asking_about_one_donor_changes_nothing_for_another():
    graph = compile_graph(dashboard())
    before = ask_check(graph, "top-2")
    ask_check(graph, "spare", "frame")
    assert ask_check(graph, "top-2") == before


@pytest.mark.parametrize("written", ["ab 12.34", "AB-12-34", "a.b.1234", "AB\u20111234"])
def test_the_same_number_however_written(written):
    answer = known(parts(HOST, replace(ORIGINAL, part_number="AB1234"), replace(DONOR, part_number=written)), "d")
    assert kinds(answer)[0] == ("same part number", 1, True)
    assert written in answer.evidence[0].says and "AB1234" in answer.evidence[0].says


def test_numbers_that_differ_are_not_the_same():
    for number in ("AB1235", "AB12/34", None, "---"):
        answer = known(parts(HOST, replace(ORIGINAL, part_number="AB1234"), replace(DONOR, part_number=number)), "d")
        assert kinds(answer) == []
    nothing = parts(HOST, replace(ORIGINAL, part_number="--"), replace(DONOR, part_number="-"))
    assert kinds(known(nothing, "d")) == []


def test_an_older_number_is_a_doubt():
    answer = known(
        parts(HOST, replace(ORIGINAL, part_number="B", replaces=("A",)), replace(DONOR, part_number="A")), "d"
    )
    assert kinds(answer) == [("older part number", 0, False)]
    assert answer.evidence[0].because == ("d carries A", "A is replaced by B, says o")


def test_a_donor_that_replaces_without_a_number_of_its_own_still_supersedes():
    answer = known(parts(HOST, replace(ORIGINAL, part_number="A"), replace(DONOR, replaces=("a",))), "d")
    assert kinds(answer) == [("superseded", 2, True)]


def test_models():
    def told(ours: VehicleModel | None, theirs: VehicleModel | None) -> list[str]:
        models = tuple(dict.fromkeys(one for one in (ours, theirs) if one))
        build = replace(
            parts(
                HOST,
                replace(ORIGINAL, name="Top", model=theirs and theirs.model),
                replace(DONOR, name="top ", model=ours and ours.model),
            ),
            models=models,
        )
        build = replace(
            build, parts=tuple(replace(part, name=part.name.strip()) if part.name else part for part in build.parts)
        )
        return [one.kind for one in known(build, "d").evidence]

    one, two = VehicleModel("1", platform="K"), VehicleModel("2", platform="k")
    assert told(one, two) == ["carried over"]
    assert told(VehicleModel("1"), VehicleModel("1")) == ["carried over"]
    assert told(one, VehicleModel("2", platform="J")) == ["looks alike"]
    assert told(one, VehicleModel("2")) == ["looks alike"]
    assert told(None, None) == ["looks alike"]
    years = {"first_year": 2001, "last_year": 2004}
    assert told(VehicleModel("1", **years), VehicleModel("2", first_year=2005)) == ["looks alike", "other years"]
    assert told(VehicleModel("1", **years), VehicleModel("2", first_year=2004)) == ["looks alike"]
    assert told(VehicleModel("1", **years), VehicleModel("2")) == ["looks alike"]


def forbidden(host: str | None, original: str | None, donor: str | None) -> list[str]:
    answer = known(parts(replace(HOST, duty=host), replace(ORIGINAL, duty=original), replace(DONOR, duty=donor)), "d")
    return [f"{one.kind} {one.because[0].split()[0]}" for one in answer.forbids]


def test_what_forbids():
    assert forbidden("body", "trim", "trim") == []
    assert forbidden("restraint", "trim", "trim") == ["restraint duty h"]
    assert forbidden(None, None, "restraint") == ["restraint duty d"]
    assert forbidden("trim", "structural", None) == ["structural duty o"]
    assert forbidden("structural", None, "trim") == ["structural duty h"]
    assert forbidden("trim", None, None) == ["unknown duty d"]
    assert forbidden("trim", "trim", None) == []
    assert forbidden("structural", "restraint", "structural") == [
        "restraint duty o",
        "structural duty d",
        "structural duty h",
    ]


def test_what_forbids_without_an_original():
    answer = known(parts(replace(HOST, duty="trim"), DONOR), "d")
    assert [one.kind for one in answer.forbids] == ["unknown duty"]
    assert all(not one.speaks_for and one.strength == 0 and one.source for one in answer.forbids)


def test_ids_that_an_iri_has_to_escape():
    build = parts(
        Part("..", origin="host"),
        Part("~x", origin="original", takes_place_of=".."),
        Part("a b/ä", origin="donor", takes_place_of=".."),
    )
    assert ids(known(build, "a b/ä")) == ("..", "a b/ä", "~x")
