"""Small dense linear programs with their multipliers: scipy takes longer to import than a whole check takes."""


from __future__ import annotations

import numpy as np

from partkin.fit.arrays import Floats

_STEPS = 60
_CLOSE = 1.0e-9


def least(cost: Floats, rows: Floats, limits: Floats) -> tuple[Floats, Floats]:
    """Minimise cost.x where rows x <= limits, by Mehrotra's predictor and corrector (1992, from memory).

    Parameters
    ----------
    cost
        float64 (n,).
    rows, limits
        float64 (m, n), (m,): of full column rank, with something inside.

    Returns
    -------
    tuple of ndarray
        x, and the multipliers of the rows: none below 0, with rows^T multipliers = -cost.

    Examples
    --------
    Least x with x >= 3 and x + y >= 5 and y <= 1: 4, where the last two meet.

    >>> rows, limits = np.array([[-1.0, 0.0], [-1.0, -1.0], [0.0, 1.0]]), np.array([-3.0, -5.0, 1.0])
    >>> x, weights = least(np.array([1.0, 0.0]), rows, limits)
    >>> (x + 0.0).round(6).tolist(), abs(weights).round(6).tolist()
    ([4.0, 1.0], [0.0, 1.0, 1.0])
    """
    x = np.linalg.lstsq(rows, limits, rcond=None)[0]
    slack = limits - rows @ x
    slack += max(1.0, -1.5 * float(slack.min(initial=0.0)))
    weight = np.ones(len(limits))
    size = 1.0 + max(float(np.abs(cost).max()), float(np.abs(limits).max(initial=0.0)))
    for _ in range(_STEPS):
        off_cost, off = cost + rows.T @ weight, rows @ x + slack - limits
        gap = float(slack @ weight) / len(slack)
        if max(gap, float(np.abs(off_cost).max()), float(np.abs(off).max())) <= _CLOSE * size:
            break
        at = _At(rows, slack, weight, off, off_cost)
        _, dslack, dweight = at.step(np.zeros(len(slack)))
        ahead_slack, ahead_weight = slack + _room(slack, dslack) * dslack, weight + _room(weight, dweight) * dweight
        ahead = float(ahead_slack @ ahead_weight) / len(slack)
        dx, dslack, dweight = at.step((ahead / gap) ** 3 * gap - dslack * dweight)
        by = 0.995 * min(_room(slack, dslack), _room(weight, dweight))
        x, slack, weight = x + by * dx, slack + by * dslack, weight + by * dweight
    return x, weight


class _At:
    """One point of the walk, from which two steps are taken."""

    def __init__(self, rows: Floats, slack: Floats, weight: Floats, off: Floats, off_cost: Floats) -> None:
        self.rows, self.slack, self.weight, self.off, self.off_cost = rows, slack, weight, off, off_cost
        self.ratio = weight / slack
        normal = (rows.T * self.ratio) @ rows
        normal[np.diag_indices_from(normal)] *= 1.0 + 1.0e-13
        self.normal = normal

    def step(self, centre: Floats) -> tuple[Floats, Floats, Floats]:
        """Changes of x, slack and weight towards products of slack and weight that are so large."""
        push = self.ratio * self.off + centre / self.slack - self.weight
        dx = np.linalg.solve(self.normal, -self.off_cost - self.rows.T @ push)
        along = self.rows @ dx
        return dx, -self.off - along, push + self.ratio * along


def _room(value: Floats, change: Floats) -> float:
    """How far a step may go, at most whole, before something reaches 0."""
    falls = change < 0.0
    return min(1.0, float((-value[falls] / change[falls]).min(initial=1.0)))
