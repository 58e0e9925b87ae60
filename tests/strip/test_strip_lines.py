"""The printed lists: nothing is lost, the proof or its absence is said, and nothing known is no plan."""

from __future__ import annotations

import pytest

from partkin.model.build import Build, Holding, Part
from partkin.model.stripping import StripPlan
from partkin.strip.answering import lines, tools
from partkin.strip.plan import plan
from strip.invented import random_build, vehicle_build
from strip.reading import example


@pytest.fixture(scope="module")
def plans() -> list[StripPlan]:
    found = [plan(example(), part) for part in ("dash-velt", "top-velt", "blower")]
    found += [plan(example(), "dash-velt", done=frozenset({"C1", "K1"})), plan(vehicle_build(1, 60, 200), "p9")]
    found += [plan(random_build(seed), "p0") for seed in range(8)]
    return [each for each in found if each]


def test_the_list_has_a_box_to_tick_for_every_step_and_fits_the_page(plans: list[StripPlan]) -> None:
    for found in plans:
        text = lines(found)
        assert "comes free" in " ".join(text[:2])
        assert sum(line.startswith("[ ] ") for line in text) == len(found.steps)
        assert all(len(line) <= 100 for line in text)
        for joint in found.joints:
            if joint.step is None and joint.fastener in found.left_alone:
                assert any(joint.fastener in line for line in text)


def test_every_step_is_known_by_a_key_of_its_own(plans: list[StripPlan]) -> None:
    for found in plans:
        assert len({step.key for step in found.steps}) == len(found.steps)


def test_the_proof_or_its_absence_is_said() -> None:
    whole = plan(example(), "dash-velt")
    assert whole and whole.gap == 0.0 and "No other plan takes less" in " ".join(lines(whole))
    short = whole._replace(proved=False, bound_minutes=40.0, limit="the search stopped after 3 rounds")
    assert short.gap == pytest.approx(9.8 / 49.8)
    assert "Not shown to be the cheapest (the search stopped after 3 rounds)" in " ".join(lines(short))


def test_where_nothing_is_known_nothing_is_called_free() -> None:
    found = plan(Build(parts=(Part("vent", name="side vent"),)), "vent")
    assert found
    text = " ".join(lines(found))
    assert text.startswith("Nothing is known to hold side vent (vent), so there is no plan yet.")
    assert "look for" in text
    assert "is free" not in text and "comes free" not in text and "[ ]" not in text and "No other plan" not in text


def test_what_all_else_is_held_to_says_so() -> None:
    build = Build(holdings=(Holding("dash", "shell", "B1", "bolt"),))
    found = plan(build, "shell")
    assert found and "no row holds shell to anything" in " ".join(found.notes)
    other = plan(build, "dash")
    assert other and not other.notes


def test_tools_are_counted_in_the_order_in_which_they_are_needed() -> None:
    rows = (
        Holding("a", "shell", "S1", "screw", 3, tool="T20"), Holding("a", "shell", "B1", "bolt", 2, tool="10 mm"),
        Holding("a", "shell", "S2", "screw", 4, tool="T20"), Holding("a", "shell", "K1", "connector"),
    )  # fmt: skip
    found = plan(Build(holdings=rows), "a")
    assert found and tools(found) == (("T20", 7), ("10 mm", 2))
    assert "T20 (7), 10 mm (2)" in " ".join(lines(found))
