"""Random builds as folders of sheets: a panel whose holes are out by what two sister models may differ by. Invented."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
from folders import FRAME, OLD, PANEL, holes, studs, write

from partkin.model.build import Feature, Outline, Part, Zone


def random_build(
    folder: Path, seed: int, fixings_to: tuple[int, int] = (3, 7), unmeasured: float = 0.0, wide_mm: float = 700.0
) -> Path:  # fmt: skip
    """Write fixings of any kind, holes with errors, an edge 14 to 40 mm off, perhaps a zone; some sizes not known."""
    draw = np.random.default_rng([seed, 1966])
    count = int(draw.integers(fixings_to[0], fixings_to[1] + 1))
    points: list[np.ndarray] = []
    while len(points) < count + 1:
        point = draw.uniform((0.0, 0.0), (wide_mm, 300.0)).round(1)
        if all(np.linalg.norm(point - other) > 60.0 for other in points):
            points.append(point)
    within_mm = float(draw.choice([0.0, 0.1, 0.3]))
    fixings = [_fixing(draw, fixing) for fixing in studs([tuple(p) for p in points], plus_minus_mm=within_mm)]
    turn = draw.uniform(-math.pi, math.pi)
    c, s = math.cos(turn), math.sin(turn)
    wrong = draw.normal(0.0, 0.3, (count, 2))
    for k in draw.permutation(count)[: int(draw.integers(1, 3))]:
        along = draw.uniform(0.0, 2 * math.pi)
        wrong[k] += draw.uniform(1.0, 7.0) * np.array([math.cos(along), math.sin(along)])
    at = ((np.array(points[:count]) + wrong) @ np.array([[c, -s], [s, c]])).round(1)
    made = holes([(float(x), float(y)) for x, y in at], plus_minus_mm=within_mm)
    made = [_hole(draw, feature, fixing) for feature, fixing in zip(made, fixings, strict=False)]
    made = [replace(f, across_mm=None) if unmeasured and draw.uniform() < unmeasured else f for f in made]
    low, high = at.min(axis=0) - draw.uniform(14, 40), at.max(axis=0) + draw.uniform(14, 40)
    ring = ((low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1]))
    rim = Outline("panel", "edge", "rim", tuple((round(float(x), 1), round(float(y), 1)) for x, y in ring))
    zones = []
    if draw.uniform() < 0.3:
        x, y = (at[0] + draw.normal(0.0, 40.0, 2)).round(1)
        zones.append(Zone("panel", "S1", "structural", ((x, y), (x + 60.0, y), (x + 60.0, y + 20.0))))
    material, thick_mm = str(draw.choice(["ABS", "steel"])), float(draw.choice([1.5, 3.0, 5.0]))
    donor = replace(PANEL, material=material, thickness_mm=thick_mm)
    # One fixing more than the donor has holes for, every other time.
    fixings = fixings[: count + int(draw.uniform() < 0.5)]
    bracket = Part(
        "lug", origin="original", takes_place_of="old", part_of="old", seen_from="outside", duty="trim", airbag=False
    )
    return write(folder, [FRAME, OLD, donor, bracket], [*fixings, *made], outlines=[rim], zones=zones)


def _fixing(draw: np.random.Generator, stud: Feature) -> Feature:
    kind = str(draw.choice(["stud", "captive nut", "tapped hole", "hole"], p=[0.5, 0.2, 0.15, 0.15]))
    need = "should" if kind in ("captive nut", "tapped hole") and draw.uniform() < 0.2 else "must"
    made = replace(stud, kind=kind, need=need)  # type: ignore[arg-type]
    if kind == "hole":
        return replace(made, across_mm=7.0)
    return replace(made, float_mm=float(draw.choice([0.5, 1.0]))) if kind == "captive nut" else made


def _hole(draw: np.random.Generator, hole: Feature, fixing: Feature) -> Feature:
    made = replace(hole, across_mm=float(draw.choice([6.5, 7.0, 7.5])))
    if fixing.kind in ("captive nut", "tapped hole") and draw.uniform() < 0.15:
        return replace(made, thread="M8x1.25", across_mm=9.0)
    if draw.uniform() < 0.15:
        return replace(made, kind="slot", length_mm=11.0, angle_deg=float(draw.integers(0, 180)))
    return made
