"""What movement is left where the placement is not unique, in words."""

from dataclasses import replace

import numpy as np
import pytest
from flat_cases import pattern
from scipy.optimize import minimize

from partkin.fit.arrays import Pairs
from partkin.fit.freedom import (
    _along,
    _any_turn,
    _kept,
    _null,
    _rows,
    _slot_directions,
    _toward,
    _turn_limit,
    _way,
    free_movement,
)
from partkin.fit.minimax import best_placement, kabsch

plain = Pairs.plain
CORNERS = [(0, 0), (300, 0), (300, 200), (0, 200)]


@pytest.mark.parametrize(
    ("pairs", "said"),
    [
        (plain([(3, 4)], [(9, 9)], 0.5), ("can turn freely about F1",)),
        (plain([(3, 4)] * 2, [(9, 9)] * 2, [0.5, 0.2]), ("can turn freely about F2",)),
        # Travel 2 x 2 mm and play 2 x 0.25 mm, less the 0.3 mm by which the patterns differ.
        (plain([(0, 0), (80, 0)], [(0, 0), (80.3, 0)], 0.25, s_d=2.0), ("can still slide 4.2 mm along the row F1-F2",)),
        (plain([(0, 0), (80, 0)], [(0, 0), (80, 0)], 0.0, s_h=2.0), ("can still slide 4.0 mm along the row F1-F2",)),
        # A hole and a slot that points at it locate the part; so do holes alone, whatever their play.
        (plain([(0, 0), (80, 0)], [(0, 0), (81, 0)], 0.25, s_d=[0, 2]), ()),
        (plain(CORNERS, CORNERS, [0.3, 0.5, 0.7, 1.0]), ()),
        # A slot across: (2 + 2 x 0.25) / 80 = 1.8 degrees.
        (
            plain([(0, 0), (80, 0)], [(0, 0), (80, 0)], 0.25, s_d=[0, 2], angle_d_deg=90),
            ("can turn by up to 1.8 degrees",),
        ),
        (
            plain(CORNERS, CORNERS, 0.25, s_h=3.0, angle_h_deg=60),
            ("can still slide 6.5 mm in the direction of 60 degrees",),
        ),
        # It does not fit: nothing is said of movement.
        (plain([(0, 0), (80, 0)], [(0, 0), (90, 0)], 0.25, s_h=2.0), ()),
        (plain(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0)), ()),
    ],
)
def test_said(pairs, said):
    ids = [f"F{i + 1}" for i in range(len(pairs))]
    assert free_movement(pairs, best_placement(pairs), ids) == said


def test_a_cross_of_slots_goes_both_ways():
    pairs = plain(CORNERS, CORNERS, 0.3, s_d=5.0, s_h=5.0, angle_h_deg=90)
    first, second, *_ = free_movement(pairs, best_placement(pairs), "abcd")
    assert first == "can still slide 10.6 mm along the row a-d"
    assert second == "can still slide 10.6 mm across that"


def test_the_slide_that_is_named_is_there_and_ends_there():
    pairs = plain([(0, 0), (80, 0)], [(0, 0), (80.3, 0)], 0.25, s_d=2.0)
    placed = best_placement(pairs)
    for shift, fits in [(2.09, True), (-2.09, True), (2.11, False), (-2.11, False)]:
        worst = pairs.excess(placed.turn_rad, placed.shift_mm + np.array([shift, 0.0])).max()
        assert (worst <= 1e-9) == fits


def test_the_turn_that_is_named_is_there_and_ends_there():
    pairs = plain([(0, 0), (80, 0)], [(0, 0), (80, 0)], 0.25, s_d=[0, 2], angle_d_deg=90)
    for degrees, fits in [(1.75, True), (1.85, False)]:
        turned = Pairs.plain(pairs.p, pairs.q, pairs.rho, s_d=pairs.s_d, angle_d_deg=90)
        shifts = np.stack(np.meshgrid(np.linspace(-0.3, 0.3, 61), np.linspace(-0.3, 0.3, 61)), axis=-1).reshape(-1, 2)
        found = any(turned.excess(np.radians(degrees), shift).max() <= 0 for shift in shifts)
        assert found == fits


@pytest.mark.parametrize("n", [2, 3])
@pytest.mark.parametrize("first", [0, 12])
def test_of_equally_good_placements_the_one_with_the_least_squared_offsets_is_taken(n, first):
    """No other that SLSQP of scipy comes to from there has less; 2e-3 mm2 are what its own tolerance may gain."""
    units = np.array([1 / 100, 1.0, 1.0])
    for seed in range(first, first + 12):
        pairs, _ = pattern(np.random.default_rng([n, seed]), n, True, noise_mm=0.5)
        placed = best_placement(pairs)

        def moved(step, placed=placed):
            return placed.turn_rad + step[0] * units[0], placed.shift_mm + step[1:]

        def squares(step, pairs=pairs, moved=moved):
            return float((pairs.contact_at(*moved(step), hold=True).gap_mm ** 2).sum())

        def spare(step, placed=placed, pairs=pairs, moved=moved):
            return placed.worst_mm + 2e-8 - pairs.excess(*moved(step))

        found = minimize(squares, np.zeros(3), constraints=[{"type": "ineq", "fun": spare}], method="SLSQP")
        if spare(found.x).min() > -1e-9:
            assert squares(np.zeros(3)) <= found.fun + 2e-3, seed


@pytest.mark.parametrize("seed", range(12))
def test_rows_tell_how_gaps_change_with_the_turn_and_the_shift(seed):
    """By finite differences, slots on either side at their ends, within, and of none."""
    rng = np.random.default_rng([seed, 21])
    pairs = pattern(rng, 5, True, noise_mm=3.0)[0].centred()[0]
    angle, shift = kabsch(pairs)
    size = np.sqrt((pairs.p**2).sum() / 5)
    contact = pairs.contact_at(angle, shift, hold=True)
    rows = _rows(pairs, contact, np.arange(5))
    some = _rows(pairs, pairs.contact_at(angle, shift, hold=True), np.array([3, 1]))
    assert np.array_equal(some, rows.reshape(5, 2, 3)[[3, 1]].reshape(-1, 3))
    for k, step in enumerate(1e-6 * np.eye(3)):
        more, less = (
            pairs.contact_at(angle + side * step[0] / size, shift + side * step[1:]).gap_mm[0] for side in (1.0, -1.0)
        )
        # What a gap gains along a slot that is free to slide is none.
        slope = contact.held[0] @ ((more - less) / 2e-6)[..., None]
        assert rows[:, k] == pytest.approx(slope.ravel(), abs=1e-5)


def test_directions_in_which_no_row_changes():
    rng = np.random.default_rng(2)
    rows = rng.normal(size=(6, 3))
    assert _null(rows).shape == (3, 0) and _null(np.zeros((0, 3))).shape == (3, 3)
    way = np.array([2.0, -1.0, 2.0]) / 3.0
    (found,) = _null(rows - np.outer(rows @ way, way)).T
    assert abs(found @ way) == pytest.approx(1.0)
    # What changes a hundred thousandth as much as the most, or less, counts as nothing; below 1 as much of 1.
    for least, nothing in ((2e-4, 1), (9e-4, 1), (2e-3, 0)):
        assert _null(np.diag([100.0, 100.0, least])).shape[1] == nothing
    assert [_null(np.diag([0.01, 0.01, least])).shape[1] for least in (9e-6, 2e-5)] == [1, 0]


@pytest.mark.parametrize("seed", range(12))
def test_as_much_of_a_step_is_gone_as_the_level_allows(seed):
    rng = np.random.default_rng([seed, 22])
    pairs = pattern(rng, 4, seed % 2 == 0, noise_mm=0.3)[0].centred()[0]
    angle, shift = kabsch(pairs)
    level = float(pairs.excess(angle, shift).max()) + rng.uniform(0.1, 2.0)
    step = rng.normal(size=2) * 4.0
    moved = _toward(pairs, angle, shift, step, level)
    part = float((moved - shift) @ step / (step @ step))
    assert moved == pytest.approx(shift + part * step) and -1e-12 <= part <= 1.0 + 1e-12
    assert pairs.excess(angle, moved).max() <= level
    # Halved 26 times in all.
    if part <= 1.0 - 1e-12:
        assert pairs.excess(angle, shift + (part + 2.0**-26) * step).max() > level
    # Where it stands beyond the level already, that is what it may be.
    worst = float(pairs.excess(angle, shift).max())
    moved = _toward(pairs, angle, shift, step, worst - 5.0)
    assert pairs.excess(angle, moved).max() <= worst


def test_slot_directions_are_told_once_turned_with_the_donor_and_named():
    at = [(0, 0), (80, 0), (80, 50), (0, 60)]
    pairs = plain(
        at, at, 0.5, s_h=[2, 0, 1, 0], angle_h_deg=[30, 0, 210, 0], s_d=[0, 3, 0, 4], angle_d_deg=[0, 20, 0, 75]
    )
    found = _slot_directions(pairs, np.radians(10.0))
    assert np.degrees(np.arctan2(*np.array(found).T[::-1])) == pytest.approx([30.0, 85.0])
    # Along two that stand in that direction to within two degrees, the farthest apart; else by the angle, 0 to 180.
    ids = "abcd"
    for degrees, said in (
        (1.9, "along the row a-b"),
        (-1.9, "along the row a-b"),
        (2.1, "in the direction of 2 degrees"),
    ):
        way = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
        assert _along(pairs, way, ids) == said
    assert _along(pairs, np.array([0.0, -1.0]), ids) == "along the row a-d"
    assert _along(pairs, np.array([-0.6, -0.8]), ids) == "in the direction of 53 degrees"
    assert _along(plain([(5, 5)] * 2, [(1, 1)] * 2, 0.5), np.array([0.0, 1.0]), ids) == "in the direction of 90 degrees"


def test_how_far_it_can_go_both_ways_and_turn_to_each_side():
    """A slot of 2 and plays of 0.25 about a place off the middle; a turn to which only one side has room."""
    pairs = plain([(0, 0), (80, 0)], [(0, 0), (80.2, 0)], 0.25, s_d=2.0)
    assert _way(pairs, 0.0, np.array([0.7, 0.0]), np.array([1.0, 0.0])) == pytest.approx(4.3, abs=1e-5)
    assert _way(pairs, 0.0, np.array([0.1, 0.1]), np.array([0.0, 1.0])) == pytest.approx(0.5, abs=1e-5)
    across = plain([(0, 0), (80, 0)], [(0, 0), (80, 0)], 0.05, s_d=[0, 2.0], angle_d_deg=90)
    most = np.arcsin(2.1 / 80.0)
    for side in (1.0, -1.0):
        assert _turn_limit(across, 0.01, np.zeros(2), side, 1e-3) == pytest.approx(most - side * 0.01, rel=5e-3)
        assert _turn_limit(across, 0.01, np.zeros(2), side, 0.04) == 0.0
    one = plain([(3, 4)], [(3, 4)], 0.5)
    assert _turn_limit(one, 0.0, np.zeros(2), 1.0, 1e-2) == np.pi and _any_turn(one, 0.3, np.zeros(2))
    assert not _any_turn(across, 0.0, np.zeros(2))


def test_what_held_stands_as_it_did_after_a_turn():
    """0.7 apart at a play of 0.5; a second hole, which does not hold, may give; where it may not there is no way."""
    pairs = plain([(50, 0), (0, 0)], [(49.3, 0), (0, 0)], [0.5, 5.0])
    before = pairs.contact_at(0.0, np.zeros(2), hold=True)
    moved = _kept(pairs, before, 0.01, np.zeros(2), 0.2 + 1e-8)
    assert pairs.contact_at(0.01, moved).gap_mm[0, 0] == pytest.approx(before.gap_mm[0, 0], abs=1e-9)
    assert moved == pytest.approx(np.array([50 - 50 * np.cos(0.01), -50 * np.sin(0.01)]), abs=1e-9)
    assert _kept(replace(pairs, rho=np.array([0.5, 0.2])), before, 0.01, np.zeros(2), 0.2 + 1e-8) is None
