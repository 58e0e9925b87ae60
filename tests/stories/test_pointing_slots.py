"""A slot's direction told by the feature that it points at, from coordinates, distances and in space."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from tests.builders import build, moved, studs

from partkin.model.build import Build, Feature, Reading
from partkin.model.mating import direction_deg
from partkin.pipeline import check
from partkin.report.verdict_file import verdict_json
from partkin.sheets.loading import read
from partkin.verify.verify import confirm

SQUARE = [(0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0)]


def donor(points, angle_deg=None, angle_to=None) -> list[Feature]:
    """Three holes of 6.4 and a slot of 6.4 x 26.4 at the fourth place, exactly placed."""
    made = [
        Feature("donor", f"a{n}", "hole", 6.4, x_mm=x, y_mm=y, plus_minus_mm=0.0, goes_on=f"F{n}")
        for n, (x, y) in enumerate(points, start=1)
    ]
    slot = {"kind": "slot", "length_mm": 26.4, "angle_deg": angle_deg, "angle_to": angle_to}
    return [*made[:3], replace(made[3], **slot)]


# The fourth hole stands 8 mm further along the line from a1: in reach of a slot that points at a1, of no other.
PULLED = [*SQUARE[:3], (0.0, 208.0)]


@pytest.mark.parametrize("turn_deg", [0.0, 37.0])
@pytest.mark.parametrize("face", ["outside", "inside"])
@pytest.mark.parametrize(("to", "verdict"), [("a1", "bolts on"), ("a3", "does not fit"), ("a2", "does not fit")])
def test_a_slot_that_points_at_a_feature_is_one_with_that_angle(turn_deg, face, to, verdict):
    flip = -1.0 if face == "inside" else 1.0
    at = [(flip * x, y) for x, y in moved(PULLED, turn_deg, 11.0, -40.0)]
    told = build(studs(SQUARE), donor(at, angle_to=to), donor_face=face)
    here, there = np.array(at[3]), np.array(at[int(to[1]) - 1])
    angle_deg = math.degrees(math.atan2(*(there - here)[::-1]))
    in_degrees = build(studs(SQUARE), donor(at, angle_deg=angle_deg), donor_face=face)
    found, same = check(told, "donor"), check(in_degrees, "donor")
    assert found.verdict == same.verdict == verdict
    assert found.margin_mm == pytest.approx(same.margin_mm, abs=1e-6)
    assert confirm(json.loads(verdict_json(found)), told).refused == ()


def from_distances(features: list[Feature], points) -> Build:
    """The same donor measured by all its distances, to 0.05 mm, with no place and no face told."""
    # With the pairs not told a mirror image goes on at another corner all the same.
    bare = [replace(f, goes_on=None, x_mm=None, y_mm=None, plus_minus_mm=None) for f in features]
    pairs = [(i, j) for i in range(4) for j in range(i)]
    rows = tuple(
        Reading("donor", f"r{n}", "centres", math.dist(points[i], points[j]), "mm", f"a{i + 1}", f"a{j + 1}", 0.05)
        for n, (i, j) in enumerate(pairs)
    )
    return replace(build(studs(SQUARE), bare), readings=rows)


@pytest.mark.parametrize(("to", "verdict"), [("a1", "bolts on"), ("a2", "does not fit")])
def test_distances_alone_are_enough_for_where_a_slot_points(to, verdict):
    assert check(from_distances(donor(PULLED, angle_to=to), PULLED), "donor").verdict == verdict


def test_an_originals_slot_that_points_gives_its_stud_that_play():
    """Where the original's slot points along the line of the odd hole, its stud may have stood there."""
    original = [replace(f, part="original", fastener_mm=6.0, goes_on=None) for f in donor(SQUARE, angle_to="a1")]
    holes = [replace(f, goes_on=f"a{n}") for n, f in enumerate(donor(PULLED)[:3], start=1)]
    holes.append(Feature("donor", "a4", "hole", 6.4, x_mm=0.0, y_mm=208.0, plus_minus_mm=0.0, goes_on="a4"))
    plain = build([], holes)
    parts = (*plain.parts, replace(plain.parts[0], part="original", origin="original", takes_place_of="host"))
    along = check(replace(plain, parts=parts, features=(*original, *holes)), "donor")
    across = [replace(f, angle_to="a3") if f.angle_to else f for f in original]
    aside = check(replace(plain, parts=parts, features=(*across, *holes)), "donor")
    assert along.chance.fits > 0.02 and aside.chance.fits == 0.0


@pytest.mark.parametrize("axis", [(0.0, 0.0, 1.0), (0.0, 0.6, 0.8), (0.6, 0.0, -0.8)])
def test_in_space_a_direction_is_told_as_the_fit_takes_it(axis):
    from partkin.fit.rotations import laid_over

    slot = Feature("p", "s", "slot", angle_to="h", axis=axis)
    here, over = np.array([1.0, 2.0, 3.0]), np.array([30.0, 14.0, 9.0])
    angle = math.radians(direction_deg(slot, {"s": here, "h": here + over}))
    basis = laid_over(np.array(axis))
    along = basis[:, 0] * math.cos(angle) + basis[:, 1] * math.sin(angle)
    flat = over - (over @ np.array(axis)) * np.array(axis)
    assert along == pytest.approx(flat / np.linalg.norm(flat), abs=1e-12)


HEADER = "part,feature,kind,across_mm,length_mm,angle_deg\n"


@pytest.mark.parametrize(
    ("cell", "what"),
    [
        ("to h3", "features.csv:3:angle_deg: p has no feature h3."),
        ("to s", "features.csv:3:angle_deg: s points at itself."),
        ("h1", "features.csv:3:angle_deg: "),
        ("to", "features.csv:3:angle_deg: "),
    ],
)
def test_a_direction_that_leads_nowhere_is_told(cell, what):
    rows = f"{HEADER}p,h1,hole,7,,\np,s,slot,7,12,{cell}\n"
    loaded = read({"parts.csv": b"part\np\n", "features.csv": rows.encode()})
    assert any(str(problem).startswith(what) for problem in loaded.problems), loaded.problems


def test_a_direction_to_a_feature_is_read():
    rows = f"{HEADER}p,h1,hole,7,,\np,s,slot,7,12,To h1\np,t,slot,7,12,30 deg\n"
    features = read({"parts.csv": b"part\np\n", "features.csv": rows.encode()}).build.features
    assert [(f.angle_deg, f.angle_to) for f in features] == [(None, None), (None, "h1"), (30.0, None)]
