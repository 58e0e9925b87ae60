"""Would a part that just goes on be read as far off as this one? The guard on "does not fit".

How far off is the least square by which the readings miss any configuration that goes on, weighed by their
covariance: two holes known finely tell more than many known coarsely. The configuration that is nearest so just goes
on. Readings of it are drawn: the share that miss by as much as what was read says whether a part that goes on may look
so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partkin.fit.arrays import Floats
from partkin.fit.chance import BLOCK, sequential
from partkin.fit.discrepancies import Discrepancies
from partkin.fit.making import SEED

_STEPS = 100
_SLIDES = 3
_PUSHES = 16


@dataclass(frozen=True, eq=False)
class Reach:
    """What each of n pairs may be off by and still go on, in the fixings' frame: a disc, drawn out along segments.

    Attributes
    ----------
    radius_mm
        float64 (n,): of the disc, across `axis`.
    along, half_mm
        float64 (n, s, d) unit vectors and (n, s): travels of the slots; in space, of the grip along the axis too.
    axis
        float64 (n, 3) in space; None in the plane.
    """

    radius_mm: Floats
    along: Floats
    half_mm: Floats
    axis: Floats | None = None

    def nearest(self, off_mm: Floats) -> Floats:
        """The nearest to (m, n, d) that goes on."""
        rest = self.slid(off_mm)
        taken = off_mm - rest
        if self.axis is not None:
            rest = rest - np.einsum("mnd,nd->mn", rest, self.axis)[..., None] * self.axis
        far = np.sqrt((rest * rest).sum(axis=2))
        return np.asarray(taken + rest * np.minimum(1.0, self.radius_mm / np.maximum(far, 1e-300))[..., None])

    def slid(self, off_mm: Floats) -> Floats:
        """What is left of (m, n, d) when the travels have taken what they can."""
        if not self.half_mm.shape[1]:
            return off_mm
        slid = np.zeros((*off_mm.shape[:2], self.half_mm.shape[1]))
        for _ in range(_SLIDES if slid.shape[2] > 1 else 1):
            for k in range(slid.shape[2]):
                slid[..., k] = 0.0
                rest = off_mm - np.einsum("mns,nsd->mnd", slid, self.along)
                at = np.einsum("mnd,nd->mn", rest, self.along[:, k])
                slid[..., k] = np.clip(at, -self.half_mm[:, k], self.half_mm[:, k])
        return np.asarray(off_mm - np.einsum("mns,nsd->mnd", slid, self.along))


def nearest_that_goes_on(of: Discrepancies, reach: Reach, y_mm: Floats) -> tuple[Floats, Floats]:
    """The nearest configurations that go on, and by how much the readings miss them.

    Parameters
    ----------
    of, reach
    y_mm
        float64 (m, f): readings, as discrepancies.

    Returns
    -------
    tuple of ndarray
        (m, n, d) mm how far each feature is off its fixing there, and (m,) the squares missed by, in variances.

    Notes
    -----
    Alternating directions: the readings ask for the one, the plays for the other.
    """
    shape = (len(y_mm), *of.fixings_mm.shape)
    firm = 1.0 / of.variance_mm2
    step = float(np.exp(np.log(firm).mean())) if len(firm) else 1.0
    ask, give = y_mm * firm, firm + step
    held = reach.nearest((y_mm @ of.basis.T).reshape(shape))
    slack = np.zeros(shape)
    for _ in range(_STEPS):
        want = (held - slack).reshape(len(y_mm), -1)
        along = want @ of.basis
        free = want + ((ask + step * along) / give - along) @ of.basis.T
        slack += free.reshape(shape)
        held = reach.nearest(slack)
        slack -= held
    missed = y_mm - held.reshape(len(y_mm), -1) @ of.basis
    return held, np.asarray((missed**2 * firm).sum(axis=1))


def at_their_ends(reach: Reach, held_mm: Floats) -> np.ndarray:
    """How many of (m, n, d) are at the end of what they may be off by, (m,)."""
    far = np.linalg.norm(reach.slid(held_mm), axis=2)
    return np.asarray((far >= reach.radius_mm - 1e-6).sum(axis=1))


def just_goes_on(of: Discrepancies, reach: Reach, confidence: float) -> float:
    """Share of the readings of a part that just goes on which look as far off as this one, or farther."""
    if not len(of.y_mm):
        return 1.0
    held, missed = nearest_that_goes_on(of, reach, of.y_mm[None])
    if missed[0] <= 1.0e-9:
        return 1.0
    middle = held.reshape(1, -1) @ of.basis

    def as_far(start: int, count: int) -> np.ndarray:
        draw = np.random.default_rng([SEED, 2, start // BLOCK])
        off = of.errors_mm(draw.standard_normal((count, *of.fixings_mm.shape)))
        return np.asarray(nearest_that_goes_on(of, reach, middle + off)[1] >= missed[0])

    return sequential(as_far, confidence, cap=1024).fits


def shortfalls(of: Discrepancies, reach: Reach, departs_mm: Floats) -> tuple[Floats, np.ndarray]:
    """By how much each of (m, f) departures is short at about its best placement, (m,) mm, and at which pair.

    Never less than at the best placement: the pairs that are furthest out are given more weight, step by step (Lawson,
    1961, from memory).
    """
    off = (departs_mm @ of.basis.T).reshape(len(departs_mm), *of.fixings_mm.shape)
    m, n, d = off.shape
    still = np.eye(n * d) - of.basis @ of.basis.T
    axes, size, _ = np.linalg.svd(still)
    moves = axes[:, size > 0.5].reshape(n, d, -1)
    along, each = moves.reshape(n * d, -1), np.einsum("ndk,nde->nke", moves, moves)
    weight, at = np.full((m, n), 1.0 / n), off
    best, worst = np.full(m, np.inf), np.zeros(m, dtype=int)
    # What is not known gives a pair no end of play.
    rim = float(reach.radius_mm[np.isfinite(reach.radius_mm)].max(initial=0.0))
    for _ in range(_PUSHES):
        slid = reach.slid(at)
        out = np.linalg.norm(slid, axis=2) - reach.radius_mm
        short, which = out.max(axis=1), out.argmax(axis=1)
        worst = np.where(short < best, which, worst)
        best = np.minimum(best, short)
        weight = weight * np.maximum(out + rim, 1e-9)
        weight /= weight.sum(axis=1, keepdims=True)
        normal = np.tensordot(weight, each, 1) + 1e-12 * np.eye(moves.shape[2])
        pull = (weight[..., None] * slid).reshape(m, -1) @ along
        at = at - (np.linalg.solve(normal, pull[..., None])[..., 0] @ along.T).reshape(at.shape)
    return best, worst
