"""The verifier's arithmetic, against numbers known otherwise and against floats."""

from __future__ import annotations

import math
import random
from fractions import Fraction as F
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from partkin.verify.held import Held, nearest_square, rational_rotation, stands
from partkin.verify.proofs import excludes_every_turn, most, pairing_left_open, two_exclude, weights_exclude
from partkin.verify.vectors import EPS, cos_sin, root

angles = st.decimals(-400, 400, places=4).map(lambda d: F(str(d)))
lengths = st.decimals(-500, 500, places=3).map(lambda d: F(str(d)))


@given(angles)
def test_cosine_and_sine(angle):
    c, s = cos_sin(angle)
    assert abs(c * c + s * s - 1) < 4 * EPS
    assert float(c) == pytest.approx(math.cos(math.radians(float(angle))), abs=1e-12)
    assert float(s) == pytest.approx(math.sin(math.radians(float(angle))), abs=1e-12)


def test_cosine_of_known_angles():
    # cos 36 = (1 + sqrt 5)/4, sin 18 = (sqrt 5 - 1)/4 (regular pentagon, Euclid XIII)
    five = root(F(5), up=True)
    assert abs(cos_sin(F(36))[0] - (1 + five) / 4) < 2 * EPS
    assert abs(cos_sin(F(18))[1] - (five - 1) / 4) < 2 * EPS
    assert cos_sin(F(180)) == (-1, 0) and cos_sin(F(-90)) == (0, -1)


@given(lengths, lengths, angles, st.decimals("0.001", 360, places=3).map(lambda d: F(str(d))))
def test_most_is_never_below_and_hardly_above(a, b, lo, width):
    top = float(most(a, b, lo, lo + width))
    seen = [
        float(a) * math.cos(t) + float(b) * math.sin(t)
        for t in (math.radians(float(lo) + float(width) * k / 720) for k in range(721))
    ]
    assert top >= max(seen) - 1e-9
    assert top <= max(seen) + 1e-4 * (1 + math.hypot(float(a), float(b)))


def turn_of(c, s):
    return [(c, -s), (s, c)]


def offset(held, turn, shift):
    return stands(held, turn_of(*turn), shift)["across"][0]


@given(st.floats(-math.pi, math.pi))
def test_a_rational_turn_is_exact(angle):
    (c, other), (s, same) = rational_rotation(turn_of(F(math.cos(angle)), F(math.sin(angle))))
    assert c * c + s * s == 1 and (other, same) == (-s, c)
    assert float(c) == pytest.approx(math.cos(angle), abs=1e-15)
    assert float(s) == pytest.approx(math.sin(angle), abs=1e-15)


@pytest.mark.parametrize("degrees", [0, 12, 85, 119, 121, 175, 180])
@pytest.mark.parametrize("axis", [(1, 0, 0), (0, 1, 0), (0, 0, 1), (1, -2, 3), (-3, 1, 1), (1, 4, -2)])
def test_a_rational_rotation_in_space_is_exact(axis, degrees):
    """Of small and large turns: whichever part of the quaternion is the largest."""
    length = math.hypot(*axis)
    x, y, z = (math.sin(math.radians(degrees) / 2) * part / length for part in axis)
    w = math.cos(math.radians(degrees) / 2)
    rounded = [
        [w * w + x * x - y * y - z * z, 2 * (x * y - w * z), 2 * (x * z + w * y)],
        [2 * (x * y + w * z), w * w - x * x + y * y - z * z, 2 * (y * z - w * x)],
        [2 * (x * z - w * y), 2 * (y * z + w * x), w * w - x * x - y * y + z * z],
    ]
    rows = rational_rotation([tuple(F(cell) for cell in row) for row in rounded])
    assert all(
        sum(a * b for a, b in zip(rows[i], rows[k], strict=True)) == (i == k) for i in range(3) for k in range(3)
    )
    for row, near in zip(rows, rounded, strict=True):
        assert [float(cell) for cell in row] == pytest.approx(near, abs=1e-14)


def slots(**more) -> Held:
    return Held((F(0), F(0)), (F(0), F(0)), F(0), **more)


STAY = (F(1), F(0))


def test_offsets_from_slots():
    upright = (F(0), F(1))
    assert float(offset(slots(), STAY, (F(3), F(4)))) == pytest.approx(5.0)
    assert float(offset(slots(host_half=F(2)), STAY, (F(3), F(4)))) == pytest.approx(math.hypot(1, 4))
    both = slots(host_half=F(2), donor_half=F(3), donor_along=upright)
    assert offset(both, STAY, (F(2), F(3))) == 0
    assert float(offset(both, STAY, (F(5), F(7)))) == pytest.approx(5.0)
    # Turned by a right angle the two slots lie along each other and add up.
    assert float(offset(both, (F(0), F(1)), (F(6), F(0)))) == pytest.approx(1.0)


@given(st.integers(0, 10**6))
def test_offsets_equal_the_nearest_of_many_points(seed):

    draw = random.Random(seed)

    def unit():
        return cos_sin(F(draw.randrange(360)))

    held = Held(
        (F(draw.randrange(-9, 9)), F(draw.randrange(-9, 9))), (F(0), F(0)), F(0), F(draw.randrange(4)), unit(),
        F(draw.randrange(4)), unit(),
    )  # fmt: skip
    c, s = turn = unit()
    shift = (F(draw.randrange(-9, 9)), F(draw.randrange(-9, 9)))
    found = float(offset(held, turn, shift))
    x = float(c * held.donor[0] - s * held.donor[1] + shift[0])
    y = float(s * held.donor[0] + c * held.donor[1] + shift[1])
    along = held.donor_along
    w = (float(c * along[0] - s * along[1]), float(s * along[0] + c * along[1]))
    u = tuple(map(float, held.host_along))
    grid = [k / 40 for k in range(-40, 41)]
    near = min(
        math.hypot(x - float(held.host_half) * a * u[0] - float(held.donor_half) * b * w[0],
                   y - float(held.host_half) * a * u[1] - float(held.donor_half) * b * w[1])
        for a in grid for b in grid
    )  # fmt: skip
    assert found <= near + 1e-9 and found >= near - 0.12


def pair(p, q, allowed="0.5") -> Held:
    return Held((F(p[0]), F(p[1])), (F(q[0]), F(q[1])), F(allowed))


@pytest.mark.parametrize("seed", range(30))
def test_what_is_least_left_of_a_vector_is_that_of_many_tries(seed):
    draw = random.Random(seed)
    gap, u, w = (tuple(F(draw.randrange(-9, 10)) for _ in range(3)) for _ in range(3))
    w = (w, u, (F(0),) * 3)[seed % 3]
    grid = [k / 20 for k in range(-20, 21)]
    near = min(
        sum(float(g - a * i - b * k) ** 2 for g, i, k in zip(gap, u, w, strict=True)) for a in grid for b in grid
    )
    least = float(nearest_square(gap, [u, w]))
    assert least <= near + 1e-9 and near**0.5 - least**0.5 < 0.5


def test_two_pairs_too_far_apart_exclude_every_turn_and_two_that_fit_do_not():
    near, far = pair((0, 0), (0, 0)), pair((10, 0), (12, 0))
    assert two_exclude(near, far, F(-180), F(180))
    just = pair((10, 0), (11, 0))
    assert not two_exclude(near, just, F(-180), F(180))
    assert two_exclude(near, just, F(90), F(180))
    assert two_exclude(pair((0, 0), (0, 0), "-0.1"), pair((9, 0), (9, 0), "0.05"), F(-180), F(180))


def test_weights_that_balance_exclude_and_those_that_do_not_never_do():
    # Three in line, the middle one 1.2 mm up: half of it is left at the best, 0.1 more than allowed.
    held = [pair((0, 0), (0, 0)), pair((100, 0), (100, "1.2")), pair((200, 0), (200, 0))]
    held = [Held(h.donor, h.host, F("0.25")) for h in held]
    force = [(F(0), F("0.25")), (F(0), F("-0.5")), (F(0), F("0.25"))]
    # Forces across a line that is divided evenly do not see the turn at all.
    assert weights_exclude(held, force, F(-180), F(180))
    assert not weights_exclude(held, [(F(0), F("0.26")), *force[1:]], F("-0.5"), F("0.5"))
    loose = [Held(h.donor, h.host, F("0.65")) for h in held]
    assert not weights_exclude(loose, force, F("-0.5"), F("0.5"))


def test_pieces_have_to_cover_the_circle_in_order():
    held = {"A": pair((0, 0), (0, 0)), "B": pair((10, 0), (12, 0))}
    whole = [{"turn_deg": [-180, 180], "apart": ["A", "B"]}]
    assert excludes_every_turn(held, whole) is None
    halves = [{"turn_deg": [-180, 0.5], "apart": ["A", "B"]}, {"turn_deg": [0.5, 180], "apart": ["A", "B"]}]
    assert excludes_every_turn(held, halves) is None
    for broken in ([], halves[:1], halves[1:], halves[::-1], [halves[0], {**halves[1], "turn_deg": [0.6, 180]}]):
        assert "not covered" in excludes_every_turn(held, broken)
    assert "not ruled out" in excludes_every_turn(held, [{"turn_deg": [-180, 180], "apart": ["A", "A"]}])


def test_an_open_pairing_is_found():
    options = [(f, d) for f in "FGH" for d in "abc"]
    assert pairing_left_open(options, ["F", "G"], [], []) == (("F", "a"), ("G", "b"))
    assert pairing_left_open(options, ["F", "G"], ["c"], []) == (("F", "a"), ("G", "b"), ("H", "c"))
    none = [frozenset({("F", d), ("G", e)}) for d in "abc" for e in "abc"]
    assert pairing_left_open(options, ["F", "G"], [], none) is None
    assert pairing_left_open(options, ["F", "G"], [], none[:-2]) is not None
    assert pairing_left_open([("F", "a"), ("G", "a")], ["F", "G"], [], []) is None


@pytest.mark.parametrize("seed", range(30))
def test_an_open_pairing_is_found_where_trying_all_of_them_finds_one(seed: int) -> None:
    """Every set of options is looked at, whatever its order."""
    draw = random.Random(seed)
    options = draw.sample([(f, d) for f in "FGH" for d in "abc"], draw.randrange(3, 8))
    must = draw.sample("FGH", draw.randrange(3)), draw.sample("abc", draw.randrange(3))
    nogoods = [frozenset(draw.sample(options, draw.randrange(1, 3))) for _ in range(draw.randrange(4))]
    open_ = [
        made
        for count in range(4)
        for made in combinations(options, count)
        if len({f for f, _ in made}) == len({d for _, d in made}) == count
        and {*must[0]} <= {f for f, _ in made} and {*must[1]} <= {d for _, d in made}
        and not any(nogood <= {*made} for nogood in nogoods)
    ]  # fmt: skip
    found = pairing_left_open(options, *must, nogoods)
    assert (None if found is None else {*found}) in ([set(made) for made in open_] or [None])


def test_a_dozen_fixings_and_one_hole_too_few_are_counted_not_tried() -> None:
    """Every way to try them would be 12 factorial; and what does go is still found."""
    fixings, features = [f"F{n}" for n in range(12)], [f"a{n}" for n in range(12)]
    every = [(fixing, feature) for fixing in fixings for feature in features]
    too_few = [pair for pair in every if pair[1] != "a11"]
    assert pairing_left_open(too_few, fixings, [], []) is None
    assert pairing_left_open(too_few, fixings[1:], [], []) is not None
    assert pairing_left_open(every, fixings, features, []) is not None
    assert pairing_left_open(too_few, [], features[:11], []) is not None
    assert pairing_left_open([pair for pair in every if pair[0] != "F11"], [], features, []) is None
