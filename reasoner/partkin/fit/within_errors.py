"""Places within the stated errors of all readings at which given pairs hold, found by least squares of what is not so.

Where the readings allow no such places, none are found; that none were found proves nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from partkin.fit.arrays import Floats
from partkin.fit.discrepancies import rotation, turning
from partkin.fit.just_goes_on import Reach

_STEPS = 60
# Part of every error, and of every play in mm, that is kept back, so that rounding breaks nothing.
_KEPT_BACK = 1.0e-3
_KEPT_BACK_MM = 1.0e-4
_NOTHING_MM = 1.0e-7


@dataclass(frozen=True, eq=False)
class Said:
    """What was read of the features of one side, and how far each may be out.

    Attributes
    ----------
    at_mm
        float64 (n, d): where they are taken to be.
    loose_mm
        float64 (n, d): how uncertain each coordinate is; firmer ones are moved less.
    ends, length_mm, length_error_mm
        int (m, 2), float64 (m,): distances that were read between two of them.
    read_mm, error_mm
        float64 (n, d): coordinates that were read; an infinite error where none was.
    names
        Ids of the distances.
    """

    at_mm: Floats
    loose_mm: Floats
    ends: np.ndarray
    length_mm: Floats
    length_error_mm: Floats
    read_mm: Floats
    error_mm: Floats
    names: tuple[str, ...] = ()

    def missed(self, at_mm: Floats, share: float = 1.0) -> tuple[Floats, Floats]:
        """By how much distances (m,), and coordinates (n, d), miss such a share of their errors; signed, mm."""
        apart = np.linalg.norm(at_mm[self.ends[:, 0]] - at_mm[self.ends[:, 1]], axis=1)
        lengths = _beyond(apart - self.length_mm, share * self.length_error_mm)
        return lengths, _beyond(at_mm - self.read_mm, share * self.error_mm)

    def holds(self, at_mm: Floats) -> bool:
        """Whether every reading is kept within its error."""
        return all(float(np.abs(miss).max(initial=0.0)) <= _NOTHING_MM for miss in self.missed(at_mm))


def within_errors(
    host: Said, donor: Said, pairs: Sequence[tuple[int, int]], reach: Reach, onto: Floats, shift_mm: Floats
) -> tuple[Floats, Floats] | None:
    """Move both sides as little as will do until every pair holds and every reading is within its error.

    Parameters
    ----------
    host, donor
        The donor mirrored already.
    pairs
        Rows of host and donor that are on each other.
    reach
        Of the pairs, in their order.
    onto, shift_mm
        The donor laid nearly right.

    Returns
    -------
    tuple of ndarray, or None
        Places of the host's features and of the donor's.
    """
    on, there = np.array(pairs).reshape(-1, 2).T
    narrow = replace(reach, radius_mm=np.maximum(reach.radius_mm - _KEPT_BACK_MM, 0.0))
    q, p, shift = host.at_mm, donor.at_mm, np.asarray(shift_mm, dtype=float)
    d = q.shape[1]
    scale = np.concatenate([host.loose_mm.ravel(), donor.loose_mm.ravel(), np.ones(d), np.full(d * (d - 1) // 2, 1e-2)])
    for _ in range(_STEPS):
        laid = p @ onto.T + shift
        off = laid[there] - q[on]
        out = off - narrow.nearest(off[None])[0]
        missed = [*host.missed(q, 1.0 - _KEPT_BACK), *donor.missed(p, 1.0 - _KEPT_BACK), out]
        if max(float(np.abs(miss).max(initial=0.0)) for miss in missed) <= _NOTHING_MM:
            return q, p
        slope = _slopes((host, donor), (q, p), (on, there), laid, onto)
        rest = np.concatenate([miss.ravel() for miss in missed])
        asked = rest != 0.0
        step = scale * np.linalg.lstsq(slope[asked] * scale, -rest[asked], rcond=1e-9)[0]
        of_q, of_p, slid, turned = np.split(step, np.cumsum([q.size, p.size, d]))
        q, p, middle, turn = q + of_q.reshape(q.shape), p + of_p.reshape(p.shape), laid.mean(axis=0), rotation(turned)
        onto, shift = turn @ onto, turn @ (shift - middle) + middle + slid
    return None


def _slopes(
    sides: tuple[Said, Said], at_mm: tuple[Floats, Floats], rows: tuple[np.ndarray, np.ndarray], laid_mm: Floats,
    onto: Floats,
) -> Floats:  # fmt: skip
    """How each miss changes with every coordinate of host and donor, and with a shift and a turn of the donor."""
    sizes = [at.size for at in at_mm]
    d = laid_mm.shape[1]
    width = sum(sizes) + d + d * (d - 1) // 2
    blocks = []
    for said, at, first in zip(sides, at_mm, (0, sizes[0]), strict=True):
        lengths, places = np.zeros((len(said.ends), width)), np.zeros((at.size, width))
        apart = at[said.ends[:, 0]] - at[said.ends[:, 1]]
        unit = apart / np.maximum(np.linalg.norm(apart, axis=1, keepdims=True), 1e-9)
        for axis in range(d):
            for end, sign in ((0, 1.0), (1, -1.0)):
                lengths[np.arange(len(unit)), first + d * said.ends[:, end] + axis] = sign * unit[:, axis]
        places[:, first : first + at.size] = np.eye(at.size)
        blocks += [lengths, places]
    held = np.zeros((len(rows[0]), d, width))
    for axis in range(d):
        held[np.arange(len(rows[0])), axis, d * rows[0] + axis] = -1.0
        for other in range(d):
            held[np.arange(len(rows[1])), other, sizes[0] + d * rows[1] + axis] = onto[other, axis]
        held[:, axis, sum(sizes) + axis] = 1.0
    arm = laid_mm[rows[1]] - laid_mm.mean(axis=0)
    held[:, :, sum(sizes) + d :] = turning(arm).reshape(len(arm), d, -1)
    return np.concatenate([*blocks, held.reshape(-1, width)])


def _beyond(off_mm: Floats, error_mm: Floats) -> Floats:
    return np.asarray(np.sign(off_mm) * np.maximum(np.abs(off_mm) - error_mm, 0.0))
