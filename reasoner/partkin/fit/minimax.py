"""The placement of known pairs whose worst excess is smallest, over all turns and shifts.

A descent from the centred start finds a least nearby; then the turns that any better placement would need
are searched: two pairs at a time leave a few short arcs open, and balanced weights bound the excess from
below over them (`bound.Bound`). A better turn found on the way starts the descent again.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from partkin.fit.arrays import FITS_MM, Floats, Pairs, turn
from partkin.fit.cones import settle_flat
from partkin.fit.freedom import choose
from partkin.fit.rotations import flat_turn
from partkin.fit.turns import Arc, Bound, balanced, left_over, open_arcs, two_by_two

_NEAR_MM = 8e-4
_SAME_MM = 1e-7
_FAR_MM = 10.0
_PIECES = 4000
_NEIGHBOURS = 4
_ROUNDS = 60
_WIDEST_RAD = 0.3


@dataclass(frozen=True, eq=False)
class Placed:
    """A placement of the donor, in the plane or in space, and how each pair stands there.

    Attributes
    ----------
    turn, shift_mm
        (d, d) and (d,): the donor (mirrored already) is turned about its origin, then shifted.
    worst_mm
        Largest excess; -inf where there are no pairs.
    excess_mm
        (n,).
    active
        (n,) bool: pairs that hold the worst excess and press against each other.
    turn_rad, weights
        In the plane: the angle of the turn, in (-pi, pi], and (n, 2) balanced directions in which the pairs press,
        their lengths adding up to 1, or all zero.
    loose
        The placement is not the only best one (see `freedom.free_movement`); said in the plane alone.
    proved
        No turn does better by more than what `best_placement` promises. False: the search ended at its
        limit, and a worst excess above zero is no proof that it does not fit.
    programs
        How many were solved for it; counted in space alone.
    """

    turn: Floats
    shift_mm: Floats
    worst_mm: float
    excess_mm: Floats
    active: Floats
    turn_rad: float = 0.0
    weights: Floats = field(default_factory=lambda: np.zeros((0, 2)))
    loose: bool = False
    proved: bool = True
    programs: int = 0

    @property
    def fits(self) -> bool:
        """Whether every pair is within its play."""
        return self.worst_mm <= FITS_MM


@dataclass(frozen=True, eq=False)
class TurnSearch:
    """What a search of all turns came to.

    `pieces`: (lo, hi, weights) ranges in radians with the weights whose bound stays above the level, in
    order and covering the arcs; `better`: a placement at or below the level instead; both empty:
    undecided.
    """

    pieces: tuple[tuple[float, float, Floats], ...] = ()
    better: tuple[float, Floats] | None = None
    proved: bool = False


def kabsch(pairs: Pairs) -> tuple[float, Floats]:
    """Turn and shift that centre the one pattern on the other by least squares: a start, no answer."""
    p0, q0 = pairs.p.mean(axis=0), pairs.q.mean(axis=0)
    p, q = pairs.p - p0, pairs.q - q0
    along = float((p * q).sum())
    across = float((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum())
    size = float((p * p).sum() + (q * q).sum())
    angle = math.atan2(across, along) if math.hypot(along, across) > 1e-12 * size else 0.0
    return angle, q0 - turn(p0[None, :], math.cos(angle), math.sin(angle))[0]


def best_wherever(pairs: Pairs, stop_at_sign: bool = False) -> Placed:
    """Find the best placement in the plane, or the best that several starts lead to in space."""
    if pairs.dims == 2:
        return best_placement(pairs, stop_at_sign)
    from partkin.fit.space_minimax import best_in_space

    return best_in_space(pairs, stop_at_sign)


def best_placement(pairs: Pairs, stop_at_sign: bool = False) -> Placed:
    """Find the placement with the smallest worst excess over all turns and shifts.

    Parameters
    ----------
    pairs
        Any number; none at all fits anywhere.
    stop_at_sign
        Enough to know whether it fits: any placement that does, or the proof that none does.

    Returns
    -------
    Placed
        The worst excess is the least possible to 1e-6 mm near it and to 0.0008 mm over all turns; above
        10 mm it may be any placement's that is at least that bad. Where several are best: least squared
        offsets, then the smallest turn, then the smallest shift from centring.
    """
    n = len(pairs)
    if n == 0:
        return Placed(np.eye(2), np.zeros(2), -math.inf, np.zeros(0), np.zeros(0, dtype=bool), loose=True)
    centred, p0, q0 = pairs.centred()
    # Weights bound the excess best over a range of turns when they turn with the side that has the slots.
    if float(pairs.s_d.sum()) > float(pairs.s_h.sum()):
        angle, shift, weights, proved = _least(centred.swapped(), stop_at_sign)
        angle, shift, weights = _from_swapped(angle, shift, weights)
    else:
        angle, shift, weights, proved = _least(centred, stop_at_sign)
    worst = float(centred.excess(angle, shift).max())
    loose = False
    if not stop_at_sign:
        angle, shift, loose = choose(centred, angle, shift, worst)
    angle = math.remainder(angle, 2 * math.pi) + 0.0
    if angle <= -math.pi:
        angle = math.pi
    whole = shift + q0 - turn(p0[None, :], math.cos(angle), math.sin(angle))[0] + 0.0
    excess = centred.excess(angle, shift)
    active = (np.hypot(weights[:, 0], weights[:, 1]) > 1e-4) | (excess >= excess.max() - 1e-9)
    return Placed(flat_turn(angle), whole, float(excess.max()), excess, active, angle, weights, loose, proved)


def _from_swapped(angle: float, shift: Floats, weights: Floats) -> tuple[float, Floats, Floats]:
    """Turn, shift and weights as seen from the host, from those of the swapped pairs."""
    c, s = math.cos(angle), -math.sin(angle)
    return -angle, -turn(shift[None, :], c, s)[0], -turn(weights, c, s)


def _least(pairs: Pairs, stop_at_sign: bool) -> tuple[float, Floats, Floats, bool]:
    """Turn, shift and weights of the least worst excess of pairs about the origin; whether it is proved."""
    floor = -float(pairs.rho.min())
    angle, shift = kabsch(pairs)
    best = (angle, shift, np.zeros((len(pairs), 2)))
    worst = float(pairs.excess(angle, shift).max())
    if worst <= floor + _SAME_MM or (stop_at_sign and (worst <= 0 or floor > FITS_MM)):
        return *best, True
    angle, shift, weights = settle_flat(pairs, angle, shift, stop_at_sign=stop_at_sign)
    for _ in range(_ROUNDS):
        reached = float(pairs.excess(angle, shift).max())
        if reached < worst:
            worst = reached
            best = (angle, shift, balanced(weights))
        level = _level(worst, floor, stop_at_sign)
        if level is None:
            return *best, True
        found = search_turns(pairs, level, [(best[0], best[2])])
        if found.better is None:
            return *best, found.proved
        angle, shift, weights = _from_better(pairs, *found.better, stop_at_sign)
    return *best, False


def _from_better(pairs: Pairs, angle: float, shift: Floats, stop_at_sign: bool) -> tuple[float, Floats, Floats]:
    """Go on from a turn that the search found, kept near it until that does not lose what was found."""
    held = settle_flat(pairs, angle, shift, hold_turn=True)
    worst = float(pairs.excess(*held[:2]).max())
    near = _WIDEST_RAD
    for _ in range(8):
        settled = settle_flat(pairs, angle, held[1], most_turn_rad=near, stop_at_sign=stop_at_sign)
        if float(pairs.excess(*settled[:2]).max()) < worst:
            return settled
        near /= 4
    return held


def _level(worst: float, floor: float, stop_at_sign: bool) -> float | None:
    """The worst excess that no other turn may be found to reach; None: nothing is left to prove."""
    if worst <= floor + _SAME_MM:
        return None
    if stop_at_sign:
        return None if worst <= FITS_MM else min(FITS_MM, worst / 2)
    if worst - _NEAR_MM >= FITS_MM or worst <= FITS_MM:
        return max(min(worst - _NEAR_MM, _FAR_MM), floor)
    return min(FITS_MM, worst - _SAME_MM)


def search_turns(
    pairs: Pairs, level_mm: float, known: Sequence[tuple[float, Floats]] = (), arcs: list[Arc] | None = None,
    shape: Callable[[Floats], Floats] = balanced, grid_rad: float = 0.0,
) -> TurnSearch:  # fmt: skip
    """Search the turns for a placement whose worst excess is at or below a level, or prove there is none.

    Parameters
    ----------
    pairs, level_mm
        About the origin.
    known
        Turns with weights found there, tried first.
    arcs
        The turns to search, radians; those that two pairs leave open, unless given.
    shape
        Makes balanced weights of the raw ones.
    grid_rad
        Pieces end on multiples of this (or where an arc does).
    """
    if arcs is None:
        arcs = open_arcs(two_by_two(pairs, level_mm))
    pieces: list[tuple[float, float, Floats]] = []
    left = list(reversed(arcs))
    pool = [(at, Bound(pairs, weights)) for at, weights in known]
    shift = kabsch(pairs)[1]
    for _ in range(_PIECES):
        if not left:
            return TurnSearch(tuple(sorted(pieces, key=lambda piece: piece[0])), None, True)
        arc = left.pop()
        piece = _from_pool(pool, arc, level_mm, grid_rad)
        if piece is None:
            at = (arc[0] + arc[1]) / 2
            _, held, weights = settle_flat(pairs, at, shift, hold_turn=True)
            if float(pairs.excess(at, held).max()) <= level_mm:
                return TurnSearch(better=(at, held))
            bound = Bound(pairs, shape(weights))
            reach = on_grid(bound.reach(at, arc[0], arc[1], level_mm), arc, grid_rad)
            if reach is None or reach[1] - reach[0] < 1e-13:
                return TurnSearch()
            piece = (reach, bound)
            pool.append((at, bound))
        (lo, hi), bound = piece
        pieces.append((lo, hi, bound.weights))
        left.extend(reversed(left_over(arc, (lo, hi))))
    return TurnSearch()


def on_grid(piece: Arc | None, arc: Arc, grid_rad: float) -> Arc | None:
    """Draw the inner ends of a piece of an arc in to the grid; None where nothing is left."""
    if piece is None or grid_rad == 0.0:
        return piece
    lo = arc[0] if piece[0] <= arc[0] else math.ceil(piece[0] / grid_rad) * grid_rad
    hi = arc[1] if piece[1] >= arc[1] else math.floor(piece[1] / grid_rad) * grid_rad
    return (lo, hi) if hi > lo else None


def _from_pool(pool: list[tuple[float, Bound]], arc: Arc, level_mm: float, grid_rad: float) -> tuple[Arc, Bound] | None:
    """The known weights that cover most of an arc, from its ends or from where they were found."""
    best: tuple[Arc, Bound] | None = None
    near = sorted(pool, key=lambda known: max(arc[0] - known[0], known[0] - arc[1]))[:_NEIGHBOURS]
    for at, bound in near:
        for start in (arc[0], at, arc[1]):
            if not arc[0] <= start <= arc[1]:
                continue
            reach = on_grid(bound.reach(start, arc[0], arc[1], level_mm), arc, grid_rad)
            if reach is None or reach[1] - reach[0] < 1e-3 * (arc[1] - arc[0]):
                continue
            if best is None or reach[1] - reach[0] > best[0][1] - best[0][0]:
                best = (reach, bound)
        if best is not None and best[0] == arc:
            break
    return best
