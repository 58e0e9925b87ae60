"""Studs of the host that need not hold the donor and stand in a cut-out of it, in exact numbers: for the verifier."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import Any

from partkin.model.build import Build
from partkin.verify.as_written import Point
from partkin.verify.vectors import Vector, cross, dot, exact, minus, mirror, plus, scaled

ROUNDED_MM = Fraction(1, 10**5)
# Whether the donor is mirrored, the rows of its rotation, and its shift.
Laid = tuple[bool, Sequence[Vector], Vector]


def stands_in_cut_out(name: str, stud: Point, verdict: Mapping[str, Any], build: Build, laid: Laid) -> bool:
    """Whether a fixing is a stud that need not hold, and clears a cut-out (a zone `opening`) by its own radius."""
    rows = [row for row in build.features_of(verdict["host"]) if row.feature == name]
    may_be_left = any(row.kind == "stud" and row.need not in (None, "must") for row in rows)
    if not may_be_left or stud.at is None or stud.across is None or len(stud.at) != 2:
        return False
    mirrored, rotation, shift = laid
    for zone in build.zones:
        if zone.part == verdict["donor"] and zone.kind == "opening":
            corners = [mirror((exact(x), exact(y)), mirrored) for x, y in zone.corners_mm]
            placed = [plus(tuple(dot(row, corner) for row in rotation), shift) for corner in corners]
            if _clears(stud.at, placed, stud.across / 2 - ROUNDED_MM):
                return True
    return False


def _clears(point: Vector, corners: Sequence[Vector], radius: Fraction) -> bool:
    """Whether a point lies inside a polygon, and no nearer to any side than a radius."""
    inside = False
    for start, end in pairwise([*corners, corners[0]]):
        side, off = minus(end, start), minus(point, start)
        if (start[1] > point[1]) != (end[1] > point[1]):
            inside ^= (cross(side, off) > 0) == (end[1] > start[1])
        length = dot(side, side)
        share = min(max(dot(off, side) / length, Fraction(0)), Fraction(1)) if length else Fraction(0)
        away = minus(off, scaled(side, share))
        if dot(away, away) < radius * radius:
            return False
    return inside
