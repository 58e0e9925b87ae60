"""Why a verdict is what it is, and what would change it: the claims are tried out. All parts are invented."""

from __future__ import annotations

import math
import time
from dataclasses import replace

import pytest

import partkin
from builders import build, holes, studs
from partkin import pipeline
from partkin.commands import explaining
from partkin.graph import known_of
from partkin.model.build import Build, Part, VehicleModel
from partkin.report.explaining import chain_text

PLATE = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)]
OUT = [(0.0, 0.0), (304.0, 0.0), (310.0, 200.0), (0.0, 180.0)]
MODELS = (
    VehicleModel("one", platform="P", first_year=2014, last_year=2016),
    VehicleModel("two", platform="P", first_year=2017, last_year=2020),
    VehicleModel("other", platform="Q", first_year=2014, last_year=2016),
)


def made(at=PLATE, original: Part | None = None, more: tuple[Part, ...] = (), **donor) -> Build:
    """A host with an original that stood on it, and a donor with holes there."""
    first = build(studs(PLATE), holes(at))
    stood = original or Part("old", "bracket", "one", "A-1")
    stood = replace(stood, origin="original", takes_place_of="host", seen_from="outside", duty="trim", airbag=False)
    parts = tuple(replace(p, duty="trim", airbag=False, **donor) if p.part == "donor" else p for p in first.parts)
    parts = tuple(replace(p, duty="body") if p.part == "host" else p for p in parts)
    return replace(first, models=MODELS, parts=(*parts, stood, *more))


def why(first: Build) -> str:
    verdict, disagreeing = explaining.verdict_and_disagreements(first, "donor")
    return " ".join(chain_text(verdict, [(one.says, one.decides) for one in disagreeing]).split())


B_FOR_A = Part("in-between", "bracket", part_number="B-1", replaces=("A-1",))


def test_a_chain_of_replaced_numbers_is_told_link_by_link() -> None:
    first = made(OUT, more=(B_FOR_A,), part_number="C-1", replaces=("B-1",))
    verdict = partkin.check(first, "donor")
    assert verdict.verdict == "bolts on"
    told = why(first)
    chain = [
        "old carries A-1",
        "A-1 is replaced by B-1, says in-between",
        "B-1 is replaced by C-1, says donor",
        "donor carries C-1",
    ]
    places = [told.index(link) for link in chain]
    assert places == sorted(places)
    # Without the link between, the chain is broken and the readings decide.
    assert partkin.check(made(OUT, part_number="C-1", replaces=("B-1",)), "donor").verdict != "bolts on"


def test_a_longer_chain_and_one_written_otherwise() -> None:
    more = (B_FOR_A, Part("third", part_number="c 1", replaces=("b1",)))
    first = made(OUT, more=more, part_number="D-1", replaces=("C-1",))
    assert partkin.check(first, "donor").verdict == "bolts on"
    told = why(first)
    assert "b1 is replaced by c 1, says third" in told and "C-1 is replaced by D-1, says donor" in told


def test_the_older_number_of_a_chain_is_no_evidence_for() -> None:
    newest = Part("old", "bracket", "one", "C-1", replaces=("B-1",))
    first = made(OUT, original=newest, more=(B_FOR_A,), part_number="A-1")
    evidence = known_of(first, "donor").evidence
    assert [(e.kind, e.speaks_for) for e in evidence if e.strength in (0, 2)] == [("older part number", False)]
    assert partkin.check(first, "donor").verdict != "bolts on"
    assert "says nothing about the other way round" in why(first)


def test_a_number_overrules_the_readings_and_both_are_told_with_what_decides() -> None:
    for donor in ({"part_number": "a1"}, {"part_number": "B-1", "replaces": ("A-1",)}):
        first = made(OUT, **donor)
        verdict = partkin.check(first, "donor")
        assert verdict.verdict == "bolts on"
        found = explaining.disagreements(pipeline.find_out(first, "donor"))
        assert len(found) == 1 and "the number counts more" in found[0].says
        assert found[0].decides.startswith("read a") and "read the number off the part itself" in found[0].decides
        assert any(unknown.what == "readings against part number" for unknown in verdict.unknown)


def test_the_readings_overrule_what_is_carried_over_and_what_looks_alike() -> None:
    for model, kind in (("two", "carried over"), ("other", "looks alike")):
        fits, out = made(name="bracket", model=model), made(OUT, name="bracket", model=model)
        assert [e.kind for e in known_of(out, "donor").evidence if e.speaks_for] == [kind]
        assert partkin.check(fits, "donor").verdict == "bolts on"
        assert partkin.check(out, "donor").verdict in ("does not fit", "bolts on with adaptation")
        assert "what was measured says that it does not go on as it is, and counts more" in why(out)
        assert "decides: read a" in why(out)


def test_a_change_in_mid_life_is_a_doubt_with_its_question_and_the_readings_decide() -> None:
    first = made(name="bracket", model="two")
    verdict = partkin.check(first, "donor")
    assert verdict.verdict == "bolts on"
    told = why(first)
    assert "the donor's model was made 2017 to 2020, the original's 2014 to 2016" in told
    assert "what was measured says that it goes on, and counts more" in told
    assert "ask for the day its car was built" in told
    # The same years, or years that are open at one end, are no doubt.
    for last in (None, 2018):
        models = (replace(MODELS[0], last_year=last), *MODELS[1:])
        assert "do not overlap" not in why(replace(first, models=models))


def test_a_doubt_beside_evidence_is_a_disagreement_where_nothing_is_measured() -> None:
    first = made(name="bracket", model="two", hand="left", original=Part("old", "bracket", "one", hand="right"))
    first = replace(first, features=tuple(f for f in first.features if f.part == "host"))
    assert partkin.check(first, "donor").verdict == "not enough measured"
    found = explaining.disagreements(pipeline.find_out(first, "donor"))
    assert {one.decides.split(",")[0] for one in found} == {
        "look which hand is moulded or stamped into it",
        "ask for the day its car was built: the years of a model overlap a change in mid-life",
    }
    assert all("neither decides alone" in one.says for one in found)


def test_no_disagreement_where_all_agree() -> None:
    assert explaining.disagreements(pipeline.find_out(made(name="bracket", model="one"), "donor")) == ()


def stands(first: Build) -> bool:
    return pipeline.find_out(first, "donor").trial.answer.fits


def test_the_hole_that_would_have_to_be_wider_lets_it_go_on_when_it_is() -> None:
    first = made(OUT)
    _, found = explaining.explain(first, "donor")
    assert found and [one.size_mm for one in found[:-1]] == sorted(one.size_mm for one in found[:-1])
    for one in found[:-1]:
        feature = one.says.split("if ")[1].split(" on ")[0]
        for share, goes_on in ((1.0, True), (0.9, False)):
            wider = tuple(
                replace(f, across_mm=f.across_mm + 2 * share * one.size_mm) if f.feature == feature else f
                for f in first.features
            )
            assert stands(replace(first, features=wider)) is goes_on, one.says


def test_the_number_that_would_change_it_does() -> None:
    first = made(OUT)
    _, found = explaining.explain(first, "donor")
    assert "if it carried A-1" in found[-1].says
    assert partkin.check(made(OUT, part_number="A-1"), "donor").verdict == "bolts on"


def test_where_several_are_out_it_is_said_with_what_all_would_need() -> None:
    wild = [(x_mm * 1.03, y_mm * 1.05) for x_mm, y_mm in PLATE]
    first = made(wild)
    one = explaining.explain(first, "donor")[1][0]
    assert "no change at one fixing alone" in one.says
    for share, goes_on in ((1.02, True), (0.95, False)):
        wider = tuple(
            replace(f, across_mm=f.across_mm + 2 * share * one.size_mm) if f.part == "donor" else f
            for f in first.features
        )
        assert stands(replace(first, features=wider)) is goes_on


def test_the_feature_that_would_have_to_stand_off_undoes_it_when_it_does() -> None:
    first = made([(0.0, 0.0), (300.6, 0.0), (310.0, 200.2), (0.0, 180.0)])
    one = explaining.explain(first, "donor")[1][0]
    feature = one.says.split("if ")[1].split(" stood")[0]
    for share, broken in ((1.2, True), (0.8, False)):
        moved = [
            tuple(
                replace(f, x_mm=f.x_mm + share * one.size_mm * math.cos(turn), y_mm=f.y_mm + share * one.size_mm
                        * math.sin(turn)) if f.feature == feature else f
                for f in first.features
            )
            for turn in (2 * math.pi * k / 24 for k in range(24))
        ]  # fmt: skip
        assert any(not stands(replace(first, features=features)) for features in moved) is broken


def test_patterns_that_lie_exactly_on_each_other_say_how_far_any_feature_may_be_off() -> None:
    one = explaining.explain(made(), "donor")[1][0]
    assert one.says.startswith("as long as no feature stands more than 0.50 mm off")


def test_an_open_verdict_names_its_readings_and_a_restraint_none() -> None:
    first = made()
    features = tuple(replace(f, across_mm=None) if f.feature == "a1" else f for f in first.features)
    verdict, found = explaining.explain(replace(first, features=features), "donor")
    assert verdict.verdict == "not enough measured"
    assert [one.says for one in found] == [unknown.says for unknown in verdict.unknown[:3]]
    parts = tuple(replace(p, duty="restraint") if p.part == "donor" else p for p in first.parts)
    assert "only the maker's part number decides" in explaining.explain(replace(first, parts=parts), "donor")[1][0].says


@pytest.mark.slow
def test_why_takes_half_a_second_at_most() -> None:
    first = made(OUT, name="bracket", model="two")
    explaining.verdict_and_disagreements(first, "donor")
    for ask in (explaining.verdict_and_disagreements, explaining.explain):
        begun = time.process_time()
        ask(first, "donor")
        assert time.process_time() - begun < 0.5
