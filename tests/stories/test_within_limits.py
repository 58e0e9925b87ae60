"""What a check may take is counted; where that is not enough it says so, and never yes or no."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import pytest

import partkin
from partkin.adaptation import adapting
from partkin.adaptation.cheapest import Cheapest
from partkin.model.adapting import AdaptationQuestion
from partkin.model.build import Build, Feature, Part
from partkin.model.words import BOLTS_ON, NOT_ENOUGH, WITH_ADAPTATION
from partkin.trial import trying

AT = [(0.0, 0.0), (400.0, 0.0), (400.0, 210.0), (90.0, 260.0)]


def same_part() -> Build:
    """Four studs of 6 mm, and a donor with four holes of 9 mm at the same places."""
    parts = (
        Part("host", origin="host", seen_from="outside", hand="left"),
        Part("donor", origin="donor", takes_place_of="host", seen_from="outside", duty="trim", hand="left"),
    )
    studs = [Feature("host", f"F{n}", "stud", 6.0, x_mm=x, y_mm=y, need="must") for n, (x, y) in enumerate(AT)]
    holes = [Feature("donor", f"a{n}", "hole", 9.0, x_mm=x, y_mm=y) for n, (x, y) in enumerate(AT)]
    return Build(parts=parts, features=(*studs, *holes))


def test_what_is_not_told_within_the_steps_of_all_ways_is_undecided(monkeypatch: pytest.MonkeyPatch) -> None:
    assert partkin.check(same_part(), "donor").verdict == BOLTS_ON
    monkeypatch.setattr(trying, "STEPS", 1)
    verdict = partkin.check(same_part(), "donor")
    assert verdict.verdict == NOT_ENOUGH
    (limit,) = [one.says for one in verdict.unknown if one.what == "pairing"]
    assert limit.startswith("undecided within the limit of 1 steps for all ways of laying it on")


def test_work_that_is_not_found_within_its_limit_is_undecided_and_not_ruled_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A hole 6 mm too far out is filed into a slot; where no set of jobs may be tried, nothing is known of work."""
    other = replace(same_part(), features=tuple(
        replace(f, x_mm=406.0) if f.feature == "a1" else replace(f, x_mm=-6.0) if f.feature == "a0" else f
        for f in same_part().features
    ))  # fmt: skip
    parts = tuple(replace(part, material="ABS", airbag=False) for part in other.parts)
    other = replace(other, parts=parts)
    assert partkin.check(other, "donor").verdict == WITH_ADAPTATION
    monkeypatch.setattr(adapting, "Cheapest", partial(_without_tries, adapting.Cheapest))
    verdict = partkin.check(other, "donor")
    assert verdict.verdict == NOT_ENOUGH
    (work,) = [one.says for one in verdict.unknown if one.what == "work"]
    assert work.startswith("undecided within the limit: no set of permitted jobs was found")
    assert verdict.next_step == f"Next: {work}"


def _without_tries(cheapest: Callable[..., Cheapest], asked: AdaptationQuestion, **options: Any) -> Cheapest:
    return cheapest(asked, **{**options, "limit": 0})
