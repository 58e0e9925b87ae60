"""`bolts on` where the readings themselves do not quite: places within all their errors, confirmed in fractions."""

from __future__ import annotations

import copy
import json
from dataclasses import replace

import pytest

import partkin
from builders import build, given, holes, studs
from partkin.model.build import Build, Reading
from partkin.report.verdict_file import verdict_json
from partkin.verify.likely import between_centres, broken_readings
from partkin.verify.verify import confirm

PLATE = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0), (150.0, 5.0), (140.0, 210.0)]


def read_a_little_short(within_mm: float = 0.6) -> Build:
    """The second hole was read 1.04 mm too far out: more than two plays of 0.5 mm, less than what may be out."""
    points = [(x + 1.04 * (n == 1), y) for n, (x, y) in enumerate(PLATE)]
    donor = [replace(f, plus_minus_mm=within_mm) for f in given(holes(points))]
    return build([replace(f, plus_minus_mm=within_mm) for f in studs(PLATE)], donor)


def told(made: Build) -> dict:
    return json.loads(verdict_json(partkin.check(made, "donor")))


def test_within_the_errors_it_goes_on_and_that_is_confirmed() -> None:
    made = read_a_little_short()
    tree = told(made)
    assert tree["verdict"] == "bolts on" and tree["margin_mm"] < 0.0 and "out of reach" in tree["says"]
    assert confirm(tree, made).refused == ()


def test_places_that_break_a_reading_are_refused() -> None:
    made = read_a_little_short()
    tree = told(made)
    moved = copy.deepcopy(tree)
    moved["likely"]["donor"]["a2"][0] -= 1.0
    assert any("is not within what was read of its x" in fault for fault in confirm(moved, made).refused)
    out = copy.deepcopy(tree)
    out["likely"]["placement"]["x_mm"] += 0.4
    out["likely"]["placement"]["matrix"][0][3] += 0.4
    assert any("out of reach" in fault for fault in confirm(out, made).refused)
    bare = {**tree, "likely": None}
    assert any("out of reach" in fault for fault in confirm(bare, made).refused)


@pytest.mark.parametrize("quantity", ["centres", "near edges", "far edges"])
def test_distances_are_kept_as_well(quantity: str) -> None:
    rough = [replace(f, plus_minus_mm=25.0) for f in given(holes(PLATE[:4]))]
    edges = {"near edges": 7.0, "far edges": -7.0}.get(quantity, 0.0)
    rows = []
    for i in range(4):
        for k in range(i + 1, 4):
            (x, y), (u, v) = PLATE[i], PLATE[k]
            apart = ((x - u) ** 2 + (y - v) ** 2) ** 0.5
            value = round(apart - edges + (0.6 if (i, k) == (0, 1) else 0.0), 2)
            rows.append(
                Reading("donor", f"r{i}{k}", quantity, value, "mm", f"a{i + 1}", f"a{k + 1}", instrument="steel rule")
            )
    made = replace(build([replace(f, plus_minus_mm=0.1) for f in studs(PLATE[:4])], rough), readings=tuple(rows))
    tree = told(made)
    assert tree["verdict"] == "bolts on"
    assert confirm(tree, made).refused == ()
    broken = copy.deepcopy(tree)
    broken["likely"]["donor"]["a1"][0] -= 2.0
    assert any("the likely places break reading" in fault for fault in confirm(broken, made).refused)
    nowhere = copy.deepcopy(tree)
    nowhere["likely"]["donor"]["a9"] = [0.0, 0.0]
    assert "donor has no such feature as the likely places name" in confirm(nowhere, made).refused
    # To the edge of a slot, or of a hole of no known width, is taken on trust where the reading is to an edge.
    for other in ({"kind": "slot", "length_mm": 7.0}, {"across_mm": None}):
        features = [replace(f, **other) if f.feature == "a1" else f for f in made.features]
        trusted = broken_readings(broken, replace(made, features=tuple(features)))[1]
        assert any("reading r01 of donor, to the edge" in one for one in trusted) == (quantity != "centres")


def test_edges_are_between_centres_by_the_sizes_that_were_read_last() -> None:
    """100 within 0.3 from edge to edge of a (8 in the sheet, read as 9 within 0.2) and of b (10 in the sheet)."""
    spots = {
        f.feature: f for f in (*holes([(0.0, 0.0)], 8.0), *(replace(f, feature="b") for f in holes([(0.0, 0.0)], 10.0)))
    }
    wide = [
        Reading("donor", f"w{n}", quantity, value, "mm", "a1", plus_minus=within)
        for n, (quantity, value, within) in enumerate(
            (("across", 7.0, 0.1), ("across", 9.0, 0.2), ("length", 99.0, 0.4))
        )
    ]
    for quantity, centres_mm, within_mm in (
        ("near edges", 109.5, 0.4),
        ("far edges", 90.5, 0.4),
        ("centres", 100.0, 0.3),
    ):
        row = Reading("donor", "r", quantity, 100.0, "mm", "a1", "b", plus_minus=0.3)  # type: ignore[arg-type]
        told = between_centres(row, [row, *wide], spots)
        assert told is not None and tuple(map(float, told)) == pytest.approx((centres_mm, within_mm))
    slot = {**spots, "b": replace(spots["b"], kind="slot")}
    assert between_centres(replace(row, quantity="far edges"), wide, slot) is None
