"""Every proof that pairs cannot hold is confirmed by a checker in exact arithmetic, and forged ones are not."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from confirming import flat_held, refused
from flat_cases import for_checker, pattern, pushed
from hypothesis import given
from hypothesis import strategies as st
from test_minimax import PAIR, degenerate

from partkin.fit.arrays import Pairs
from partkin.fit.certificate import _between, _plain_parts, certify, covers, outward
from partkin.fit.minimax import FITS_MM, best_placement
from partkin.fit.turns import Bound, balanced
from partkin.model.fitting import Piece

MOST_DECIMALS = 11


def ids_of(pairs) -> list[str]:
    return [f"F{i + 1}" for i in range(len(pairs))]


def confirmed(pairs, angles) -> tuple[Piece, ...]:
    pieces = certify(pairs, ids_of(pairs))
    assert pieces is not None
    assert refused(for_checker(pairs, angles, ids_of(pairs)), pieces) is None
    for piece in pieces:
        assert all(end == round(end, MOST_DECIMALS) for end in piece.turn_deg)
        if not piece.apart:
            assert piece.turn_deg[1] - piece.turn_deg[0] <= 90
    return pieces


def case(seed: int, slots: bool, shortest: float = 0.02):
    rng = np.random.default_rng([seed, slots, 7])
    pairs, angles = pattern(rng, int(rng.integers(2, 13)), slots, noise_mm=1.0)
    first = best_placement(pairs).worst_mm
    return pushed(pairs, first, rng.uniform(shortest, 0.3)), angles


@pytest.mark.parametrize("slots", [False, True])
@pytest.mark.parametrize("seed", range(60))
def test_every_certificate_is_confirmed(seed, slots):
    confirmed(*case(seed, slots))


@pytest.mark.slow
@pytest.mark.parametrize("slots", [False, True])
@pytest.mark.parametrize("seed", range(1000, 2000))
def test_every_certificate_of_two_thousand_is_confirmed(seed, slots):
    test_every_certificate_is_confirmed(seed, slots)


@pytest.mark.parametrize("short_mm", [1e-2, 1e-3, 1e-4, 1e-5, 2e-6])
@pytest.mark.parametrize("seed", range(4))
def test_proved_down_to_a_hair(seed, short_mm):
    rng = np.random.default_rng([seed, 11])
    pairs, angles = pattern(rng, 6, slots=False)
    pairs = pushed(pairs, best_placement(pairs).worst_mm, short_mm)
    assert pairs.rho.min() > 0
    confirmed(pairs, angles)


@pytest.mark.parametrize("seed", range(10))
def test_what_fits_has_no_certificate(seed):
    rng = np.random.default_rng([seed, 5])
    pairs, _ = pattern(rng, 5, slots=seed % 2 == 1)
    pairs = pushed(pairs, best_placement(pairs).worst_mm, -0.01)
    assert certify(pairs, ids_of(pairs)) is None


def three_spread(out_mm: float):
    """Three holes 120 degrees apart, the donor's farther out by a little; allowed 0.5."""
    around = np.radians([90, 210, 330])
    unit = np.stack([np.cos(around), np.sin(around)], axis=1)
    pairs = Pairs.plain(100 * unit, (100 + out_mm) * unit, 0.5)
    return pairs, {"angle_h_deg": [0.0] * 3, "angle_d_deg": [0.0] * 3}


def test_three_conflict_where_no_two_do():
    # Closed form: each two leave room up to out = 1 / sqrt(3) = 0.577, all three only up to 0.5.
    pairs, angles = three_spread(0.55)
    assert best_placement(pairs).worst_mm == pytest.approx(0.05, abs=1e-6)
    pieces = confirmed(pairs, angles)
    assert {name for piece in pieces for name, _ in piece.weights} == {"F1", "F2", "F3"}
    for two in ([0, 1], [0, 2], [1, 2]):
        assert best_placement(pairs.take(two)).fits


def test_two_too_far_apart_exclude_every_turn():
    pairs = Pairs.plain([(0, 0), (300, 0), (300, 200)], [(0, 0), (302, 0), (302, 200)], 0.5)
    (piece,) = certify(pairs, ids_of(pairs))
    assert piece == Piece((-180.0, 180.0), apart=("F1", "F2"))


def test_negative_play_is_said_by_the_fixing_alone():
    pairs = Pairs.plain([(0, 0), (10, 0)], [(0, 0), (10, 0)], [0.5, -0.25])
    (piece,) = certify(pairs, ["F1", "F2"])
    assert piece == Piece((-180.0, 180.0), apart=("F2", "F2"))
    assert refused({"F2": flat_held((10, 0), (10, 0), -0.25)}, [piece]) is None
    assert certify(pairs.take([1]), ["F2"]) == (piece,)


def test_weights_balance_exactly_in_both_notations():
    pairs, angles = three_spread(0.55)
    weights = [w for piece in confirmed(pairs, angles) for w in [piece.weights] if w]
    assert weights
    for named in weights:
        for axis in (0, 1):
            assert sum(weight[axis] for _, weight in named) == 0
            assert all(weight[axis] * 2**15 % 1 == 0 for _, weight in named)
            assert all(Fraction(str(weight[axis])) == Fraction(weight[axis]) for _, weight in named)


def slotted():
    """A case with slots that two fixings alone do not settle."""
    for seed in range(100):
        pairs, angles = case(seed, True, 0.05)
        pieces = certify(pairs, ids_of(pairs)) or ()
        if any(piece.weights for piece in pieces):
            return pairs, angles
    raise AssertionError("no such case")


@pytest.mark.parametrize("slots", [False, True])
def test_forged_certificates_are_refused(slots):
    """The checker itself: each change for the worse is noticed."""
    pairs, angles = slotted() if slots else three_spread(0.55)
    pieces = list(confirmed(pairs, angles))
    known = for_checker(pairs, angles, ids_of(pairs))
    at = next(k for k, piece in enumerate(pieces) if piece.weights)
    lo, hi = pieces[at].turn_deg
    (name, (fx, fy)), *rest = pieces[at].weights
    forged = [
        pieces[:at] + pieces[at + 1 :],
        [*pieces[:at], replace(pieces[at], turn_deg=(lo, (lo + hi) / 2)), *pieces[at + 1 :]],
        [*pieces[:at], replace(pieces[at], weights=((name, (fx + 2**-15, fy)), *rest)), *pieces[at + 1 :]],
        [*pieces[:at], replace(pieces[at], weights=((name, (-fx, -fy)), *rest)), *pieces[at + 1 :]],
        # Weights of three without slots hold all the way round.
        *([[replace(pieces[at], turn_deg=(-180.0, 180.0))]] if slots else []),
        [Piece((-180.0, 180.0), apart=("F1", "F1"))],
    ]
    for pieces_forged in forged:
        assert refused(known, pieces_forged) is not None
    roomier = replace(pairs, rho=pairs.rho + 0.5)
    assert refused(for_checker(roomier, angles, ids_of(pairs)), pieces) is not None


@given(st.lists(PAIR, min_size=1, max_size=5))
def test_degenerate_layouts(rows):
    pairs = degenerate(rows, 0.0)
    angles = {"angle_h_deg": [row[4] for row in rows], "angle_d_deg": [row[6] for row in rows]}
    placed = best_placement(pairs)
    if placed.worst_mm <= FITS_MM:
        assert certify(pairs, ids_of(pairs)) is None
    else:
        confirmed(pairs, angles)


@pytest.mark.parametrize(
    ("arcs_deg", "digits", "expected"),
    [
        ([(10.12341, 20.00001)], 4, [(10.1234, 20.0001)]), ([(-10.12341, -5.00009)], 4, [(-10.1235, -5.0)]),
        ([(-180.0, -179.5), (179.25, 180.0)], 1, [(-180.0, -179.5), (179.2, 180.0)]),
        # What then touches or overlaps is one; what does not is not.
        ([(1.04, 2.01), (2.12, 2.96), (3.21, 3.94)], 1, [(1.0, 3.0), (3.2, 4.0)]),
        ([(1.0, 3.5), (3.55, 3.56)], 0, [(1.0, 4.0)]),
    ],
)  # fmt: skip
def test_arcs_are_rounded_outward(arcs_deg, digits, expected):
    found = outward([(np.radians(lo), np.radians(hi)) for lo, hi in arcs_deg], digits)
    assert np.array(found) == pytest.approx(np.array(expected), abs=1e-12)
    ends = [-180.0, *(end for arc in expected for end in arc), 180.0]
    assert _between(expected) == [(lo, hi) for lo, hi in zip(ends[::2], ends[1::2], strict=True) if lo != hi]


def test_pieces_cover_where_each_begins_as_the_one_before_ends():
    whole = [Piece(at) for at in ((-180.0, -3.0), (-3.0, 20.0), (20.0, 180.0))]
    assert covers(whole) and covers([Piece((-180.0, 180.0))]) and not covers([])
    assert not covers(whole[1:]) and not covers(whole[:2]) and not covers([whole[0], whole[2]])


def test_a_piece_is_halved_until_its_bound_is_plain_to_see():
    """Every part is above half the level by the middle and the half width; too fine a grid of degrees ends it."""
    pairs, _ = three_spread(0.55)
    bound = Bound(pairs, -balanced(pairs.q / 100))
    level = 0.9 * 2 * bound.at(0.0)
    parts = _plain_parts(bound, (-20.0, 15.0), 4, level)
    assert [one[0] for one in parts] == [-20.0, *(one[1] for one in parts[:-1])] and parts[-1][1] == 15.0
    assert len(parts) > 1 and all(bound.by_middle(*np.radians(part)) > level / 2 for part in parts)
    assert all(end == round(end, 4) for part in parts for end in part)
    # The last that was cut would not have done uncut.
    assert bound.by_middle(*np.radians((-20.0, 15.0))) <= level / 2
    # In whole degrees it cannot be cut so finely; and above what the bound is no cut helps.
    assert _plain_parts(bound, (-3.0, 2.0), 0, 1.99 * bound.at(0.0)) is None
    assert _plain_parts(bound, (-20.0, 15.0), 4, 2.1 * bound.at(0.0)) is None
