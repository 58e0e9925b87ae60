"""Invented flat patterns with known pairs, for tests and benchmarks: nothing is taken from a real part."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from confirming import flat_held

from partkin.fit.arrays import Pairs


def pattern(rng: np.random.Generator, n: int, slots: bool, noise_mm: float = 0.3) -> tuple[Pairs, dict]:
    """A random pattern on its noisy copy, turned anyhow; with the slots' angles for the exact checker."""
    p = rng.uniform(-200, 200, (n, 2)).round(3)
    angle = rng.uniform(-math.pi, math.pi)
    c, s = math.cos(angle), math.sin(angle)
    q = (p @ np.array([[c, s], [-s, c]]) + rng.normal(0, noise_mm, (n, 2)) + rng.uniform(-50, 50, 2)).round(3)
    slotted = (rng.random(n) < 0.5) & slots
    side = rng.integers(0, 3, n)
    travel_h = np.where(slotted & (side != 1), rng.uniform(1, 6, n).round(2), 0.0)
    travel_d = np.where(slotted & (side != 0), rng.uniform(1, 6, n).round(2), 0.0)
    angles = {"angle_h_deg": rng.uniform(0, 180, n).round(1), "angle_d_deg": rng.uniform(0, 180, n).round(1)}
    rho = rng.uniform(0.2, 1.0, n).round(3)
    return Pairs.plain(p, q, rho, s_h=travel_h, s_d=travel_d, **angles), angles


def pushed(pairs: Pairs, excess_mm: float, wanted_mm: float) -> Pairs:
    """The same pairs with every play changed alike, so that the worst excess comes to what is wanted."""
    return replace(pairs, rho=pairs.rho + (excess_mm - wanted_mm))


def for_checker(pairs: Pairs, angles: dict, ids) -> dict:
    """The pairs as the exact checker takes them, at the floats' exact values."""
    return {
        name: flat_held(
            pairs.p[i], pairs.q[i], pairs.rho[i],
            pairs.s_h[i], angles["angle_h_deg"][i], pairs.s_d[i], angles["angle_d_deg"][i],
        )
        for i, name in enumerate(ids)
    }  # fmt: skip
