"""What no turn and shift takes away of how a donor, as read, departs from its fixings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from partkin.fit.arrays import Floats
from partkin.fit.own_order import own_frame

# Even what is said to be exact counts with this standard deviation.
FINEST_MM = 1.0e-3
_ROUNDS = 3


@dataclass(frozen=True, eq=False)
class Discrepancies:
    """Departures of n pairs in d dimensions, along the f directions that no turn and shift reaches.

    Attributes
    ----------
    y_mm
        float64 (f,): how far the donor departs, as read.
    variance_mm2
        float64 (f,): of the readings along each direction; the directions are chosen so that they are independent.
    basis
        float64 (n*d, f): the directions, orthonormal, in the fixings' frame.
    onto, shift_mm
        float64 (d, d) and (d,): the donor laid on the fixings by least squares.
    fixings_mm
        float64 (n, d), as read, in their own order (`own_order`).
    """

    y_mm: Floats
    variance_mm2: Floats
    basis: Floats
    onto: Floats
    shift_mm: Floats
    fixings_mm: Floats

    def donor_mm(self, departs_mm: Floats) -> Floats:
        """Where the donor's points are, in its own frame, if they depart by (m, f) mm: float64 (m, n, d)."""
        off = (departs_mm @ self.basis.T).reshape(len(departs_mm), *self.fixings_mm.shape)
        return np.asarray((self.fixings_mm + off - self.shift_mm) @ self.onto)

    def own_mm(self, drawn: Floats) -> Floats:
        """What is drawn hole by hole, (m, n, d), as vectors in the fixings' frame: the same however they are laid."""
        return np.asarray(drawn @ self._frame.T)

    @cached_property
    def _frame(self) -> Floats:
        return own_frame(self.fixings_mm)

    def errors_mm(self, drawn: Floats) -> Floats:
        """Errors of the readings (m, f) from standard normal numbers (m, n, d), one for each hole and axis."""
        return np.asarray(self.own_mm(drawn).reshape(len(drawn), -1) @ self.basis * np.sqrt(self.variance_mm2))

    def told(self, shared_mm2: Floats, variance_mm2: float, by_mm: Floats) -> tuple[Discrepancies, Floats]:
        """Return what is left to the readings once one more is in, and y (m, f) for each of (m,) values of it.

        Parameters
        ----------
        shared_mm2
            float64 (f,): covariance of y's error with how far the reading comes out above what is expected of it.
        variance_mm2
            Of that.
        by_mm
            float64 (m,): how far it comes out above.
        """
        spread = np.diag(self.variance_mm2) - np.outer(shared_mm2, shared_mm2) / variance_mm2
        size, axes = np.linalg.eigh(spread)
        y_mm = (self.y_mm - np.outer(by_mm, shared_mm2) / variance_mm2) @ axes
        left = np.maximum(size, FINEST_MM**2)
        return replace(self, y_mm=self.y_mm @ axes, variance_mm2=left, basis=self.basis @ axes), y_mm


def discrepancies(
    fixings_mm: Floats, donor_mm: Floats, fixings_mm2: Floats, donor_mm2: Floats, onto: Floats
) -> Discrepancies:
    """Lay a donor on its fixings by least squares and take what is left.

    Parameters
    ----------
    fixings_mm, donor_mm
        float64 (n, d): what is paired, in the same order; the donor mirrored already.
    fixings_mm2, donor_mm2
        float64 (n*d, n*d): covariance of the readings of either side, each in its own frame.
    onto
        float64 (d, d): a rotation that lays the donor nearly right.

    Examples
    --------
    Two points 300 and 301 mm apart leave one thing: each is half a millimetre out.

    >>> none = np.zeros((4, 4))
    >>> two = discrepancies(np.array([(0, 0), (300.0, 0)]), np.array([(0, 0), (301.0, 0)]), none, none, np.eye(2))
    >>> len(two.y_mm), round(float(np.abs(two.y_mm[0])), 3)
    (1, 0.707)
    """
    q, p = np.asarray(fixings_mm, dtype=float), np.asarray(donor_mm, dtype=float)
    n = len(q)
    for _ in range(_ROUNDS):
        laid = p @ onto.T
        arm = laid - laid.mean(axis=0)
        gap = arm - (q - q.mean(axis=0))
        move = np.linalg.lstsq(turning(arm), -gap.ravel(), rcond=1e-12)[0]
        onto = rotation(move) @ onto
    laid = p @ onto.T
    shift = (q - laid).mean(axis=0)
    free = _free(laid - laid.mean(axis=0))
    whole = np.kron(np.eye(n), onto)
    spread = free.T @ (np.asarray(fixings_mm2) + whole @ donor_mm2 @ whole.T) @ free
    size, axes = np.linalg.eigh(0.5 * (spread + spread.T)) if free.shape[1] else (np.zeros(0), np.zeros((0, 0)))
    basis = free @ axes
    gap = (laid + shift - q).ravel()
    return Discrepancies(basis.T @ gap, np.maximum(size, FINEST_MM**2), basis, onto, shift, q)


def turning(arm_mm: Floats) -> Floats:
    """(n*d, turns): how every coordinate changes with each small turn."""
    n, d = arm_mm.shape
    planes = [(0, 1)] if d == 2 else [(1, 2), (2, 0), (0, 1)]
    moves = np.zeros((n, d, len(planes)))
    for column, (one, other) in enumerate(planes):
        moves[:, one, column], moves[:, other, column] = -arm_mm[:, other], arm_mm[:, one]
    return moves.reshape(n * d, -1)


def rotation(turns_rad: Floats) -> Floats:
    if len(turns_rad) == 1:
        c, s = np.cos(turns_rad[0]), np.sin(turns_rad[0])
        return np.array([[c, -s], [s, c]])
    angle = float(np.linalg.norm(turns_rad))
    x, y, z = turns_rad / max(angle, 1e-300)
    k = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + np.sin(angle) * k + (1.0 - np.cos(angle)) * k @ k)


def _free(arm_mm: Floats) -> Floats:
    """(n*d, f): an orthonormal basis of what no small turn and shift reaches."""
    n, d = arm_mm.shape
    moves = np.hstack([np.tile(np.eye(d), (n, 1)) * max(1.0, float(np.abs(arm_mm).max())), turning(arm_mm)])
    axes, size, _ = np.linalg.svd(moves)
    rank = int(np.count_nonzero(size > 1e-9 * max(float(size[0]), 1e-9)))
    return np.asarray(axes[:, rank:])
