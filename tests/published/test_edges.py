"""Edge distances, pitch and engagement against the published rows. Sources: the rows' own columns."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from partkin.adaptation.fasteners import engagement_mm
from partkin.adaptation.limits import edge_distance_mm
from partkin.adaptation.pairs import clearance_hole_mm
from partkin.adaptation.tables import bolt_lengths_mm, rule

with (Path(__file__).parent / "edges" / "edges.csv").open(encoding="utf-8", newline="") as sheet:
    ROWS = {row["rule_id"]: row for row in csv.DictReader(sheet)}
with (Path(__file__).parent / "tables" / "clearance.csv").open(encoding="utf-8", newline="") as sheet:
    CLEARANCE = list(csv.DictReader(sheet))
EN = [name for name in ROWS if name.startswith("EN_M")]
AISC = [name for name in ROWS if name.startswith("AISC_M") and name.endswith("_rolled")]


@pytest.mark.parametrize("name", EN)
def test_en_1993_edges_and_pitch(name: str) -> None:
    row = ROWS[name]
    hole_mm, bolt_mm = float(row["hole_mm"]), float(row["bolt_mm"])
    least_mm, source = edge_distance_mm("sheet metal", hole_mm, bolt_mm)
    # Where AISC asks for more (M16: 22 mm against 21.6), the larger one is kept.
    wider = [float(ROWS[other]["min_edge_mm"]) for other in AISC if float(ROWS[other]["bolt_mm"]) == bolt_mm]
    assert least_mm == pytest.approx(max([float(row["min_edge_mm"]), *[w for w in wider if "AISC" in source]]))
    assert least_mm >= float(row["min_edge_mm"])
    assert rule("pitch").value * hole_mm == pytest.approx(float(row["min_pitch_mm"]))


@pytest.mark.parametrize("name", AISC)
def test_never_below_aisc_for_rolled_edges(name: str) -> None:
    row = ROWS[name]
    least_mm, _ = edge_distance_mm("sheet metal", float(row["hole_mm"]), float(row["bolt_mm"]))
    assert least_mm >= float(row["min_edge_mm"]) - 1e-9


def test_slots_keep_more_than_holes() -> None:
    """EN 1993-1-8 table 3.3, e3 and e4: 1.5 d0 (from memory, as the row says)."""
    assert ROWS["EC3_e3"]["min_edge_mm"] == "1.5 d0"
    assert edge_distance_mm("sheet metal", 10.0, 9.0, slot=True)[0] == pytest.approx(15.0)


@pytest.mark.parametrize(("name", "material", "factor"), [("CP6", "steel", 1.0), ("CP7", "aluminium", 1.5)])
def test_engagement(name: str, material: str, factor: float) -> None:
    assert f">= {factor:g} d" in ROWS[name]["formula"]
    assert engagement_mm(8.0, material)[0] == pytest.approx(factor * 8.0)


@pytest.mark.parametrize("row", CLEARANCE, ids=lambda row: row["thread"])
def test_new_holes_are_iso_273_medium_or_the_next_drill_that_leaves_the_hand_its_miss(row: dict[str, str]) -> None:
    """A hand that misses by 0.5 mm wants (H - F)/2 of 0.5; one that misses by nothing gets the medium hole."""
    bolt_mm = float(re.findall(r"M(\d+)", row["thread"])[0])
    assert clearance_hole_mm(bolt_mm, 0.0, 0.0) == float(row["medium_mm"])
    assert clearance_hole_mm(bolt_mm, 0.0, 0.5) == max(float(row["medium_mm"]), bolt_mm + 1.0)


def test_preferred_lengths() -> None:
    """ISO 888 as ISO 4017 lists it (FsData/iso4017length.csv of shaise/FreeCAD_FastenersWB); 90 from memory."""
    lengths = bolt_lengths_mm()
    assert lengths[:12] == (2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 20.0, 25.0)
    assert {80.0, 90.0, 100.0} < set(lengths)
