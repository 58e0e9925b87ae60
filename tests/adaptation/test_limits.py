"""What may be cut, where, and how far: each answer with its reason."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from adapting_cases import ask, holes, studs

from partkin.adaptation.limits import limits_of, refuse_bracket, refuse_cut
from partkin.adaptation.sizes import grid_travels_mm, largest_opening_mm, opening_room, rims_of, travel_room
from partkin.model.adapting import Bracket
from partkin.model.build import Feature, Outline, Part, Zone
from partkin.model.fitting import Spot
from partkin.tables.reader import read
from partkin.tables.work import Material, Washer, edge_rule, material_of, read_work, shipped_work, work_for

WORK = ["do", "group", "minutes", "cost", "workmanship_mm"]
PLAIN = ask(studs((0.0, 0.0), (200.0, 0.0)), holes((0.0, 0.0), (200.0, 0.0)), [("F1", "a"), ("F2", "b")])
SEAM = Zone("D", "Z1", "tear seam", ((-100.0, 40.0), (100.0, 40.0)))
RIM = Outline("D", "edge", "rim", ((-12.0, -50.0), (400.0, -50.0), (400.0, 200.0), (-12.0, 200.0)))


@pytest.mark.parametrize(
    ("material", "group", "may"),
    [
        ("press-hardened steel", "high-strength steel", ()),
        ("boron steel", "high-strength steel", ()),
        ("laminated glass", "glass", ()),
        ("magnesium casting", "magnesium", ()),
        ("cast aluminium", "cast", ("open out",)),
        ("leather on foam, ABS carrier", "covered foam", ("open out", "slot", "new hole")),
        ("carbon composite", "composite", ("open out", "slot", "new hole")),
        ("glass-fibre moulding", "composite", ("open out", "slot", "new hole")),
        ("PA6 glass-filled", "plastic", ("open out", "slot", "new hole")),
        ("galvanised sheet", "steel", ("open out", "slot", "new hole")),
        ("ABS", "plastic", ("open out", "slot", "new hole")),
    ],
)
def test_each_material_has_its_answer(material: str, group: str, may: tuple[str, ...]) -> None:
    found = material_of(material)
    assert found is not None and found.group == group
    assert tuple(do for do in ("open out", "slot", "new hole") if found.bears(do)) == may
    if not may:
        assert found.why


def test_every_row_of_the_tables_names_its_source() -> None:
    assert all(row.source for row in (*read("materials.csv", Material), *shipped_work(), *read("washers.csv", Washer)))
    named = ("pitch", "zone margin", "largest opening", "washer cover", "longest slot")
    assert all(edge_rule(name).source for name in named)


@pytest.mark.parametrize(
    ("duty", "part", "says"),
    [
        (None, Part("D", material="steel"), "duty of D is not known"),
        ("structural", Part("D", material="steel"), "as it is or not at all"),
        ("restraint", Part("D", material="steel"), "never altered"),
        ("body", Part("D"), "high-strength steel"),
    ],
)
def test_parts_that_are_not_cut(duty: str | None, part: Part, says: str) -> None:
    limits = limits_of(replace(PLAIN, duty=duty, donor=part), "donor")
    refusal = limits.may("open out")
    assert refusal is not None and says in refusal.says
    if duty in ("structural", "restraint"):
        assert "the maker's instructions, local law and a licensed person" in refusal.says


def test_trim_of_unknown_material_may_be_cut() -> None:
    assert limits_of(replace(PLAIN, donor=Part("D")), "donor").may("slot") is None


def test_a_seam_that_only_the_original_shows_stops_every_cut() -> None:
    asked = replace(PLAIN, original_zones=(replace(SEAM, part="O"),))
    refusal = limits_of(asked, "donor").may("open out")
    assert refusal is not None and "tear seam" in refusal.says
    assert limits_of(replace(asked, donor_zones=(SEAM,)), "donor").may("open out") is None


@pytest.mark.parametrize("side", ["donor", "host"])
@pytest.mark.parametrize(
    ("opens", "own", "zones", "says"),
    [
        (False, False, (), None), (True, True, (), "where the seam that an airbag opens in {part} lies is not known"),
        (True, True, (SEAM,), None), (None, False, (), "whether an airbag opens through D is not known"),
        # What is said of the donor's place holds for the donor; of the host itself only what is said of that.
        (True, False, (), {"donor": "where the seam that an airbag opens in D lies is not known"}),
        (False, True, (), {"host": "where the seam that an airbag opens in H lies is not known"}),
        (False, None, (), {"host": "whether an airbag opens through H is not known"}),
    ],
)  # fmt: skip
def test_nothing_is_cut_before_it_is_known_whether_an_airbag_opens_through_it_and_where(
    side: str, opens: bool | None, own: bool | None, zones: tuple, says: str | dict | None
) -> None:
    parts = {"donor": Part("D", material="ABS"), "host": Part("H", material="ABS", airbag=own)}
    asked = replace(
        PLAIN, **parts, duty="trim", host_duty="trim", airbag=opens, donor_zones=zones,
        host_zones=tuple(replace(zone, part="H") for zone in zones),
    )  # fmt: skip
    refusal, told = limits_of(asked, side).may("open out"), says.get(side) if isinstance(says, dict) else says
    assert (refusal.says.split(":")[0] if refusal else None) == (told and told.format(part=side[0].upper()))


def test_of_two_seams_the_donor_needs_both() -> None:
    two = (replace(SEAM, part="O"), replace(SEAM, part="O", zone="Z2"))
    for own, says in (((), "the donor's tear seam"), ((SEAM,), "one tear seam of the donor")):
        refusal = limits_of(replace(PLAIN, original_zones=two, donor_zones=own), "donor").may("slot")
        assert refusal is not None and refusal.says.startswith(f"where {says} lies is not known: nothing is cut")
    both = (SEAM, replace(SEAM, zone="Z3"))
    assert limits_of(replace(PLAIN, original_zones=two, donor_zones=both), "donor").may("slot") is None


def test_features_within_the_margin_of_a_zone_stay_as_they_are() -> None:
    """Margin 20 mm (common practice): hole a's edge is 40 - 3.5 = 36.5 mm off, then 12.5 after a move of 24."""
    assert limits_of(replace(PLAIN, donor_zones=(SEAM,)), "donor").untouchable == {}
    near = replace(SEAM, corners_mm=((-100.0, 16.0), (100.0, 16.0)))
    refusal = limits_of(replace(PLAIN, donor_zones=(near,)), "donor").untouchable["a"]
    assert "12 mm from the tear seam Z1" in refusal.says
    assert "b" not in limits_of(replace(PLAIN, donor_zones=(near,)), "donor").untouchable


def test_largest_opening_by_hand() -> None:
    """1.5 d, and two thirds of a large washer (ISO 7093-1: M6 18, M5 15): M6 min(9, 12.06), M5 min(7.5, 10.05)."""
    assert (largest_opening_mm(6.0), largest_opening_mm(5.0)) == (9.0, 7.5)


def test_opening_stops_where_the_edge_asks() -> None:
    """1.2 d0 of steel sheet at 10 mm from the edge: 8.33, so 8.0; hole 7.0 wants 8.4 and is there already."""
    edge = replace(RIM, corners_mm=((-10.0, -50.0), (400.0, -50.0), (400.0, 200.0), (-10.0, 200.0)))
    limits = limits_of(replace(PLAIN, donor_outlines=(edge,)), "donor")
    to_mm, refusal = opening_room(limits, Spot("a", (0.0, 0.0)), 7.0, 6.0)
    assert to_mm == 8.0
    assert refusal is not None and "10 mm of an edge" in refusal.says and "EN 1993-1-8" in refusal.source


def test_holes_keep_their_pitch() -> None:
    """2.4 d0: between a and b 200 mm, a new 7 mm hole wants 16.8 from both."""
    limits = limits_of(PLAIN, "donor")
    near, far = np.array([[16.5, 0.0]] * 2), np.array([[17.0, 0.0]] * 2)
    refusal = refuse_cut(limits, near, 7.0, 6.0, False)
    assert refusal is not None and refusal.near == "a"
    assert refuse_cut(limits, far, 7.0, 6.0, False) is None


def test_a_hole_lies_on_the_part_and_in_no_opening_of_it() -> None:
    opening = Outline("D", "opening", "speaker", ((80.0, 80.0), (120.0, 80.0), (120.0, 120.0), (80.0, 120.0)))
    limits = limits_of(replace(PLAIN, donor_outlines=(RIM, opening)), "donor")
    for at_mm, says in (
        ((100.0, 100.0), "it would lie in the opening speaker"),
        ((100.0, 130.0), None),
        ((100.0, 125.0), "its centre would come within 5 mm of an edge (8.4 are kept)"),
        ((-20.0, 0.0), "it would lie off the part as its outline is drawn"),
    ):
        refusal = refuse_cut(limits, np.array([at_mm, at_mm]), 7.0, 6.0, False)
        assert (refusal.says if refusal else None) == says


@pytest.mark.parametrize(
    ("at_mm", "where"),
    [((100.0, 100.0), "stand in"), ((100.0, -3.0), "reach into"), ((100.0, -4.1), "come within 1 mm of"),
     ((100.0, -23.4), "come within 20 mm of")],
)  # fmt: skip
def test_a_hole_in_a_zone_is_said_to_be_in_it(at_mm: tuple[float, float], where: str) -> None:
    """A hole in the middle of a door is 100 mm from its edge, and not beside it."""
    door = Zone("D", "Z2", "airbag door", ((0.0, 0.0), (200.0, 0.0), (200.0, 200.0), (0.0, 200.0)))
    limits = limits_of(replace(PLAIN, donor_zones=(door,)), "donor")
    refusal = refuse_cut(limits, np.array([at_mm, at_mm]), 7.0, 6.0, False)
    assert refusal is not None and refusal.says.startswith(f"it would {where} the airbag door Z2 (")


def test_travel_stops_short_of_the_zone() -> None:
    """Seam at 40: 40 - 20 - 7/2 = 16.5 for the end's centre; slots run in whole millimetres of length."""
    limits = limits_of(replace(PLAIN, donor_zones=(SEAM,)), "donor")
    travel_mm, refusal = travel_room(limits, Spot("a", (0.0, 0.0)), 7.0, 6.0, 30.0, 90.0)
    assert travel_mm == 16.0
    assert refusal is not None and "tear seam" in refusal.says
    assert travel_room(limits, Spot("a", (0.0, 0.0)), 7.0, 6.0, 30.0, 270.0)[0] == 30.0


def test_whole_lengths() -> None:
    assert grid_travels_mm(7.0, 3.2) == [1.0, 2.0, 3.0]


@pytest.mark.parametrize("seed", range(150))
def test_what_keeps_to_its_rims_keeps_its_distance(seed: int) -> None:
    """Any slot whose far end passes no rim may be cut, whatever zones, edges and holes stand around."""
    draw = np.random.default_rng(seed)
    corners = tuple(map(tuple, draw.uniform(-60, 60, (int(draw.integers(2, 6)), 2)) + draw.uniform(-60, 60, 2)))
    others = [tuple(draw.uniform(-60, 60, 2)) for _ in range(3)]
    asked = ask(
        studs((0.0, 0.0)), holes((0.001, 0.0), *others), [("F1", "a")], donor_outlines=(RIM,),
        donor_zones=(Zone("D", "Z", "structural", corners),),
    )  # fmt: skip
    limits, spot = limits_of(asked, "donor"), Spot("a", (0.0, 0.0))
    if refuse_cut(limits, np.zeros((2, 2)), 7.5, 6.0, True, "a") is not None:
        return
    rims, travel_mm, _ = rims_of(limits, spot, 7.5, 6.0, 13.0)
    for along_deg in range(0, 360, 5):
        along = np.array([math.cos(math.radians(along_deg)), math.sin(math.radians(along_deg))])
        run_mm = min([travel_mm, *(r.room_mm / c for r in rims if (c := r.x * along[0] + r.y * along[1]) > 1e-9)])
        line = np.array([[0.0, 0.0], max(0.0, run_mm - 1e-6) * along])
        assert refuse_cut(limits, line, 7.5, 6.0, True, "a") is None, (along_deg, run_mm)


def test_a_straight_edge_costs_a_slot_nothing() -> None:
    """12 mm from the edge, 1.5 d0 = 11.25 kept: 0.75 mm towards it, and all 13 along it."""
    limits = limits_of(replace(PLAIN, donor_outlines=(RIM,)), "donor")
    [rim], travel_mm, refusal = rims_of(limits, Spot("a", (0.0, 0.0)), 7.5, 6.0, 13.0)
    assert (rim.x, rim.y, rim.room_mm, travel_mm) == (-1.0, 0.0, pytest.approx(0.75), 13.0)
    assert refusal is not None and "edge" in refusal.says


def test_a_build_folder_may_say_what_work_takes() -> None:
    rows, problems = read_work([[*WORK, "tools"], ["slot", "any", "30", "1,5", "0.3", "file"]])
    assert not problems and work_for("slot", "steel", rows).minutes == 30.0 and rows[0].cost == 1.5
    _, problems = read_work([WORK, ["weld", "any", "1", "0", "0"], ["slot", "any", "-1", "x", "0"]])
    assert [(p.row, p.column) for p in problems] == [(2, "do"), (3, "minutes"), (3, "cost")]
    assert read_work([["do"]])[1][0].what == "the column is missing"


@pytest.mark.parametrize(
    ("reach_mm", "at_mm", "says"),
    [
        (30.0, (200.0, 0.0), None),
        (30.0, (200.0, 0.0, 55.0), None),
        (
            9.0,
            (-22.0, 100.0),
            "would not reach the part as its outline is drawn: it reaches 9 mm, and the edge is 10",
        ),
        (11.0, (-22.0, 100.0), None),
        (30.0, (50.0, 85.0, 55.0), "its holes could come within 15 mm of the tear seam Z1 (20 mm are kept)"),
        (24.0, (50.0, 85.0), None),
    ],
)
def test_a_bracket_reaches_the_part_and_keeps_its_holes_off_a_zone(
    reach_mm: float, at_mm: tuple[float, ...], says: str | None
) -> None:
    """In space it is seen from above: the limits of a part are drawn in the plane."""
    limits = limits_of(replace(PLAIN, donor_zones=(SEAM,), donor_outlines=(RIM,)), "donor")
    own = Feature("bracket", "c", "hole")
    refusal = refuse_bracket(limits, at_mm, Bracket("bracket", own, "F1", reach_mm=reach_mm))
    assert (refusal is None) if says is None else refusal is not None and says in refusal.says


def test_a_hole_of_no_known_size_is_kept_away_from_as_a_point() -> None:
    asked = replace(PLAIN, donor_features=tuple(replace(f, across_mm=None) for f in PLAIN.donor_features))
    for question, size_mm in ((PLAIN, 7.0), (asked, 0.0)):
        told = [one.across_mm for one in limits_of(question, "donor").obstacles if one.what == "hole"]
        assert told == [size_mm, size_mm]
