"""How far a donor's tear seams and airbag doors stand from where the original's lie.

A zone of one corner is a point, of two a line; three or more close into a ring, and only its line counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from partkin.fit.segments import segments_of, to_segments_mm
from partkin.model.adapting import SeamDeparture
from partkin.model.build import Zone
from partkin.model.words import AIRBAG_ZONES

Matrix = Sequence[Sequence[float]]
HAUSDORFF_EXACT_TO_MM = 0.001


def _directed_mm(line: np.ndarray, other: np.ndarray) -> float:
    """Largest distance of a point of `line` from `other`, to within HAUSDORFF_EXACT_TO_MM.

    Distance to one segment is convex along a piece, so over the piece it is at most the larger of its
    ends; the least of that over the segments bounds the piece from above, and halving closes the gap.
    """
    segments = segments_of(other)
    pieces = [
        (a, b, to_segments_mm(a, *segments), to_segments_mm(b, *segments))
        for a, b in zip(*segments_of(line), strict=True)
    ]
    largest_mm = max((float(max(at_a.min(), at_b.min())) for _, _, at_a, at_b in pieces), default=0.0)
    while pieces:
        a, b, at_a, at_b = pieces.pop()
        if float(np.maximum(at_a, at_b).min()) <= largest_mm + HAUSDORFF_EXACT_TO_MM:
            continue
        middle = 0.5 * (a + b)
        at_middle = to_segments_mm(middle, *segments)
        largest_mm = max(largest_mm, float(at_middle.min()))
        pieces += [(a, middle, at_a, at_middle), (middle, b, at_middle, at_b)]
    return largest_mm


def hausdorff_mm(line: np.ndarray, other: np.ndarray) -> float:
    """Hausdorff distance of two lines (or rings, from three corners on).

    Parameters
    ----------
    line, other
        Corners, (n, d) and (m, d), mm.

    Returns
    -------
    float
        Largest distance of a point of either from the other, mm, to within 0.001.

    Examples
    --------
    >>> hausdorff_mm(np.array([[0.0, 0.0], [100.0, 0.0]]), np.array([[0.0, 2.0], [103.0, 2.0]])) > 3.6
    True
    """
    return max(_directed_mm(line, other), _directed_mm(other, line))


def in_host(corners_mm: Sequence[Sequence[float]], matrix: Matrix | None) -> np.ndarray:
    """Corners carried to the host frame, (n, 2), as no sheet says how high they are.

    `matrix` 4 x 4, part to host (None: the same frame).
    """
    move = np.asarray(np.eye(4) if matrix is None else matrix, dtype=float)
    return np.asarray(np.asarray(corners_mm, dtype=float) @ move[:2, :2].T + move[:2, 3])


def _matched(departures_mm: np.ndarray) -> list[int | None]:
    """For each row the column it goes with, such that the largest departure is least; None: left over."""
    rows, columns = departures_mm.shape

    def grow(row: int, seen: set[int], limit_mm: float, taken: dict[int, int]) -> bool:
        for column in map(int, np.argsort(departures_mm[row], kind="stable")):
            if departures_mm[row, column] <= limit_mm and column not in seen:
                seen.add(column)
                if column not in taken or grow(taken[column], seen, limit_mm, taken):
                    taken[column] = row
                    return True
        return False

    for limit_mm in np.unique(departures_mm):
        row_of: dict[int, int] = {}
        if sum(grow(row, set(), float(limit_mm), row_of) for row in range(rows)) == min(rows, columns):
            column_of = {row: column for column, row in row_of.items()}
            return [column_of.get(row) for row in range(rows)]
    return [None] * rows


def seam_departure(
    donor_zones: Iterable[Zone],
    original_zones: Iterable[Zone],
    donor_to_host: Matrix,
    original_to_host: Matrix | None = None,
    kinds: Sequence[str] = AIRBAG_ZONES,
) -> list[SeamDeparture]:
    """Compare the donor's tear seams and airbag doors with where the original's lie.

    Parameters
    ----------
    donor_zones, original_zones
        Zones of either part, each in its own frame; other kinds are passed over.
    donor_to_host, original_to_host
        4 x 4 placements, row major; None: the original's frame is the host's.

    Returns
    -------
    list of SeamDeparture
        One for each zone, in the order of `kinds` and of the original's zones. Zones of one kind are put
        together so that the largest departure is least; one left over on either side has the other name
        None and no departure: it is missing there.

    Examples
    --------
    >>> still = [[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]]
    >>> seam = Zone("P", "Z1", "tear seam", ((0.0, 0.0), (200.0, 0.0)))
    >>> moved = Zone("D", "Z9", "tear seam", ((0.0, 1.5), (200.0, 1.5)))
    >>> [found] = seam_departure([moved], [seam], still)
    >>> found.donor_zone, found.original_zone, found.departure_mm
    ('Z9', 'Z1', 1.5)
    """
    found: list[SeamDeparture] = []
    donors, originals = tuple(donor_zones), tuple(original_zones)
    for kind in kinds:
        ours, theirs = ([zone for zone in zones if zone.kind == kind] for zones in (originals, donors))
        their_lines = [in_host(zone.corners_mm, donor_to_host) for zone in theirs]
        our_lines = [in_host(zone.corners_mm, original_to_host) for zone in ours]
        found += _put_together(kind, ours, theirs, [[hausdorff_mm(a, b) for b in their_lines] for a in our_lines])
    return found


def _put_together(kind: str, ours: list[Zone], theirs: list[Zone], apart_mm: list[list[float]]) -> list[SeamDeparture]:
    columns = _matched(np.array(apart_mm)) if ours and theirs else [None] * len(ours)
    found = []
    for row, (zone, column) in enumerate(zip(ours, columns, strict=True)):
        name, away_mm = None, None
        if column is not None:
            name, away_mm = theirs[column].zone, round(float(apart_mm[row][column]), 3)
        found.append(SeamDeparture(kind, name, zone.zone, away_mm))
    return found + [SeamDeparture(kind, z.zone, None, None) for n, z in enumerate(theirs) if n not in columns]
