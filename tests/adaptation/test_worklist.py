"""The bench sheet: order, marking-out dimensions, cautions where they apply, what to look at after."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from adapting_cases import ask, cheapest, holes, studs

from partkin.adaptation.bench_sheet import marks_for, worklist
from partkin.adaptation.surroundings import compare_connectors
from partkin.model.adapting import AdaptationQuestion, BenchStep
from partkin.model.build import Connector, Outline, Part, Zone
from partkin.model.fitting import Spot

SQUARE = ((0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0))
PAIRS = [("F1", "a"), ("F2", "b"), ("F3", "c"), ("F4", "d")]
RIM = Outline("D", "edge", "rim", ((-30.0, -30.0), (330.0, -30.0), (330.0, 230.0), (-30.0, 230.0)))


def _asked(**known: object) -> AdaptationQuestion:
    return ask(studs(*SQUARE, (150.0, 100.0)), holes(*SQUARE[:2], (306.0, 200.0), SQUARE[3]), PAIRS, **known)


def _sheet(asked: AdaptationQuestion) -> tuple[BenchStep, ...]:
    return worklist(asked, cheapest(asked).adaptations[0])


def test_the_order_of_work() -> None:
    steps = _sheet(_asked())
    assert [step.order for step in steps] == list(range(1, len(steps) + 1))
    assert [step.do for step in steps] == ["get ready", "slot", "new hole", "trial fit", "finish"]
    assert all(step.says.endswith(".") for step in steps)


def test_dimensions_from_two_edges_that_exist() -> None:
    """New hole at (150, 100) in a rim from -30 to 330 and to 230: 130 from lower and upper edge, 180 from the sides."""
    hole = next(step for step in _sheet(_asked(donor_outlines=(RIM,))) if step.do == "new hole")
    assert [mark.distance_mm for mark in hole.marks] == [130.0, 180.0]
    assert hole.marks[0].says == "130.0 mm square to the lower edge (360 mm long, past a and b)"
    assert hole.before == "With the part laid on by its other fixings, the mark falls on F5."
    slot = next(step for step in _sheet(_asked(donor_outlines=(RIM,))) if step.do == "slot")
    # The far end of the slot lies at (300, 200): 30 from the upper and from the right edge.
    assert [mark.distance_mm for mark in slot.marks] == [pytest.approx(30.0, abs=0.1)] * 2
    assert slot.says.endswith("It runs to the left, seen as in step 1.")
    assert slot.before is not None and "The mark lies 6.0 mm from the centre of c" in slot.before


def test_dimensions_from_two_holes_where_no_edge_is_known() -> None:
    hole = next(step for step in _sheet(_asked()) if step.do == "new hole")
    assert len(hole.marks) == 2
    at = {"a": SQUARE[0], "b": SQUARE[1], "d": SQUARE[3]}
    for mark in hole.marks:
        assert mark.distance_mm == pytest.approx(math.dist(at[mark.start], (150.0, 100.0)), abs=0.11)
        assert f"from the centre of {mark.start}" in mark.says


def test_marks_cross_well_and_find_the_point() -> None:
    in_line = [Spot("p", (100.0, 0.0)), Spot("q", (200.0, 0.0)), Spot("r", (0.0, 80.0))]
    marks = marks_for((0.0, 0.0), (), in_line)
    assert [mark.start for mark in marks] == ["r", "p"]
    assert not marks_for((0.0, 0.0), (), in_line[:2])


def test_what_is_out_of_reach_of_a_rule_is_measured_from_last() -> None:
    """The right edge is 600 mm away and the hole p 100 mm: the upper edge and p; a short edge carries no square."""
    long = Outline("D", "edge", "rim", ((-600.0, -30.0), (600.0, -30.0), (600.0, 60.0), (-600.0, 60.0)))
    holes_there = [Spot("p", (100.0, 0.0)), Spot("q", (0.0, 40.0))]
    assert [mark.start for mark in marks_for((0.0, 0.0), (long,), holes_there)] == [
        "the lower edge (1200 mm long, past p)", "p",
    ]  # fmt: skip
    assert len(marks_for((0.0, 0.0), (long,), ())) == 0


def test_the_part_is_turned_by_its_two_farthest_holes() -> None:
    says = _sheet(_asked())[0].says
    assert "Turn it until hole c lies 306 mm to the right of a and 200 mm above it." in says


def test_the_same_job_at_several_fixings_is_one_step() -> None:
    asked = replace(
        _asked(), donor=Part("D", material="steel", duty="trim", thickness_mm=1.0), original=Part("O", thickness_mm=3.0)
    )
    [spacers] = [step for step in _sheet(asked) if step.do == "spacer"]
    assert spacers.says.startswith("At F1, F2, F3, F4 and F5: put a spacer or washers 2.0 mm thick")
    assert spacers.minutes == 10.0


def test_cautions_stand_where_they_apply() -> None:
    door = Zone("D", "Z9", "airbag door", ((200.0, 60.0), (290.0, 60.0), (290.0, 130.0), (200.0, 130.0)))
    part = Part("D", material="leather-covered foam", duty="trim", mass_kg=18.0, seen_from="inside")
    steps = _sheet(_asked(donor=part, donor_zones=(door,)))
    first, last = steps[0], steps[-1]
    assert any("18 kg" in caution for caution in first.cautions) and "its inside face towards you" in first.says
    cut = next(step for step in steps if step.do == "slot")
    assert any("depth stop" in caution for caution in cut.cautions)
    assert any("20 mm away from the airbag door Z9" in c and "This cut stays 6" in c for c in cut.cautions)
    for step in (first, cut, last):
        spoken = [c for c in step.cautions if "airbag" in c]
        assert spoken and all("local law and a licensed person decide" in c for c in spoken)


def test_no_caution_of_airbags_where_there_is_none() -> None:
    assert not any("airbag" in caution for step in _sheet(_asked()) for caution in step.cautions)


def test_what_to_look_at_after_each_cut() -> None:
    slot = next(step for step in _sheet(_asked()) if step.do == "slot")
    # 7 mm wide, 13 long, M6: 1 mm across, 13 - 7 + 1 = 7 mm along.
    assert slot.check == (
        "The 6 mm stud goes through freely and moves about 1.0 mm in all from side to side and 7.0 mm along the slot."
    )
    trial = next(step for step in _sheet(_asked()) if step.do == "trial fit")
    assert "Every fastener starts by hand" in (trial.check or "")


def test_connectors_and_tools_come_along() -> None:
    asked = _asked()
    lines = compare_connectors([Connector("O", "lamp", 4, "A")], [])
    steps = worklist(asked, cheapest(asked).adaptations[0], connectors=lines)
    assert [step.do for step in steps][-2:] == ["move over", "finish"]
    assert all(step.tools and step.minutes for step in steps if step.do in ("slot", "new hole"))


def test_unknown_material_is_said_at_the_cut() -> None:
    asked = replace(_asked(), donor=Part("D", duty="trim"))
    cut = next(step for step in _sheet(asked) if step.do == "slot")
    assert any("material of D is not known" in caution for caution in cut.cautions)
