"""A checker of certificates in exact rational arithmetic that shares no code with `partkin.fit`.

Every number is a Fraction; cosine and sine of a piece's middle and half width are enclosed between
Fractions, and each term of a bound is bounded by itself over the whole piece.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction as F
from itertools import pairwise
from math import isqrt

_PI = F("3.14159265358979323846264338327950288419716939937510")
_TINY = F(1, 10**30)


@dataclass(frozen=True)
class Fixed:
    """One pair: donor and host point, play, half travels and slot angles in degrees."""

    p: tuple[F, F]
    q: tuple[F, F]
    rho: F
    s_h: F = F(0)
    angle_h: F = F(0)
    s_d: F = F(0)
    angle_d: F = F(0)


def as_fixed(p, q, rho, s_h=0.0, angle_h=0.0, s_d=0.0, angle_d=0.0) -> Fixed:
    """Take the floats at their exact values."""
    point = lambda v: (F(float(v[0])), F(float(v[1])))  # noqa: E731
    rest = (F(float(v)) for v in (rho, s_h, angle_h, s_d, angle_d))
    return Fixed(point(p), point(q), *rest)


class Span:
    """An enclosure [lo, hi]."""

    def __init__(self, lo: F, hi: F | None = None) -> None:
        self.lo, self.hi = _cut(lo, up=False), _cut(lo if hi is None else hi, up=True)

    def __add__(self, other: Span) -> Span:
        return Span(self.lo + other.lo, self.hi + other.hi)

    def __neg__(self) -> Span:
        return Span(-self.hi, -self.lo)

    def __sub__(self, other: Span) -> Span:
        return self + -other

    def __mul__(self, other: Span) -> Span:
        all_four = [a * b for a in (self.lo, self.hi) for b in (other.lo, other.hi)]
        return Span(min(all_four), max(all_four))

    def size(self) -> Span:
        """Enclose the absolute value."""
        if self.lo >= 0:
            return self
        return -self if self.hi <= 0 else Span(F(0), max(-self.lo, self.hi))


def _cut(value: F, up: bool) -> F:
    scaled = value * 10**40
    whole = scaled.numerator // scaled.denominator
    return F(whole + (1 if up and whole != scaled else 0), 10**40)


def cos_sin(angle_deg: F) -> tuple[Span, Span]:
    """Enclose cosine and sine of an exact angle in degrees."""
    quarter, rest = divmod(angle_deg + 45, 90)
    x = _cut((rest - 45) * _PI / 180, up=False)
    c = s = F(0)
    term = F(1)
    for k in range(0, 40, 2):
        c += term * (-1 if k % 4 else 1)
        term = _cut(term * x / (k + 1), up=True)
        s += term * (-1 if k % 4 else 1)
        term = _cut(term * x / (k + 2), up=True)
    c_span, s_span = Span(c - _TINY, c + _TINY), Span(s - _TINY, s + _TINY)
    for _ in range(int(quarter) % 4):
        c_span, s_span = -s_span, c_span
    return c_span, s_span


def root(value: F, up: bool) -> F:
    """Bound a square root from one side."""
    whole = isqrt(value.numerator * 10**80 // value.denominator)
    return F(whole + (2 if up else 0), 10**40)


def least_of_wave(a: Span, b: Span, lo: F, hi: F) -> F:
    """Lower bound of a cos(t) + b sin(t) for every t in [lo, hi] degrees, by its middle and half width."""
    if hi - lo > 90:
        middle = (lo + hi) / 2
        return min(least_of_wave(a, b, lo, middle), least_of_wave(a, b, middle, hi))
    c, s = cos_sin((lo + hi) / 2)
    cw, sw = cos_sin((hi - lo) / 2)
    along, across = a * c + b * s, b * c - a * s
    return (along.lo * (cw.lo if along.lo >= 0 else 1)) - across.size().hi * sw.hi


def confirms_weights(pairs: dict[str, Fixed], piece) -> bool:
    """Whether balanced weights keep the excess of these pairs above zero over the whole piece."""
    lo, hi = (F(str(end)) for end in piece.turn_deg)
    names = [name for name, _ in piece.weights]
    if len(set(names)) != len(names) or not names:
        return False
    f = {name: tuple(F(str(part)) for part in weight) for name, weight in piece.weights}
    as_binary = {name: tuple(F(part) for part in weight) for name, weight in piece.weights}
    if f != as_binary or any(sum(weight[axis] for weight in f.values()) != 0 for axis in (0, 1)):
        return False
    a, b, level, slots = F(0), F(0), F(0), F(0)
    for name, (fx, fy) in f.items():
        pair = pairs[name]
        (px, py), (qx, qy) = pair.p, pair.q
        a += fx * px + fy * py
        b += fy * px - fx * py
        level += fx * qx + fy * qy
        square = fx * fx + fy * fy
        level += pair.rho * root(square, up=pair.rho > 0)
        ch, sh = cos_sin(pair.angle_h)
        level += pair.s_h * (Span(fx) * ch + Span(fy) * sh).size().hi
        if pair.s_d:
            cd, sd = cos_sin(pair.angle_d)
            along, across = Span(fx) * cd + Span(fy) * sd, Span(fy) * cd - Span(fx) * sd
            most = max(-least_of_wave(-along, -across, lo, hi), -least_of_wave(along, across, lo, hi))
            slots += pair.s_d * most
    return least_of_wave(Span(a), Span(b), lo, hi) - level - slots > 0


def confirms_apart(pairs: dict[str, Fixed], piece) -> bool:
    """Whether two fixings alone exclude every turn of the piece."""
    lo, hi = (F(str(end)) for end in piece.turn_deg)
    one, two = (pairs[name] for name in piece.apart)
    if one == two:
        return one.rho < 0
    sigma = sum(pair.rho + pair.s_h + pair.s_d for pair in (one, two))
    if sigma < 0:
        return True
    (px, py), (qx, qy) = (tuple(a - b for a, b in zip(u, v)) for u, v in ((one.p, two.p), (one.q, two.q)))
    a, b = px * qx + py * qy, px * qy - py * qx
    most = _most_of_wave(a, b, lo, hi)
    return px * px + py * py + qx * qx + qy * qy - 2 * most > sigma * sigma


def _most_of_wave(a: F, b: F, lo: F, hi: F) -> F:
    """Upper bound of a cos + b sin: at an end, unless the slope changes sign inside (or may)."""
    if hi - lo > 90:
        middle = (lo + hi) / 2
        return max(_most_of_wave(a, b, lo, middle), _most_of_wave(a, b, middle, hi))
    ends = []
    slopes = []
    for end in (lo, hi):
        c, s = cos_sin(end)
        ends.append((Span(a) * c + Span(b) * s).hi)
        slopes.append(Span(b) * c - Span(a) * s)
    if slopes[0].hi > 0 > slopes[1].lo or max(ends) < 0:
        top = root(a * a + b * b, up=True)
        return top if slopes[0].hi > 0 > slopes[1].lo else max(ends)
    return max(ends)


def confirms(pairs: dict[str, Fixed], pieces: Sequence) -> bool:
    """Whether the pieces cover the circle without a break and each one holds."""
    ends = [piece.turn_deg for piece in pieces]
    if not ends or ends[0][0] != -180 or ends[-1][1] != 180:
        return False
    if any(a[1] != b[0] for a, b in pairwise(ends)) or any(not lo < hi for lo, hi in ends):
        return False
    return all(
        confirms_apart(pairs, piece) if piece.apart is not None else confirms_weights(pairs, piece) for piece in pieces
    )
