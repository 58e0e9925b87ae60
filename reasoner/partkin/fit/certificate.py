"""Proof that no turn and no shift lets known pairs all hold, in pieces that cover the full circle.

A piece says either that two fixings alone exclude its turns, or gives weights on the fixings that
balance exactly and whose bound (see `bound`) is above zero all over the piece. Everything is written so
that a checker in exact arithmetic needs no tolerance: turn limits are short decimals of a degree,
weights are whole multiples of 2**-15 (exact in binary and in decimal notation alike), and every bound
keeps a distance from zero that rounding of the positions cannot use up.

Where one fixing's own play is negative no turn matters: the piece is the full circle, `apart` that
fixing and itself.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np

from partkin.fit.arrays import FITS_MM, Floats, Pairs
from partkin.fit.minimax import search_turns
from partkin.fit.turns import Arc, Bound, TwoByTwo, balanced, excluded, open_arcs, two_by_two, whole_balanced
from partkin.model.fitting import Piece

_ABOVE_MM = 1e-7
_CIRCLE = (-180.0, 180.0)
_PARTS = 4000


def certify(pairs: Pairs, ids: Sequence[str]) -> tuple[Piece, ...] | None:
    """Prove that the pairs cannot all hold.

    Parameters
    ----------
    pairs
        The pairs.
    ids
        (n,) the fixings' ids.

    Returns
    -------
    tuple of Piece, or None
        Pieces in order, each beginning where the last one ends, from -180 to 180 degrees. None: the
        pairs do hold somewhere, or are short by less than 1e-6 mm.

    Examples
    --------
    >>> pairs = Pairs.plain([(0, 0), (10, 0)], [(0, 0), (12, 0)], 0.5)
    >>> [(piece.turn_deg, piece.apart) for piece in certify(pairs, ["F1", "F2"])]
    [((-180.0, 180.0), ('F1', 'F2'))]
    """
    if not len(pairs):
        return None
    tightest = int(np.argmin(pairs.rho))
    if pairs.rho[tightest] < -FITS_MM:
        return (Piece(_CIRCLE, apart=(ids[tightest], ids[tightest])),)
    centred = pairs.centred()[0]
    for digits, scale, snap in ((4, 1.0, 2.0**-15), (9, 1.0, 2.0**-15), (11, 2.0**30, 1.0)):
        pieces = _attempt(centred, ids, digits, whole_multiples(scale, snap))
        if pieces is not None:
            return pieces
    return None


def whole_multiples(scale: float, snap: float) -> Callable[[Floats], Floats]:
    """Return what rounds weights to lengths of about `scale` in all, in multiples of `snap` that sum to 0."""

    def shape(weights: Floats) -> Floats:
        return whole_balanced(balanced(weights, keep_above=1e-3) * (scale / snap)) * snap

    return shape


def _attempt(
    pairs: Pairs, ids: Sequence[str], digits: int, shape: Callable[[Floats], Floats]
) -> tuple[Piece, ...] | None:
    two = two_by_two(pairs)
    arcs = outward(open_arcs(two), digits)
    level = _ABOVE_MM + 1e-12 * float(np.abs(pairs.p).max() + np.abs(pairs.q).max())
    grid = math.radians(10.0**-digits)
    search = search_turns(
        pairs,
        level,
        arcs=[(math.radians(lo), math.radians(hi)) for lo, hi in arcs],
        shape=shape,
        grid_rad=grid,
    )
    if not search.proved:
        return None
    pieces: list[Piece] = []
    for lo, hi, weights in search.pieces:
        used = np.flatnonzero(weights.any(axis=1)).tolist()
        named = tuple((ids[i], (float(weights[i, 0]), float(weights[i, 1]))) for i in used)
        whole = (_decimal(lo, digits), _decimal(hi, digits))
        parts = _plain_parts(Bound(pairs, weights), whole, digits, level)
        if parts is None:
            return None
        pieces.extend(Piece(part, named) for part in parts)
    apart = pieces_apart(two, arcs, ids, digits)
    if apart is None:
        return None
    pieces = sorted([*pieces, *apart], key=lambda piece: piece.turn_deg)
    return tuple(pieces) if covers(pieces) else None


def pieces_apart(two: TwoByTwo, arcs: list[Arc], ids: Sequence[str], digits: int) -> list[Piece] | None:
    """Pieces that two fixings alone exclude, over all that arcs in degrees leave of the circle; None: they do not."""
    pieces = []
    for lo_deg, hi_deg in _between(arcs):
        ranges = excluded(two, (math.radians(lo_deg), math.radians(hi_deg)), math.radians(10.0**-digits))
        if ranges is None:
            return None
        for lo, hi, who in ranges:
            pair = (ids[int(two.first[who])], ids[int(two.second[who])])
            pieces.append(Piece((_decimal(lo, digits), _decimal(hi, digits)), apart=pair))
    return pieces


def _plain_parts(bound: Bound, piece_deg: Arc, digits: int, level_mm: float) -> list[Arc] | None:
    """Halve a piece until the bound by middle and half width, the easiest to check, stays above zero."""
    left, out = [piece_deg], []
    while left:
        lo, hi = left.pop()
        if bound.by_middle(math.radians(lo), math.radians(hi)) > level_mm / 2:
            out.append((lo, hi))
            continue
        middle = in_degrees((lo + hi) / 2, digits)
        if not lo < middle < hi or len(out) + len(left) > _PARTS:
            return None
        left += [(middle, hi), (lo, middle)]
    return out


def outward(arcs: list[Arc], digits: int) -> list[Arc]:
    """Arcs in degrees, their ends rounded outward, joined where they then touch."""
    unit = 10.0**digits
    out: list[Arc] = []
    for lo_rad, hi_rad in arcs:
        lo = max(-180.0, math.floor(math.degrees(lo_rad) * unit) / unit)
        hi = min(180.0, math.ceil(math.degrees(hi_rad) * unit) / unit)
        if out and lo <= out[-1][1]:
            out[-1] = (out[-1][0], max(hi, out[-1][1]))
        else:
            out.append((lo, hi))
    return out


def _between(arcs: list[Arc]) -> list[Arc]:
    """Return what arcs in degrees leave of the circle."""
    ends = [-180.0, *(end for arc in arcs for end in arc), 180.0]
    return [(lo, hi) for lo, hi in zip(ends[::2], ends[1::2], strict=True) if hi > lo]


def in_degrees(value: float, digits: int) -> float:
    """An angle as the file writes it."""
    return float(f"{value:.{digits}f}") + 0.0


def _decimal(angle_rad: float, digits: int) -> float:
    return in_degrees(math.degrees(angle_rad), digits)


def covers(pieces: Sequence[Piece]) -> bool:
    """Whether pieces in order leave nothing of the circle."""
    if not pieces or pieces[0].turn_deg[0] != -180.0 or pieces[-1].turn_deg[1] != 180.0:
        return False
    return all(a.turn_deg[1] == b.turn_deg[0] for a, b in pairwise(pieces))
