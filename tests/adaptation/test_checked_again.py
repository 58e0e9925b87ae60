"""The work written into the sheets as if it had been done, and the plain check asked again: then it bolts on."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from folders import FRAME, OLD, PANEL, holes, studs, write
from random_builds import random_build
from work_done import adapted_features

from partkin import pipeline
from partkin.adaptation.question import question_of
from partkin.model.adapting import Adaptation
from partkin.model.build import Build, Feature, Part
from partkin.model.verdict import Verdict
from partkin.trial import trying
from partkin.trial.findings import Findings


def _done(build: Build, adaptation: Adaptation, findings: Findings) -> Build:
    """The build with the donor's and the host's features as the work leaves them; what is left unused is spare."""
    assert findings.trial is not None
    places = trying.places_of(findings.known)
    prepared = trying.prepared_task(findings.known, places, mirrored=findings.trial.mirrored)
    question = question_of(build, findings, prepared)
    left = {action.feature for action in adaptation.actions if action.do == "leave unused"}
    replaced = {pair[0]: pair[1] for pair in adaptation.pairs}
    own = [feature for feature in build.features if feature.part == "panel"]
    within_mm = own[0].plus_minus_mm
    donor = [
        replace(f, plus_minus_mm=within_mm, need="spare" if f.feature in left else f.need)
        for f in adapted_features(own, adaptation, brackets=question.brackets)
    ]
    # A hole in place of which a new one was drilled is no longer meant for that fixing.
    donor = [
        replace(f, goes_on=None, need="spare") if replaced.get(f.goes_on or "", f.feature) != f.feature else f
        for f in donor
    ]
    host = adapted_features([f for f in build.features if f.part == "frame"], adaptation, side="host")
    return replace(build, features=(*host, *donor))


def _checked_twice(folder: Path, seed: int) -> tuple[Verdict, Verdict | None]:
    """The verdict, and of what goes on with work the verdict once the work is written into the sheets."""
    build = pipeline.load_build(random_build(folder, seed))
    findings = pipeline.find_out(build, "panel", others=False)
    verdict = pipeline.decided(build, findings)
    if verdict.adaptation is None or verdict.verdict != "bolts on with adaptation":
        return verdict, None
    after = _done(build, verdict.adaptation, findings)
    parts = [part for part in after.parts if part.part in ("frame", "panel", "old", "lug")]
    write(folder / "after", parts, after.features, after.outlines, after.zones)
    return verdict, pipeline.check(pipeline.load_build(folder / "after"), "panel", others=False)


def _all_fit(folder: Path, seeds: range) -> int:
    adapted = 0
    for seed in seeds:
        before, after = _checked_twice(folder / str(seed), seed)
        if after is None:
            continue
        adapted += 1
        assert after.verdict == "bolts on", (seed, after.says, before.adaptation)
        assert before.adaptation is not None and after.margin_mm is not None
        pairs = {(pair.fixing, pair.feature) for pair in after.pairs}
        # Where the check pairs what should be held besides, or finds another pairing, the margin is that one's.
        if pairs == set(before.adaptation.pairs):
            assert after.margin_mm == pytest.approx(before.adaptation.margin_mm, abs=0.005), seed
    return adapted


@pytest.mark.parametrize("start", range(0, 60, 20))
def test_adapted_parts_bolt_on_by_the_plain_check(start: int, tmp_path: Path) -> None:
    assert _all_fit(tmp_path, range(start, start + 20)) >= 4


@pytest.mark.slow
@pytest.mark.parametrize("start", range(100, 700, 100))
def test_adapted_parts_bolt_on_by_the_plain_check_in_six_hundred(start: int, tmp_path: Path) -> None:
    assert _all_fit(tmp_path, range(start, start + 100)) >= 20


def test_a_part_with_a_bracket_moved_over_bolts_on(tmp_path: Path) -> None:
    square = ((0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0))
    at = {"x_mm": 150.0, "y_mm": 245.0, "plus_minus_mm": 0.1, "need": "must"}
    clip_hole = Feature("frame", "F5", "clip hole", across_mm=8.0, **at)  # type: ignore[arg-type]
    lug = Part(
        "lug", origin="original", takes_place_of="old", part_of="old", seen_from="outside", duty="trim", airbag=False
    )
    clip = Feature("lug", "k", "clip", across_mm=7.5, x_mm=0.0, y_mm=0.0, goes_on="F5")
    donor = holes(square, plus_minus_mm=0.1)
    made = [*studs(square, plus_minus_mm=0.1), clip_hole, *donor, *holes(square, "old"), clip]
    build = pipeline.load_build(write(tmp_path / "before", [FRAME, OLD, PANEL, lug], made))
    findings = pipeline.find_out(build, "panel")
    verdict = pipeline.decided(build, findings)
    assert verdict.adaptation is not None and [a.do for a in verdict.adaptation.actions] == ["move over"]
    after = _done(build, verdict.adaptation, findings)
    assert any(f.feature == "moved-F5" and f.kind == "clip" and f.goes_on == "F5" for f in after.features)
    write(tmp_path / "after", after.parts, after.features, after.outlines)
    assert pipeline.check(pipeline.load_build(tmp_path / "after"), "panel").verdict == "bolts on"
