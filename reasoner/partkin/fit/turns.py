"""Which ranges of turns two pairs alone exclude, and a bound on the worst excess that holds over a range of turns.

For pairs i and k the turned difference of the donor points has to end within S = sigma_i + sigma_k of
the difference of the host points, so cos(turn - phi) is bounded from below. What is left of the circle
by all pairs of pairs is a set of arcs; everything else is excluded by naming two fixings.

Weights f on the pairs that balance (sum f = 0) do not see the shift. Whatever the shift, the longest
excess is at least

    [sum f.(R p - q) - sum (s_h |f.u_h| + s_d |f.R u_d| + rho |f|)] / sum |f|

which is one sinusoid of the turn, less a constant, less one |sinusoid| for each slot of the donor.
Angles in radians here, in [-pi, pi].
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
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
    half = np.where(short > 0, -1.0, half)
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


class Bound:
    """The bound of one set of weights, as a function of the turn (radians).

    Parameters
    ----------
    pairs
        About the origin, so that rounding stays small.
    weights
        (n, 2), balanced.
    """

    def __init__(self, pairs: Pairs, weights: Floats) -> None:
        length = np.hypot(weights[:, 0], weights[:, 1])
        total = float(length.sum())
        self.weights = weights
        self.empty = total <= 0
        scale = 1.0 / max(total, 1e-300)
        p, q, f = pairs.p, pairs.q, weights
        along = float((f * p).sum()) * scale
        across = float((f[:, 1] * p[:, 0] - f[:, 0] * p[:, 1]).sum()) * scale
        self.swing = math.hypot(along, across)
        self.phase = math.atan2(across, along)
        host = float((pairs.s_h * np.abs((f * pairs.u_h).sum(axis=1))).sum())
        self.level = (float((f * q).sum()) + host + float(length @ pairs.rho)) * scale
        self.slots: list[tuple[float, float]] = []
        for i in np.flatnonzero((pairs.s_d > 0) & (length > 0)):
            u = pairs.u_d[i]
            tilt = math.atan2(f[i, 1], f[i, 0]) - math.atan2(u[1], u[0])
            self.slots.append((float(pairs.s_d[i] * length[i]) * scale, tilt))

    def at(self, turn_rad: float) -> float:
        """Return the bound at one turn."""
        value = self.swing * math.cos(turn_rad - self.phase) - self.level
        for reach, tilt in self.slots:
            value -= reach * abs(math.cos(turn_rad - tilt))
        return value

    def least(self, lo: float, hi: float) -> float:
        """Return a value that the bound does not go below anywhere in [lo, hi], each term by itself."""
        value = self.swing * _least_cos(lo - self.phase, hi - self.phase) - self.level
        for reach, tilt in self.slots:
            a, b = lo - tilt, hi - tilt
            value -= reach * max(-_least_cos(a, b), -_least_cos(a + math.pi, b + math.pi))
        return value

    def by_middle(self, lo: float, hi: float) -> float:
        """Return a coarser value of that kind, each wave taken at the middle and by the half width.

        A cos(m + d) + B sin(m + d) >= min(a, a cos(h)) - |b| sin(h) for |d| <= h, a and b the wave and its
        slope at m: what a checker needs no case distinctions for. Nothing is said of more than 90 degrees.
        """
        middle, half = (lo + hi) / 2, (hi - lo) / 2
        if half > math.pi / 4 * (1 + 1e-12):
            return -math.inf
        ch, sh = math.cos(half), math.sin(half)

        def least(angle: float) -> float:
            a = math.cos(angle)
            return (a * ch if a >= 0 else a) - abs(math.sin(angle)) * sh

        value = self.swing * least(middle - self.phase) - self.level
        for reach, tilt in self.slots:
            value += reach * min(least(middle - tilt), least(middle - tilt + math.pi))
        return value

    def reach(self, at: float, lo: float, hi: float, above: float) -> Arc | None:
        """Widest range about `at` within [lo, hi] that is found to stay above a level; None if none is."""
        if self.empty or self.at(at) <= above:
            return None
        if self.least(lo, hi) > above:
            return lo, hi
        if not self.slots:
            half = math.acos(max(-1.0, min(1.0, (self.level + above) / self.swing)))
            middle = at - math.remainder(at - self.phase, 2 * math.pi)
            return max(lo, middle - half), min(hi, middle + half)
        left = right = at
        if self.least(at, hi) > above:
            right = hi
        else:
            right = self._farthest(at, hi, above, lambda far: (at, far))
        if self.least(lo, right) > above:
            left = lo
        else:
            left = self._farthest(at, lo, above, lambda far: (far, right))
        return left, right

    def _farthest(self, near: float, far: float, above: float, span: Callable[[float], Arc]) -> float:
        good, bad = near, far
        for _ in range(14):
            middle = (good + bad) / 2
            if self.least(*span(middle)) > above:
                good = middle
            else:
                bad = middle
        return good


def balanced(weights: Floats, keep_above: float = 1e-7) -> Floats:
    """Weights without the negligible ones, balanced again over the rest; lengths add up to 1."""
    length = np.hypot(weights[:, 0], weights[:, 1])
    used = length > keep_above * max(float(length.max(initial=0.0)), 1e-300)
    out = np.where(used[:, None], weights, 0.0)
    if used.any():
        out[used] -= out.sum(axis=0) / used.sum()
    total = float(np.hypot(out[:, 0], out[:, 1]).sum())
    return out / total if total > 0 else out


def whole_balanced(exact: Floats) -> Floats:
    """Whole numbers near (n, d) ones that sum to zero in every direction, and do so too."""
    whole = np.round(exact)
    used = np.flatnonzero(exact.any(axis=1))
    for axis in range(exact.shape[1]):
        over = int(whole[:, axis].sum())
        error = (whole[used, axis] - exact[used, axis]) * np.sign(over)
        order = used[np.argsort(-error, kind="stable")]
        for step in range(abs(over)):
            whole[order[step % len(order)], axis] -= np.sign(over)
    return whole


def left_over(arc: Arc, piece: Arc) -> Sequence[Arc]:
    """Return what of an arc lies on either side of a piece of it."""
    return [side for side in ((arc[0], piece[0]), (piece[1], arc[1])) if side[1] > side[0]]


def _least_cos(a: float, b: float) -> float:
    """Least cosine over [a, b]."""
    turns = math.ceil((a - math.pi) / (2 * math.pi))
    if turns * 2 * math.pi + math.pi <= b:
        return -1.0
    return min(math.cos(a), math.cos(b))
