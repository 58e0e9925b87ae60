"""Tear seams: of several ways to lay a panel on, the one with the seam in place; and a proof where there is none."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

import partkin
from builders import build, given, holes, studs
from partkin.model.build import Build, Part, Zone
from partkin.report.verdict_file import as_tree
from partkin.verify.verify import confirm

OBLONG = [(0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0)]
PLATE = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)]
SEAM = ((60.0, 30.0), (160.0, 30.0), (160.0, 50.0), (60.0, 50.0))


def turned_half(points: tuple) -> tuple:
    """Half a turn about the middle of the oblong."""
    return tuple((300.0 - x, 200.0 - y) for x, y in points)


def panel(
    seam: tuple, *, points: list = OBLONG, donor: list | None = None, named: bool = False,
    faces: tuple = ("outside", "outside"),
    off: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0),
) -> Build:  # fmt: skip
    """Host, original in the host's frame with its seam, and a donor with its own."""
    there = [(x + dx, y) for (x, y), dx in zip(donor or points, off, strict=True)]
    on_donor = holes(there)
    made = build(studs(points), given(on_donor) if named else on_donor, duty="trim", airbag=None)
    host_face, donor_face = faces
    parts = tuple(
        replace(p, seen_from=donor_face if p.part == "donor" else host_face) for p in made.parts
    )  # fmt: skip
    original = Part("old", origin="original", takes_place_of="host", seen_from=host_face, duty="trim")
    came_off = [replace(f, part="old", feature=f"o{n}", goes_on=f"F{n}") for n, f in enumerate(holes(points), start=1)]
    zones = (Zone("old", "s", "tear seam", SEAM), Zone("donor", "d", "tear seam", seam))
    return replace(made, parts=(*parts, original), features=(*made.features, *came_off), zones=zones)


def told(made: Build) -> tuple:
    """The verdict, its file, and what verify says of that."""
    verdict = partkin.check(made, "donor")
    tree = json.loads(json.dumps(as_tree(verdict)))
    return verdict, tree, confirm(tree, made)


@pytest.mark.parametrize("seam", [SEAM, turned_half(SEAM)])
@pytest.mark.parametrize("off", [(0.0,) * 4, (0.3, 0.0, 0.0, -0.1)])
def test_a_symmetric_panel_goes_on_the_right_way_round(seam: tuple, off: tuple) -> None:
    """Equal pairings, or nearly equal ones: what counts is that one of them puts the seam right."""
    verdict, _, confirmation = told(panel(seam, off=off))
    assert verdict.verdict == "bolts on" and not confirmation.refused
    assert verdict.also == 0, "the other way round is no other way: its seam lies elsewhere"
    half = abs(verdict.placement.turn_deg) > 90.0
    assert half == (seam != SEAM)


def test_given_the_wrong_way_round_it_does_not_fit() -> None:
    verdict, tree, confirmation = told(panel(turned_half(SEAM), named=True))
    assert verdict.verdict == "does not fit" and "seam" in verdict.says
    assert tree["conflict"]["certificate"] and tree["conflict"]["seams"][0]["original"] == "s"
    assert not confirmation.refused
    assert any("seam" in said for said in confirmation.as_stated)


@pytest.mark.parametrize("named", [True, False])
@pytest.mark.parametrize("by_mm", [6.0, 30.0])
def test_a_seam_that_lies_elsewhere_is_proved_over_every_placement(named: bool, by_mm: float) -> None:
    elsewhere = tuple((x, y + by_mm) for x, y in SEAM)
    for points in (PLATE, OBLONG):
        verdict, tree, confirmation = told(panel(elsewhere, points=points, named=named))
        assert verdict.verdict == "does not fit" and verdict.adaptation is None
        assert "corners of its seam" in verdict.next_step
        assert not confirmation.refused
        moved = json.loads(json.dumps(tree))
        for seam in moved["conflict"]["seams"]:
            seam["donor_mm"][1] += 1.0
        assert confirm(moved, panel(elsewhere, points=points, named=named)).refused
        closer = replace(
            panel(elsewhere, points=points, named=named),
            zones=(Zone("old", "s", "tear seam", SEAM), Zone("donor", "d", "tear seam", SEAM)),
        )
        assert confirm(tree, closer).refused


def test_a_proof_of_one_seam_says_nothing_where_the_donor_has_another_in_place() -> None:
    """Two seams on either side: that each is proved far from one of them is not enough."""
    elsewhere = tuple((x, y + 30.0) for x, y in SEAM)
    made = panel(elsewhere, points=PLATE, named=True)
    _, tree, _ = told(made)
    both = replace(made, zones=(*made.zones, Zone("donor", "e", "tear seam", SEAM)))
    assert confirm(tree, both).refused
    assert partkin.check(both, "donor").verdict == "bolts on"


def test_a_seam_that_is_turned_is_confirmed_as_the_panel_is_laid() -> None:
    """About its own middle its points are where they were: no proof over every placement, but it lies elsewhere."""
    (left, low), (right, high) = SEAM[0], SEAM[2]
    middle = ((left + right) / 2, (low + high) / 2)
    upright = tuple((middle[0] + y - middle[1], middle[1] + x - middle[0]) for x, y in SEAM)
    made = panel(upright, points=PLATE, named=True)
    verdict, tree, confirmation = told(made)
    assert verdict.verdict == "does not fit" and tree["conflict"]["certificate"] is None
    assert confirmation.refused == ()
    # The corners of the lying one are 40 mm to the side of the upright one, which is 20 mm wide.
    assert tree["conflict"]["elsewhere"]["departure_mm"] == pytest.approx(40.0, abs=1e-3)
    for key, value in (("within_mm", 40.1), ("within_mm", 0.1), ("original_at", None), ("kind", "airbag door")):
        forged = json.loads(json.dumps(tree))
        forged["conflict"]["elsewhere"][key] = value
        assert confirm(forged, made).refused, key
    forged = json.loads(json.dumps(tree))
    forged["conflict"]["elsewhere"]["original_at"][0][3] += 60.0
    assert confirm({**forged, "measured_from": "original"}, made).refused
    assert confirm({**tree, "verdict": "bolts on with adaptation", "adaptations": tree["besides"]}, made).refused
    right = Zone("donor", "e", "tear seam", SEAM)
    assert confirm(tree, replace(made, zones=(Zone("old", "s", "tear seam", SEAM), right))).refused
    another = replace(made, zones=(*made.zones, right))
    assert confirm(tree, another).refused, "the donor has another seam, and that lies in place"


def test_which_face_was_looked_at_is_asked_where_the_seam_hangs_on_it() -> None:
    """From either face the holes go on; the seam lies right from one of them only."""
    verdict = partkin.check(panel(SEAM, named=False, faces=("outside", None)), "donor")
    assert verdict.verdict == "not enough measured"
    assert verdict.unknown[0].what == "seen_from" and "seam" in verdict.unknown[0].says


def test_coarse_holes_explain_a_seam_that_seems_to_lie_off() -> None:
    """Read to 3 mm, the holes may lay the seam off by more than the corners' own error."""
    off = tuple((x, y + 4.0) for x, y in SEAM)
    made = panel(off, points=PLATE, named=True)
    assert partkin.check(made, "donor").verdict == "does not fit"
    coarse = replace(made, features=tuple(replace(f, plus_minus_mm=3.0) for f in made.features))
    assert partkin.check(coarse, "donor").verdict == "not enough measured"


def test_a_spare_hole_known_to_100_mm_explains_no_seam() -> None:
    off = tuple((x, y + 12.0) for x, y in SEAM)
    made = panel(off, points=PLATE, named=True)
    vague = replace(holes([(150.0, 90.0)])[0], feature="vague", need="spare", plus_minus_mm=100.0)
    assert partkin.check(replace(made, features=(*made.features, vague)), "donor").verdict == "does not fit"
