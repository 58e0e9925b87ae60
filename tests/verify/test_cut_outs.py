"""A stud that need not hold the donor: confirmed where it stands in a cut-out, and only there."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

import partkin
from builders import build, holes, moved, studs
from partkin.model.build import Build, Feature, Zone
from partkin.report.verdict_file import verdict_json
from partkin.verify.verify import confirm

PLATE = [(0.0, 0.0), (300.0, 0.0), (300.0, 180.0), (0.0, 180.0)]
TURN_DEG = 37.0
SPARE = Feature("host", "S9", "stud", 6.0, x_mm=150.0, y_mm=90.0, plus_minus_mm=0.0, need="spare")


def with_cut_out(half_mm: float, x_mm: float = 150.0) -> Build:
    """A donor read in another frame, with a square cut-out at x, 90."""
    square = [(x_mm + dx * half_mm, 90.0 + dy * half_mm) for dx, dy in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    zone = Zone("donor", "C1", "opening", tuple(moved(square, TURN_DEG, 20.0, -5.0)))
    made = build([*studs(PLATE), SPARE], holes(moved(PLATE, TURN_DEG, 20.0, -5.0)))
    return replace(made, zones=(zone,))


def test_a_stud_in_a_cut_out_is_confirmed() -> None:
    made = with_cut_out(9.0)
    verdict = partkin.check(made, "donor")
    assert verdict.verdict == "bolts on" and confirm(json.loads(verdict_json(verdict)), made).refused == ()


@pytest.mark.parametrize("other", [with_cut_out(9.0, 165.0), with_cut_out(2.9), replace(with_cut_out(9.0), zones=())])
def test_the_same_verdict_is_refused_where_the_cut_out_lies_elsewhere_or_is_too_narrow(other: Build) -> None:
    verdict = partkin.check(with_cut_out(9.0), "donor")
    assert "S9 must be paired and is not" in confirm(json.loads(verdict_json(verdict)), other).refused


def test_a_stud_that_has_to_hold_is_not_left_out() -> None:
    made, must = with_cut_out(9.0), replace(SPARE, need="must")
    verdict = partkin.check(made, "donor")
    held = replace(made, features=tuple(must if f == SPARE else f for f in made.features))
    assert "S9 must be paired and is not" in confirm(json.loads(verdict_json(verdict)), held).refused
