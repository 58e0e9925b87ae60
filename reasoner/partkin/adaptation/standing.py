"""Where a fixing stands around its feature at a placement, and whether a choice reaches it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partkin.adaptation.choices import RIM_RADIUS_MM, Choice, Shape, Unit
from partkin.model.fitting import Placement, Spot

REACH_TOLERANCE_MM = 1e-6


@dataclass(frozen=True, eq=False)
class Standing:
    """One side's centre line and the other side's, (2, 2) each, in the frame of the part worked on."""

    own: np.ndarray
    other: np.ndarray


def line3(spot: Spot) -> np.ndarray:
    """Both ends of a spot's centre line in space, (2, 3)."""
    centre = np.zeros(3)
    centre[: len(spot.at_mm)] = spot.at_mm
    turn = math.radians(spot.angle_deg)
    reach = spot.half_travel_mm * np.array([math.cos(turn), math.sin(turn), 0.0])
    return np.array([centre - reach, centre + reach])


def standing(unit: Unit, placement: Placement, side: str) -> Standing:
    """Carry the other side's centre line into the frame of the part on `side`."""
    assert unit.feature is not None
    move = np.array(placement.matrix, dtype=float)
    if side == "donor":
        move = np.linalg.inv(move)
    own, other = (unit.feature, unit.fixing) if side == "donor" else (unit.fixing, unit.feature)
    carried = line3(other) @ move[:3, :3].T + move[:3, 3]
    return Standing(_flat(line3(own), own.axis), _flat(carried, own.axis))


def _flat(line: np.ndarray, axis: tuple[float, float, float]) -> np.ndarray:
    """Drop the direction along the axis. Across another axis than z only distances mean anything."""
    if abs(axis[2]) > 0.99:
        return line[:, :2]
    along = np.array(axis) / np.linalg.norm(axis)
    first = np.cross(along, [0.0, 0.0, 1.0])
    first /= np.linalg.norm(first)
    return np.asarray(line @ np.array([first, np.cross(along, first)]).T)


def nearest(own: np.ndarray, other: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points of two segments, (2, 2) each, that are nearest to each other."""
    along, across = own[1] - own[0], other[1] - other[0]
    cross = along[0] * across[1] - along[1] * across[0]
    if abs(cross) > 1e-12:
        gap = other[0] - own[0]
        at_own = (gap[0] * across[1] - gap[1] * across[0]) / cross
        at_other = (gap[0] * along[1] - gap[1] * along[0]) / cross
        if 0.0 <= at_own <= 1.0 and 0.0 <= at_other <= 1.0:
            point = own[0] + at_own * along
            return point, point
    found = [(point, _on(other, point)) for point in own] + [(_on(own, point), point) for point in other]
    return min(found, key=lambda pair: float(np.linalg.norm(pair[1] - pair[0])))


def _on(line: np.ndarray, point: np.ndarray) -> np.ndarray:
    along = line[1] - line[0]
    square = float(along @ along)
    share = float((point - line[0]) @ along) / square if square > 0.0 else 0.0
    return np.asarray(line[0] + min(1.0, max(0.0, share)) * along)


def lengthened(own: np.ndarray, spot: Spot, shape: Shape) -> np.ndarray:
    """Centre line of a slot lengthened by a shape's `back_mm` and `forward_mm`."""
    if shape.back_mm == 0.0 and shape.forward_mm == 0.0:
        return own
    turn = math.radians(spot.angle_deg)
    along = np.array([math.cos(turn), math.sin(turn)])
    return np.array([own[0] - shape.back_mm * along, own[1] + shape.forward_mm * along])


def excess_mm(unit: Unit, choice: Choice, placement: Placement) -> float:
    """How far outside a choice's reach a fixing stands; 0 or less: inside."""
    shape = choice.shape
    if shape is None:
        return -math.inf
    stands = standing(unit, placement, choice.side)
    spot = unit.feature if choice.side == "donor" else unit.fixing
    assert spot is not None
    here, there = nearest(lengthened(stands.own, spot, shape), stands.other)
    beyond_mm = float(np.linalg.norm(there - here)) - shape.outer_mm
    centre = stands.own.mean(axis=0)
    for rim in shape.rims:
        middle = centre + (rim.room_mm - RIM_RADIUS_MM) * np.array([rim.x, rim.y])
        beyond_mm = max(beyond_mm, float(np.linalg.norm(there - middle)) - RIM_RADIUS_MM)
    return beyond_mm


def heading_deg(unit: Unit, side: str, placement: Placement) -> float:
    """Direction from the feature's centre to where the fixing stands, in that part's frame, 0 to 360."""
    stands = standing(unit, placement, side)
    here, there = nearest(np.array([stands.own.mean(axis=0)] * 2), stands.other)
    x, y = there - here
    return math.degrees(math.atan2(y, x)) % 360.0
