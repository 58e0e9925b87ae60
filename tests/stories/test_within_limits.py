"""What a check may take is counted; where that is not enough it says so, and never yes or no."""

from __future__ import annotations

import pytest

import partkin
from partkin.model.build import Build, Feature, Part
from partkin.model.words import BOLTS_ON, NOT_ENOUGH
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
