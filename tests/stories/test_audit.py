"""What an audit by the contract alone found, each kept as a story."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

import partkin
from builders import build, given, holes, studs
from partkin.model.build import Build, Part, Zone
from partkin.report.verdict_file import as_tree
from partkin.verify.verify import confirm

PLATE = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)]
SEAM = ((100.0, 50.0), (200.0, 50.0), (200.0, 90.0), (100.0, 90.0))
FAR_SEAM = tuple((x + 150.0, y) for x, y in SEAM)


def with_seams(*zones: Zone, number: str | None = None) -> Build:
    """A donor that fits on its host, an original in the same frame, and the seams of either."""
    made = build(studs(PLATE), given(holes(PLATE)), duty="trim")
    original = Part("old", origin="original", takes_place_of="host", seen_from="outside", duty="trim", airbag=False)
    parts = tuple(replace(p, part_number=number) if p.origin != "host" else p for p in (*made.parts, original))
    features = [
        replace(f, part="old", feature=f"o{n}", goes_on=f"F{n}", thread="M6x1")
        for n, f in enumerate(holes(PLATE), start=1)
    ]
    return replace(made, parts=parts, features=(*made.features, *features), zones=zones)


@pytest.mark.parametrize("gap", [{"across_mm": None}, {"x_mm": None, "y_mm": None}])
@pytest.mark.parametrize("x_mm", [302.5, 320.0])
def test_no_work_is_promised_or_refused_past_a_fixing_that_is_not_measured(gap: dict, x_mm: float) -> None:
    """With the gap filled in it goes on with work, or not: what is measured decides only where nothing may be cut."""
    donor = given(holes(PLATE))
    donor[1] = replace(donor[1], x_mm=x_mm)
    donor[2] = replace(donor[2], **gap)
    verdict = partkin.check(build(studs(PLATE), donor, duty="trim"), "donor")
    assert verdict.verdict == "not enough measured" and "does not go on host as it is" in verdict.says
    assert verdict.adaptation is None and verdict.conflict_says is not None
    assert verdict.unknown[0].part == "donor" and "a3" in verdict.unknown[0].what, "what the work waits for"
    uncut = partkin.check(build(studs(PLATE), donor, duty="structural"), "donor")
    assert uncut.verdict == "does not fit" and uncut.conflict is not None


def test_a_slot_of_unknown_length_is_worked_on_as_its_round_part() -> None:
    """Whatever its length and whichever way it points, its middle has the room of a hole."""
    donor = given(holes(PLATE))
    donor[1], donor[2] = replace(donor[1], x_mm=302.5), replace(donor[2], kind="slot")
    verdict = partkin.check(build(studs(PLATE), donor, duty="trim"), "donor")
    assert verdict.verdict == "bolts on with adaptation"


def test_a_spare_hole_that_is_not_measured_keeps_no_work_back() -> None:
    donor = [*given(holes([*PLATE[:1], (302.5, 0.0), *PLATE[2:]])), replace(holes([(9.0, 9.0)])[0], feature="s")]
    donor[4] = replace(donor[4], across_mm=None, need="spare")
    assert partkin.check(build(studs(PLATE), donor, duty="trim"), "donor").verdict == "bolts on with adaptation"


def test_coarse_readings_of_patterns_that_lie_exactly_on_each_other_name_a_reading() -> None:
    host, donor = ([replace(f, plus_minus_mm=3.0) for f in side] for side in (studs(PLATE), given(holes(PLATE))))
    verdict = partkin.check(build(host, donor), "donor")
    assert verdict.verdict == "not enough measured"
    first = verdict.unknown[0]
    assert first.quantity == "centres" and first.from_feature and first.to_feature
    assert not any("nothing of" in u.says for u in verdict.unknown), "every feature is measured, however coarsely"


def test_one_of_two_seams_that_is_not_known_is_said_first() -> None:
    seams = (Zone("old", "s1", "tear seam", SEAM), Zone("old", "s2", "tear seam", FAR_SEAM))
    verdict = partkin.check(with_seams(*seams, Zone("donor", "s1", "tear seam", SEAM)), "donor")
    assert verdict.unknown and verdict.unknown[0].what == "tear seam of donor"
    verdict = partkin.check(with_seams(seams[0], *(replace(s, part="donor") for s in seams)), "donor")
    assert verdict.unknown and verdict.unknown[0].what == "tear seam of old"


@pytest.mark.parametrize("known", [0, 1])
def test_nothing_is_cut_while_a_seam_of_the_original_has_no_place_on_the_donor(known: int) -> None:
    seams = (Zone("old", "s1", "tear seam", SEAM), Zone("old", "s2", "tear seam", FAR_SEAM))
    on_donor = [replace(s, part="donor") for s in seams]
    made = with_seams(*seams, *on_donor)
    off = tuple(
        replace(f, x_mm=f.x_mm + 2.5) if (f.part, f.feature) == ("donor", "a2") else f for f in made.features
    )  # fmt: skip
    assert partkin.check(replace(made, features=off), "donor").verdict == "bolts on with adaptation"
    verdict = partkin.check(replace(made, features=off, zones=(*seams, *on_donor[:known])), "donor")
    assert verdict.verdict == "does not fit" and verdict.adaptation is None
    assert any("nothing is cut until it is" in r.says for r in verdict.ruled_out)


def test_a_part_number_and_a_seam_that_disagree_are_said() -> None:
    zones = (Zone("old", "s1", "tear seam", SEAM), Zone("donor", "s1", "tear seam", FAR_SEAM))
    verdict = partkin.check(with_seams(*zones, number="AB-1"), "donor")
    assert verdict.verdict == "bolts on"
    assert any(u.what == "readings against part number" and "tear seam" in u.says for u in verdict.unknown)


def test_a_donor_stud_whose_fixing_has_no_place_yet_is_not_refused() -> None:
    """Where F3 is nobody has read: a3, which must be used, may well go on it."""
    host, donor = studs(PLATE), given(holes(PLATE))
    host[2] = replace(host[2], kind="hole", across_mm=9.0, fastener_mm=6.0, x_mm=None, y_mm=None, need="spare")
    donor[2] = replace(donor[2], need="must")
    verdict = partkin.check(build(host, donor), "donor")
    assert verdict.verdict == "not enough measured"
    assert any("F3" in u.says for u in verdict.unknown)


def test_an_original_held_at_one_fixing_does_not_say_where_its_seam_lay() -> None:
    made = with_seams(Zone("old", "s1", "tear seam", SEAM), Zone("donor", "s1", "tear seam", FAR_SEAM))
    few = tuple(f for f in made.features if f.part != "old" or f.feature == "o1")
    verdict = partkin.check(replace(made, features=few), "donor")
    assert verdict.verdict == "bolts on" and any("could not be laid beside" in c.says for c in verdict.safety)


@pytest.mark.parametrize("height_mm", [None, 40.0])
def test_where_nothing_is_wide_enough_and_nothing_must_be_paired_that_is_said(height_mm: float | None) -> None:
    host = [replace(f, kind="hole", across_mm=9.0, fastener_mm=8.0, need="spare") for f in studs([(0.0, 0.0)])]
    donor = holes([(0.0, 0.0), (90.0, 30.0)])
    if height_mm is not None:
        host[0] = replace(host[0], z_mm=0.0)
        donor = [replace(f, z_mm=z) for f, z in zip(donor, (0.0, height_mm), strict=True)]
    made = build(host, donor)
    verdict = partkin.check(made, "donor")
    assert verdict.verdict == "does not fit"
    assert "no feature of the donor goes on any fixing" in verdict.conflict_says
    assert not confirm(json.loads(json.dumps(as_tree(verdict))), made).refused


def test_a_second_original_is_named_as_not_looked_at() -> None:
    made = with_seams()
    twin = replace(next(p for p in made.parts if p.part == "old"), part="older")
    rows = tuple(replace(f, part="older") for f in made.features if f.part == "old")
    both = replace(made, parts=(*made.parts, twin), features=(*made.features, *rows))
    verdict = partkin.check(both, "donor")
    assert any("older came off the same place too and is not looked at: old is" in r.says for r in verdict.reasons)
    assert not any("came off the same place" in r.says for r in partkin.check(made, "donor").reasons)
