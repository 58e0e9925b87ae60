"""Stack-up worked by hand; spacers, longer bolts and clips that go with an adaptation."""

from __future__ import annotations

from dataclasses import replace

import pytest
from adapting_cases import ask, cheapest, holes, studs

from partkin.adaptation.surroundings import engagement_mm, stack_of
from partkin.model.adapting import Action, AdaptationQuestion
from partkin.model.build import Feature, Part
from partkin.tables.work import next_bolt_length_mm, washer_for

SQUARE = ((0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0))
PAIRS = [("F1", "a"), ("F2", "b"), ("F3", "c"), ("F4", "d")]


def test_stack_up_by_hand() -> None:
    """M8 through 3 mm into a steel nut: 3 + 1.6 (ISO 7089) + 1 d = 12.6 mm; next preferred length (ISO 888) 14."""
    stack = stack_of(8.0, 3.0)
    assert stack.needed_mm == pytest.approx(12.6)
    assert next_bolt_length_mm(stack.needed_mm) == 14.0
    # Through 7 mm into aluminium: 7 + 1.6 + 12 = 20.6; next 25.
    stack = stack_of(8.0, 7.0, "aluminium")
    assert stack.needed_mm == pytest.approx(20.6)
    assert next_bolt_length_mm(stack.needed_mm) == 25.0


@pytest.mark.parametrize(("material", "times"), [("steel", 1.0), ("aluminium", 1.5), ("ABS", 2.0), (None, 1.0)])
def test_engagement_by_material(material: str | None, times: float) -> None:
    """Common practice, no source: 1 d in steel, 1.5 d in aluminium, 2 d in plastic."""
    assert engagement_mm(6.0, material)[0] == pytest.approx(6.0 * times)


def test_washers_by_size() -> None:
    """ISO 7089: M6 12 x 1.6, M8 16 x 1.6; ISO 7093-1: M6 18, M8 24."""
    m6, m8 = washer_for(6.0), washer_for(8.0)
    assert m6 is not None and (m6.outer_mm, m6.thickness_mm, m6.large_outer_mm) == (12.0, 1.6, 18.0)
    assert m8 is not None and (m8.outer_mm, m8.thickness_mm, m8.large_outer_mm) == (16.0, 1.6, 24.0)
    assert washer_for(24.0) is None


def _asked(fixings: list[Feature], donor_mm: float, original_mm: float) -> AdaptationQuestion:
    return ask(
        fixings, holes(*SQUARE[:2], (306.0, 200.0), SQUARE[3]), PAIRS,
        donor=Part("D", material="steel", duty="trim", thickness_mm=donor_mm),
        original=Part("O", thickness_mm=original_mm),
    )  # fmt: skip


def _jobs(asked: AdaptationQuestion, do: str) -> list[Action]:
    return [action for action in cheapest(asked).adaptations[0].actions if action.do == do]


def _nuts() -> list[Feature]:
    return [replace(f, kind="captive nut", across_mm=None) for f in studs(*SQUARE)]


def test_a_thinner_donor_gets_spacers() -> None:
    spacers = _jobs(_asked(_nuts(), 1.0, 3.0), "spacer")
    assert [(a.fixing, a.to_mm) for a in spacers] == [(f"F{n}", 2.0) for n in range(1, 5)]
    assert "2.0 mm thick" in spacers[0].says


def test_a_thicker_donor_gets_longer_bolts() -> None:
    """M6, donor 5: 5 + 1.6 + 6 = 12.6; next 14."""
    bolts = _jobs(_asked(_nuts(), 5.0, 3.0), "longer bolt")
    assert [(a.to_mm, a.length_mm) for a in bolts] == [(6.0, 14.0)] * 4
    assert "5 mm clamped + 1.6 washer + 6 in the thread = 12.6 mm" in bolts[0].says


def test_bolts_through_both_parts_clamp_both() -> None:
    """Through the host's 2 mm as well, into a nut: 2 + 5 + 1.6 + 6 = 14.6; next 16. Unknown host: no length."""
    through = [replace(f, kind="hole", across_mm=7.0) for f in studs(*SQUARE)]
    asked = _asked(through, 5.0, 3.0)
    assert not _jobs(asked, "longer bolt")
    bolts = _jobs(replace(asked, host=Part("H", material="steel", thickness_mm=2.0)), "longer bolt")
    assert {a.length_mm for a in bolts} == {16.0}


def test_into_an_aluminium_tapped_hole() -> None:
    """5 + 1.6 + 1.5 x 6 = 15.6; next 16."""
    tapped = [replace(f, kind="tapped hole", across_mm=None) for f in studs(*SQUARE)]
    asked = replace(_asked(tapped, 5.0, 3.0), host=Part("H", material="aluminium"))
    assert {a.length_mm for a in _jobs(asked, "longer bolt")} == {16.0}


def test_a_difference_too_small_to_matter() -> None:
    assert not _jobs(_asked(_nuts(), 3.4, 3.0), "longer bolt")


def test_studs_that_may_be_too_short_are_named() -> None:
    answer = cheapest(_asked(studs(*SQUARE), 5.0, 3.0))
    notes = answer.adaptations[0].notes
    assert "2.0 mm thicker" in notes[-1] and "F1, F2, F3, F4" in notes[-1]


def test_clips_are_counted_on_as_new() -> None:
    fixings = studs(*SQUARE)
    fixings[0] = replace(fixings[0], kind="clip hole", thread=None, across_mm=8.0)
    made = holes(*SQUARE[:2], (306.0, 200.0), SQUARE[3])
    made[0] = replace(made[0], kind="clip", across_mm=7.5)
    asked = ask(fixings, made, PAIRS)
    options = (replace(asked.task.options[0], allowed_mm=0.25), *asked.task.options[1:])
    clips = _jobs(replace(asked, task=replace(asked.task, options=options)), "new clip")
    assert [a.fixing for a in clips] == ["F1"]


def test_costs_of_what_goes_with_it_are_added() -> None:
    answer = cheapest(_asked(_nuts(), 1.0, 3.0))
    first = answer.adaptations[0]
    # One slot, 15 min + 0.40; four spacers of 2 min + 0.50; at 40 an hour.
    assert first.minutes == 23.0
    assert first.cost == pytest.approx(15 * 40 / 60 + 0.4 + 4 * (2 * 40 / 60 + 0.5), abs=0.02)
    assert first.bound_cost == pytest.approx(first.cost)
