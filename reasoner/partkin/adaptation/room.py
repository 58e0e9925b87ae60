"""How much room a job has: the largest opening, the longest slot, the lines that a slot must not pass."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partkin.adaptation.limits import PartLimits, Refusal, refuse_cut
from partkin.fit.segments import centre_line, direction, nearest_on
from partkin.model.fitting import Spot
from partkin.tables.work import edge_rule, washer_for

MOST_RIMS = 6


@dataclass(frozen=True)
class Rim:
    """A line that the far end of a slot must not pass: at most `room_mm` along (x, y) from the hole's centre."""

    x: float
    y: float
    room_mm: float


def largest_opening_mm(bolt_mm: float) -> float:
    """Largest sensible hole (or slot width) under a large washer, rounded down to a drill.

    Examples
    --------
    >>> largest_opening_mm(6.0), largest_opening_mm(8.0)
    (9.0, 12.0)
    """
    most_mm, washer = edge_rule("largest opening").value * bolt_mm, washer_for(bolt_mm)
    if washer is not None:
        most_mm = min(most_mm, edge_rule("washer cover").value * washer.large_outer_mm)
    step_mm = edge_rule("drill step").value
    return math.floor(most_mm / step_mm + 1e-9) * step_mm


def opening_room(limits: PartLimits, spot: Spot, across_mm: float, bolt_mm: float) -> tuple[float, Refusal | None]:
    """How far a hole (or the width of a slot) may be opened out.

    Returns
    -------
    to_mm, refusal
        The largest drill not above the sensible one; what keeps it from that one. `to_mm` equals `across_mm`
        where nothing may be taken off.
    """
    line, slot = centre_line(spot), spot.half_travel_mm > 0.0
    to_mm = largest_opening_mm(bolt_mm)
    refusal: Refusal | None = None
    while to_mm > across_mm + 1e-9:
        blocked = refuse_cut(limits, line, to_mm, bolt_mm, slot, spot.id)
        if blocked is None:
            return to_mm, refusal
        refusal = blocked
        to_mm -= edge_rule("drill step").value
    return across_mm, refusal


def travel_room(
    limits: PartLimits, spot: Spot, width_mm: float, bolt_mm: float, most_mm: float, along_deg: float
) -> tuple[float, Refusal | None]:
    """How far a slot of that width may run from the spot's centre in one direction, in whole steps.

    Parameters
    ----------
    spot
    width_mm, bolt_mm
    most_mm
        Longest travel wanted.
    along_deg
        Direction in the part's frame.

    Returns
    -------
    travel_mm, refusal
    """
    along, centre = direction(along_deg), np.array(spot.at_mm[:2], dtype=float)
    steps = grid_travels_mm(width_mm, most_mm)
    low, high = 0, len(steps)
    refusal: Refusal | None = None
    # The slot of a longer travel holds the shorter one, so room only shrinks: halve.
    while low < high:
        middle = (low + high + 1) // 2
        line = np.array([centre, centre + steps[middle - 1] * along])
        blocked = refuse_cut(limits, line, width_mm, bolt_mm, True, spot.id)
        if blocked is None:
            low = middle
        else:
            high, refusal = middle - 1, blocked
    return (steps[low - 1] if low else 0.0), refusal


def grid_travels_mm(width_mm: float, most_mm: float) -> list[float]:
    """Travels that make a slot's overall length a whole step, shortest first.

    Examples
    --------
    >>> grid_travels_mm(7.5, 3.0)
    [0.5, 1.5, 2.5]
    """
    step_mm = edge_rule("length step").value
    first = math.floor(width_mm / step_mm + 1e-9) + 1
    last = math.floor((width_mm + most_mm) / step_mm + 1e-9)
    return [number * step_mm - width_mm for number in range(first, last + 1)]


def rims_of(
    limits: PartLimits, spot: Spot, width_mm: float, bolt_mm: float, most_mm: float
) -> tuple[tuple[Rim, ...], float, Refusal | None]:
    """Lines that the far end of a slot from a spot's centre must not pass, and how far it may run at most.

    Each obstacle is cut off by a line square to the way to its nearest point: what stays on this side of it
    keeps its distance. For a straight edge that loses nothing; for a round hole it is on the safe side.

    Returns
    -------
    rims, travel_mm, refusal
        At most six rims; where more are near, the travel is cut to what the others leave. `refusal` says what
        the nearest rim stands for.
    """
    centre = np.array(spot.at_mm[:2], dtype=float)
    rooms: set[tuple[float, float, float]] = set()
    for obstacle in limits.obstacles:
        if obstacle.what == "hole" and obstacle.name == spot.id:
            continue
        kept_mm, _ = limits.kept_mm(obstacle, width_mm, bolt_mm, True)
        for gap in nearest_on(centre, obstacle.starts, obstacle.ends) - centre:
            away_mm = float(np.linalg.norm(gap))
            if away_mm - kept_mm < most_mm and away_mm > 0.0:
                rooms.add((away_mm - kept_mm, float(gap[0]) / away_mm, float(gap[1]) / away_mm))
    found = sorted(rooms)
    if not found:
        return (), most_mm, None
    travel_mm = min(most_mm, found[MOST_RIMS][0]) if len(found) > MOST_RIMS else most_mm
    rims = tuple(Rim(x, y, room_mm) for room_mm, x, y in found[:MOST_RIMS] if room_mm < travel_mm)
    reached = centre + most_mm * np.array(found[0][1:])
    return rims, travel_mm, refuse_cut(limits, np.array([centre, reached]), width_mm, bolt_mm, True, spot.id)
