"""However the same parts are written down, the verdict is the same: frames, faces, names, order, a spare hole."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import partkin
from campaigns.laws import SAME
from partkin.model.build import Build, Feature, Part, Reading, Zone
from partkin.model.verdict import Verdict


def written(seed: int) -> Build:
    """Studs and holes that nearly go together; now and then coarse, with a gap, or with a seam."""
    draw = np.random.default_rng(seed)
    count = int(draw.integers(3, 8))
    points = draw.uniform((0.0, 0.0), (700.0, 300.0), (count, 2))
    there = points + draw.normal(0.0, float(draw.choice([0.0, 0.2, 0.6, 3.0])), (count, 2))
    coarse_mm = float(draw.choice([0.0, 0.3, 2.0]))
    named, with_seam = bool(draw.random() < 0.5), bool(draw.random() < 0.4)
    host = [
        Feature("host", f"F{k}", "stud", across_mm=6.0, x_mm=x, y_mm=y, plus_minus_mm=0.1)
        for k, (x, y) in enumerate(points.tolist())
    ]
    donor = [
        Feature(
            "donor", f"a{k}", "slot" if k == 1 else "hole", across_mm=7.0, length_mm=11.0 if k == 1 else None,
            angle_deg=25.0 if k == 1 else None, x_mm=x, y_mm=y, plus_minus_mm=coarse_mm,
            goes_on=f"F{k}" if named else None,
        )
        for k, (x, y) in enumerate(there.tolist())
    ]  # fmt: skip
    if draw.random() < 0.2:
        donor[2] = replace(donor[2], across_mm=None)
    old = [replace(f, part="old", feature=f"o{k}", kind="hole", across_mm=7.0, goes_on=f.feature)
           for k, f in enumerate(host)]  # fmt: skip
    sized = tuple(
        Reading("donor", f"s{k}", "across", 7.0, "mm", f"a{k}", None, plus_minus=0.4) for k in range(count)
        if draw.random() < 0.3
    )  # fmt: skip
    by_original = bool(draw.random() < 0.3)
    if by_original:
        donor = [replace(f, goes_on=f.goes_on and f"o{f.goes_on[1:]}") for f in donor]
        old = [replace(f, goes_on=None, fastener_mm=6.0) for f in old]
        old[0] = replace(old[0], kind="slot", length_mm=10.0, angle_deg=40.0)
    seam = ((100.0, 50.0), (260.0, 55.0), (255.0, 90.0))
    off = tuple((x + float(draw.choice([0.0, 0.5, 9.0])), y) for x, y in seam)
    zones = (Zone("old", "s", "tear seam", seam), Zone("donor", "t", "tear seam", off)) if with_seam else ()
    parts = (
        Part("host", origin="host", seen_from="outside", duty="trim", airbag=False),
        Part("old", origin="original", takes_place_of="host", seen_from="outside", duty="trim", airbag=False),
        Part("donor", origin="donor", takes_place_of="host", seen_from="outside", duty="structural"),
    )
    features = (*([] if by_original else host), *old, *donor)
    return Build(parts=parts, features=features, zones=zones, readings=sized)


@cache
def as_written(seed: int) -> Verdict:
    return partkin.check(written(seed), "donor", others=False)


@pytest.mark.parametrize("way", SAME)
def test_the_verdict_and_its_chance_are_the_same(way: str) -> None:
    """On more and on other builds: tests/campaigns/laws.py."""
    for seed in range(16):
        one, other = as_written(seed), partkin.check(SAME[way](written(seed), "donor"), "donor", others=False)
        assert one.verdict == other.verdict, seed
        assert (one.margin_mm is None) == (other.margin_mm is None)
        if one.margin_mm is not None and one.margin_mm > -9.9:
            assert one.margin_mm == pytest.approx(other.margin_mm, abs=0.002)
        assert len(one.pairs) == len(other.pairs) and (one.conflict is None) == (other.conflict is None)
        assert figures(one) == pytest.approx(figures(other), abs=1e-6), seed


def figures(verdict: Verdict) -> list[float]:
    """All that was drawn: the same draws come to the same shares, not only to nearly the same."""
    chance = verdict.chance
    if chance is None:
        return []
    told = (chance.fits, chance.draws, chance.one_drawing, chance.at_half, chance.at_twice, chance.just_goes_on)
    return [-1.0 if value is None else float(value) for value in told]
