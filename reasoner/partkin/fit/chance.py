"""How likely a placement is that brings every pair within its play.

Draws are taken in blocks until the chance is settled. What settles it is a mixture martingale: for k
fitting draws of n and a threshold t,

    log B(k + 1, n - k + 1) - k log t - (n - k) log(1 - t)

exceeds log 100 at any time in the whole run with probability at most 1 % if the true chance is t (the
uniform mixture of likelihood ratios; Ville's inequality). The thresholds not excluded after n draws are
the 99 % bounds, however often one has looked.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from partkin.fit.arrays import Floats, Pairs
from partkin.fit.minimax import best_placement
from partkin.model.fitting import Chance
from partkin.model.pulse import beat

BLOCK = 128
# From here on several blocks are asked at once: their number then matters less than the time that each takes.
_MANY = 1024
_LOG_ODDS = math.log(100.0)


def sequential(fits_block: Callable[[int, int], np.ndarray], confidence: float, cap: int = 10_000) -> Chance:
    """Draw until the chance is settled against `confidence` and 1 - `confidence`, or the cap is reached.

    Parameters
    ----------
    fits_block
        (start, count) -> (count,) bool: whether draws start .. start + count - 1 fit.
    confidence
        The chance from which a donor is said to fit; from 1 - confidence down it is said not to.
    cap
        Most draws. Once it is settled that the chance is below `confidence`, a tenth of it: between
        "does not fit" and "not enough measured" the bounds then say how near it is.

    Returns
    -------
    Chance
        Share of fitting draws, with bounds of 99 %.

    Examples
    --------
    >>> sequential(lambda start, count: np.ones(count, dtype=bool), 0.95).draws
    256
    """
    upper, lower = max(confidence, 1 - confidence), min(confidence, 1 - confidence)
    k = n = 0
    while True:
        most = cap if not (n and excludes(k, n, upper) and k < n * upper) else max(cap // 10, 1)
        if n >= most:
            break
        count = min(BLOCK if n < _MANY else 4 * BLOCK, most - n)
        k += int(np.count_nonzero(fits_block(n, count)))
        n += count
        if excludes(k, n, upper) and excludes(k, n, lower):
            break
        beat("draws", n, most)
    beat("draws", n, n)
    low, high = bounds(k, n)
    return Chance(k / n, low, high, n)


def certain(fits: bool) -> Chance:
    """Return the chance of what needs no draws."""
    value = 1.0 if fits else 0.0
    return Chance(value, value, value, 0)


def excludes(k: int, n: int, threshold: float) -> bool:
    """Whether k of n draws rule out that the chance is just this threshold (error 1 %)."""
    return _log_martingale(k, n, threshold) > _LOG_ODDS


def bounds(k: int, n: int) -> tuple[float, float]:
    """Least and greatest chance that k of n draws do not rule out.

    Examples
    --------
    >>> low, high = bounds(128, 128)
    >>> round(low, 3), high
    (0.929, 1.0)
    """
    middle = k / n
    low = 0.0 if k == 0 else _edge(k, n, 0.0, middle)
    high = 1.0 if k == n else _edge(k, n, 1.0, middle)
    return low, high


def _edge(k: int, n: int, out: float, within: float) -> float:
    for _ in range(60):
        middle = (out + within) / 2
        if excludes(k, n, middle):
            out = middle
        else:
            within = middle
    return out


def _log_martingale(k: int, n: int, t: float) -> float:
    if (t <= 0 and k) or (t >= 1 and k < n):
        return math.inf
    mixture = math.lgamma(k + 1) + math.lgamma(n - k + 1) - math.lgamma(n + 2)
    return mixture - (k * math.log(t) if k else 0.0) - ((n - k) * math.log1p(-t) if k < n else 0.0)


def sure_without_draws(
    alternatives: Pairs | Sequence[Pairs],
    p_half_mm: Floats | float | Sequence[Floats] = 0.0,
    q_half_mm: Floats | float | Sequence[Floats] = 0.0,
    rho_half_mm: Floats | float | Sequence[Floats] = 0.0,
) -> bool | None:
    """Whether the answer is the same however the positions fall within their half widths.

    Parameters
    ----------
    alternatives
        The pairs at their likely positions; where several pairings are equally good, all of them.
    p_half_mm, q_half_mm
        Greatest error of each coordinate, (n,) mm or one number; for several pairings one each.
    rho_half_mm
        Greatest error of the play.

    Returns
    -------
    bool or None
        True: some pairing fits even when every pair moves as far out as it can. False: none does even
        when every pair comes as near as it can. None: it takes draws.

    Notes
    -----
    A point whose coordinates move by at most a moves by at most a * sqrt(2), whatever the turn; so no
    excess changes by more than sqrt(2) (a_p + a_q) + a_rho.
    """
    several = [alternatives] if isinstance(alternatives, Pairs) else list(alternatives)
    moves = [
        math.sqrt(2) * (_own(p_half_mm, i) + _own(q_half_mm, i)) + _own(rho_half_mm, i) for i in range(len(several))
    ]
    if any(_fits_with(pairs, -move) for pairs, move in zip(several, moves, strict=True)):
        return True
    if any(_fits_with(pairs, move) for pairs, move in zip(several, moves, strict=True)):
        return None
    return False


def _own(value: Floats | float | Sequence[Floats], place: int) -> Floats:
    return np.asarray(value[place] if isinstance(value, list | tuple) else value, dtype=float)


def _fits_with(pairs: Pairs, more_mm: Floats) -> bool:
    return best_placement(replace(pairs, rho=pairs.rho + more_mm), stop_at_sign=True).fits
