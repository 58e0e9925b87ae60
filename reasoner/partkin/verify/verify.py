"""`partkin verify`: confirm a verdict file against the sheets, in exact arithmetic.

Imports nothing of the stages that make verdicts. The mathematics is in `proofs`, the reading of the sheets
in `as_written`; here stands what each of the five words claims.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from partkin.model.build import Build
from partkin.model.words import BOLTS_ON, DOES_NOT_FIT, NOT_JUDGED, VERDICTS, WITH_ADAPTATION
from partkin.verify.as_written import Sides, Unwritten, read_sides
from partkin.verify.as_written_numbers import same_number
from partkin.verify.as_written_seams import Seams, elsewhere_faults, has_seams, read_seams, unasked_airbag_faults
from partkin.verify.boxes import excludes_every_rotation
from partkin.verify.cut_outs import stands_in_cut_out
from partkin.verify.held import Held, gap_of, rational_rotation, stands
from partkin.verify.likely import at_likely, broken_readings
from partkin.verify.proofs import Named, excludes_every_turn, pairing_left_open
from partkin.verify.vectors import Vector, cos_sin, dot, exact, mirror
from partkin.verify.within_errors import faults_within_errors

# Places, turn and shift are rounded to six decimals: a turn moves what is a metre away by as much as a shift does.
LIKELY_MM = Fraction(1, 10**5)
# The file rounds lengths to six decimals, and a sum of two roundings may differ by as much.
ROUNDED_MM = Fraction(2, 10**6)
MARGIN_MM = Fraction(2, 1000)
RIGID = Fraction(1, 10**9)
TIGHT_MM = Fraction(1, 10)


@dataclass(frozen=True)
class Confirmation:
    """What came of it.

    `refused`: each reason for which the verdict is not confirmed. `as_stated`: what was taken as the verdict
    states it, or is not checked at all.
    """

    refused: tuple[str, ...]
    as_stated: tuple[str, ...] = ()


def verify(verdict: Mapping[str, Any], build: Build) -> tuple[str, ...]:
    """Confirm a verdict; return each reason for refusal, or nothing.

    Parameters
    ----------
    verdict
        The verdict file as read from JSON.
    build
        The sheets as they are now.

    Returns
    -------
    tuple of str
        Empty: what the verdict says of the likely positions is true. `confirm` also says what was taken on
        trust.
    """
    return confirm(verdict, build).refused


def confirm(verdict: Mapping[str, Any], build: Build) -> Confirmation:
    """Like `verify`, and say what was taken as stated."""
    try:
        return _confirm(verdict, build)
    except Unwritten as fault:
        return Confirmation((str(fault),))
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, ArithmeticError) as fault:
        return Confirmation((f"this is not laid out as a verdict is ({type(fault).__name__}: {fault})",))


def _confirm(verdict: Mapping[str, Any], build: Build) -> Confirmation:
    word = verdict["verdict"]
    if word not in VERDICTS:
        return Confirmation((f"{word!r} is no verdict",))
    if word == NOT_JUDGED:
        return Confirmation(_not_judged(verdict, build))
    if word == BOLTS_ON:
        vouched = same_number(verdict, build)
        if vouched is not None or not verdict["pairs"]:
            return _by_number(verdict, build, vouched)
    if word not in (BOLTS_ON, DOES_NOT_FIT, WITH_ADAPTATION):
        return Confirmation((f"{word!r} claims nothing that could be confirmed",))
    sides = read_sides(verdict, build)
    trusted = [*sides.as_stated, *(["the chance, which rests on draws"] if verdict["chance"] is not None else [])]
    refused, more = (_goes_on if word == BOLTS_ON else _goes_not_on)(verdict, sides, build)
    return Confirmation((*refused, *unasked_airbag_faults(verdict, build)), (*trusted, *more))


def _goes_on(verdict: Mapping[str, Any], sides: Sides, build: Build) -> tuple[list[str], list[str]]:
    """What is wrong with `bolts on` by what was measured, and what was taken as stated."""
    trusted = []
    if len(sides.faces.proved) > 1 and not sides.faces.either:
        trusted.append("that it fits with the other face up as well, or that this would be the other hand")
    if has_seams(verdict, build):
        trusted.append("where its seams lie")
    refused, more = _fits(verdict, sides, build)
    return refused, [*trusted, *more]


def _goes_not_on(verdict: Mapping[str, Any], sides: Sides, build: Build) -> tuple[list[str], list[str]]:
    """What is wrong with `does not fit`, or with adaptation, and what was taken as stated."""
    conflict, word = verdict["conflict"], verdict["verdict"]
    trusted = ["that no more fixings hold together than are shown to"] if verdict.get("odd") else []
    if conflict is None or (conflict["certificate"] is None and conflict["elsewhere"] is None):
        return ["no conflict with a certificate is given"], trusted
    refused, told = _seam_elsewhere(verdict, build, sides) if conflict["elsewhere"] is not None else ([], ())
    if conflict["certificate"] is None:
        only = "that it lies elsewhere however else the donor may be laid"
        return refused + _laid_faults(verdict, sides) + _odd_faults(verdict, sides), [*trusted, *told, only]
    seams = read_seams(verdict, build)
    trusted += (*told, *seams.as_stated)
    refused += _does_not_fit(verdict, sides, seams) + _odd_faults(verdict, sides)
    if (word == WITH_ADAPTATION) != bool(verdict["adaptations"]):
        refused.append(f"{word!r} and the adaptations listed do not go together")
    trusted.append("by how much the conflict is short, and that none of its fixings can be left out")
    faults, told = _within_errors(verdict, build, sides)
    if word == WITH_ADAPTATION:
        told = (*told, "that it fits after the adaptation")
    return refused + faults, [*trusted, *told]


def _not_judged(verdict: Mapping[str, Any], build: Build) -> tuple[str, ...]:
    """Restraint, by the strictest duty of those concerned; and nothing said of geometry."""
    host, donor = verdict["host"], verdict["donor"]
    concerned = (build.part(host), build.part(donor), *build.came_off(host))
    duties = {part.duty for part in concerned if part is not None}
    refused = [] if "restraint" in duties else ["no part concerned is a restraint part"]
    said = [key for key in ("chance", "margin_mm", "placement", "conflict") if verdict[key] is not None]
    said += [key for key in ("pairs", "adaptations") if verdict[key]]
    return (*refused, *(f"a part that is not judged has {key}" for key in said))


def _by_number(verdict: Mapping[str, Any], build: Build, vouched: str | None) -> Confirmation:
    """What bolts on by the maker's number, whatever was measured; the figures of pairs that are shown still hold."""
    if vouched is None:
        return Confirmation(("it has no placement and no part number that would do without one",))
    if not _made(verdict) or verdict["placement"] is None:
        return Confirmation((), (vouched,))
    sides = read_sides(verdict, build)
    # What the sheets alone would not let go on is shown with as much play as there may be.
    ways = [_shown(verdict, replace(sides, kindest=kindest)) for kindest in (False, True)]
    return Confirmation(tuple(ways[0]) if all(ways) else (), (vouched, *sides.as_stated))


def _laid_faults(verdict: Mapping[str, Any], sides: Sides) -> list[str]:
    """What is wrong with how it lies: at its kindest; or as what goes on, of a panel with its seam elsewhere."""
    refused = _stands(verdict, sides)[0]
    if not refused or verdict["conflict"]["elsewhere"] is None:
        return refused
    goes_on = replace(sides, kindest=False, pulled=exact(verdict["flex_used_mm"] or 0))
    return refused if _shown(verdict, goes_on) else []


def _shown(verdict: Mapping[str, Any], sides: Sides) -> list[str]:
    """What is wrong with what is shown; that a play has no bound, or is not written, is wrong too."""
    try:
        return _stands(verdict, sides)[0]
    except Unwritten as fault:
        return [str(fault)]


def _fits(verdict: Mapping[str, Any], sides: Sides, build: Build) -> tuple[list[str], tuple[str, ...]]:
    """Every must is paired, and every pair of a must stands within its play at one rigid placement.

    At places within the stated errors of every reading, where the verdict gives such; else as read.
    """
    refused, margins = _stands(verdict, sides)
    trusted: tuple[str, ...] = ()
    if verdict["margin_mm"] is None:
        refused.append("no margin is given")
    if verdict["conflict"] is not None or verdict["adaptations"]:
        refused.append("what bolts on has no conflict and needs no adaptation")
    made = [(pair["fixing"], pair["feature"]) for pair in _made(verdict)]
    if verdict["likely"] is not None:
        broken, trusted = broken_readings(verdict, build)
        refused += broken
        likely = at_likely(verdict, build, sides)
        needed = [pair for pair in _made(verdict) if _needed(sides, pair)] or _made(verdict)
        margins = _pairs_stand(verdict["likely"]["placement"], likely, needed)[1]
    refused += [f"{name} is {float(-m):.6f} mm out of reach" for name, m in margins if m < -LIKELY_MM]
    for side, spots in ((0, sides.fixings), (1, sides.features)):
        used = {pair[side] for pair in made}
        left = [name for name, spot in spots.items() if spot.must and name not in used]
        if side == 0 and left:
            laid = _placement(verdict["placement"], sides.dims)
            left = [name for name in left if not stands_in_cut_out(name, spots[name], verdict, build, laid)]
        refused += [f"{name} must be paired and is not" for name in left]
    return refused, trusted


def _needed(sides: Sides, pair: Mapping[str, Any]) -> bool:
    return sides.fixings[pair["fixing"]].must or sides.features[pair["feature"]].must


def _odd_faults(verdict: Mapping[str, Any], sides: Sides) -> list[str]:
    """What is wrong with the figures of a donor laid where the most fixings hold."""
    odd = verdict.get("odd")
    if not odd:
        return []
    shown = {**verdict, "placement": odd["placement"], "pairs": odd["pairs"], "margin_mm": None}
    refused, margins = _stands(shown, sides)
    holds = sum(margin >= -ROUNDED_MM for _, margin in margins)
    if holds != odd["holds"]:
        refused.append(f"{holds} fixings hold, not {odd['holds']}")
    return [f"laid where the most hold: {fault}" for fault in refused]


def _made(verdict: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The pairs that are made; those without an offset are listed only because they cannot be."""
    return [pair for pair in verdict["pairs"] if pair["offset_mm"] is not None]


def _stands(verdict: Mapping[str, Any], sides: Sides) -> tuple[list[str], list[tuple[str, Fraction]]]:
    """What is wrong with the placement and the figures of the pairs; and each pair's true margin."""
    refused = []
    for pair in verdict["pairs"]:
        if pair["offset_mm"] is None and (pair["fixing"], pair["feature"]) in sides.options:
            refused.append(f"{pair['feature']} on {pair['fixing']} is not {pair['state']!r}")
    made = _made(verdict)
    for key in ("fixing", "feature"):
        used = [pair[key] for pair in made]
        refused += [f"{name} is paired twice" for name in sorted({n for n in used if used.count(n) > 1})]
    faults, margins = _pairs_stand(verdict["placement"], sides, made)
    refused += faults
    least = min(margin for _, margin in margins)
    if verdict["margin_mm"] is not None and abs(least - exact(verdict["margin_mm"])) > MARGIN_MM:
        refused.append(f"the margin is {float(least):.6f} mm, not {verdict['margin_mm']}")
    return refused, margins


def _pairs_stand(
    placement: Mapping[str, Any], sides: Sides, made: Sequence[Mapping[str, Any]]
) -> tuple[list[str], list[tuple[str, Fraction]]]:
    """What is wrong with a placement and the figures of the pairs that are made; and each pair's true margin."""
    mirrored, rotation, shift = _placement(placement, sides.dims)
    refused = [] if mirrored in sides.faces.allowed else ["the wrong face of the donor is up"]
    margins = []
    for pair in made:
        name = f"{pair['feature']} on {pair['fixing']}"
        held = sides.held((pair["fixing"], pair["feature"]), mirrored)
        margin, true = _figures(pair, held, rotation, shift)
        for key, value in true.items():
            if abs(exact(pair[key]) - value) > ROUNDED_MM:
                refused.append(f"{key} of {name} is {float(value):.6f}, not {pair[key]}")
        refused += _state_faults(name, pair, held.allowed, margin)
        margins.append((name, margin))
    return refused, margins


def _figures(
    stated: Mapping[str, Any], held: Held, rotation: Sequence[Vector], shift: Vector
) -> tuple[Fraction, dict[str, Fraction]]:
    """The true margin, in whatever direction is left least, and the figures that the file should have."""
    ways = stands(held, rotation, shift)
    offset, allowed = ways[stated["direction"] if len(ways) > 1 else "across"]
    margin = min(may - off for off, may in ways.values())
    true = {"offset_mm": offset, "allowed_mm": allowed, "margin_mm": margin}
    if len(ways) > 1:
        true["along_mm"] = dot(gap_of(held, rotation, shift), held.host_axis)
    return margin, true


def _state_faults(name: str, stated: Mapping[str, Any], allowed: Fraction, margin: Fraction) -> list[str]:
    # Just at a limit either word will do.
    fair = {_state(allowed, margin + slack) for slack in (-ROUNDED_MM, ROUNDED_MM)}
    return [] if stated["state"] in fair else [f"{name} is not {stated['state']!r}"]


def _state(allowed: Fraction, margin: Fraction) -> str:
    if allowed < 0:
        return "blocked"
    if margin < 0:
        return "out of reach"
    return "tight" if margin < TIGHT_MM else "lines up"


def _placement(stated: Mapping[str, Any], dims: int) -> tuple[bool, Sequence[Vector], Vector]:
    """The exact rigid move that the matrix rounds: mirrored or not, rotation, shift.

    Raises
    ------
    Unwritten
        The matrix is not rigid, not flat where the sides are, or not the move that the other figures tell.
    """
    if dims == 3 and "z_mm" not in stated:
        raise Unwritten("the fixings do not lie in one plane, and the placement is flat")
    m, mirrored = [[exact(cell) for cell in row] for row in stated["matrix"]], stated["mirrored"]
    if len(m) != 4 or any(len(row) != 4 for row in m) or mirrored not in (True, False):
        raise Unwritten("the placement's matrix is not 4 x 4")
    rows = [mirror(tuple(row[:dims]), mirrored) for row in m[:dims]]
    rotation = rational_rotation(rows)
    off = max(abs(a - b) for one, other in zip(rows, rotation, strict=True) for a, b in zip(one, other, strict=True))
    upright = [Fraction(int(j == k)) for j in range(dims, 4) for k in range(4)]
    beside = [(row[2], Fraction(0)) for row in m[:2]] if dims == 2 else []
    beside += list(zip([cell for row in m[dims:] for cell in row], upright, strict=True))
    if max(off, *(abs(a - b) for a, b in beside)) > RIGID:
        raise Unwritten("the placement's matrix is not a rigid move" + (" in the plane" if dims == 2 else ""))
    shift = tuple(row[3] for row in m[:dims])
    c, s = cos_sin(exact(stated["turn_deg"]))
    trace = sum(rotation[k][k] for k in range(dims))
    told = [exact(stated[f"{axis}_mm"]) for axis in "xyz"[:dims]] + [c + c if dims == 2 else 1 + c + c]
    true = [*shift, trace]
    if dims == 2:
        told, true = [*told, s], [*true, rotation[1][0]]
    if max(abs(a - b) for a, b in zip(told, true, strict=True)) > ROUNDED_MM:
        raise Unwritten("the placement's matrix is another move than its turn and shift")
    return mirrored, rotation, shift


def _seam_elsewhere(verdict: Mapping[str, Any], build: Build, sides: Sides) -> tuple[list[str], tuple[str, ...]]:
    """Of a panel that is said to have its seam elsewhere as it is laid."""
    if verdict["verdict"] != DOES_NOT_FIT or verdict["adaptations"]:
        return ["no work puts a seam elsewhere"], ()
    return elsewhere_faults(verdict, build, *_placement(verdict["placement"], sides.dims))


def _does_not_fit(verdict: Mapping[str, Any], sides: Sides, seams: Seams) -> list[str]:
    """The conflict names musts; each closed branch is proved; together they leave no pairing open."""
    conflict = verdict["conflict"]
    fixings, features = conflict["fixings"], conflict.get("features") or []
    refused = [f"{name} need not be paired" for name in fixings if not _must(sides.fixings, name, sides)]
    refused += [f"{name} need not be paired" for name in features if not _must(sides.features, name, sides)]
    if not fixings and not features and not seams.points:
        refused.append("the conflict names nothing that must be paired")
    if _made(verdict):
        placed = verdict["placement"] is not None
        refused += _laid_faults(verdict, sides) if placed else ["pairs stand nowhere without a placement"]
    refused += [] if seams.points else _shortfall_faults(verdict)
    proved: dict[bool, list[frozenset[Named]]] = {False: [], True: []}
    for nogood in conflict["certificate"]["pairings"]:
        mirrored = bool(nogood.get("mirrored", False))
        pairs = frozenset((fixing, feature) for fixing, feature in nogood["pairs"])
        fault = _branch_fault(nogood, pairs, sides, seams, mirrored)
        if fault:
            refused.append("the branch " + ", ".join(f"{d} on {f}" for f, d in sorted(pairs)) + f": {fault}")
        proved[mirrored].append(pairs)
    options, held = sides.options | set(seams.points), ([*fixings, *seams.originals], [*features, *seams.donors])
    single = _nothing_must(sides) and not seams.points
    left_open = {
        face: _pair_left_open(sides, proved[face]) if single else pairing_left_open(options, *held, proved[face])
        for face in sorted(sides.faces.allowed)
    }
    if sides.faces.either and None in left_open.values():
        return refused
    for face in sorted(sides.faces.proved):
        left = left_open[face]
        if left is not None:
            open_pairs = ", ".join(f"{d} on {f}" for f, d in left)
            refused.append(f"nothing rules out {open_pairs}" + (" with the other face up" if face else ""))
    return refused


def _within_errors(verdict: Mapping[str, Any], build: Build, sides: Sides) -> tuple[list[str], tuple[str, ...]]:
    """That errors within what was stated change nothing: each branch, and that they leave no pairing open."""
    refused, trusted = faults_within_errors(verdict, build, sides)
    errors = verdict["conflict"]["errors"]
    if errors is None or errors["certificate"] is None:
        return refused, trusted
    proof = errors["certificate"]
    for spots, names in ((sides.fixings, proof["fixings"]), (sides.features, proof["features"])):
        refused += [f"{name} need not be paired" for name in names if not _must(spots, name, sides)]
    ruled_out: dict[bool, list[frozenset[Named]]] = {False: [], True: []}
    for row in proof["pairings"]:
        ruled_out[bool(row.get("mirrored", False))].append(frozenset((f, d) for f, d in row["pairs"]))
    closed = {
        face: pairing_left_open(sides.options, proof["fixings"], proof["features"], ruled_out[face]) is None
        for face in sides.faces.allowed
    }
    if not all(closed[face] for face in sides.faces.proved) and not (sides.faces.either and any(closed.values())):
        refused.append("within the stated errors not every pairing is ruled out")
    return refused, trusted


def _shortfall_faults(verdict: Mapping[str, Any]) -> list[str]:
    """A part of the fixings is never short by more than all of them."""
    shortfall, margin = verdict["conflict"]["shortfall_mm"], verdict["margin_mm"]
    if (shortfall is None) != (margin is None):
        return ["shortfall and margin do not go together"]
    if shortfall is None or margin is None:
        return []
    if exact(shortfall) <= 0 or exact(shortfall) > MARGIN_MM - exact(margin):
        return [f"a shortfall of {shortfall} mm does not go with a margin of {margin} mm"]
    return []


def _must(spots: Mapping[str, Any], name: str, sides: Sides) -> bool:
    """A must; or, where nothing must be paired, any: at least one pair has to be made."""
    return spots[name].must or _nothing_must(sides)


def _nothing_must(sides: Sides) -> bool:
    return not any(spot.must for side in (sides.fixings, sides.features) for spot in side.values())


def _pair_left_open(sides: Sides, nogoods: Sequence[frozenset[Named]]) -> tuple[Named, ...] | None:
    """A pair that is wanted and that nothing rules out by itself; None: there is none."""
    spots = (sides.fixings, sides.features)
    all_spare = all(spot.spare for side in spots for spot in side.values())
    for pair in sorted(sides.options):
        wanted = all_spare or not all(side[name].spare for side, name in zip(spots, pair, strict=True))
        if wanted and frozenset((pair,)) not in nogoods:
            return (pair,)
    return None


def _branch_fault(
    nogood: Mapping[str, Any], pairs: frozenset[Named], sides: Sides, seams: Seams, mirrored: bool
) -> str | None:
    """Why the pieces do not prove that these pairs cannot hold together; None: they do."""
    if len({f for f, _ in pairs}) != len(pairs) or len({d for _, d in pairs}) != len(pairs):
        return "it pairs something twice"
    if nogood.get("local"):
        return "it was not proved over all turns"
    try:
        held = {
            pair[0]: (seams if pair in seams.points else sides).held(pair, mirrored) for pair in pairs
        }  # fmt: skip
    except Unwritten as fault:
        return str(fault)
    return (excludes_every_turn if sides.dims == 2 else excludes_every_rotation)(held, nogood["pieces"])
