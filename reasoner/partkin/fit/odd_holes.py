"""Where a donor does not go on: the placement at which the most fixings hold, and how far the odd ones stand off there.

The most that hold are found over all pairings. Among the sets of that size the one shown leaves the odd pairs the
least excess that any placement gives which holds the set: the largest of them first, then the next, each to within
`CLOSE_MM`. The donor is then laid where those that hold have the largest margin, so that an odd hole shows how far it
stands off the pattern of the others.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from partkin.fit.arrays import FITS_MM, WILD_MM, Pairs
from partkin.fit.layout import Aim, Pair
from partkin.fit.minimax import Placed, best_wherever
from partkin.fit.search import FoundPairing, LimitReached, PairingSearch
from partkin.fit.solve import gives, pulled
from partkin.fit.work import WorkedTask, placement_of
from partkin.model.fitting import FitTask, OddHole, OddHoles

CLOSE_MM = 5.0e-4
# Nodes that the search for the most fixings may open. Patterns that have little in common need far more.
NODE_LIMIT = 600
# Sets of the same size that are compared.
MOST_SETS = 64
# Ways of pairing what is left over that are placed, for one set.
MOST_REST = 24
# So many odd pairs are compared one after the other with the best so far before they are placed.
MOST_ORDERED = 3


@dataclass(eq=False)
class _EveryLargest(PairingSearch):
    """A search that keeps every pairing that covers the most, whatever its margin."""

    def _record(self, found: FoundPairing) -> None:
        self.at_least = max(self.at_least, found.value)
        self.found[found.pairs] = found
        self.overflow = len(self.found) >= MOST_SETS


@dataclass(frozen=True)
class _Laid:
    """A set that holds, the pairs left over, the least excess of those, and the placement that is best for the set."""

    held: tuple[Pair, ...]
    odd: tuple[Pair, ...]
    excess_mm: tuple[float, ...]
    placed: Placed

    @property
    def rank(self) -> tuple[float, ...]:
        """The largest excess first."""
        return tuple(sorted((round(one / CLOSE_MM) for one in self.excess_mm), reverse=True))


def odd_holes(task: FitTask, shown: Sequence[tuple[str, str]] = ()) -> OddHoles | None:
    """Lay a donor that does not fit so that the most of what must be paired holds.

    Parameters
    ----------
    task
        At nominal positions; in the plane pulled by hand as far as the donor gives.
    shown
        (fixing, feature) pairs to prefer where several ways are equally good.

    Returns
    -------
    OddHoles or None
        In space the best that several starts lead to. None: fewer than half of what must be paired hold together, so
        that nothing is odd; nothing that holds is measured; the search came to its limit; or a donor in space gives.
    """
    if task.dims == 3 and gives(task):
        return None
    work = _worked(pulled(task, task.flex_mm) if gives(task) else task)
    wanted = work.must if any(side.any() for side in work.must) else work.should
    half = math.ceil(sum(int(side.sum()) for side in wanted) / 2)
    none = np.zeros_like(wanted[0]), np.zeros_like(wanted[1])
    search = _EveryLargest(work.layout, work.known, Aim(none, wanted), work.budget, FITS_MM, max(half, 1))
    try:
        search.run()
    except LimitReached:
        return None
    sets = [
        found.pairs for found in search.found.values()
        if found.value >= search.at_least and any(work.layout.allowed_mm[pair] < WILD_MM for pair in found.pairs)
    ]  # fmt: skip
    best = _best(work, sets, wanted, frozenset(shown))
    return _answer(work, best) if best is not None else None


def _worked(task: FitTask) -> WorkedTask:
    if task.dims == 2:
        return WorkedTask.of(task, NODE_LIMIT)
    from partkin.fit.space import work_in_space

    return work_in_space(task, NODE_LIMIT)


def _excess_mm(known: Pairs, placed: Placed) -> np.ndarray:
    return np.asarray(known.out_by(known.contact(placed.turn[None], placed.shift_mm[None]))[0])


def _off_mm(known: Pairs, placed: Placed) -> np.ndarray:
    """From each fixing to its feature, (n, d), in the host's frame; along an axis only what its grip does not take."""
    contact = known.contact(placed.turn[None], placed.shift_mm[None])
    if known.dims == 2:
        return np.asarray(contact.gap_mm[0])
    off_mm, ends = np.zeros((len(known), 3)), np.bincount(known.end_of)
    np.add.at(off_mm, known.end_of, np.einsum("ki,kid->kd", contact.gap_mm[0], known.basis[known.end_of]))
    along = contact.along_mm[0]
    return np.asarray(off_mm / ends[:, None] + np.where(np.abs(along) > known.grip, along, 0.0)[:, None] * known.a)


def _answer(work: WorkedTask, best: _Laid) -> OddHoles:
    pairs = (*best.held, *best.odd)
    placed = best.placed
    known = work.layout.known(pairs)
    off_mm = _off_mm(known, placed)[len(best.held) :]
    odd = tuple(
        OddHole(*work.layout.ids(pair), tuple(float(part) for part in off), excess_mm)
        for pair, off, excess_mm in zip(best.odd, off_mm, best.excess_mm, strict=True)
    )
    order = {spot.id: place for place, spot in enumerate(work.task.fixings)}
    ordered = tuple(sorted(odd, key=lambda one: order[one.fixing]))
    return OddHoles(placement_of(placed, work.task.mirrored), work.pair_fits(pairs, placed), ordered)


def _best(
    work: WorkedTask, sets: list[tuple[Pair, ...]], wanted: tuple[np.ndarray, np.ndarray],
    preferred: frozenset[tuple[str, str]],
) -> _Laid | None:  # fmt: skip
    """The set, with a pairing of what it leaves over, that needs the least; of those that need as little by names.

    Of holes in a ring each set is another's turn: they all need the same, and few are laid down to find that out.
    """

    def names(way: tuple[float, tuple[Pair, ...], tuple[Pair, ...]]) -> tuple[object, ...]:
        held, odd = (sorted(map(work.layout.ids, pairs)) for pairs in way[1:])
        return -len(preferred.intersection(held + odd)), sorted(held + odd), held

    ways = sorted((bound, held, odd) for held in sets for bound, odd in sorted(_rests(work, held, wanted))[:MOST_REST])
    if not ways:
        return None
    least = _placed(work, *ways[0][1:])
    for bound_mm, held, odd in ways[1:]:
        if _may_do(work, bound_mm, held, odd, _clearly_less(least), least):
            least = min(least, _placed(work, held, odd), key=lambda one: one.rank)
    as_much = [one + 2.0 * CLOSE_MM for one in least.excess_mm]
    for bound_mm, held, odd in sorted(ways, key=names):
        if (held, odd) == (least.held, least.odd):
            break
        if len(odd) == len(least.odd) and (not odd or _may_do(work, bound_mm, held, odd, [as_much], least)):
            laid = _placed(work, held, odd)
            if np.allclose(laid.rank, least.rank, rtol=0.0, atol=3.0):
                return laid
    return least


def _clearly_less(least: _Laid) -> list[list[float]]:
    """What odd pairs may need to need less: a smaller largest excess, or the same and a smaller next one, and so on."""
    need_mm = sorted(least.excess_mm, reverse=True)
    less = [one - 2.0 * CLOSE_MM for one in need_mm]
    return [
        [one + FITS_MM for one in need_mm[:n]] + [less[n]] * (len(less) - n)
        for n in range(len(less)) if less[n] >= 0.0
    ]  # fmt: skip


def _may_do(
    work: WorkedTask, bound_mm: float, held: tuple[Pair, ...], odd: tuple[Pair, ...], rooms_mm: list[list[float]],
    least: _Laid,
) -> bool:  # fmt: skip
    """Whether all can hold at once with one of these rooms beyond their play for the odd pairs, in whatever order."""
    if not (odd and least.odd):
        return len(odd) < len(least.odd)
    most_mm = max(least.excess_mm) + 2.0 * CLOSE_MM
    if bound_mm > most_mm:
        return False
    if len(odd) != len(least.odd) or len(odd) > MOST_ORDERED:
        rooms_mm = [[most_mm] * len(odd)]
    known = work.layout.known((*held, *odd))
    return any(
        best_wherever(known.widened(np.array([0.0] * len(held) + list(each))), stop_at_sign=True).fits
        for room in rooms_mm for each in sorted(set(permutations(room)))
    )  # fmt: skip


def _rests(
    work: WorkedTask, held: tuple[Pair, ...], wanted: tuple[np.ndarray, np.ndarray]
) -> list[tuple[float, tuple[Pair, ...]]]:
    """Pairings of what is left over, each with a lower bound of its excess; the nearest `MOST_REST` a row at most."""
    taken = {row for row, _ in held}, {column for _, column in held}
    need_mm = np.where(np.isfinite(work.layout.allowed_mm), 0.0, np.inf)
    for pair in held:
        # What is held gives no more than its play, so the whole of what is missing falls to the other pair.
        need_mm = np.maximum(need_mm, 2.0 * work.layout.pair_need_mm(*pair))
    found: list[tuple[float, tuple[Pair, ...]]] = [(0.0, ())]
    for side in (0, 1):
        for own in (int(index) for index in np.flatnonzero(wanted[side]) if int(index) not in taken[side]):
            more = []
            for bound_mm, odd in found:
                if own in {pair[side] for pair in odd}:
                    more.append((bound_mm, odd))
                    continue
                column = need_mm[own] if side == 0 else need_mm[:, own]
                barred = taken[1 - side] | {pair[1 - side] for pair in odd}
                free = [k for k in map(int, np.argsort(column, kind="stable")) if np.isfinite(column[k])]
                free = [k for k in free if k not in barred][:MOST_REST]
                pairs = [(own, k) if side == 0 else (k, own) for k in free]
                more += [(max(bound_mm, float(need_mm[pair])), (*odd, pair)) for pair in pairs] or [(bound_mm, odd)]
            found = sorted(more)[: MOST_REST * 4]
    return found


def _placed(work: WorkedTask, held: tuple[Pair, ...], odd: tuple[Pair, ...]) -> _Laid:
    """Give each odd pair in turn, the worst first, no more room than it needs with all others held."""
    pairs = (*held, *odd)
    known = work.layout.known(pairs)
    centred = placed = best_wherever(work.layout.known(held))
    open_, room_mm = [k for k in range(len(held), len(pairs)) if known.rho[k] < WILD_MM], np.zeros(len(pairs))
    while open_:
        most_mm, placed = _least_room(known, room_mm, open_, placed)
        excess_mm = _excess_mm(known, placed)
        worst = max(open_, key=lambda k: (excess_mm[k], -k))
        room_mm[open_] = most_mm
        room_mm[worst] = max(excess_mm[worst], 0.0) + FITS_MM
        open_.remove(worst)
    excess_mm = _excess_mm(known, placed)
    return _Laid(held, odd, tuple(float(excess_mm[k]) for k in range(len(held), len(pairs))), centred)


def _least_room(known: Pairs, room_mm: np.ndarray, open_: list[int], placed: Placed) -> tuple[float, Placed]:
    """Halve what the open pairs may need beyond their play, down to `CLOSE_MM`; the others keep their room."""
    low = 0.0
    high = max(float(_excess_mm(known, placed)[open_].max()), 0.0)
    while high - low > CLOSE_MM:
        middle = (low + high) / 2.0
        room_mm[open_] = middle
        tried = best_wherever(known.widened(room_mm), stop_at_sign=True)
        if not tried.fits:
            low = middle
            continue
        placed = tried
        high = min(middle, max(float(_excess_mm(known, tried)[open_].max()), 0.0))
    return high, placed
