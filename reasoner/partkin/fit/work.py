"""One fit task being worked on: its arrays, what it needs, and how searches of it begin."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import ClassVar, Self

import numpy as np

from partkin.fit.arrays import FITS_MM, LEAN_COS, LEAN_SCALE_MM, WILD_MM, Floats, Pairs
from partkin.fit.certificate import certify
from partkin.fit.layout import Aim, Layout, Pair
from partkin.fit.minimax import Placed
from partkin.fit.rotations import angle_deg
from partkin.fit.search import FoundPairing, PairingSearch, StepBudget, cover
from partkin.fit.settle import KnownPairings
from partkin.model.fitting import Direction, FitTask, PairFit, Piece, Placement

# How far allowances are inflated, step by step, in search of the margin of what does not fit.
LEVELS_MM = (0.3, 1.0, 3.0, 10.0)
# A node of so many possible pairs takes about a step longer.
PAIRS_A_STEP = 100

# A spot that must be paired: (0, row) or (1, column).
Demand = tuple[int, int]
Masks = tuple[np.ndarray, np.ndarray]


@dataclass(eq=False)
class WorkedTask:
    """One task being worked on.

    `must` and `should` hold bool (n,) for the rows and bool (m,) for the columns. `node_limit` holds for
    each of three questions by itself: does it fit, by what margin, what conflicts.
    """

    task: FitTask
    layout: Layout
    known: KnownPairings
    must: Masks
    should: Masks
    node_limit: int
    budget: StepBudget = field(init=False)
    known_as: ClassVar[type[KnownPairings]] = KnownPairings

    def __post_init__(self) -> None:
        """Begin with the first question."""
        self.next_question()

    @classmethod
    def of(cls, task: FitTask, node_limit: int) -> Self:
        """Arrange a task; where everything is spare each spot is as good as the next, and should be paired."""
        layout = Layout.of(task)
        sides = (layout.rows.spots, layout.columns.spots)
        must = _masks([[spot.must for spot in side] for side in sides])
        should = _masks([[spot.should and not spot.must for spot in side] for side in sides])
        if not any(side.any() for side in (*must, *should)):
            should = _masks([[True] * len(side) for side in sides])
        return cls(task, layout, cls.known_as(layout), must, should, node_limit)

    @property
    def limit(self) -> str:
        """What bounds a question."""
        return f"{self.node_limit} nodes"

    @property
    def demands(self) -> tuple[Demand, ...]:
        """All that must be paired."""
        return tuple((side, int(index)) for side in (0, 1) for index in np.flatnonzero(self.must[side]))

    def needing(self, demands: Sequence[Demand]) -> Aim:
        """Aim at covering these and nothing more."""
        need = tuple(np.zeros(len(side), dtype=bool) for side in self.must)
        for side, index in demands:
            need[side][index] = True
        none = tuple(np.zeros(len(side), dtype=bool) for side in self.must)
        return Aim(need, none)  # type: ignore[arg-type]

    def search(self, aim: Aim, limit_mm: float, *, at_least: int = 0, every: bool = True) -> PairingSearch:
        """Begin a search with the nodes that this question has left."""
        return PairingSearch(self.layout, self.known, aim, self.budget, limit_mm, at_least, every)

    def next_question(self) -> None:
        """Allow all nodes anew."""
        self.budget = StepBudget(self.node_limit, 1 + self.layout.allowed_mm.size // PAIRS_A_STEP)

    def can_be_covered(self, demands: Sequence[Demand]) -> bool:
        """Whether there are enough options, sizes and places aside."""
        aim = self.needing(demands)
        can = np.isfinite(self.layout.allowed_mm)
        rows, columns = can[aim.need[0]].sum(axis=1), can[:, aim.need[1]].sum(axis=0)
        if rows.min(initial=len(rows)) >= len(rows) and columns.min(initial=len(columns)) >= len(columns):
            # So many options each that the others can never take them all.
            return True
        return cover(can, np.zeros(can.shape), aim.need, aim.count)[0] is not None

    def nearest_miss(self, demands: Sequence[Demand]) -> list[FoundPairing]:
        """Find the pairings of these demands with the largest margin, inflating the allowances step by step.

        Returns
        -------
        All that tie; where every pairing is short by more than the last level, some pairing.

        Raises
        ------
        LimitReached
        """
        for level in LEVELS_MM:
            found = self.search(self.needing(demands), level).run()
            if found:
                return found
        return [self.some_pairing(demands)]

    def some_pairing(self, demands: Sequence[Demand]) -> FoundPairing:
        """Return a pairing of these demands that is as near as a few plain placements show."""
        aim = self.needing(demands)
        can = np.isfinite(self.layout.allowed_mm) & aim.useful()
        best: FoundPairing | None = None
        for off in self._laid_plainly():
            far = off - np.where(can, self.layout.allowed_mm, 0.0)
            pairs = tuple((cover(can, far, aim.need, aim.count)[0] or {}).items())
            settled = self.known.place(pairs)
            if best is None or settled.excess_mm < best.excess_mm:
                best = FoundPairing(pairs, 0, settled.excess_mm)
        assert best is not None
        return best

    def _laid_plainly(self) -> Iterator[Floats]:
        """(n, m) mm: how far rows and columns stand apart with their middles together, at each quarter turn."""
        rows, columns = (point - point.mean() for point in self.layout.points)
        for quarter in range(4):
            yield np.abs(rows[:, None] - columns[None, :] * 1j**quarter)

    def prove(self, pairs: Sequence[Pair]) -> tuple[Piece, ...] | None:
        """Prove that these pairs cannot all hold; None: no proof was found."""
        named = [self.layout.ids(pair) for pair in pairs]
        circle = (-180.0, 180.0)
        if len(pairs) == 1:
            # Too tight by itself, at every turn.
            return (Piece(circle, apart=(named[0][0], named[0][0])),)
        if len(pairs) == 2 and self.layout.pair_need_mm(*pairs[0])[pairs[1]] > FITS_MM:
            return (Piece(circle, apart=(named[0][0], named[1][0])),)
        return certify(self.layout.known(pairs), tuple(fixing for fixing, _ in named))

    def placed(self, pairs: Sequence[Pair]) -> Placed:
        """The best placement of a pairing."""
        return self.known.place(pairs).placed

    def pair_fits(self, pairs: Sequence[Pair], placed: Placed) -> tuple[PairFit, ...]:
        """How each pair stands at a placement, in the task's order of fixings."""
        order = {spot.id: place for place, spot in enumerate(self.task.fixings)}
        fits = _stands(self.layout.known(pairs), [self.layout.ids(pair) for pair in pairs], placed)
        return tuple(sorted(fits, key=lambda pair: order[pair.fixing]))


def _masks(sides: list[list[bool]]) -> Masks:
    return np.array(sides[0], dtype=bool), np.array(sides[1], dtype=bool)


def _stands(pairs: Pairs, named: Sequence[tuple[str, str]], placed: Placed) -> list[PairFit]:
    """Each pair's figures, in the direction that leaves least: across, along, or how far its axis leans."""
    contact = pairs.contact(placed.turn[None], placed.shift_mm[None])
    across = pairs.across_mm(contact)[0]
    if pairs.dims == 2:
        told = zip(named, across, pairs.rho, strict=True)
        return [PairFit(*ids, float(off), float(rho), float(rho - off)) for ids, off, rho in told]
    along, cosine = contact.along_mm[0], (contact.axis[0] * pairs.a).sum(axis=1)
    found = []
    for i, ids in enumerate(named):
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
        found.append(PairFit(*ids, offset, allowed, allowed - offset, direction, float(along[i]), lean_deg))
    return found


def placement_of(placed: Placed, mirrored: bool) -> Placement:
    """Write a placement with its 4 x 4 matrix; in space its turn is the angle about whatever axis."""
    flip = -1.0 if mirrored else 1.0
    shift = tuple(float(v) for v in placed.shift_mm)
    if len(shift) == 2:
        c, s = math.cos(placed.turn_rad), math.sin(placed.turn_rad)
        turn_deg = math.degrees(math.remainder(placed.turn_rad, math.tau))
        rows = ((c * flip, -s, 0.0, shift[0]), (s * flip, c, 0.0, shift[1]), (0.0, 0.0, 1.0, 0.0))
        return Placement(turn_deg, *shift, mirrored, (*rows, (0.0, 0.0, 0.0, 1.0)))
    turn = placed.turn @ np.diag([flip, 1.0, 1.0])
    first, second, third = ((*(float(v) + 0.0 for v in row), off + 0.0) for row, off in zip(turn, shift, strict=True))
    matrix = (first, second, third, (0.0, 0.0, 0.0, 1.0))
    return Placement(angle_deg(placed.turn), shift[0], shift[1], mirrored, matrix, shift[2])
