"""Marking-out dimensions: a point by its distances from two edges, or two holes, that are on the part."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partkin.fit.segments import segments_of, to_segments_mm
from partkin.model.adapting import Mark
from partkin.model.build import Outline
from partkin.model.fitting import Spot

# Common practice, no source, all four: a shorter edge is no good to lay a square on, a square carries no farther than a
# few times the edge that it lies on, arcs that cross flatter than this mark nothing well, and beyond this a rule laid
# by hand drifts more than the cut may.
SHORTEST_EDGE_MM = 20.0
CARRIES = 5.0
LEAST_CROSSING_DEG = 30.0
HANDY_MM = 500.0
# Holes that tell an edge from the others.
MOST_NAMED = 3


@dataclass(frozen=True)
class _Datum:
    """Something to measure from: which way it pulls (the unit normal of its line of equal distance)."""

    name: str
    distance_mm: float
    normal: tuple[float, float]
    is_edge: bool

    @property
    def rank(self) -> tuple[bool, bool, float, str]:
        """What is at hand first, edges before holes, near before far."""
        return (self.distance_mm > HANDY_MM, not self.is_edge, self.distance_mm, self.name)


def marks_for(point_mm: Sequence[float], outlines: Sequence[Outline], spots: Sequence[Spot]) -> tuple[Mark, ...]:
    """Two distances that find a point on the part.

    Parameters
    ----------
    point_mm
        In the part's frame; the first two numbers count.
    outlines
        Of the part. Straight edges of at least 20 mm on which the point's perpendicular falls are used, no farther
        away than 5 times their length.
    spots
        Holes that are on the part already.

    Returns
    -------
    tuple of Mark
        Two whose lines cross at 30 degrees or more, edges before holes and near before far, what is more than
        500 mm away last; empty where there are no two such.
    """
    point = np.array(point_mm[:2], dtype=float)
    data = sorted(_edges(point, outlines, spots) + _holes(point, spots), key=lambda datum: datum.rank)
    for first, one in enumerate(data):
        for other in data[first + 1 :]:
            cross = abs(one.normal[0] * other.normal[1] - one.normal[1] * other.normal[0])
            if cross >= math.sin(math.radians(LEAST_CROSSING_DEG)) - 1e-9:
                return (_mark(one), _mark(other))
    return ()


def _mark(datum: _Datum) -> Mark:
    how = "square to" if datum.is_edge else "from the centre of"
    return Mark(datum.name, round(datum.distance_mm, 1), f"{datum.distance_mm:.1f} mm {how} {datum.name}")


def _edges(point: np.ndarray, outlines: Sequence[Outline], spots: Sequence[Spot]) -> list[_Datum]:
    lines = [segments_of(line.corners_mm) for line in outlines if line.kind == "edge" and len(line.corners_mm) > 1]
    pieces = [piece for line in lines for piece in zip(*line, strict=True)]
    at = np.array([spot.at_mm[:2] for spot in spots], dtype=float).reshape(-1, 2)
    away = np.array([to_segments_mm(at, *piece) for piece in pieces])
    found = []
    for (start, end), own in zip(pieces, away, strict=True):
        along = end - start
        length_mm = float(np.linalg.norm(along))
        if length_mm < SHORTEST_EDGE_MM:
            continue
        share = float((point - start) @ along) / length_mm**2
        gap = point - (start + share * along)
        away_mm = float(np.linalg.norm(gap))
        if 0.0 <= share <= 1.0 and 0.0 < away_mm <= CARRIES * length_mm:
            # Holes that no other edge is nearer to, in order along the edge.
            near = np.flatnonzero(own <= away.min(axis=0) + 1e-9).tolist()
            order = sorted((float((at[n] - start) @ along), spots[n].id) for n in near)
            name = _edge_name(length_mm, -gap, [hole for _, hole in order])
            found.append(_Datum(name, away_mm, tuple(gap / away_mm), True))
    return found


def _edge_name(length_mm: float, towards: np.ndarray, holes: Sequence[str]) -> str:
    """Name an edge by the side it lies on, seen as x to the right and y up, its length, and the holes along it."""
    x, y = towards
    side = ("right" if x > 0 else "left") if abs(x) >= abs(y) else ("upper" if y > 0 else "lower")
    if len(holes) > MOST_NAMED:
        holes = [holes[0], holes[len(holes) // 2], holes[-1]]
    by = ""
    if holes:
        *rest, last = holes
        by = f", past {', '.join(rest)}{' and ' * bool(rest)}{last}"
    return f"the {side} edge ({length_mm:.0f} mm long{by})"


def _holes(point: np.ndarray, spots: Sequence[Spot]) -> list[_Datum]:
    found = []
    for spot in spots:
        gap = point - np.array(spot.at_mm[:2], dtype=float)
        away_mm = float(np.linalg.norm(gap))
        if away_mm > 1.0 and spot.half_travel_mm == 0.0:
            found.append(_Datum(spot.id, away_mm, tuple(gap / away_mm), False))
    return found
