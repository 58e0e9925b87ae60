"""Slips of the tape: found where something checks them, and not seen where there are none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from partkin.model.positions import Observed, Positions
from partkin.positions import adjust
from partkin.positions.asking_for import contradiction
from partkin.positions.suspects import Contradicted
from positions.parts import all_pairs, features, readings

SEVEN = np.random.default_rng(3).uniform(0.0, 600.0, (7, 2))


def surveyed(seed: int, slipped: bool) -> tuple[Positions, dict[str, float]]:
    """6 to 12 features, half as many readings again as needed or more; one in 20 off by 5 to 50 mm."""
    rng = np.random.default_rng([77, seed])
    k = int(rng.integers(6, 13))
    points = rng.uniform(0.0, 900.0, (k, 2))
    pairs = all_pairs(k)
    count = min(len(pairs), int((2 * k - 3) * rng.uniform(1.5, 2.5)))
    rows = readings(points, [pairs[at] for at in rng.permutation(len(pairs))[:count]])
    noise = rng.normal(0.0, 0.5 / np.sqrt(3.0), count)
    slips = {}
    if slipped:
        for at in rng.permutation(count)[: max(1, round(count / 20))]:
            slips[f"r{at}"] = float(rng.choice([-1.0, 1.0]) * rng.uniform(5.0, 50.0))
    rows = [replace(row, value=row.value + noise[at] + slips.get(row.reading, 0.0)) for at, row in enumerate(rows)]
    return adjust("p", features(points), rows), slips


def test_one_slip_is_named_and_left_out() -> None:
    rng = np.random.default_rng(1)
    found = adjust("p", features(SEVEN), readings(SEVEN, all_pairs(7), rng=rng, slips_mm={5: 37.0}))
    (suspect,) = found.suspects
    assert suspect.reading == "r5"
    assert suspect.off_by_mm == pytest.approx(37.0, abs=1.5)
    assert "37 mm more than the other readings allow" in suspect.says
    assert found.agree
    clean = adjust("p", features(SEVEN), readings(SEVEN, all_pairs(7)))
    assert np.abs(found.xyz_mm - clean.xyz_mm).max() < 1.5
    assert [row.reading for row in found.observed if not row.used] == ["r5"]


def test_two_slips() -> None:
    rng = np.random.default_rng(1)
    found = adjust("p", features(SEVEN), readings(SEVEN, all_pairs(7), rng=rng, slips_mm={5: 37.0, 11: -12.0}))
    assert {suspect.reading for suspect in found.suspects} == {"r5", "r11"}
    assert found.agree


def test_where_any_could_be_wrong_none_is_left_out_and_doubt_grows() -> None:
    """A rectangle with both diagonals has one reading to spare: it shows a slip, not whose."""
    quad = np.array([[0.0, 0.0], [300.0, 0.0], [300.0, 200.0], [0.0, 200.0]])
    found = adjust("p", features(quad), readings(quad, all_pairs(4), slips_mm={1: 8.0}))
    assert {suspect.reading for suspect in found.suspects} == {f"r{at}" for at in range(6)}
    assert all(row.used for row in found.observed)
    assert not found.agree
    assert found.sigma0 > 3.0
    calm = adjust("p", features(quad), readings(quad, all_pairs(4)))
    wider = np.diagonal(found.covariance_mm2) / np.diagonal(calm.covariance_mm2)
    assert wider == pytest.approx(found.sigma0**2, rel=0.1)


def test_without_a_reading_to_spare_nothing_is_suspected_and_that_is_said() -> None:
    triangle = SEVEN[:3]
    found = adjust("p", features(triangle), readings(triangle, all_pairs(3), slips_mm={0: 20.0}))
    assert not found.suspects
    assert any("Nothing checks the readings of" in note for note in found.notes)


def test_a_mistyped_coordinate() -> None:
    rows = features(SEVEN, range(7))
    rows[2] = replace(rows[2], x_mm=rows[2].x_mm + 30.0)
    pairs = [pair for pair in all_pairs(7) if 2 in pair or sum(pair) % 2]
    found = adjust("p", rows, readings(SEVEN, pairs))
    assert [suspect.reading for suspect in found.suspects] == ["f2.x_mm"]
    assert found.xyz_mm[2] == pytest.approx(SEVEN[2], abs=0.5)


@pytest.mark.slow
def test_false_alarms_over_five_hundred_networks() -> None:
    """Stated: 5 % of networks without a slip. Three standard errors of 500 are 2.9 %."""
    alarms = sum(bool(surveyed(seed, slipped=False)[0].suspects) for seed in range(500))
    print(f"{alarms} of 500 networks without a slip have a suspect")
    assert 0.02 * 500 < alarms < 0.08 * 500


@pytest.mark.slow
def test_planted_slips_over_five_hundred_networks() -> None:
    """One reading in 20 off by 5 to 50 mm."""
    planted = named = left_out = silent = 0
    for seed in range(500):
        found, slips = surveyed(seed, slipped=True)
        names = {suspect.reading for suspect in found.suspects}
        planted += len(slips)
        named += len(names & set(slips))
        left_out += len({suspect.reading for suspect in found.suspects if suspect.left_out} & set(slips))
        checked = {row.reading for row in found.observed if row.redundancy > 0.02}
        silent += bool(found.agree and (set(slips) & checked) - names)
    print(f"{named} of {planted} slips named, {left_out} of them left out")
    assert named / planted > 0.97
    # A checked slip that stays in unnoticed while everything seems to agree: at most 1 network in 100.
    assert silent <= 5


def test_a_reading_that_is_hardly_off_is_not_said_to_be_off_by_nothing() -> None:
    seen = Observed("r1", "distance", "a", "b", 120.0, 0.3, 120.0, 0.0, 0.0)
    says = contradiction(seen, Contradicted(0, 3.5, 0.02, False))
    assert "0.0" not in says and says.startswith("r1 (a to b): it does not go together with the other readings")
