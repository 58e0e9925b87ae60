"""What is not known of a donor on its fixings: what would tell, and how the answer is shown until then.

A stud that the donor need not be held by may pass through a cut-out of it.
"""

from __future__ import annotations

import math
from dataclasses import replace

from partkin.fit.solve import solve
from partkin.fit.task import UNKNOWN_PLAY_MM, Prepared
from partkin.model.fitting import FitAnswer
from partkin.model.known import Known
from partkin.model.positions import Missing
from partkin.trial.places import Places

Point = tuple[float, float]


def clear_of_studs(known: Known, prepared: Prepared) -> tuple[Prepared, FitAnswer] | None:
    """Lay the donor with the studs that it need not be held by standing in its openings; None: that does not go.

    A stud of the host blocks a donor that has no opening there. An opening is a hole or slot of the donor, or a
    zone of kind `opening` that the stud clears by its own radius.
    """
    openings, spare = _openings(known), spare_studs(known, prepared)
    if not spare or prepared.task.dims != 2:
        return None
    fixings = tuple(replace(s, must=s.must and s.id not in spare) for s in prepared.task.fixings)
    relaxed = replace(prepared, task=replace(prepared.task, fixings=fixings))
    answer = solve(relaxed.task)
    if not answer.fits or not answer.placement:
        return None
    (a, b, _, x), (c, d, _, y) = answer.placement.matrix[:2]
    laid = [[(a * px + b * py + x, c * px + d * py + y) for px, py in corners] for corners in openings]
    for spot in fixings:
        if spot.id in spare and spot.id in answer.unpaired_fixings:
            radius_mm = (prepared.fixings[spot.id].across.mm or math.inf) / 2
            if not any(clearance_mm(spot.at_mm[:2], corners) >= radius_mm for corners in laid):
                return None
    return relaxed, answer


def spare_studs(known: Known, prepared: Prepared) -> frozenset[str]:
    """Studs that the donor need not be held by; none where the donor has no opening that one could stand in."""
    if not _openings(known):
        return frozenset()
    return frozenset(
        name for name, fixing in prepared.fixings.items()
        if fixing.feature.kind == "stud" and not fixing.supposed and (fixing.feature.need or "must") != "must"
    )  # fmt: skip


def _openings(known: Known) -> list[list[Point]]:
    return [list(zone.corners_mm) for zone in known.donor.zones if zone.kind == "opening"]


def clearance_mm(point: tuple[float, ...], corners: list[Point]) -> float:
    """How far inside a polygon a point is; negative: outside.

    Examples
    --------
    >>> square = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]
    >>> clearance_mm((3.0, 5.0), square), clearance_mm((-2.0, 5.0), square)
    (3.0, -2.0)
    """
    x, y = point
    inside, nearest_mm = False, math.inf
    for (ax, ay), (bx, by) in zip(corners, [*corners[1:], corners[0]], strict=True):
        if (ay > y) != (by > y) and x < ax + (y - ay) * (bx - ax) / (by - ay):
            inside = not inside
        length = math.hypot(bx - ax, by - ay)
        along = 0.0 if length == 0 else ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / length**2
        share = min(max(along, 0.0), 1.0)
        nearest_mm = min(nearest_mm, math.hypot(x - ax - share * (bx - ax), y - ay - share * (by - ay)))
    return nearest_mm if inside else -nearest_mm


def telling(prepared: Prepared, places: Places) -> tuple[Missing, ...]:
    """What the verdict waits for: places and sizes of what has to be paired, before those of spare holes."""
    task = prepared.task
    spare = {s.id for s in task.features if not s.must and not s.should}
    must = {s.id for s in task.features if s.must}
    wanted = {s.id for s in task.fixings if s.must} | {o.fixing for o in task.options if o.feature in must}
    on_host = {places.hosted.placed_by.get(name, name) for name in wanted} | wanted

    def needed(missing: Missing) -> bool:
        name = missing.from_feature
        return name is None or (name not in spare if missing.part == places.donor.part else name in on_host)

    sides = (places.donor.missing, places.host.missing)
    if not places.host.features:
        # Without a single fixing nothing read on the donor tells anything.
        sides = (places.host.missing, places.donor.missing)
    found = _each_distance_once([*sides[0], *sides[1], *prepared.missing])
    return tuple(m for m in found if needed(m)) or found


def _each_distance_once(missing: list[Missing]) -> tuple[Missing, ...]:
    """The first of those that ask for one distance, from whichever end."""
    kept: dict[object, Missing] = {}
    for one in missing:
        ends = frozenset((one.from_feature, one.to_feature))
        kept.setdefault((one.part, ends) if one.quantity == "centres" and len(ends) > 1 else one, one)
    return tuple(kept.values())


def shown_as_open(answer: FitAnswer, prepared: Prepared) -> FitAnswer:
    """The answer with every pair open of which something is not known, however much play it may have at most."""
    pairs = tuple(
        replace(p, allowed_mm=UNKNOWN_PLAY_MM, margin_mm=UNKNOWN_PLAY_MM - p.offset_mm)
        if (p.fixing, p.feature) in prepared.most_mm else p
        for p in answer.pairs
    )  # fmt: skip
    return replace(answer, pairs=pairs)


def spared_openings(known: Known, prepared: Prepared) -> Prepared:
    """The task without the studs that the donor need not be held by, where they may stand in an opening of it."""
    spare = spare_studs(known, prepared)
    fixings = tuple(replace(s, must=s.must and s.id not in spare) for s in prepared.task.fixings)
    return replace(prepared, task=replace(prepared.task, fixings=fixings))
