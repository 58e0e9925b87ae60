"""One way to clarabel for every placement: cone programs and linear ones.

clarabel is loaded by the first solution, not by this module.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

Floats = np.ndarray

_TOLERANCE = 1e-9


@dataclass(frozen=True, eq=False)
class Sparse:
    """What clarabel reads of a matrix stored by columns: scipy's own takes longer to import than a check takes."""

    data: Floats
    indices: Floats
    indptr: Floats
    shape: tuple[int, int]
    has_canonical_format: bool = True


def solve(bend: Sparse, cost: Floats, rows: Sparse, limits: Floats, cones: int) -> tuple[Floats, Floats]:
    """Minimise x.bend.x/2 + cost.x with limits - rows x in so many cones of three, and none of the rest below 0.

    Returns
    -------
    tuple of ndarray
        x, and the multipliers of the rows.
    """
    import clarabel

    shapes = [clarabel.SecondOrderConeT(3)] * cones + [clarabel.NonnegativeConeT(len(limits) - 3 * cones)]
    found = clarabel.DefaultSolver(bend, cost, rows, limits, shapes, _settings()).solve()
    return np.array(found.x), np.array(found.z)


def least(cost: Floats, rows: Floats, limits: Floats) -> tuple[Floats, Floats]:
    """Minimise cost.x where rows x <= limits: x (n,), and the multipliers (m,) with rows^T multipliers = -cost.

    Examples
    --------
    Least x with x >= 3 and x + y >= 5 and y <= 1: 4, where the last two meet.

    >>> rows, limits = np.array([[-1.0, 0.0], [-1.0, -1.0], [0.0, 1.0]]), np.array([-3.0, -5.0, 1.0])
    >>> x, weights = least(np.array([1.0, 0.0]), rows, limits)
    >>> (x + 0.0).round(6).tolist(), abs(weights).round(6).tolist()
    ([4.0, 1.0], [0.0, 1.0, 1.0])
    """
    m, n = rows.shape
    column, row = np.nonzero(rows.T)
    starts = np.searchsorted(column, np.arange(n + 1))
    table = Sparse(rows[row, column], row, starts, (m, n))
    flat = Sparse(np.zeros(0), np.zeros(0, dtype=int), np.zeros(n + 1, dtype=int), (n, n))
    x, weights = solve(flat, cost, table, limits, 0)
    return x, np.maximum(weights, 0.0)


@cache
def _settings() -> Any:
    import clarabel

    settings = clarabel.DefaultSettings()
    settings.verbose = settings.presolve_enable = settings.chordal_decomposition_enable = False
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = _TOLERANCE
    # One thread, one way of solving, whatever else is installed.
    settings.direct_solve_method = "qdldl"
    return settings
