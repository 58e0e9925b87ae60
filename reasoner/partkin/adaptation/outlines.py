"""The donor's edges against its neighbours' at the placement: overlap, gaps, where to trim."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from partkin.adaptation.choices import Bench
from partkin.adaptation.dressing import priced_action
from partkin.adaptation.limits import LICENSED, SAFETY, Refusal, apart_mm
from partkin.adaptation.tables import rule
from partkin.adaptation.zones import Matrix, in_host
from partkin.model.adapting import Action, AdaptationQuestion, EdgeGap
from partkin.model.build import Neighbour, Outline
from partkin.model.words import PROTECTED_ZONES

# An edge is sampled this closely; the gap is a distance, so it is off by no more between samples.
SAMPLE_MM = 1.0
# Common practice, no source: farther apart than this, two edges do not face each other.
FACING_MM = 30.0


def edge_gaps(
    donor_outlines: Iterable[Outline],
    neighbour_outlines: Iterable[Outline],
    neighbours: Iterable[Neighbour],
    donor_to_host: Matrix,
    to_host: Mapping[str, Matrix] | None = None,
) -> tuple[EdgeGap, ...]:
    """Measure the gap along each edge that neighbours.csv lists, as a person reads it.

    Parameters
    ----------
    donor_outlines
        In the donor's frame. An outline named as the row's `edge` is used alone; where none is, all edges.
    neighbour_outlines
        Of every neighbour, each in its own frame.
    neighbours
        Rows of neighbours.csv for the part that the donor takes the place of.
    donor_to_host
        4 x 4, row major.
    to_host
        Placements of the neighbours, by part; those left out lie in the host's frame already.

    Returns
    -------
    tuple of EdgeGap
        In row order; rows whose outlines are not known, or whose edges are nowhere within 30 mm, are left
        out. Gaps are to the sampling of 1 mm along the edge.
    """
    ours = [line for line in donor_outlines if line.kind == "edge" and len(line.corners_mm) > 2]
    theirs = [line for line in neighbour_outlines if line.kind == "edge" and len(line.corners_mm) > 2]
    found = []
    for row in neighbours:
        lines = [line for line in ours if line.name == row.edge] or ours
        facing = [line for line in theirs if line.part == row.neighbour]
        if not lines or not facing:
            continue
        move = (to_host or {}).get(row.neighbour)
        gap = _gap(
            row,
            [in_host(line.corners_mm, donor_to_host)[:, :2] for line in lines],
            [in_host(line.corners_mm, move)[:, :2] for line in facing],
        )
        if gap is not None:
            found.append(gap)
    return tuple(found)


def _gap(row: Neighbour, ours: list[np.ndarray], theirs: list[np.ndarray]) -> EdgeGap | None:
    import shapely

    part = shapely.make_valid(shapely.union_all([shapely.Polygon(ring) for ring in ours]))
    other = shapely.make_valid(shapely.union_all([shapely.Polygon(ring) for ring in theirs]))
    points, gaps_mm = _facing(shapely, ours, part, other)
    if len(points) == 0:
        return None
    low, high = int(np.argmin(gaps_mm)), int(np.argmax(gaps_mm))
    overlap_mm2 = float(part.intersection(other).area)
    trim_mm = None
    wanted_mm = row.gap_min_mm if row.gap_min_mm is not None else 0.0
    if gaps_mm[low] < wanted_mm - 1e-6:
        trim_mm = round(wanted_mm - float(gaps_mm[low]), 1)
    tight = points[gaps_mm < wanted_mm - 1e-6]
    gap = EdgeGap(
        row.edge, row.neighbour, round(float(gaps_mm[low]), 2), _place(points[low]), round(float(gaps_mm[high]), 2),
        _place(points[high]), (row.gap_min_mm, row.gap_max_mm), round(overlap_mm2, 1), trim_mm, "",
    )  # fmt: skip
    return replace(gap, says=_says(gap, tight), tight_at_mm=tuple(_place(point) for point in tight))


def _place(point: np.ndarray) -> tuple[float, float]:
    return round(float(point[0]), 1), round(float(point[1]), 1)


def _facing(shapely: Any, rings: Sequence[np.ndarray], part: Any, other: Any) -> tuple[np.ndarray, np.ndarray]:
    """Points of the edge that face the neighbour, (n, 2), with the gap there: negative where they overlap."""
    samples = np.vstack([_along(ring) for ring in rings])
    points = shapely.points(samples)
    gaps_mm = shapely.distance(points, other)
    inside = shapely.contains(other, points)
    gaps_mm = np.where(inside, -shapely.distance(points, other.boundary), gaps_mm)
    shortest = shapely.shortest_line(points, other.boundary)
    # The way to the neighbour runs outside the part, or else another stretch of the edge faces it.
    through = shapely.length(shapely.intersection(shortest, part))
    facing = inside | ((gaps_mm <= FACING_MM) & (through < 0.05))
    return samples[facing], gaps_mm[facing]


def _along(ring: np.ndarray) -> np.ndarray:
    points = []
    for start, end in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        count = max(1, int(np.ceil(np.linalg.norm(end - start) / SAMPLE_MM)))
        points.append(start + (np.arange(count) / count)[:, None] * (end - start))
    return np.vstack(points)


def _says(gap: EdgeGap, tight: np.ndarray) -> str:
    low, high = gap.wanted_mm
    wanted = ""
    if low is not None and high is not None:
        wanted = f" (wanted {low:g} to {high:g})"
    elif low is not None or high is not None:
        wanted = f" (wanted at least {low:g})" if low is not None else f" (wanted at most {high:g})"
    narrow = f"narrowest {gap.narrowest_mm:.1f} mm" if gap.narrowest_mm >= 0.0 else (
        f"overlaps by up to {-gap.narrowest_mm:.1f} mm"
    )  # fmt: skip
    text = (
        f"{gap.edge} to {gap.neighbour}: {narrow} near x {gap.narrowest_at_mm[0]:.0f}, y {gap.narrowest_at_mm[1]:.0f}; "
        f"widest {gap.widest_mm:.1f} mm near x {gap.widest_at_mm[0]:.0f}, y {gap.widest_at_mm[1]:.0f}{wanted}."
    )
    if gap.trim_mm is not None:
        (ax, ay), (bx, by) = tight.min(axis=0), tight.max(axis=0)
        text += (
            f" Take up to {gap.trim_mm:.1f} mm off the edge between x {ax:.0f}, y {ay:.0f} and x {bx:.0f}, y {by:.0f}."
        )
    if high is not None and gap.widest_mm > high + 1e-6:
        text += f" The widest place is {gap.widest_mm - high:.1f} mm too wide: no trimming mends that."
    return text


def trim_jobs(
    question: AdaptationQuestion, gaps: Iterable[EdgeGap], donor_to_host: Matrix
) -> tuple[tuple[Action, ...], tuple[Refusal, ...]]:
    """Make a job of each edge that has to come off, where that may be done.

    Returns
    -------
    actions, refusals
        No edge is trimmed of a part whose duty or material forbids cutting, nor within the margin of a
        protected zone.
    """
    bench = Bench(question)
    actions, refusals = [], []
    margin = rule("zone margin")
    back = np.linalg.inv(np.array(donor_to_host, dtype=float))
    for gap in gaps:
        if gap.trim_mm is None:
            continue
        refusal = bench.donor.may("slot")
        stretch = np.array([*gap.tight_at_mm, gap.narrowest_at_mm])
        on_donor = np.c_[stretch, np.zeros(len(stretch))] @ back[:2, :3].T + back[:2, 3]
        for obstacle in bench.donor.obstacles:
            if obstacle.what in PROTECTED_ZONES and refusal is None:
                away_mm = min(apart_mm(np.array([at, at]), obstacle.starts, obstacle.ends) for at in on_donor)
                # What comes off brings the edge nearer.
                if away_mm - gap.trim_mm < margin.value:
                    says = f"the edge to {gap.neighbour} lies {away_mm:.0f} mm from the {obstacle.what} {obstacle.name}"
                    refusal = Refusal(f"{says}; {LICENSED}", SAFETY)
        if refusal is not None:
            refusals.append(refusal)
            continue
        done = priced_action(bench, "trim edge", gap.edge, "donor", gap.says, None)
        actions.append(replace(done, to_mm=gap.trim_mm, at_mm=tuple(round(float(v), 1) for v in on_donor[-1])))
    return tuple(actions), tuple(refusals)

