"""Studs that the donor need not be held by and that pass through a cut-out of it."""

from __future__ import annotations

import math
from dataclasses import replace

from partkin.fit.solve import solve
from partkin.fit.task import Prepared
from partkin.model.fitting import FitAnswer
from partkin.model.known import Known

Point = tuple[float, float]


def clear_of_studs(known: Known, prepared: Prepared) -> tuple[Prepared, FitAnswer] | None:
    """Lay the donor with the studs that it need not be held by standing in its openings; None: that does not go.

    A stud of the host blocks a donor that has no opening there. An opening is a hole or slot of the donor, or a
    zone of kind `opening` that the stud clears by its own radius.
    """
    openings, spare = _openings(known), spare_studs(known, prepared)
    if not spare or prepared.task.dims != 2:
        return None
    fixings = tuple(replace(s, must=s.must and s.id not in spare) for s in prepared.task.fixings)
    relaxed = replace(prepared, task=replace(prepared.task, fixings=fixings))
    answer = solve(relaxed.task)
    if not answer.fits or not answer.placement:
        return None
    (a, b, _, x), (c, d, _, y) = answer.placement.matrix[:2]
    laid = [[(a * px + b * py + x, c * px + d * py + y) for px, py in corners] for corners in openings]
    for spot in fixings:
        if spot.id in spare and spot.id in answer.unpaired_fixings:
            radius_mm = (prepared.fixings[spot.id].across.mm or math.inf) / 2
            if not any(clearance_mm(spot.at_mm[:2], corners) >= radius_mm for corners in laid):
                return None
    return relaxed, answer


def spare_studs(known: Known, prepared: Prepared) -> frozenset[str]:
    """Studs that the donor need not be held by; none where the donor has no opening that one could stand in."""
    if not _openings(known):
        return frozenset()
    return frozenset(
        name for name, fixing in prepared.fixings.items()
        if fixing.feature.kind == "stud" and not fixing.supposed and (fixing.feature.need or "must") != "must"
    )  # fmt: skip


def _openings(known: Known) -> list[list[Point]]:
    return [list(zone.corners_mm) for zone in known.donor.zones if zone.kind == "opening"]


def clearance_mm(point: tuple[float, ...], corners: list[Point]) -> float:
    """How far inside a polygon a point is; negative: outside.

    Examples
    --------
    >>> square = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]
    >>> clearance_mm((3.0, 5.0), square), clearance_mm((-2.0, 5.0), square)
    (3.0, -2.0)
    """
    x, y = point
    inside, nearest_mm = False, math.inf
    for (ax, ay), (bx, by) in zip(corners, [*corners[1:], corners[0]], strict=True):
        if (ay > y) != (by > y) and x < ax + (y - ay) * (bx - ax) / (by - ay):
            inside = not inside
        length = math.hypot(bx - ax, by - ay)
        along = 0.0 if length == 0 else ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / length**2
        share = min(max(along, 0.0), 1.0)
        nearest_mm = min(nearest_mm, math.hypot(x - ax - share * (bx - ax), y - ay - share * (by - ay)))
    return nearest_mm if inside else -nearest_mm
