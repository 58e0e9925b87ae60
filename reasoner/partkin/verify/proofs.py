"""Proofs over all turns of the plane confirmed in exact arithmetic, and pairings counted: the claims of a conflict.

Nothing here knows how a proof was found. Proofs in space are in `boxes`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any

from partkin.verify.held import Held
from partkin.verify.vectors import EPS, Vector, cos_sin, cross, dot, minus, root

Named = tuple[str, str]

# Steps after which the count of what a proof leaves open is given up.
MOST_STEPS = 1_000_000


def most(a: Fraction, b: Fraction, lo: Fraction, hi: Fraction) -> Fraction:
    """Upper bound of a cos t + b sin t for t from lo to hi degrees.

    A wave is largest at one end, unless it rises at lo and falls at hi: then at its crest, if that is near.
    """
    if hi - lo >= 360:
        return root(a * a + b * b, up=True)
    if hi - lo > 90:
        middle = (lo + hi) / 2
        return max(most(a, b, lo, middle), most(a, b, middle, hi))
    unsure = EPS * (abs(a) + abs(b))
    (c_lo, s_lo), (c_hi, s_hi) = cos_sin(lo), cos_sin(hi)
    if b * c_lo - a * s_lo > -unsure and b * c_hi - a * s_hi < unsure:
        return root(a * a + b * b, up=True)
    return max(a * c_lo + b * s_lo, a * c_hi + b * s_hi) + unsure


def two_exclude(one: Held, two: Held, lo: Fraction, hi: Fraction) -> bool:
    """Two pairs alone rule out all turns from lo to hi: their points stay too far apart or too close.

    Turned by t, the donor's difference has to come within the reach of both of the host's difference.
    """
    if one is two:
        return one.allowed < 0
    reach = sum(pair.allowed + pair.host_half + pair.donor_half for pair in (one, two))
    if reach < 0:
        return True
    donor, host = minus(one.donor, two.donor), minus(one.host, two.host)
    nearest = dot(donor, donor) + dot(host, host) - 2 * most(dot(donor, host), cross(donor, host), lo, hi)
    return nearest > reach * reach


def weights_exclude(held: Sequence[Held], force: Sequence[Vector], lo: Fraction, hi: Fraction) -> bool:
    """Balanced forces on the pairs rule out all turns from lo to hi.

    If every pair held, then for each of them f.(R p + t - q) would be at most
    |f| allowed + |f.u_host| half + |f.R u_donor| half. Summed over all pairs the shift t drops out, since
    the forces balance; so where the sum of f.(R p - q) is above the sum of those, they cannot all hold.
    """
    return weights_leave(held, force, lo, hi) > 0


def weights_leave(held: Sequence[Held], force: Sequence[Vector], lo: Fraction, hi: Fraction) -> Fraction:
    """The least by which the sum that `weights_exclude` speaks of lies above; below 0: the forces do not balance."""
    if sum(f[0] for f in force) != 0 or sum(f[1] for f in force) != 0:
        return Fraction(-1)
    a = sum((dot(f, pair.donor) for f, pair in zip(force, held, strict=True)), Fraction(0))
    b = sum((cross(pair.donor, f) for f, pair in zip(force, held, strict=True)), Fraction(0))
    left = -most(-a, -b, lo, hi)
    for f, pair in zip(force, held, strict=True):
        size = root(dot(f, f), up=True)
        left -= dot(f, pair.host) + pair.allowed * root(dot(f, f), up=pair.allowed > 0)
        left -= pair.host_half * (abs(dot(f, pair.host_along)) + 2 * EPS * size)
        if pair.donor_half:
            u = pair.donor_along
            along = max(most(s * dot(f, u), s * cross(u, f), lo, hi) for s in (1, -1))
            left -= pair.donor_half * (along + 2 * EPS * size)
    return left


def excludes_every_turn(held: Mapping[str, Held], pieces: Sequence[Mapping[str, Any]]) -> str | None:
    """Why the pieces do not prove that the pairs, named by fixing, cannot all hold; None: they do."""

    def rules_out(piece: Mapping[str, Any], lo: Fraction, hi: Fraction) -> bool:
        if "apart" in piece:
            one, two = piece["apart"]
            return two_exclude(held[one], held[two], lo, hi)
        names = [name for name, *_ in piece["weights"]]
        if len(set(names)) != len(names) or not names:
            return False
        force = [(Fraction(str(x)), Fraction(str(y))) for _, x, y in piece["weights"]]
        return weights_exclude([held[name] for name in names], force, lo, hi)

    return covers_every_turn(pieces, rules_out)


def covers_every_turn(
    pieces: Sequence[Mapping[str, Any]], rules_out: Callable[[Mapping[str, Any], Fraction, Fraction], bool]
) -> str | None:
    """Why the pieces, of which each has to rule out its own turns, do not rule out all; None: they do."""
    at = Fraction(-180)
    for piece in pieces:
        lo, hi = (Fraction(str(end)) for end in piece["turn_deg"])
        if lo != at or hi <= lo:
            return f"turns from {float(at):g} degrees are not covered"
        at = hi
        if not rules_out(piece, lo, hi):
            return f"turns from {float(lo):g} to {float(hi):g} degrees are not ruled out"
    return None if at == 180 else f"turns from {float(at):g} degrees are not covered"


def pairing_left_open(
    options: Iterable[Named], fixings: Sequence[str], features: Sequence[str],
    nogoods: Iterable[frozenset[Named]],
) -> tuple[Named, ...] | None:  # fmt: skip
    """A way to pair all the named spots that holds no nogood whole, found by trying every one; None: none.

    Raises
    ------
    RuntimeError
        There are too many ways to try.
    """
    ordered = sorted(set(options))
    holding: dict[Named, list[frozenset[Named]]] = {}
    for nogood in nogoods:
        for pair in nogood:
            holding.setdefault(pair, []).append(nogood)
    steps = 0

    def too_few_for(side: int, spots: Sequence[tuple[int, str]], made: frozenset[Named]) -> bool:
        wanting = {name for own, name in spots if own == side} - {pair[side] for pair in made}
        partners = {pair[1 - side] for pair in ordered if pair[side] in wanting} - {pair[1 - side] for pair in made}
        return len(partners) < len(wanting)

    def go(spots: Sequence[tuple[int, str]], made: frozenset[Named]) -> frozenset[Named] | None:
        nonlocal steps
        while spots and any(pair[spots[0][0]] == spots[0][1] for pair in made):
            spots = spots[1:]
        if not spots:
            return made
        if any(too_few_for(side, spots, made) for side in (0, 1)):
            return None
        for pair in [option for option in ordered if option[spots[0][0]] == spots[0][1]]:
            steps += 1
            if steps > MOST_STEPS:
                raise RuntimeError(f"more than {MOST_STEPS} ways to try")
            if any(pair[0] == other[0] or pair[1] == other[1] for other in made):
                continue
            grown = made | {pair}
            if any(nogood <= grown for nogood in holding.get(pair, ())):
                continue
            found = go(spots[1:], grown)
            if found is not None:
                return found
        return None

    found = go([(0, name) for name in fixings] + [(1, name) for name in features], frozenset())
    return None if found is None else tuple(sorted(found))
