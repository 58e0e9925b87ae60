"""Parts of the original that go on a fixing by themselves: what may be moved over to the donor."""

from __future__ import annotations

import math

from partkin.model.adapting import Bracket
from partkin.model.build import Build, Feature, Holding, Part


def brackets_of(build: Build, original: Part, fixings: frozenset[str]) -> tuple[Bracket, ...]:
    """List them by id: parts that are `part_of` the original with a feature that `goes_on` a fixing."""
    found = []
    for part in (p for p in build.parts if p.part_of == original.part and p.origin != "donor"):
        own = build.features_of(part.part)
        rows = [row for row in build.holdings if {row.part, row.held_to} == {part.part, original.part}]
        holes = [f for f in own if f.goes_on not in fixings]
        minutes, duty = sum(row.minutes or 0.0 for row in rows), part.duty or original.duty
        for f in own:
            if f.goes_on is not None and f.goes_on in fixings:
                reach_mm, count = _reach_mm(f, holes), len(holes) or None
                found.append(Bracket(part.part, f, f.goes_on, count, reach_mm, _undo(rows), minutes, duty))
    return tuple(found)


def _reach_mm(feature: Feature, holes: list[Feature]) -> float | None:
    """How far from a bracket's feature its holes can reach; None where a place is not known."""
    reaches = []
    for hole in holes:
        if None in (feature.x_mm, feature.y_mm, hole.x_mm, hole.y_mm):
            return None
        dx, dy = (hole.x_mm or 0.0) - (feature.x_mm or 0.0), (hole.y_mm or 0.0) - (feature.y_mm or 0.0)
        reaches.append(math.hypot(dx, dy) + max(hole.across_mm or 0.0, hole.length_mm or 0.0) / 2.0)
    return max(reaches) if reaches else None


def _undo(rows: list[Holding]) -> str | None:
    """How it comes off, from held_by.csv.

    >>> _undo([Holding("bracket", "top", "s1", "screw", 2, tool="T20")])
    'undo 2 screws (T20)'
    """
    said = [f"{row.count} {row.kind}{'s' * (row.count != 1)}" + (f" ({row.tool})" if row.tool else "") for row in rows]
    return f"undo {' and '.join(said)}" if said else None
