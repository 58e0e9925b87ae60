"""Exact numbers and vectors of two or three parts: the arithmetic of `partkin verify`.

Every length is a Fraction of a millimetre. Cosines, sines and unit vectors are Fractions that are wrong by less than
`EPS`; wherever one is used, the bound is moved to the safe side by more than that can matter.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import isqrt

Vector = tuple[Fraction, ...]

PI = Fraction("3.14159265358979323846264338327950288419716939937511")
EPS = Fraction(1, 10**30)
DIGITS = 10**40
ZERO = Fraction(0)
ALONG_X: Vector = (Fraction(1), ZERO)
UP: Vector = (ZERO, ZERO, Fraction(1))


def exact(value: float | int | str) -> Fraction:
    """The decimal number as it is written."""
    return Fraction(str(value))


def dot(u: Sequence[Fraction], v: Sequence[Fraction]) -> Fraction:
    """Scalar product."""
    return sum((a * b for a, b in zip(u, v, strict=True)), ZERO)


def plus(u: Vector, v: Vector, times: Fraction | int = 1) -> Vector:
    """u + times v."""
    return tuple(a + times * b for a, b in zip(u, v, strict=True))


def minus(u: Vector, v: Vector) -> Vector:
    """Difference."""
    return tuple(a - b for a, b in zip(u, v, strict=True))


def scaled(v: Vector, times: Fraction | int) -> Vector:
    """times v."""
    return tuple(times * a for a in v)


def mirror(v: Vector, mirrored: bool) -> Vector:
    """The vector with its first part turned round, or as it is."""
    return (-v[0], *v[1:]) if mirrored else v


def cross(u: Vector, v: Vector) -> Fraction:
    """Of two vectors in the plane, the part of v that stands across u."""
    return u[0] * v[1] - u[1] * v[0]


def product(u: Vector, v: Vector) -> Vector:
    """Vector product in space."""
    return u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]


def flat(v: Vector, axis: Vector) -> Vector:
    """What of a vector lies across an axis."""
    return plus(v, axis, -dot(v, axis))


def short(value: Fraction) -> Fraction:
    """Cut to 40 decimals, so that numbers stay of a size; wrong by less than EPS / 10**9."""
    return Fraction(value.numerator * DIGITS // value.denominator, DIGITS)


def root(value: Fraction, *, up: bool) -> Fraction:
    """Bound a square root from above or from below, to 40 decimals."""
    whole = isqrt(value.numerator * DIGITS**2 // value.denominator)
    return Fraction(whole + (1 if up else 0), DIGITS)


def norm(v: Vector, *, up: bool) -> Fraction:
    """Bound a vector's length from above or below."""
    return root(dot(v, v), up=up)


def towards(v: Vector) -> Vector:
    """The direction of a vector; along x where it has no length."""
    size = norm(v, up=True)
    return tuple(short(part / size) for part in v) if any(v) else (Fraction(1), *(ZERO,) * (len(v) - 1))


def cos_sin(angle_deg: Fraction) -> Vector:
    """Cosine and sine of an exact angle in degrees, each wrong by less than EPS.

    Examples
    --------
    >>> cos_sin(Fraction(90)) == (0, 1), round(float(cos_sin(Fraction(60))[0]), 12)
    (True, 0.5)
    """
    quarters, rest = divmod(angle_deg + 45, 90)
    x = (rest - 45) * PI / 180
    c, s, term = Fraction(0), Fraction(0), Fraction(1)
    for k in range(0, 32, 2):
        sign = -1 if k % 4 else 1
        c += sign * term
        s += sign * short(term * x / (k + 1))
        term = short(term * x * x / ((k + 1) * (k + 2)))
    for _ in range(int(quarters) % 4):
        c, s = -s, c
    return c, s


def laid_over(axis: Vector, c: Fraction, s: Fraction) -> Vector:
    """The direction (c, s, 0) when z is laid over to the axis, whichever way along it is nearer."""
    x, y, z = axis if axis[2] >= 0 else scaled(axis, -1)
    one = (1 - x * x / (1 + z), -x * y / (1 + z), -x)
    two = (-x * y / (1 + z), 1 - y * y / (1 + z), -y)
    return tuple(short(part) for part in plus(scaled(one, c), two, s))
