"""Invented parts and readings for these tests."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from partkin.model.build import Feature, Reading
from partkin.positions.network import Network


def features(points: np.ndarray, stated: Iterable[int] = (), plus_minus_mm: float | None = None) -> list[Feature]:
    """Holes f0, f1, ... of part p; only those in `stated` have coordinates."""
    stated = set(stated)
    made = []
    for at, point in enumerate(points):
        place = [float(value) if at in stated else None for value in point] + [None]
        made.append(
            Feature(
                "p",
                f"f{at}",
                "hole",
                across_mm=8.0,
                x_mm=place[0],
                y_mm=place[1],
                z_mm=place[2],
                plus_minus_mm=plus_minus_mm,
            )
        )
    return made


def readings(
    points: np.ndarray,
    pairs: Iterable[tuple[int, int]],
    plus_minus: float = 0.5,
    rng: np.random.Generator | None = None,
    slips_mm: Mapping[int, float] | None = None,
) -> list[Reading]:
    """Centre distances r0, r1, ...; rectangular errors where `rng` is given."""
    made = []
    for at, (a, b) in enumerate(pairs):
        value = float(np.linalg.norm(points[a] - points[b]))
        value += float(rng.uniform(-plus_minus, plus_minus)) if rng is not None else 0.0
        value += (slips_mm or {}).get(at, 0.0)
        made.append(Reading("p", f"r{at}", "centres", value, "mm", f"f{a}", f"f{b}", plus_minus=plus_minus))
    return made


def all_pairs(k: int) -> list[tuple[int, int]]:
    return [(a, b) for a in range(k) for b in range(a + 1, k)]


def apart(points: np.ndarray) -> np.ndarray:
    """Distances (k, k): a layout whatever its frame and hand."""
    return np.linalg.norm(points[:, None] - points[None], axis=2)


def random_network(seed: int, normal: bool = True) -> tuple[Network, np.ndarray, np.random.Generator]:
    """4 to 20 points in the plane or in space, 5 to 24 readings more than needed; some with coordinates."""
    rng = np.random.default_rng(seed)
    k, d = int(rng.integers(4, 21)), 3 if seed % 4 == 0 else 2
    points = rng.uniform(0.0, 900.0, (k, d))
    pairs = all_pairs(k)
    count = min(len(pairs), d * k - d * (d + 1) // 2 + int(rng.integers(5, 25)))
    edges = np.array([pairs[at] for at in rng.permutation(len(pairs))[:count]])
    sigma = rng.uniform(0.1, 0.8, count)
    length = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1) + rng.normal(0.0, sigma)
    seen, seen_sigma = np.full((k, d), np.nan), np.full((k, d), 0.4)
    if seed % 3 == 0:
        stated = rng.permutation(k)[: d + 1]
        seen[stated] = points[stated] + rng.normal(0.0, 0.4, (d + 1, d))
        if seed % 6 == 0:
            seen_sigma[stated[0]] = 0.0
    return Network(edges, length, sigma, seen, seen_sigma), points, rng
