"""Bounds over boxes of rotations: what forces on the fixings, or two fixings alone, rule out.

A box holds the rotations of the quaternions whose part `largest` is 1 and whose other three lie from `lo` to
`hi`; the four boxes from -1 to 1 hold every rotation. What is to be bounded is q.H q for a symmetric matrix
H: above zero all over a box, its rotations are ruled out. With q = c + e about the middle c of a box of half
widths h,

    q.H q >= c.H c - 2 sum_j h_j |H c|_j + sum_j min(0, H_jj) h_j^2 - 2 sum_{j<k} |H_jk| h_j h_k

which needs no cosine, so that a checker can follow it in fractions.

Forces f on the pairs that balance (sum f = 0), couples g on deep holes and weights k on the axes' directions:
were every pair within its play at the rotation R, then whatever the shift

    sum f.(R p - q) + sum depth g.(R b) + sum k (LEAN_COS - a.R b) <= C

with C the most that play, grip and slots can give: sum over the hole ends of rho |F| + s |F.u|, F what of
f/2 + g and of f/2 - g lies across the axis, and of grip |f.a|.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partkin.fit.arrays import LEAN_COS, Pairs
from partkin.fit.cones import Settled
from partkin.fit.rotations import form
from partkin.fit.segments import distances_lack, lengths
from partkin.fit.turns import whole_balanced

Floats = np.ndarray

ABOVE = 1e-7
_EYE = np.eye(4)
_OFF = 1.0 - _EYE


@dataclass(frozen=True, eq=False)
class Boxes:
    """Boxes of rotations: `largest` (b,), `lo` and `hi` (b, 3)."""

    largest: Floats
    lo: Floats
    hi: Floats

    @classmethod
    def all(cls) -> Boxes:
        """Return the four that hold every rotation."""
        return cls(np.arange(4), np.full((4, 3), -1.0), np.full((4, 3), 1.0))

    def __len__(self) -> int:
        """Return how many."""
        return len(self.largest)

    def take(self, rows: Floats) -> Boxes:
        """Return some of them."""
        return Boxes(self.largest[rows], self.lo[rows], self.hi[rows])

    def middle(self) -> tuple[Floats, Floats]:
        """(b, 4) quaternions of the middles and (b, 4) half widths, zero at the largest part."""
        return quaternions(self.largest, (self.lo + self.hi) / 2, 1.0), quaternions(
            self.largest, (self.hi - self.lo) / 2, 0.0
        )


def quaternions(largest: Floats, three: Floats, there: float) -> Floats:
    """(b, 4) with `there` at the largest part and the other three in order."""
    out = np.full((len(largest), 4), there)
    others = np.array([[k for k in range(4) if k != face] for face in range(4)])
    np.put_along_axis(out, others[largest], three, axis=1)
    return out


def least(forms: Floats, middle: Floats, half: Floats) -> Floats:
    """(b, k) what each of (k, 4, 4) forms does not go below over each box."""
    at = middle @ forms
    value = (at * middle).sum(axis=-1)
    slope = (np.abs(at) * half).sum(axis=-1)
    diagonal = np.minimum(0.0, np.diagonal(forms, axis1=1, axis2=2))
    curve = (half * half) @ diagonal.T - ((half @ np.abs(forms * _OFF)) * half).sum(axis=-1).T
    return np.asarray(value.T - 2 * slope.T + curve)


def least_each(forms: Floats, middle: Floats, half: Floats) -> Floats:
    """(b,) the same for (b, 4, 4) forms, one a box."""
    at = (middle[:, None, :] @ forms)[:, 0]
    diagonal = np.minimum(0.0, np.diagonal(forms, axis1=1, axis2=2))
    across = (half[:, None, :] @ np.abs(forms * _OFF))[:, 0]
    return np.asarray(
        (at * middle).sum(axis=1) - 2 * (np.abs(at) * half).sum(axis=1)
        + (half * half * diagonal).sum(axis=1) - (across * half).sum(axis=1)
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Force:
    """Forces (n, 3), couples (n, 3) and weights of the axes' directions (n,) on the pairs, as rounded."""

    force: Floats
    couple: Floats
    lean: Floats

    @classmethod
    def of(cls, pairs: Pairs, settled: Settled, row: int, snap: float, scale: float) -> Force | None:
        """Round what a walk came to, to multiples of `snap` that balance exactly; None: nothing presses."""
        n, ends = len(pairs), settled.across[row]
        force = settled.along[row].copy()
        np.add.at(force, pairs.end_of, ends)
        couple = np.zeros((n, 3))
        deep = np.flatnonzero(pairs.depth > 0)
        couple[deep] = (ends[deep] - ends[n:]) / 2
        lean = settled.lean[row]
        size = float(np.linalg.norm(force, axis=1).sum() + np.linalg.norm(couple, axis=1).sum() + lean.sum())
        if size <= 1e-12:
            return None
        unit = scale / size / snap
        force, couple = (
            np.where(np.linalg.norm(each, axis=1)[:, None] > 1e-4 * size, each, 0.0) * unit for each in (force, couple)
        )
        force, couple = _balanced(force) * snap, np.round(couple) * snap
        lean = np.maximum(np.round(np.where(lean > 1e-4 * size, lean, 0.0) * unit), 0.0) * snap
        return cls(force, couple, lean)

    def used(self) -> Floats:
        """Pairs that carry anything."""
        return np.flatnonzero(self.force.any(axis=1) | self.couple.any(axis=1) | (self.lean > 0))


def _balanced(force: Floats) -> Floats:
    """Whole numbers near these that sum to zero in every direction."""
    used = np.flatnonzero(force.any(axis=1))
    if len(used) < 2:
        return np.zeros_like(force)
    exact = force.copy()
    exact[used] -= exact.sum(axis=0) / len(used)
    return whole_balanced(exact)


class ForceBound:
    """The bound of some forces, over boxes."""

    def __init__(self, pairs: Pairs, force: Force) -> None:
        self.force = force
        n, k = len(pairs), pairs.end_of
        f, a = force.force, pairs.a
        axial = (f * a).sum(axis=1)
        deep = pairs.depth > 0
        sign = np.concatenate([np.ones(n), -np.ones(len(k) - n)])
        ends = np.where(deep[k][:, None], f[k] / 2 + sign[:, None] * force.couple[k], f[k])
        flat = (ends[:, None, :] @ np.swapaxes(pairs.basis[k], 1, 2))[:, 0]
        length = np.hypot(flat[:, 0], flat[:, 1])
        couple = force.couple - (force.couple * a).sum(axis=1)[:, None] * a
        most = float((f * pairs.q).sum() + length @ pairs.rho[k] + np.abs(axial) @ pairs.grip)
        most += float(pairs.s_h[k] @ np.abs((flat * pairs.u_h[k]).sum(axis=1)))
        whole = form(pairs.p, f).sum(axis=0) + form(pairs.b * pairs.depth[:, None], couple).sum(axis=0)
        whole -= (force.lean[:, None, None] * form(pairs.b, a)).sum(axis=0)
        self.whole = whole + (LEAN_COS * float(force.lean.sum()) - most) * _EYE
        with_slot = np.flatnonzero((pairs.s_d[k] > 0) & (length > 0))
        across = (flat[with_slot][:, None, :] @ pairs.basis[k[with_slot]])[:, 0]
        self.slots = form(pairs.u_d[k[with_slot]], across) * pairs.s_d[k[with_slot], None, None]

    def least(self, middle: Floats, half: Floats) -> Floats:
        """(b,) what the bound does not go below over each box."""
        if not len(self.slots):
            return least(self.whole[None], middle, half)[:, 0]
        up, down = least(self.slots, middle, half), least(-self.slots, middle, half)
        sign = np.where(up > 0, 1.0, np.where(down > 0, -1.0, 0.0))
        # A slot that pulls one way all over the box is a form like the others.
        sure = self.whole - np.einsum("bs,sij->bij", sign, self.slots)
        value = least_each(sure, middle, half)
        return np.asarray(value - np.where(sign == 0, np.maximum(-up, -down), 0.0).sum(axis=1))


def apart_always(pairs: Pairs) -> tuple[Floats, Floats]:
    """How far two fixings each are from being as far apart as their features, however turned; <= 0: they can be.

    Returns
    -------
    (c, 2) the two, and (..., c) mm, for every draw where there are draws.
    """
    one, two = np.tril_indices(len(pairs), -1)
    reach, ends = pairs.rho + pairs.s_h + pairs.s_d, pairs.a * pairs.grip[..., None]
    across = reach[..., one] + reach[..., two]
    around = np.hypot(reach, pairs.grip)
    host, donor = (side[..., one, :] - side[..., two, :] for side in (pairs.q, pairs.p))
    cut, ball = distances_lack(
        host, lengths(donor), (ends[..., one, :], ends[..., two, :]), across, around[..., one] + around[..., two]
    )
    return np.stack([two, one], axis=1), np.where(across < 0, -across, np.maximum(cut, ball))


def ball_mm(pairs: Pairs, i: int, k: int) -> float:
    """How far two pairs may stand apart together in any direction, at most."""
    across = (pairs.rho + pairs.s_h + pairs.s_d)[[i, k]]
    return float(np.hypot(across, pairs.grip[[i, k]]).sum())


def apart_forms(pairs: Pairs) -> tuple[list[tuple[int, int]], Floats]:
    """Two pairs each, and (c, 4, 4) forms above zero where the two cannot both hold."""
    named, forms = [], []
    for i in range(len(pairs)):
        for k in range(i):
            reach = ball_mm(pairs, i, k)
            donor, host = pairs.p[i] - pairs.p[k], pairs.q[i] - pairs.q[k]
            named.append((k, i))
            forms.append((donor @ donor + host @ host - reach * reach) * _EYE - 2 * form(donor, host))
    return named, np.array(forms).reshape(-1, 4, 4)


def lean_forms(pairs: Pairs) -> Floats:
    """(n, 4, 4) forms above zero where a pair's axes point too far apart."""
    return np.asarray(LEAN_COS * _EYE - form(pairs.b, pairs.a))
