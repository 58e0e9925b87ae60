"""Holes in one line, and a hole on the line of two others, need distances along it and nothing else."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations

import pytest
from tests.builders import build, studs

from partkin.model.build import Build, Feature, Reading
from partkin.pipeline import check


def measured(points: list[tuple[float, float]], lengths_mm: dict[tuple[int, int], float], *more: Reading) -> Build:
    """A donor of 8 mm holes known by distances alone, read with a steel rule, on M6 studs that stand so."""
    holes = [Feature("donor", f"a{n}", "hole", 8.0, goes_on=f"F{n}") for n in range(1, len(points) + 1)]
    read = tuple(
        Reading("donor", f"r{n}", "centres", mm, "mm", f"a{i + 1}", f"a{j + 1}", instrument="steel rule")
        for n, ((i, j), mm) in enumerate(lengths_mm.items())
    )
    placed = [replace(stud, plus_minus_mm=0.3) for stud in studs(points)]
    return replace(build(placed, holes), readings=(*read, *more))


@pytest.mark.parametrize("off_mm", [0.0, 0.2])
@pytest.mark.parametrize("xs", [(0.0, 120.0, 300.0), (0.0, 120.0, 300.0, 450.0)])
def test_holes_in_a_row_by_two_distances_each_and_no_look(xs: tuple[float, ...], off_mm: float) -> None:
    """Each from the first and from the one before; out by a little either way, as a rule is."""
    rows = [(0, n) for n in range(1, len(xs))] + [(n, n + 1) for n in range(1, len(xs) - 1)]
    lengths_mm = {(i, j): xs[j] - xs[i] + off_mm * (-1) ** n for n, (i, j) in enumerate(rows)}
    verdict = check(measured([(x, 0.0) for x in xs], lengths_mm), "donor")
    assert verdict.verdict == "bolts on"
    assert not any(one.quantity in ("left of", "seen_from") for one in verdict.unknown)


@pytest.mark.parametrize("off_mm", [-0.3, 0.0])
def test_a_hole_on_the_line_of_two_others_by_its_distances_to_both(off_mm: float) -> None:
    points = [(0.0, 0.0), (400.0, 0.0), (430.0, 180.0), (150.0, 0.0)]
    lengths_mm = {(i, j): math.dist(points[i], points[j]) for i, j in combinations(range(3), 2)}
    lengths_mm |= {(0, 3): 150.0 + off_mm, (1, 3): 250.0}
    seen = Reading("donor", "s1", "left of", None, None, "a3", line_from="a1", line_to="a2")
    assert check(measured(points, lengths_mm, seen), "donor").verdict == "bolts on"
