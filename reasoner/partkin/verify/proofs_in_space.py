"""Placements and proofs in space confirmed in exact arithmetic: the mathematics of `partkin verify`, and nothing else.

Every length is a Fraction of a millimetre. Unit vectors are Fractions that are wrong by less than `EPS`;
wherever one is used, the bound is moved to the safe side by more than that can matter. A box of rotations holds
those of the quaternions whose part `largest` is 1 and whose others lie from lo to hi; all that is claimed of a
box is that q.H q is above zero all over it, for a 4 x 4 matrix H, which takes no sine and no root. Nothing here
knows how a placement or a proof was found.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product

from partkin.verify.proofs import EPS, root, short

Solid = tuple[Fraction, Fraction, Fraction]
Matrix = list[list[Fraction]]
Box = tuple[int, tuple[Fraction, ...], tuple[Fraction, ...]]

LEAN_COS = Fraction("0.866")
LEAN_MM = 1000
ZERO = Fraction(0)
NOWHERE: Solid = (ZERO, ZERO, ZERO)
UP: Solid = (ZERO, ZERO, Fraction(1))


@dataclass(frozen=True)
class HeldInSpace:
    """A pair: donor point and axis (mirrored already), host point and axis, and what is allowed.

    Axes and slot directions are of length 1 to within `EPS`. `depth` 0: not known.
    """

    donor: Solid
    host: Solid
    allowed: Fraction
    grip: Fraction
    host_axis: Solid = UP
    donor_axis: Solid = UP
    depth: Fraction = ZERO
    host_half: Fraction = ZERO
    host_along: Solid = NOWHERE
    donor_half: Fraction = ZERO
    donor_along: Solid = NOWHERE


def dot(u: Solid, v: Solid) -> Fraction:
    """Scalar product."""
    return u[0] * v[0] + u[1] * v[1] + u[2] * v[2]


def cross(u: Solid, v: Solid) -> Solid:
    """Vector product."""
    return u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]


def plus(u: Solid, v: Solid, times: Fraction | int = 1) -> Solid:
    """u + times v."""
    return u[0] + times * v[0], u[1] + times * v[1], u[2] + times * v[2]


def unit(v: Solid) -> Solid:
    """The vector at length 1, each part wrong by less than EPS."""
    size = root(dot(v, v), up=True)
    return short(v[0] / size), short(v[1] / size), short(v[2] / size)


def length(v: Solid, *, up: bool) -> Fraction:
    """Bound a vector's length from above or below."""
    return root(dot(v, v), up=up)


def flat(v: Solid, axis: Solid) -> Solid:
    """What of a vector lies across an axis."""
    return plus(v, axis, -dot(v, axis))


def laid_over(axis: Solid, c: Fraction, s: Fraction) -> Solid:
    """The direction (c, s, 0) when z is laid over to the axis, whichever way along it is nearer."""
    x, y, z = axis if axis[2] >= 0 else (-axis[0], -axis[1], -axis[2])
    one = (1 - x * x / (1 + z), -x * y / (1 + z), -x)
    two = (-x * y / (1 + z), 1 - y * y / (1 + z), -y)
    v = plus((c * one[0], c * one[1], c * one[2]), two, s)
    return short(v[0]), short(v[1]), short(v[2])


def form(p: Solid, f: Solid) -> Matrix:
    """Symmetric H with q.H q = |q|^2 f.(R p), R the rotation of the quaternion q = (w, x, y, z)."""
    side, along = cross(p, f), dot(p, f)
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


def two_exclude(one: HeldInSpace, two: HeldInSpace, box: Box | None) -> bool:
    """Two pairs alone rule out a box of rotations, or (None) all: their points stay too far apart or too close."""
    if one is two:
        return min(one.allowed, one.grip) < 0
    across = [pair.allowed + pair.host_half + pair.donor_half for pair in (one, two)]
    if min(*across, one.grip, two.grip) < 0:
        return sum(across) < 0
    donor, host = plus(one.donor, two.donor, -1), plus(one.host, two.host, -1)
    around = sum((root(r * r + p.grip**2, up=True) for r, p in zip(across, (one, two), strict=True)), ZERO)
    if box is not None:
        square = dot(donor, donor) + dot(host, host) - around * around
        return least(total((square, ONE), (-2, form(donor, host))), box) > 0
    signs = product((1, -1), repeat=2)
    ends = [plus(plus(host, one.host_axis, i * one.grip), two.host_axis, k * two.grip) for i, k in signs]
    slack = EPS * (1 + one.grip + two.grip)
    farthest = min(max(length(end, up=True) for end in ends) + sum(across), length(host, up=True) + around)
    corners = [tuple(pair.grip * v for v in pair.host_axis) for pair in (one, two)]
    nearest = root(short(nearest_square(host, corners)), up=False) - sum(across)  # type: ignore[arg-type]
    nearest = max(nearest, length(host, up=False) - around)
    return length(donor, up=False) > farthest + slack or length(donor, up=True) < nearest - slack


def forces_exclude(
    held: Mapping[str, HeldInSpace], force: Mapping[str, Solid], couple: Mapping[str, Solid],
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
        axis = pair.donor_axis
        deep = (axis[0] * pair.depth, axis[1] * pair.depth, axis[2] * pair.depth)
        whole = total((1, whole), (1, form(pair.donor, f)), (1, form(deep, g)), (-weight, form(axis, a)))
        whole = total((1, whole), (weight * LEAN_COS, ONE))
        most += dot(f, pair.host) + abs(dot(f, a)) * pair.grip
        across = flat(f, a)
        ends = [across]
        if pair.depth:
            half = (across[0] / 2, across[1] / 2, across[2] / 2)
            ends = [plus(half, g), plus(half, g, -1)]
        for end in ends:
            most += length(end, up=pair.allowed > 0) * pair.allowed + pair.host_half * abs(dot(end, pair.host_along))
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


def box_of(stated: Mapping) -> Box:
    """A box as a verdict file states it."""
    lo, hi = (tuple(Fraction(str(v)) for v in stated[end]) for end in ("lo", "hi"))
    if stated["largest"] not in (0, 1, 2, 3) or len(lo) != 3 or len(hi) != 3:
        raise ValueError("a box of rotations has a largest part and three lower and upper ends")
    return stated["largest"], lo, hi


def cover_everything(boxes: Sequence[Box]) -> bool:
    """Whether the boxes hold every rotation: all four from -1 to 1, cut again and again from side to side."""
    whole = (Fraction(-1),) * 3, (Fraction(1),) * 3
    return all(_cover(*whole, [(lo, hi) for face, lo, hi in boxes if face == largest]) for largest in range(4))


def _cover(lo: tuple[Fraction, ...], hi: tuple[Fraction, ...], boxes: list) -> bool:
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


def excludes_every_rotation(held: Mapping[str, HeldInSpace], pieces: Sequence[Mapping]) -> str | None:
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


def _piece_holds(held: Mapping[str, HeldInSpace], piece: Mapping, box: Box | None) -> bool:
    if "apart" in piece:
        one, two = piece["apart"]
        return two_exclude(held[one], held[two], box)
    if box is None:
        return False
    rows = [piece.get(key) or [] for key in ("weights", "couples", "axes")]
    if any(len({name for name, *_ in part}) != len(part) for part in rows):
        return False
    force, couple = ({name: _three(values) for name, *values in part} for part in rows[:2])
    lean = {name: Fraction(str(value)) for name, value in rows[2]}
    return forces_exclude(held, force, couple, lean, box)


def _three(values: Sequence) -> Solid:
    x, y, z = (Fraction(str(value)) for value in values)
    return x, y, z


def rational_rotation(rows: Sequence[Sequence[Fraction]]) -> Sequence[Solid]:
    """The exact rotation next to a matrix that rounding has left a little off: through its quaternion."""
    m = rows
    trace = m[0][0] + m[1][1] + m[2][2]
    parts = [trace, *(2 * m[k][k] - trace for k in range(3))]
    largest = parts.index(max(parts))
    if largest == 0:
        q = [1 + trace, m[2][1] - m[1][2], m[0][2] - m[2][0], m[1][0] - m[0][1]]
    else:
        i = largest - 1
        j, k = (i + 1) % 3, (i + 2) % 3
        q = [m[k][j] - m[j][k], ZERO, ZERO, ZERO]
        q[1 + i] = 1 + 2 * m[i][i] - trace
        q[1 + j], q[1 + k] = m[j][i] + m[i][j], m[k][i] + m[i][k]
    size = sum((v * v for v in q), ZERO)
    w, v = q[0], (q[1], q[2], q[3])
    base = w * w - dot(v, v)
    turned = []
    for j in range(3):
        axis = (Fraction(int(j == 0)), Fraction(int(j == 1)), Fraction(int(j == 2)))
        side = cross(axis, v)
        row = [(base * axis[k] + 2 * v[j] * v[k] + 2 * w * side[k]) / size for k in range(3)]
        turned.append((row[0], row[1], row[2]))
    return turned


def turned(rotation: Sequence[Solid], v: Solid) -> Solid:
    """R v."""
    return dot(rotation[0], v), dot(rotation[1], v), dot(rotation[2], v)


def stands(pair: HeldInSpace, rotation: Sequence[Solid], shift: Solid) -> tuple[Fraction, Fraction, Fraction]:
    """Upper bounds of the offset across the axis and along it, and of the excess of a leaning axis, in mm."""
    axis = turned(rotation, pair.donor_axis)
    at = plus(plus(turned(rotation, pair.donor), shift), pair.host, -1)
    along = dot(at, pair.host_axis)
    ends = [at]
    if pair.depth:
        ends = [plus(at, axis, pair.depth / 2), plus(at, axis, -pair.depth / 2)]
    slots = [
        flat(tuple(pair.host_half * v for v in pair.host_along), pair.host_axis),  # type: ignore[arg-type]
        flat(turned(rotation, tuple(pair.donor_half * v for v in pair.donor_along)), pair.host_axis),  # type: ignore[arg-type]
    ]
    across = max(root(short(nearest_square(flat(end, pair.host_axis), slots)) + EPS, up=True) for end in ends)
    lean = LEAN_MM * (LEAN_COS - dot(axis, pair.host_axis))
    return across, abs(along), lean


def nearest_square(gap: Solid, slots: Sequence[Solid]) -> Fraction:
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
