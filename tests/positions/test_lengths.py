"""Readings as written -> millimetres between centres."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from partkin.model.build import Feature, Reading
from partkin.positions.lengths import (
    centre_distances,
    current,
    dimensions,
    greatest_error_of_mm,
    value_mm,
)
from partkin.tables.instruments import greatest_error_mm


def read(quantity: str, value: float, to: str | None = "b", unit: str = "mm", **more) -> Reading:
    return Reading("p", more.pop("id", "r1"), quantity, value, unit, "a", to, **more)


ROUND = {"a": Feature("p", "a", "hole", across_mm=8.0), "b": Feature("p", "b", "stud", thread="M6")}


@pytest.mark.parametrize(("value", "unit", "mm"), [(61.2, "cm", 612.0), (24.125, "in", 612.775), (0.612, "m", 612.0)])
def test_units(value: float, unit: str, mm: float) -> None:
    assert value_mm(read("centres", value, unit=unit)) == pytest.approx(mm)
    assert greatest_error_of_mm(read("centres", value, unit=unit, plus_minus=0.1)) == pytest.approx(
        0.1 * {"cm": 10.0, "in": 25.4, "m": 1000.0}[unit]
    )


def test_a_mass_is_not_a_length() -> None:
    with pytest.raises(ValueError, match="not a length"):
        value_mm(Reading("p", "r", "mass", 2.0, "kg"))


def test_without_plus_minus_the_instrument_tells() -> None:
    assert greatest_error_of_mm(read("centres", 612.0, instrument="tape")) == greatest_error_mm("tape", 612.0)
    assert greatest_error_of_mm(read("centres", 612.0)) == greatest_error_mm("seller", 612.0)


def test_corrections_chain_and_stay_dropped() -> None:
    rows = [
        read("centres", 1.0, id="r1"),
        read("centres", 2.0, id="r2", corrects="r1"),
        read("centres", 3.0, id="r3", corrects="r2"),
        replace(read("centres", 4.0, id="r1"), part="other"),
    ]
    left = current(rows)
    assert [(row.part, row.reading) for row in left] == [("p", "r3"), ("other", "r1")]
    assert current(left) == left


@pytest.mark.parametrize(("quantity", "centres"), [("near edges", 107.0), ("far edges", 93.0), ("centres", 100.0)])
def test_edges_of_round_features(quantity: str, centres: float) -> None:
    """Half of 8 and half of M6 between edge and centre."""
    (found,), unusable = centre_distances(ROUND, [read(quantity, 100.0, plus_minus=0.5)])
    assert not unusable
    assert found.length_mm == pytest.approx(centres)
    assert found.sigma_mm == pytest.approx(0.5 / math.sqrt(3.0))


def test_a_read_width_takes_the_place_of_the_cell_and_brings_its_uncertainty() -> None:
    rows = [
        Reading("p", "w", "across", 8.6, "mm", "a", plus_minus=0.3),
        read("near edges", 100.0, plus_minus=0.4, id="d"),
    ]
    size = dimensions(ROUND["a"], rows)
    assert (size.across_mm, size.across_half_width_mm) == (8.6, 0.3)
    assert dimensions(ROUND["a"], []).across_half_width_mm == 0.0
    (found,), _ = centre_distances(ROUND, rows)
    assert found.length_mm == pytest.approx(107.3)
    assert found.sigma_mm == pytest.approx(math.hypot(0.4, 0.15) / math.sqrt(3.0))


@pytest.mark.parametrize("corrects", ["w1", None])
def test_a_correction_wins_over_the_width_read_first(corrects: str | None) -> None:
    """A later reading of a width takes the place of an earlier one, whether it says that it corrects it or not."""
    rows = [Reading("p", "w1", "across", 9.9, "mm", "a", plus_minus=0.1),
            Reading("p", "w2", "across", 8.6, "mm", "a", plus_minus=0.3, corrects=corrects)]  # fmt: skip
    size = dimensions(ROUND["a"], rows)
    assert (size.across_mm, size.across_half_width_mm) == (8.6, 0.3)
    if corrects is not None:
        assert dimensions(ROUND["a"], rows[::-1]) == size


def test_an_edge_without_a_size_asks_for_it() -> None:
    (bad,) = centre_distances({**ROUND, "a": Feature("p", "a", "hole")}, [read("near edges", 100.0)])[1]
    assert bad.needs_across_of == "a"


@pytest.mark.parametrize("to", ["a", "nowhere", None])
def test_two_different_features_are_needed(to: str | None) -> None:
    found, unusable = centre_distances(ROUND, [read("centres", 100.0, to=to)])
    assert not found
    assert len(unusable) == 1


SLOT = Feature("p", "a", "slot", across_mm=8.0, length_mm=20.0, angle_deg=0.0, x_mm=0.0, y_mm=0.0)


@pytest.mark.parametrize(
    ("x", "y", "near", "far"),
    [
        (100.0, 0.0, 100.0 - 10.0 - 3.0, 100.0 + 10.0 + 3.0),
        (0.0, 100.0, 100.0 - 4.0 - 3.0, math.hypot(6.0, 100.0) + 4.0 + 3.0),
        (100.0, 100.0, math.hypot(94.0, 100.0) - 7.0, math.hypot(106.0, 100.0) + 7.0),
    ],
)
def test_edges_of_a_slot(x: float, y: float, near: float, far: float) -> None:
    """Least and greatest distance of the outlines: half-travel 6 along x, radii 4 and 3."""
    both = {"a": SLOT, "b": Feature("p", "b", "hole", across_mm=6.0, x_mm=x, y_mm=y)}
    for quantity, value in (("near edges", near), ("far edges", far)):
        (found,), _ = centre_distances(both, [read(quantity, value)])
        assert found.length_mm == pytest.approx(math.hypot(x, y))


def test_a_slot_without_direction_or_place_is_said_not_guessed() -> None:
    other = Feature("p", "b", "hole", across_mm=6.0, x_mm=100.0, y_mm=0.0)
    for slot in (replace(SLOT, angle_deg=None), replace(SLOT, x_mm=None)):
        found, (bad,) = centre_distances({"a": slot, "b": other}, [read("near edges", 87.0)])
        assert not found
        assert "slot" in bad.why
    assert centre_distances({"a": replace(SLOT, x_mm=None), "b": other}, [read("centres", 100.0)])[0]
