"""What a reading should be, and the word at once where it is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from partkin.model.build import Reading
from partkin.positions import adjust, predict, surprise
from positions.parts import all_pairs, apart, features, readings

FOUR = np.array([[0.0, 0.0], [300.0, 0.0], [320.0, 210.0], [10.0, 190.0]])
FIVE_READ = readings(FOUR, all_pairs(4)[:-1])
FOUND = adjust("p", features(FOUR), FIVE_READ)
# The same with places by eye, which leave one layout of two.
LAID = adjust("p", features(FOUR, range(4), plus_minus_mm=20.0), FIVE_READ)
SPACED = adjust("p", features(FOUR, range(4)), [])
NEW = Reading("p", "n", "centres", 0.0, "mm", "f2", "f3", instrument="tape")
TRUE = apart(FOUR)[2, 3]


def test_a_distance_is_told_from_the_others() -> None:
    told = predict(FOUND, NEW)
    assert told.expected_mm == pytest.approx(TRUE, abs=1e-6)
    assert 0.1 < told.sigma_mm < 2.0
    assert told.from_readings == 5


def test_the_stated_spread_is_what_the_value_does() -> None:
    rng = np.random.default_rng(0)
    off = []
    for _ in range(300):
        found = adjust("p", features(FOUR), readings(FOUR, all_pairs(4)[:-1], rng=rng))
        off.append(predict(found, NEW).expected_mm - TRUE)
    assert np.std(off) == pytest.approx(predict(FOUND, NEW).sigma_mm, rel=0.12)


@pytest.mark.parametrize(("quantity", "less"), [("near edges", 8.0), ("far edges", -8.0)])
def test_edges_are_told_as_edges(quantity: str, less: float) -> None:
    told = predict(FOUND, replace(NEW, quantity=quantity), features(FOUR))
    assert told.expected_mm == pytest.approx(TRUE - less, abs=1e-6)
    assert predict(FOUND, replace(NEW, quantity=quantity)) is None


def test_what_the_others_do_not_tell() -> None:
    assert predict(FOUND, replace(NEW, from_feature="nowhere")) is None
    assert predict(FOUND, replace(NEW, from_feature="f3")) is None
    assert predict(FOUND, Reading("p", "n", "thickness", 2.0, "mm")) is None
    assert surprise(FOUND, replace(NEW, from_feature="nowhere", value=1.0)) is None


def test_widths() -> None:
    wide = Reading("p", "n", "across", 8.2, "mm", "f1", instrument="caliper")
    assert predict(FOUND, wide, features(FOUR)).expected_mm == 8.0
    first = replace(wide, reading="w", value=7.9, plus_minus=0.3)
    told = predict(FOUND, wide, features(FOUR), [first])
    assert (told.expected_mm, told.sigma_mm, told.from_readings) == (7.9, pytest.approx(0.3 / np.sqrt(3.0)), 1)
    assert surprise(FOUND, replace(wide, value=8.05), features(FOUR)) is None
    assert surprise(FOUND, replace(wide, value=10.0), features(FOUR)).startswith("2.0 mm more than was known of f1")


def test_a_good_reading_goes_without_a_word() -> None:
    assert surprise(FOUND, replace(NEW, value=TRUE + 0.7)) is None


@pytest.mark.parametrize("way", [-1.0, 1.0])
def test_one_in_a_thousand_is_spoken_of_and_no_more(way: float) -> None:
    """Either way together: beyond 3.29 of what the others and the reading itself leave open (tables of the normal)."""
    read = replace(NEW, plus_minus=0.6)
    limit_mm = 3.2905 * np.hypot(predict(FOUND, NEW).sigma_mm, 0.6 / np.sqrt(3.0))
    assert surprise(FOUND, replace(read, value=TRUE + way * (limit_mm - 0.002))) is None
    assert surprise(FOUND, replace(read, value=TRUE + way * (limit_mm + 0.002))) is not None


@pytest.mark.parametrize(
    ("value", "starts", "ends"),
    [
        (TRUE + 37.0, "37 mm more than the other five readings allow", "tape hooked on the wrong edge?"),
        (TRUE - 37.0, "37 mm less than the other five readings allow", "tape hooked on the wrong edge?"),
        (TRUE + 100.0, "100 mm more", "(read from the 100 mm mark of the tape)?"),
        (TRUE - 4.0 - 4.0, "8.0 mm less", "from an edge instead of the centre?"),
        (TRUE / 10.0, "280 mm less", " cm?"),
        (TRUE / 25.4, "298 mm less", " in?"),
    ],
)
def test_a_far_reading_is_spoken_of(value: float, starts: str, ends: str) -> None:
    said = surprise(LAID, replace(NEW, value=float(value)), features(FOUR))
    assert said.startswith(starts)
    assert said.endswith(ends)


def test_against_coordinates() -> None:
    assert "than the stated coordinates allow" in surprise(SPACED, replace(NEW, value=TRUE + 50.0))


def test_of_two_layouts_the_nearer_one_counts() -> None:
    found = adjust("p", features(FOUR), readings(FOUR, [(0, 1), (1, 2), (2, 3), (0, 3), (0, 2)]))
    assert len(found.layouts) == 2
    for layout in found.layouts:
        length = float(np.linalg.norm(layout[1] - layout[3]))
        assert surprise(found, replace(NEW, from_feature="f1", to_feature="f3", value=length)) is None
    assert surprise(found, replace(NEW, from_feature="f1", to_feature="f3", value=250.0)) is not None


@pytest.mark.slow
def test_good_readings_are_seldom_spoken_of() -> None:
    """Stated: less than once in a thousand for a normal error; a rectangular one is rarer still."""
    rng = np.random.default_rng(1)
    spoken = 0
    for _ in range(2000):
        rows = readings(FOUR, all_pairs(4), rng=rng)
        found = adjust("p", features(FOUR), rows[:-1])
        spoken += surprise(found, rows[-1]) is not None
    assert spoken <= 6
