"""Which turns two pairs leave open, and which ranges of turns two pairs alone exclude.

For pairs i and k the turned difference of the donor points has to end within S = sigma_i + sigma_k of
the difference of the host points, so cos(turn - phi) is bounded from below. What is left of the circle
by all pairs of pairs is a set of arcs; everything else is excluded by naming two fixings.
Angles in radians here, in [-pi, pi].
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partkin.fit.arrays import Floats, Pairs

Arc = tuple[float, float]
_SAFETY = 1e-9


@dataclass(frozen=True, eq=False)
class TwoByTwo:
    """All pairs of pairs (m of them): what the two allow.

    Attributes
    ----------
    first, second
        (m,) places in the pairs.
    middle_rad
        (m,) the turn that suits the two best.
    half_rad
        (m,) how far from it they still hold: pi for every turn, below 0 for none.
    short_mm
        (m,) how much their play is short at the best turn; negative: room to spare.
    """

    first: Floats
    second: Floats
    middle_rad: Floats
    half_rad: Floats
    short_mm: Floats


def two_by_two(pairs: Pairs, excess_mm: float = 0.0) -> TwoByTwo:
    """What each two pairs allow, when every one may be out of its play by `excess_mm`."""
    first, second = np.triu_indices(len(pairs), 1)
    p = pairs.p[first] - pairs.p[second]
    q = pairs.q[first] - pairs.q[second]
    sigma = pairs.sigma + excess_mm
    reach = sigma[first] + sigma[second]
    long_p, long_q = np.hypot(p[:, 0], p[:, 1]), np.hypot(q[:, 0], q[:, 1])
    reach = reach + _SAFETY * (np.abs(reach) + long_p + long_q + 1e-3)
    along = (p * q).sum(axis=1)
    across = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    middle = np.arctan2(across, along)
    short = np.abs(long_p - long_q) - reach
    # sin^2(half / 2), which keeps its digits where the arc is narrow
    over = (reach - (long_p - long_q)) * (reach + (long_p - long_q))
    both = 4 * long_p * long_q
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(both > 0, over / both, np.inf)
    half = 2 * np.arcsin(np.sqrt(np.clip(part, 0.0, 1.0)))
    half = np.where(short > 0, -1.0, np.where(part >= 1.0, math.pi, half))
    return TwoByTwo(first, second, middle, half, short)


def open_arcs(two: TwoByTwo) -> list[Arc]:
    """Arcs of [-pi, pi] that no two pairs exclude, in order."""
    if (two.half_rad < 0).any():
        return []
    return _open(*_gaps(two)[:2])


def _gaps(two: TwoByTwo) -> tuple[Floats, Floats, Floats]:
    """Excluded ranges clipped to [-pi, pi]: starts, ends, and which two exclude them; widest first."""
    bites = np.flatnonzero(two.half_rad < math.pi)
    bites = bites[np.argsort(two.half_rad[bites], kind="stable")]
    wide = math.pi - two.half_rad[bites]
    away = two.middle_rad[bites] + math.pi
    starts = np.concatenate([away - wide, away - wide - 2 * math.pi])
    ends = np.concatenate([away + wide, away + wide - 2 * math.pi])
    who = np.concatenate([bites, bites])
    keep = (ends > -math.pi) & (starts < math.pi)
    return np.maximum(starts[keep], -math.pi), np.minimum(ends[keep], math.pi), who[keep]


def _open(starts: Floats, ends: Floats) -> list[Arc]:
    order = np.argsort(starts, kind="stable")
    starts, ends = starts[order], ends[order]
    so_far = np.maximum.accumulate(np.concatenate([[-math.pi], ends]))
    next_start = np.concatenate([starts, [math.pi]])
    return [(float(so_far[i]), float(next_start[i])) for i in np.flatnonzero(next_start > so_far)]


def excluded(two: TwoByTwo, arc: Arc, grid_rad: float) -> list[tuple[float, float, int]] | None:
    """Cover an arc with few ranges (start, end, place in `two`) that two pairs alone exclude.

    Inner ends are multiples of `grid_rad`. None: they do not cover it.
    """
    never = np.flatnonzero(two.half_rad < 0)
    if len(never):
        return [(*arc, int(never[int(np.argmax(two.short_mm[never]))]))]
    starts, ends, who = _gaps(two)
    chosen: list[tuple[float, float, int]] = []
    at, stop = arc
    while at < stop:
        reaching = np.flatnonzero((starts <= at) & (ends > at))
        if not len(reaching):
            return None
        best = int(reaching[np.argmax(ends[reaching])])
        end = float(ends[best])
        end = stop if end >= stop else math.floor(end / grid_rad) * grid_rad
        if end <= at:
            return None
        chosen.append((at, end, int(who[best])))
        at = end
    return chosen
