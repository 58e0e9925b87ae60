"""A task in space for the pairing search, which knows distances and known pairings and nothing of the plane.

The search's test of a third point against two is of the plane: the columns are told as all in one place,
and reaches over sqrt(2), so that it rules nothing out that can be had: no excess is below the lesser of
what is allowed across and along, and that is never more than such a reach.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from partkin.fit.arrays import LEAN_COS, LEAN_SCALE_MM, Pairs, grip_mm
from partkin.fit.layout import NEVER_MM, Layout, Pair, SideSpots
from partkin.fit.matching import cover
from partkin.fit.rotations import angle_deg
from partkin.fit.search import FoundPairing, LimitReached, take
from partkin.fit.settle import KnownPairings, SettledExcess
from partkin.fit.space_bound import distances_lack
from partkin.fit.space_certificate import BOXES, prove
from partkin.fit.space_minimax import FITS_MM, WILD_MM, SpacePlaced, best_in_space
from partkin.fit.work import Demand, Masks, WorkedTask
from partkin.model.fitting import Direction, FitTask, PairFit, Piece, Placement, Spot

Floats = np.ndarray

# How far two fixings' axes may stand apart in angle from those of their features: twice the lean that is
# allowed, and a little for allowances that are inflated.
_AXES_DEG = 64.0
_ROOT = math.sqrt(2.0)
# Boxes of rotations that all proofs of one answer may look at together.
BOXES_IN_ALL = 60_000
# Convex programs that one question about a pairing may solve: counts, never seconds.
PROGRAMS = 2_000
# What a program of a pairing takes, in nodes.
PROGRAM_STEPS = 4


@dataclass(frozen=True, eq=False)
class SpaceSide(SideSpots):
    """The spots of one side, by id. `at_mm` (n, 2) is for the search alone; `xyz_mm` (n, 3) is true."""

    xyz_mm: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    axis: Floats = field(default_factory=lambda: np.zeros((0, 3)))

    @classmethod
    def in_space(cls, spots: Sequence[Spot], mirrored: bool) -> SpaceSide:
        """Sort spots by id; mirror where asked."""
        ordered = tuple(sorted(spots, key=lambda spot: spot.id))
        flip = np.array([-1.0 if mirrored else 1.0, 1.0, 1.0])
        at = np.array([spot.at_mm for spot in ordered], dtype=float).reshape(-1, 3) * flip
        axis = np.array([spot.axis for spot in ordered], dtype=float).reshape(-1, 3) * flip
        half = np.array([spot.half_travel_mm for spot in ordered], dtype=float)
        return cls(ordered, np.zeros((len(ordered), 2)), half, np.zeros((len(ordered), 2)), at, axis)

    def spread(self) -> SpaceSide:
        """Seen along the direction in which the points spread least, so that far ones are told from near."""
        if not len(self.spots):
            return self
        off = self.xyz_mm - self.xyz_mm.mean(axis=0)
        axes = np.linalg.svd(off, full_matrices=False)[2]
        return replace(self, at_mm=(off @ axes[:2].T).reshape(len(off), -1)[:, :2] + np.zeros((1, 2)))


@dataclass(frozen=True, eq=False)
class SpaceLayout(Layout):
    """Rows and columns of the pairing search of a task in space.

    `across_mm` and `grip_mm` (n, m): play and half travels, and what is allowed along the axis.
    """

    task: FitTask = field(default_factory=lambda: FitTask((), (), ()))
    across_mm: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    grip_mm: Floats = field(default_factory=lambda: np.zeros((0, 0)))

    @classmethod
    def of(cls, task: FitTask) -> SpaceLayout:
        """Arrange a task."""
        host, donor = SpaceSide.in_space(task.fixings, False), SpaceSide.in_space(task.features, task.mirrored)
        row = {spot.id: index for index, spot in enumerate(host.spots)}
        column = {spot.id: index for index, spot in enumerate(donor.spots)}
        allowed = np.full((len(row), len(column)), -np.inf)
        for option in task.options:
            allowed[row[option.fixing], column[option.feature]] = option.allowed_mm
        grip = np.array([[grip_mm(h, d) for d in donor.spots] for h in host.spots]).reshape(allowed.shape)
        across = allowed + host.half_travel_mm[:, None] + donor.half_travel_mm[None, :]
        reach = np.where(across >= 0, np.hypot(across, grip), across) / _ROOT
        hosts, donors = (_size(side.xyz_mm[:, None] - side.xyz_mm[None]) for side in (host, donor))
        if sum(spot.must for spot in donor.spots) > sum(spot.must for spot in host.spots):
            rows = donor.spread()
            return cls(host, rows, False, allowed.T.copy(), reach.T.copy(), donors, hosts, task, across.T, grip.T)
        rows = host.spread()
        return cls(rows, donor, True, allowed, reach, hosts, donors, task, across, grip)

    def _beside_mm(self, row: int, column: int) -> Floats:
        """From the distances within each side; without end where the axes cannot be brought together."""
        rows, columns = np.asarray(np.indices(self.allowed_mm.shape))
        need = self._need_mm(np.full_like(rows, row), np.full_like(rows, column), rows, columns)
        one, two = self._axes_deg
        return np.where(np.abs(one[row][:, None] - two[column][None, :]) > _AXES_DEG, NEVER_MM, need)

    def two_rows_need_mm(self, a: int, b: int) -> Floats:
        """(m, m) mm: the same for two rows, for each two columns."""
        one, two = np.asarray(np.indices((self.allowed_mm.shape[1],) * 2))
        return self._need_mm(np.full_like(one, a), one, np.full_like(one, b), two)

    def _need_mm(self, row: Floats, column: Floats, other_row: Floats, other_column: Floats) -> Floats:
        """Inflation that two pairs each need at least: index arrays of one shape.

        The donor's distance has to lie between those of the nearest and the farthest points that both plays
        leave, across and along each axis. An inflation by e widens that by 2 e to 4 e; a ball about both, by
        2 e to 2 sqrt(2) e.
        """
        host, donor = self.host, self.donor
        assert isinstance(host, SpaceSide) and isinstance(donor, SpaceSide)
        pairs = (row, column), (other_row, other_column)
        (h, d), (g, e) = pairs if self.fixings_in_rows else ((column, row), (other_column, other_row))
        across, along = (tuple(table[pair] for pair in pairs) for table in (self.across_mm, self.grip_mm))
        off, length = host.xyz_mm[g] - host.xyz_mm[h], _size(donor.xyz_mm[e] - donor.xyz_mm[d])
        one, two = host.axis[h] * along[0][..., None], host.axis[g] * along[1][..., None]
        reach = np.where(np.isfinite(across[0] + across[1]), across[0] + across[1], -np.inf)
        ball = [np.hypot(np.where(np.isfinite(a), a, 0.0), g) for a, g in zip(across, along, strict=True)]
        cut, round_about = distances_lack(off, length, (one, two), reach, ball[0] + ball[1])
        need = np.maximum(cut / np.where(cut > 0, 4.0, 2.0), round_about / np.where(round_about > 0, 2.0 * _ROOT, 2.0))
        return np.where(np.isfinite(reach), need, NEVER_MM)

    def in_space(self, pairs: Sequence[Pair]) -> Pairs:
        """Arrays of these (row, column) pairs for the placement."""
        named = [self.ids(pair) for pair in pairs]
        return Pairs.of(self.task, named)

    @cached_property
    def _axes_deg(self) -> tuple[Floats, Floats]:
        """(n, n), (m, m): angles between the axes of rows, and of columns."""
        one, two = (
            np.degrees(np.arccos(np.clip(side.axis @ side.axis.T, -1.0, 1.0)))
            for side in (self.rows, self.columns) if isinstance(side, SpaceSide)
        )  # fmt: skip
        return one, two


@dataclass(frozen=True)
class SpaceSettled(SettledExcess):
    """A settled pairing with its whole placement."""

    placed: SpacePlaced | None = None


@dataclass(eq=False)
class SpaceKnown(KnownPairings):
    """Placements of known pairings in space, each set of pairs worked out once.

    `hints`: rotations at which a set of pairs once held although no start had led there. `sure`: what has been
    judged from every start. `programs_left`: how many this question may still solve.

    Raises
    ------
    LimitReached
        By what asks for the sign alone, where none is left.
    """

    hints: list[Floats] = field(default_factory=list)
    sure: dict[tuple[frozenset[Pair], float], SettledExcess] = field(default_factory=dict)
    programs_left: int = PROGRAMS

    def settle(self, pairs: Sequence[Pair], limit_mm: float) -> SettledExcess | tuple[Pair, ...]:
        """Find the best placement of `pairs` (at least one), or a few of them that exceed the limit."""
        known = self._known_conflict(pairs, limit_mm)
        if known is None and isinstance(few := self._at_most(self._surely(pairs, limit_mm), limit_mm), tuple):
            return few
        return known or self._at_most(self.place(pairs), limit_mm)

    def judge(self, pairs: Sequence[Pair], limit_mm: float) -> SettledExcess | tuple[Pair, ...]:
        """Find any placement of `pairs` within the limit, or a few of them that exceed it."""
        return self._known_conflict(pairs, limit_mm) or self._at_most(self._sign(pairs, limit_mm), limit_mm)

    def holds(self, pairs: Sequence[Pair], limit_mm: float) -> bool:
        """Whether some placement brings all pairs within the limit."""
        return self._sign(pairs, limit_mm).excess_mm <= limit_mm

    def place(self, pairs: Sequence[Pair]) -> SettledExcess:
        """Place these pairs at their best, whatever that is."""
        key = self._telling(pairs)
        if key not in self.solved:
            ordered = tuple(sorted(key))
            found = best_in_space(self._space.in_space(ordered), hints=self.hints)
            self.solved[key] = _settled(ordered, found, 0.0)
        return self.solved[key]

    @property
    def _reach_mm(self) -> Floats:
        return self.layout.allowed_mm

    @property
    def _space(self) -> SpaceLayout:
        assert isinstance(self.layout, SpaceLayout)
        return self.layout

    def _known_conflict(self, pairs: Sequence[Pair], limit_mm: float) -> tuple[Pair, ...] | None:
        """Pairs among these that are known to exceed the limit, or two that cannot stand beside each other."""
        rows, columns = zip(*pairs, strict=True)
        need_mm = np.stack([self.layout.pair_need_mm(*pair)[rows, columns] for pair in pairs])
        np.fill_diagonal(need_mm, -NEVER_MM)
        one, other = divmod(int(need_mm.argmax()), len(pairs))
        if need_mm[one, other] > limit_mm:
            return tuple(sorted((pairs[one], pairs[other])))
        return self._conflict(pairs, limit_mm)

    def _at_most(self, settled: SettledExcess, limit_mm: float) -> SettledExcess | tuple[Pair, ...]:
        if settled.excess_mm <= limit_mm:
            return settled
        few = settled.pressing
        if not 0 < len(few) < len(settled.pairs) or self.holds(few, limit_mm):
            few = settled.pairs
        self.conflicts[frozenset(few)] = max(limit_mm, self.conflicts.get(frozenset(few), -np.inf))
        return few

    def _sign(self, pairs: Sequence[Pair], limit_mm: float) -> SettledExcess:
        """Look at the sign alone, from few starts: what does not hold will be proved, or refuted, afterwards."""
        whole = self._telling(pairs)
        key = whole, limit_mm
        if whole in self.solved:
            return self.solved[whole]
        if key not in self.judged:
            self.judged[key] = self._signed(whole, limit_mm, few_starts=True)
        return self.judged[key]

    def _surely(self, pairs: Sequence[Pair], limit_mm: float) -> SettledExcess:
        """Look at the sign alone, from every start."""
        whole = self._telling(pairs)
        key = whole, limit_mm
        if whole in self.solved:
            return self.solved[whole]
        if key not in self.sure:
            self.judged[key] = self.sure[key] = self._signed(whole, limit_mm, few_starts=False)
        return self.sure[key]

    def _signed(self, whole: frozenset[Pair], limit_mm: float, few_starts: bool) -> SettledExcess:
        """Widen what is allowed by the limit, less what counts as none."""
        ordered, room_mm = tuple(sorted(whole)), limit_mm - FITS_MM
        known = self._space.in_space(ordered).widened(room_mm)
        if self.programs_left <= 0:
            raise LimitReached
        placed = best_in_space(known, stop_at_sign=True, hints=self.hints, few_starts=few_starts)
        self.programs_left -= placed.programs
        take(PROGRAM_STEPS * placed.programs)
        found = _settled(ordered, placed, room_mm)
        if placed.fits:
            return replace(found, excess_mm=min(found.excess_mm, limit_mm))
        return replace(found, excess_mm=max(found.excess_mm, float(np.nextafter(limit_mm, np.inf))))


class HoldsAfterAll(Exception):
    """Pairs that no start had brought together do hold at a rotation that a proof came upon."""

    def __init__(self, turn: Floats) -> None:
        super().__init__("pairs hold where no start led")
        self.turn = turn


@dataclass(eq=False)
class SpaceWork(WorkedTask):
    """One task in space being worked on; `boxes_left`: how many its proofs may still look at."""

    boxes_left: int = BOXES_IN_ALL

    @classmethod
    def of(cls, task: FitTask, node_limit: int) -> SpaceWork:
        """Arrange a task."""
        layout = SpaceLayout.of(task)
        sides = (layout.rows.spots, layout.columns.spots)
        must, should = needs_of(sides)
        return cls(task, layout, SpaceKnown(layout), must, should, node_limit)

    @property
    def limit(self) -> str:
        """What bounds a question."""
        return f"{self.node_limit} nodes, {PROGRAMS} convex programs or {BOXES} boxes of rotations"

    def next_question(self) -> None:
        """Allow all nodes and programs anew."""
        super().next_question()
        assert isinstance(self.known, SpaceKnown)
        self.known.programs_left = PROGRAMS

    def some_pairing(self, demands: Sequence[Demand]) -> FoundPairing:
        """Return a pairing of these demands as near as laying the sides' main directions together shows."""
        layout, aim = self.layout, self.needing(demands)
        rows, columns = layout.rows, layout.columns
        assert isinstance(rows, SpaceSide) and isinstance(columns, SpaceSide)
        can = np.isfinite(layout.allowed_mm) & aim.useful()
        here, there = (side.xyz_mm - side.xyz_mm.mean(axis=0) for side in (rows, columns))
        best: FoundPairing | None = None
        for turn in _main_directions(here, there):
            off = here[:, None] - there @ turn.T
            far = np.sqrt((off * off).sum(axis=-1)) - np.where(can, layout.allowed_mm, 0.0)
            pairs = tuple((cover(can, far, aim.need, aim.count)[0] or {}).items())
            settled = self.known.place(pairs)
            if best is None or settled.excess_mm < best.excess_mm:
                best = FoundPairing(pairs, 0, settled.excess_mm, settled.turn_rad, settled.shift_mm)
        assert best is not None
        return best

    def placed(self, pairs: Sequence[Pair]) -> SpacePlaced:
        """The whole placement of a pairing."""
        settled = self.known.place(pairs)
        assert isinstance(settled, SpaceSettled) and settled.placed is not None
        return settled.placed

    def pair_fits(self, found: FoundPairing) -> tuple[PairFit, ...]:
        """How each pair stands at its placement, in the task's order of fixings."""
        order = {spot.id: place for place, spot in enumerate(self.task.fixings)}
        named = [self.layout.ids(pair) for pair in found.pairs]
        fits = stands(Pairs.of(self.task, named), named, self.placed(found.pairs))
        return tuple(sorted(fits, key=lambda pair: order[pair.fixing]))

    def placement(self, found: FoundPairing) -> Placement:
        """The placement as the answer states it."""
        return in_words(self.placed(found.pairs), self.task.mirrored)

    def prove(self, pairs: Sequence[Pair]) -> tuple[Piece, ...] | None:
        """Prove that these pairs cannot all hold; None: not within the limit.

        Raises
        ------
        HoldsAfterAll
        """
        layout, ordered = self.layout, sorted(pairs)
        assert isinstance(layout, SpaceLayout)
        ids = [layout.ids(pair)[0] for pair in ordered]
        # Laid down only where a proof asks for it: that takes longer than to see that two are too far apart.
        near = map(self.placed, [ordered])
        found = prove(layout.in_space(ordered), ids, near, min(BOXES, self.boxes_left))
        self.boxes_left -= found.boxes
        if found.better is not None:
            raise HoldsAfterAll(found.better)
        return found.pieces


def _main_directions(rows: Floats, columns: Floats) -> list[Floats]:
    """The four rotations (3, 3) that lay the main directions of points about their middle along the others'."""
    sides = [np.linalg.svd(at, full_matrices=True)[2] for at in (rows, columns)]
    signs = [(x, y, z) for x in (1, -1) for y in (1, -1) for z in (1, -1)]
    turns = [sides[0].T @ np.diag(sign) @ sides[1] for sign in signs]
    return [turn for turn in turns if np.linalg.det(turn) > 0]


def needs_of(sides: tuple[Sequence[Spot], Sequence[Spot]]) -> tuple[Masks, Masks]:
    """Which spots of both sides must and which should be paired; all should where everything is spare."""
    must = [np.array([spot.must for spot in side], dtype=bool) for side in sides]
    should = [np.array([spot.should and not spot.must for spot in side], dtype=bool) for side in sides]
    if not any(side.any() for side in (*must, *should)):
        should = [np.ones(len(side), dtype=bool) for side in sides]
    return (must[0], must[1]), (should[0], should[1])


def _size(vector: Floats) -> Floats:
    return np.asarray(np.sqrt((vector * vector).sum(axis=-1)))


def stands(pairs: Pairs, named: Sequence[tuple[str, str]], placed: SpacePlaced) -> list[PairFit]:
    """Each pair's figures, in the direction that leaves least: across, along, or how far its axis leans."""
    contact = pairs.contact(placed.turn[None], placed.shift_mm[None])
    across, along = pairs.across_mm(contact)[0], contact.along_mm[0]
    cosine = (contact.axis[0] * pairs.a).sum(axis=1)
    found = []
    for i, (fixing, feature) in enumerate(named):
        off: dict[Direction, tuple[float, float]] = {
            "across": (float(across[i]), float(pairs.rho[i])), "along": (abs(float(along[i])), float(pairs.grip[i])),
            "lean": (LEAN_SCALE_MM * (1.0 - float(cosine[i])), LEAN_SCALE_MM * (1.0 - LEAN_COS)),
        }  # fmt: skip
        if pairs.rho[i] >= WILD_MM:
            # Of a pair of which something is not known, nothing is said along the axis.
            off = {"across": off["across"]}
        direction = min(off, key=lambda way: off[way][1] - off[way][0])
        offset, allowed = off[direction]
        lean_deg = math.degrees(math.acos(min(1.0, max(-1.0, float(cosine[i])))))
        found.append(PairFit(fixing, feature, offset, allowed, allowed - offset, direction, float(along[i]), lean_deg))
    return found


def in_words(placed: SpacePlaced, mirrored: bool) -> Placement:
    """A rigid move in space as a placement: its turn is the angle about whatever axis."""
    flip = np.diag([-1.0 if mirrored else 1.0, 1.0, 1.0])
    turn = placed.turn @ flip
    rows = [(*(float(v) + 0.0 for v in turn[k]), float(placed.shift_mm[k]) + 0.0) for k in range(3)]
    x, y, z = (float(v) for v in placed.shift_mm)
    return Placement(angle_deg(placed.turn), x, y, mirrored, (*rows, (0.0, 0.0, 0.0, 1.0)), z)


def _settled(pairs: tuple[Pair, ...], placed: SpacePlaced, room_mm: float) -> SpaceSettled:
    near = placed.excess_mm >= placed.worst_mm - 1e-6
    pressing = tuple(pairs[k] for k in np.flatnonzero(near | placed.active))
    x, y = float(placed.shift_mm[0]), float(placed.shift_mm[1])
    return SpaceSettled(pairs, placed.worst_mm + room_mm, 0.0, (x, y), pressing, placed)
