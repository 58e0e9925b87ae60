"""What must hold of verdicts whatever the numbers."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

import partkin
from builders import build, holes, moved, studs

whole = st.integers(-400, 400)
patterns = st.lists(st.tuples(whole, whole), min_size=2, max_size=6, unique=True)
offs = st.lists(st.tuples(st.integers(-12, 12), st.integers(-12, 12)), min_size=6, max_size=6)
turns = st.integers(-180, 180)


def off(points: list, by: list) -> list:
    """The points, each moved by tenths of a millimetre."""
    return [(x + dx / 10, y + dy / 10) for (x, y), (dx, dy) in zip(points, by, strict=False)]


def told_mm(verdict: object) -> float:
    """Its margin; below -9.9 mm any figure will do (DESIGN.md 4), and one that nothing is reckoned from is 0."""
    return max(-9.9, verdict.margin_mm or 0.0)


def clear_of_zero(verdict: object) -> bool:
    return verdict.margin_mm is None or abs(verdict.margin_mm) > 1e-4


@given(patterns, offs, turns, whole, whole)
def test_turning_the_donor_changes_nothing(points: list, by: list, turn_deg: int, x: int, y: int) -> None:
    donor = off(points, by)
    first = partkin.check(build(studs(points), holes(donor)), "donor")
    second = partkin.check(build(studs(points), holes(moved(donor, turn_deg, x, y))), "donor")
    if clear_of_zero(first):
        assert first.verdict == second.verdict
    assert told_mm(first) == pytest.approx(told_mm(second), abs=0.002)


@given(patterns, offs)
def test_renaming_changes_nothing(points: list, by: list) -> None:
    donor = holes(off(points, by))
    renamed = [replace(f, part="other", feature=f"q{9 - n}") for n, f in enumerate(donor)]
    first = build(studs(points), donor)
    second = replace(
        first,
        parts=tuple(replace(p, part="other") if p.part == "donor" else p for p in first.parts),
        features=(*(f for f in first.features if f.part != "donor"), *renamed),
    )
    one, other = partkin.check(first, "donor"), partkin.check(second, "other")
    assert one.verdict == other.verdict
    assert told_mm(one) == pytest.approx(told_mm(other), abs=1e-6)


@given(patterns, offs, whole, whole)
def test_one_more_must_never_makes_it_fit(points: list, by: list, x: int, y: int) -> None:
    donor = off(points, by)
    first = partkin.check(build(studs(points), holes(donor)), "donor")
    second = partkin.check(build(studs([*points, (x + 0.5, y)]), holes([*donor, (x + 0.5, y)])), "donor")
    if first.verdict == "does not fit" and clear_of_zero(first):
        # One hole more may serve another stud, so only the old studs under the old holes are compared.
        again = partkin.check(build(studs([*points, (x + 0.5, y)]), holes(donor)), "donor")
        assert again.verdict == "does not fit"
    if second.verdict == "bolts on" and second.margin_mm > 1e-4:
        fewer = partkin.check(build(studs(points), holes([*donor, (x + 0.5, y)], need="spare")), "donor")
        assert fewer.verdict == "bolts on"


@given(patterns, offs, st.integers(0, 5), st.integers(1, 40))
def test_a_larger_hole_never_worsens_the_margin(points: list, by: list, which: int, tenths: int) -> None:
    donor = holes(off(points, by))
    wider = list(donor)
    at = which % len(donor)
    wider[at] = replace(donor[at], across_mm=donor[at].across_mm + tenths / 10)
    first = partkin.check(build(studs(points), donor), "donor")
    second = partkin.check(build(studs(points), wider), "donor")
    assert told_mm(second) >= told_mm(first) - 0.002
