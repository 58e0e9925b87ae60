"""Lays the parts that distances leave on their host: do they go on, may they within their errors, by what margin.

What decides is the program's own placement: `fit.batch` where a part can be laid on in one way only, `fit.search`
for all others. Both are asked twice: with every error against the part, and with every error for it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from partkin.fit.arrays import FITS_MM, Pairs
from partkin.fit.batch import batch_fits, batch_margin_mm
from partkin.fit.layout import Aim
from partkin.fit.mating import half_travel_mm, mate
from partkin.fit.search import LimitReached
from partkin.fit.solve import NODE_LIMIT, holds, solve
from partkin.fit.task import UNKNOWN_PLAY_MM, Prepared, prepare
from partkin.fit.work import WorkedTask
from partkin.model.fitting import FitTask
from partkin.model.mating import Fixing
from partkin.model.positions import Positions
from partkin.model.pulse import beat
from partkin.stock import index
from partkin.stock.finding import Host
from partkin.stock.index import SLACK_MM, Segment, donor_of

GOES, MAY = "goes on", "may go on"
# Ways of laying one part on, either face up, that are placed one by one; of more the search finds the best.
WAYS_AT_MOST = 512
# Rows of one table of pairs of a part's features, or of features beside those, at most.
ROWS_AT_ONCE = 4_000_000


class Hit(NamedTuple):
    """A part that goes on or may go on.

    `part`: its row in the partition. `state`: goes on, whatever the errors, or may go on within them. `holds`: how many
    fixings that must do, at the places as read where they do so at all. `margin_mm`: as read; None: something is not
    known. `mirrored`: laid on the other face up.
    """

    part: int
    state: str
    holds: int
    margin_mm: float | None
    mirrored: bool

    def of(self, part: int) -> Hit:
        """Return the same of another part, or of another row."""
        return self._replace(part=part)


@dataclass(frozen=True, eq=False)
class PlayTable:
    """What the fixings and the features of some parts allow each other: float64 (fixings, specs) mm each.

    `worst`, `kindest`: the play whatever is not known, -inf where they cannot go together. `error`: how far sizes may
    be out. `travel`, `flex` (specs,): of their slots, and how far their parts give in their plane.
    """

    worst: np.ndarray
    kindest: np.ndarray
    error: np.ndarray
    travel: np.ndarray
    flex: np.ndarray


def _table(fixings: tuple[Fixing, ...], specs: list[dict[str, Any]]) -> PlayTable:
    donors = [donor_of(row) for row in specs]
    kinds: dict[Fixing, int] = {}
    at = []
    for fixing in fixings:
        # All of it but its place and name.
        feature = replace(
            fixing.feature, part="", feature="", x_mm=None, y_mm=None, z_mm=None, plus_minus_mm=None, goes_on=None,
            need=None, zone=None, row=0,
        )  # fmt: skip
        at.append(kinds.setdefault(replace(fixing, feature=feature, shown_by=None), len(kinds)))
    worst, kindest, error = (np.zeros((len(kinds), len(donors))) for _ in range(3))
    for row, fixing in enumerate(kinds):
        for column, donor in enumerate(donors):
            found = mate(fixing, donor)
            known, most = found.allowed_mm, found.most_mm if found.lacks else found.allowed_mm
            sizes = (fixing.across, fixing.length, donor.across, donor.length)
            error[row, column] = sum(size.half_width_mm for size in sizes) / 2
            if not found.option:
                known = most = -np.inf
            worst[row, column] = -np.inf if known is None else known
            kindest[row, column] = UNKNOWN_PLAY_MM if most is None else most
    travel = np.array([half_travel_mm(d.feature, d.across, d.length) for d in donors])
    flex = np.array([(row["flex_mm"] or 0.0) if row["flex_in_plane"] else 0.0 for row in specs])
    return PlayTable(worst[at], kindest[at], error[at], travel, flex)


def tried(host: Host, segment: Segment, parts: np.ndarray) -> list[Hit]:
    """Lay these parts of a partition on a host; those that go on, or may, in their order.

    Parts that are alike to the last digit are laid on once.
    """
    firsts = _first_alike(segment, parts)
    hits = [hit for group in _at_once(segment, np.unique(firsts)) for hit in _tried(host, segment, group)]
    by_first = {hit.part: hit for hit in hits}
    going = np.flatnonzero(np.isin(firsts, list(by_first)))
    told = zip(parts[going].tolist(), firsts[going].tolist(), strict=True)
    return sorted((by_first[first].of(part) for part, first in told), key=lambda hit: hit.part)


def _first_alike(segment: Segment, parts: np.ndarray) -> np.ndarray:
    """(k,) of each part the first that is alike to the last digit: itself where there is none before it."""
    firsts = parts.copy()
    if not len(parts):
        return firsts
    rows, owner = segment.rows_of(parts)
    # Parts whose bits sum up to something of their own need no closer look.
    bits = np.ascontiguousarray(segment.xyz_mm[rows]).view(np.int64)[:, :2].sum(axis=1)
    sums = np.zeros(len(parts), dtype=np.int64)
    np.add.at(sums, owner, bits)
    _, of, count = np.unique(sums, return_inverse=True, return_counts=True)
    arrays = (segment.xyz_mm, segment.angle_deg, segment.error_mm, segment.spec)
    alike: dict[bytes, int] = {}
    for place in np.flatnonzero(count[of] > 1).tolist():
        part = int(parts[place])
        own = slice(int(segment.first[part]), int(segment.first[part + 1]))
        looks = b"".join(np.asarray(array[own]).tobytes() for array in arrays) + bytes([segment.flags[part]])
        firsts[place] = alike.setdefault(looks, part)
    return firsts


def _at_once(segment: Segment, parts: np.ndarray) -> Iterator[np.ndarray]:
    """Parts in groups of which the pairs of features fill one table."""
    if not len(parts):
        return
    pairs = np.cumsum((segment.first[parts + 1] - segment.first[parts]) ** 2)
    yield from np.split(parts, np.flatnonzero(np.diff(pairs // ROWS_AT_ONCE)) + 1)


def _tried(host: Host, segment: Segment, parts: np.ndarray) -> list[Hit]:
    flags = np.asarray(segment.flags)[parts]
    alone = (flags & index.ASIDE) > 0
    if len(host.spare_studs):
        alone |= (flags & index.OPENED) > 0
    if host.in_space or not len(host.must) or np.isnan(host.at_mm[host.must]).any():
        alone[:] = True
    found = list(_one_by_one(host, segment, parts[alone]))
    if alone.all():
        return found
    laid = _Laid.of(host, segment, parts[~alone])
    if host.needed < 2:
        return found + laid.by_one_fixing()
    ways = laid.ways()
    return [*found, *_one_by_one(host, segment, laid.parts[ways.several]), *laid.settled(ways)]


def _one_by_one(host: Host, segment: Segment, parts: np.ndarray) -> Iterator[Hit]:
    for done, part in enumerate(parts.tolist()):
        beat("parts laid on one by one", done, len(parts))
        if (hit := one_tried(host, segment, part)) is not None:
            yield hit


def _faces(host: Host, flags: int) -> tuple[bool, ...]:
    """Whether a part is laid on as it was read, mirrored, or both."""
    seen = "outside" if flags & index.OUTSIDE else "inside" if flags & index.INSIDE else None
    if not (host.handed and flags & index.HANDED) or seen is None or host.seen_from is None:
        return (False, True)
    return (seen != host.seen_from,)


@dataclass(frozen=True, eq=False)
class _Ways:
    """Ways of laying parts on: `at` (k, fixings) the row of the feature for each fixing, `mirrored` (k,) on which face.

    `part` (k,): of which part. `several`: parts that are left to the search.
    """

    part: np.ndarray
    at: np.ndarray
    mirrored: np.ndarray
    several: np.ndarray


@dataclass(frozen=True, eq=False)
class _Laid:
    """Flat parts with their features in one table: m fixings that must, f features of p parts."""

    host: Host
    segment: Segment
    parts: np.ndarray
    rows: np.ndarray
    owner: np.ndarray
    table: PlayTable
    spec: np.ndarray

    @classmethod
    def of(cls, host: Host, segment: Segment, parts: np.ndarray) -> _Laid:
        rows, owner = segment.rows_of(parts)
        kinds, spec = np.unique(segment.spec[rows], return_inverse=True)
        fixings = tuple(host.fixings[k] for k in host.must)
        table = _table(fixings, segment.specs.take(kinds).to_pylist())
        return cls(host, segment, parts, rows, owner, table, spec)

    def plays_mm(self, fixings: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Play in mm with every error against, as read, and with every error for, of fixings with features."""
        spec = self.spec[at]
        own = self.host.error_mm[self.host.must] + [_loose_mm(self.host.fixings[k]) for k in self.host.must]
        errors = own[fixings] + self.segment.error_mm[self.rows[at]] + self.table.flex[spec]
        table = self.table
        return widened(table.worst[fixings, spec], table.kindest[fixings, spec], table.error[fixings, spec], errors)

    @cached_property
    def reach_mm(self) -> np.ndarray:
        """(m, f): how far each feature may at most be from each fixing; -inf where they cannot go together."""
        most = self.plays_mm(np.arange(len(self.host.must))[:, None], np.arange(len(self.rows))[None, :])[2]
        ends = [self.host.fixings[k] for k in self.host.must]
        travel = np.array([half_travel_mm(end.feature, end.across, end.length) for end in ends])
        return np.where(most < 0, -np.inf, most + self.table.travel[self.spec] + travel[:, None])

    @cached_property
    def p(self) -> np.ndarray:
        """complex128 (f,): where the features are."""
        xyz = np.asarray(self.segment.xyz_mm[self.rows])
        return xyz[:, 0] + 1j * xyz[:, 1]

    def ways(self) -> _Ways:
        """Return each way of laying a part on that no third fixing rules out."""
        i, j = self._pairs()
        found = [self._ways(a, b, i, j) for a, b in self._seed_pairs()]
        if self.host.needed < len(self.host.must) or any(one is None for one in found):
            none = np.zeros((0, len(self.host.must)), dtype=np.int64)
            left = [self.owner[i] if one is None else one.part for one in found]
            return _Ways(none[:, 0], none, none[:, 0] > 0, np.unique(np.concatenate(left)))
        return found[0]  # type: ignore[return-value]

    def _seed_pairs(self) -> list[tuple[int, int]]:
        """Two fixings of which both hold: the farthest; where some may be missing, any two of so many that two must."""
        q = self.host.at_mm[self.host.must]
        apart = np.abs(q[:, None] - q)
        if self.host.needed == len(q):
            a, b = np.unravel_index(int(apart.argmax()), apart.shape)
            return [(int(a), int(b))]
        among = len(q) - self.host.needed + 2
        return [(a, b) for b in range(among) for a in range(b)]

    def _ways(self, a: int, b: int, i: np.ndarray, j: np.ndarray) -> _Ways | None:
        """The ways with one of i and j on a, the other on b; None: those are in one place, and tell nothing of more."""
        q = self.host.at_mm[self.host.must]
        if abs(q[a] - q[b]) < 1e-6:
            return None
        at, mirrored = self._begun(a, b, i, j)
        kappa = (q - q[a]) / (q[b] - q[a])
        others = [c for c in np.argsort(-np.abs(kappa - 0.5)).tolist() if c not in (a, b)]
        many = np.zeros(len(self.parts), dtype=bool)
        for done, c in enumerate(others):
            way, k = self._third(at, mirrored, (a, b, c), kappa[c])
            if self.host.needed < len(q):
                at[way, c] = k
                enough = (at >= 0).sum(axis=1) + len(others) - done - 1 >= self.host.needed
                at, mirrored = at[enough], mirrored[enough]
                continue
            at, mirrored = at[way], mirrored[way]
            at[:, c] = k
            many |= np.bincount(self.owner[k], minlength=len(self.parts)) > WAYS_AT_MOST
            few = ~many[self.owner[k]]
            at, mirrored = at[few], mirrored[few]
        part = self.owner[at[:, a]]
        if self.host.needed < len(q):
            return _Ways(part, at, mirrored, np.zeros(0, dtype=np.int64))
        kinds = self.spec[at]
        unknown = ~np.isfinite(self.table.worst[np.arange(len(q)), kinds]).all(axis=1)
        gives = (self.table.travel[kinds] + self.table.flex[kinds]).any(axis=1)
        demands = (np.asarray(self.segment.flags)[self.parts[part]] & index.DEMANDS) > 0
        several = np.union1d(np.flatnonzero(many), part[unknown | gives | demands])
        return _Ways(part, at, mirrored, several)

    def _begun(self, a: int, b: int, i: np.ndarray, j: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The ways of laying two features on a and b, on each face that may be, and on which."""
        reach, apart = self.reach_mm, abs(self.host.at_mm[self.host.must[a]] - self.host.at_mm[self.host.must[b]])
        off = np.abs(np.abs(self.p[i] - self.p[j]) - apart) - SLACK_MM
        as_is, swapped = off <= reach[a, i] + reach[b, j], off <= reach[a, j] + reach[b, i]
        on_a, on_b = np.concatenate([i[as_is], j[swapped]]), np.concatenate([j[as_is], i[swapped]])
        faces = np.array([[side in _faces(self.host, flags) for side in (False, True)] for flags in range(256)])
        may = faces[np.asarray(self.segment.flags)[self.parts]]
        mirrored, way = np.nonzero(may[self.owner[on_a]].T)
        at = np.full((len(way), len(self.host.must)), -1, dtype=np.int64)
        at[:, a], at[:, b] = on_a[way], on_b[way]
        return at, mirrored > 0

    def _pairs(self) -> tuple[np.ndarray, np.ndarray]:
        """Every two features of a part, one way round."""
        count = np.bincount(self.owner, minlength=len(self.parts))
        after = np.cumsum(count)[self.owner] - np.arange(len(self.rows)) - 1
        i = np.repeat(np.arange(len(self.rows)), after)
        return i, i + 1 + np.arange(len(i)) - np.repeat(np.cumsum(after) - after, after)

    def _third(
        self, at: np.ndarray, mirrored: np.ndarray, three: tuple[int, int, int], kappa: complex
    ) -> tuple[np.ndarray, np.ndarray]:
        """Which features come near enough to a third fixing: the way, and the row of the feature."""
        a, b, c = three
        p, reach = self.p, self.reach_mm
        count = np.bincount(self.owner, minlength=len(self.parts))
        begin = np.cumsum(count) - count
        size = count[self.owner[at[:, a]]]
        ways, features = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
        for some in _chunks(size):
            i, j = at[some, a], at[some, b]
            way = np.repeat(np.arange(len(some)), size[some])
            k = np.repeat(begin[self.owner[i]] - np.cumsum(size[some]) + size[some], size[some]) + np.arange(len(way))
            # With the part the other face up, the third stands on the other side of the line through two of them.
            wanted = p[i] + np.where(mirrored[some], kappa.conjugate(), kappa) * (p[j] - p[i])
            tube = abs(1 - kappa) * reach[a, i] + abs(kappa) * reach[b, j] + SLACK_MM
            near = np.flatnonzero(np.abs(p[k] - wanted[way]) <= reach[c, k] + tube[way])
            # Where some fixings may be missing, it is only counted which can hold: what holds a third may hold another.
            taken = at if self.host.needed == at.shape[1] else at[:, [a, b]]
            near = near[(taken[some[way[near]]] != k[near][:, None]).all(axis=1)]
            ways.append(some[way[near]])
            features.append(k[near])
        return np.concatenate(ways), np.concatenate(features)

    def by_one_fixing(self) -> list[Hit]:
        """Parts for a single fixing: whatever goes on it at all can be laid so."""
        worst, read, most = self.plays_mm(np.arange(len(self.host.must))[:, None], np.arange(len(self.rows))[None, :])
        found = []
        for part, whole in enumerate(self.parts.tolist()):
            here = slice(*np.searchsorted(self.owner, (part, part + 1)))
            alone = self.segment.flags[whole] & index.DEMANDS or self.table.flex[self.spec[here]].any()
            if alone:
                found += [hit for hit in [one_tried(self.host, self.segment, whole)] if hit is not None]
            elif most[:, here].max(initial=-np.inf) >= 0:
                sure, margin = worst[:, here].max() >= 0, float(read[:, here].max())
                mirrored = _faces(self.host, int(self.segment.flags[whole]))[0]
                known = rounded(margin) if margin > -np.inf else None
                found.append(Hit(whole, GOES if sure else MAY, 1, known, mirrored))
        return found

    def settled(self, ways: _Ways) -> list[Hit]:
        """Place parts in every way that is left, all at once."""
        kept = ~np.isin(ways.part, ways.several)
        owner, at, mirrored = ways.part[kept], ways.at[kept], ways.mirrored[kept]
        if not len(owner):
            return []
        p = np.asarray(self.segment.xyz_mm[self.rows[at]])[..., :2]
        p = p * np.stack([1.0 - 2.0 * mirrored, np.ones(len(at))], axis=-1)[:, None]
        fixings = np.arange(at.shape[1])
        worst, read, most = self.plays_mm(fixings, at)
        slots = _slots(self.host)
        q = _plane(self.host.at_mm[self.host.must])
        kind = batch_fits(q, p, most, slots)
        if not kind.any():
            return []
        sure = kind.copy()
        if not np.array_equal(worst[kind], most[kind]):
            sure[kind] = batch_fits(q, p[kind], worst[kind], slots)
        margin = np.full(len(at), -np.inf)
        margin[kind] = [rounded(mm) for mm in batch_margin_mm(q, p[kind], read[kind], slots).tolist()]
        # The best way of each part: sure before not, the greatest margin, then the first.
        order = np.flatnonzero(kind)[::-1]
        order = order[np.lexsort((margin[order], sure[order], owner[order]))]
        best = order[np.append(np.diff(owner[order]) > 0, True)]
        return [
            Hit(int(self.parts[owner[way]]), GOES if sure[way] else MAY, len(fixings), float(margin[way]), flipped)
            for way, flipped in zip(best.tolist(), mirrored[best].tolist(), strict=True)
        ]


def rounded(margin_mm: float) -> float:
    """A margin to a micrometre: finer than that it hangs on what else is placed with it."""
    return round(margin_mm, 3)


def _slots(host: Host) -> Pairs:
    """The fixings as pairs, for their slots; one of which no direction is known counts as round."""
    ends, at = [host.fixings[k] for k in host.must], _plane(host.at_mm[host.must])
    turned = [end.feature.angle_deg for end in ends]
    half = [half_travel_mm(end.feature, end.across, end.length) for end in ends]
    known = [0.0 if one is None else travel for one, travel in zip(turned, half, strict=True)]
    return Pairs.plain(at, at, 0.0, s_h=np.array(known), angle_h_deg=np.array([one or 0.0 for one in turned]))


def _plane(at: np.ndarray) -> np.ndarray:
    return np.stack([at.real, at.imag], axis=-1)


def _chunks(size: np.ndarray) -> Iterator[np.ndarray]:
    if len(size):
        yield from np.split(np.arange(len(size)), np.flatnonzero(np.diff(np.cumsum(size) // ROWS_AT_ONCE)) + 1)


def _loose_mm(fixing: Fixing) -> float:
    """How far a fixing that the original shows may stand from that place."""
    return fixing.play_mm + fixing.play_half_travel_mm + fixing.play_open_mm


def widened(
    worst: np.ndarray, kindest: np.ndarray, sizes: np.ndarray, errors: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Plays with every error against, as read, and for: places may be out by `errors`, half of sizes by `sizes`.

    No error of a place helps a bolt that does not pass its hole.
    """
    least = np.where(worst - sizes < 0, np.minimum(worst - sizes, -SLACK_MM), worst - sizes - errors)
    most = np.where(kindest + sizes < 0, -np.inf, kindest + sizes + errors)
    return least, worst, most


def one_tried(host: Host, segment: Segment, part: int) -> Hit | None:
    """Lay one part on its host by the search of all pairings, as the ordinary check does."""
    found = []
    for mirrored in _faces(host, int(segment.flags[part])):
        prepared, errors = _prepared(host, segment, part, mirrored)
        kind = _task(host, prepared.at_kindest(), errors, 2, spared=bool(segment.flags[part] & index.OPENED))
        if goes_on(kind, host) is False:
            continue
        sure = goes_on(_task(host, prepared.at_worst(), errors, 0), host) is True
        margin, held = _as_read(_task(host, prepared.at_worst(), errors, 1), host)
        found.append(Hit(int(part), GOES if sure else MAY, held, margin, mirrored))
    return max(found, key=lambda hit: (hit.state == GOES, hit.margin_mm or -np.inf), default=None)


def _prepared(host: Host, segment: Segment, part: int, mirrored: bool) -> tuple[Prepared, dict[str, float]]:
    rows = np.arange(int(segment.first[part]), int(segment.first[part + 1]))
    specs = segment.specs.take(segment.spec[rows]).to_pylist()
    xyz, angle, error = (np.asarray(each[rows]) for each in (segment.xyz_mm, segment.angle_deg, segment.error_mm))
    names = tuple(f"{k:05d}" for k in range(len(rows)))
    donors = []
    for name, row, deg in zip(names, specs, angle.tolist(), strict=True):
        donor = donor_of(row)
        turned = None if donor.feature.angle_deg is None else deg
        donors.append(replace(donor, feature=replace(donor.feature, feature=name, angle_deg=turned)))
    placed = ~np.isnan(xyz[:, 0])
    high = placed & ~np.isnan(xyz[:, 2])
    dims = 3 if high.any() and (high == placed).all() else 2
    places = Positions(
        "", tuple(np.array(names)[placed].tolist()), xyz[placed][:, :dims], np.zeros(int(placed.sum())),
        handed=bool(segment.flags[part] & index.HANDED),
    )  # fmt: skip
    about = specs[0]
    prepared = prepare(
        host.hosted, tuple(donors), host.places, places, host_part=host.part, mirrored=mirrored,
        flex_mm=about["flex_mm"] or 0.0, flex_in_plane=bool(about["flex_in_plane"]),
        host_thickness_mm=host.thickness_mm, donor_thickness_mm=about["thickness_mm"],
    )  # fmt: skip
    errors = dict(zip(names, error.tolist(), strict=True))
    fixings = host.fixings
    errors |= {f.feature.feature: mm + _loose_mm(f) for f, mm in zip(fixings, host.error_mm.tolist(), strict=True)}
    return prepared, errors


def _task(host: Host, prepared: Prepared, errors: dict[str, float], which: int, spared: bool = False) -> FitTask:
    """The task with every error against (0), as read (1), or for the part (2), pulled as far as it gives then."""
    ends = [(prepared.fixings[o.fixing], prepared.features[o.feature]) for o in prepared.task.options]
    play = np.array([option.allowed_mm for option in prepared.task.options])
    sizes = np.array([sum(e.across.half_width_mm + e.length.half_width_mm for e in both) / 2 for both in ends])
    places = np.array([errors[option.fixing] + errors[option.feature] for option in prepared.task.options])
    flex = prepared.task.flex_mm if prepared.task.flex_in_plane and which == 2 else 0.0
    wide = widened(play, play + flex * (play >= 0), sizes, places)[which].tolist()
    options = tuple(
        replace(option, allowed_mm=mm) for option, mm in zip(prepared.task.options, wide, strict=True) if mm > -np.inf
    )
    spare = {host.fixings[k].feature.feature for k in host.spare_studs} if spared else set()
    fixings = tuple(replace(s, must=s.must and s.id not in spare) for s in prepared.task.fixings)
    features = prepared.task.features
    if prepared.task.dims == 3 and which == 2:
        more = {spot.id: (spot.grip_mm or 0.0) + errors[spot.id] for spot in (*fixings, *features)}
        fixings, features = (
            tuple(replace(s, grip_mm=s.grip_mm if s.grip_mm is None else more[s.id]) for s in side)
            for side in (fixings, features)
        )
    return replace(
        prepared.task, fixings=fixings, features=features, options=options, flex_mm=0.0, flex_in_plane=False,
        given=False,
    )  # fmt: skip


def goes_on(task: FitTask, host: Host) -> bool | None:
    """Whether all that must hold, or so many fixings as were asked for; None: undecided within the limit."""
    if host.at_least is not None and host.needed < len(host.must):
        return _holding(task, host.needed) >= host.needed
    if any(spot.must for spot in (*task.fixings, *task.features)):
        return holds(task)
    return solve(task).fits


def _holding(task: FitTask, at_least: int) -> int:
    """How many fixings that must hold do at once, where it is at least so many; else 0."""
    features = tuple(replace(spot, must=False, should=False) for spot in task.features)
    work = WorkedTask.of(replace(task, features=features), NODE_LIMIT)
    none = tuple(np.zeros_like(side) for side in work.must)
    try:
        found = work.search(Aim(none, work.must), FITS_MM, at_least=at_least).run()  # type: ignore[arg-type]
    except LimitReached:
        return at_least
    return max((one.value for one in found), default=0)


def _as_read(task: FitTask, host: Host) -> tuple[float | None, int]:
    """Margin as read over what must hold, and how many fixings that must do."""
    if host.at_least is not None and host.needed < len(host.must):
        return None, max(_holding(task, host.needed), host.needed)
    answer = solve(replace(
        task, fixings=tuple(replace(s, should=False) for s in task.fixings),
        features=tuple(replace(s, should=False) for s in task.features),
    ))  # fmt: skip
    return None if answer.margin_mm is None else rounded(answer.margin_mm), len(host.must)
