"""A pair of a host and a donor feature in exact numbers, in the plane or in space, and how it stands once laid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from partkin.verify.vectors import ALONG_X, EPS, UP, ZERO, Vector, dot, flat, minus, plus, product, root, scaled, short

# How far an axis may point off, as a cosine, and what counts for a millimetre of it.
LEAN_COS = Fraction("0.866")
LEAN_MM = 1000


@dataclass(frozen=True)
class Held:
    """A pair: donor point (mirrored already), host point, how far they may stand apart, and their slots.

    Points of two parts in the plane, of three in space; half travels along directions of length 1 to within `EPS`, each
    in the part's own frame. In space alone: `grip`, how far they may stand apart along the axis, the axes, and the
    `depth` of the hole, 0 where it is not known.
    """

    donor: Vector
    host: Vector
    allowed: Fraction
    host_half: Fraction = ZERO
    host_along: Vector = ALONG_X
    donor_half: Fraction = ZERO
    donor_along: Vector = ALONG_X
    grip: Fraction = ZERO
    host_axis: Vector = UP
    donor_axis: Vector = UP
    depth: Fraction = ZERO


def turned(rotation: Sequence[Vector], v: Vector) -> Vector:
    """R v."""
    return tuple(dot(row, v) for row in rotation)


def gap_of(pair: Held, rotation: Sequence[Vector], shift: Vector) -> Vector:
    """From the host's point to the donor's as it is laid."""
    return minus(plus(turned(rotation, pair.donor), shift), pair.host)


def stands(pair: Held, rotation: Sequence[Vector], shift: Vector) -> dict[str, tuple[Fraction, Fraction]]:
    """How far a pair stands off when its slots have taken what they can, and how far it may, in each direction in mm.

    Upper bounds, tight to 1e-15 mm. In the plane: across. In space: across the axis at the worse end of the hole, along
    the axis, and what a leaning axis counts for.
    """
    gap = gap_of(pair, rotation, shift)
    slots = [scaled(pair.host_along, pair.host_half), scaled(turned(rotation, pair.donor_along), pair.donor_half)]
    if len(gap) == 2:
        return {"across": (_left(gap, slots), pair.allowed)}
    host_axis, axis = pair.host_axis, turned(rotation, pair.donor_axis)
    ends = [plus(gap, axis, pair.depth / 2), plus(gap, axis, -pair.depth / 2)] if pair.depth else [gap]
    slots = [flat(slot, host_axis) for slot in slots]
    return {
        "across": (max(_left(flat(end, host_axis), slots) for end in ends), pair.allowed),
        "along": (abs(dot(gap, host_axis)), pair.grip),
        "lean": (LEAN_MM * (1 - dot(axis, host_axis)), LEAN_MM * (1 - LEAN_COS)),
    }


def _left(gap: Vector, slots: Sequence[Vector]) -> Fraction:
    square = nearest_square(gap, slots)
    return root(short(square) + EPS, up=True) if square else ZERO


def nearest_square(gap: Vector, slots: Sequence[Vector]) -> Fraction:
    """Square of what is least left of a vector when x of one and y of the other are taken off, -1 <= x, y <= 1.

    Either both are free, or one of them is at an end: the least of all those is the least of all.
    """
    u, w = slots
    found = []
    uu, uw, ww, gu, gw = dot(u, u), dot(u, w), dot(w, w), dot(gap, u), dot(gap, w)
    square = uu * ww - uw * uw
    if square:
        found.append(((gu * ww - gw * uw) / square, (gw * uu - gu * uw) / square))
    for end in (Fraction(-1), Fraction(1)):
        found.append((end, (gw - end * uw) / ww if ww else ZERO))
        found.append(((gu - end * uw) / uu if uu else ZERO, end))
    left = []
    for x, y in found:
        x, y = min(max(x, Fraction(-1)), Fraction(1)), min(max(y, Fraction(-1)), Fraction(1))
        rest = plus(plus(gap, u, -x), w, -y)
        left.append(dot(rest, rest))
    return min(left)


def rational_rotation(rows: Sequence[Vector]) -> list[Vector]:
    """The exact rotation next to a matrix (2 x 2 or 3 x 3) that rounding has left a little off: by its quaternion.

    Examples
    --------
    >>> rational_rotation([(Fraction("0.6"), Fraction("-0.8")), (Fraction("0.8"), Fraction("0.6"))])
    [(Fraction(3, 5), Fraction(-4, 5)), (Fraction(4, 5), Fraction(3, 5))]
    """
    if len(rows) == 2:
        whole = rational_rotation([*((*row, ZERO) for row in rows), UP])
        return [row[:2] for row in whole[:2]]
    m = rows
    trace = m[0][0] + m[1][1] + m[2][2]
    parts = [trace, *(2 * m[k][k] - trace for k in range(3))]
    largest = parts.index(max(parts))
    if largest == 0:
        w, v = 1 + trace, [m[2][1] - m[1][2], m[0][2] - m[2][0], m[1][0] - m[0][1]]
    else:
        i, j, k = ((largest + step) % 3 for step in (2, 0, 1))
        w, v = m[k][j] - m[j][k], [ZERO, ZERO, ZERO]
        v[i], v[j], v[k] = 1 + 2 * m[i][i] - trace, m[j][i] + m[i][j], m[k][i] + m[i][k]
    size, base = w * w + dot(v, v), w * w - dot(v, v)
    found = []
    for j in range(3):
        axis = tuple(Fraction(int(j == k)) for k in range(3))
        side = product(axis, tuple(v))
        found.append(tuple((base * axis[k] + 2 * v[j] * v[k] + 2 * w * side[k]) / size for k in range(3)))
    return found
