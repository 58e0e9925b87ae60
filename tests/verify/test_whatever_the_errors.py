"""`does not fit` whatever the errors are within what was stated: found, said, and confirmed in fractions."""

from __future__ import annotations

import copy
import itertools
import json
import math
from dataclasses import replace
from fractions import Fraction

import pytest

import partkin
from builders import build, given, holes, studs
from partkin.model.build import Build, Feature, Part, Reading
from partkin.report.text import verdict_text
from partkin.report.verdict_file import verdict_json
from partkin.verify.verify import confirm
from partkin.verify.within_errors import StatedPlaces

PLATE = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)]


def out(by_mm: float) -> list[tuple[float, float]]:
    return [(x + by_mm * (n == 1), y) for n, (x, y) in enumerate(PLATE)]


def by_coordinates(by_mm: float, within_mm: float = 0.5) -> Build:
    fixings = [replace(f, plus_minus_mm=within_mm) for f in studs(PLATE)]
    return build(fixings, [replace(f, plus_minus_mm=within_mm) for f in given(holes(out(by_mm)))])


def unplaced(features: list[Feature]) -> list[Feature]:
    return [replace(f, x_mm=None, y_mm=None, plus_minus_mm=None) for f in features]


def distances(part: str, letter: str, points: list[tuple[float, float]], within_mm: float) -> list[Reading]:
    return [
        Reading(
            part, f"{part}{i}{k}", "centres", round(math.dist(points[i], points[k]), 1), "mm", f"{letter}{i + 1}",
            f"{letter}{k + 1}", plus_minus=within_mm,
        )
        for i, k in itertools.combinations(range(len(points)), 2)
    ]  # fmt: skip


def by_distances(by_mm: float, within_mm: float = 0.5) -> Build:
    made = build(unplaced(studs(PLATE)), unplaced(given(holes(out(by_mm)))))
    rows = distances("host", "F", PLATE, within_mm) + distances("donor", "a", out(by_mm), within_mm)
    return replace(made, readings=tuple(rows))


def under_an_original(by_mm: float, within_mm: float = 0.25) -> Build:
    """The original's holes show the studs; its first is a slot, and all were read with errors."""
    holes_there = [
        Feature(
            "old", f"o{n}", "slot" if n == 1 else "hole", across_mm=7.0, length_mm=10.0 if n == 1 else None,
            angle_deg=90.0 if n == 1 else None, fastener_mm=6.0, x_mm=x, y_mm=y, plus_minus_mm=within_mm, need="must",
        )
        for n, (x, y) in enumerate(PLATE, start=1)
    ]  # fmt: skip
    donor = [
        replace(f, goes_on=f"o{n}", plus_minus_mm=within_mm) for n, f in enumerate(holes(out(by_mm), 7.0), start=1)
    ]
    made = build([], donor, extra=(Part("old", origin="original", takes_place_of="host", seen_from="outside"),))
    wide = Reading("donor", "w1", "across", 7.0, "mm", "a2", None, plus_minus=0.2)
    hole = Reading("old", "w2", "across", 7.0, "mm", "o2", None, plus_minus=0.1)
    return replace(made, features=(*made.features, *holes_there), readings=(wide, hole))


def found_by_the_program(by_mm: float) -> Build:
    made = by_coordinates(by_mm, 0.3)
    return replace(made, features=tuple(replace(f, goes_on=None) for f in made.features))


CASES = {
    "coordinates": by_coordinates(4.0), "distances": by_distances(3.5), "under an original": under_an_original(6.0),
    "found by the program": found_by_the_program(5.0),
    "either face up": replace(
        by_coordinates(6.0), parts=tuple(replace(p, seen_from=None) for p in by_coordinates(6.0).parts)
    ),
}  # fmt: skip


def told(made: Build) -> dict:
    return json.loads(verdict_json(partkin.check(made, "donor")))


@pytest.mark.parametrize("name", CASES)
def test_what_is_proved_of_all_errors_is_confirmed(name: str) -> None:
    made = CASES[name]
    tree = told(made)
    assert tree["verdict"] == "does not fit"
    assert tree["conflict"]["errors"]["share"] >= 1.0 and tree["conflict"]["errors"]["certificate"] is not None
    found = confirm(tree, made)
    assert found.refused == ()
    by_distance = {row.part for row in made.readings if row.quantity in ("centres", "near edges", "far edges")}
    for part in ("host", "donor"):
        assert any(f"no place of {part} is more than" in one for one in found.as_stated) == (part in by_distance)
    assert "readings would have to be out by" in verdict_text(partkin.check(made, "donor"))


def test_the_share_is_what_can_be_worked_out_by_hand() -> None:
    """4 mm too far out, 1 mm of play in all, four ends that may each be out by 0.5: (4 - 1) / 2 = 1.5, less 2 %."""
    assert told(by_coordinates(4.0))["conflict"]["errors"]["share"] == pytest.approx(1.5, rel=0.03)
    # Two distances, each to 0.5: (3.5 - 1) / 1 = 2.5.
    assert told(by_distances(3.5))["conflict"]["errors"]["share"] == pytest.approx(2.5, rel=0.05)


@pytest.mark.parametrize("name", CASES)
def test_a_greater_share_than_is_so_is_refused(name: str) -> None:
    made = CASES[name]
    tree = told(made)
    tree["conflict"]["errors"]["share"] *= 1.1
    assert any("within the stated errors" in fault for fault in confirm(tree, made).refused)


def test_a_proof_that_was_tampered_with_is_refused() -> None:
    made = by_distances(3.5)
    tree = told(made)
    for change in (_carry_less, _leave_out_a_turn, _drop_a_pair):
        other = copy.deepcopy(tree)
        change(other["conflict"]["errors"]["certificate"]["pairings"])
        assert any("within the stated errors" in fault for fault in confirm(other, made).refused), change


def _carry_less(pairings: list[dict]) -> None:
    for row in pairings:
        for piece in row["pieces"]:
            piece.pop("carried", None)


def _leave_out_a_turn(pairings: list[dict]) -> None:
    pairings[0]["pieces"].pop()


def _drop_a_pair(pairings: list[dict]) -> None:
    pairings.clear()


def test_readings_that_are_coarser_than_was_thought_undo_the_proof() -> None:
    made = by_coordinates(4.0)
    tree = told(made)
    coarser = replace(made, features=tuple(replace(f, plus_minus_mm=0.9) for f in made.features))
    assert any("within the stated errors" in fault for fault in confirm(tree, coarser).refused)


def under_an_original_of_a_listed_host() -> Build:
    """The host's studs are listed without their places, and the original's holes say which stud each shows."""
    made = under_an_original(6.0)
    listed = [replace(f, x_mm=None, y_mm=None, plus_minus_mm=None) for f in studs(PLATE)]
    shown = [
        replace(f, goes_on=f"F{f.feature[1:]}", fastener_mm=None) if f.part == "old" else
        replace(f, goes_on=f"F{f.feature[1:]}") for f in made.features
    ]  # fmt: skip
    return replace(made, features=(*listed, *shown), readings=())


@pytest.mark.parametrize(
    ("made", "part", "name", "across_mm"),
    [
        (by_coordinates(4.0), "host", "F2", 6.0), (by_coordinates(4.0), "donor", "a2", 7.0),
        (under_an_original(6.0), "old", "o2", 7.0), (under_an_original_of_a_listed_host(), "host", "F2", 6.0),
        (under_an_original_of_a_listed_host(), "old", "o2", 7.0),
    ],
)  # fmt: skip
def test_sizes_that_were_read_coarser_undo_the_proof(made: Build, part: str, name: str, across_mm: float) -> None:
    """Of a stud, of a hole and of the original's hole that shows where a stud stood: all add to the play."""
    finer, coarser = (
        replace(made, readings=(Reading(part, "w", "across", across_mm, "mm", name, None, plus_minus=within_mm),))
        for within_mm in (0.01, 0.6)
    )
    tree = told(finer)
    assert confirm(tree, finer).refused == ()
    assert any("within the stated errors" in fault for fault in confirm(tree, coarser).refused)


def test_where_the_errors_could_do_it_that_is_said() -> None:
    """2.5 mm too far out for a play of 1 mm: 0.75 of what the ends may be out."""
    made = by_coordinates(2.5)
    tree = told(made)
    assert tree["verdict"] == "does not fit"
    errors = tree["conflict"]["errors"]
    assert errors["share"] == pytest.approx(0.75, abs=0.02) and errors["certificate"] is None
    said = "it would go on if readings were out by 0.8 times what you said, each in its favour"
    assert said in " ".join(verdict_text(partkin.check(made, "donor")).split())
    claimed = copy.deepcopy(tree)
    claimed["conflict"]["errors"]["certificate"] = {"fixings": [], "features": [], "left_out": [], "pairings": []}
    assert any("would let it go on" in fault for fault in confirm(claimed, made).refused)


def test_what_a_shift_and_a_turn_take_up_allows_nothing() -> None:
    """Loads that only move a whole side, and a single one beside them: no more than the single one by itself."""
    at = {"a": (Fraction(0), Fraction(0)), "b": (Fraction(300), Fraction(0)), "c": (Fraction(120), Fraction(200))}
    side = StatedPlaces(at, {}, {}, Fraction(2))
    middle = (Fraction(140), Fraction(200, 3))
    rigid = {name: (7 - (y - middle[1]) / 100, 3 + (x - middle[0]) / 100) for name, (x, y) in at.items()}
    assert float(side.gives(rigid, [])) == pytest.approx(0.0, abs=1e-6)
    assert float(side.gives({"b": (Fraction(1), Fraction(0))}, [])) > 1.0
    alone, beside = {"b": (Fraction(1), Fraction(0))}, {**rigid, "b": (rigid["b"][0] + 1, rigid["b"][1])}
    assert float(side.gives(beside, [])) == pytest.approx(float(side.gives(alone, [])), abs=1e-6)


def test_a_distance_by_hand() -> None:
    """500 mm along (3, 4), read as 500 within 1: at most 1 longer; 30 sideways, 1.90 shorter along it."""
    from partkin.verify.within_errors import _bar

    at = {"a": (Fraction(300), Fraction(400)), "b": (Fraction(0), Fraction(0))}
    bar = _bar("a", "b", at, Fraction(500), Fraction(1), Fraction(40))
    assert bar is not None
    low, high = bar.changes(Fraction(30))
    assert float(high) == pytest.approx(1.0) and float(low) == pytest.approx(math.sqrt(499**2 - 30**2) - 500)
    assert _bar("a", "b", at, Fraction(500), Fraction(1), Fraction(300)) is None


def test_how_far_a_place_may_be_is_the_far_corner_of_its_box() -> None:
    """Departures from -2 to 1 along x and from 0.5 to 3 along y; of a place that was not read, as far as any."""
    at = {"a": (Fraction(0), Fraction(0)), "b": (Fraction(300), Fraction(0))}
    box = ((Fraction(-2), Fraction(1, 2)), (Fraction(1), Fraction(3)))
    side = StatedPlaces(at, {}, {"a": box}, Fraction(7))
    assert float(side.radius("a")) == pytest.approx(math.hypot(2, 3), abs=1e-9) and side.radius("b") == 7
    # The most that a load draws: along y as far up as may be, along x as far back.
    assert side.gives({"a": (Fraction(-2), Fraction(5))}, []) == pytest.approx(2 * 2 + 5 * 3)
    assert side.gives({"a": (Fraction(2), Fraction(-4))}, []) == pytest.approx(2 * 1 - 4 * 0.5)
    assert float(side.gives({"b": (Fraction(3), Fraction(-4))}, [])) == pytest.approx(5 * 7, abs=1e-6)
