"""How often sister parts share a drawing, and how makers' parts scatter about it, by what was read of many of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from partkin.fit.discrepancies import Discrepancies
from partkin.fit.making import weigh
from partkin.model.known import FittedMaking, Making

_SCATTERS_MM = np.geomspace(0.02, 1.0, 40)
_WEIGHTS = np.linspace(0.005, 0.995, 199)
# Half of the 95 % quantile of chi-square with one degree of freedom (Wilks, 1938, from memory).
_FALLS = 1.92


def fitted(read: Sequence[Discrepancies], making: Making) -> FittedMaking:
    """Fit both by the likelihood of what was read; the bounds are those of 95 % of each, whatever the other is.

    Parameters
    ----------
    read
        One for each pair of measured sister parts.
    making
        All else that is taken for granted.
    """
    told = np.empty((len(_SCATTERS_MM), len(_WEIGHTS)))
    for row, scatter_mm in enumerate(_SCATTERS_MM):
        ways = [weigh(of, replace(making, scatter_mm=float(scatter_mm)), 0.5) for of in read]
        likely, one = np.array([way.likely for way in ways]), np.array([way.one_drawing for way in ways])
        # At even odds half of each idea was weighed in.
        each = np.log(2.0 * (np.outer(_WEIGHTS, one) + np.outer(1.0 - _WEIGHTS, 1.0 - one)) + 1e-300) + likely
        told[row] = each.sum(axis=1)
    best = np.unravel_index(int(np.argmax(told)), told.shape)
    return FittedMaking(
        float(_WEIGHTS[best[1]]), *_bounds(told.max(axis=0), _WEIGHTS),
        float(_SCATTERS_MM[best[0]]), *_bounds(told.max(axis=1), _SCATTERS_MM),
    )  # fmt: skip


def _bounds(told: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    """Outwards to the next that was tried."""
    within = np.flatnonzero(told >= told.max() - _FALLS)
    return float(values[max(within[0] - 1, 0)]), float(values[min(within[-1] + 1, len(values) - 1)])
