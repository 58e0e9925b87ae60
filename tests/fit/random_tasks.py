"""Invented fit tasks: by hand, and at random (rings, lines, slots, duplicates, spares, unknown sizes)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from partkin.model.fitting import FitTask, Option, Spot

HOST_NEEDS = ((1.0, 0.0, 0.0), (0.7, 0.2, 0.1), (0.0, 1.0, 0.0), (0.2, 0.5, 0.3))
DONOR_NEEDS = ((0.0, 1.0, 0.0), (0.0, 0.7, 0.3), (0.15, 0.6, 0.25), (0.0, 0.0, 1.0))
SHOULD = {"must": False, "should": True}
SPARE = {"must": False, "should": False}


def spots(points: Iterable[Sequence[float]], letter: str, **needs: bool) -> tuple[Spot, ...]:
    """Spots F00, F01, ... at these points."""
    return tuple(Spot(f"{letter}{k:02d}", (float(x), float(y)), **needs) for k, (x, y) in enumerate(points))


def task(host: Sequence[Spot], donor: Sequence[Spot], allowed_mm: float = 0.5, **more: bool) -> FitTask:
    """Every pair may be made, with the same play."""
    options = tuple(Option(f.id, d.id, allowed_mm) for f in host for d in donor)
    return FitTask(tuple(host), tuple(donor), options, **more)


def ring(count: int, radius: float, start: float = 0.0) -> list[tuple[float, float]]:
    """Points evenly on a circle."""
    turns = [start + 2 * math.pi * k / count for k in range(count)]
    return [(radius * math.cos(t), radius * math.sin(t)) for t in turns]


def random_task(seed: int, most_fixings: int, most_features: int) -> FitTask:
    """Draw one task; the same seed gives the same task."""
    draw = np.random.default_rng(seed)
    n, m = int(draw.integers(1, most_fixings + 1)), int(draw.integers(1, most_features + 1))
    if draw.random() < 0.6:
        m = max(m, n)
    points = _points(draw, max(n, m))
    host = points[draw.permutation(len(points))[:n]]
    mirrored = bool(draw.random() < 0.2)
    donor = _donor_points(draw, points[draw.permutation(len(points))[:m]], mirrored)
    fixings = _spots(draw, host, "F", HOST_NEEDS[draw.integers(4)])
    features = _spots(draw, donor, "d", DONOR_NEEDS[draw.integers(4)])
    options = _options(draw, fixings, features)
    given = bool(draw.random() < 0.15)
    if given:
        options = _one_each(options)
    return FitTask(fixings, features, options, given=given, mirrored=mirrored)


def _points(draw: np.random.Generator, count: int) -> np.ndarray:
    angle = 2 * math.pi * np.arange(count) / count
    sorts = (
        lambda: draw.uniform(0, 200, (count, 2)),
        lambda: 80 * np.stack([np.cos(angle), np.sin(angle)], axis=1),
        lambda: 40.0 * np.stack(np.divmod(np.arange(count), 3), axis=1),
        # Coincident points and points in line.
        lambda: 30.0 * draw.integers(0, 4, (count, 2)),
    )
    return np.asarray(sorts[draw.integers(4)](), dtype=float)


def _donor_points(draw: np.random.Generator, points: np.ndarray, mirrored: bool) -> np.ndarray:
    points = points.copy()
    if len(points) > 1 and draw.random() < 0.3:
        strange = int(draw.integers(1, len(points)))
        points[:strange] = draw.uniform(0, 200, (strange, 2))
    scatter = draw.choice([0.0, 0.1, 0.4, 1.0, 3.0])
    points += draw.uniform(-scatter, scatter, points.shape)
    angle = draw.uniform(-math.pi, math.pi)
    c, s = math.cos(angle), math.sin(angle)
    points = points @ np.array([[c, s], [-s, c]]) + draw.uniform(-50, 50, 2)
    return points * (-1.0, 1.0) if mirrored else points


def _spots(draw: np.random.Generator, at: np.ndarray, letter: str, needs: tuple[float, ...]) -> tuple[Spot, ...]:
    found = []
    for k, (x, y) in enumerate(at):
        need, slot = draw.choice(3, p=needs), draw.random() < 0.2
        half, angle = (float(draw.uniform(0.5, 6)), float(draw.uniform(0, 180))) if slot else (0.0, 0.0)
        found.append(
            Spot(f"{letter}{k}", (float(x), float(y)), half, angle, must=bool(need == 0), should=bool(need == 1))
        )
    return tuple(found)


def _options(draw: np.random.Generator, fixings: tuple[Spot, ...], features: tuple[Spot, ...]) -> tuple[Option, ...]:
    play, too_small, gaps = draw.choice([0.2, 0.5, 1.5]), draw.random() < 0.15, draw.random() < 0.3
    # A size that is not known: unlimited play.
    unknown = {s.id for s in (*fixings, *features) if draw.random() < draw.choice([0.0, 0.0, 0.0, 0.2])}
    found = []
    for fixing in fixings:
        for feature in features:
            if gaps and draw.random() < 0.25:
                continue
            allowed = play * draw.choice([0.5, 1.0, 2.0]) if draw.random() < 0.5 else play
            if too_small and draw.random() < 0.3:
                allowed = -draw.uniform(0.0, 0.5)
            if unknown & {fixing.id, feature.id}:
                allowed = 1.0e5
            found.append(Option(fixing.id, feature.id, float(allowed)))
    return tuple(found)


def _one_each(options: tuple[Option, ...]) -> tuple[Option, ...]:
    kept: list[Option] = []
    for option in options:
        if all(option.fixing != other.fixing and option.feature != other.feature for other in kept):
            kept.append(option)
    return tuple(kept)
