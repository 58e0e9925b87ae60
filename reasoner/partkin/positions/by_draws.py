"""Which reading is worth taking next, by draws: a reading's value weighs them (Bayes).

Draws of both parts with the verdict of each need be neither normal nor linear; they carry correlations,
equally good pairings and play, and they tell both thresholds of a distance that may be too short as well as
too long.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partkin.positions.distributions import normal_cdf
from partkin.positions.next_reading import Ask, Band, Candidate

GRID = 241
COARSE_GRID = 33
BINS = 96
FINE_BINS = 512
# How far out a reading is looked at, in standard deviations of what is expected.
REACH = 4.0


@dataclass(frozen=True, eq=False)
class Promise:
    """What each of c candidates is expected to do: `settles`, `tells` as in `Ask`, float64 (c,)."""

    settles: np.ndarray
    tells: np.ndarray


def chance_after(
    fits: np.ndarray, drawn_mm: np.ndarray, sigma_mm: float, read_mm: np.ndarray,
    weight: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """Chance of fitting once a distance has been read, from draws of what is believed now.

    Every draw is weighed by how likely it would have given the reading (Bayes).

    Parameters
    ----------
    fits
        bool or float64 (n,), the verdict of each draw.
    drawn_mm
        float64 (n,), the distance in each draw.
    sigma_mm
        Standard uncertainty of the reading.
    read_mm
        float64 (q,), values that may be read.
    weight
        float64 (n,), of the draws before; equal when left out.

    Returns
    -------
    tuple of ndarray
        Chance at each value (q,), and how likely each value is relative to the others (q,), sum 1.
    """
    off = (np.asarray(read_mm)[:, None] - np.asarray(drawn_mm)[None]) / sigma_mm
    near = -0.5 * off**2
    top = near.max(axis=1, keepdims=True)
    mass = np.exp(near - top)
    if weight is not None:
        mass = mass * weight
    total = np.maximum(mass.sum(axis=1), 1e-300)
    likely = total * np.exp(top[:, 0] - top.max())
    return mass @ np.asarray(fits, dtype=float) / total, likely / likely.sum()


def look_mm(sigma_mm: float, spread_mm: float, count: float) -> float:
    """How finely `count` draws can be looked at: finer than they are dense, single ones would decide.

    A wider look can only understate what a reading tells.
    """
    return max(sigma_mm, spread_mm * max(count, 1.0) ** -0.2, 1e-9)


def promises(
    candidates: tuple[Candidate, ...], fits: np.ndarray, drawn_mm: np.ndarray, confidence: float = 0.95,
    weight: np.ndarray | None = None,
) -> Promise:  # fmt: skip
    """Judge many candidates at once, on a coarser grid than `ask_by_draws`.

    Parameters
    ----------
    candidates
        c of them.
    fits
        bool (n,).
    drawn_mm
        float64 (c, n): each candidate's value in each draw.
    confidence
    weight
        float64 (n,), of the draws; equal when left out.

    Returns
    -------
    Promise
    """
    drawn = np.asarray(drawn_mm, dtype=float)
    c, n = drawn.shape
    if not c:
        return Promise(np.zeros(0), np.zeros(0))
    own = np.ones(n) / n if weight is None else np.asarray(weight, dtype=float) / float(np.sum(weight))
    middle = drawn @ own
    spread = np.sqrt(np.maximum((drawn - middle[:, None]) ** 2 @ own, 0.0))
    sigma = np.array([one.sigma_mm for one in candidates])
    look = np.array([look_mm(s, d, 1.0 / float(own @ own)) for s, d in zip(sigma, spread, strict=True)])
    wide = REACH * np.hypot(spread, look)
    # Draws into bins, so that the kernel is taken between bins and grid only.
    at = (drawn - middle[:, None]) / wide[:, None]
    place = np.clip(((at + 1.0) * 0.5 * BINS).astype(int), 0, BINS - 1) + BINS * np.arange(c)[:, None]
    shape = (c, BINS)
    mass = np.bincount(place.ravel(), np.broadcast_to(own, (c, n)).ravel(), c * BINS).reshape(shape)
    good = np.bincount(place.ravel(), np.broadcast_to(own * fits, (c, n)).ravel(), c * BINS).reshape(shape)
    middles = (np.arange(BINS) + 0.5) * 2.0 / BINS - 1.0
    grid = np.linspace(-1.0, 1.0, COARSE_GRID)
    kernel = np.exp(-0.5 * ((grid[:, None] - middles[None]) * (wide / look)[:, None, None]) ** 2)
    likely = np.einsum("cgb,cb->cg", kernel, mass)
    chance = np.einsum("cgb,cb->cg", kernel, good) / np.maximum(likely, 1e-300)
    likely /= likely.sum(axis=1, keepdims=True)
    settled = (chance >= confidence) | (chance <= 1.0 - confidence)
    now = float(own @ fits)
    left = (likely * chance * (1.0 - chance)).sum(axis=1)
    tells = 1.0 - left / (now * (1.0 - now)) if 0.0 < now < 1.0 else np.zeros(c)
    return Promise((likely * settled).sum(axis=1), np.clip(tells, 0.0, 1.0))


def ask_by_draws(
    candidate: Candidate, fits: np.ndarray, drawn_mm: np.ndarray, confidence: float = 0.95,
    weight: np.ndarray | None = None,
) -> Ask:  # fmt: skip
    """Judge a candidate by draws: how likely it settles the verdict, and which values mean what.

    Parameters
    ----------
    candidate
    fits
        bool (n,), whether each draw of both parts fits.
    drawn_mm
        float64 (n,), the candidate's distance in each draw.
    confidence
    weight
        float64 (n,), of the draws; equal when left out.

    Returns
    -------
    Ask
        `drop_mm2` is 0: no margin is looked at. Bands cover the values that may come out (four standard
        deviations about what is expected); the outer ones are left open.
    """
    drawn = np.asarray(drawn_mm, dtype=float)
    own = np.ones(len(drawn)) / len(drawn) if weight is None else np.asarray(weight, dtype=float) / np.sum(weight)
    middle_mm = float(own @ drawn)
    drawn_spread_mm = math.sqrt(max(0.0, float(own @ (drawn - middle_mm) ** 2)))
    spread_mm = math.hypot(drawn_spread_mm, candidate.sigma_mm)
    read_mm = middle_mm + np.linspace(-REACH, REACH, GRID) * spread_mm
    look = look_mm(candidate.sigma_mm, drawn_spread_mm, 1.0 / float(own @ own))
    chance, likely = _chance_in_bins(fits, drawn, look, read_mm, own)
    answers = _answers(chance, confidence)
    settles = float(likely[answers != 0].sum())
    now = float(own @ fits)
    left = float(likely @ (chance * (1.0 - chance)))
    tells = min(1.0, max(0.0, 1.0 - left / (now * (1.0 - now)))) if 0.0 < now < 1.0 else 0.0
    return Ask(
        candidate, middle_mm, spread_mm, 0.0, settles, tells / candidate.effort, _bands(read_mm, answers), tells,
    )  # fmt: skip


def _chance_in_bins(
    fits: np.ndarray, drawn_mm: np.ndarray, sigma_mm: float, read_mm: np.ndarray, own: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """`chance_after` of draws put into bins much narrower than the look."""
    if len(drawn_mm) <= FINE_BINS:
        return chance_after(fits, drawn_mm, sigma_mm, read_mm, own)
    low_mm, high_mm = float(read_mm[0]), float(read_mm[-1])
    place = np.clip((drawn_mm - low_mm) / (high_mm - low_mm) * FINE_BINS, 0, FINE_BINS - 1).astype(int)
    mass = np.bincount(place, own, FINE_BINS)
    good = np.bincount(place, own * fits, FINE_BINS)
    there = mass > 0.0
    middles_mm = low_mm + (np.flatnonzero(there) + 0.5) * (high_mm - low_mm) / FINE_BINS
    return chance_after(good[there] / mass[there], middles_mm, sigma_mm, read_mm, mass[there])


def _answers(chance: np.ndarray, confidence: float) -> np.ndarray:
    """What each value means: 1 bolts on, -1 does not, 0 neither.

    Nothing is promised that a value further in or out takes back: it bolts on between two values only
    where it does all the way, and it does not beyond one only where it does not all the way.
    """
    peak = int(np.argmax(chance))
    held = np.concatenate([np.minimum.accumulate(chance[peak::-1])[::-1], np.minimum.accumulate(chance[peak:])[1:]])
    below = np.maximum.accumulate(chance)
    above = np.maximum.accumulate(chance[::-1])[::-1]
    outer = np.minimum(below, above)
    return np.where(held >= confidence, 1, np.where(outer <= 1.0 - confidence, -1, 0))


def _bands(read_mm: np.ndarray, answers: np.ndarray) -> tuple[Band, ...]:
    """Ranges of one answer each. `bolts on` is never promised beyond the values that were looked at."""
    words = {1: "bolts on", 0: "between", -1: "does not"}
    if len(set(answers.tolist())) > 1:
        far = float(read_mm[1] - read_mm[0])
        if answers[0] == 1:
            answers, read_mm = np.append(0, answers), np.append(read_mm[0] - far, read_mm)
        if answers[-1] == 1:
            answers, read_mm = np.append(answers, 0), np.append(read_mm, read_mm[-1] + far)
    cuts = np.flatnonzero(np.diff(answers)) + 1
    edges = [None, *(round(float(read_mm[at - 1] + read_mm[at]) / 2.0, 2) for at in cuts), None]
    starts = [0, *cuts.tolist()]
    return tuple(Band(words[int(answers[start])], edges[at], edges[at + 1]) for at, start in enumerate(starts))


def weight_between(ask: Ask, drawn_mm: np.ndarray) -> np.ndarray:
    """How likely each draw would give a reading that settles nothing, (n,): what is believed after one.

    Examples
    --------
    >>> one = Ask(Candidate("p", "a", "b", 0.5), 10.0, 1.0, 0.0, 0.0, 0.0, (Band("between", None, None),))
    >>> weight_between(one, np.array([9.0, 10.0])).tolist()
    [1.0, 1.0]
    """
    drawn = np.asarray(drawn_mm, dtype=float)
    total = np.zeros(len(drawn))
    for band in ask.bands:
        if band.answer == "between":
            high = 1.0 if band.to_mm is None else _below((band.to_mm - drawn) / ask.candidate.sigma_mm)
            low = 0.0 if band.from_mm is None else _below((band.from_mm - drawn) / ask.candidate.sigma_mm)
            total += high - low
    return total


def _below(z: np.ndarray) -> np.ndarray:
    return np.array([normal_cdf(float(one)) for one in z])
