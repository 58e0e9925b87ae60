"""Which pairings are left whatever the errors of the readings are, by one pair and by two pairs alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from partkin.fit.out_by import CLOSE_MM, MOST_SHARE, HeldPairs
from partkin.fit.turns import two_by_two

_MOST_WAYS = 2000
_MOST_LEFT = 8
Pairing = tuple[str, str]


def pairings_left(
    options: Sequence[Pairing], must: tuple[Sequence[str], Sequence[str]], every: HeldPairs, placed: Sequence[Pairing]
) -> tuple[list[tuple[Pairing, ...]], list[tuple[Pairing, ...]]] | None:
    """Ways to pair all that must be that no one or two pairs rule out even at `MOST_SHARE`, and those ones and twos.

    Parameters
    ----------
    options
        Pairs that may be made.
    must
        Ids of the fixings and of the features.
    every, placed
        All pairs of which everything is known.

    Returns
    -------
    tuple, or None
        None: there are too many ways, or the readings leave a shape open.
    """
    apart = _ruled_out(every, placed)
    if apart is None:
        return None
    left: list[tuple[Pairing, ...]] = []
    used: dict[frozenset[Pairing], None] = {}
    steps = 0

    number = {pair: at for at, pair in enumerate(placed)}

    def against(made: tuple[Pairing, ...], pair: Pairing) -> frozenset[Pairing] | None:
        at = number.get(pair)
        if at is None:
            return None
        bars = (other for other in (pair, *made) if other in number and apart[at, number[other]])
        return next((frozenset((pair, other)) for other in bars), None)

    def ways(made: tuple[Pairing, ...], side: int, name: str) -> list[Pairing]:
        taken = {pair[0] for pair in made}, {pair[1] for pair in made}
        return [pair for pair in options if pair[side] == name and pair[1 - side] not in taken[1 - side]]

    def go(made: tuple[Pairing, ...]) -> bool:
        nonlocal steps
        steps += 1
        open_ends = [(k, name) for k in (0, 1) for name in must[k] if all(pair[k] != name for pair in made)]
        if not open_ends:
            left.append(made)
        if steps > _MOST_WAYS or len(left) > _MOST_LEFT:
            return False
        if not open_ends:
            return True
        clear = {end: [pair for pair in ways(made, *end) if against(made, pair) is None] for end in open_ends}
        end = min(open_ends, key=lambda one: (len(clear[one]), one))
        for pair in ways(made, *end):
            if (bar := against(made, pair)) is not None:
                used[bar] = None
            elif not go((*made, pair)):
                return False
        return True

    return (left, [tuple(sorted(bar)) for bar in used]) if go(()) else None


def _ruled_out(every: HeldPairs, placed: Sequence[Pairing]) -> np.ndarray | None:
    """Which two pairs cannot be made together even at `MOST_SHARE`, (n, n); on the diagonal, which cannot be alone.

    None: a shape is left open.
    """
    near = every.near(MOST_SHARE)
    if near is None:
        return None
    rho = every.pairs.rho + MOST_SHARE * every.size_mm
    off = [side.radius_mm(MOST_SHARE, n)[column] for side, n, column in zip(every.sides, near, every.on.T, strict=True)]
    two = two_by_two(replace(every.pairs, rho=rho + every.play_half_mm + off[0] + off[1] + CLOSE_MM))
    apart, short = np.diag(rho < -CLOSE_MM), two.short_mm > 0.0
    apart[two.first[short], two.second[short]] = apart[two.second[short], two.first[short]] = True
    return apart
