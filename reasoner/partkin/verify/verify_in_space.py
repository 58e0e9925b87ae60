"""What a verdict says of a donor in space, held against the sheets: the placement, the figures, the proofs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from partkin.verify.as_written import Unwritten, exact
from partkin.verify.as_written_in_space import SpaceSides
from partkin.verify.proofs import Named, cos_sin
from partkin.verify.proofs_in_space import (
    LEAN_COS,
    LEAN_MM,
    HeldInSpace,
    Solid,
    dot,
    excludes_every_rotation,
    rational_rotation,
    stands,
    turned,
)

RIGID = Fraction(1, 10**9)
# The file rounds lengths to six decimals, and a sum of two roundings may differ by as much.
ROUNDED = Fraction(2, 10**6)
Stated = Mapping


def placement_of(stated: Stated) -> tuple[bool, Sequence[Solid], Solid]:
    """The exact rigid move that the matrix rounds: mirrored or not, rotation, shift.

    Raises
    ------
    Unwritten
        The matrix is not rigid, or not the move that the other figures tell.
    """
    if "z_mm" not in stated:
        raise Unwritten("the fixings do not lie in one plane, and the placement is flat")
    m = [[exact(cell) for cell in row] for row in stated["matrix"]]
    mirrored = stated["mirrored"]
    if len(m) != 4 or any(len(row) != 4 for row in m) or mirrored not in (True, False):
        raise Unwritten("the placement's matrix is not 4 x 4")
    flip = -1 if mirrored else 1
    rows: list[Solid] = [(flip * row[0], row[1], row[2]) for row in m[:3]]
    rotation = rational_rotation(rows)
    off = max(abs(a - b) for one, other in zip(rows, rotation, strict=True) for a, b in zip(one, other, strict=True))
    if off > RIGID or m[3] != [0, 0, 0, 1]:
        raise Unwritten("the placement's matrix is not a rigid move")
    shift = (m[0][3], m[1][3], m[2][3])
    told = [exact(stated[key]) for key in ("x_mm", "y_mm", "z_mm")]
    if max(abs(a - b) for a, b in zip(told, shift, strict=True)) > ROUNDED or _another_angle(stated, rotation):
        raise Unwritten("the placement's matrix is another move than its turn and shift")
    return mirrored, rotation, shift


def _another_angle(stated: Stated, rotation: Sequence[Solid]) -> bool:
    """Trace of a rotation is 1 + 2 cos of its angle."""
    trace = rotation[0][0] + rotation[1][1] + rotation[2][2]
    return abs(1 + 2 * cos_sin(exact(stated["turn_deg"]))[0] - trace) > ROUNDED


def pairs_stand(
    sides: SpaceSides, stated: Stated, made: Sequence[Stated]
) -> tuple[list[str], list[tuple[str, Fraction, Fraction]]]:
    """What is wrong with the placement and the figures; and each pair's name, play and true margin."""
    mirrored, rotation, shift = placement_of(stated)
    refused = [] if mirrored in sides.faces.allowed else ["the wrong face of the donor is up"]
    margins = []
    for pair in made:
        name = f"{pair['feature']} on {pair['fixing']}"
        held = sides.solid((pair["fixing"], pair["feature"]), mirrored)
        margin, faults = _figures(pair, held, rotation, shift)
        refused += [f"{fault[0]} of {name} is {float(fault[1]):.6f}, not {pair[fault[0]]}" for fault in faults]
        margins.append((name, held.allowed, margin))
    return refused, margins


def _figures(
    pair: Stated, held: HeldInSpace, rotation: Sequence[Solid], shift: Solid
) -> tuple[Fraction, list[tuple[str, Fraction]]]:
    """The true margin, and each figure that is another than stated."""
    across, along, lean = stands(held, rotation, shift)
    leans = lean + LEAN_MM * (1 - LEAN_COS), LEAN_MM * (1 - LEAN_COS)
    offset, allowed = {"across": (across, held.allowed), "along": (along, held.grip), "lean": leans}[pair["direction"]]
    margin = min(held.allowed - across, held.grip - along, -lean)
    at = tuple(a + b - c for a, b, c in zip(turned(rotation, held.donor), shift, held.host, strict=True))
    true = {
        "offset_mm": offset, "allowed_mm": allowed, "margin_mm": margin,
        "along_mm": dot((at[0], at[1], at[2]), held.host_axis),
    }  # fmt: skip
    faults = [(key, value) for key, value in true.items() if abs(exact(pair[key]) - value) > ROUNDED]
    return margin, faults


def branch_fault(sides: SpaceSides, pairs: frozenset[Named], mirrored: bool, pieces: Sequence[Stated]) -> str | None:
    """Why the pieces do not prove that these pairs cannot hold together; None: they do."""
    try:
        held = {fixing: sides.solid((fixing, feature), mirrored) for fixing, feature in pairs}
    except Unwritten as fault:
        return str(fault)
    return excludes_every_rotation(held, pieces)
