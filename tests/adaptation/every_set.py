"""The cheapest adaptation by trying every set of choices: no cuts, no master, no sectors.

Shares with the program what may be done at a fixing (choices) and how a job is sized (dress). Which sets can
be laid down at all is asked of the batched solver for all sets at once, a hemmed slot in each direction.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from partkin.adaptation.cheapest import _Search
from partkin.adaptation.choices import Choice
from partkin.adaptation.placing import Placed, enclosed
from partkin.fit import solve
from partkin.fit.arrays import PlanePairs
from partkin.fit.batch import batch_fits
from partkin.model.adapting import AdaptationQuestion
from partkin.model.fitting import FitTask

Vector = tuple[int, ...]


def cheapest_of_all(question: AdaptationQuestion) -> int | None:
    """Cost in thousandths of the cheapest permitted set that goes on; None: none does."""
    search = _Search(question, solve, 10_000, None, True)
    if search._stuck() is not None:
        return None
    permitted = search._permitted()
    vectors = sorted(
        (vector for vector in itertools.product(*permitted) if _keeps_enough(search, vector)),
        key=lambda vector: (search.optimiser.cost_of(vector), vector),
    )
    can = dict(zip(vectors, _reachable(search, vectors), strict=True)) if vectors else {}
    for vector in vectors:
        if can[vector] and any(search._finish(vector, placed) for placed in _placements(search, vector)):
            return search.optimiser.cost_of(vector)
    return None


def _keeps_enough(search: _Search, vector: Vector) -> bool:
    """Two of the donor's own fixings go on placing it (one, where it has only one)."""
    own = [unit for unit in search.units if unit.feature is not None]
    kept = sum(
        unit.feature is not None and unit.choices[c].shape is not None
        for unit, c in zip(search.units, vector, strict=True)
    )
    return kept >= min(2, len(own))


def _reachable(search: _Search, vectors: list[Vector]) -> np.ndarray:
    """Whether each set can be laid down with its hemmed slots running in whatever direction."""
    found = np.zeros(len(vectors), dtype=bool)
    groups: dict[tuple[object, ...], list[int]] = defaultdict(list)
    tasks: list[FitTask] = []
    for number, vector in enumerate(vectors):
        task = search.optimiser.geometry.task_of({n: u.choices[c] for n, (u, c) in enumerate(zip(search.units, vector))})
        tasks.append(task)
        groups[(task.fixings, task.features)].append(number)
    for members in groups.values():
        first = tasks[members[0]]
        names = [(o.fixing, o.feature) for o in first.options]
        if not names:
            found[members] = True
            continue
        plain = PlanePairs.of(first, names)
        rho = np.array([[o.allowed_mm for o in tasks[n].options] for n in members])
        found[members] = batch_fits(plain.q, plain.p, rho, plain.s_h, plain.u_h, plain.s_d, plain.u_d)
    return found


def _placements(search: _Search, vector: Vector) -> Iterator[Placed]:
    """A placement for every way that the hemmed slots may run."""
    choices = {n: unit.choices[c] for n, (unit, c) in enumerate(zip(search.units, vector))}
    hemmed = [n for n, choice in choices.items() if choice.shape is not None and choice.shape.reaches_mm is not None]
    for directions in itertools.product(range(72), repeat=len(hemmed)):
        task = search.optimiser.geometry.task_of(choices)
        for number, direction in zip(hemmed, directions, strict=True):
            task = _turned(search, task, number, choices[number], direction)
        answer = solve(task)
        if answer.fits and answer.placement:
            yield Placed(answer.placement, dict(zip(hemmed, directions, strict=True)))


def _turned(search: _Search, task: FitTask, number: int, choice: Choice, direction: int) -> FitTask:
    """The task with one hemmed slot as the stadium of one direction."""
    unit = search.units[number]
    assert choice.shape is not None and unit.feature is not None
    own = unit.feature if choice.side == "donor" else unit.fixing
    made, allowed_mm = enclosed(own, choice.shape, range(direction, direction + 1))
    made = replace(made, must=choice.side == "host", should=choice.side == "donor")
    side = "features" if choice.side == "donor" else "fixings"
    spots = tuple(made if spot.id == made.id else spot for spot in getattr(task, side))
    options = tuple(replace(o, allowed_mm=allowed_mm) if o.fixing == unit.fixing.id else o for o in task.options)
    return replace(task, **{side: spots}, options=options)
