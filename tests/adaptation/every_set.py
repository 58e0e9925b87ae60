"""The cheapest adaptation by trying every set of choices: no cuts, no master, no sectors.

Shares with the program what may be done at a fixing (choices) and how a job is sized (dress). Which sets can
be laid down at all is asked of the batched solver for all sets at once.
"""

from __future__ import annotations

import itertools
from collections import defaultdict

import numpy as np

from partkin.adaptation.one_pairing import OnePairing
from partkin.fit.arrays import Pairs
from partkin.fit.batch import batch_fits
from partkin.fit.solve import solve
from partkin.model.adapting import AdaptationQuestion
from partkin.model.fitting import FitTask

Vector = tuple[int, ...]


def cheapest_of_all(question: AdaptationQuestion) -> int | None:
    """Cost in thousandths of the cheapest permitted set that goes on; None: none does."""
    search = OnePairing(question, 10_000, quick=False)
    if search.stuck() is not None:
        return None
    permitted = search.permitted
    vectors = sorted(
        (vector for vector in itertools.product(*permitted) if _keeps_enough(search, vector)),
        key=lambda vector: (search.optimiser.cost_of(vector), vector),
    )
    can = dict(zip(vectors, _reachable(search, vectors), strict=True)) if vectors else {}
    for vector in vectors:
        if can[vector] and _goes_on(search, vector):
            return search.optimiser.cost_of(vector)
    return None


def _goes_on(search: OnePairing, vector: Vector) -> bool:
    """Lay it down with every rim from the start, size the jobs, and ask again with those sizes."""
    choices = {n: unit.choices[c] for n, (unit, c) in enumerate(zip(search.units, vector, strict=True))}
    answer = solve(search.optimiser.geometry.task_of(choices))
    return bool(answer.fits and answer.placement and search._finish(vector, answer.placement))


def _keeps_enough(search: OnePairing, vector: Vector) -> bool:
    """Two of the donor's own fixings go on placing it (one, where it has only one)."""
    own = [unit for unit in search.units if unit.feature is not None]
    kept = sum(
        unit.feature is not None and unit.choices[c].shape is not None
        for unit, c in zip(search.units, vector, strict=True)
    )
    return kept >= min(2, len(own))


def _reachable(search: OnePairing, vectors: list[Vector]) -> np.ndarray:
    """Whether each set can be laid down, all rims included."""
    found = np.zeros(len(vectors), dtype=bool)
    groups: dict[tuple[object, ...], list[int]] = defaultdict(list)
    tasks: list[FitTask] = []
    for number, vector in enumerate(vectors):
        choices = {n: unit.choices[c] for n, (unit, c) in enumerate(zip(search.units, vector, strict=True))}
        task = search.optimiser.geometry.task_of(choices)
        tasks.append(task)
        groups[(task.fixings, task.features)].append(number)
    for members in groups.values():
        first = tasks[members[0]]
        names = [(o.fixing, o.feature) for o in first.options]
        if not names:
            found[members] = True
            continue
        plain = Pairs.of(first, names)
        rho = np.array([[o.allowed_mm for o in tasks[n].options] for n in members])
        found[members] = batch_fits(plain.q, plain.p, rho, plain)
    return found
