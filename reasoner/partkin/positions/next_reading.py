"""Which reading is worth taking next, by the margin: how far it narrows it, how likely it settles the verdict.

With a gradient of the verdict's margin everything is normal and a candidate costs a rank-one update. Where
nothing needs to be normal or linear, `by_draws` looks at the same question with draws of both parts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partkin.model.positions import Positions
from partkin.model.words import Instrument, Quantity
from partkin.positions import lengths
from partkin.positions.budget import covariance_mm2
from partkin.positions.distributions import normal_cdf, normal_quantile
from partkin.tables import greatest_error_mm


@dataclass(frozen=True)
class Candidate:
    """A distance between centres (or how wide a feature is across) that could be read.

    `effort`: what it costs to get, in any one unit. `to_feature` is empty where one feature is measured.
    """

    part: str
    from_feature: str
    to_feature: str
    sigma_mm: float
    instrument: Instrument | None = None
    effort: float = 1.0
    quantity: Quantity = "centres"


@dataclass(frozen=True)
class Band:
    """A range of readings that leads to one answer. None: no end.

    `bolts on`, `does not`, `between` (the verdict stays open) or `again`: so far from what is expected that it does
    not agree with the other readings, and is to be read once more.
    """

    answer: str
    from_mm: float | None
    to_mm: float | None


@dataclass(frozen=True)
class Ask:
    """A candidate with what it is expected to do.

    `drop_mm2`: of the margin's variance. `settles`: probability that afterwards the chance is at or
    beyond the confidence, on either side. `tells`: expected share of what is open that it closes (of the
    variance of "it goes on"), 0 to 1; not known by the margin. `worth`: per effort, what the ranking goes by.
    `bands`: in order of the reading.
    """

    candidate: Candidate
    expected_mm: float
    sigma_mm: float
    drop_mm2: float
    settles: float
    worth: float
    bands: tuple[Band, ...] = ()
    tells: float | None = None


def candidates(
    positions: Positions,
    instrument: Instrument,
    effort: float = 1.0,
    features: Sequence[str] | None = None,
    sigma_mm: float | None = None,
) -> tuple[Candidate, ...]:
    """List every distance among features of one part that the instrument could read.

    Parameters
    ----------
    features
        Only among these; all that have a position when left out.
    sigma_mm
        Standard uncertainty; from the instrument table at the expected length when left out.
    """
    names = [name for name in positions.features if features is None or name in features]
    at = {name: positions.xyz_mm[positions.features.index(name)] for name in names}
    made = []
    for first, a in enumerate(names):
        for b in names[first + 1 :]:
            length_mm = float(np.linalg.norm(at[a] - at[b]))
            own_mm = sigma_mm
            if own_mm is None:
                own_mm = lengths.standard_uncertainty_mm(greatest_error_mm(instrument, length_mm))
            made.append(Candidate(positions.part, a, b, own_mm, instrument, effort))
    return tuple(made)


def variance_drops(
    positions: Positions, gradient: np.ndarray, asked: Sequence[Candidate]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Expected effect of each candidate on a quantity, by rank-one updates.

    Parameters
    ----------
    positions
    gradient
        float64 (n, d) or (n*d,), of the quantity with respect to this part's coordinates.
    asked
        Of this part.

    Returns
    -------
    tuple of ndarray
        Drop of the quantity's variance (g C a)^2 / (s^2 + a C a); covariance of quantity and reading
        g C a; variance of the reading before it is taken s^2 + a C a. (c,) each, mm2.
    """
    d = positions.dims
    covariance = covariance_mm2(positions).reshape(len(positions.features), d, len(positions.features), d)
    felt = np.einsum("kdle,le->kd", covariance, np.asarray(gradient, dtype=float).reshape(-1, d))
    number = {name: at for at, name in enumerate(positions.features)}
    a = np.array([number[one.from_feature] for one in asked], dtype=int)
    b = np.array([number[one.to_feature] for one in asked], dtype=int)
    apart = positions.xyz_mm[a] - positions.xyz_mm[b]
    unit = apart / np.maximum(np.linalg.norm(apart, axis=1), 1e-12)[:, None]
    block = covariance[a, :, a] + covariance[b, :, b] - covariance[a, :, b] - covariance[b, :, a]
    own = np.array([one.sigma_mm for one in asked], dtype=float)
    reading = own**2 + np.einsum("ci,cij,cj->c", unit, block, unit)
    together = np.einsum("ci,ci->c", felt[a] - felt[b], unit)
    return together**2 / reading, together, reading


def spread_drops(positions: Positions, weight: np.ndarray, asked: Sequence[Candidate]) -> np.ndarray:
    """By how much each candidate is expected to shrink a weighted sum of variances, by rank-one updates.

    Parameters
    ----------
    positions
    weight
        float64 (n,), 1 over the mm that matter, of each feature.
    asked
        Of this part.

    Returns
    -------
    ndarray
        float64 (c,): sum over coordinates of (weight C a)^2, over s^2 + a C a.
    """
    n, d = positions.xyz_mm.shape
    covariance = covariance_mm2(positions).reshape(n * d, n, d)
    number = {name: at for at, name in enumerate(positions.features)}
    a = np.array([number[one.from_feature] for one in asked], dtype=int)
    b = np.array([number[one.to_feature] for one in asked], dtype=int)
    apart = positions.xyz_mm[a] - positions.xyz_mm[b]
    unit = apart / np.maximum(np.linalg.norm(apart, axis=1), 1e-12)[:, None]
    felt = np.einsum("kcd,cd->ck", covariance[:, a] - covariance[:, b], unit).reshape(len(a), n, d)
    at = np.arange(len(a))
    own = np.array([one.sigma_mm for one in asked], dtype=float)
    reading = own**2 + np.einsum("cd,cd->c", felt[at, a] - felt[at, b], unit)
    return np.asarray(np.einsum("cnd,n->c", felt**2, np.asarray(weight, dtype=float) ** 2) / reading)


def next_readings(
    sides: Sequence[tuple[Positions, np.ndarray]],
    margin_mm: float,
    asked: Sequence[Candidate],
    confidence: float = 0.95,
    other_variance_mm2: float = 0.0,
) -> tuple[Ask, ...]:
    """Rank readings by how likely each settles the verdict, for its effort.

    Parameters
    ----------
    sides
        Positions of donor and host (or original), each with the gradient of the margin by its
        coordinates (n, d).
    margin_mm
        The margin at the nominal positions.
    asked
        Candidates of either part.
    confidence
        As in build.toml.
    other_variance_mm2
        Of the margin, from what no distance reading changes (hole sizes).

    Returns
    -------
    tuple of Ask
        Worth most first; where no reading alone settles anything, the largest drop first.
    """
    total = other_variance_mm2
    for positions, gradient in sides:
        slope = np.asarray(gradient, dtype=float).ravel()
        total += float(slope @ covariance_mm2(positions) @ slope)
    found = []
    for positions, gradient in sides:
        mine = [one for one in asked if one.part == positions.part]
        if not mine:
            continue
        drops, together, reading = variance_drops(positions, gradient, mine)
        number = {name: at for at, name in enumerate(positions.features)}
        for at, one in enumerate(mine):
            a, b = (positions.xyz_mm[number[end]] for end in (one.from_feature, one.to_feature))
            expected_mm = float(np.linalg.norm(a - b))
            after = max(0.0, total - float(drops[at]))
            settles = settling(margin_mm, math.sqrt(total), math.sqrt(after), confidence)
            found.append(
                Ask(
                    one,
                    expected_mm,
                    math.sqrt(float(reading[at])),
                    float(drops[at]),
                    settles,
                    settles / one.effort,
                    thresholds(
                        margin_mm,
                        math.sqrt(after),
                        float(together[at] / reading[at]),
                        expected_mm,
                        confidence,
                    ),
                )
            )
    return tuple(sorted(found, key=_order))


def _order(ask: Ask) -> tuple[float, float, str, str, str]:
    one = ask.candidate
    rest = (one.part, one.from_feature, one.to_feature)
    return (-round(ask.worth, 9), -round(ask.drop_mm2 / one.effort, 9), *rest)


def settling(margin_mm: float, before_mm: float, after_mm: float, confidence: float) -> float:
    """Probability that a reading settles the verdict when the margin is normal.

    Parameters
    ----------
    margin_mm, before_mm
        Mean and standard deviation of the margin now.
    after_mm
        Standard deviation once the reading is in (the same whatever it says).
    confidence

    Returns
    -------
    float
        That the chance of a margin of 0 or more is then at least `confidence` or at most 1 - `confidence`.

    Examples
    --------
    >>> settling(0.0, 1.0, 0.0, 0.95), round(settling(0.0, 1.0, 0.5, 0.95), 3)
    (1.0, 0.342)
    """
    bar_mm = normal_quantile(confidence) * after_mm
    moves_mm = math.sqrt(max(0.0, before_mm**2 - after_mm**2))
    if moves_mm < 1e-12:
        return float(abs(margin_mm) >= bar_mm)
    return normal_cdf((margin_mm - bar_mm) / moves_mm) + normal_cdf((-bar_mm - margin_mm) / moves_mm)


def thresholds(
    margin_mm: float, after_mm: float, gain: float, expected_mm: float, confidence: float
) -> tuple[Band, ...]:
    """Turn the bar of the verdict into values of the reading, for a margin that is linear in it.

    Parameters
    ----------
    gain
        By how much the margin's mean moves per mm of the reading: covariance over the reading's variance.

    Examples
    --------
    >>> [(band.answer, band.to_mm) for band in thresholds(0.2, 0.1, -0.5, 600.0, 0.95)]
    [('bolts on', 600.071), ('between', 600.729), ('does not', None)]
    """
    bar_mm = normal_quantile(confidence) * after_mm
    if abs(gain) < 1e-12:
        answer = "bolts on" if margin_mm >= bar_mm else "does not" if margin_mm <= -bar_mm else "between"
        return (Band(answer, None, None),)
    fits_mm = round(expected_mm + (bar_mm - margin_mm) / gain, 3)
    not_mm = round(expected_mm + (-bar_mm - margin_mm) / gain, 3)
    between = Band("between", min(fits_mm, not_mm), max(fits_mm, not_mm))
    if gain > 0:
        return Band("does not", None, not_mm), between, Band("bolts on", fits_mm, None)
    return Band("bolts on", None, fits_mm), between, Band("does not", not_mm, None)
