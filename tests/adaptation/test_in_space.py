"""Fixings that do not lie in a plane: the same jobs, checked by the spatial geometry."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from adapting_cases import ask, cheapest, holes, spot, studs

import partkin
from builders import build
from partkin.adaptation.placing import adapted_task
from partkin.fit.solve import solve
from partkin.model.adapting import AdaptationQuestion
from partkin.model.build import Feature
from partkin.model.fitting import Spot

At = tuple[float, float, float]
CORNERS: tuple[At, ...] = ((0.0, 0.0, 0.0), (300.0, 0.0, 0.0), (300.0, 200.0, 40.0), (0.0, 200.0, 0.0))
UP, EAST = (0.0, 0.0, 1.0), (1.0, 0.0, 0.0)


def _in_space(c_at: At, axis: At = UP) -> AdaptationQuestion:
    donor = (*CORNERS[:2], c_at, CORNERS[3])
    fixings = [replace(f, z_mm=at[2]) for f, at in zip(studs(*(p[:2] for p in CORNERS)), CORNERS, strict=True)]
    made = [replace(f, z_mm=at[2]) for f, at in zip(holes(*(p[:2] for p in donor)), donor, strict=True)]
    asked = ask(fixings, made, [("F1", "a"), ("F2", "b"), ("F3", "c"), ("F4", "d")])

    def lifted(feature: Feature, host: bool) -> Spot:
        at = (feature.x_mm or 0.0, feature.y_mm or 0.0, feature.z_mm or 0.0)
        return replace(spot(feature, host), at_mm=at, axis=axis, grip_mm=3.0)

    task = replace(
        asked.task, fixings=tuple(lifted(f, True) for f in fixings), features=tuple(lifted(f, False) for f in made)
    )
    return replace(asked, task=task)


def test_a_slot_in_space() -> None:
    """c is 6 mm too far in x, at its height of 40: the flat question's slot of 13 mm, with its z.

    In space the best placement is not unique (the fasteners' reach leaves room to lean), so rounding up to whole
    millimetres may make the slot one longer.
    """
    asked = _in_space((306.0, 200.0, 40.0))
    answer = cheapest(asked)
    [action] = answer.adaptations[0].actions
    assert (action.do, action.feature) == ("slot", "c") and action.length_mm in (13.0, 14.0)
    middle_x_mm = 306.0 - (action.length_mm - 7.0) / 2
    assert action.at_mm == pytest.approx((middle_x_mm, 200.0, 40.0), abs=0.05)
    after = solve(adapted_task(asked.task, answer.adaptations[0]))
    assert after.fits and after.margin_mm == pytest.approx(answer.adaptations[0].margin_mm)


def test_no_slot_across_another_axis() -> None:
    """Fixings along x: a slot's angle in the part's plane would mean nothing, so none is asked for."""
    answer = cheapest(_in_space((300.0, 206.0, 40.0), axis=EAST))
    assert all(action.do != "slot" for each in answer.adaptations for action in each.actions)


@pytest.mark.parametrize("turn_deg", [0.0, 63.0, 90.0, -141.0])
def test_a_new_hole_points_as_its_fixing_does(turn_deg: float) -> None:
    """A stud on a slope of 37 degrees, of which the donor, read in a frame turned about z, has no hole."""
    slope: At = (0.6, 0.0, 0.8)
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))

    def turned(at: At) -> At:
        return (c * at[0] - s * at[1], s * at[0] + c * at[1], at[2])

    at = {"F1": (0.0, 0.0, 0.0), "F2": (300.0, 0.0, 0.0), "F3": (0.0, 200.0, 0.0), "F4": (260.0, 150.0, 40.0)}
    fixings = [
        Feature("host", name, "stud", 6.0, x_mm=x, y_mm=y, z_mm=z, plus_minus_mm=0.0, need="must",
                axis=slope if name == "F4" else UP)
        for name, (x, y, z) in at.items()
    ]  # fmt: skip
    there = {name: turned(place) for name, place in at.items() if name != "F4"}
    own = [
        Feature("donor", f"a{name[1]}", "hole", 7.0, x_mm=x, y_mm=y, z_mm=z, plus_minus_mm=0.0, axis=UP, goes_on=name)
        for name, (x, y, z) in there.items()
    ]
    whole = build(fixings, own, duty="trim")
    parts = tuple(replace(part, material="ABS", thickness_mm=2.5) for part in whole.parts)
    verdict = partkin.check(replace(whole, parts=parts), "donor")
    assert verdict.verdict == "bolts on with adaptation"
    [hole] = [action for action in verdict.adaptation.actions if action.do == "new hole"]
    assert hole.at_mm == pytest.approx(turned(at["F4"]), abs=0.1) and hole.axis == pytest.approx(
        turned(slope), abs=1e-3
    )
    assert "slanting as F4 does: along x " in hole.says
    [pair] = [pair for pair in verdict.after.pairs if pair.fixing == "F4"]
    assert pair.lean_deg < 0.2


def test_a_new_hole_that_points_straight_up_says_no_direction() -> None:
    asked = _in_space((340.0, 200.0, 40.0))
    [drilled] = [a for each in cheapest(asked).adaptations[:1] for a in each.actions if a.do == "new hole"]
    assert drilled.axis == pytest.approx(UP, abs=1e-2) and "slanting" not in drilled.says
