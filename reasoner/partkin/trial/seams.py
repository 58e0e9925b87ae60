"""Where the donor's tear seam and airbag door come to lie, and how far that is from where the original's lie.

A zone of one corner is a point, of two a line; three or more close into a ring, and only its line counts.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from partkin.fit.segments import segments_of, to_segments_mm
from partkin.fit.solve import pulled, solve
from partkin.fit.task import Pairing, Prepared
from partkin.model.build import Zone
from partkin.model.fitting import Conflict, FitAnswer, FitTask, HeldSeam, Option, Spot
from partkin.model.known import Known, Side, is_airbag_panel
from partkin.model.positions import Positions
from partkin.model.verdict import SeamCheck, Trial
from partkin.model.words import AIRBAG_ZONES
from partkin.positions.budget import in_frame_mm2
from partkin.tables.instruments import coordinate_error_mm
from partkin.trial.places import Places, adjusted, prepared_task

Point = tuple[float, float]
# Lipschitz constant of the Steiner point in the plane, for the Hausdorff distance of the convex hulls, and so for
# that of the lines (Schneider, Convex Bodies: The Brunn-Minkowski Theory, section 1.8; from memory).
STEINER_FACTOR = 4.0 / math.pi
CORNERS_COMPARED = 2
DIAGONAL = 2**0.5
# One fixing alone leaves open how the original was turned.
FEWEST_PAIRS = 2
# Where nobody drew either: what has to be looked for.
UNSEEN = ("tear seam or airbag door",)
Matrix = tuple[tuple[float, ...], ...]
IDENTITY: Matrix = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))


class SeamDeparture(NamedTuple):
    """How far a donor's tear seam or airbag door stands from the original's at the placement.

    A zone that only one side has carries None for the other's name and no departure: missing there.
    """

    kind: str
    donor_zone: str | None
    original_zone: str | None
    departure_mm: float | None


def steiner_point(corners: Sequence[Point]) -> Point:
    """Mean of the corners of the convex hull, each weighed by its outer angle; turned with what it belongs to.

    >>> steiner_point([(0.0, 0.0), (10.0, 0.0)]), steiner_point([(0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (0.0, 2.0)])
    ((5.0, 0.0), (2.0, 1.0))
    """
    hull = _hull(sorted(set(corners)))
    if len(hull) < 3:
        return sum(x for x, _ in hull) / len(hull), sum(y for _, y in hull) / len(hull)
    x = y = 0.0
    for before, at, after in zip([hull[-1], *hull[:-1]], hull, [*hull[1:], hull[0]], strict=True):
        first, second = (at[0] - before[0], at[1] - before[1]), (after[0] - at[0], after[1] - at[1])
        # Anticlockwise it never turns right; where corners lie in one line rounding may say so.
        left = abs(first[0] * second[1] - first[1] * second[0])
        turn = math.atan2(left, first[0] * second[0] + first[1] * second[1]) / (2.0 * math.pi)
        x, y = x + turn * at[0], y + turn * at[1]
    return x, y


def _hull(points: list[Point]) -> list[Point]:
    """Corners of the convex hull, anticlockwise (monotone chain)."""
    if len(points) < 3:
        return points

    def chain(run: Sequence[Point]) -> list[Point]:
        found: list[Point] = []
        for p in run:
            while len(found) > 1 and _left(found[-2], found[-1], p) <= 0:
                found.pop()
            found.append(p)
        return found[:-1]

    return chain(points) + chain(points[::-1])


def _left(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def choose(known: Known, places: Places, prepared: Prepared, answer: FitAnswer) -> tuple[FitAnswer, SeamCheck]:
    """Of the pairings that go on, the one that puts the seam where the original's lies, with how it lies there.

    A symmetric pattern goes on in several ways, and only the right way round will do. Where none is right, the
    check carries a proof over every placement, if there is one. `answer`: to the task of `prepared`.
    """
    shown = _lying(known, places, answer)
    if not (shown.too_far or shown.coincide) or not (shown.too_far or answer.also):
        return answer, shown
    rivals = [_laid(prepared, answer, pairs) for pairs in answer.also_pairs]
    ways = [(answer, shown), *((rival, _lying(known, places, rival)) for rival in rivals if rival is not None)]
    right = [way for way in ways if not way[1].too_far]
    if not right and answer.fits and prepared.task.dims == 2:
        guided, conflict = _guided(known, places, prepared, answer)
        if guided is None:
            return answer, replace(shown, conflict=conflict)
        right = [guided]
    if not right:
        return answer, shown
    first, lying = right[0]
    others = tuple(tuple((p.fixing, p.feature) for p in other.pairs) for other, _ in right[1:])
    return replace(first, also=len(others), also_pairs=others), lying


def _laid(prepared: Prepared, answer: FitAnswer, pairs: Sequence[Pairing]) -> FitAnswer | None:
    """The answer as it is with these pairs in place of those shown; None: they do not go as far as those."""
    wanted = set(pairs)
    task = _judged(prepared, answer)
    options = tuple(o for o in task.options if (o.fixing, o.feature) in wanted)
    laid = solve(replace(task, options=options, given=True))
    if not laid.placement or (answer.fits and not laid.fits):
        return None
    return replace(
        answer, placement=laid.placement, pairs=laid.pairs, margin_mm=laid.margin_mm, slides=laid.slides,
        unpaired_fixings=laid.unpaired_fixings, unpaired_features=laid.unpaired_features,
    )  # fmt: skip


def _judged(prepared: Prepared, answer: FitAnswer) -> FitTask:
    return pulled(prepared.task, answer.flex_used_mm) if answer.flex_used_mm else prepared.task


def _guided(
    known: Known, places: Places, prepared: Prepared, answer: FitAnswer
) -> tuple[tuple[FitAnswer, SeamCheck] | None, Conflict | None]:
    """Look for a pairing with the seams as points that have to be held besides; else the proof that there is none.

    The Steiner points of two lines no further apart than d are no further apart than `STEINER_FACTOR` d.
    """
    held = _held(known, places, answer)
    if not held:
        return None, None
    task = _judged(prepared, answer)
    on_donor, on_original = _kinds(known.donor), _kinds(known.original)
    fewer = {kind for kind in AIRBAG_ZONES if on_original[kind] <= on_donor[kind]}
    fixings = {one.name: Spot(one.name, one.at_host_mm, must=one.kind in fewer) for one in held}
    features = {one.name_on_donor: Spot(one.name_on_donor, one.at_donor_mm, must=one.kind not in fewer) for one in held}
    whole = replace(
        task,
        fixings=(*task.fixings, *fixings.values()),
        features=(*task.features, *features.values()),
        options=(*task.options, *(Option(one.name, one.name_on_donor, one.within_mm) for one in held)),
        given=task.given and len(held) == 1,
    )
    found = solve(whole)
    if not found.fits:
        return None, _with_seams(found.conflict, held)
    laid = _laid(prepared, answer, [(p.fixing, p.feature) for p in found.pairs if p.fixing not in fixings])
    if laid is None:
        return None, None
    lying = (_lying(known, places, way) for way in (laid, found))
    right = next((one for one in lying if not one.too_far), None)
    return ((laid, right) if right is not None else None), None


def _with_seams(conflict: Conflict | None, held: tuple[HeldSeam, ...]) -> Conflict | None:
    """The conflict with its seams told apart from its fixings."""
    if conflict is None:
        return None
    names = {one.name for one in held} | {one.name_on_donor for one in held}
    return replace(
        conflict, shortfall_mm=None, seams=held,
        fixings=tuple(n for n in conflict.fixings if n not in names),
        features=tuple(n for n in conflict.features if n not in names),
        pairs=tuple(p for p in conflict.pairs if p.fixing not in names),
    )  # fmt: skip


def _held(known: Known, places: Places, answer: FitAnswer) -> tuple[HeldSeam, ...]:
    """Every seam of the donor with every one of the original that it may be, as points."""
    original = known.original
    found = _original_on_host(known, original, places) if original is not None else None
    if original is None or found is None or isinstance(found, str):
        return ()
    matrix, play_mm = found
    within_mm = STEINER_FACTOR * (_readings_mm(places, answer) + play_mm)
    return tuple(
        HeldSeam(ours.kind, ours.zone, theirs.zone, _point(ours, matrix), _point(theirs, None), within_mm)
        for kind in AIRBAG_ZONES for ours in original.zones for theirs in known.donor.zones
        if ours.kind == theirs.kind == kind
    )  # fmt: skip


def _point(zone: Zone, matrix: Matrix | None) -> tuple[float, float]:
    x, y = steiner_point([(float(x), float(y)) for x, y in in_host(zone.corners_mm, matrix)])
    return x, y


def compare(known: Known, places: Places, laid: FitAnswer, chosen: Trial | None = None) -> SeamCheck | None:
    """Compare the seams of a donor laid on, as it is or after work; None where no airbag bursts through this panel.

    The donor's seam may stand off the original's by what the readings and the play at the fixings explain (where
    it does not go on: and by how far it is out of reach), and no further. `chosen`: the trial as it is: where that
    waits for a value or is undecided, nothing is compared.
    """
    return _lying(known, places, laid, chosen) if is_airbag_panel(known) else None


def _lying(known: Known, places: Places, laid: FitAnswer, chosen: Trial | None = None) -> SeamCheck:
    original = known.original
    on_donor, on_original = _kinds(known.donor), _kinds(original)
    unknown_on_donor = tuple(k for k in AIRBAG_ZONES if on_original[k] > on_donor[k])
    unknown_on_original = tuple(k for k in AIRBAG_ZONES if on_donor[k] > on_original[k])
    if not on_donor and not on_original:
        unknown_on_donor, unknown_on_original = UNSEEN, UNSEEN
    nothing = SeamCheck(unknown_on_donor=unknown_on_donor, unknown_on_original=unknown_on_original)
    waits = chosen is not None and chosen.stand in ("missing", "undecided")
    if not laid.placement or waits or original is None:
        return nothing
    found = _original_on_host(known, original, places)
    if isinstance(found, str):
        return replace(nothing, not_compared=found)
    matrix, play_mm = found
    limit_mm = _readings_mm(places, laid) + play_mm + abs(laid.margin_mm or 0.0)
    limit_mm += _of_heights_mm(known.donor, laid.placement.matrix) + _of_heights_mm(original, matrix)
    departures = seam_departure(known.donor.zones, original.zones, laid.placement.matrix, matrix)
    lying = [(d.kind, d.departure_mm, limit_mm) for d in departures if d.departure_mm is not None]
    return replace(
        nothing,
        coincide=tuple(row for row in lying if row[1] <= limit_mm),
        too_far=tuple(row for row in lying if row[1] > limit_mm),
        original_at=matrix,
    )


def _of_heights_mm(side: Side, matrix: Matrix) -> float:
    """How far to one side its height may put a seam, which lies no higher or lower than the part's features."""
    high_mm = max((abs(feature.z_mm or 0.0) for feature in side.features), default=0.0)
    return high_mm * math.hypot(matrix[0][2], matrix[1][2])


def _readings_mm(places: Places, laid: FitAnswer) -> float:
    """How far two corners may be read apart, and how far the readings of the paired holes may lay the part off."""
    corners_mm = CORNERS_COMPARED * DIAGONAL * coordinate_error_mm()
    shown = [places.hosted.placed_by.get(pair.fixing, pair.fixing) for pair in laid.pairs]
    return corners_mm + _out_mm(places.host, shown) + _out_mm(places.donor, [pair.feature for pair in laid.pairs])


def _out_mm(positions: Positions, names: Sequence[str]) -> float:
    """How far the middle of these holes may be out: two standard deviations of their mean."""
    rows = [positions.features.index(name) for name in names if name in positions.features]
    if not rows:
        return 0.0
    d = positions.dims
    at = [row * d + axis for row in rows for axis in range(d)]
    spread = in_frame_mm2(positions)[at, at].sum()
    return 2.0 * float(np.sqrt(spread)) / len(rows)


def _kinds(side: Side | None) -> Counter[str]:
    """How many seams and doors of each kind a side lists."""
    return Counter() if side is None else Counter(zone.kind for zone in side.zones if zone.kind in AIRBAG_ZONES)


def _original_on_host(known: Known, original: Side, places: Places) -> tuple[Matrix, float] | str:
    """Placement of the original on the host, and its play there; or why that is not known.

    By itself where its own holes show the fixings.
    """
    if places.hosted.measured_from == "original":
        return IDENTITY, 0.0
    nowhere = "too few of the original's own fixings are measured, so its seam could not be laid beside the donor's"
    if not original.features:
        return nowhere
    as_donor = replace(known, donor=original)
    there = replace(places, donor=adjusted(original))
    faces = known.host.part.seen_from, original.part.seen_from
    mirrored = None not in faces and faces[0] != faces[1]
    laid = solve(prepared_task(as_donor, there, mirrored=mirrored).task, proof=False)
    if not laid.placement or len(laid.pairs) < FEWEST_PAIRS:
        return nowhere
    if laid.also:
        return (
            "the original goes on its fixings in more than one way, so where its seam lay is not known: say which "
            "feature goes on which fixing (goes_on)"
        )
    return laid.placement.matrix, max(0.0, laid.margin_mm or 0.0)


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
    """Hausdorff distance of two lines (or rings, from three corners on), to within 0.001 mm.

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
    donors: Sequence[Zone], originals: Sequence[Zone], donor_to_host: Matrix, original_to_host: Matrix | None = None
) -> list[SeamDeparture]:
    """Compare the donor's tear seams and airbag doors with where the original's lie.

    Zones in their own frames, placements 4 x 4 (None: the original's frame is the host's). Zones of one kind are put
    together so that the largest departure is least; one left over on either side has the other name None and no
    departure: it is missing there.

    >>> still = [[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]]
    >>> seam = Zone("P", "Z1", "tear seam", ((0.0, 0.0), (200.0, 0.0)))
    >>> moved = Zone("D", "Z9", "tear seam", ((0.0, 1.5), (200.0, 1.5)))
    >>> [found] = seam_departure([moved], [seam], still)
    >>> found.donor_zone, found.original_zone, found.departure_mm
    ('Z9', 'Z1', 1.5)
    """
    found: list[SeamDeparture] = []
    for kind in AIRBAG_ZONES:
        ours, theirs = ([zone for zone in zones if zone.kind == kind] for zones in (originals, donors))
        their_lines = [in_host(zone.corners_mm, donor_to_host) for zone in theirs]
        our_lines = [in_host(zone.corners_mm, original_to_host) for zone in ours]
        apart_mm = np.array([[hausdorff_mm(a, b) for b in their_lines] for a in our_lines])
        columns = _matched(apart_mm) if ours and theirs else [None] * len(ours)
        for row, (zone, column) in enumerate(zip(ours, columns, strict=True)):
            name, away_mm = None, None
            if column is not None:
                name, away_mm = theirs[column].zone, round(float(apart_mm[row, column]), 3)
            found.append(SeamDeparture(kind, name, zone.zone, away_mm))
        found += [SeamDeparture(kind, z.zone, None, None) for n, z in enumerate(theirs) if n not in columns]
    return found
