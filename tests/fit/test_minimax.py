"""The best placement of known pairs against a cone program, closed forms and degenerate layouts."""

import math

import numpy as np
import pytest
from flat_cases import pattern, pushed
from hypothesis import given
from hypothesis import strategies as st
from reference import excesses, from_start, least, least_squares_turn, with_clarabel

from partkin.fit.arrays import Pairs
from partkin.fit.minimax import (
    FITS_MM,
    _from_pool,
    _from_swapped,
    _level,
    best_placement,
    kabsch,
    on_grid,
    search_turns,
)
from partkin.fit.turns import Bound, balanced
from partkin.model.fitting import FitTask, Option, Spot

STARTS = (0.0, 0.02, -0.02)


def placed_truly(pairs: Pairs, placed) -> float:
    """The placement's worst excess by the reference's own distance, after it was found as stated."""
    worst = float(excesses(pairs, placed.turn_rad, placed.shift_mm).max())
    assert worst == pytest.approx(placed.worst_mm, abs=1e-9 * (1 + np.abs(pairs.p).max()))
    return worst


def agrees(seed: int, slots: bool, once) -> None:
    """No worse than the reference, true to its word, and of the same mind at the sign."""
    rng = np.random.default_rng([seed, slots])
    pairs, _ = pattern(rng, int(rng.integers(3, 21)), slots, noise_mm=rng.choice([0.1, 0.3, 1.0]))
    first = best_placement(pairs).worst_mm
    margin = rng.uniform(0.02, 0.3) * rng.choice([-1, 1])
    pairs = pushed(pairs, first, margin)
    placed = best_placement(pairs)
    worst = placed_truly(pairs, placed)
    expected = least(pairs, once, STARTS)
    assert placed.proved
    assert worst <= expected + 1e-6
    assert worst == pytest.approx(margin, abs=0.001)
    assert expected == pytest.approx(worst, abs=0.001)
    assert placed.fits == (expected <= FITS_MM)
    judged = best_placement(pairs, stop_at_sign=True)
    assert judged.fits == placed.fits
    placed_truly(pairs, judged)


@pytest.mark.parametrize("seed", range(60))
@pytest.mark.parametrize("slots", [False, True])
def test_agrees_with_clarabel(seed, slots):
    agrees(seed, slots, with_clarabel)


@pytest.mark.parametrize("seed", range(8))
def test_clarabel_called_directly_is_the_same_program_as_cvxpy(seed):
    rng = np.random.default_rng(seed)
    pairs, _ = pattern(rng, 3 + seed, slots=seed % 2 == 1)
    middle = least_squares_turn(pairs)
    assert from_start(pairs, middle)[0] == pytest.approx(from_start(pairs, middle, with_clarabel)[0], abs=1e-6)
    assert best_placement(pairs).worst_mm == pytest.approx(from_start(pairs, middle)[0], abs=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(1000, 2000))
@pytest.mark.parametrize("slots", [False, True])
def test_agrees_with_cvxpy_on_two_thousand(seed, slots):
    from reference import with_cvxpy

    agrees(seed, slots, with_cvxpy)


@pytest.mark.parametrize("d", np.linspace(0.05, 2.0, 20).round(3))
def test_fifth_hole_out(d):
    # Closed form: 7 mm holes on M6 studs (allowed 0.5); the fifth out by d shares it with the other four.
    donor = [(0, 0), (300, 0), (300, 200), (0, 200), (150, d)]
    host = [(0, 0), (300, 0), (300, 200), (0, 200), (150, 0)]
    placed = best_placement(Pairs.plain(donor, host, 0.5))
    assert -placed.worst_mm == pytest.approx(0.5 - d / 2, abs=1e-6)
    assert placed.fits == (d <= 1.0)


def test_two_fixings_share_the_difference():
    placed = best_placement(Pairs.plain([(0, 0), (80, 0)], [(10, 5), (10, 85.6)], [0.2, 0.3]))
    assert math.degrees(placed.turn_rad) == pytest.approx(90)
    assert placed.worst_mm == pytest.approx((0.6 - 0.5) / 2, abs=1e-7)


def test_an_identical_donor_lies_on_its_host_whatever_its_place():
    rng = np.random.default_rng(3)
    p = rng.uniform(-200, 200, (7, 2))
    for degrees in (0.0, 37.5, 90.0, -144.0, 180.0):
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        q = p @ np.array([[c, s], [-s, c]]) + (1e5, -1e5)
        placed = best_placement(Pairs.plain(p, q, rng.uniform(0.3, 2, 7)))
        assert math.remainder(math.degrees(placed.turn_rad) - degrees, 360) == pytest.approx(0, abs=1e-7)
        assert placed.excess_mm == pytest.approx(-placed_rho(placed, p, q), abs=1e-7)


def placed_rho(placed, p, q) -> np.ndarray:
    """What the excess of each pair leaves as its play when its offset is nil."""
    c, s = math.cos(placed.turn_rad), math.sin(placed.turn_rad)
    offset = np.hypot(*(p @ np.array([[c, s], [-s, c]]) + placed.shift_mm - q).T)
    return offset - placed.excess_mm


@pytest.mark.parametrize(
    ("pairs", "turn_deg", "shift_mm"),
    [
        (Pairs.plain([(10, 20)], [(100, 50)], 0.5), 0.0, (90, 30)),
        (Pairs.plain([(10, 20)], [(100, 50)], 0.5, s_h=4, angle_h_deg=30), 0.0, (90, 30)),
        # Two slots in line: the turn is given, the shift is the one that centres.
        (Pairs.plain([(0, 0), (80, 0)], [(0, 3), (81, 3)], 0.5, s_h=3.0), 0.0, (0.5, 3)),
        # All in one place: nothing says how to turn.
        (Pairs.plain([(5, 5)] * 3, [(1, 2)] * 3, [0.5, 0.2, 0.1]), 0.0, (-4, -3)),
        # The tighter of two holes decides, but the other is centred too.
        (Pairs.plain([(0, 0), (80, 0)], [(0, 0), (0, 80)], [0.5, 1.0]), 90.0, (0, 0)),
    ],
)
def test_the_choice_among_equals(pairs, turn_deg, shift_mm):
    placed = best_placement(pairs)
    assert placed.loose
    assert math.degrees(placed.turn_rad) == pytest.approx(turn_deg, abs=1e-6)
    assert placed.shift_mm == pytest.approx(shift_mm, abs=1e-6)
    assert placed.worst_mm == pytest.approx(-pairs.rho.min(), abs=1e-7)


def test_half_turn_mirror_and_slots_from_a_task():
    fixings = (Spot("F1", (0.0, 0.0)), Spot("F2", (100.0, 0.0), 5.0, 0.0), Spot("F3", (30.0, 40.0)))
    features = (Spot("a", (0.0, 0.0)), Spot("b", (100.0, 0.0)), Spot("c", (30.0, -40.0), 2.0, 30.0))
    options = tuple(Option(f, d, 0.4) for f, d in (("F1", "a"), ("F2", "b"), ("F3", "c")))
    named = [("F1", "a"), ("F2", "b"), ("F3", "c")]
    flat = Pairs.of(FitTask(fixings, features, options, given=True, mirrored=True), named)
    assert flat.p.tolist() == [[0, 0], [-100, 0], [-30, -40]]
    assert flat.u_d[2] == pytest.approx((math.cos(math.radians(150)), math.sin(math.radians(150))))
    placed = best_placement(flat)
    assert abs(math.degrees(placed.turn_rad)) == pytest.approx(180, abs=1e-5)
    assert placed.worst_mm == pytest.approx(-0.4, abs=1e-7)
    as_it_is = Pairs.of(FitTask(fixings, features, options, given=True), named)
    assert not best_placement(as_it_is).fits


def test_zero_and_negative_play():
    p = [(0, 0), (50, 0), (100, 30)]
    assert best_placement(Pairs.plain(p, p, 0.0)).fits
    placed = best_placement(Pairs.plain(p, p, [-0.2, 0.3, 0.3]))
    assert placed.worst_mm == pytest.approx(0.2)
    assert not placed.fits
    assert not best_placement(Pairs.plain(p, p, [-0.2, 0.3, 0.3]), stop_at_sign=True).fits


def test_no_pairs_fit_anywhere():
    placed = best_placement(Pairs.plain(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0)))
    assert placed.fits
    assert placed.worst_mm == -math.inf


def test_far_beyond_reach_is_said_without_being_exact():
    rng = np.random.default_rng(8)
    pairs = Pairs.plain(rng.uniform(-100, 100, (6, 2)), rng.uniform(-100, 100, (6, 2)), 0.5)
    placed = best_placement(pairs)
    assert placed.worst_mm > 10
    assert placed_truly(pairs, placed) >= min(least(pairs, with_clarabel, np.linspace(-3, 3, 13)), 10.0)


# Layouts made of few places, so that points coincide, stand in line and lengths vanish.
PLACES = st.sampled_from([0.0, 0.0, 1.0, 50.0, 100.0, -100.0])
POINT = st.tuples(PLACES, PLACES)
TRAVEL = st.sampled_from([0.0, 0.0, 2.0, 150.0])
ANGLE = st.sampled_from([0.0, 45.0, 90.0, 180.0])
PLAY = st.sampled_from([0.0, 0.3, 0.3, 1.0, -0.1])
PAIR = st.tuples(POINT, POINT, PLAY, TRAVEL, ANGLE, TRAVEL, ANGLE)


def degenerate(rows, far: float) -> Pairs:
    p, q, rho, s_h, angle_h, s_d, angle_d = (np.array(column, dtype=float) for column in zip(*rows))
    return Pairs.plain(p + far, q - far, rho, s_h=s_h, angle_h_deg=angle_h, s_d=s_d, angle_d_deg=angle_d)


@given(st.lists(PAIR, min_size=1, max_size=5), st.sampled_from([0.0, 1e5]))
def test_degenerate_layouts(rows, far):
    pairs = degenerate(rows, far)
    placed = best_placement(pairs)
    near = pairs.centred()[0]
    assert placed.proved
    assert placed.worst_mm == pytest.approx(float(pairs.excess(placed.turn_rad, placed.shift_mm).max()), abs=1e-7)
    assert best_placement(pairs, stop_at_sign=True).fits == placed.fits
    starts = np.linspace(-math.pi, math.pi, 9)
    expected = min(from_start(near, start, with_clarabel, rounds=6)[0] for start in starts)
    assert min(placed.worst_mm, 10.0) <= expected + 1e-3
    again = best_placement(pairs)
    assert (again.turn_rad, again.shift_mm.tolist()) == (placed.turn_rad, placed.shift_mm.tolist())


@pytest.mark.parametrize("seed", range(6))
def test_the_start_is_that_of_least_squares(seed):
    """Neither a turn nor a shift brings the points nearer; where nothing tells a turn, none is made."""
    rng = np.random.default_rng([seed, 31])
    pairs, _ = pattern(rng, 5, slots=False, noise_mm=4.0)
    angle, shift = kabsch(pairs)

    def squares(turn_rad: float, at: np.ndarray) -> float:
        c, s = math.cos(turn_rad), math.sin(turn_rad)
        return float(((pairs.p @ np.array([[c, s], [-s, c]]) + at - pairs.q) ** 2).sum())

    least_yet = squares(angle, shift)
    for step in (1e-4, -1e-4):
        assert all(squares(angle, shift + step * way) > least_yet for way in np.eye(2))
        # About the middle, so that the turn by itself is tried.
        middle, more = (
            pairs.q.mean(axis=0),
            np.array([[math.cos(step), -math.sin(step)], [math.sin(step), math.cos(step)]]),
        )
        assert squares(angle + step, more @ (shift - middle) + middle) > least_yet
    assert angle == pytest.approx(least_squares_turn(pairs))
    angle, shift = kabsch(Pairs.plain([(5, 5), (5, 5)], [(1, 2), (3, 2)], 0.5))
    assert (angle, shift.tolist()) == (0.0, [-3.0, -3.0])


def test_a_placement_seen_from_the_host_is_the_same():
    rng = np.random.default_rng(4)
    pairs, _ = pattern(rng, 4, slots=True)
    angle, shift, weights = 0.7, np.array([3.0, -8.0]), rng.normal(size=(4, 2))
    there, moved, forces = _from_swapped(angle, shift, weights)
    assert pairs.excess(there, moved) == pytest.approx(pairs.swapped().excess(angle, shift))
    # Forces on the host are those on the donor the other way round, seen from the host.
    c, s = math.cos(angle), math.sin(angle)
    assert forces @ np.array([[c, s], [-s, c]]) == pytest.approx(-weights)


@pytest.mark.parametrize(
    ("worst", "floor", "sign", "level"),
    [
        # Nothing is left to prove: it stands at the tightest play, or the sign is told.
        (-0.3, -0.3, False, None), (-0.3 + 9e-8, -0.3, False, None), (0.2, 0.2, True, None), (-0.1, -0.3, True, None),
        (1e-6, -0.3, True, None),
        # The sign: at most what counts as none, and at most half of what was reached.
        (0.2, -0.3, True, 1e-6), (1.5e-6, -0.3, True, 0.75e-6),
        # To within 0.0008, above 10 no more than that, and never below the tightest play.
        (-0.1, -0.3, False, -0.1008), (0.2, -0.3, False, 0.1992), (12.0, -0.3, False, 10.0),
        (-0.2995, -0.3, False, -0.3),
        # Just beyond the sign: whether it fits is told.
        (5e-4, -0.3, False, 1e-6), (1e-6 + 5e-8, -0.3, False, 0.95e-6), (8.01e-4, -0.3, False, 1e-6),
    ],
)  # fmt: skip
def test_what_no_other_turn_may_reach(worst, floor, sign, level):
    found = _level(worst, floor, sign)
    assert found is None if level is None else found == pytest.approx(level, abs=1e-12)


@pytest.mark.parametrize(
    ("piece", "drawn_in"),
    [
        ((0.12, 0.58), (0.2, 0.5)), ((0.05, 0.58), (0.05, 0.5)), ((0.12, 0.95), (0.2, 0.95)),
        ((0.0, 1.0), (0.05, 0.95)),         ((0.12, 0.19), None), ((0.12, 0.21), None), (None, None),
    ],
)  # fmt: skip
def test_inner_ends_are_drawn_in_to_the_grid(piece, drawn_in):
    found = on_grid(piece, (0.05, 0.95), 0.1)
    assert found is None if drawn_in is None else found == pytest.approx(drawn_in)
    assert on_grid(piece, (0.05, 0.95), 0.0) == piece


@pytest.mark.parametrize("seed", range(30))
def test_of_known_weights_those_that_cover_most_of_an_arc_are_taken(seed):
    """From either end or from where they were found, of the four found nearest to it."""
    rng = np.random.default_rng([seed, 33])
    pairs, _ = pattern(rng, 4, slots=False, noise_mm=2.0)
    pairs = pairs.centred()[0]
    pool = [(float(rng.uniform(-1, 2)), Bound(pairs, balanced(rng.normal(size=(4, 2))))) for _ in range(6)]
    arc = (0.0, 1.0)
    level = float(np.median([bound.at(0.5) for _, bound in pool]))
    near = sorted(pool, key=lambda one: max(0.0, -one[0], one[0] - 1.0))[:4]
    grid = 0.0 if seed % 2 else 0.01
    widest = 0.0
    for at, bound in pool:
        if max(0.0, -at, at - 1.0) > max(0.0, -near[-1][0], near[-1][0] - 1.0) or (at, bound) not in near[:4]:
            continue
        for start in (0.0, at, 1.0):
            reach = on_grid(bound.reach(start, *arc, level), arc, grid) if 0 <= start <= 1 else None
            widest = max(widest, reach[1] - reach[0] if reach else 0.0)
    inside = sum(0 <= at <= 1 for at, _ in pool)
    found = _from_pool(pool, arc, level, grid)
    if inside <= 4:
        assert (0.0 if found is None else found[0][1] - found[0][0]) == pytest.approx(widest if widest >= 1e-3 else 0.0)
    if found:
        (lo, hi), bound = found
        assert 0.0 <= lo < hi <= 1.0 and all(bound.at(turn) >= level - 1e-9 for turn in np.linspace(lo, hi, 100))


@pytest.mark.parametrize("grid_rad", [0.0, 1e-3])
def test_pieces_of_a_search_cover_the_arcs_with_bounds_above_the_level(grid_rad):
    rng = np.random.default_rng(6)
    pairs, _ = pattern(rng, 6, slots=False, noise_mm=2.0)
    pairs = pairs.centred()[0]
    worst = best_placement(pairs).worst_mm
    arcs = [(-1.0, 0.5), (1.0, 2.5)]
    found = search_turns(pairs, min(worst - 0.05, 10.0), arcs=arcs, grid_rad=grid_rad)
    assert found.proved and found.better is None
    ends = [end for piece in found.pieces for end in piece[:2]]
    assert ends == sorted(ends) and (ends[0], ends[-1]) == (-1.0, 2.5)
    assert sum(hi - lo for lo, hi, _ in found.pieces) == pytest.approx(3.0)
    for lo, hi, weights in found.pieces:
        bound = Bound(pairs, weights)
        if worst <= 10.0:
            assert all(bound.at(turn) > worst - 0.05 - 1e-9 for turn in np.linspace(lo, hi, 50))
        assert all(
            end in (-1.0, 0.5, 1.0, 2.5) or not grid_rad or end == round(end / grid_rad) * grid_rad for end in (lo, hi)
        )
    better = search_turns(pairs, worst + 0.1)
    assert not better.proved and pairs.excess(*better.better).max() <= worst + 0.1
