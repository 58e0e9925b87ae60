"""Which reading contributes what to a quantity (JCGM 100:2008, clause 5 and its tables of components)."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from partkin.model.distributions import chi_square_quantile
from partkin.model.positions import Observed, Positions
from partkin.positions.network import without_rigid


@dataclass(frozen=True)
class Share:
    """One line of a budget.

    `contributes`: sensitivity times standard uncertainty, signed, in the quantity's unit. `share`: of the
    variance; the shares of a budget add up to 1, and one may be negative where inputs are correlated.
    """

    name: str
    says: str
    sensitivity: float
    uncertainty: float
    contributes: float
    share: float


@dataclass(frozen=True)
class Budget:
    """Combined standard uncertainty of a quantity and what it is made of, the largest share first."""

    uncertainty: float
    shares: tuple[Share, ...]


@dataclass(frozen=True)
class Ellipse:
    """Where a feature's centre is with probability `p`, seen in the x-y plane; `angle_deg` of the long axis.

    `height_mm`: half the range along z with the same probability by itself; None in the plane.
    """

    feature: str
    p: float
    long_mm: float
    short_mm: float
    angle_deg: float
    height_mm: float | None = None


def combined(
    names: Sequence[str],
    sensitivities: np.ndarray,
    covariance: np.ndarray,
    says: Sequence[str] | None = None,
) -> Budget:
    """Combine input uncertainties by the law of propagation (JCGM 100:2008, 5.1.2 and 5.2.2).

    Parameters
    ----------
    names
        Of the n inputs.
    sensitivities
        float64 (n,), partial derivatives of the quantity.
    covariance
        float64 (n, n) of the inputs.

    Examples
    --------
    >>> [round(row.share, 2) for row in combined(["a", "b"], np.ones(2), np.diag([0.09, 0.16])).shares]
    [0.64, 0.36]
    """
    weights = np.asarray(sensitivities, dtype=float)
    mixed = np.asarray(covariance, dtype=float) @ weights
    variance = float(weights @ mixed)
    spread = np.sqrt(np.maximum(0.0, np.diagonal(covariance)))
    shares = weights * mixed / variance if variance > 0.0 else np.zeros(len(names))
    order = sorted(range(len(names)), key=lambda at: (-round(float(shares[at]), 12), at))
    return Budget(
        math.sqrt(max(0.0, variance)),
        tuple(
            Share(
                names[at],
                says[at] if says else names[at],
                float(weights[at]),
                float(spread[at]),
                float(weights[at] * spread[at]),
                float(shares[at]),
            )
            for at in order
        ),
    )


def slopes(quantity: Callable[[np.ndarray], float], at: np.ndarray, steps: np.ndarray) -> np.ndarray:
    """Return the partial derivatives of a quantity by central differences.

    Parameters
    ----------
    quantity
        Takes an array like `at`.
    at
        Any shape.
    steps
        Of the same shape: small against how the quantity bends, large against rounding. An input's
        standard uncertainty is a good step; 0 gives a derivative of 0.
    """
    values, sizes = np.array(at, dtype=float), np.asarray(steps, dtype=float)
    found = np.zeros_like(values)
    for place in np.ndindex(values.shape):
        if sizes[place] == 0.0:
            continue
        up, down = values.copy(), values.copy()
        up[place] += sizes[place]
        down[place] -= sizes[place]
        found[place] = (quantity(up) - quantity(down)) / (2.0 * sizes[place])
    return found


def covariance_mm2(positions: Positions) -> np.ndarray:
    """Return the covariance (n*d, n*d) of all coordinates, adjusted or not."""
    if positions.covariance_mm2 is not None:
        return np.asarray(positions.covariance_mm2)
    return np.diag(np.repeat(np.asarray(positions.half_width_mm) ** 2 / 3.0, positions.dims))


def in_frame_mm2(positions: Positions) -> np.ndarray:
    """Return the covariance (n*d, n*d) of all coordinates in the sheet's frame, where it has one."""
    return covariance_mm2(positions) if positions.in_frame_mm2 is None else np.asarray(positions.in_frame_mm2)


def budget(positions: Positions, gradient: np.ndarray) -> Budget:
    """Say which reading contributes what to a quantity of one part's coordinates.

    Parameters
    ----------
    positions
    gradient
        float64 (n, d) or (n*d,), of the quantity with respect to the coordinates (`slopes` finds it).

    Returns
    -------
    Budget
        One share a reading or stated coordinate; readings left out as suspects have none.
    """
    slope = np.asarray(gradient, dtype=float).ravel()
    d = positions.dims
    if positions.covariance_mm2 is None:
        names = [f"{name}.{axis}_mm" for name in positions.features for axis in "xyz"[:d]]
        return combined(names, slope, covariance_mm2(positions))
    used = [row for row in positions.observed if row.used]
    rows = weighted_rows(positions, used)
    sigma = np.array([row.sigma_mm for row in used]) * positions.sigma0
    # Adjusted coordinates are C J' W l: the slope of the quantity by each reading follows.
    spread_mm2 = in_frame_mm2(positions)
    felt = rows @ (spread_mm2 @ slope) / positions.sigma0**2
    says = [
        f"{row.from_feature} to {row.to_feature} ({row.reading})" if row.kind == "distance" else row.reading
        for row in used
    ]
    by_reading = np.append(felt / np.array([row.sigma_mm for row in used]), 1.0)
    # What the readings explain to first order falls short where features stand in one line.
    rest = float(slope @ spread_mm2 @ slope - ((by_reading[:-1] * sigma) ** 2).sum())
    names = [*(row.reading for row in used), "in one line"]
    says.append("features in one line: how far one stands beside it")
    count = len(names) if positions.bent else len(used)
    spread = np.append(sigma**2, max(0.0, rest))
    return combined(names[:count], by_reading[:count], np.diag(spread[:count]), says[:count])


def place_budget(positions: Positions, feature: str) -> tuple[tuple[str, float], ...]:
    """Say which reading contributes what to how uncertain a feature's place is.

    Parameters
    ----------
    positions
    feature

    Returns
    -------
    tuple of (str, float)
        Reading (or stated coordinate) and its share of the variance of the place, all coordinates together,
        the largest first; the shares add up to 1, and () where the place is exact.

    Raises
    ------
    ValueError
        The feature has no position.
    """
    at, d = positions.features.index(feature), positions.dims
    among = np.isin(np.array(positions.features, dtype=object), np.array(positions.adjusted, dtype=object))
    free = positions.in_frame_mm2 is not None and positions.in_frame_mm2 is not positions.covariance_mm2
    fixed = without_rigid(positions.xyz_mm, among) if free else np.eye(positions.xyz_mm.size)
    parts: dict[str, float] = {}
    for axis in range(d):
        gradient = np.zeros((len(positions.features), d))
        gradient[at, axis] = 1.0
        found = budget(positions, gradient.ravel() @ fixed)
        for share in found.shares:
            parts[share.name] = parts.get(share.name, 0.0) + share.share * found.uncertainty**2
    total = sum(parts.values())
    if total <= 0.0:
        return ()
    shares = [(name, value / total) for name, value in parts.items()]
    return tuple(sorted(shares, key=lambda one: (-round(one[1], 12), one[0])))


def weighted_rows(positions: Positions, used: Sequence[Observed]) -> np.ndarray:
    """Return the slope of each observation by the coordinates, over its standard uncertainty (m, n*d)."""
    number = {name: at for at, name in enumerate(positions.features)}
    rows = np.zeros((len(used), positions.xyz_mm.size))
    for line, row in enumerate(used):
        a = number[row.from_feature]
        if row.kind == "distance":
            rows[line] = length_row(positions, a, number[row.to_feature or ""]) / row.sigma_mm
        else:
            rows[line, a * positions.dims + "xyz".index(row.kind)] = 1.0 / row.sigma_mm
    return rows


def length_row(positions: Positions, a: int, b: int) -> np.ndarray:
    """Return the slope (n*d,) of the distance between two features, by number."""
    d = positions.dims
    row = np.zeros(positions.xyz_mm.size)
    apart = positions.xyz_mm[a] - positions.xyz_mm[b]
    unit = apart / max(1e-12, float(np.linalg.norm(apart)))
    row[a * d : a * d + d] = unit
    row[b * d : b * d + d] = -unit
    return row


def ellipse(positions: Positions, feature: str, p: float = 0.95) -> Ellipse:
    """Return where a feature is with probability p, as an ellipse about its position.

    Where no coordinates fix the frame, it is relative to the part as a whole. Features that were not
    adjusted are rectangular; their ellipse is the normal one of the same variance.

    Raises
    ------
    ValueError
        The feature has no position.
    """
    at = positions.features.index(feature)
    d = positions.dims
    block = covariance_mm2(positions)[at * d : at * d + d, at * d : at * d + d]
    size, axes = np.linalg.eigh(block[:2, :2])
    reach_mm = np.sqrt(np.maximum(0.0, size) * chi_square_quantile(p, 2))
    angle_deg = math.degrees(math.atan2(axes[1, 1], axes[0, 1])) % 180.0 if reach_mm[1] > reach_mm[0] else 0.0
    height_mm = math.sqrt(max(0.0, float(block[2, 2])) * chi_square_quantile(p, 1)) if d == 3 else None
    return Ellipse(feature, p, float(reach_mm[1]), float(reach_mm[0]), angle_deg, height_mm)
