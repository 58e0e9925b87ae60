"""A lower bound on the worst excess that holds over a whole range of turns.

Weights f on the pairs that balance (sum f = 0) do not see the shift. Whatever the shift, the longest
excess is at least

    [sum f.(R p - q) - sum (s_h |f.u_h| + s_d |f.R u_d| + rho |f|)] / sum |f|

which is one sinusoid of the turn, less a constant, less one |sinusoid| for each slot of the donor.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from partkin.fit.arrays import Floats, Pairs
from partkin.fit.turns import Arc


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
        scale = 1.0 / total if total > 0 else 0.0
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
