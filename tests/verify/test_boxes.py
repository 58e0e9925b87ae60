"""What rules out boxes of rotations, case by case by hand; nothing that does go together is ever ruled out."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction as F

import pytest

from partkin.verify.boxes import box_of, cover_everything, excludes_every_rotation, forces_exclude, two_exclude
from partkin.verify.held import LEAN_COS, Held, stands

HALF = F("0.5")
AS_IT_LIES = (0, (F(0),) * 3, (F(0),) * 3)  # w = 1, x = y = z = 0
WHOLE = [{"largest": n, "lo": [-1.0] * 3, "hi": [1.0] * 3} for n in range(4)]


def vector(x: object, y: object = 0, z: object = 0) -> tuple[F, ...]:
    return F(x), F(y), F(z)  # type: ignore[arg-type]


def held(donor: tuple[F, ...], host: tuple[F, ...], allowed: F = HALF, **more: object) -> Held:
    return Held(donor, host, allowed, **{"host_along": vector(1), "donor_along": vector(1), **more})  # type: ignore[arg-type]


NEAR = held(vector(0), vector(0))


@pytest.mark.parametrize(
    ("donor_mm", "host_mm", "grip", "excluded"),
    [
        (10, 11, 0, False), (10, "11.01", 0, True), (10, 9, 0, False), (10, "8.99", 0, True),
        ("12.6", 10, 3, False), ("12.7", 10, 3, True), (9, 10, 3, False), ("8.99", 10, 3, True),
    ],
)  # fmt: skip
def test_two_distances(donor_mm: object, host_mm: object, grip: int, excluded: bool) -> None:
    """Plays of 0.5 mm; off along their axes by 3 each, 10 mm become 11.66, and never less."""
    one, two = replace(NEAR, grip=F(grip)), held(vector(donor_mm), vector(host_mm), grip=F(grip))
    assert two_exclude(one, two, None) is excluded
    assert not two_exclude(one, one, None)


def test_what_one_pair_lacks_another_may_not_lend_it() -> None:
    short = held(vector(0), vector(0), F("-0.1"))
    assert two_exclude(short, short, None) and two_exclude(*[replace(NEAR, grip=F(-1))] * 2, None)
    far = held(vector(9), vector(9), F("0.05"))
    assert two_exclude(short, far, None) and not two_exclude(short, replace(far, allowed=HALF), None)


def test_two_pairs_in_a_box_of_rotations() -> None:
    """10 mm along x on 10 mm along y: a quarter turn (w = z = 1) brings them together, as it lies they are apart."""
    across = held(vector(10), vector(0, 10))
    assert two_exclude(NEAR, across, AS_IT_LIES)
    quarter = (0, vector(0, 0, 1), vector(0, 0, 1))
    assert not two_exclude(NEAR, across, quarter)
    assert not two_exclude(NEAR, across, (0, vector(0, 0, 0), vector(0, 0, 1)))


def in_a_row(allowed: str = "0.25", off: tuple[F, ...] = vector(0, "1.2"), **middle: object) -> dict[str, Held]:
    """Three in line, the middle one 1.2 mm off: with half of that at each end and in the middle it would go."""
    there = vector(100)
    host = tuple(a + b for a, b in zip(there, off, strict=True))
    ends = {name: held(vector(x), vector(x), F(allowed)) for name, x in (("A", 0), ("C", 200))}
    return {**ends, "B": held(there, host, F(allowed), **middle)}


FORCE = {"A": vector(0, "0.25"), "B": vector(0, "-0.5"), "C": vector(0, "0.25")}


@pytest.mark.parametrize(
    ("row", "excluded"),
    [
        (in_a_row(), True), (in_a_row("0.59"), True), (in_a_row("0.61"), False),
        (in_a_row(host_half=F("0.69"), host_along=vector(0, 1)), True),
        (in_a_row(host_half=F("0.71"), host_along=vector(0, 1)), False),
        (in_a_row(host_half=F(9), host_along=vector(1)), True),
        (in_a_row(donor_half=F("0.69"), donor_along=vector(0, 1)), True),
        (in_a_row(donor_half=F("0.71"), donor_along=vector(0, 1)), False),
        (in_a_row(donor_half=F(9), donor_along=vector(1)), True),
    ],
)  # fmt: skip
def test_forces_across(row: Mapping[str, Held], excluded: bool) -> None:
    """0.25, 0.5 and 0.25 of force: 0.6 mm are missing, a play counts in full and a slot of the middle by half."""
    assert forces_exclude(row, FORCE, {}, {}, AS_IT_LIES) is excluded
    unbalanced = {**FORCE, "A": vector(0, "0.26")}
    assert not forces_exclude(row, unbalanced, {}, {}, AS_IT_LIES)


@pytest.mark.parametrize(
    ("lo", "hi", "excluded"), [("-0.01", "0.01", True), ("-0.1", "0.025", False), ("-0.025", "0.1", False)]
)
def test_a_slot_that_may_pull_either_way_counts_as_much_as_it_can(lo: str, hi: str, excluded: bool) -> None:
    """Of the donor, 9 mm either way along the row: turned by 11 degrees about z it gives half of 9 sin 11 degrees."""
    row = in_a_row(donor_half=F(9))
    assert forces_exclude(row, FORCE, {}, {}, (0, vector(0, 0, lo), vector(0, 0, hi))) is excluded


@pytest.mark.parametrize(("grip", "excluded"), [("1.19", True), ("1.21", False)])
def test_forces_along_the_axis(grip: str, excluded: bool) -> None:
    """Lifted by 1.2 mm, and by half of the force; across there is all the play that there may be."""
    row = in_a_row("50", off=vector(0, 0, "1.2"), grip=F(grip))
    force = {name: (F(0), F(0), y) for name, (_, y, _) in FORCE.items()}
    assert forces_exclude(row, force, {}, {}, AS_IT_LIES) is excluded


@pytest.mark.parametrize(
    ("axis", "excluded"), [(vector(1), True), (vector(0, 0, 1), False), (vector("0.6", 0, "0.8"), True)]
)
def test_an_axis_that_leans_too_far(axis: tuple[F, ...], excluded: bool) -> None:
    """Of 30 degrees at most (its cosine 0.866) 37 are too many."""
    row = {"A": replace(NEAR, donor_axis=axis)}
    assert forces_exclude(row, {}, {}, {"A": F(1)}, AS_IT_LIES) is excluded is (axis[2] < LEAN_COS)
    assert not forces_exclude(row, {}, {}, {"A": F(-1)}, AS_IT_LIES)


@pytest.mark.parametrize(("allowed", "excluded"), [("2.9", True), ("3.1", False)])
def test_a_deep_hole_that_leans(allowed: str, excluded: bool) -> None:
    """10 mm deep and leaning by 3 in 5 its ends stand 3 mm off, one this way and one the other."""
    row = {"A": replace(NEAR, allowed=F(allowed), depth=F(10), donor_axis=vector("0.6", 0, "0.8"))}
    assert forces_exclude(row, {}, {"A": vector(1)}, {}, AS_IT_LIES) is excluded


def test_a_proof_has_to_be_of_every_rotation() -> None:
    pairs = {"A": NEAR, "B": held(vector(10), vector(12))}
    apart = {"apart": ["A", "B"]}
    assert excludes_every_rotation(pairs, [apart]) is None
    boxed = [{**apart, "box": box} for box in WHOLE]
    assert excludes_every_rotation(pairs, boxed) is None
    assert excludes_every_rotation(pairs, boxed[1:]) == "not every rotation is covered"
    assert "piece 1" in (excludes_every_rotation(pairs, [{"weights": [["A", 1, 0, 0]]}]) or ""), "of no box"
    narrow = {"largest": 0, "lo": [0.0] * 3, "hi": [0.0] * 3}
    weights = [[name, *(float(x) for x in force)] for name, force in FORCE.items()]
    piece = {"box": narrow, "weights": weights}
    assert excludes_every_rotation(in_a_row(), [piece]) == "not every rotation is covered"
    twice = {**piece, "weights": [*weights, weights[0], ["A", 0.0, -0.25, 0.0]]}
    assert "piece 1" in (excludes_every_rotation(in_a_row(), [twice]) or "")
    assert excludes_every_rotation(pairs, []) == "not every rotation is covered"


def test_boxes_cover_everything_or_do_not() -> None:
    boxes = [box_of(box) for box in WHOLE]
    assert cover_everything(boxes)
    halves = [(0, vector(-1, -1, -1), vector(1, F("0.3"), 1)), (0, vector(-1, F("0.3"), -1), vector(1, 1, 1))]
    assert cover_everything([*boxes[1:], *halves])
    for gone in (boxes[1:], boxes[:-1], [*boxes[1:], halves[0]], [*boxes[1:], halves[1]]):
        assert not cover_everything(gone)
    short = (0, vector(-1, F("0.31"), -1), vector(1, 1, 1))
    assert not cover_everything([*boxes[1:], halves[0], short])
    for wrong in ({**WHOLE[0], "largest": 4}, {**WHOLE[0], "lo": [-1.0] * 2}, {**WHOLE[0], "hi": [1.0] * 4}):
        with pytest.raises(ValueError, match="a box of rotations has"):
            box_of(wrong)


@pytest.mark.parametrize("seed", range(20))
def test_pairs_that_stand_at_a_rotation_are_never_ruled_out_there(seed: int) -> None:
    """Random pairs, forces, couples and axes; each pair is allowed just what it needs as it lies."""
    draw = random.Random(seed)

    def any_vector(scale: int = 9) -> tuple[F, ...]:
        return tuple(F(draw.randrange(-scale, scale + 1)) for _ in range(3))

    pairs = {}
    for name in "ABC":
        raw = held(any_vector(), any_vector(), F(0), grip=F(99), depth=F(draw.choice((0, 6))),
                   host_half=F(draw.randrange(3)), donor_half=F(draw.randrange(3)),
                   donor_axis=draw.choice((vector(0, 0, 1), vector(0, "0.28", "0.96"))))  # fmt: skip
        off, _ = stands(raw, (vector(1), vector(0, 1), vector(0, 0, 1)), vector(0))["across"]
        pairs[name] = replace(raw, allowed=off + F("0.001"))
    force = {"A": any_vector(), "B": any_vector()}
    force["C"] = tuple(-a - b for a, b in zip(*force.values(), strict=True))
    couple = {name: any_vector(2) for name in pairs}
    lean = {name: F(draw.randrange(3)) for name in pairs}
    for wide in ("0", "0.05", "0.3"):
        box = (0, (-F(wide),) * 3, (F(wide),) * 3)
        assert not forces_exclude(pairs, force, couple, lean, box)
