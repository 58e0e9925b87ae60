"""The donor's edges against its neighbours' at the placement: overlap, gaps, where to trim."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from partkin.adaptation.limits import LICENSED, SAFETY, Refusal
from partkin.adaptation.question import Bench
from partkin.fit.segments import to_segments_mm
from partkin.model.adapting import Action, AdaptationQuestion, EdgeGap
from partkin.model.build import Neighbour, Outline
from partkin.model.words import way
from partkin.tables.work import edge_rule
from partkin.trial.seams import Matrix, in_host

# An edge is sampled this closely; the gap is a distance, so it is off by no more between samples.
SAMPLE_MM = 1.0
# Common practice, no source: farther apart than this, two edges do not face each other.
FACING_MM = 30.0
# An edge faces what lies within 60 degrees of straight out of it.
FACING_COSINE = 0.5
# Common practice, no source: an eye takes a gap that changes by less than this as even.
EVEN_MM = 0.5
MOST_STRETCHES = 3


def edge_gaps(
    donor_outlines: Iterable[Outline],
    neighbour_outlines: Iterable[Outline],
    neighbours: Iterable[Neighbour],
    donor_to_host: Matrix,
    landmarks: Mapping[str, Sequence[float]],
) -> tuple[EdgeGap, ...]:
    """Measure the gap along each edge that neighbours.csv lists, as a person reads it, to 1 mm along the edge.

    An outline of the donor named as the row's `edge` is used alone; where none is, all edges. The neighbours lie in the
    host's frame. A place is told by the nearest of `landmarks`, the fixings in the host's frame. Rows whose outlines
    are not known, or whose edges are nowhere within 30 mm, are left out.
    """
    ours, theirs = (
        [line for line in lines if line.kind == "edge" and len(line.corners_mm) > 2]
        for lines in (donor_outlines, neighbour_outlines)
    )
    found = []
    for row in neighbours:
        lines = [line for line in ours if line.name == row.edge] or ours
        facing = [in_host(line.corners_mm, None) for line in theirs if line.part == row.neighbour]
        found.append(_gap(row, [in_host(line.corners_mm, donor_to_host) for line in lines], facing, landmarks))
    return tuple(gap for gap in found if gap is not None)


def _gap(
    row: Neighbour, ours: list[np.ndarray], theirs: list[np.ndarray], landmarks: Mapping[str, Sequence[float]]
) -> EdgeGap | None:
    if not ours or not theirs:
        return None
    import shapely

    part, other = (
        shapely.make_valid(shapely.union_all([shapely.Polygon(ring) for ring in rings])) for rings in (ours, theirs)
    )
    points, gaps_mm = _facing(shapely, ours, part, other)
    if len(points) == 0:
        return None
    low, high = int(np.argmin(gaps_mm)), int(np.argmax(gaps_mm))
    wanted_mm = row.gap_min_mm if row.gap_min_mm is not None else 0.0
    tight = gaps_mm < wanted_mm - 1e-6

    def at_mm(place: int) -> tuple[float, float]:
        return round(float(points[place, 0]), 1), round(float(points[place, 1]), 1)

    gap = EdgeGap(
        edge=row.edge,
        neighbour=row.neighbour,
        narrowest_mm=round(float(gaps_mm[low]), 2),
        narrowest_at_mm=at_mm(low),
        widest_mm=round(float(gaps_mm[high]), 2),
        widest_at_mm=at_mm(high),
        wanted_mm=(row.gap_min_mm, row.gap_max_mm),
        overlap_mm2=round(float(part.intersection(other).area), 1),
        trim_mm=round(wanted_mm - float(gaps_mm[low]), 1) if tight.any() else None,
        says="",
        tight_at_mm=tuple(map(at_mm, np.flatnonzero(tight).tolist())),
    )
    return replace(gap, says=_says(gap, landmarks))


def _facing(shapely: Any, rings: Sequence[np.ndarray], part: Any, other: Any) -> tuple[np.ndarray, np.ndarray]:
    """Points of the edge that face the neighbour, (n, 2), with the gap there: negative where they overlap."""
    along = [_along(ring) for ring in rings]
    samples, outwards = (np.vstack([one[n] for one in along]) for n in (0, 1))
    bounds = np.array(other.bounds).reshape(2, 2)
    near = ((samples > bounds[0] - 1.1 * FACING_MM) & (samples < bounds[1] + 1.1 * FACING_MM)).all(axis=1)
    samples, outwards = samples[near], outwards[near]
    shapely.prepare([part, other])
    points = shapely.points(samples)
    inside = shapely.contains(other, points)
    gaps_mm = shapely.distance(points, other)
    gaps_mm[inside] = -shapely.distance(points[inside], other.boundary)
    shortest = shapely.shortest_line(points, other)
    ways = shapely.get_coordinates(shortest).reshape(-1, 2, 2)
    towards = np.einsum("ni,ni->n", ways[:, 1] - ways[:, 0], outwards)
    facing = inside | ((gaps_mm <= FACING_MM) & (towards >= FACING_COSINE * gaps_mm))
    # The way to the neighbour runs outside the part, or else another stretch of the edge faces it. Lines that leave
    # the part within 0.04 mm and never come back need no clipping.
    asked = np.flatnonzero(facing & ~inside)
    begun = ways[asked, 0] + (ways[asked, 1] - ways[asked, 0]) * (0.04 / np.maximum(gaps_mm[asked], 0.04))[:, None]
    beyond = shapely.linestrings(np.stack([begun, ways[asked, 1]], axis=1))
    asked = asked[shapely.intersects(part, beyond)]
    facing[asked] = shapely.length(shapely.intersection(shortest[asked], part)) < 0.05
    return samples[facing], gaps_mm[facing]


def _along(ring: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points along a ring, (n, 2), and the directions out of it there, (n, 2)."""
    ends = np.roll(ring, -1, axis=0)
    area = float((ring[:, 0] * ends[:, 1] - ring[:, 1] * ends[:, 0]).sum())
    way = 1.0 if area >= 0.0 else -1.0
    points, outwards = [], []
    for start, end in zip(ring, ends, strict=True):
        length_mm = float(np.linalg.norm(end - start))
        if length_mm == 0.0:
            continue
        count = max(1, math.ceil(length_mm / SAMPLE_MM))
        points.append(start + (np.arange(count) / count)[:, None] * (end - start))
        across = way * np.array([end[1] - start[1], start[0] - end[0]]) / length_mm
        outwards.append(np.repeat(across[None], count, axis=0))
    return np.vstack(points), np.vstack(outwards)


def _says(gap: EdgeGap, landmarks: Mapping[str, Sequence[float]]) -> str:
    low, high = gap.wanted_mm
    wanted = ""
    if low is not None and high is not None:
        wanted = f" (wanted {low:g} to {high:g} mm)"
    elif low is not None or high is not None:
        wanted = f" (wanted at least {low:g} mm)" if low is not None else f" (wanted at most {high:g} mm)"
    narrow = f"narrowest {gap.narrowest_mm:.1f} mm"
    if gap.narrowest_mm < 0.0:
        narrow = f"overlaps by up to {-gap.narrowest_mm:.1f} mm"
    text = f"{gap.edge} to {gap.neighbour}: {narrow}, {_near(gap.narrowest_at_mm, landmarks)}"
    if gap.widest_mm - gap.narrowest_mm >= EVEN_MM:
        text += f"; widest {gap.widest_mm:.1f} mm, {_near(gap.widest_at_mm, landmarks)}"
    else:
        text += "; even along its length"
    text += f"{wanted}."
    if gap.trim_mm is not None:
        text += f" It is up to {gap.trim_mm:.1f} mm too narrow, over {len(gap.tight_at_mm) * SAMPLE_MM:.0f} mm of edge."
    if high is not None and gap.widest_mm > high + 1e-6:
        text += f" The widest place is {gap.widest_mm - high:.1f} mm too wide: no trimming mends that."
    return text


def _near(point: Sequence[float], landmarks: Mapping[str, Sequence[float]]) -> str:
    """A place by the nearest fixing, and which way from it; by its coordinates where no fixing is known."""
    if not landmarks:
        return f"near x {point[0]:.0f}, y {point[1]:.0f}"
    name = min(landmarks, key=lambda one: (math.dist(landmarks[one][:2], point[:2]), one))
    return way(name, landmarks[name], point)


def trim_jobs(
    question: AdaptationQuestion, gaps: Iterable[EdgeGap], donor_to_host: Matrix
) -> tuple[tuple[Action, ...], tuple[Refusal, ...]]:
    """Make a job of each edge that has to come off, where that may be done, and a refusal where it may not.

    No edge is trimmed of a part whose duty or material forbids cutting, nor within the margin of a protected zone, nor
    nearer to a hole than its distance from an edge.
    """
    bench = Bench(question)
    actions, refusals = [], []
    landmarks = {spot.id: spot.at_mm for spot in question.task.features if spot.id in bench.donor_feature}
    back = np.linalg.inv(np.array(donor_to_host, dtype=float))
    for gap in gaps:
        if gap.trim_mm is None:
            continue
        tight = np.array(gap.tight_at_mm)
        on_donor = np.c_[tight, np.zeros(len(tight))] @ back[:2, :3].T + back[:2, 3]
        refusal = bench.donor.may("slot") or _refuse_trim(bench, gap, on_donor)
        if refusal is not None:
            refusals.append(refusal)
            continue
        done = bench.action("trim edge", gap.edge, _trim_says(gap, on_donor, landmarks))
        middle = on_donor[len(on_donor) // 2]
        actions.append(replace(done, to_mm=gap.trim_mm, at_mm=tuple(round(float(v), 1) for v in middle)))
    return tuple(actions), tuple(refusals)


def _refuse_trim(bench: Bench, gap: EdgeGap, on_donor: np.ndarray) -> Refusal | None:
    """What comes off brings the edge nearer to zones and holes."""
    assert gap.trim_mm is not None
    limits, margin = bench.donor, edge_rule("zone margin")
    for obstacle in limits.obstacles:
        if obstacle.what != "hole" and not obstacle.is_protected:
            continue
        away_mm = float(to_segments_mm(on_donor[:, None], obstacle.starts, obstacle.ends).min())
        left_mm = away_mm - gap.trim_mm
        if obstacle.is_protected and left_mm < margin.value:
            says = f"the edge to {gap.neighbour} lies {away_mm:.0f} mm from the {obstacle.what} {obstacle.name}"
            return Refusal(f"{says} ({margin.value:g} mm are kept); {LICENSED}", SAFETY)
        # The bolt is not known here, and is never larger than its hole.
        least_mm, source = limits.edge_mm(obstacle.across_mm, obstacle.across_mm, False)
        if not obstacle.is_protected and left_mm < least_mm:
            left = f"leave {left_mm:.1f} mm between it and the centre of {obstacle.name}"
            says = f"trimming the edge to {gap.neighbour} would {left} ({least_mm:.1f} are kept)"
            return Refusal(says, source, obstacle.name)
    return None


def _trim_says(gap: EdgeGap, on_donor: np.ndarray, landmarks: Mapping[str, Sequence[float]]) -> str:
    """Where and how much, by the donor's own features, a stretch after the other."""
    places = []
    for stretch in _stretches(on_donor)[:MOST_STRETCHES]:
        ends = f"from {_near(stretch[0], landmarks)} to {_near(stretch[-1], landmarks)}"
        places.append(f"{len(stretch) * SAMPLE_MM:.0f} mm {ends}")
    held = "is on" if gap.narrowest_mm >= 0.0 else "is held as near as it goes"
    return (
        f"Take up to {gap.trim_mm:.1f} mm off the edge to {gap.neighbour}: {'; '.join(places)}. Mark the line with "
        f"tape while the part {held}, stay on the outside of it, and try it on again before taking more."
    )


def _stretches(points: np.ndarray) -> list[np.ndarray]:
    """Points of an edge as the runs that they make, the longest first; the first and last may be one run."""
    cuts = np.flatnonzero(np.linalg.norm(np.diff(points, axis=0), axis=1) > 1.5 * SAMPLE_MM) + 1
    runs = np.split(points, cuts)
    if len(runs) > 1 and float(np.linalg.norm(runs[0][0] - runs[-1][-1])) <= 1.5 * SAMPLE_MM:
        runs = [np.vstack([runs[-1], runs[0]]), *runs[1:-1]]
    return sorted(runs, key=len, reverse=True)
