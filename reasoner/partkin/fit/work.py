"""One flat fit task being worked on: its arrays, what it needs, and how searches of it begin."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from partkin.fit.certificate import certify
from partkin.fit.layout import Aim, Layout, Pair, lay_out
from partkin.fit.matching import cover
from partkin.fit.search import FoundPairing, PairingSearch, StepBudget
from partkin.fit.settle import KnownPairings
from partkin.model.fitting import FitTask, PairFit, Piece, Placement

# Rounding that an excess may have and still count as none.
FIT_MM = 1.0e-6
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

    def __post_init__(self) -> None:
        """Begin with the first question."""
        self.next_question()

    @classmethod
    def of(cls, task: FitTask, node_limit: int) -> WorkedTask:
        """Arrange a task."""
        layout = lay_out(task)
        sides = (layout.rows.spots, layout.columns.spots)
        must = _masks([[spot.must for spot in side] for side in sides])
        should = _masks([[spot.should and not spot.must for spot in side] for side in sides])
        if not any(side.any() for side in (*must, *should)):
            # Everything is spare: then each spot is as good as the next.
            should = _masks([[True] * len(side) for side in sides])
        return cls(task, layout, KnownPairings(layout), must, should, node_limit)

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
        layout, aim = self.layout, self.needing(demands)
        can = np.isfinite(layout.allowed_mm) & aim.useful()
        rows, columns = layout.rows.point, layout.columns.point
        rows, columns = rows - rows.mean(), columns - columns.mean()
        best: FoundPairing | None = None
        for quarter in range(4):
            off = np.abs(rows[:, None] - columns[None, :] * 1j**quarter)
            off = off - np.where(can, layout.allowed_mm, 0.0)
            pairs = tuple((cover(can, off, aim.need, aim.count)[0] or {}).items())
            settled = self.known.place(pairs)
            if best is None or settled.excess_mm < best.excess_mm:
                best = FoundPairing(pairs, 0, settled.excess_mm, settled.turn_rad, settled.shift_mm)
        assert best is not None
        return best

    def prove(self, pairs: Sequence[Pair]) -> tuple[Piece, ...] | None:
        """Prove that these pairs cannot all hold; None: no proof was found."""
        named = [self.layout.ids(pair) for pair in pairs]
        circle = (-180.0, 180.0)
        if len(pairs) == 1:
            # Too tight by itself, at every turn.
            return (Piece(circle, apart=(named[0][0], named[0][0])),)
        if len(pairs) == 2 and self.layout.pair_need_mm(*pairs[0])[pairs[1]] > FIT_MM:
            return (Piece(circle, apart=(named[0][0], named[1][0])),)
        return certify(self.layout.known(pairs), tuple(fixing for fixing, _ in named))

    def placement(self, found: FoundPairing) -> Placement:
        """Write a turn and a shift as a placement with its 4 x 4 matrix."""
        return placement_of(found, self.task.mirrored)

    def slides(self, found: FoundPairing) -> tuple[str, ...]:
        """Say what movement is left where a pairing fits."""
        return self.known.movement(found.pairs)

    def pair_fits(self, found: FoundPairing) -> tuple[PairFit, ...]:
        """How each pair stands at its placement, in the task's order of fixings."""
        order = {spot.id: place for place, spot in enumerate(self.task.fixings)}
        known = self.layout.known(found.pairs)
        offsets = known.offsets(found.turn_rad, found.shift_mm)
        fits = []
        for pair, offset, allowed in zip(found.pairs, offsets, known.rho, strict=True):
            fixing, feature = self.layout.ids(pair)
            fits.append(PairFit(fixing, feature, float(offset), float(allowed), float(allowed - offset)))
        return tuple(sorted(fits, key=lambda pair: order[pair.fixing]))


def _masks(sides: list[list[bool]]) -> Masks:
    return np.array(sides[0], dtype=bool), np.array(sides[1], dtype=bool)


def placement_of(found: FoundPairing, mirrored: bool) -> Placement:
    """Write a turn and a shift as a placement with its 4 x 4 matrix."""
    c, s = math.cos(found.turn_rad), math.sin(found.turn_rad)
    flip = -1.0 if mirrored else 1.0
    x, y = found.shift_mm
    turn_deg = math.degrees(math.remainder(found.turn_rad, math.tau))
    matrix = (
        (c * flip, -s, 0.0, x),
        (s * flip, c, 0.0, y),
        (0.0, 0.0, 1.0, 0.0),
        (0.0, 0.0, 0.0, 1.0),
    )
    return Placement(turn_deg, x, y, mirrored, matrix)
