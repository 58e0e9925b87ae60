"""Which reading is worth taking next, by draws: a reading's value weighs them (Bayes).

Draws of both parts with the verdict of each need be neither normal nor linear; they carry correlations,
equally good pairings and play, and they tell both thresholds of a distance that may be too short as well as
too long.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

import numpy as np

from partkin.model.distributions import chi_square_quantile, normal_cdf
from partkin.positions.next_reading import Ask, Band, Candidate

GRID = 241
COARSE_GRID = 33
BINS = 96
FINE_BINS = 512
SELDOM_ASKED = 12
# Fewer draws than this behind a value promise nothing.
FEWEST_BEHIND = 40.0
# A value is promised an answer only where its chance is beyond the bar by so many standard deviations of the draws.
PROMISED = 1.5
# How far out a reading is looked at, in standard deviations of what is expected.
REACH = 4.0


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
    return float(max(sigma_mm, spread_mm * max(count, 1.0) ** -0.2, 1e-9))


def told_by_each(
    candidates: tuple[Candidate, ...], fits: np.ndarray, drawn_mm: np.ndarray, weight: np.ndarray | None = None
) -> np.ndarray:
    """Return what each of many candidates is expected to tell, on a coarser grid than `ask_by_draws`.

    Parameters
    ----------
    candidates
        c of them.
    fits
        bool (n,).
    drawn_mm
        float64 (c, n): each candidate's value in each draw.
    weight
        float64 (n,), of the draws; equal when left out.

    Returns
    -------
    ndarray
        float64 (c,), `Ask.tells` of each.
    """
    drawn = np.asarray(drawn_mm, dtype=float)
    c, n = drawn.shape
    own = np.ones(n) / n if weight is None else np.asarray(weight, dtype=float) / float(np.sum(weight))
    now = float(own @ fits)
    if not c or not 0.0 < now < 1.0:
        return np.zeros(c)
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
    left = (likely * chance * (1.0 - chance)).sum(axis=1)
    return np.asarray(np.clip(1.0 - left / (now * (1.0 - now)), 0.0, 1.0))


def ask_by_draws(
    candidate: Candidate, fits: np.ndarray, drawn_mm: np.ndarray, confidence: float = 0.95,
    weight: np.ndarray | None = None, agreeing_mm: tuple[float, float] | None = None,
    seldom: Callable[[np.ndarray], np.ndarray] | None = None,
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
    agreeing_mm
        Between which values a reading agrees with the other readings (`agreement`); beyond, it will be asked for
        again and settles nothing.
    seldom
        Of values (m,), whether a part that just goes on would seldom come out so: only then "does not" is promised.

    Returns
    -------
    Ask
        Bands cover the values that may come out (four standard deviations about what is expected); the outer ones
        are left open.
    """
    drawn = np.asarray(drawn_mm, dtype=float)
    own = np.ones(len(drawn)) / len(drawn) if weight is None else np.asarray(weight, dtype=float) / np.sum(weight)
    middle_mm = float(own @ drawn)
    drawn_spread_mm = math.sqrt(max(0.0, float(own @ (drawn - middle_mm) ** 2)))
    spread_mm = math.hypot(drawn_spread_mm, candidate.sigma_mm)
    read_mm = middle_mm + np.linspace(-REACH, REACH, GRID) * spread_mm
    look = look_mm(candidate.sigma_mm, drawn_spread_mm, 1.0 / float(own @ own))
    chance, likely, behind = _told_at(fits, drawn, look, read_mm, own)
    answers = _answers(chance, behind, confidence)
    if agreeing_mm is not None:
        answers[(read_mm < agreeing_mm[0]) | (read_mm > agreeing_mm[1])] = 2
    if seldom is not None:
        answers = _seldom_alone(answers, read_mm, seldom)
    answers = _without_slivers(answers, candidate.sigma_mm / float(read_mm[1] - read_mm[0]))
    settled = ((chance >= confidence) | (chance <= 1.0 - confidence)) & (answers != 2)
    settles = float(likely[settled].sum())
    now = float(own @ fits)
    left = float(likely @ (chance * (1.0 - chance)))
    tells = max(0.0, 1.0 - left / (now * (1.0 - now))) if 0.0 < now < 1.0 else 0.0
    return Ask(
        candidate, middle_mm, spread_mm, settles, _bands(read_mm, answers), tells,
    )  # fmt: skip


def _seldom_alone(answers: np.ndarray, read_mm: np.ndarray, seldom: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """Promise "does not" only where a part that just goes on would seldom come out so; asked at a few values."""
    kept, middle = answers.copy(), len(answers) // 2
    for side in (np.flatnonzero(answers[:middle] == -1)[::-1], middle + np.flatnonzero(answers[middle:] == -1)):
        if len(side):
            asked = side[np.linspace(0, len(side) - 1, min(len(side), SELDOM_ASKED)).astype(int)]
            often = np.flatnonzero(~seldom(read_mm[asked]))
            if len(often):
                # Up to the next value that was asked about nothing is known.
                first = asked[often[-1] + 1] if often[-1] + 1 < len(asked) else side[-1]
                kept[side[np.abs(side - middle) < abs(int(first) - middle)]] = 0
                kept[side[-1]] = answers[side[-1]] if often[-1] + 1 < len(asked) else 0
    return kept


def agreement(chi_square: float, degrees_of_freedom: int, level: float = 0.95) -> float:
    """How many standard deviations one more reading may be off for a network still to agree with itself.

    Parameters
    ----------
    chi_square, degrees_of_freedom
        Of the network without it.

    Examples
    --------
    >>> round(agreement(0.0, 0), 2)
    1.96
    """
    limit = chi_square_quantile(level, degrees_of_freedom + 1)
    return math.sqrt(max(0.0, limit - chi_square))


def _told_at(
    fits: np.ndarray, drawn_mm: np.ndarray, sigma_mm: float, read_mm: np.ndarray, own: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """As `chance_after`, in bins much narrower than the look, with how many draws stand behind each value."""
    low_mm, high_mm = float(read_mm[0]), float(read_mm[-1])
    place = np.clip((drawn_mm - low_mm) / (high_mm - low_mm) * FINE_BINS, 0, FINE_BINS - 1).astype(int)
    mass = np.bincount(place, own, FINE_BINS)
    good = np.bincount(place, own * fits, FINE_BINS)
    square = np.bincount(place, own**2, FINE_BINS)
    middles_mm = low_mm + (np.arange(FINE_BINS) + 0.5) * (high_mm - low_mm) / FINE_BINS
    kernel = np.exp(-0.5 * ((read_mm[:, None] - middles_mm[None]) / sigma_mm) ** 2)
    total = kernel @ mass
    chance = kernel @ good / np.maximum(total, 1e-300)
    behind = total**2 / np.maximum(kernel**2 @ square, 1e-300)
    return chance, total / total.sum(), behind


def _answers(chance: np.ndarray, behind: np.ndarray, confidence: float) -> np.ndarray:
    """What each value means: 1 bolts on, -1 does not, 0 neither.

    Nothing is promised that a value further in or out takes back: it bolts on between two values only
    where it does all the way, and it does not beyond one only where it does not all the way. Nor is anything
    promised where few draws stand behind a value; beyond those, "does not" goes on as it was.
    """
    # Half a draw of either answer keeps few of one kind from looking certain.
    careful = (chance * behind + 0.5) / (behind + 1.0)
    known = behind >= FEWEST_BEHIND
    if not known.any():
        return np.zeros(len(chance), dtype=int)
    first, last = int(np.argmax(known)), len(known) - 1 - int(np.argmax(known[::-1]))
    unsure = PROMISED * np.sqrt(careful * (1.0 - careful) / (behind + 1.0))
    low, high = (careful - unsure)[first : last + 1], (careful + unsure)[first : last + 1]
    peak = int(np.argmax(low))
    held = np.concatenate([np.minimum.accumulate(low[peak::-1])[::-1], np.minimum.accumulate(low[peak:])[1:]])
    outer = np.minimum(np.maximum.accumulate(high), np.maximum.accumulate(high[::-1])[::-1])
    told = np.where(held >= confidence, 1, np.where(outer <= 1.0 - confidence, -1, 0))
    answers = np.zeros(len(chance), dtype=int)
    answers[first : last + 1] = told
    answers[:first], answers[last + 1 :] = min(0, told[0]), min(0, told[-1])
    if (told == 1).all():
        answers[:] = 1
    return answers


def _without_slivers(answers: np.ndarray, least: float) -> np.ndarray:
    """Promise nothing of ranges with two ends that are narrower than the reading is sure.

    Examples
    --------
    >>> _without_slivers(np.array([0, 0, -1, -1, 2, 2, 1, 1]), 3.0).tolist()
    [0, 0, 0, 0, 2, 2, 1, 1]
    """
    kept = answers.copy()
    cuts = [0, *(np.flatnonzero(np.diff(answers)) + 1).tolist(), len(answers)]
    for first, last in pairwise(cuts[1:-1]):
        if abs(answers[first]) == 1 and last - first < least:
            kept[first:last] = 0
    return kept


def _bands(read_mm: np.ndarray, answers: np.ndarray) -> tuple[Band, ...]:
    """Ranges of one answer each. `bolts on` is never promised beyond the values that were looked at."""
    words = {1: "bolts on", 0: "between", -1: "does not", 2: "again"}
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
    >>> one = Ask(Candidate("p", "a", "b", 0.5), 10.0, 1.0, 0.0, (Band("between", None, None),))
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
