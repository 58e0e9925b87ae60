"""What a verdict shows: how the donor lies, what is in conflict, what is left over and which work is offered."""

from __future__ import annotations

from dataclasses import replace
from importlib import import_module

import pytest
from found import LAID, NOT_ON, OUT, SAME_NUMBER, SURE, WHERE, conflict, findings, pairs, side, trial, work

from builders import given, holes
from partkin.model.fitting import Nogood, OddHole, OddHoles, WithinErrors
from partkin.model.mating import Mating
from partkin.model.verdict import SeamCheck
from partkin.verdict.phrases import conflict_says, laid, needs

# The package offers the function of the same name.
decide = import_module("partkin.verdict.decide").decide

ON_IT = "donor (donor) goes on host"
NOT_AS_IS = "donor (donor) does not go on host as it is"
PLATE_OF_FOUR = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)]


def test_places_are_told_and_work_only_where_it_is_wanted() -> None:
    likely = trial("does not", OUT, work=work("one").adaptations[0], chance=replace(SURE, fits=0.7))
    for stand, offered in (("unsure", True), ("fits", False)):
        told = decide(findings(trial(stand, nowhere=(frozenset({"F2"}), frozenset({"a1", "a3"}))), likely=likely))
        assert [name for name, _ in told.host_positions] == ["F1", "F3"]
        assert told.donor_positions == (("a2", (300.0, 0.0)),) and told.placement == LAID
        assert (told.likely_work is not None, told.likely_chance is not None) == (offered, offered)
    told = decide(findings(trial(placement=None, flex_used_mm=0.4, gaps=(("F1", 0.2),), also=3, chance=SURE)))
    assert (told.placement, told.flex_used_mm, told.gaps, told.also) == (None, 0.4, (("F1", 0.2),), 3)
    assert (told.chance, told.margin_mm) == (SURE, 0.2)
    told = decide(findings(trial("missing", chance=SURE, missing=(WHERE,), gaps=(("F1", 0.2),), also=3)))
    assert (told.chance, told.margin_mm, told.gaps, told.also) == (None, None, (), 0)


@pytest.mark.parametrize(
    ("adapted", "fits", "waits", "offered"),
    [(0.95, None, False, True), (0.94, None, False, False), (None, None, False, False),
     (0.95, None, True, True), (0.94, None, True, False), (0.95, 0.04, True, True), (0.95, 0.06, True, False)],
)  # fmt: skip
def test_work_is_offered_where_it_makes_sure(
    adapted: float | None, fits: float | None, waits: bool, offered: bool
) -> None:
    """Of a donor that may well go on as it is none is, whatever it waits for."""
    chance = None if fits is None else replace(SURE, fits=fits)
    answer = replace(work("one"), waits=waits)
    after = None if adapted is None else replace(SURE, fits=adapted)
    told = decide(findings(replace(NOT_ON, chance=chance), adapting=answer, adapted_chance=after))
    assert (told.adaptation is not None) == offered == (told.adapted_chance is not None)
    assert told.conflict_says is not None


def test_the_conflict_covers_every_way_round_that_was_tried_with_the_same_places() -> None:
    one = conflict(fixings=("F1",), features=("a1",), nogoods=(Nogood((("F1", "a1"),), ()),), errors=WithinErrors(1.4))
    two = replace(one, fixings=("F2", "F1"), features=("a2",), errors=WithinErrors(1.2))
    ways = [trial("does not", OUT, conflict=each, mirrored=at > 0) for at, each in enumerate((one, two))]
    told = decide(findings(*ways)).conflict
    assert told is not None and told.errors is not None
    assert (told.fixings, told.features, len(told.nogoods)) == (("F1", "F2"), ("a1", "a2"), 2)
    assert (told.errors.share, told.errors.nogoods) == (1.2, ())
    elsewhere = decide(findings(ways[0], replace(ways[1], layouts=(0, 1)))).conflict
    assert elsewhere is not None and elsewhere.fixings == ("F1",) and elsewhere.errors == WithinErrors(1.4)
    unknown = decide(findings(ways[0], replace(ways[1], answer=replace(ways[1].answer, conflict=conflict())))).conflict
    assert unknown is not None and unknown.errors is None
    proofs = [WithinErrors(share, (name,), (), (Nogood((), ()),)) for share, name in ((1.4, "F1"), (1.2, "F2"))]
    proved = [
        trial("does not", OUT, conflict=replace(one, errors=each), mirrored=at > 0) for at, each in enumerate(proofs)
    ]
    both = decide(findings(*proved)).conflict
    assert both is not None and both.errors is not None
    assert (both.errors.share, both.errors.fixings, len(both.errors.nogoods)) == (1.2, ("F1", "F2"), 2)


def test_laid_where_the_most_hold_it_is_said_what_does_not() -> None:
    odd = OddHoles(LAID, pairs(0.2, 0.3, -2.0), (OddHole("F3", "a3", (2.5, 0.0), 2.0),))
    told = decide(findings(NOT_ON, odd=odd))
    assert told.odd is not None and told.odd.says == "2 of 3 fixings hold; a3 on F3 is 2.5 mm to the right"
    assert told.says == f"{NOT_AS_IS}: {told.odd.says}; no work that may be done to it was found."
    assert told.reasons[1].says == told.odd.says
    worked = decide(findings(NOT_ON, odd=odd, adapting=work("one"), adapted_chance=SURE))
    assert worked.says == f"{ON_IT} after the work listed below. As it is: {told.odd.says}."


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (conflict(0, shortfall_mm=1.0),
         "no feature of the donor goes on any fixing; the one that comes nearest: a1 does "
         "not go on F1: its play is 0.50 mm"),
        (conflict(1), "a1 does not go on F1: its play is 0.50 mm"),
        (conflict(2, shortfall_mm=1.25),
         "a2 stands 0.00 mm nearer to a1 than F2 from F1 (donor 300.0, host 300.0 mm); the "
         "play there allows 1.0 mm between them; each is 1.2 mm short at best"),
        (conflict(3), "however it is turned and shifted, F1, F2 and F3 never all go on together: at best (a1 on F1, a2 "
         "on F2 and a3 on F3) they are still 1.5 mm out of reach"),
        (conflict(3, features=("a1",)),
         "however it is turned and shifted, F1, F2, F3 and a1 never all go on together: at "
         "best (a1 on F1, a2 on F2 and a3 on F3) they are still 1.5 mm out of reach"),
        (conflict(0, shortfall_mm=None, fixings=("F9",)), "nothing of the donor goes on F9"),
        (conflict(0, shortfall_mm=None, fixings=("F8", "F9")),
         "nothing of the donor goes on F8; nothing of the donor goes "
         "on F9"),
        (conflict(0, shortfall_mm=None, features=("a9",)),
         "nothing of the host takes a9 of the donor, which must be used"),
        (conflict(0, shortfall_mm=None, fixings=("F1", "F2")),
         "2 fixings (F1 and F2) and only 2 features of the donor that "
         "can go on them"),
        (conflict(0, shortfall_mm=None, features=("a1", "a2")),
         "a1 and a2 of the donor must be used, and the host has too "
         "few fixings that take them"),
    ],
)  # fmt: skip
def test_why_fixings_cannot_all_be_held(found, told: str) -> None:
    one = trial("does not", OUT, conflict=found)
    as_laid = laid(findings(one), one, LAID, one.answer.pairs).pairs
    assert conflict_says(one, as_laid) == told


def test_what_keeps_the_others_off_a_fixing_is_said_where_it_is_one_thing() -> None:
    blocked = {
        ("F9", "a1"): Mating("F9", "a1", None, None, "M6 into M8", option=False),
        ("F9", "a2"): Mating("F9", "a2", None, None, "M6 into M8", option=False),
        ("F8", "a1"): Mating("F8", "a1", None, None, "a peg needs a hole", option=False),
        ("F8", "a2"): Mating("F8", "a2", None, None, "too thick", option=False),
    }
    alone = conflict(0, shortfall_mm=None, fixings=("F9", "F8"))
    told = conflict_says(trial("does not", OUT, conflict=alone, matings=blocked), ())
    assert told == "nothing of the donor goes on F9 (M6 into M8); nothing of the donor goes on F8"


def test_what_is_left_over_and_why() -> None:
    """F2 and F3 pair with nothing, a3 is a spare, and F1 is not wholly measured."""
    donor = [
        replace(f, need=need)
        for f, need in zip(given(holes(PLATE_OF_FOUR)), (None, "must", "spare", None), strict=True)
    ]
    donor[3] = replace(donor[3], kind="stud")
    one = trial(pairs=(replace(pairs(0.2)[0], allowed_mm=1.0e4),), margin_mm=0.2)
    task = replace(
        one.task, options=tuple(o for o in one.task.options if o.fixing != "F3"),
        features=(*one.task.features, replace(one.task.features[0], id="a4")),
    )  # fmt: skip
    matings = {("F3", "a3"): Mating("F3", "a3", None, None, "M6 into M8", option=False)}
    one = replace(one, task=replace(task, given=False), matings=matings)
    found = findings(one, donor={"features": donor})
    assert needs(found, donor=True) == {"a1": "should", "a2": "must", "a3": "spare", "a4": "should"}
    assert needs(found, donor=False) == dict.fromkeys(("F1", "F2", "F3"), "must")
    told = laid(found, one, LAID, one.answer.pairs)
    assert [(pair.fixing, pair.state, pair.why) for pair in told.pairs] == [("F3", "blocked", "M6 into M8")]
    assert [(left.fixing or left.feature, left.need, left.why) for left in told.unpaired] == [
        ("F1", "must", "not everything is measured here"),
        ("F2", "must", "no feature of the donor is in reach"),
        ("a2", "must", "no fixing of the host is in reach"),
        ("a4", "should", "this stud meets no hole of the host as listed: see that it stands clear, or it holds the "
        "part off"),
    ]  # fmt: skip


def test_of_a_search_that_ended_early_nothing_is_said_to_be_out_of_reach() -> None:
    for ended, why in (
        (True, "what goes on it was not searched to the end"),
        (False, "no feature of the donor is in reach"),
    ):
        shown = {"pairs": (), "margin_mm": None} if ended else {"pairs": pairs(0.2)}
        one = trial("undecided", limit="undecided after 10 steps", **shown)
        told = {left.fixing: left.why for left in decide(findings(one)).unpaired if left.fixing}
        assert told == dict.fromkeys(("F1", "F2", "F3") if ended else ("F2", "F3"), why)


FAR = SeamCheck(too_far=(("tear seam", 12.0, 2.0), ("airbag door", 3.0, 2.5)))


def test_a_seam_that_lies_elsewhere_is_shown_where_the_verdict_rests_on_it() -> None:
    told = decide(findings(trial(seams=FAR), seams=FAR))
    assert told.elsewhere is not None and (told.elsewhere.kind, told.elsewhere.within_mm) == ("tear seam", 2.0)
    assert told.conflict_says is not None and told.conflict_says.startswith("the donor's tear seam lies 12.0 mm from")
    by_number = decide(findings(trial(seams=FAR), seams=FAR, evidence=(SAME_NUMBER,)))
    assert (by_number.elsewhere, by_number.conflict_says) == (None, None)
    assert "yet its tear seam reads as lying 12.0 mm from" in by_number.unknown[0].says
    assert decide(findings(replace(NOT_ON, seams=FAR), seams=FAR)).elsewhere is None


@pytest.mark.parametrize(
    ("donor", "original", "rules"),
    [
        ({}, {}, []),
        ({"duty": "structural"}, {}, [("structural parts are used as they are", True)]),
        ({"mass_kg": 16.0}, {"duty": "structural"}, [("structural parts are used as they are", True)]),
        ({"mass_kg": 16.5, "duty": "structural"}, {},
         [("structural parts are used as they are", True), ("lifting", False)]),
        ({"duty": "restraint"}, {}, [("restraint parts are never judged by geometry", True),
                                     ("before touching a restraint connector", True)]),
        ({"duty": "trim", "airbag": None}, {"duty": "trim", "airbag": None}, [("an airbag may open through it", True)]),
        ({"airbag": True}, {}, [("a panel that an airbag bursts through", True),
                                ("the tear seam and airbag door stay untouched", True)]),
        ({}, {"airbag": True}, [("a panel that an airbag bursts through", True),
                                ("the tear seam and airbag door stay untouched", True),
                                ("made without a way for an airbag", True)]),
    ],
)  # fmt: skip
def test_cautions(donor: dict, original: dict, rules: list[tuple[str, bool]]) -> None:
    told = decide(findings(trial(), donor=donor, original=side("host", **original))).safety
    assert [(caution.rule, caution.hold) for caution in told] == rules


@pytest.mark.parametrize(
    ("mass_kg", "who"), [(16.5, "two people;"), (32.0, "two people;"), (32.1, "two to four people")]
)
def test_who_lifts_it(mass_kg: float, who: str) -> None:
    (told,) = decide(findings(trial(), donor={"mass_kg": mass_kg})).safety
    assert told.says.startswith(f"{mass_kg:g} kg: {who}")


def test_a_seam_that_could_not_be_compared_holds() -> None:
    seams = SeamCheck(not_compared="its corners are not known")
    *_, last = decide(findings(trial(), donor={"airbag": True}, seams=seams)).safety
    assert (last.rule, last.says, last.hold) == ("seam not compared", "its corners are not known", True)


def test_slots_take_what_both_are_long() -> None:
    """Half travels of 2 mm on the host and 3 on the donor."""
    one = trial("does not", OUT, conflict=conflict(2))
    long = [
        tuple(replace(spot, half_travel_mm=half_mm * spot.id.endswith("1")) for spot in spots)
        for spots, half_mm in ((one.task.fixings, 2.0), (one.task.features, 3.0))
    ]
    told = conflict_says(replace(one, task=replace(one.task, fixings=long[0], features=long[1])), pairs(*OUT))
    assert "between them and the slots take 5.0 mm along their length; each is" in told


def test_an_axis_off_that_of_its_fixing_is_why_a_pair_does_not_hold() -> None:
    leans = [replace(pair, direction="lean", lean_deg=12.3) for pair in pairs(-0.2, 0.1)]
    one = trial("undecided", pairs=tuple(leans), margin_mm=-0.2)
    told = laid(findings(one), one, LAID, leans).pairs
    assert [pair.why for pair in told] == ["its axis points 12 degrees off that of the fixing", None]
