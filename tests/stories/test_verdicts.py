"""One story a rule of the contract: what the verdict says, and what it rests on."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

import partkin
from builders import build, given, holes, moved, studs
from partkin.model.build import Build, Feature, Part, Reading, Zone
from partkin.report.verdict_file import as_tree, verdict_json

PLATE = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)]
SEAM = ((100.0, 50.0), (200.0, 50.0), (200.0, 90.0), (100.0, 90.0))


def with_original(made: Build, *, points: list = PLATE, zones: tuple = (), **part: object) -> Build:
    original = Part("old", origin="original", takes_place_of="host", seen_from="outside", **{"duty": "trim", **part})
    features = [
        replace(f, part="old", feature=f"o{n}", goes_on=f"F{n}", thread="M6x1")
        for n, f in enumerate(holes(points), start=1)
    ]
    return replace(
        made, parts=(*made.parts, original), features=(*made.features, *features), zones=(*made.zones, *zones)
    )


def donor_zone(points: tuple, kind: str = "tear seam", part: str = "donor", name: str = "seam") -> Zone:
    return Zone(part, name, kind, points)


# Evidence


def test_the_same_part_number_is_stronger_than_measuring() -> None:
    made = with_original(build(studs(PLATE), given(holes([*PLATE[:3], (9.0, 180.0)]))), part_number="AB-12 34")
    made = replace(made, parts=tuple(replace(p, part_number="ab1234") if p.part == "donor" else p for p in made.parts))
    verdict = partkin.check(made, "donor")
    assert verdict.verdict == "bolts on"
    assert any("once more" in u.says and u.quantity == "centres" for u in verdict.unknown), "the disagreement is said"


def test_a_part_that_supersedes_the_original_goes_on_unmeasured() -> None:
    made = with_original(build(studs(PLATE), []), part_number="AB-1")
    parts = tuple(replace(p, part_number="AB-2", replaces=("AB-1",)) if p.part == "donor" else p for p in made.parts)
    verdict = partkin.check(replace(made, parts=parts), "donor")
    assert verdict.verdict == "bolts on" and verdict.chance is None


def test_an_older_number_is_no_evidence() -> None:
    made = with_original(build(studs(PLATE), []), part_number="AB-2", replaces=("AB-1",))
    parts = tuple(replace(p, part_number="AB-1") if p.part == "donor" else p for p in made.parts)
    assert partkin.check(replace(made, parts=parts), "donor").verdict == "not enough measured"


@pytest.mark.parametrize("measured", [True, False])
def test_it_is_said_whether_the_host_itself_was_measured(measured: bool) -> None:
    made = with_original(build(studs(PLATE), given(holes(PLATE))))
    if not measured:
        bare = [replace(f, x_mm=None, y_mm=None) if f.part == "host" else f for f in made.features]
        made = replace(made, features=tuple(bare))
    says = [reason.says for reason in partkin.check(made, "donor").reasons]
    assert any(one.startswith("the host was not measured: the original's holes show") for one in says) != measured
    assert ("the places of the fixings were measured on the host" in says) == measured


# Safety


@pytest.mark.parametrize("whose", ["donor", "host", "old"])
def test_a_restraint_part_is_never_judged(whose: str) -> None:
    """Nor a donor whose host or original is one: a restraint original stops the judging."""
    made = with_original(build(studs(PLATE), holes(PLATE)))
    parts = tuple(replace(p, duty="restraint", part_number="X") if p.part == whose else p for p in made.parts)
    verdict = partkin.check(replace(made, parts=parts), "donor")
    tree = as_tree(verdict)
    assert verdict.verdict == "not judged"
    assert all(tree[key] is None for key in ("chance", "placement", "margin_mm", "conflict"))
    assert tree["pairs"] == tree["adaptations"] == []
    assert any(c["hold"] for c in tree["safety"])


@pytest.mark.parametrize(("duty", "unknown"), [("structural", False), (None, True)])
def test_structural_or_unknown_duty_is_never_cut(duty: str | None, unknown: bool) -> None:
    made = build(studs(PLATE), given(holes([*PLATE[:3], (4.0, 180.0)])), duty=duty)
    verdict = partkin.check(made, "donor")
    assert verdict.verdict == "does not fit" and verdict.adaptation is None
    assert (bool(verdict.unknown) and verdict.unknown[0].what == "duty") == unknown


def test_the_strictest_duty_of_donor_and_original_counts() -> None:
    made = build(studs(PLATE), given(holes([*PLATE[:3], (4.0, 180.0)])), duty="trim")
    assert partkin.check(made, "donor").verdict == "bolts on with adaptation"
    assert partkin.check(with_original(made, duty="structural"), "donor").verdict == "does not fit"


def test_a_seam_that_lies_elsewhere_decides_and_no_work_is_offered() -> None:
    made = build(studs(PLATE), given(holes(PLATE)), duty="trim")
    off = tuple((x + 12.0, y) for x, y in SEAM)
    made = with_original(made, zones=(donor_zone(SEAM, part="old"), donor_zone(off)))
    verdict = partkin.check(made, "donor")
    assert verdict.verdict == "does not fit" and verdict.adaptation is None
    assert "12.0 mm" in (verdict.conflict_says or "")
    elsewhere = as_tree(verdict)["conflict"]["elsewhere"]
    assert elsewhere["kind"] == "tear seam" and elsewhere["departure_mm"] == pytest.approx(12.0, abs=0.5)
    assert verdict.next_step.startswith("Next: before you let it go, read the corners of its seam once more")


def test_a_seam_in_place_keeps_the_hold() -> None:
    made = with_original(
        build(studs(PLATE), given(holes(PLATE)), duty="trim"), zones=(donor_zone(SEAM, part="old"), donor_zone(SEAM))
    )
    verdict = partkin.check(made, "donor")
    assert verdict.verdict == "bolts on"
    assert any(c.hold and "Fit is all that was judged" in c.says for c in verdict.safety)


def test_a_seam_not_known_on_the_donor_comes_first_among_the_unknowns() -> None:
    made = build(studs(PLATE), given(holes(PLATE)), duty="trim")
    verdict = partkin.check(with_original(made, zones=(donor_zone(SEAM, part="old"),)), "donor")
    assert verdict.verdict == "bolts on"
    assert verdict.unknown[0].what == "tear seam of donor"


# What is not known


def test_a_conflict_decides_however_much_is_missing() -> None:
    host = [*studs(PLATE), Feature("host", "F5", "stud", across_mm=6.0)]
    donor = [*given(holes([(0.0, 0.0), (305.0, 0.0), *PLATE[2:]])), Feature("donor", "a5", "hole", 7.0, goes_on="F5")]
    verdict = partkin.check(build(host, donor), "donor")
    assert verdict.verdict == "does not fit"
    assert verdict.next_step.startswith("Next: before you let it go, measure the fixings named above once more")
    assert verdict.chance is None and set(verdict.conflict.fixings) >= {"F1", "F2"}


def test_a_missing_size_is_asked_for() -> None:
    donor = given(holes(PLATE))
    verdict = partkin.check(build(studs(PLATE), [replace(donor[0], across_mm=None), *donor[1:]]), "donor")
    assert verdict.verdict == "not enough measured"
    asked = verdict.unknown[0]
    assert (asked.part, asked.quantity, asked.from_feature) == ("donor", "across", "a1")
    assert as_tree(verdict)["unknown"][0]["reading"]["quantity"] == "across"


def test_what_is_missing_on_a_spare_hole_does_not_matter() -> None:
    donor = [*given(holes(PLATE)), Feature("donor", "spare", "hole", x_mm=5.0, y_mm=5.0, need="spare")]
    assert partkin.check(build(studs(PLATE), donor), "donor").verdict == "bolts on"


def test_which_face_was_looked_at_is_asked_for_only_where_it_matters() -> None:
    seen = partkin.check(build(studs(PLATE), holes(PLATE), donor_face=None), "donor")
    assert seen.verdict == "not enough measured" and seen.unknown[0].quantity == "seen_from"
    square = [(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)]
    assert partkin.check(build(studs(square), holes(square), donor_face=None), "donor").verdict == "bolts on"


def test_seen_from_different_faces_is_mirrored() -> None:
    mirrored = [(-x, y) for x, y in PLATE]
    assert partkin.check(build(studs(PLATE), holes(mirrored), donor_face="inside"), "donor").verdict == "bolts on"
    assert partkin.check(build(studs(PLATE), holes(mirrored)), "donor").verdict == "does not fit"


def test_coarse_readings_leave_it_open_and_name_a_reading() -> None:
    """One hole is read 1.5 mm off to 0.7 mm: it may be off by the play of 0.5 mm or by more."""
    points = [(x, y + 1.5 * (n == 2)) for n, (x, y) in enumerate(PLATE)]
    donor = [replace(f, plus_minus_mm=0.7) for f in given(holes(points))]
    verdict = partkin.check(build(studs(PLATE), donor), "donor")
    assert verdict.verdict == "not enough measured"
    assert 0.05 < verdict.chance.fits < 0.95 and verdict.chance.low <= verdict.chance.fits <= verdict.chance.high
    assert verdict.unknown[0].quantity == "centres" and verdict.unknown[0].part == "donor"


def test_readings_that_all_agree_speak_for_one_drawing() -> None:
    """Read to 0.7 mm, more than the play of 0.5 mm, and yet every hole where its stud is: it was made so."""
    donor = [replace(f, plus_minus_mm=0.7) for f in given(holes(PLATE))]
    chance = partkin.check(build(studs(PLATE), donor), "donor").chance
    assert chance.assumed == 0.5 and chance.one_drawing > 0.8 and chance.fits >= 0.95
    assert chance.at_half < chance.fits < chance.at_twice


def test_readings_too_coarse_to_tell_decide_nothing() -> None:
    """The likely positions fit exactly, and to 1.7 mm a part of another drawing would be read so too."""
    donor = [replace(f, plus_minus_mm=1.7) for f in given(holes(PLATE))]
    verdict = partkin.check(build(studs(PLATE), donor), "donor")
    assert 0.5 < verdict.chance.fits < 0.95 and verdict.margin_mm > 0
    assert verdict.verdict == "not enough measured"


# The original standing in


def test_a_donor_identical_to_the_original_is_certain() -> None:
    """Read exactly, the studs stand within the original's own play, and so within the same part's."""
    made = build([], holes(PLATE))
    verdict = partkin.check(with_original(made), "donor")
    assert verdict.measured_from == "original" and verdict.verdict == "bolts on"
    assert verdict.chance.fits == 1.0


def test_an_originals_play_leaves_room_for_doubt() -> None:
    """A donor off by as much as the original's own play may go on or not: the studs may stand anywhere in it."""
    made = build([], given(holes([*PLATE[:3], (0.0, 180.9)])))
    verdict = partkin.check(with_original(made), "donor")
    assert verdict.measured_from == "original"
    assert 0.0 < verdict.chance.fits < 1.0


# Pairing


def test_a_stud_that_meets_no_opening_blocks_whatever_its_need() -> None:
    host = [*studs(PLATE), Feature("host", "S9", "stud", 6.0, x_mm=150.0, y_mm=90.0, plus_minus_mm=0.0, need="spare")]
    verdict = partkin.check(build(host, holes(PLATE)), "donor")
    assert verdict.verdict == "does not fit"


def test_a_stud_that_need_not_hold_may_stand_in_a_cut_out() -> None:
    spare = Feature("host", "S9", "stud", 6.0, x_mm=150.0, y_mm=90.0, plus_minus_mm=0.0, need="spare")
    made = build([*studs(PLATE), spare], holes(PLATE))
    cut_out = tuple((150.0 + dx, 90.0 + dy) for dx, dy in ((-9, -9), (9, -9), (9, 9), (-9, 9)))
    through = replace(made, zones=(donor_zone(cut_out, "opening", name="cut-out"),))
    assert partkin.check(through, "donor").verdict == "bolts on"
    narrow = tuple((150.0 + dx, 90.0 + dy) for dx, dy in ((-9, -2), (9, -2), (9, 2), (-9, 2)))
    blocked = replace(made, zones=(donor_zone(narrow, "opening", name="cut-out"),))
    assert partkin.check(blocked, "donor").verdict == "does not fit"


@pytest.mark.parametrize("turn_deg", [0.0, 63.0, 151.0, 240.0])
@pytest.mark.parametrize(("away_mm", "word"), [(100.0, "bolts on"), (150.0, "does not fit")])
def test_a_donor_that_can_still_be_turned_is_turned_so_that_a_stud_clears(
    turn_deg: float, away_mm: float, word: str
) -> None:
    """One hole holds it, and a stud 100 mm from there may stand in a cut-out that begins 80 mm from it."""
    spare = Feature("host", "S9", "stud", 6.0, x_mm=away_mm, y_mm=0.0, plus_minus_mm=0.0, need="spare")
    made = build([*studs([(0.0, 0.0)]), spare], holes(moved([(0.0, 0.0)], turn_deg, 0.0, 0.0)))
    cut_out = tuple(moved([(80.0, -15.0), (120.0, -15.0), (120.0, 15.0), (80.0, 15.0)], turn_deg, 0.0, 0.0))
    verdict = partkin.check(replace(made, zones=(donor_zone(cut_out, "opening", name="cut-out"),)), "donor")
    assert verdict.verdict == word
    if word == "bolts on":
        assert [(pair.fixing, pair.feature) for pair in verdict.pairs] == [("F1", "a1")]
        assert [one.fixing for one in verdict.unpaired] == ["S9"] and verdict.margin_mm == pytest.approx(0.5)


def test_a_donor_is_not_turned_off_all_that_holds_it_so_that_a_stud_clears() -> None:
    """The stud could stand in the cut-out, but then the one hole is nowhere near its fixing."""
    nut = Feature("host", "F1", "captive nut", 6.0, float_mm=0.0, x_mm=0.0, y_mm=0.0, plus_minus_mm=0.0, need="should")
    spare = Feature("host", "S9", "stud", 6.0, x_mm=200.0, y_mm=0.0, plus_minus_mm=0.0, need="spare")
    square = ((80.0, -15.0), (120.0, -15.0), (120.0, 15.0), (80.0, 15.0))
    made = build([nut, spare], given(holes([(0.0, 0.0)], need="should")))
    verdict = partkin.check(replace(made, zones=(donor_zone(square, "opening", name="cut-out"),)), "donor")
    assert verdict.verdict == "does not fit"


@pytest.mark.parametrize("turn_deg", [0.0, 90.0, 200.0])
def test_whether_a_stud_clears_a_bent_cut_out_is_left_to_be_tried(turn_deg: float) -> None:
    """A cut-out like an L: a circle about it may take the stud, and the stud is not in it at what is tried."""
    spare = Feature("host", "S9", "stud", 6.0, x_mm=100.0, y_mm=0.0, plus_minus_mm=0.0, need="spare")
    corners = [(60.0, -40.0), (140.0, -40.0), (140.0, -32.0), (68.0, -32.0), (68.0, 40.0), (60.0, 40.0)]
    made = build([*studs([(0.0, 0.0)]), spare], holes([(0.0, 0.0)]))
    cut_out = tuple(moved(corners, turn_deg, 0.0, 0.0))
    verdict = partkin.check(replace(made, zones=(donor_zone(cut_out, "opening", name="cut-out"),)), "donor")
    assert verdict.verdict == "not enough measured"
    [says] = [one.says for one in verdict.unknown if one.what == "placement"]
    assert says.startswith("whether S9 can stand in a cut-out") and says.endswith("or try it")


def test_should_is_listed_where_it_cannot_be_paired() -> None:
    tapped = Feature("host", "T1", "tapped hole", 6.0, x_mm=80.0, y_mm=80.0, plus_minus_mm=0.0, need="should")
    verdict = partkin.check(build([*studs(PLATE), tapped], holes(PLATE)), "donor")
    assert verdict.verdict == "bolts on"
    assert [(u.fixing, u.need) for u in verdict.unpaired] == [("T1", "should")]


def test_equal_pairings_are_counted() -> None:
    square = [(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)]
    verdict = partkin.check(build(studs(square), holes(moved(square, 30.0, 5.0, 5.0))), "donor")
    assert verdict.also == 3
    assert [(p.fixing, p.feature) for p in verdict.pairs] == [("F1", "a1"), ("F2", "a2"), ("F3", "a3"), ("F4", "a4")]


def test_an_outlier_reading_is_named() -> None:
    donor = given(holes(PLATE))
    exact = [replace(f, plus_minus_mm=0.2) for f in donor]
    reading = Reading("donor", "r1", "centres", 337.0, "mm", "a1", "a2", plus_minus=0.5, instrument="tape")
    verdict = partkin.check(replace(build(studs(PLATE), exact), readings=(reading,)), "donor")
    assert any("r1" in u.what for u in verdict.unknown)


# The file


def test_the_file_is_the_same_bytes_each_time_and_leaves_nothing_out() -> None:
    made = build(studs(PLATE), given(holes([*PLATE[:3], (4.0, 180.0)])), duty="trim")
    texts = {verdict_json(partkin.check(made, "donor")) for _ in range(2)}
    assert len(texts) == 1
    tree = json.loads(texts.pop())
    contract = (
        "partkin host donor measured_from verdict chance margin_mm placement pairs unpaired conflict adaptations "
        "unknown safety reasons"
    )
    assert set(contract.split()) <= set(tree)
    assert set(tree["pairs"][0]) >= {"fixing", "feature", "offset_mm", "allowed_mm", "margin_mm", "state"}
    assert set(tree["adaptations"][0]) >= {"do", "feature", "to_mm", "minutes", "cost", "says"}


# Levels


def test_the_skin_may_go_on_although_the_assembly_does_not() -> None:
    whole = build(studs(PLATE), given(holes([(0.0, 0.0), (320.0, 0.0), *PLATE[2:]])))
    frame = Part("frame", origin="host", seen_from="outside", duty="trim", airbag=False)
    skin = Part(
        "skin", origin="donor", takes_place_of="frame", part_of="donor", seen_from="outside", duty="trim", airbag=False
    )
    on_frame = [replace(f, part="frame") for f in studs(PLATE)]
    of_skin = [replace(f, part="skin") for f in holes(PLATE)]
    made = replace(whole, parts=(*whole.parts, frame, skin), features=(*whole.features, *on_frame, *of_skin))
    verdict = partkin.check(made, "donor")
    assert verdict.verdict == "does not fit"
    assert [(level.part, level.verdict, level.within) for level in verdict.levels] == [("skin", "bolts on", True)]
    up = partkin.check(made, "skin")
    assert up.verdict == "bolts on" and up.levels[0].part == "donor" and not up.levels[0].within


@pytest.mark.parametrize(("need", "paired"), [("must", True), ("should", True), ("spare", False)])
def test_a_fixing_that_should_be_used_is_paired_where_it_can_be(need: str, paired: bool) -> None:
    """Though no feature of the donor asks for it: the hole over it is a spare one."""
    third = Feature("host", "F3", "tapped hole", 6.0, thread="M6", x_mm=100.0, y_mm=80.0, plus_minus_mm=0.0, need=need)
    spare = holes([*PLATE[:2], (100.0, 80.0)])
    donor = [*spare[:2], replace(spare[2], need="spare", thread="M6")]
    verdict = partkin.check(build([*studs(PLATE[:2]), third], donor), "donor")
    assert verdict.verdict == "bolts on" and ("F3" in {pair.fixing for pair in verdict.pairs}) == paired
