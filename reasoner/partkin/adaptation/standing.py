"""Where a fixing stands around its feature at a placement, and whether a choice reaches it."""

from __future__ import annotations

import math

import numpy as np

from partkin.adaptation.choices import RIM_RADIUS_MM, Choice, FixingChoices, ReachShape
from partkin.fit.segments import direction, nearest
from partkin.model.fitting import Placement, Spot

REACH_TOLERANCE_MM = 1e-6


def line3(spot: Spot) -> np.ndarray:
    """Both ends of a spot's centre line in space, (2, 3)."""
    centre = np.zeros(3)
    centre[: len(spot.at_mm)] = spot.at_mm
    reach = spot.half_travel_mm * np.array([*direction(spot.angle_deg), 0.0])
    return np.array([centre - reach, centre + reach])


def standing(unit: FixingChoices, placement: Placement, side: str) -> tuple[np.ndarray, np.ndarray]:
    """Centre lines, (2, 2) each, of one side and of the other, in the frame of the part on `side`."""
    assert unit.feature is not None
    move = np.array(placement.matrix, dtype=float)
    own, other = (unit.fixing, unit.feature)
    if side == "donor":
        move, own, other = np.linalg.inv(move), unit.feature, unit.fixing
    return _flat(line3(own), own.axis), _flat(line3(other) @ move[:3, :3].T + move[:3, 3], own.axis)


def _flat(line: np.ndarray, axis: tuple[float, float, float]) -> np.ndarray:
    """Drop the direction along the axis. Across another axis than z only distances mean anything."""
    if abs(axis[2]) > 0.99:
        return line[:, :2]
    along = np.array(axis) / np.linalg.norm(axis)
    first = np.cross(along, [0.0, 0.0, 1.0])
    first /= np.linalg.norm(first)
    return np.asarray(line @ np.array([first, np.cross(along, first)]).T)


def lengthened(own: np.ndarray, spot: Spot, shape: ReachShape) -> np.ndarray:
    """Centre line of a slot lengthened by a shape's `back_mm` and `forward_mm`."""
    along = direction(spot.angle_deg)
    return np.asarray(own + np.array([-shape.back_mm * along, shape.forward_mm * along]))


def excess_mm(unit: FixingChoices, choice: Choice, placement: Placement) -> float:
    """How far outside a choice's reach a fixing stands; 0 or less: inside."""
    shape, spot = choice.shape, unit.feature if choice.side == "donor" else unit.fixing
    if shape is None:
        return -math.inf
    assert spot is not None
    own, other = standing(unit, placement, choice.side)
    here, there = nearest(lengthened(own, spot, shape), other)
    beyond_mm = float(np.linalg.norm(there - here)) - shape.outer_mm
    for rim in shape.rims:
        middle = own.mean(axis=0) + (rim.room_mm - RIM_RADIUS_MM) * np.array([rim.x, rim.y])
        beyond_mm = max(beyond_mm, float(np.linalg.norm(there - middle)) - RIM_RADIUS_MM)
    return beyond_mm
