"""The pairing by trying every assignment, for the search to be compared with.

Knows nothing of seeds, tubes, matchings or conflicts: fixings are gone through in order, each is paired
with every feature or left out, and every complete pairing is placed. Branches are cut only where two pairs
are too far apart for the excess asked for, or the best placement of the pairs so far already exceeds it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from partkin.fit.arrays import Pairs
from partkin.fit.minimax import best_placement
from partkin.model.fitting import FitTask

Pairing = tuple[tuple[str, str], ...]
Names = tuple[set[str], set[str]]
FIT_MM = 1e-6
TIE_MM = 1e-6


@dataclass
class Brute:
    """Every pairing of a task that is of interest.

    `fits`, `value` (shoulds covered), `margin_mm` and `ties`: the pairings that share the best margin.
    """

    fits: bool
    value: int
    margin_mm: float | None
    ties: list[Pairing] = field(default_factory=list)


class Try:
    def __init__(self, task: FitTask) -> None:
        self.task = task
        self.fixings = {spot.id: spot for spot in task.fixings}
        self.features = {spot.id: spot for spot in task.features}
        self.allowed = {(o.fixing, o.feature): o.allowed_mm for o in task.options}
        self.excess_of: dict[frozenset[tuple[str, str]], float] = {}

    def apart_mm(self, one: tuple[str, str], two: tuple[str, str]) -> float:
        """Least inflation with which two pairs can stand together, by their distances."""
        host = math.dist(self.fixings[one[0]].at_mm, self.fixings[two[0]].at_mm)
        donor = math.dist(self.features[one[1]].at_mm, self.features[two[1]].at_mm)
        reach = sum(
            self.allowed[pair] + self.fixings[pair[0]].half_travel_mm + self.features[pair[1]].half_travel_mm
            for pair in (one, two)
        )
        return (abs(host - donor) - reach) / 2

    def excess_mm(self, pairs: Pairing) -> float:
        # Metres of play never hold anything back.
        key = frozenset(pair for pair in pairs if self.allowed[pair] < 1e4) or frozenset(pairs)
        if key not in self.excess_of:
            self.excess_of[key] = best_placement(Pairs.of(self.task, sorted(key))).worst_mm
        return self.excess_of[key]

    def pairings(self, spots: Names, musts: Names, limit: list[float]) -> Iterator[Pairing]:
        """All pairings that cover the musts, each pair touching one of `spots`, within limit[0]."""
        order = sorted(self.fixings)

        def go(at: int, made: Pairing) -> Iterator[Pairing]:
            if made and (-self.allowed[made[-1]] > limit[0] or any(
                self.apart_mm(made[-1], other) > limit[0] for other in made[:-1]
            )):  # fmt: skip
                return
            if len(made) >= 3 and self.excess_mm(made) > limit[0]:
                return
            if at == len(order):
                if made and musts[1] <= {pair[1] for pair in made} and self.excess_mm(made) <= limit[0]:
                    yield made
                return
            used = {pair[1] for pair in made}
            for feature in sorted(self.features):
                pair = (order[at], feature)
                useful = pair[0] in spots[0] or feature in spots[1]
                if pair in self.allowed and feature not in used and useful:
                    yield from go(at + 1, (*made, pair))
            if order[at] not in musts[0]:
                yield from go(at + 1, made)

        yield from go(0, ())


def brute(task: FitTask, trying: type[Try] = Try) -> Brute:
    """Try everything; `trying` places the pairs."""
    trial = trying(task)
    musts = tuple({s.id for s in side if s.must} for side in (task.fixings, task.features))
    shoulds = tuple({s.id for s in side if s.should and not s.must} for side in (task.fixings, task.features))
    if not any(musts) and not any(shoulds):
        shoulds = (set(trial.fixings), set(trial.features))
    both = (musts[0] | shoulds[0], musts[1] | shoulds[1])

    def value(pairs: Pairing) -> int:
        return sum((f in shoulds[0]) + (d in shoulds[1]) for f, d in pairs)

    good = list(trial.pairings(both, musts, [FIT_MM]))
    if good:
        most = max(map(value, good))
        return _best(trial, True, most, [pairs for pairs in good if value(pairs) == most])
    if not any(musts):
        single = [pair for pair in trial.allowed if pair[0] in both[0] or pair[1] in both[1]]
        return Brute(False, 0, max(trial.allowed[pair] for pair in single) if single else None)
    limit = [math.inf]
    short = []
    for pairs in trial.pairings(musts, musts, limit):
        short.append(pairs)
        limit[0] = min(limit[0], trial.excess_mm(pairs) + 2 * TIE_MM)
    return _best(trial, False, 0, short) if short else Brute(False, 0, None)


def _best(trial: Try, fits: bool, value: int, pairings: list[Pairing]) -> Brute:
    least = min(map(trial.excess_mm, pairings))
    ties = sorted(pairs for pairs in pairings if trial.excess_mm(pairs) <= least + TIE_MM)
    return Brute(fits, value, -least, ties)
