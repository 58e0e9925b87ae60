"""Marking-out dimensions: a point by its distances from two edges, or two holes, that are on the part."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partkin.model.adapting import Mark
from partkin.model.build import Outline
from partkin.model.fitting import Spot

# A shorter edge is no good to lay a square on, and arcs that cross flatter than this mark nothing well.
SHORTEST_EDGE_MM = 20.0
LEAST_CROSSING_DEG = 30.0


@dataclass(frozen=True)
class _Datum:
    """Something to measure from: which way it pulls (the unit normal of its line of equal distance)."""

    name: str
    distance_mm: float
    normal: tuple[float, float]
    is_edge: bool


def marks_for(point_mm: Sequence[float], outlines: Sequence[Outline], spots: Sequence[Spot]) -> tuple[Mark, ...]:
    """Two distances that find a point on the part.

    Parameters
    ----------
    point_mm
        In the part's frame; the first two numbers count.
    outlines
        Of the part. Straight edges of at least 20 mm on which the point's perpendicular falls are used.
    spots
        Holes that are on the part already.

    Returns
    -------
    tuple of Mark
        Two whose lines cross at 30 degrees or more, edges before holes and near before far; empty where
        there are no two such.
    """
    point = np.array(point_mm[:2], dtype=float)
    data = _edges(point, outlines) + _holes(point, spots)
    for first, one in enumerate(data):
        for other in data[first + 1 :]:
            cross = abs(one.normal[0] * other.normal[1] - one.normal[1] * other.normal[0])
            if cross >= math.sin(math.radians(LEAST_CROSSING_DEG)) - 1e-9:
                return (_mark(one), _mark(other))
    return ()


def _mark(datum: _Datum) -> Mark:
    how = "square to" if datum.is_edge else "from the centre of"
    return Mark(datum.name, round(datum.distance_mm, 1), f"{datum.distance_mm:.1f} mm {how} {datum.name}")


def _edges(point: np.ndarray, outlines: Sequence[Outline]) -> list[_Datum]:
    found = []
    for line in outlines:
        if line.kind != "edge" or len(line.corners_mm) < 2:
            continue
        corners = np.array(line.corners_mm, dtype=float)
        ends = np.roll(corners, -1, axis=0) if len(corners) > 2 else corners[::-1]
        for start, end in zip(corners, ends, strict=True):
            along = end - start
            length_mm = float(np.linalg.norm(along))
            if length_mm < SHORTEST_EDGE_MM:
                continue
            share = float((point - start) @ along) / length_mm**2
            gap = point - (start + share * along)
            away_mm = float(np.linalg.norm(gap))
            if 0.0 <= share <= 1.0 and away_mm > 0.0:
                found.append(_Datum(_edge_name(start, end, -gap), away_mm, tuple(gap / away_mm), True))
    return sorted(found, key=lambda datum: (datum.distance_mm, datum.name))


def _edge_name(start: np.ndarray, end: np.ndarray, towards: np.ndarray) -> str:
    """Name an edge by the side it lies on, seen as x to the right and y up, and by its ends."""
    x, y = towards
    side = ("right" if x > 0 else "left") if abs(x) >= abs(y) else ("upper" if y > 0 else "lower")
    ends = sorted([(float(start[0]), float(start[1])), (float(end[0]), float(end[1]))])
    (ax, ay), (bx, by) = ends
    return f"the {side} edge (x {ax:g}, y {ay:g} to x {bx:g}, y {by:g})"


def _holes(point: np.ndarray, spots: Sequence[Spot]) -> list[_Datum]:
    found = []
    for spot in spots:
        gap = point - np.array(spot.at_mm[:2], dtype=float)
        away_mm = float(np.linalg.norm(gap))
        if away_mm > 1.0 and spot.half_travel_mm == 0.0:
            found.append(_Datum(spot.id, away_mm, tuple(gap / away_mm), False))
    return sorted(found, key=lambda datum: (datum.distance_mm, datum.name))
