"""An airbag may open through a trim part: nobody asked is neither yes nor no. All values invented."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

import partkin
from builders import build, given, holes, studs
from partkin.model.build import Build, Part, Zone
from partkin.model.verdict import Verdict
from partkin.report.verdict_file import verdict_json
from partkin.verify.verify import verify

PLATE = ((0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0))
OUT = [*PLATE[:3], (4.0, 180.0)]
SEAM = ((60.0, 80.0), (240.0, 80.0))
CUTS = ("open out", "slot", "new hole", "thread insert", "trim edge")


def top(at: list = OUT, airbag: bool | None = None, duty: str | None = "trim", old: dict | None = None) -> Build:
    """A dashboard top, with the one that came off where anything is said of it."""
    made = build(studs(PLATE), given(holes(at)), duty=duty, airbag=airbag)
    if old is None:
        return made
    came_off = Part("old", origin="original", takes_place_of="host", seen_from="outside", **{"duty": duty, **old})
    return replace(made, parts=(*made.parts, came_off))


def held(verdict: Verdict) -> bool:
    return any(caution.hold for caution in verdict.safety)


def cut(verdict: Verdict) -> list[str]:
    ways = (verdict.adaptation, *verdict.other_adaptations)
    jobs = [action for way in ways if way is not None for action in way.actions]
    return [action.feature for action in (*jobs, *verdict.besides) if action.do in CUTS]


def asked(verdict: Verdict) -> bool:
    return bool(verdict.unknown) and verdict.unknown[0].quantity == "airbag"


def test_a_dashboard_top_of_which_nobody_drew_the_seam_is_held_and_not_cut() -> None:
    verdict = partkin.check(top(), "donor")
    assert asked(verdict) and held(verdict) and not cut(verdict)
    assert "look for a seam or door underneath, or the word moulded in" in verdict.unknown[0].says.lower()
    assert verdict.verdict == "does not fit"
    assert verdict.next_step.startswith("Next: does an airbag open through donor?")
    assert any("whether an airbag opens through donor is not known" in one.says for one in verdict.ruled_out)


def test_it_bolts_on_and_is_held_all_the_same() -> None:
    verdict = partkin.check(top(list(PLATE)), "donor")
    assert verdict.verdict == "bolts on" and asked(verdict) and held(verdict)


def test_with_no_airbag_it_is_worked_on_as_any_trim() -> None:
    verdict = partkin.check(top(airbag=False), "donor")
    assert verdict.verdict == "bolts on with adaptation" and cut(verdict)
    assert not held(verdict) and not asked(verdict)


def test_yes_without_a_seam_drawn_asks_for_the_seam_and_cuts_nothing() -> None:
    verdict = partkin.check(top(airbag=True), "donor")
    assert verdict.verdict == "does not fit" and held(verdict) and not cut(verdict)
    assert verdict.unknown[0].what == "tear seam or airbag door of donor"


@pytest.mark.parametrize(
    ("donor", "original", "answer"),
    [
        (None, {"airbag": None}, None), (None, {"airbag": False}, False), (None, {"airbag": True}, True),
        (False, {"airbag": None}, None), (False, {"airbag": True}, True), (False, {"airbag": False}, False),
        (True, {"airbag": False}, True), (False, {"airbag": None, "duty": "body"}, False),
        (None, {"airbag": None, "duty": "body"}, False),
        (None, {"airbag": None, "duty": "body", "broken_by": "airbag"}, None),
        (None, {"airbag": None, "duty": "body", "broken_by": "crash"}, False),
    ],
)  # fmt: skip
def test_the_strictest_answer_counts(donor: bool | None, original: dict, answer: bool | None) -> None:
    verdict = partkin.check(top(list(PLATE), donor, old=original), "donor")
    assert asked(verdict) == (answer is None)
    assert held(verdict) == (answer is not False)


def test_a_duty_nobody_gave_may_be_trim() -> None:
    verdict = partkin.check(top(list(PLATE), duty=None), "donor")
    assert asked(verdict) and held(verdict)


def test_a_seam_says_yes() -> None:
    made = replace(top(list(PLATE)), zones=(Zone("donor", "S", "tear seam", SEAM),))
    verdict = partkin.check(made, "donor")
    assert held(verdict) and not asked(verdict)


def test_a_donor_without_a_door_is_not_used_over_an_airbag() -> None:
    verdict = partkin.check(top(list(PLATE), False, old={"airbag": True}), "donor")
    assert any("it is not used there" in caution.says for caution in verdict.safety if caution.hold)


def test_an_answer_taken_out_never_allows_a_cut_in_a_verdict_file() -> None:
    told = json.loads(verdict_json(partkin.check(top(airbag=False), "donor")))
    assert verify(told, top(airbag=False)) == ()
    refused = verify(told, top())
    assert any("is cut, and whether an airbag opens" in fault for fault in refused)
    assert any("no hold is stated" in fault for fault in refused)


def test_work_that_cuts_nothing_may_still_be_said() -> None:
    """The hole of the donor is tapped M6 where the host takes M8: another bolt, and nothing is cut."""
    through = [replace(f, kind="hole", across_mm=9.0, thread="M8x1.25") for f in studs(PLATE)]
    wide = [replace(f, across_mm=9.0) for f in holes(PLATE)]
    made = build(through, [replace(wide[0], kind="tapped hole", across_mm=None, thread="M6x1"), *wide[1:]], duty="trim")
    made = replace(made, parts=tuple(replace(part, airbag=None) for part in made.parts))
    verdict = partkin.check(made, "donor")
    assert verdict.verdict == "bolts on with adaptation" and verdict.adaptation is not None
    assert [action.do for action in verdict.adaptation.actions] == ["other bolt"]
    assert not cut(verdict) and asked(verdict) and held(verdict)
