"""How a donor may have been made, what its readings say to each way, and donors drawn as they then may really be.

Two ideas are kept apart. One drawing: every hole is where the original's (the host's) is but for the maker's
scatter. Another drawing: one hole, two, a group side by side or all were moved besides, by an unknown amount. The
discrepancies y that no turn and shift takes away are normal under each way, y ~ N(0, D + S): D is what may have moved,
S the covariance of the readings. So the weight of each way is closed form (spike and slab: Mitchell and Beauchamp,
1988, from memory), and the true discrepancies given y are normal too: they are drawn by conditioning.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from partkin.fit.arrays import Floats
from partkin.fit.discrepancies import Discrepancies
from partkin.model.known import Making

SEED = 1
BLOCK = 128


@dataclass(frozen=True, eq=False)
class Ways:
    """Each way in which a donor may have been made, with its weight after the readings.

    Attributes
    ----------
    near_mm2
        float64 (f,): variance of y under one drawing.
    likely
        Logarithm of how likely the readings are by all ways together, but for a constant of f.
    weight
        float64 (w,), sum 1: one drawing, then all holes by each spread, then each few of them by each spread.
    spread_mm
        float64 (w,): by how much something moved; 0 under one drawing.
    few
        int (w,): row of `moves`; -1 one drawing, -2 every hole moved by itself.
    moves
        float64 (k, n, 2): 1 where a hole moves with the first, or the second, of the things that moved.
    """

    of: Discrepancies
    near_mm2: Floats
    scatter_mm: float
    likely: float
    weight: Floats
    spread_mm: Floats
    few: np.ndarray
    moves: Floats
    stiff: _Stiffness

    @property
    def one_drawing(self) -> float:
        """Weight of one drawing after the readings."""
        return float(self.weight[0])

    @property
    def another(self) -> Ways:
        """The same if it is of another drawing."""
        rest = self.weight.copy()
        rest[0] = 0.0
        return replace(self, weight=rest / max(float(rest.sum()), 1e-300))

    def drawn(self, start: int, count: int, off_mm: Floats | None = None) -> Drawn:
        """Draw donors as they may really be; draw k is the same however blocks are cut.

        Parameters
        ----------
        start, count
        off_mm
            float64 (count, f): what the readings may be out by; None: drawn here.
        """
        first, last = start // BLOCK, (start + count - 1) // BLOCK
        each = [self._block(block) for block in range(first, last + 1)]
        way, moved, scattered, own = (
            np.concatenate(part)[start - first * BLOCK :][:count] for part in zip(*each, strict=True)
        )
        gap = self.of.y_mm - moved - scattered - (own if off_mm is None else off_mm)
        pull, share = self._given(way, gap)
        return Drawn(moved + share + scattered + self.scatter_mm**2 * pull, way == 0, pull)

    def _block(self, block: int) -> tuple[np.ndarray, Floats, Floats, Floats]:
        """Which way each donor was made, what moved, the maker's scatter and the readings' errors, before y."""
        n, d = self.of.fixings_mm.shape
        draw = np.random.default_rng([SEED, block])
        way = np.searchsorted(np.cumsum(self.weight)[:-1], draw.random(BLOCK), side="right")
        few, every, scatter = (self.of.own_mm(draw.standard_normal((BLOCK, count, d))) for count in (2, n, n))
        chosen = self.few[way]
        by_few = np.einsum("bnc,bcd->bnd", self.moves[np.maximum(chosen, 0)], few) if len(self.moves) else every
        moved = np.where((chosen == -2)[:, None, None], every, by_few) * self.spread_mm[way][:, None, None]
        own = self.of.errors_mm(draw.standard_normal((BLOCK, n, d)))
        onto = self.of.basis
        return way, moved.reshape(BLOCK, -1) @ onto, self.scatter_mm * scatter.reshape(BLOCK, -1) @ onto, own

    def _given(self, way: np.ndarray, gap_mm: Floats) -> tuple[Floats, Floats]:
        """C^-1 gap of each draw, (m, f), and what it moves: (D without scatter) C^-1 gap."""
        variance = self.spread_mm[way][:, None] ** 2
        every, few = self.few[way] == -2, np.flatnonzero(self.few[way] >= 0)
        pull = gap_mm / np.where(every[:, None], self.near_mm2 + variance, self.near_mm2)
        share = np.where(every[:, None], variance * pull, 0.0)
        if len(few):
            rows, basis = self.few[way[few]], self.of.basis
            moves, axes, size = self.moves[rows], self.stiff.axes[rows], self.stiff.size[rows]
            m, n, d = len(few), *self.of.fixings_mm.shape

            def felt(v: Floats) -> Floats:
                return np.asarray(np.einsum("bnc,bnd->bcd", moves, (v @ basis.T).reshape(m, n, d)).reshape(m, 2 * d))

            def back(t: Floats) -> Floats:
                return np.asarray(np.einsum("bnc,bcd->bnd", moves, t.reshape(m, 2, d)).reshape(m, n * d) @ basis)

            held = np.einsum("bax,ba->bx", axes, felt(pull[few])) / (1.0 / variance[few] + size)
            pull[few] -= back(np.einsum("bax,bx->ba", axes, held)) / self.near_mm2
            share[few] = variance[few] * back(felt(pull[few]))
        return pull, share


@dataclass(frozen=True, eq=False)
class Drawn:
    """Donors as they may really be: m of them.

    `departs_mm` (m, f): true discrepancies. `one` (m,): which are of one drawing. `pull` (m, f): C^-1 (y - y0), by
    which any error that is correlated with y is corrected.
    """

    departs_mm: Floats
    one: np.ndarray
    pull: Floats


def weigh(of: Discrepancies, making: Making, one_drawing: float) -> Ways:
    """Weigh every way in which a donor may have been made by what was read.

    Parameters
    ----------
    of
    making
        How parts come about.
    one_drawing
        Weight of one drawing before the readings.

    Examples
    --------
    Two holes, of which the distance is read to 1 mm (one standard deviation) and comes out 1 mm long; no scatter, and
    whatever moved has moved by 3**0.5 mm either way. One drawing has N(1; 0, 1) = 0.2420. Another has
    N(1; 0, 1 + 3/2) = 0.2066 where one hole moved (half of that counts), N(1; 0, 1 + 3) = 0.1760 where both did.

    >>> of = Discrepancies(np.ones(1), np.ones(1), np.array([[-1], [0], [1], [0]]) / 2**0.5, np.eye(2), np.zeros(2),
    ...                    np.array([[0.0, 0.0], [300.0, 0.0]]))
    >>> making = Making(scatter_mm=0.0, spreads_mm=(3**0.5,), one_hole=1.0, two_holes=0.0, group=0.0, all_holes=0.0)
    >>> round(weigh(of, making, 0.5).one_drawing, 4), round(0.2420 / (0.2420 + 0.2066), 4)
    (0.5395, 0.5395)
    """
    spreads = np.asarray(making.spreads_mm, dtype=float)
    near = of.variance_mm2 + making.scatter_mm**2
    one = -0.5 * float((of.y_mm**2 / near + np.log(near)).sum())
    wide = near[:, None] + spreads**2
    every = -0.5 * (of.y_mm[:, None] ** 2 / wide + np.log(wide)).sum(axis=0)
    share, moves = _few(of.fixings_mm, making)
    stiff = _stiffness(of, near, moves)
    size, told = stiff.size[..., None], stiff.told[..., None]
    few = one + 0.5 * (told**2 / (1.0 / spreads**2 + size) - np.log1p(size * spreads**2)).sum(axis=1)
    each = (1.0 - one_drawing) / (len(spreads) * (float(share.sum()) + making.all_holes))
    with np.errstate(divide="ignore"):
        log = np.concatenate([
            [np.log(one_drawing) + one], np.log(each * making.all_holes) + every,
            (np.log(each * share)[:, None] + few).ravel(),
        ])  # fmt: skip
    weight = np.exp(log - log.max())
    count = len(spreads)
    return Ways(
        of, near, making.scatter_mm, float(log.max() + np.log(weight.sum())), weight / weight.sum(),
        np.concatenate([[0.0], spreads, np.tile(spreads, len(moves))]),
        np.concatenate([[-1], np.full(count, -2), np.repeat(np.arange(len(moves)), count)]), moves, stiff,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Stiffness:
    """How firmly the readings hold what moves in each of k ways: eigenvalues, axes, and y's pull along them."""

    size: Floats
    axes: Floats
    told: Floats


def _stiffness(of: Discrepancies, near_mm2: Floats, moves: Floats) -> _Stiffness:
    n, d = of.fixings_mm.shape
    k = len(moves)
    held = ((of.basis / near_mm2) @ of.basis.T).reshape(n, d, n, d)
    own = np.einsum("knc,ndme,kmg->kcdge", moves, held, moves, optimize=True).reshape(k, 2 * d, 2 * d)
    size, axes = np.linalg.eigh(own)
    pull = (of.basis @ (of.y_mm / near_mm2)).reshape(n, d)
    told = np.einsum("kax,ka->kx", axes, np.einsum("knc,nd->kcd", moves, pull).reshape(k, 2 * d))
    return _Stiffness(np.maximum(size, 0.0), axes, told)


def _few(at_mm: Floats, making: Making) -> tuple[Floats, Floats]:
    """Shares (k,) of the ways in which few holes moved, and which holes move together in each (k, n, 2)."""
    n = len(at_mm)
    kinds = (
        (making.one_hole, [((i,), ()) for i in range(n)]),
        (making.two_holes, [((i,), (k,)) for i, k in combinations(range(n), 2)]),
        (making.group, [(group, ()) for group in _groups(at_mm)]),
    )
    found = [(share / len(sets), pair) for share, sets in kinds if share for pair in sets]
    moves = np.zeros((len(found), n, 2))
    for row, (_, pair) in enumerate(found):
        for column, holes in enumerate(pair):
            moves[row, list(holes), column] = 1.0
    return np.array([share for share, _ in found]), moves


def _groups(at_mm: Floats) -> list[tuple[int, ...]]:
    """Sets of two up to half of the holes that stand side by side: each with those nearest to it."""
    n = len(at_mm)
    found: dict[tuple[int, ...], None] = {}
    for i in range(n):
        order = np.argsort(np.round(np.linalg.norm(at_mm - at_mm[i], axis=1), 6), kind="stable").tolist()
        for count in range(2, n // 2 + 1):
            found[tuple(sorted(order[:count]))] = None
    return list(found)
