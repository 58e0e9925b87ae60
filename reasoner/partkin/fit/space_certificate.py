"""Proof that no rotation and no shift lets known pairs in space all hold, in boxes that cover every rotation.

A box is closed by two fixings that stay too far apart or too close in it, by one fixing's axis that points too
far off, or by balanced forces (see `space_bound`). What none of them closes is cut in two; where forces are
asked for, they are those of the best shift at the middle of the box, and are kept for every other box. Where
the boxes run out first, nothing is proved.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from partkin.fit.arrays import FITS_MM, WILD_MM, Pairs
from partkin.fit.cones import settle
from partkin.fit.minimax import Placed
from partkin.fit.rotations import matrix_of, quaternion_of
from partkin.fit.space_bound import (
    ABOVE,
    Boxes,
    Force,
    ForceBound,
    apart_always,
    apart_forms,
    lean_forms,
    least,
)
from partkin.model.fitting import Piece, TurnBox

Floats = np.ndarray

BOXES = 24_000
"""Boxes that one proof may take."""
_GRID = 2.0**-14
_FINE = ((2.0**-15, 1.0), (1.0, 2.0**30))
_SMALL = 0.1
_MOST_AT_ONCE = 8
_POOL = 400
_CIRCLE = (-180.0, 180.0)


@dataclass(frozen=True, eq=False)
class SpaceProof:
    """What a search of all rotations came to.

    `pieces`: the proof. `better`: a rotation (3, 3) at which the pairs do hold. Neither: undecided. `boxes`: how
    many were looked at.
    """

    pieces: tuple[Piece, ...] | None = None
    better: Floats | None = None
    boxes: int = 0


def prove(pairs: Pairs, ids: Sequence[str], near: Iterable[Placed] = (), limit: int = BOXES) -> SpaceProof:
    """Prove that the pairs cannot all hold at any rotation.

    Parameters
    ----------
    pairs
        At least one.
    ids
        (n,) the fixings' ids.
    near
        Placements that come nearest: boxes are cut around them, and their forces tried first. Not looked at where
        two pairs alone tell.
    limit
        How many boxes may be looked at.
    """
    plain = _plain(pairs, ids)
    if plain is not None:
        return SpaceProof((plain,))
    tame = np.flatnonzero(pairs.rho < WILD_MM)
    if not len(tame):
        return SpaceProof()
    some = pairs.take(tame)
    middle_p, middle_q = some.p.mean(axis=0), some.q.mean(axis=0)
    about = replace(some, p=some.p - middle_p, q=some.q - middle_q)
    search = _Search(about, [ids[int(i)] for i in tame], [placed.turn for placed in near], limit)
    return search.run()


def _plain(pairs: Pairs, ids: Sequence[str]) -> Piece | None:
    """One fixing too tight by itself, or two that are never as far apart as their features."""
    for tight in (pairs.rho, pairs.grip):
        least_mm = int(np.argmin(tight))
        if tight[least_mm] < -FITS_MM:
            return Piece(_CIRCLE, apart=(ids[least_mm], ids[least_mm]))
    two, short = apart_always(pairs)
    short[(pairs.rho[two] >= WILD_MM).any(axis=1)] = -np.inf
    if short.max(initial=-np.inf) <= ABOVE:
        return None
    k, i = two[int(np.argmax(short))]
    return Piece(_CIRCLE, apart=(ids[k], ids[i]))


@dataclass(eq=False)
class _Tree:
    """Every box that was looked at, its parent, and what closed it (-1: nothing, or its parts did)."""

    largest: list[int] = field(default_factory=list)
    lo: list[Floats] = field(default_factory=list)
    hi: list[Floats] = field(default_factory=list)
    parent: list[int] = field(default_factory=list)
    closed: list[int] = field(default_factory=list)

    def add(self, boxes: Boxes, parents: Sequence[int]) -> Floats:
        first = len(self.parent)
        self.largest += [int(face) for face in boxes.largest]
        self.lo += list(boxes.lo)
        self.hi += list(boxes.hi)
        self.parent += list(parents)
        self.closed += [-1] * len(boxes)
        return np.arange(first, len(self.parent))

    def boxes(self, rows: Floats) -> Boxes:
        return Boxes(
            np.array([self.largest[row] for row in rows]),
            np.array([self.lo[row] for row in rows]).reshape(-1, 3),
            np.array([self.hi[row] for row in rows]).reshape(-1, 3),
        )


class _Search:
    """The search of all rotations for one set of pairs about its middles."""

    def __init__(self, pairs: Pairs, ids: Sequence[str], near: Sequence[Floats], limit: int) -> None:
        self.pairs, self.ids, self.limit = pairs, ids, limit
        self.named, apart = apart_forms(pairs)
        # Bounds one after the other: lean of each pair, each two pairs apart, then forces as they come.
        self.plain = np.concatenate([lean_forms(pairs), apart])
        self.forces: list[ForceBound] = []
        self.near = [quaternion_of(turn) for turn in near]
        self.tree = _Tree()

    def run(self) -> SpaceProof:
        for turn in [matrix_of(q) for q in self.near]:
            # Where the best turn is free, its forces balance about the middle too.
            better = self._ask(turn[None], hold_turn=False)
            if better is not None:
                return SpaceProof(better=better)
        left = self.tree.add(Boxes.all(), [-1] * 4)
        while len(left):
            left = self._close(left, first=0)
            before = len(self.forces)
            better = self._ask_middles(left)
            if better is not None:
                return SpaceProof(better=better)
            left = self._close(left, first=len(self.plain) + before)
            if not len(left):
                break
            parts = None if len(self.tree.parent) + 2 * len(left) > self.limit else self._cut(left)
            if parts is None:
                return SpaceProof(boxes=len(self.tree.parent))
            left = parts
        return SpaceProof(self._pieces(), boxes=len(self.tree.parent))

    def _close(self, rows: Floats, first: int) -> Floats:
        """Close what the bounds from `first` on close; return the rest."""
        if not len(rows):
            return rows
        middle, half = self.tree.boxes(rows).middle()
        by = self._closing(middle, half, first)
        for row, which in zip(rows, by, strict=True):
            self.tree.closed[row] = int(which)
        return np.asarray(rows[by < 0])

    def _closing(self, middle: Floats, half: Floats, first: int) -> Floats:
        """(b,) the first bound from `first` on that closes each box; -1: none."""
        by = np.full(len(middle), -1)
        count = len(self.plain)
        if first < count:
            above = least(self.plain, middle, half) > self._margin(middle)[:, None]
            by = np.where(above.any(axis=1), above.argmax(axis=1), -1)
            first = count
        todo, first = np.flatnonzero(by < 0), first - count
        if len(todo) and first < len(self.forces):
            middle, half = middle[todo], half[todo]
            margin = self._margin(middle)[:, None]
            # The plain ones at one go; those with slots of the donor one by one.
            value = least(np.stack([bound.whole for bound in self.forces[first:]]), middle, half)
            for number, bound in enumerate(self.forces[first:]):
                if len(bound.slots):
                    hopeful = np.flatnonzero(value[:, number] > margin[:, 0])
                    value[:, number] = -np.inf
                    if len(hopeful):
                        value[hopeful, number] = bound.least(middle[hopeful], half[hopeful])
            above = value > margin
            by[todo] = np.where(above.any(axis=1), count + first + above.argmax(axis=1), -1)
        return by

    def _margin(self, middle: Floats) -> Floats:
        scale = float(np.abs(self.pairs.p).max() + np.abs(self.pairs.q).max())
        return np.asarray((ABOVE + 1e-12 * scale * scale) * (middle * middle).sum(axis=1))

    def _ask_middles(self, rows: Floats) -> Floats | None:
        """Forces at the middles of the smaller boxes; or a rotation at which the pairs hold."""
        if not len(rows):
            return None
        middle, half = self.tree.boxes(rows).middle()
        small = np.flatnonzero(half.max(axis=1) <= _SMALL)
        if not len(small) or len(self.forces) >= _POOL:
            return None
        step = max(1, len(small) // _MOST_AT_ONCE)
        return self._ask(matrix_of(middle[small[::step][:_MOST_AT_ONCE]]))

    def _ask(self, turn: Floats, hold_turn: bool = True) -> Floats | None:
        pairs = self.pairs
        shift = pairs.q.mean(axis=0) - turn @ pairs.p.mean(axis=0)
        settled = settle(pairs, turn, shift, hold_turn=hold_turn)
        best = int(np.argmin(settled.worst_mm))
        if settled.worst_mm[best] <= FITS_MM:
            return np.asarray(settled.turn[best])
        for row in range(len(turn)):
            for snap, scale in _FINE[: 1 if settled.worst_mm[row] > 0.05 else 2]:
                force = Force.of(pairs, settled, row, snap, scale)
                if force is not None:
                    self.forces.append(ForceBound(pairs, force))
        return None

    def _cut(self, rows: Floats) -> Floats | None:
        """Cut every box across where it is widest; None: one is as small as boxes go."""
        boxes = self.tree.boxes(rows)
        wide = boxes.hi - boxes.lo
        axis = wide.argmax(axis=1)
        each = np.arange(len(rows))
        if wide[each, axis].min() < 4 * _GRID:
            return None
        lo, hi = boxes.lo[each, axis], boxes.hi[each, axis]
        cut = np.round(self._where(boxes, axis, lo, hi) / _GRID) * _GRID
        cut = np.clip(cut, lo + _GRID, hi - _GRID)
        first_hi, second_lo = boxes.hi.copy(), boxes.lo.copy()
        first_hi[each, axis] = second_lo[each, axis] = cut
        both = Boxes(
            np.concatenate([boxes.largest, boxes.largest]), np.concatenate([boxes.lo, second_lo]),
            np.concatenate([first_hi, boxes.hi]),
        )  # fmt: skip
        return self.tree.add(both, [*rows.tolist(), *rows.tolist()])

    def _where(self, boxes: Boxes, axis: Floats, lo: Floats, hi: Floats) -> Floats:
        """In the middle; but beside a rotation that comes near, so that one box is left about it."""
        cut = (lo + hi) / 2
        for q in self.near:
            for row in range(len(boxes)):
                face = int(boxes.largest[row])
                if abs(q[face]) < 0.3:
                    continue
                at = np.delete(q, face) / q[face]
                if (at < boxes.lo[row]).any() or (at > boxes.hi[row]).any():
                    continue
                here = at[axis[row]]
                if hi[row] - here > here - lo[row]:
                    cut[row] = here + (hi[row] - here) / 3
                else:
                    cut[row] = here - (here - lo[row]) / 3
        return np.asarray(cut)

    def _pieces(self) -> tuple[Piece, ...]:
        """The largest boxes that one bound closes; they cover what the boxes they stand for covered."""
        count = len(self.tree.parent)
        by = np.array(self.tree.closed)
        inner = np.flatnonzero(by < 0)
        if len(inner):
            middle, half = self.tree.boxes(inner).middle()
            by[inner] = self._closing(middle, half, 0)
        covered = np.zeros(count, dtype=bool)
        pieces = []
        for row in range(count):
            parent = self.tree.parent[row]
            if parent >= 0 and covered[parent]:
                covered[row] = True
            elif by[row] >= 0:
                covered[row] = True
                pieces.append(self._piece(row, int(by[row])))
        return tuple(pieces)

    def _piece(self, row: int, which: int) -> Piece:
        tree = self.tree
        lo, hi = ([float(v) + 0.0 for v in side[row]] for side in (tree.lo, tree.hi))
        box = TurnBox(tree.largest[row], (lo[0], lo[1], lo[2]), (hi[0], hi[1], hi[2]))
        n = len(self.pairs)
        if which < n:
            return Piece(_CIRCLE, box=box, axes=((self.ids[which], 1.0),))
        if which < len(self.plain):
            first, second = self.named[which - n]
            return Piece(_CIRCLE, apart=(self.ids[first], self.ids[second]), box=box)
        force = self.forces[which - len(self.plain)].force
        return Piece(
            _CIRCLE,
            weights=tuple((self.ids[i], _three(force.force[i])) for i in force.used() if force.force[i].any()),
            box=box,
            couples=tuple((self.ids[i], _three(force.couple[i])) for i in force.used() if force.couple[i].any()),
            axes=tuple((self.ids[i], float(force.lean[i])) for i in force.used() if force.lean[i] > 0),
        )


def _three(vector: Floats) -> tuple[float, ...]:
    return tuple(float(v) + 0.0 for v in vector)
