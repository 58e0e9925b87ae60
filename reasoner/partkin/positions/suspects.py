"""Which readings the others contradict, and the adjustment without those that clearly are wrong."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partkin.model.distributions import chi_square_quantile, normal_quantile
from partkin.positions.network import AdjustedNetwork, Network, jacobian
from partkin.positions.start import firm_points, layouts, straightened

FAMILY_LEVEL = 0.05
LAYOUT_LEVEL = 0.99
# 0.1 % and 1 % points of chi-square with one degree of freedom: two explanations that are closer than this
# are not told apart.
RIVAL_LAYOUT = 10.83
RIVAL_READING = 6.63
# A reading that was left out is taken in again within this many standard deviations (1 % point).
AGREES_AFTER_ALL = 2.576
MOST_LEFT_OUT = 6
LEAST_CHECKED = 0.05
# From this w on a slip bends the adjustment so far that it points at true readings too.
GROSS = 8.0
# Of up to so many distances each is left out in turn; of more the likeliest few.
MOST_TRIED = 21
FEWER_TRIED = 6


@dataclass(frozen=True)
class Contradicted:
    """An observation by its row, its w when it was found, and how far it is off (read minus allowed)."""

    row: int
    w: float
    off_by_mm: float
    left_out: bool


@dataclass(frozen=True, eq=False)
class Searched:
    """The adjustment after the search.

    `kept`: rows of the whole network that `found` was adjusted from; `found`: every layout, best first.
    """

    network: Network
    kept: np.ndarray
    found: list[AdjustedNetwork]
    contradicted: tuple[Contradicted, ...]


def accepted(network: Network) -> list[AdjustedNetwork]:
    """Return every layout that passes chi-square, and those that the best one does not clearly beat."""
    found = layouts(network)
    best = found[0]
    straight = straightened(network, best) if best.soft else None
    if straight is not None:
        return [straight]
    # Also where nothing is to spare: a triangle that is nearly a line may miss by what the readings may be out.
    limit = max(layout_limit(best), best.chi_square + RIVAL_LAYOUT)
    return [solution for solution in found if solution.chi_square <= limit]


def layout_limit(solution: AdjustedNetwork) -> float:
    """Chi-square up to which a layout passes."""
    return chi_square_quantile(LAYOUT_LEVEL, solution.degrees_of_freedom)


def search(network: Network, maybe: Sequence[int] = ()) -> Searched:
    """Adjust, leave out the worst contradicted observation while it is clear which one, and adjust again.

    Where several could be meant they are all named, none is left out, and the search ends. At the end
    what was left out too early (an error elsewhere had pointed at it) is taken in again.

    Parameters
    ----------
    network
    maybe
        Distances of which one is impossible by the others, greatest errors allowed, so that one has to be wrong.
    """
    kept = np.arange(len(network.sigmas))
    now = network
    found = accepted(now)
    left_out: dict[int, float] = {}
    rivals: list[int] = []
    while len(left_out) < MOST_LEFT_OUT:
        worst, rivals = explained(now, found[0], () if left_out else maybe)
        if worst is None or rivals:
            rivals = [] if worst is None else [worst, *rivals]
            break
        rest = network.only(np.delete(kept, worst))
        if len(firm_points(rest)) < network.size[0]:
            # Without it a point has no place: it is named, and what hangs on it is for whoever asks to find out.
            rivals = [worst]
            break
        left_out[int(kept[worst])] = float(found[0].w[worst])
        kept = np.delete(kept, worst)
        now = rest
        found = accepted(now)
    if not rivals:
        kept, found = _taken_in_again(network, kept, found, left_out)
        now = network.only(kept)
    return Searched(now, kept, found, _named(network, kept, found[0], left_out, rivals))


def worst_contradicted(solution: AdjustedNetwork) -> tuple[int | None, list[int]]:
    """Return the observation that the others contradict most, if any does, and what could be meant instead.

    w-test at 5 % for the whole network (Bonferroni over all observations that something checks). Leaving
    out an observation lowers chi-square by the square of its w; another one whose leaving out would
    explain as much is a rival.
    """
    checked = int((solution.redundancy > 1e-6).sum())
    if not checked:
        return None, []
    squared = solution.w**2
    worst = int(np.argmax(squared))
    if math.sqrt(squared[worst]) <= normal_quantile(1.0 - FAMILY_LEVEL / (2.0 * checked)):
        return None, []
    left = solution.own_chi_square - squared
    limit = max(chi_square_quantile(LAYOUT_LEVEL, solution.own_freedom - 1), left[worst] + RIVAL_READING)
    rivals = (left <= limit) & (solution.redundancy > 1e-6)
    return worst, [int(at) for at in np.flatnonzero(rivals) if at != worst]


def explained(network: Network, solution: AdjustedNetwork, maybe: Sequence[int] = ()) -> tuple[int | None, list[int]]:
    """As `worst_contradicted`, with each left out in turn: a slip bends the adjustment to point at true readings.

    Parameters
    ----------
    network
    solution
        Its best layout.
    maybe
        Distances that are looked at whatever their w is, since one of them has to be wrong.
    """
    worst, rivals = worst_contradicted(solution)
    if worst is None and not len(maybe):
        return worst, rivals
    distances = len(network.length_mm)
    if distances <= MOST_TRIED:
        tried = list(dict.fromkeys([*range(distances), *([worst] if worst is not None else []), *rivals]))
    else:
        if not len(maybe) and worst is not None and abs(float(solution.w[worst])) < GROSS:
            return worst, rivals
        likely = np.argsort(-(solution.w**2), kind="stable")[:FEWER_TRIED]
        tried = list(dict.fromkeys([*maybe, *(int(at) for at in likely if solution.redundancy[at] > 1e-6)]))
    left = {at: _left_without(network, at) for at in tried}
    worst = min(tried, key=lambda at: round(left[at][0], 9))
    chi_square, freedom = left[worst]
    limit = max(chi_square_quantile(LAYOUT_LEVEL, freedom), chi_square + RIVAL_READING)
    return worst, [at for at in tried if at != worst and left[at][0] <= limit]


def _left_without(network: Network, row: int) -> tuple[float, int]:
    """Chi-square of what hangs together without one observation, and its degrees of freedom."""
    rest = network.only(np.delete(np.arange(len(network.sigmas)), row))
    held = rest.among(firm_points(rest))
    if not len(held.edges):
        return 0.0, 0
    best = layouts(held)[0]
    return best.own_chi_square, best.own_freedom


def _taken_in_again(
    network: Network, kept: np.ndarray, found: list[AdjustedNetwork], left_out: dict[int, float]
) -> tuple[np.ndarray, list[AdjustedNetwork]]:
    for row in list(left_out):
        if len(left_out) < 2 or abs(_off(network, found[0], row)[1]) > AGREES_AFTER_ALL:
            continue
        more = np.sort(np.append(kept, row))
        again = accepted(network.only(more))
        if worst_contradicted(again[0])[0] is None:
            kept, found = more, again
            del left_out[row]
    return kept, found


def _off(network: Network, solution: AdjustedNetwork, row: int) -> tuple[float, float]:
    """How far an observation outside the adjustment is from it: in mm, and over its standard deviation."""
    rows, miss = jacobian(network, solution.xyz_mm)
    spread = math.sqrt(1.0 + max(0.0, float(rows[row] @ solution.covariance_mm2 @ rows[row])))
    return float(miss[row] * network.sigmas[row]), float(miss[row]) / spread


def _named(
    network: Network, kept: np.ndarray, solution: AdjustedNetwork, left_out: dict[int, float], rivals: list[int]
) -> tuple[Contradicted, ...]:
    named = [Contradicted(row, w, _off(network, solution, row)[0], left_out=True) for row, w in left_out.items()]
    # A distance is misread more easily than a coordinate, which stands in the sheet for all to see.
    distances = [at for at in rivals if kept[at] < len(network.length_mm)]
    for at in sorted(distances or rivals):
        off_by_mm = -float(solution.residual_mm[at] / max(solution.redundancy[at], LEAST_CHECKED))
        named.append(Contradicted(int(kept[at]), float(solution.w[at]), off_by_mm, left_out=False))
    return tuple(named)
