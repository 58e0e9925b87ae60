"""Fixtures whose margin is known in closed form."""

from __future__ import annotations

import random

import pytest

import partkin
from builders import build, given, holes, moved, studs

CORNERS = [(0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0), (150.0, 0.0)]
FIFTH_OUT_MM = [round(0.1 * n, 2) for n in range(1, 21)]


@pytest.mark.parametrize("d_mm", FIFTH_OUT_MM)
def test_fifth_hole_out_by_d(d_mm: float) -> None:
    """7 mm holes on M6 studs, the fifth out by d in y: the best margin is exactly 0.5 - d/2 (derived).

    Centring both patterns would leave the fifth hole 0.8 d out and reject d = 0.95.
    """
    donor = given(holes([*CORNERS[:4], (150.0, d_mm)]))
    verdict = partkin.check(build(studs(CORNERS), donor), "donor")
    assert verdict.margin_mm == pytest.approx(0.5 - d_mm / 2, abs=1e-6)
    assert verdict.verdict == ("bolts on" if d_mm <= 1.0 else "does not fit")
    if d_mm > 1.0:
        assert 2 <= len(verdict.conflict.fixings) <= 4
        assert 0 < verdict.conflict.shortfall_mm <= d_mm / 2 - 0.5 + 1e-6


@pytest.mark.parametrize("seed", range(200))
def test_a_part_fits_itself_however_it_lies(seed: int) -> None:
    chance = random.Random(seed)
    points = [(chance.uniform(-600, 600), chance.uniform(-300, 300)) for _ in range(chance.randint(1, 9))]
    lying = moved(points, chance.uniform(-180, 180), chance.uniform(-2000, 2000), chance.uniform(-2000, 2000))
    verdict = partkin.check(build(studs(points), holes(lying)), "donor")
    assert verdict.verdict == "bolts on"
    assert verdict.margin_mm == pytest.approx(0.5, abs=1e-6)
    assert verdict.chance.fits == 1.0


def test_two_holes_too_far_apart_are_named() -> None:
    verdict = partkin.check(build(studs(CORNERS[:2]), given(holes([(0.0, 0.0), (303.0, 0.0)]))), "donor")
    assert verdict.verdict == "does not fit"
    assert verdict.conflict.fixings == ("F1", "F2")
    assert verdict.margin_mm == pytest.approx(-1.0)
    assert "3.0 mm further from" in verdict.conflict_says
