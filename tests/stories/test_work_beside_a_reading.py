"""A size that nobody has read: work that does whatever it is stands beside the reading."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

import partkin
from builders import build, given, holes, studs
from partkin.model.build import Build
from partkin.report.verdict_file import as_tree

PLATE = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)]


def unsized(duty: str | None = "trim", across_mm: float | None = None, **more: object) -> Build:
    """A donor that goes on if its third hole is wide enough."""
    donor = given(holes(PLATE))
    donor[2] = replace(donor[2], across_mm=across_mm, **more)
    return build(studs(PLATE), donor, duty=duty)


@pytest.mark.parametrize("kind", ["hole", "slot"])
def test_opening_it_out_is_offered_whatever_it_is(kind: str) -> None:
    verdict = partkin.check(unsized(kind=kind), "donor")
    assert verdict.verdict == "not enough measured" and verdict.unknown[0].quantity == "across"
    (action,) = verdict.adaptation.actions
    assert action.feature == "a3" and action.to_mm >= 6.0 and "from" not in action.says.split(".")[0]
    assert any("where it is that wide already" in note for note in verdict.adaptation.notes)
    assert verdict.adapted_chance.fits >= 0.95
    tree = as_tree(verdict)
    assert tree["adaptations"] and json.dumps(tree).count('"chance": null') >= 1


@pytest.mark.parametrize("really_mm", [2.0, 5.0, 6.5, 7.0, 12.0])
def test_with_the_work_it_goes_on_whatever_it_really_is(really_mm: float) -> None:
    (action,) = partkin.check(unsized(), "donor").adaptation.actions
    after = partkin.check(unsized(across_mm=max(really_mm, action.to_mm)), "donor")
    assert after.verdict == "bolts on"


@pytest.mark.parametrize("duty", ["structural", None])
def test_nothing_is_cut_that_may_not_be(duty: str | None) -> None:
    assert partkin.check(unsized(duty), "donor").adaptation is None


def test_a_place_that_nobody_has_read_is_no_size() -> None:
    verdict = partkin.check(unsized(across_mm=7.0, x_mm=None, y_mm=None), "donor")
    assert verdict.verdict == "not enough measured" and verdict.adaptation is None


def test_a_size_of_the_host_that_nobody_has_read_is_not_worked_around() -> None:
    made = unsized(across_mm=7.0)
    bare = tuple(replace(f, across_mm=None) if f.feature == "F2" else f for f in made.features)
    verdict = partkin.check(replace(made, features=bare), "donor")
    assert verdict.verdict == "not enough measured" and verdict.adaptation is None
