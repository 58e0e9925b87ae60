"""Invented fit tasks in space, at random: bent brackets, dishes, rails, slots, deep holes, spares."""

from __future__ import annotations

import math

import numpy as np

from partkin.fit.rotations import laid_over, turned_by
from partkin.model.fitting import FitTask, Option, Spot


def unit(vector: np.ndarray) -> np.ndarray:
    """Of length 1."""
    return vector / np.linalg.norm(vector, axis=-1, keepdims=True)


def slot_angle(direction: np.ndarray, axis: np.ndarray) -> float:
    """Angle that tells a slot's direction about an axis."""
    x, y = laid_over(axis)[:, :2].T @ direction
    return math.degrees(math.atan2(y, x))


def moved(spots: tuple[Spot, ...], turn: np.ndarray, shift: np.ndarray) -> tuple[Spot, ...]:
    """The same spots after a rigid move, their axes and slots turned with them."""
    found = []
    for spot in spots:
        axis = turn @ np.array(spot.axis)
        angle = math.radians(spot.angle_deg)
        way = laid_over(np.array(spot.axis))[:, :2] @ (math.cos(angle), math.sin(angle))
        found.append(
            Spot(
                spot.id,
                tuple(turn @ np.array(spot.at_mm) + shift),
                spot.half_travel_mm,
                slot_angle(turn @ way, axis),
                must=spot.must,
                should=spot.should,
                axis=tuple(axis),
                grip_mm=spot.grip_mm,
                depth_mm=spot.depth_mm,
            )
        )
    return tuple(found)


def random_move(draw: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Any turn, and a shift."""
    return turned_by(unit(draw.normal(size=3)) * draw.uniform(0, math.pi)), draw.uniform(-300, 300, 3)


def shape(draw: np.random.Generator, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Points (n, 3) and axes (n, 3) of one of several sorts of part."""
    sort = draw.integers(5)
    flat = draw.uniform((-150, -100), (150, 100), (n, 2))
    up = np.tile([0.0, 0.0, 1.0], (n, 1))
    if sort == 0:
        return np.column_stack([flat, np.zeros(n)]), up
    if sort == 1:
        dish = 40 * (1 - (flat**2).sum(axis=1) / 150**2)
        return np.column_stack([flat, dish]), unit(np.column_stack([flat / 280, np.ones(n)]))
    if sort == 2:
        bent = flat[:, 0] > 0
        points = np.column_stack([np.where(bent, 0, flat[:, 0]), flat[:, 1], np.where(bent, flat[:, 0], 0)])
        return points, np.where(bent[:, None], [1.0, 0.0, 0.0], up)
    if sort == 3:
        rail = np.column_stack([flat[:, 0] * 2, draw.uniform(-1, 1, n), draw.uniform(-1, 1, n)])
        return rail, up
    return draw.uniform(-120, 120, (n, 3)), unit(draw.normal(size=(n, 3)))


def random_known(seed: int, most: int = 8, scatter_mm: float | None = None) -> FitTask:
    """A task with its pairing given, near the limit of fitting; the same seed gives the same task."""
    draw = np.random.default_rng([7, seed])
    n = int(draw.integers(1, most + 1))
    points, axes = shape(draw, n)
    scatter = float(draw.choice([0.2, 0.6, 1.2, 4.0])) if scatter_mm is None else scatter_mm
    grip = float(draw.choice([0.0, 0.5, 6.0]))
    depth = float(draw.choice([0.0, 2.0, 12.0]))
    fixings, features = [], []
    for k in range(n):
        slots = [float(draw.uniform(1, 6)) if draw.random() < 0.2 else 0.0 for _ in range(2)]
        fixings.append(
            Spot(f"F{k}", tuple(points[k]), slots[0], float(draw.uniform(0, 180)), axis=tuple(axes[k]), grip_mm=grip)
        )
        off = draw.uniform(-scatter, scatter, 3) * (1, 1, 1 if grip else 0.0)
        lean = unit(axes[k] + draw.uniform(-0.02, 0.02, 3) * (depth > 0))
        features.append(
            Spot(
                f"d{k}",
                tuple(points[k] + off),
                slots[1],
                float(draw.uniform(0, 180)),
                must=False,
                should=True,
                axis=tuple(lean),
                depth_mm=depth or None,
            )
        )
    donor = moved(tuple(features), *random_move(draw))
    allowed = draw.uniform(0.2, 0.8, n)
    options = tuple(Option(f"F{k}", f"d{k}", float(allowed[k])) for k in range(n))
    return FitTask(tuple(fixings), donor, options, given=True)


def random_open(seed: int, fixings: int, features: int) -> FitTask:
    """A task whose pairing is to be found: the donor has the host's pattern (a little off) and more."""
    draw = np.random.default_rng([8, seed])
    points, axes = shape(draw, max(fixings, features))
    scatter = float(draw.choice([0.0, 0.2, 0.6, 2.0]))
    needs = [(True, False), (False, True), (False, False)]
    host = []
    for k in range(fixings):
        must, should = needs[int(draw.choice(3, p=(0.7, 0.2, 0.1)))]
        host.append(Spot(f"F{k}", tuple(points[k]), axis=tuple(axes[k]), must=must, should=should, grip_mm=4.0))
    donor = []
    for place, k in enumerate(draw.permutation(max(fixings, features))[:features]):
        must, should = needs[int(draw.choice(3, p=(0.1, 0.7, 0.2)))]
        at = points[k] + draw.uniform(-scatter, scatter, 3)
        donor.append(Spot(f"d{place}", tuple(at), must=must, should=should, axis=tuple(axes[k]), depth_mm=2.0))
    options = tuple(
        Option(f.id, d.id, float(draw.choice([0.3, 0.5, 0.8]))) for f in host for d in donor if draw.random() < 0.9
    )
    return FitTask(tuple(host), moved(tuple(donor), *random_move(draw)), options)
