"""A reading that could be taken, in words too, what it would do, and how far it shrinks what is not known of places.

`by_draws` judges one by the verdict; where that cannot be, `spread_drops` does by the places alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partkin.model.positions import Positions
from partkin.model.words import Instrument, Quantity
from partkin.positions.budget import covariance_mm2

MEANINGS = (("bolts on", "it bolts on"), ("does not", "it does not"))


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

    `settles`: probability that afterwards the chance is at or beyond the confidence, on either side. `tells`:
    expected share of what is open that it closes (of the variance of "it goes on"), 0 to 1; None where draws do not
    know. `bands`: in order of the reading.
    """

    candidate: Candidate
    expected_mm: float
    sigma_mm: float
    settles: float
    bands: tuple[Band, ...] = ()
    tells: float | None = None


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
    number = {name: at for at, name in enumerate(positions.features)}
    a = np.array([number[one.from_feature] for one in asked], dtype=int)
    b = np.array([number[one.to_feature] for one in asked], dtype=int)
    own = np.array([one.sigma_mm for one in asked], dtype=float)
    apart = positions.xyz_mm[a] - positions.xyz_mm[b]
    unit = apart / np.maximum(np.sqrt((apart * apart).sum(axis=1)), 1e-12)[:, None]
    by_point = np.zeros((len(a), n, d))
    at = np.arange(len(a))
    by_point[at, a] = unit
    by_point[at, b] = -unit
    slope = by_point.reshape(len(a), n * d)
    felt = slope @ covariance_mm2(positions)
    reading = own * own + (felt * slope).sum(axis=1)
    return np.asarray((felt * felt) @ np.repeat(np.asarray(weight, dtype=float) ** 2, d) / reading)


def named(candidate: Candidate) -> str:
    """Say what is read.

    Examples
    --------
    >>> named(Candidate("p", "a", "f", 0.5)), named(Candidate("p", "a", "", 0.1, quantity="across"))
    ('a to f, centre to centre', 'how wide a is across')
    """
    if candidate.quantity == "across":
        return f"how wide {candidate.from_feature} is across"
    return f"{candidate.from_feature} to {candidate.to_feature}, centre to centre"


def meaning(bands: Sequence[Band], places: int = 1) -> str:
    """Say which values mean what; empty where none settles anything, or every one says the same.

    Examples
    --------
    >>> meaning((Band("does not", None, 610.9), Band("between", 610.9, 611.8), Band("bolts on", 611.8, 615.0)))
    '611.8 to 615.0 mm means that it bolts on; less than 610.9 mm that it does not'
    """
    said: list[str] = []
    for answer, words in MEANINGS:
        ranges = [
            _range(band, answer, places)
            for band in bands
            if band.answer == answer and (band.from_mm is not None or band.to_mm is not None)
        ]
        if ranges:
            said.append(f"{' or '.join(ranges)} mm {'means that' if not said else 'that'} {words}")
    return "; ".join(said)


def _range(band: Band, answer: str, places: int) -> str:
    # Rounded towards `between`, so that no value is promised more than it means.
    step = 10.0**places
    low = None if band.from_mm is None else f"{math.ceil(band.from_mm * step - 1e-6) / step:.{places}f}"
    high = None if band.to_mm is None else f"{math.floor(band.to_mm * step + 1e-6) / step:.{places}f}"
    if low is None:
        return f"{'up to' if answer == 'bolts on' else 'less than'} {high}"
    if high is None:
        return f"{'from' if answer == 'bolts on' else 'more than'} {low}{' on' if answer == 'bolts on' else ''}"
    return f"{low} to {high}"
