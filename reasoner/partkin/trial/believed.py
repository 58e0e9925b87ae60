"""What the readings say of where a donor's features really stand, and places within their errors that let it go on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from partkin.fit.arrays import directions, grip_mm
from partkin.fit.discrepancies import Discrepancies, discrepancies
from partkin.fit.just_goes_on import Reach, at_their_ends, nearest_that_goes_on
from partkin.fit.making import Drawn, Ways, weigh
from partkin.fit.own_order import own_order
from partkin.fit.rotations import laid_over
from partkin.fit.solve import solve
from partkin.fit.task import UNKNOWN_PLAY_MM, Pairing, Prepared
from partkin.fit.within_errors import Said, within_errors
from partkin.model.distributions import chi_square_tail
from partkin.model.fitting import FitAnswer, FitTask, LikelyPlaces, Placement
from partkin.model.known import Known, Side, is_restraint
from partkin.model.positions import Positions
from partkin.positions import draws
from partkin.positions.budget import covariance_mm2
from partkin.positions.lengths import centre_distances, coordinate_half_width_mm
from partkin.positions.sampling import as_normal, evenly
from partkin.tables.instruments import making
from partkin.trial.places import Places, faces, layouts, places_of, prepared_task

SEED = 1
# Pairings that are as good are weighed against each other; more than these tell no more.
MOST_PAIRINGS = 8
Pairs = tuple[Pairing, ...]


@dataclass(frozen=True, eq=False)
class Believed:
    """Ways in which the donor may have been made, under each pairing that is as good as the one shown.

    `pairings`: pairs of which both ends have a place, in an order that neither rows nor names change. `share`: how
    likely each pairing is. `stands_in`: the original stands in for the host.
    """

    task: FitTask
    places: Places
    pairings: tuple[Pairs, ...]
    ways: tuple[Ways, ...]
    share: np.ndarray
    stands_in: bool

    @property
    def scatter_mm(self) -> float:
        """Of parts of one drawing."""
        return self.ways[0].scatter_mm

    @property
    def one_drawing(self) -> float:
        """Weight of one drawing after the readings."""
        return float(self.share @ [way.one_drawing for way in self.ways])

    def with_odds(self, times: float) -> float:
        """Weight of one drawing after the readings if its odds had been so many times as high before."""
        one = self.one_drawing * times
        return one / max(one + 1.0 - self.one_drawing, 1e-300)

    @property
    def another(self) -> Believed:
        """The same if it is of another drawing."""
        return replace(self, ways=tuple(way.another for way in self.ways))

    def donors_mm(self, start: int, count: int) -> tuple[np.ndarray, np.ndarray]:
        """Where the donor's features may really be, (count, m, d) mm in its own frame, and which are of one drawing.

        Of a donor of the original's own drawing, with the original standing in for the host: exactly as the original.
        What one maker's tool scatters is what the play was made for.
        """
        which = self._which(start, count)
        found = [self._donors(at, way.drawn(start, count)) for at, way in enumerate(self.ways)]
        rows = np.arange(count)
        return np.stack([at for at, _ in found])[which, rows], np.stack([one for _, one in found])[which, rows]

    def _which(self, start: int, count: int) -> np.ndarray:
        if len(self.ways) == 1:
            return np.zeros(count, dtype=int)
        order = np.argsort([-round(way.likely, 6) for way in self.ways], kind="stable")
        edges = np.cumsum(self.share[order])[:-1]
        return order[np.searchsorted(edges, evenly(SEED, ["pairing"], start, count)[:, 0, 0], side="right")]

    def _donors(self, pairing: int, drawn: Drawn) -> tuple[np.ndarray, np.ndarray]:
        way, pairs = self.ways[pairing], self.pairings[pairing]
        departs = np.where(drawn.one[:, None], 0.0, drawn.departs_mm) if self.stands_in else drawn.departs_mm
        return placed_as(self.task, pairs, way.of.donor_mm(departs)), drawn.one

    def sides_mm(self, start: int, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Where every feature of host and donor may really be, (count, n, d) each, and the donor's as in `donors_mm`.

        Draw k is one story: whether it goes on is asked of the third, what a reading would come out at of the others.
        """
        host, donor = as_normal(self.places.host), as_normal(self.places.donor)
        off_host, off_donor = (side.xyz_mm - draws(side, count, SEED, start) for side in (host, donor))
        way, pairs, d = self.ways[0], self.pairings[0], self.task.dims
        shown, there = _rows(self.places, pairs)
        onto = way.of.onto * mirror_of(self.task)
        out = off_donor[:, there, :d] @ onto.T - off_host[:, shown, :d]
        drawn = way.drawn(start, count, out.reshape(count, -1) @ way.of.basis)
        pulled = (drawn.pull @ way.of.basis.T).reshape(count, -1, d)
        off_donor = off_donor + _carried(donor, there, pulled @ onto)
        off_host = off_host - _carried(host, shown, pulled)
        return host.xyz_mm - off_host, donor.xyz_mm - off_donor, self._donors(0, drawn)[0]


def believed(prepared: Prepared, answer: FitAnswer, places: Places) -> Believed | None:
    """Weigh how the donor may have been made; None: no pair has a place on both sides."""
    shown = tuple((pair.fixing, pair.feature) for pair in answer.pairs)
    pairings = [_placed(prepared.task, places, pairs) for pairs in (shown, *answer.also_pairs)[:MOST_PAIRINGS]]
    pairings = [pairs for pairs in pairings if len(pairs) == len(pairings[0])]
    if not pairings[0] or not isinstance(answer.placement, Placement):
        return None
    onto = np.array(answer.placement.matrix)[: prepared.task.dims, : prepared.task.dims]
    how = making(places.one_drawing.scatter_mm)
    ways = tuple(
        weigh(_discrepancies(prepared.task, places, pairs, onto), how, places.one_drawing.weight) for pairs in pairings
    )
    likely = np.array([way.likely for way in ways])
    share = np.exp(likely - likely.max())
    stands_in = places.hosted.measured_from == "original"
    return Believed(prepared.task, places, tuple(pairings), ways, share / share.sum(), stands_in)


@dataclass(frozen=True, eq=False)
class Guard:
    """What would have to be read for a part that just goes on to be told from this donor."""

    places: Places
    pairs: Pairs
    of: Discrepancies
    reach: Reach
    mirror: np.ndarray

    def lets(self, part: str, row: np.ndarray, sigma_mm: float, above_mm: np.ndarray, confidence: float) -> np.ndarray:
        """Whether "does not" would be said of it for all that a part which just goes on may be read so, (m,) bool.

        `row` (n d,): how the length that is read changes with the part's coordinates. `above_mm` (m,): how far the
        reading comes out above what it is expected to be.
        """
        shown, there = _rows(self.places, self.pairs)
        d = self.of.fixings_mm.shape[1]
        on_donor = part == self.places.donor.part
        side, rows = (self.places.donor, there) if on_donor else (self.places.host, shown)
        felt = covariance_mm2(side) @ row
        own = felt.reshape(-1, side.dims)[rows, :d]
        own = -own @ (self.of.onto * self.mirror).T if on_donor else own
        after, y_mm = self.of.told(own.ravel() @ self.of.basis, float(row @ felt) + sigma_mm**2, above_mm)
        held, missed = nearest_that_goes_on(after, self.reach, y_mm)
        ends = np.maximum(at_their_ends(self.reach, held), 1)
        tails = [chi_square_tail(float(far), int(k)) for far, k in zip(missed, ends, strict=True)]
        return np.array(tails) <= 1.0 - confidence


def guard_of(prepared: Prepared, answer: FitAnswer, places: Places, pairs: Sequence[Pairing]) -> Guard | None:
    """The guard on "does not fit" for readings to come; None: too few of the pairs have a place."""
    found = held_alone(prepared, answer, places, pairs)
    if found is None:
        return None
    return Guard(places, _placed(prepared.task, places, pairs), *found, mirror_of(prepared.task))


def held_alone(
    prepared: Prepared, answer: FitAnswer, places: Places, pairs: Sequence[Pairing]
) -> tuple[Discrepancies, Reach] | None:
    """Discrepancies of the pairs that have to hold, and what each may be off by at most; None: too few have a place."""
    placed = _placed(prepared.task, places, pairs)
    if len(placed) < 2 or len(placed) < len(pairs) or not isinstance(answer.placement, Placement):
        return None
    onto = np.array(answer.placement.matrix)[: prepared.task.dims, : prepared.task.dims]
    of = _discrepancies(prepared.task, places, placed, onto)
    return of, reach_of(prepared, placed, of.onto)


def reach_of(prepared: Prepared, pairs: Sequence[Pairing], onto: np.ndarray, *, at_most: bool = True) -> Reach:
    """What each pair may be off by: its play and slots.

    `at_most`: with sizes at their kindest, and with what the original's play leaves open of where its fixing stood.
    """
    task = prepared.task
    hosts, donors = {s.id: s for s in task.fixings}, {s.id: s for s in task.features}
    allowed = {(o.fixing, o.feature): o.allowed_mm for o in task.options}
    radius, along, half = [], [], []
    for fixing, feature in pairs:
        host, donor, known, other = hosts[fixing], donors[feature], prepared.fixings[fixing], prepared.features
        across = known.across.half_width_mm + (other[feature].across.half_width_mm if feature in other else 0.0)
        radius.append(max(0.0, allowed[fixing, feature] + (across + known.play_mm if at_most else 0.0)))
        half.append([host.half_travel_mm, donor.half_travel_mm, known.play_half_travel_mm if at_most else 0.0])
        angles = directions(np.array([host.angle_deg, donor.angle_deg, known.play_angle_deg]))
        along.append([_laid(angles[0], host.axis, task), _laid(angles[1], donor.axis, task, onto),
                      _laid(angles[2], host.axis, task)])  # fmt: skip
        if task.dims == 3:
            half[-1].append(min(grip_mm(host, donor), UNKNOWN_PLAY_MM))
            along[-1].append(np.array(host.axis))
    axis = np.array([hosts[fixing].axis for fixing, _ in pairs]) if task.dims == 3 else None
    used = np.array(half).any(axis=0)
    return Reach(np.array(radius), np.array(along)[:, used], np.array(half)[:, used], axis)


def _laid(
    angle: np.ndarray, axis: tuple[float, float, float], task: FitTask, onto: np.ndarray | None = None
) -> np.ndarray:
    """A slot's direction in the fixings' frame; `onto`: it is the donor's."""
    way = angle if task.dims == 2 else laid_over(np.array([axis]))[0, :, :2] @ angle
    if onto is None:
        return np.asarray(way)
    return np.asarray(onto @ (way * mirror_of(task)))


def mirror_of(task: FitTask) -> np.ndarray:
    """(d,): by what the donor's coordinates are taken before anything else."""
    return np.array([-1.0 if task.mirrored else 1.0, 1.0, 1.0])[: task.dims]


def placed_as(task: FitTask, pairs: Sequence[Pairing], donor_mm: np.ndarray) -> np.ndarray:
    """The task's features, (count, m, d) mm in the donor's own frame, those of the pairs where `donor_mm` has them."""
    number = {spot.id: at for at, spot in enumerate(task.features)}
    at_mm = np.repeat(np.array([spot.at_mm for spot in task.features])[None], len(donor_mm), axis=0)
    at_mm[:, [number[feature] for _, feature in pairs]] = donor_mm * mirror_of(task)
    return at_mm


def _placed(task: FitTask, places: Places, pairs: Sequence[Pairing]) -> Pairs:
    """The pairs of which both ends have a place, in an order that neither rows nor names change."""
    shown = places.hosted.placed_by
    return placed_pairs(
        task, [p for p in pairs if shown.get(p[0]) in places.host.features and p[1] in places.donor.features]
    )


def placed_pairs(task: FitTask, pairs: Sequence[Pairing]) -> Pairs:
    """Pairs by how they lie among themselves, so that neither rows, names nor frames change what is drawn."""
    at = {spot.id: spot.at_mm for spot in task.fixings}, {spot.id: spot.at_mm for spot in task.features}
    known = sorted(p for p in pairs if p[0] in at[0] and p[1] in at[1])
    if not known:
        return ()
    return tuple(known[k] for k in own_order(*(np.array([at[side][p[side]] for p in known]) for side in (0, 1))))


def _discrepancies(task: FitTask, places: Places, pairs: Sequence[Pairing], onto: np.ndarray) -> Discrepancies:
    hosts, donors = {s.id: s.at_mm for s in task.fixings}, {s.id: s.at_mm for s in task.features}
    mirror, rows = mirror_of(task), _rows(places, pairs)
    spread = [_block(side, own, task.dims) for side, own in zip((places.host, places.donor), rows, strict=True)]
    flip = np.tile(mirror, len(pairs))
    return discrepancies(
        np.array([hosts[fixing] for fixing, _ in pairs]), np.array([donors[feature] for _, feature in pairs]) * mirror,
        spread[0], spread[1] * flip * flip[:, None], onto * mirror,
    )  # fmt: skip


def _rows(places: Places, pairs: Sequence[Pairing]) -> tuple[list[int], list[int]]:
    host, donor = places.host.features, places.donor.features
    shown = places.hosted.placed_by
    return [host.index(shown[fixing]) for fixing, _ in pairs], [donor.index(feature) for _, feature in pairs]


def _block(side: Positions, rows: list[int], dims: int) -> np.ndarray:
    """(n d, n d) covariance of the named rows."""
    at = [row * side.dims + axis for row in rows for axis in range(dims)]
    return np.asarray(covariance_mm2(side)[np.ix_(at, at)])


def _carried(side: Positions, rows: list[int], pulled: np.ndarray) -> np.ndarray:
    """(count, n, d): how far every feature of a side is pulled along with those of these rows."""
    d = pulled.shape[2]
    at = [row * side.dims + axis for row in rows for axis in range(d)]
    spread = covariance_mm2(side)[:, at]
    return np.asarray((pulled.reshape(len(pulled), -1) @ spread.T).reshape(len(pulled), *side.xyz_mm.shape))


_FIRM_MM = 1.0e-4


def likely_places(
    prepared: Prepared, answer: FitAnswer, places: Places, donor: Side, pairs: list[Pairing]
) -> LikelyPlaces | None:
    """Find places within the errors of all readings at which the pairs hold; None: none were found."""
    if not isinstance(answer.placement, Placement):
        return None
    task, shown = prepared.task, places.hosted.placed_by
    d = task.dims
    sides = said(places.host, places.host_side, d), said(places.donor, donor, d)
    if answer.fits and all(side.holds(side.at_mm) for side in sides):
        return _as_found(places, sides[0].at_mm, sides[1].at_mm, answer.placement)
    placed = [p for p in pairs if shown.get(p[0]) in places.host.features and p[1] in places.donor.features]
    if not placed or len(placed) < len(pairs):
        return None
    matrix, mirror = np.array(answer.placement.matrix), mirror_of(task)
    onto = matrix[:d, :d] * mirror
    rows = [(places.host.features.index(shown[f]), places.donor.features.index(name)) for f, name in placed]
    found = within_errors(
        sides[0], replace(sides[1], at_mm=sides[1].at_mm * mirror, read_mm=sides[1].read_mm * mirror), rows,
        reach_of(prepared, placed, onto, at_most=False), onto, matrix[:d, 3],
    )  # fmt: skip
    if found is None:
        return None
    host_mm, donor_mm = found[0], found[1] * mirror
    again = solve(_moved(prepared, places, host_mm, donor_mm, placed))
    if not again.fits or not isinstance(again.placement, Placement):
        return None
    if not (sides[0].holds(host_mm) and sides[1].holds(donor_mm)):
        return None
    return _as_found(places, host_mm, donor_mm, again.placement)


def said(positions: Positions, side: Side, d: int) -> Said:
    """What the sheets say of where the placed features of one side are."""
    number = {name: at for at, name in enumerate(positions.features)}
    left_out = {suspect.reading for suspect in positions.suspects if suspect.left_out}
    features = {row.feature: row for row in side.features}
    rows = [
        row for row in centre_distances(features, side.readings)[0]
        if row.reading not in left_out and row.from_feature in number and row.to_feature in number
    ]  # fmt: skip
    at_mm = positions.xyz_mm[:, :d]
    read_mm, error_mm = at_mm.copy(), np.full(at_mm.shape, np.inf)
    for name, at in number.items():
        row = features.get(name)
        for axis, value in enumerate((row.x_mm, row.y_mm, row.z_mm)[:d] if row is not None else ()):
            if row is not None and value is not None and f"{name}.{'xyz'[axis]}_mm" not in left_out:
                read_mm[at, axis], error_mm[at, axis] = value, coordinate_half_width_mm(row)
    spread = np.sqrt(np.maximum(np.diagonal(covariance_mm2(positions)), 0.0)).reshape(-1, positions.dims)[:, :d]
    return Said(
        at_mm, spread + _FIRM_MM,
        np.array([(number[row.from_feature], number[row.to_feature]) for row in rows], dtype=int).reshape(-1, 2),
        np.array([row.length_mm for row in rows]), np.array([row.error_mm for row in rows]), read_mm, error_mm,
        tuple(row.reading for row in rows),
    )  # fmt: skip


def _moved(
    prepared: Prepared, places: Places, host_mm: np.ndarray, donor_mm: np.ndarray, pairs: list[Pairing]
) -> FitTask:
    """The task with these pairs alone, and every feature where it is likely to be."""
    task = prepared.task
    at_host = dict(zip(places.host.features, host_mm.tolist(), strict=True))
    at_donor = dict(zip(places.donor.features, donor_mm.tolist(), strict=True))
    held = {name for pair in pairs for name in pair}
    fixings = tuple(
        replace(s, at_mm=tuple(at_host.get(places.hosted.placed_by.get(s.id, s.id), s.at_mm)))
        for s in task.fixings if s.id in held
    )  # fmt: skip
    features = tuple(replace(s, at_mm=tuple(at_donor.get(s.id, s.at_mm))) for s in task.features if s.id in held)
    options = tuple(o for o in task.options if (o.fixing, o.feature) in pairs)
    return replace(task, fixings=fixings, features=features, options=options, given=True)


def _as_found(places: Places, host_mm: np.ndarray, donor_mm: np.ndarray, placement: Placement) -> LikelyPlaces:
    named = (zip(places.host.features, host_mm, strict=True), zip(places.donor.features, donor_mm, strict=True))
    host, donor = (tuple((name, tuple(at.tolist())) for name, at in side) for side in named)
    return LikelyPlaces(host, donor, placement, left_out(places))


def left_out(places: Places) -> tuple[tuple[str, str], ...]:
    """(part, reading) of those that clearly are slips."""
    return tuple((side.part, s.reading) for side in (places.host, places.donor) for s in side.suspects if s.left_out)


def departures(known: Known) -> Discrepancies | None:
    """How a donor departs, as read; None: it was not measured so far, or the readings leave open how it lies."""
    if is_restraint(known) or not known.donor.features:
        return None
    places = places_of(known)
    ways = faces(known, places)
    if not places.hosted.fixings or len(ways) > 1 or len(layouts(places)) > 1:
        return None
    prepared = prepared_task(known, places, mirrored=ways[0])
    if prepared.deciding():
        return None
    belief = believed(prepared, solve(prepared.task), places)
    of = belief.ways[0].of if belief is not None else None
    return of if of is not None and len(of.y_mm) else None
