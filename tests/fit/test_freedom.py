"""What movement is left where the placement is not unique, in words."""

import numpy as np
import pytest
from flat_cases import pattern
from scipy.optimize import minimize

from partkin.fit.arrays import Pairs
from partkin.fit.freedom import free_movement
from partkin.fit.minimax import best_placement

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
