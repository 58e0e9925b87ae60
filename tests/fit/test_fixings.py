"""What the donor has to be held by, and what the original shows of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from partkin.fit.fixings import host_fixings
from partkin.model.build import Feature, Part
from partkin.model.known import Side
from partkin.model.mating import Size


def side(part: str, *features: Feature, origin: str = "host") -> Side:
    return Side(Part(part, origin=origin), None, features, (), (), ())


def sizes_of(feature: Feature) -> tuple[Size, Size]:
    return Size(feature.across_mm), Size(feature.length_mm)


HOLE = Feature("o", "a", "hole", across_mm=7.0, thread="M6x1", x_mm=0.0, y_mm=0.0)
SLOT = Feature("o", "b", "slot", across_mm=7.0, length_mm=12.0, angle_deg=30.0, thread="M6x1", x_mm=9.0, y_mm=0.0)
PEG = Feature("o", "c", "peg", across_mm=8.0, x_mm=5.0, y_mm=5.0)


def test_measured_on_the_host() -> None:
    stud = Feature("h", "F1", "stud", across_mm=None, thread="M6x1", x_mm=0.0, y_mm=0.0)
    for name in ("a", "z"):
        found = host_fixings(side("h", stud), side(name, HOLE, origin="original"), frozenset({"F1"}), sizes_of)
        assert found.measured_from == "host"
        assert found.fixings[0].across.mm == 6.0 and found.fixings[0].play_mm == 0.0


def test_an_original_stands_in_with_its_own_play() -> None:
    """A 7 mm hole on an M6 stud: the stud stood within (7 - 6)/2 of its centre (ASME Y14.5, fixed fastener)."""
    found = host_fixings(side("h"), side("o", HOLE, SLOT, PEG, origin="original"), frozenset(), sizes_of)
    hole, slot, peg = found.fixings
    assert found.measured_from == "original"
    assert (hole.feature.kind, hole.across.mm, hole.play_mm) == ("stud", 6.0, 0.5)
    assert (slot.feature.kind, slot.play_mm, slot.play_half_travel_mm, slot.play_angle_deg) == ("stud", 0.5, 2.5, 30.0)
    assert (peg.feature.kind, peg.across.mm, peg.play_mm) == ("peg hole", 8.0, 0.0)


def test_listed_without_a_place_the_original_places_it() -> None:
    """The screw stood within the play of the original's hole, and the nut's middle within its float of the screw."""
    nut = Feature("h", "G1", "captive nut", thread="M6x1", float_mm=1.0)
    shown = replace(HOLE, goes_on="G1")
    found = host_fixings(side("h", nut), side("o", shown, origin="original"), frozenset(), sizes_of)
    fixing = found.fixings[0]
    assert found.measured_from == "original" and found.placed_by == {"G1": "a"}
    assert (fixing.feature.kind, fixing.across.mm, fixing.play_mm) == ("captive nut", 6.0, 1.5)
    assert found.also_called == {"a": "G1"}


def test_a_fixing_that_nothing_places_is_placed_by_nothing() -> None:
    nuts = [Feature("h", name, "captive nut", thread="M6x1") for name in ("G1", "G2")]
    original = side("o", replace(HOLE, goes_on="G1"), origin="original")
    found = host_fixings(side("h", *nuts), original, frozenset(), sizes_of)
    assert [f.feature.feature for f in found.fixings] == ["G1", "G2"] and found.placed_by == {"G1": "a"}


def test_an_original_named_as_host_stands_in_for_it() -> None:
    original = side("o", HOLE, origin="original")
    found = host_fixings(original, original, frozenset({"a"}), sizes_of)
    assert found.measured_from == "original" and found.fixings[0].feature.kind == "stud"


@pytest.mark.parametrize("kind", ["hole", "peg hole", "clip hole"])
def test_without_a_fastener_the_size_stays_unknown(kind: str) -> None:
    bare = Feature("o", "a", kind, across_mm=7.0, x_mm=0.0, y_mm=0.0)
    found = host_fixings(side("h"), side("o", bare, origin="original"), frozenset(), sizes_of)
    assert found.fixings[0].across.mm is None
