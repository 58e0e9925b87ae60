"""Studs of the host that the donor need not be held by: each may stand in a cut-out of it, a zone of kind `opening`."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np

from partkin.fit.segments import covers, segments_of, to_segments_mm
from partkin.fit.solve import solve
from partkin.fit.task import Prepared
from partkin.model.fitting import FitAnswer, FitTask, Option, Spot
from partkin.model.known import Known

Point = tuple[float, float]
# Middle and radius of a circle in the donor's frame, mm.
Circle = tuple[Point, float]
# Between the id of a stud and the number of the cut-out that it is laid into.
MARK = "~"
# How far a circle is drawn in or out for what rounding leaves.
ROUNDED_MM = 0.01
# Steps along and across a cut-out at which a circle in it is tried.
GRID = 8


def clear_of_studs(known: Known, prepared: Prepared) -> tuple[Prepared, FitAnswer] | None:
    """Lay the donor with the studs that it need not be held by standing in its cut-outs; None: that does not go.

    A stud of the host blocks a donor that has no opening there: a hole or slot, or a cut-out that the stud clears by
    its own radius. Where the donor can still be turned, it is turned so that they clear; undecided where a circle about
    a cut-out lets it and no placement was found.
    """
    cut_outs, spare = _cut_outs(known), spare_studs(known, prepared)
    if not spare or prepared.task.dims != 2:
        return None
    relaxed = without_studs(known, prepared)
    answer = solve(relaxed.task)
    if not answer.fits or not answer.placement:
        return None
    radius_mm = {name: (prepared.fixings[name].across.mm or math.inf) / 2 for name in spare}
    if _stands_clear(answer, relaxed.task, radius_mm, cut_outs):
        return relaxed, answer
    areas = _areas(radius_mm, cut_outs)
    for circles_of in (_about, _within):
        turned = solve(_with_circles(prepared.task, areas, circles_of))
        laid = _bare(turned)
        # With the studs in cut-outs it has to be held as well as without them.
        holds = turned.fits and len(laid.pairs) >= len(answer.pairs)
        if circles_of is _about and turned.fits is not None and not holds:
            return None
        if holds and _stands_clear(laid, relaxed.task, radius_mm, cut_outs):
            return relaxed, laid
    names = " and ".join(sorted(name for name in spare if name in answer.unpaired_fixings))
    limit = f"whether {names} can stand in a cut-out as the donor may still be turned was not found out"
    paired = {(pair.fixing, pair.feature) for pair in answer.pairs}
    options = tuple(one for one in relaxed.task.options if (one.fixing, one.feature) in paired)
    as_paired = replace(relaxed, task=replace(relaxed.task, options=options, given=True))
    return as_paired, replace(answer, fits=None, limit=limit)


def spare_studs(known: Known, prepared: Prepared) -> frozenset[str]:
    """Studs that the donor need not be held by; none where the donor has no cut-out that one could stand in."""
    if not _cut_outs(known):
        return frozenset()
    return frozenset(
        name for name, fixing in prepared.fixings.items()
        if fixing.feature.kind == "stud" and not fixing.supposed and (fixing.feature.need or "must") != "must"
    )  # fmt: skip


def without_studs(known: Known, prepared: Prepared) -> Prepared:
    """The task without the studs that the donor need not be held by, where they may stand in a cut-out of it."""
    spare = spare_studs(known, prepared)
    fixings = tuple(replace(s, must=s.must and s.id not in spare) for s in prepared.task.fixings)
    return replace(prepared, task=replace(prepared.task, fixings=fixings))


def _cut_outs(known: Known) -> list[list[Point]]:
    return [list(zone.corners_mm) for zone in known.donor.zones if zone.kind == "opening"]


def _stands_clear(
    answer: FitAnswer, task: FitTask, radius_mm: Mapping[str, float], cut_outs: Sequence[Sequence[Point]]
) -> bool:
    """Whether each stud that is on no hole stands in a cut-out, as the donor is laid."""
    if not answer.placement:
        return False
    (a, b, _, x), (c, d, _, y) = answer.placement.matrix[:2]
    laid = [[(a * px + b * py + x, c * px + d * py + y) for px, py in corners] for corners in cut_outs]
    return all(
        any(clearance_mm(spot.at_mm[:2], corners) >= radius_mm[spot.id] for corners in laid)
        for spot in task.fixings
        if spot.id in radius_mm and spot.id in answer.unpaired_fixings
    )


def _areas(radius_mm: Mapping[str, float], cut_outs: Sequence[Sequence[Point]]) -> dict[str, list[Any]]:
    """Where the middle of each stud may be, polygons by stud: one of unknown size may be thin."""
    import shapely

    whole = shapely.make_valid([shapely.Polygon(corners) for corners in cut_outs])
    found = {}
    for name, stud_mm in sorted(radius_mm.items()):
        places = shapely.buffer(whole, -stud_mm if math.isfinite(stud_mm) else 0.0, quad_segs=32)
        found[name] = [one for one in shapely.get_parts(places) if one.geom_type == "Polygon" and not one.is_empty]
    return found


def _about(area: Any) -> Iterator[Circle]:
    """A circle that holds an area; rounded corners were followed from within."""
    import shapely

    middle = shapely.minimum_bounding_circle(area).centroid
    yield (middle.x, middle.y), shapely.hausdorff_distance(middle, area.exterior) + ROUNDED_MM


def _within(area: Any) -> Iterator[Circle]:
    """Circles inside an area, about the points of a grid that lies along it."""
    import shapely

    box = shapely.minimum_rotated_rectangle(area)
    if box.geom_type != "Polygon":
        return
    a, b, _, d = box.exterior.coords[:4]
    for i, j in product(range(GRID + 1), repeat=2):
        x, y = (a[k] + (b[k] - a[k]) * i / GRID + (d[k] - a[k]) * j / GRID for k in (0, 1))
        middle = shapely.Point(x, y)
        if area.contains(middle):
            yield (x, y), max(0.0, area.exterior.distance(middle) - ROUNDED_MM)


def _with_circles(
    task: FitTask, areas: Mapping[str, Sequence[Any]], circles_of: Callable[[Any], Iterator[Circle]]
) -> FitTask:
    """The task in which each stud may stand in the circles of its areas too, as on a hole with that much play."""
    features, options = list(task.features), list(task.options)
    for name, places in areas.items():
        for number, (middle, allowed_mm) in enumerate(one for area in places for one in circles_of(area)):
            features.append(Spot(f"{name}{MARK}{number}", middle, must=False))
            options.append(Option(name, f"{name}{MARK}{number}", allowed_mm))
    return replace(task, features=tuple(features), options=tuple(options), given=False)


def _bare(answer: FitAnswer) -> FitAnswer:
    """The answer without circles; its margin is that of the pairs that are real."""
    pairs = tuple(pair for pair in answer.pairs if MARK not in pair.feature)
    return replace(
        answer, pairs=pairs, margin_mm=min((pair.margin_mm for pair in pairs), default=None), also=0, also_pairs=(),
        unpaired_fixings=(*answer.unpaired_fixings, *(p.fixing for p in answer.pairs if MARK in p.feature)),
        unpaired_features=tuple(name for name in answer.unpaired_features if MARK not in name), slides=(),
    )  # fmt: skip


def clearance_mm(point: tuple[float, ...], corners: Sequence[Point]) -> float:
    """How far inside a polygon a point is; negative: outside.

    >>> square = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]
    >>> clearance_mm((3.0, 5.0), square), clearance_mm((-2.0, 5.0), square)
    (3.0, -2.0)
    """
    starts, ends = segments_of(corners)
    at = np.array(point)
    away_mm = float(to_segments_mm(at, starts, ends).min())
    return away_mm if covers(starts, ends, at) else -away_mm
