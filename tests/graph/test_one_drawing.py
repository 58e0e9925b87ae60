"""How likely one drawing is before anything is read: by what speaks for it, or by what build.toml says."""

from __future__ import annotations

from dataclasses import replace

import pytest

import partkin
from builders import build, given, holes, studs
from partkin.graph import known_of
from partkin.model.build import Build, Part, Settings, VehicleModel

PLATE = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)]


def with_original(across_mm: float | None, name: str | None = None) -> Build:
    """A donor with holes of 7 mm beside an original with holes of another, or no, width."""
    mine = given(holes(PLATE))
    theirs = [replace(f, part="orig", across_mm=across_mm) for f in given(holes(PLATE))]
    original = Part("orig", origin="original", takes_place_of="host", name=name, model="m1", duty="trim")
    made = build(studs(PLATE), mine, extra=[original])
    parts = tuple(replace(p, name=name, model="m2") if p.part == "donor" else p for p in made.parts)
    models = tuple(VehicleModel(model, "Maker (invented)", "platform 1") for model in ("m1", "m2"))
    return replace(made, parts=parts, models=models, features=(*made.features, *theirs))


@pytest.mark.parametrize(
    ("across_mm", "name", "weight"),
    [(7.0, "bracket", 0.8), (None, "bracket", 0.75), (7.2, None, 0.55), (None, None, 0.5), (9.0, "bracket", 0.1)],
)
def test_by_what_speaks_for_it(across_mm: float | None, name: str | None, weight: float) -> None:
    known = known_of(with_original(across_mm, name), "donor")
    assert known.one_drawing.weight == weight and known.one_drawing.source == "common practice, no source"


def test_build_toml_has_the_last_word_and_the_verdict_says_so() -> None:
    donor = [replace(f, plus_minus_mm=0.5) for f in given(holes(PLATE))]
    made = build([replace(f, plus_minus_mm=0.5) for f in studs(PLATE)], donor)
    made = replace(made, settings=Settings(same_drawing=0.9))
    verdict = partkin.check(made, "donor")
    assert verdict.chance.assumed == 0.9
    says = "90 in 100 that both were made to one drawing: build.toml says so"
    assert any(says in reason.says for reason in verdict.reasons)


def test_a_verdict_that_hangs_on_it_says_so() -> None:
    """Read to 1 mm the same part bolts on if sister parts often share a drawing, and is open if they seldom do."""
    donor = [replace(f, plus_minus_mm=1.0) for f in given(holes(PLATE))]
    made = build([replace(f, plus_minus_mm=0.3) for f in studs(PLATE)], donor)
    said = {}
    for weight in (0.05, 0.5, 0.99):
        verdict = partkin.check(replace(made, settings=Settings(same_drawing=weight)), "donor")
        hangs = any("the verdict hangs on the drawing" in reason.says for reason in verdict.reasons)
        said[weight] = verdict.verdict, hangs
    assert said[0.05][0] == "not enough measured" and said[0.99] == ("bolts on", False)
    assert said[0.5] == ("bolts on", True)


def test_a_scatter_that_build_toml_says_counts_and_is_said() -> None:
    """Of parts that scatter by more than their play, one of the same drawing need not go on."""
    made = build(*([replace(f, plus_minus_mm=0.5) for f in side] for side in (studs(PLATE), given(holes(PLATE)))))
    fine = partkin.check(made, "donor")
    coarse = partkin.check(replace(made, settings=Settings(scatter_mm=1.0)), "donor")
    assert fine.verdict == "bolts on" and coarse.verdict == "not enough measured"
    said = "holes of one drawing scatter by 1 mm: build.toml says so (scatter_mm)"
    assert any(reason.says == said for reason in coarse.reasons)
