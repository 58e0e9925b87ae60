"""Readings too coarse for the work that a donor needs: the work is shown as likely, and what would make it sure."""

from __future__ import annotations

from dataclasses import replace

import pytest

import partkin
from builders import build, given, holes, studs
from partkin.commands.asking_next import next_for, next_text
from partkin.model.build import Build
from partkin.report.bench import adapt_text, no_work_text
from partkin.report.text import verdict_text
from partkin.report.verdict_file import as_tree

PLATE = [(0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0)]


def one_hole_out(plus_minus_mm: float, duty: str = "trim") -> Build:
    """The fourth hole stands 4 mm too far, everything read to so much."""
    donor = [replace(f, plus_minus_mm=plus_minus_mm) for f in given(holes([*PLATE[:3], (0.0, 204.0)]))]
    host = [replace(f, plus_minus_mm=plus_minus_mm) for f in studs(PLATE)]
    made = build(host, donor, duty=duty)
    return replace(made, parts=tuple(replace(p, material="ABS") for p in made.parts))


def test_likely_work_is_shown_and_nothing_is_cut_yet() -> None:
    made = one_hole_out(0.8)
    verdict = partkin.check(made, "donor")
    assert verdict.verdict == "not enough measured" and verdict.adaptation is None
    assert verdict.likely_work is not None and verdict.likely_chance is not None
    (action,) = verdict.likely_work.actions
    assert (action.do, action.feature) == ("slot", "a4") and 0.5 < verdict.likely_chance.fits < 0.95
    tree = as_tree(verdict)
    assert tree["adaptations"] == [] and tree["likely_work"]["jobs"][0]["feature"] == "a4"
    for text in (verdict_text(verdict), adapt_text(verdict, None), no_work_text(verdict)):
        assert "Likely work, nothing to be cut yet" in text and "File hole a4 into a slot" in text
        assert "What to do to it" not in text


def test_the_readings_that_would_make_it_sure_are_asked_for() -> None:
    made = one_hole_out(0.8)
    verdict = partkin.check(made, "donor")
    assert verdict.unknown and verdict.unknown[0].says.startswith("to be sure of the work that is likely: read ")
    found = next_for(made, "donor")
    assert found.readings and "No reading is needed" not in next_text(found, ".")


@pytest.mark.parametrize("duty", ["trim", "structural"])
def test_read_finely_it_is_sure_and_a_structural_part_is_never_worked_on(duty: str) -> None:
    verdict = partkin.check(one_hole_out(0.2, duty), "donor")
    assert verdict.verdict == ("bolts on with adaptation" if duty == "trim" else "does not fit")
    assert verdict.likely_work is None
    assert partkin.check(one_hole_out(0.8, "structural"), "donor").likely_work is None
