"""Proofs over all rotations of space confirmed in exact arithmetic, by boxes of them.

A box holds the rotations of the quaternions whose part `largest` is 1 and whose others lie from lo to hi; all that is
claimed of a box is that q.H q is above zero all over it, for a 4 x 4 matrix H, which takes no sine and no root. Nothing
here knows how a proof was found.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import product as every
from typing import Any

from partkin.verify.held import LEAN_COS, Held, nearest_square
from partkin.verify.vectors import EPS, ZERO, Vector, dot, exact, flat, minus, norm, plus, product, root, scaled, short

Matrix = list[list[Fraction]]
Box = tuple[int, tuple[Fraction, ...], tuple[Fraction, ...]]

NOWHERE: Vector = (ZERO, ZERO, ZERO)


def form(p: Vector, f: Vector) -> Matrix:
    """Symmetric H with q.H q = |q|^2 f.(R p), R the rotation of the quaternion q = (w, x, y, z)."""
    side, along = product(p, f), dot(p, f)
    rows = [[along, *side]]
    for j in range(3):
        rows.append([side[j], *(f[j] * p[k] + p[j] * f[k] - (along if j == k else 0) for k in range(3))])
    return rows


def total(*terms: tuple[Fraction | int, Matrix]) -> Matrix:
    """Sum of matrices, each times a number."""
    return [[sum((n * m[j][k] for n, m in terms), ZERO) for k in range(4)] for j in range(4)]


ONE: Matrix = [[Fraction(int(j == k)) for k in range(4)] for j in range(4)]


def least(matrix: Matrix, box: Box) -> Fraction:
    """Bound q.H q over a box from below, by its middle and half widths."""
    largest, lo, hi = box
    middle = [(a + b) / 2 for a, b in zip(lo, hi, strict=True)]
    half = [(b - a) / 2 for a, b in zip(lo, hi, strict=True)]
    middle.insert(largest, Fraction(1))
    half.insert(largest, ZERO)
    at = [sum((matrix[j][k] * middle[k] for k in range(4)), ZERO) for j in range(4)]
    value = sum((a * m for a, m in zip(at, middle, strict=True)), ZERO)
    for j in range(4):
        value -= 2 * half[j] * abs(at[j])
        value += min(ZERO, matrix[j][j]) * half[j] * half[j]
        value -= sum((abs(matrix[j][k]) * half[j] * half[k] for k in range(4) if k != j), ZERO)
    return value


def two_exclude(one: Held, two: Held, box: Box | None) -> bool:
    """Two pairs alone rule out a box of rotations, or (None) all: their points stay too far apart or too close."""
    if one is two:
        return min(one.allowed, one.grip) < 0
    across = [pair.allowed + pair.host_half + pair.donor_half for pair in (one, two)]
    if min(*across, one.grip, two.grip) < 0:
        return sum(across) < 0
    donor, host = minus(one.donor, two.donor), minus(one.host, two.host)
    around = sum((root(r * r + p.grip**2, up=True) for r, p in zip(across, (one, two), strict=True)), ZERO)
    if box is not None:
        square = dot(donor, donor) + dot(host, host) - around * around
        return least(total((square, ONE), (-2, form(donor, host))), box) > 0
    signs = every((1, -1), repeat=2)
    ends = [plus(plus(host, one.host_axis, i * one.grip), two.host_axis, k * two.grip) for i, k in signs]
    slack = EPS * (1 + one.grip + two.grip)
    farthest = min(max(norm(end, up=True) for end in ends) + sum(across), norm(host, up=True) + around)
    corners = [scaled(pair.host_axis, pair.grip) for pair in (one, two)]
    nearest = root(short(nearest_square(host, corners)), up=False) - sum(across)
    nearest = max(nearest, norm(host, up=False) - around)
    return norm(donor, up=False) > farthest + slack or norm(donor, up=True) < nearest - slack


def forces_exclude(
    held: Mapping[str, Held], force: Mapping[str, Vector], couple: Mapping[str, Vector],
    lean: Mapping[str, Fraction], box: Box,
) -> bool:  # fmt: skip
    """Balanced forces, couples on deep holes and weights of axes' directions rule out a box of rotations.

    Were every pair within its play, then at each hole end F.v would be at most |F| allowed and what the slots
    give, F what of the force lies across the axis and v the end's gap; along the axis at most |f.a| grip; and
    each weight times (LEAN_COS - a.R b) at most 0. Summed up the shift drops out, since the forces balance.
    """
    if any(sum((f[k] for f in force.values()), ZERO) for k in range(3)) or min([ZERO, *lean.values()]) < 0:
        return False
    whole, most = total((0, ONE)), ZERO
    slots: list[Matrix] = []
    for name in {**force, **couple, **lean}:
        pair, f = held[name], force.get(name, NOWHERE)
        a, g = pair.host_axis, flat(couple.get(name, NOWHERE), pair.host_axis)
        weight = lean.get(name, ZERO)
        deep = scaled(pair.donor_axis, pair.depth)
        whole = total((1, whole), (1, form(pair.donor, f)), (1, form(deep, g)), (-weight, form(pair.donor_axis, a)))
        whole = total((1, whole), (weight * LEAN_COS, ONE))
        most += dot(f, pair.host) + abs(dot(f, a)) * pair.grip
        across = flat(f, a)
        ends = [across]
        if pair.depth:
            half = scaled(across, Fraction(1, 2))
            ends = [plus(half, g), minus(half, g)]
        for end in ends:
            most += norm(end, up=pair.allowed > 0) * pair.allowed + pair.host_half * abs(dot(end, pair.host_along))
            if pair.donor_half:
                slots.append(total((pair.donor_half, form(pair.donor_along, end))))
        size = sum((abs(v) for v in (*f, *g)), ZERO) + weight
        reach = sum((abs(v) for v in (*pair.donor, *pair.host)), ZERO) + pair.allowed + pair.grip + pair.depth
        most += 100 * EPS * size * (1 + abs(reach) + pair.host_half + pair.donor_half)
    whole = total((1, whole), (-most, ONE))
    lost = ZERO
    for slot in slots:
        up, down = least(slot, box), least(total((-1, slot)), box)
        if up > 0 or down > 0:
            # It pulls one way all over the box.
            whole = total((1, whole), (-1 if up > 0 else 1, slot))
        else:
            lost += max(-up, -down)
    return least(whole, box) > lost


def box_of(stated: Mapping[str, Any]) -> Box:
    """A box as a verdict file states it."""
    lo, hi = (tuple(exact(v) for v in stated[end]) for end in ("lo", "hi"))
    if stated["largest"] not in (0, 1, 2, 3) or len(lo) != 3 or len(hi) != 3:
        raise ValueError("a box of rotations has a largest part and three lower and upper ends")
    return stated["largest"], lo, hi


def cover_everything(boxes: Sequence[Box]) -> bool:
    """Whether the boxes hold every rotation: all four from -1 to 1, cut again and again from side to side."""
    whole = (Fraction(-1),) * 3, (Fraction(1),) * 3
    return all(_cover(*whole, [(lo, hi) for face, lo, hi in boxes if face == largest]) for largest in range(4))


def _cover(lo: tuple[Fraction, ...], hi: tuple[Fraction, ...], boxes: list[Any]) -> bool:
    if any(all(b <= a for a, b in zip(lo, low, strict=True)) and all(b >= a for a, b in zip(hi, high, strict=True))
           for low, high in boxes):  # fmt: skip
        return True
    for axis in range(3):
        for cut in sorted({end[axis] for box in boxes for end in box}):
            if not lo[axis] < cut < hi[axis] or any(low[axis] < cut < high[axis] for low, high in boxes):
                continue
            below = [box for box in boxes if box[1][axis] <= cut]
            above = [box for box in boxes if box[0][axis] >= cut]
            middle_hi = (*hi[:axis], cut, *hi[axis + 1 :])
            middle_lo = (*lo[:axis], cut, *lo[axis + 1 :])
            return _cover(lo, middle_hi, below) and _cover(middle_lo, hi, above)
    return False


def excludes_every_rotation(held: Mapping[str, Held], pieces: Sequence[Mapping[str, Any]]) -> str | None:
    """Why the pieces do not prove that the pairs, named by fixing, cannot all hold; None: they do."""
    boxes = []
    for number, piece in enumerate(pieces, start=1):
        box = box_of(piece["box"]) if "box" in piece else None
        if not _piece_holds(held, piece, box):
            return f"piece {number} does not rule out its rotations"
        if box is None:
            return None
        boxes.append(box)
    return None if cover_everything(boxes) else "not every rotation is covered"


def _piece_holds(held: Mapping[str, Held], piece: Mapping[str, Any], box: Box | None) -> bool:
    if "apart" in piece:
        one, two = piece["apart"]
        return two_exclude(held[one], held[two], box)
    if box is None:
        return False
    rows = [piece.get(key) or [] for key in ("weights", "couples", "axes")]
    if any(len({name for name, *_ in part}) != len(part) for part in rows):
        return False
    force, couple = ({name: (exact(x), exact(y), exact(z)) for name, x, y, z in part} for part in rows[:2])
    lean = {name: exact(value) for name, value in rows[2]}
    return forces_exclude(held, force, couple, lean, box)
