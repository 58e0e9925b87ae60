"""Pairs that are told to conflict before any are placed, and the few that a placement shows to press."""

from __future__ import annotations

import cmath

import pytest
from random_tasks import spots, task

from partkin.fit.layout import Layout
from partkin.fit.settle import KnownPairings, SettledExcess


def known(host: list[complex], donor: list[complex], allowed_mm: float = 0.5) -> KnownPairings:
    sides = (spots([(z.real, z.imag) for z in at], letter) for at, letter in ((host, "F"), (donor, "d")))
    return KnownPairings(Layout.of(task(*sides, allowed_mm)))


RECTANGLE = [0j, 300 + 0j, 310 + 200j, 180j]


def pairs_of(count: int) -> list[tuple[int, int]]:
    return [(k, k) for k in range(count)]


def test_before_anything_was_placed_nothing_is_told_apart() -> None:
    assert known(RECTANGLE, [2 * z for z in RECTANGLE])._apart(pairs_of(4), 0.0) is None


def test_two_too_far_apart_are_told_and_kept() -> None:
    """The third is 34 mm out; of the two that no turn suits beside each other the first are named."""
    ours = known(RECTANGLE, [0j, 300 + 0j, 310 + 234j, 180j])
    ours.place([(0, 0)])
    assert ours._apart(pairs_of(4), 0.0) == ((0, 0), (2, 2))
    assert ours.conflicts == {frozenset({(0, 0), (2, 2)}): 0.0}
    # What was told for no inflation is known for it, and looked at anew for more.
    assert ours.settle(pairs_of(4), -0.1) == ((0, 0), (2, 2))
    assert isinstance(ours.settle(pairs_of(4), 20.0), SettledExcess)
    assert ours._apart(pairs_of(1), 0.0) is None


@pytest.mark.parametrize("degrees", [1.0, -2.0])
def test_two_that_ask_for_another_turn_than_two_others(degrees: float) -> None:
    """Far apart from each other each two have the right distance; one of them is turned."""
    far = [0j, 300 + 0j, 5000 + 0j, 5300 + 0j]
    turned = [
        *far[:2],
        5150 + 150 * cmath.rect(-1.0, cmath.pi * degrees / 180),
        5150 + cmath.rect(150, cmath.pi * degrees / 180),
    ]
    ours = known(far, turned)
    ours.place([(0, 0)])
    few = ours._apart(pairs_of(4), 0.0)
    assert few is not None and len(few) in (3, 4) and {(2, 2), (3, 3)} <= {*few}
    assert ours.place(few).excess_mm > 0.0 and known(far, far)._apart(pairs_of(4), 0.0) is None
    still = known(far, far)
    still.place([(0, 0)])
    assert still._apart(pairs_of(4), 0.0) is None


def test_what_presses_at_the_best_placement_is_named_where_it_exceeds_the_limit_by_itself() -> None:
    """Three spread by 0.55 conflict although no two do; a fourth in their middle has no part in it."""
    around = [100 * cmath.exp(1j * cmath.pi * degrees / 180) for degrees in (90, 210, 330)]
    ours = known([*around, 3 + 2j], [*(z * 1.0055 for z in around), 3 + 2j])
    assert ours.judge(pairs_of(4), 0.0) == tuple(pairs_of(3))
    assert not ours.holds(pairs_of(3), 0.049) and ours.holds(pairs_of(3), 0.051)
    settled = ours.place(pairs_of(4))
    assert settled.excess_mm == pytest.approx(0.05, abs=1e-5) and settled.pressing == tuple(pairs_of(3))
    assert isinstance(ours.settle(pairs_of(4), 0.06), SettledExcess)


def test_pairs_that_say_nothing_are_left_out_but_for_the_one_that_says_most() -> None:
    sides = spots([(0, 0), (90, 0)], "F"), spots([(0, 0), (95, 0)], "d")
    layout = Layout.of(task(*sides, 2.0e4))
    layout.across_mm[1, 1] = 1.5e4
    assert KnownPairings(layout)._telling([(0, 0), (1, 1)]) == {(1, 1)}
    layout.across_mm[0, 0] = 3.0
    assert KnownPairings(layout)._telling([(0, 0), (1, 1)]) == {(0, 0)}


def test_conflicts_that_are_kept_answer_for_all_that_holds_them_up_to_what_they_exceed() -> None:
    ours = known(RECTANGLE, RECTANGLE)
    ours.conflicts[frozenset({(0, 0), (1, 1)})] = 2.0
    assert ours.settle(pairs_of(3), 2.0) == ((0, 0), (1, 1)) == ours.judge(pairs_of(2), -1.0)
    assert isinstance(ours.settle(pairs_of(3), 2.1), SettledExcess)
    assert isinstance(ours.settle([(1, 1), (2, 2)], 0.0), SettledExcess)
    # What is exceeded is kept at the largest limit that it was asked for.
    far = known(RECTANGLE, [2 * z for z in RECTANGLE])
    for limit_mm, kept_mm in ((-3.0, -3.0), (-5.0, -3.0), (1.0, 1.0)):
        assert far._within(far.place(pairs_of(2)), limit_mm) == tuple(pairs_of(2))
        assert far.conflicts == {frozenset(pairs_of(2)): kept_mm}


def test_what_was_placed_is_not_judged_again_and_movement_is_told_of_it_alone() -> None:
    ours = known(RECTANGLE, RECTANGLE)
    assert ours.movement(pairs_of(1)) == ()
    assert ours.place(pairs_of(1)).placed.loose and ours.movement(pairs_of(1)) == ("can turn freely about F00",)
    placed = ours.place(pairs_of(4))
    assert ours.judge(pairs_of(4), 0.0) is placed and not ours.judged and ours.movement(pairs_of(4)) == ()
