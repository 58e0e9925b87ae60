"""However the same parts are written down, the verdict is the same: frames, faces, names, order, a spare hole."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

import partkin
from partkin.model.build import Build, Feature, Part, Zone
from partkin.model.verdict import Verdict

FLIPPED = {"outside": "inside", "inside": "outside"}


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
    seam = ((100.0, 50.0), (260.0, 55.0), (255.0, 90.0))
    off = tuple((x + float(draw.choice([0.0, 0.5, 9.0])), y) for x, y in seam)
    zones = (Zone("old", "s", "tear seam", seam), Zone("donor", "t", "tear seam", off)) if with_seam else ()
    parts = (
        Part("host", origin="host", seen_from="outside", duty="trim", airbag=False),
        Part("old", origin="original", takes_place_of="host", seen_from="outside", duty="trim", airbag=False),
        Part("donor", origin="donor", takes_place_of="host", seen_from="outside", duty="structural"),
    )
    return Build(parts=parts, features=(*host, *old, *donor), zones=zones)


def framed(build: Build, parts: tuple[str, ...], turn_deg: float, flip: bool = False) -> Build:
    """The same parts, read in another frame, or from the other face."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))

    def at(x: float, y: float) -> tuple[float, float]:
        x, y = c * x - s * y + 31.0, s * x + c * y - 407.0
        return (-x, y) if flip else (x, y)

    def feature(row: Feature) -> Feature:
        if row.part not in parts or row.x_mm is None or row.y_mm is None:
            return row
        x, y = at(row.x_mm, row.y_mm)
        along = None if row.angle_deg is None else row.angle_deg + turn_deg
        return replace(row, x_mm=x, y_mm=y, angle_deg=180.0 - along if flip and along is not None else along)

    return replace(
        build,
        features=tuple(feature(row) for row in build.features),
        zones=tuple(
            replace(z, corners_mm=tuple(at(*p) for p in z.corners_mm)) if z.part in parts else z for z in build.zones
        ),
        parts=tuple(
            replace(p, seen_from=FLIPPED[p.seen_from]) if flip and p.part in parts and p.seen_from else p
            for p in build.parts
        ),
    )


def renamed(build: Build) -> Build:
    """Every feature under another name, in another order of names."""
    names = {f.feature: f"q{(7 * k) % 101}" for k, f in enumerate(build.features)}
    return replace(
        build,
        features=tuple(
            replace(f, feature=names[f.feature], goes_on=names[f.goes_on] if f.goes_on else None)
            for f in build.features
        ),
    )


def reversed_rows(build: Build) -> Build:
    return replace(build, features=build.features[::-1], parts=build.parts[::-1], zones=build.zones[::-1])


def with_a_spare_hole(build: Build) -> Build:
    far = Feature("donor", "far", "hole", across_mm=7.0, x_mm=9e3, y_mm=9e3, plus_minus_mm=0.0, need="spare")
    return replace(build, features=(*build.features, far))


WAYS: dict[str, Callable[[Build], Build]] = {
    "donor's frame": lambda build: framed(build, ("donor",), 63.0),
    "host's frame": lambda build: framed(build, ("host", "old"), -141.0),
    "donor from the other face": lambda build: framed(build, ("donor",), 12.0, flip=True),
    "all from the other face": lambda build: framed(build, ("host", "old", "donor"), 0.0, flip=True),
    "names": renamed,
    "order": reversed_rows,
    "spare hole": with_a_spare_hole,
}


def near_a_bar(verdict: Verdict) -> bool:
    """Whether other draws might fall on the other side of a bar."""
    chance = verdict.chance
    close = chance is not None and chance.draws > 0 and any(
        chance.low <= bar <= chance.high or abs(chance.fits - bar) < 0.04 for bar in (0.05, 0.95)
    )  # fmt: skip
    if chance is None and verdict.pairs and verdict.verdict in ("does not fit", "not enough measured"):
        # Something is not known: how near the rest is to a bar is not shown.
        close = any(pair.margin_mm is not None and abs(pair.margin_mm) < 0.5 for pair in verdict.pairs)
    just = chance.just_goes_on if chance is not None else None
    close = close or (just is not None and abs(just - 0.05) < 0.04)
    return close or (verdict.margin_mm is not None and abs(verdict.margin_mm) < 1e-4)


@pytest.mark.parametrize("way", WAYS)
def test_the_verdict_is_the_same(way: str) -> None:
    compared = 0
    for seed in range(16):
        build = written(seed)
        one, other = (partkin.check(b, "donor", others=False) for b in (build, WAYS[way](build)))
        if near_a_bar(one) or near_a_bar(other):
            continue
        compared += 1
        assert one.verdict == other.verdict, seed
        assert (one.margin_mm is None) == (other.margin_mm is None)
        if one.margin_mm is not None and one.margin_mm > -9.9:
            assert one.margin_mm == pytest.approx(other.margin_mm, abs=0.002)
        assert len(one.pairs) == len(other.pairs) and (one.conflict is None) == (other.conflict is None)
    assert compared >= 8
