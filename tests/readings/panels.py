"""Invented panels for these tests: a host with studs, and a donor of which some things are known."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations

import numpy as np

from partkin.model.build import Build, Feature, Part, Reading

Point = tuple[float, float]
LEANING = [(0.0, 0.0), (400.0, 0.0), (430.0, 180.0), (60.0, 250.0)]


def all_pairs(count: int) -> list[tuple[int, int]]:
    return list(combinations(range(count), 2))


def panel(
    points: Sequence[Point],
    pairs: Iterable[tuple[int, int]] = (),
    placed: Iterable[int] = (),
    host: Sequence[Point] | None = None,
    instrument: str = "tape",
    face: str | None = "outside",
    given: bool = True,
    within_mm: float = 0.3,
) -> Build:
    """A host with 6 mm studs where `host` says, and a donor with 8 mm holes at `points`.

    Distances between `pairs` of holes are read without error, places of `placed` holes are stated.
    """
    stated = set(placed)
    studs = [
        Feature("host", f"F{at}", "stud", 6.0, x_mm=x, y_mm=y, plus_minus_mm=0.2, need="must")
        for at, (x, y) in enumerate(host or points)
    ]
    holes = [
        Feature(
            "donor", f"a{at}", "hole", 8.0, goes_on=f"F{at}" if given else None,
            x_mm=x if at in stated else None, y_mm=y if at in stated else None,
            plus_minus_mm=0.3 if at in stated else None,
        )
        for at, (x, y) in enumerate(points)
    ]  # fmt: skip
    read = [
        Reading(
            "donor", f"r{at}", "centres", float(np.hypot(*(np.array(points[a]) - points[b]))), "mm", f"a{a}", f"a{b}",
            plus_minus=within_mm, instrument=instrument,
        )
        for at, (a, b) in enumerate(pairs)
    ]  # fmt: skip
    parts = (
        Part("host", origin="host", seen_from="outside", duty="trim", airbag=False),
        Part("donor", name="side panel", origin="donor", takes_place_of="host", seen_from=face, duty="structural"),
    )
    return Build(parts=parts, features=(*studs, *holes), readings=tuple(read))
