"""Coarse readings: the very same part is not sent away, and a real conflict still is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import partkin
from builders import build, given, holes, studs
from partkin.model.build import Build

PLATES = {
    3: [(0.0, 0.0), (300.0, 0.0), (120.0, 180.0)],
    4: [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)],
    6: [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0), (150.0, 5.0), (140.0, 210.0)],
}
TRIED = 40
# One in twenty, counted as it is: the draws are seeded.
MOST_WRONG = 2


def read(points: list, coarse_mm: float, draw: np.random.Generator, **moved: tuple[float, float]) -> Build:
    """Host and donor read to plus or minus `coarse_mm`; `moved`: donor holes that really stand elsewhere."""
    true = np.array(points)
    there = true.copy()
    for name, by in moved.items():
        there[int(name[1:]) - 1] += by
    sides = [side + draw.uniform(-coarse_mm, coarse_mm, true.shape) for side in (true, there)]
    host, donor = studs(sides[0].tolist()), given(holes(sides[1].tolist()))
    return build(*([replace(f, plus_minus_mm=coarse_mm) for f in side] for side in (host, donor)))


@pytest.mark.parametrize(("fixings", "coarse_mm"), [(3, 2.0), (4, 2.0), (4, 3.0), (6, 5.0)])
def test_of_forty_identical_parts_at_most_two_are_sent_away(fixings: int, coarse_mm: float) -> None:
    draw = np.random.default_rng([fixings, int(coarse_mm)])
    verdicts = [partkin.check(read(PLATES[fixings], coarse_mm, draw), "donor") for _ in range(TRIED)]
    assert sum(v.verdict == "does not fit" for v in verdicts) <= MOST_WRONG
    open_ends = [v for v in verdicts if v.verdict == "not enough measured"]
    assert len(open_ends) >= TRIED - MOST_WRONG
    assert all(v.unknown for v in open_ends)
    assert sum(v.unknown[0].quantity == "centres" for v in open_ends) >= len(open_ends) - 2


def test_a_hole_at_the_end_of_its_play_is_not_held_against_a_part_that_goes_on() -> None:
    """Every hole off by its whole play: where hardly a draw goes on, a part that just does would look so as well."""
    draw = np.random.default_rng(11)
    verdicts = []
    for _ in range(TRIED):
        way = draw.uniform(0.0, 2.0 * np.pi, 6)
        off = {f"a{n}": (0.5 * np.cos(turn), 0.5 * np.sin(turn)) for n, turn in enumerate(way, 1)}
        verdicts.append(partkin.check(read(PLATES[6], 0.3, draw, **off), "donor"))
    assert sum(v.verdict == "does not fit" for v in verdicts) <= MOST_WRONG
    spared = [v for v in verdicts if v.chance.fits <= 0.05 and v.verdict == "not enough measured"]
    assert spared and all("would look as far off in" in v.unknown[0].says for v in spared)
    assert all(v.chance.just_goes_on > 0.05 for v in spared)


@pytest.mark.parametrize(("coarse_mm", "off_mm"), [(0.5, 4.0), (1.0, 6.0), (2.0, 12.0), (3.0, 18.0)])
def test_a_hole_that_is_really_elsewhere_is_still_found(coarse_mm: float, off_mm: float) -> None:
    draw = np.random.default_rng([7, int(10 * coarse_mm)])
    verdicts = [partkin.check(read(PLATES[4], coarse_mm, draw, a3=(off_mm, 0.0)), "donor") for _ in range(20)]
    assert sum(v.verdict == "does not fit" for v in verdicts) >= 18


def test_two_holes_known_finely_decide_among_many_known_coarsely() -> None:
    host, donor = studs(PLATES[6]), given(holes(PLATES[6]))
    donor = [replace(f, plus_minus_mm=4.0) for f in donor]
    donor[0] = replace(donor[0], plus_minus_mm=0.1)
    donor[1] = replace(donor[1], plus_minus_mm=0.1, x_mm=302.0)
    verdict = partkin.check(build(host, donor), "donor")
    assert verdict.verdict == "does not fit" and set(verdict.conflict.fixings) == {"F1", "F2"}


def test_in_space_too() -> None:
    """The same part read to 3 mm; and with a hole 30 mm off."""
    heights = [0.0, 40.0, 0.0, 60.0]
    host = [replace(f, z_mm=z, plus_minus_mm=0.1) for f, z in zip(studs(PLATES[4]), heights, strict=True)]
    draw = np.random.default_rng(3)
    points = (np.array(PLATES[4]) + draw.uniform(-3.0, 3.0, (4, 2))).tolist()
    donor = [replace(f, z_mm=z, plus_minus_mm=3.0) for f, z in zip(given(holes(points)), heights, strict=True)]
    assert partkin.check(build(host, donor), "donor").verdict == "not enough measured"
    donor[2] = replace(donor[2], x_mm=donor[2].x_mm + 30.0)
    assert partkin.check(build(host, donor), "donor").verdict == "does not fit"


@pytest.mark.parametrize(("stretch_mm", "verdict"), [(1.1, "not enough measured"), (2.0, "does not fit")])
def test_holes_that_are_hardly_known_make_no_conflict_of_the_two_that_are(stretch_mm: float, verdict: str) -> None:
    """Two holes to 0.1 mm, four to 25 mm. Play 0.5 mm at each: 1.0 mm of stretch is let go on, and 1.1 may be 1.0."""
    host = studs(PLATES[6])
    donor = given(holes([(x + stretch_mm * (x == 300.0), y) for x, y in PLATES[6]]))
    fine = {"a1", "a2"}
    donor = [replace(hole, plus_minus_mm=0.1 if hole.feature in fine else 25.0) for hole in donor]
    found = partkin.check(build(host, donor), "donor")
    assert found.verdict == verdict
    if verdict == "does not fit":
        assert {"F1", "F2"} <= set(found.conflict.fixings)
