"""Normal and chi-square distributions without scipy, which takes longer to import than a whole adjustment."""

from __future__ import annotations

import math
from statistics import NormalDist

_STANDARD = NormalDist()


def normal_cdf(z: float) -> float:
    """Probability that a standard normal value stays at or below z.

    Examples
    --------
    >>> round(normal_cdf(1.959963984540054), 6)
    0.975
    """
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def normal_quantile(p: float) -> float:
    """Value that a standard normal one stays below with probability p, 0 < p < 1.

    Examples
    --------
    >>> round(normal_quantile(0.975), 6)
    1.959964
    """
    return _STANDARD.inv_cdf(p)


def chi_square_tail(chi2: float, dof: int) -> float:
    """Probability that chi-square with `dof` degrees of freedom exceeds `chi2`; 1 where dof is 0.

    Examples
    --------
    >>> round(chi_square_tail(3.841458820694124, 1), 6)
    0.05
    """
    if dof <= 0 or chi2 <= 0.0:
        return 1.0
    return _upper_gamma(0.5 * dof, 0.5 * chi2)


def chi_square_quantile(p: float, dof: int) -> float:
    """Value that chi-square stays below with probability p; 0 where dof is 0.

    Examples
    --------
    >>> round(chi_square_quantile(0.95, 2), 6)
    5.991465
    """
    if dof <= 0:
        return 0.0
    low, high = 0.0, float(dof)
    while chi_square_tail(high, dof) > 1.0 - p:
        high *= 2.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        low, high = (middle, high) if chi_square_tail(middle, dof) > 1.0 - p else (low, middle)
    return 0.5 * (low + high)


def _upper_gamma(a: float, x: float) -> float:
    """Regularised upper incomplete gamma function Q(a, x): series below a + 1, continued fraction above."""
    front = math.exp(a * math.log(x) - x - math.lgamma(a))
    if x < a + 1.0:
        term = total = 1.0 / a
        n = a
        while abs(term) > 1e-17 * abs(total):
            n += 1.0
            term *= x / n
            total += term
        return max(0.0, 1.0 - front * total)
    tiny = 1e-300
    b = x + 1.0 - a
    c = 1.0 / tiny
    d = 1.0 / b
    h = d
    for i in range(1, 10_000):
        step = -i * (i - a)
        b += 2.0
        d = 1.0 / (step * d + b or tiny)
        c = b + step / c or tiny
        h *= d * c
        if abs(d * c - 1.0) < 1e-16:
            break
    return front * h
