"""Edge distances, pitch and engagement against the published rows. Sources: the rows' own columns."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from partkin.adaptation.limits import edge_distance_mm
from partkin.adaptation.sizes import clearance_hole_mm
from partkin.adaptation.surroundings import engagement_mm
from partkin.tables.work import bolt_lengths_mm, edge_rule

with (Path(__file__).parent / "edges" / "edges.csv").open(encoding="utf-8", newline="") as sheet:
    ROWS = {row["rule_id"]: row for row in csv.DictReader(sheet)}
with (Path(__file__).parent / "tables" / "sizes.csv").open(encoding="utf-8", newline="") as sheet:
    SIZES = [row for row in csv.DictReader(sheet) if row["coarse_pitch_mm"]]
EN = [name for name in ROWS if name.startswith("EN_M")]
AISC = [name for name in ROWS if name.startswith("AISC_M")]


def sheet_metal(name: str) -> tuple[float, float, float]:
    """The distance kept in sheet metal for a row's hole and bolt, and the row's own hole and bolt."""
    hole_mm, bolt_mm = float(ROWS[name]["hole_mm"]), float(ROWS[name]["bolt_mm"])
    return edge_distance_mm("sheet metal", hole_mm, bolt_mm)[0], hole_mm, bolt_mm


@pytest.mark.parametrize("name", EN)
def test_en_1993_edges_and_pitch(name: str) -> None:
    """1.2 d0, or AISC's where it asks for more (M16: 22 mm against 21.6); from hole to hole never below 2.2 d0."""
    least_mm, hole_mm, bolt_mm = sheet_metal(name)
    own_mm = float(ROWS[name]["min_edge_mm"])
    wider_mm = [float(ROWS[other]["min_edge_mm"]) for other in AISC if float(ROWS[other]["bolt_mm"]) == bolt_mm]
    assert least_mm == pytest.approx(max([own_mm, *wider_mm]))
    assert edge_rule("pitch").value * hole_mm >= float(ROWS[name]["min_pitch_mm"])


@pytest.mark.parametrize("name", AISC)
def test_never_below_aisc_for_rolled_edges(name: str) -> None:
    assert sheet_metal(name)[0] >= float(ROWS[name]["min_edge_mm"]) - 1e-9


@pytest.mark.parametrize("name", [name for name in AISC if float(ROWS[name]["bolt_mm"]) <= 24.0])
def test_a_hole_as_wide_as_its_bolt_keeps_the_distance_of_aisc(name: str) -> None:
    """1.2 d0 would be less there: 24 mm for M20 in place of 26."""
    bolt_mm = float(ROWS[name]["bolt_mm"])
    assert edge_distance_mm("sheet metal", bolt_mm, bolt_mm)[0] == float(ROWS[name]["min_edge_mm"])


@pytest.mark.parametrize(("name", "ours"), [
    ("EC3_e1", lambda: edge_distance_mm("sheet metal", 10.0, 9.0)[0] / 10.0),
    ("EC3_e2", lambda: edge_distance_mm("sheet metal", 10.0, 9.0)[0] / 10.0),
    ("EC3_e3", lambda: edge_distance_mm("sheet metal", 10.0, 9.0, slot=True)[0] / 10.0),
    ("EC3_e4", lambda: edge_distance_mm("sheet metal", 10.0, 9.0, slot=True)[0] / 10.0),
    ("EC3_p2", lambda: edge_rule("pitch").value),
    ("CP6", lambda: engagement_mm(8.0, "steel")[0] / 8.0),
    ("CP7", lambda: engagement_mm(8.0, "aluminium")[0] / 8.0),
])  # fmt: skip
def test_the_factor_of_a_clause_is_kept(name: str, ours: Callable[[], float]) -> None:
    """In hole diameters d0 (a slot's width), or bolt diameters d where a bolt turns in its thread."""
    assert ours() == pytest.approx(float(re.findall(r">= ([\d.]+) d", ROWS[name]["formula"])[0]))


def test_moulded_cast_and_composite_parts_keep_bolt_diameters() -> None:
    """Common practice, no source: 2, 2 and 3 bolt diameters from a hole's centre, whatever the hole."""
    for group, factor in (("moulded", 2.0), ("cast", 2.0), ("composite", 3.0)):
        assert edge_distance_mm(group, 9.0, 8.0) == (factor * 8.0, edge_rule("edge", group).source)


@pytest.mark.parametrize("row", SIZES, ids=lambda row: row["bolt_mm"])
def test_new_holes_are_iso_273_medium_or_the_next_drill_that_leaves_the_hand_its_miss(row: dict[str, str]) -> None:
    """A hand that misses by 0.5 mm wants (H - F)/2 of 0.5; one that misses by nothing gets the medium hole."""
    bolt_mm, medium_mm = float(row["bolt_mm"]), float(row["medium_mm"])
    # Drills go by half a millimetre: M1.6 gets 2.0 in place of 1.8.
    for miss_mm in (0.0, 0.5):
        drill_mm = math.ceil(2.0 * (bolt_mm + 2.0 * miss_mm)) / 2.0
        assert clearance_hole_mm(bolt_mm, 0.0, miss_mm) == max(medium_mm, drill_mm)


def test_preferred_lengths() -> None:
    """ISO 888 as ISO 4017 lists it (FsData/iso4017length.csv of shaise/FreeCAD_FastenersWB); 90 from memory."""
    assert bolt_lengths_mm() == (
        2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0,
        65.0, 70.0, 80.0, 90.0, 100.0, 110.0, 120.0, 130.0, 140.0, 150.0, 160.0, 180.0, 200.0,
    )  # fmt: skip
