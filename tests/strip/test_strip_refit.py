"""The way back of the example, and what the original lends to the donor."""

from __future__ import annotations

import pytest

from partkin.model.build import Build, Connector, Holding, Part
from partkin.model.stripping import RefitPlan, StripPlan
from partkin.strip.answering import moved_lines, refit_lines
from partkin.strip.plan import plan
from partkin.strip.refit import move_across, refit
from strip.reading import example


def _both(part: str = "dash-velt") -> tuple[StripPlan, RefitPlan]:
    found = plan(example(), part)
    assert found
    return found, refit(example(), found)


def test_everything_undone_is_done_up_once_in_the_reverse_order() -> None:
    found, back = _both()
    assert [step.fastener for step in back.steps if step.do == "do up"] == list(found.undone)[::-1]
    assert [step.number for step in back.steps] == list(range(1, len(back.steps) + 1))


def test_torque_is_the_makers_value_of_the_sheet_or_none_at_all() -> None:
    _, back = _both()
    rows = {row.fastener: row for row in example().holdings}
    for step in back.steps:
        if step.do != "do up":
            assert step.torque_nm is None
            continue
        assert step.torque_nm == rows[step.fastener or ""].torque_nm
        if step.torque_nm is None:
            assert not any(character.isdigit() for character in step.torque_says or "")
    assert {step.fastener for step in back.steps if step.torque_nm} == {"B1", "B2", "B3", "B5"}
    threaded = next(step for step in back.steps if step.fastener == "B6")
    assert threaded.torque_says is not None and "look up the maker's value" in threaded.torque_says


def test_single_use_fasteners_are_to_be_bought_and_old_clips_are_advised() -> None:
    _, back = _both()
    assert {buy.fastener for buy in back.buy if buy.sure} == {"C3", "C4", "B4", "B6"}
    assert {buy.fastener for buy in back.buy if not buy.sure} == {"C1", "C2", "H1"}
    assert all("no source" in buy.says for buy in back.buy if not buy.sure)


def test_plugs_are_counted_against_those_undone() -> None:
    """K1 2, K2 3, K3 2, K4 1, K5 1."""
    found, back = _both()
    assert back.connectors == 9 and sorted(back.connector_rows) == ["K1", "K2", "K3", "K4", "K5"]
    assert any("9 were undone, 9 must be back" in step.says for step in back.steps if step.do == "check")
    done_already = plan(example(), "dash-velt", done=frozenset({"K2"}))
    assert done_already and refit(example(), done_already).connectors == 6 and "K2" in found.undone


def test_the_check_comes_when_the_plugs_are_in_and_before_the_trim() -> None:
    _, back = _both()
    check = next(step.number for step in back.steps if step.do == "check")
    number = {step.fastener: step.number for step in back.steps if step.fastener}
    assert all(number[name] < check for name in ("K2", "K3", "K4", "K5", "B6"))
    assert all(number[name] > check for name in ("S1", "C1", "C2", "C3", "C4", "B1"))


def test_the_battery_comes_back_last_and_the_restraint_is_left_to_licensed_practice() -> None:
    _, back = _both()
    assert back.steps[-1].do == "restore" and back.steps[-1].says.startswith("battery back last")
    touched = next(step for step in back.steps if step.fastener == "K5")
    assert touched.cautions[0].hold and "licensed practice" in touched.cautions[0].says
    assert any("licensed practice" in check for check in back.checks)


def test_coolant_is_filled_after_the_last_hose_is_on() -> None:
    _, back = _both("blower")
    hose = next(step.number for step in back.steps if step.fastener == "H2")
    assert any(step.do == "restore" and "coolant" in step.says and step.number > hose for step in back.steps)


def test_the_way_back_reads_as_a_list_to_tick() -> None:
    _, back = _both()
    text = refit_lines(back)
    assert sum(line.startswith("[ ] ") for line in text) == len(back.steps) + len(back.buy)
    assert any("22 N m (the maker's value, as the sheet has it)" in line for line in text)
    assert all(len(line) <= 100 for line in text)


def test_what_the_donor_lacks_is_moved_across_and_a_restraint_part_is_not() -> None:
    moved = move_across(example(), "dash-velt", "dash-kurm")
    assert [(m.kind, m.what, m.hold) for m in moved] == [
        ("part", "bag-velt", True), ("part", "centre-velt", False), ("part", "cluster-velt", False),
        ("connector", "cluster", False), ("connector", "light sensor", False),
    ]  # fmt: skip
    assert sorted(moved[2].fasteners) == ["K4", "S6"]
    assert "licensed" in moved[0].says
    assert moved_lines(moved)[0].startswith("[!] ") and any(line.startswith("[ ] ") for line in moved_lines(moved))


def test_a_child_stands_for_another_by_place_number_or_name() -> None:
    had = (
        Part("o"), Part("o1", part_of="o", part_number="N1"), Part("o2", "Vent ", part_of="o"), Part("o3", part_of="o"),
    )  # fmt: skip
    has = (
        Part("d"), Part("d1", part_of="d", replaces=("N1",)), Part("d2", "vent", part_of="d"),
        Part("d3", part_of="d", takes_place_of="o3"),
    )  # fmt: skip
    assert move_across(Build(parts=had + has), "o", "d") == ()
    assert moved_lines(()) == ["Nothing that the sheets know has to be moved across."]
    fewer = move_across(Build(parts=had + has[:2]), "o", "d")
    assert [m.what for m in fewer] == ["o2", "o3"]
    assert "not known" in fewer[0].says


def test_left_and_right_of_one_name_do_not_stand_for_each_other() -> None:
    parts = (
        Part("o"),
        Part("d"),
        Part("o1", "vent", part_of="o", hand="left"),
        Part("d1", "vent", part_of="d", hand="right"),
    )
    assert [m.what for m in move_across(Build(parts=parts), "o", "d")] == ["o1"]


def test_a_plug_stands_for_one_of_another_name_with_the_same_keying_and_ways() -> None:
    plugs = (Connector("o", "left speaker", 4, "A"), Connector("o", "lamp", 2, "B"), Connector("d", "speaker", 4, "A"))
    build = Build(parts=(Part("o"), Part("d")), connectors=plugs)
    assert [m.what for m in move_across(build, "o", "d")] == ["lamp"]


def test_parts_that_no_sheet_has_raise() -> None:
    with pytest.raises(KeyError):
        move_across(Build(parts=(Part("o"),), holdings=(Holding("o", "x", "S1", "screw"),)), "o", "d")


def test_pipes_are_filled_before_they_are_looked_at_and_marks_once_all_is_done_up() -> None:
    rows = (
        Holding("heater", "engine", "H1", "hose", cautions=("coolant",), place="engine bay"),
        Holding("heater", "column", "A1", "bolt", note="splined shaft", place="cabin"),
        Holding("heater", "shell", "N1", "nut", place="engine bay"),
    )
    build = Build(holdings=rows)
    found = plan(build, "heater")
    assert found
    back = refit(build, found).steps
    says = [step.says for step in back]
    filled = next(n for n, text in enumerate(says) if "fill the coolant" in text)
    looked = next(n for n, text in enumerate(says) if "look at every pipe and hose" in text)
    hose = next(n for n, step in enumerate(back) if step.fastener == "H1")
    assert hose < filled < looked
    marks = next(n for n, text in enumerate(says) if "witness marks meet" in text)
    assert marks > max(n for n, step in enumerate(back) if step.do == "do up")


def test_plugs_that_are_known_to_differ_do_not_stand_for_each_other() -> None:
    parts = (Part("old"), Part("new"), Part("bare"))
    plugs = (
        Connector("old", "speaker", 4, "A"), Connector("old", "lamp", 2), Connector("old", "sensor", 3),
        Connector("new", "speaker", 2, "A"), Connector("new", "lamp"), Connector("new", "probe", 3),
    )  # fmt: skip
    build = Build(parts=parts, connectors=plugs)
    found = {one.what: one.says for one in move_across(build, "old", "new")}
    assert set(found) == {"speaker", "sensor"}, "what is not known of a plug is no difference"
    assert "the donor's has 2 ways, keyed A" in found["speaker"] and "none like it" in found["sensor"]
    assert [one.kind for one in move_across(build, "bare", "new")] == ["look"], "nothing written is not nothing there"
