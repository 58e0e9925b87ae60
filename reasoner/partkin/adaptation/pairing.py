"""Which pairing is adapted: the one given, or those that the geometry finds with and without work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from partkin.adaptation.choices import Bench, unit_of_pair
from partkin.adaptation.placing import Solve
from partkin.model.adapting import AdaptationQuestion
from partkin.model.fitting import FitTask, Option

MOST_PAIRINGS = 4
Pairs = tuple[tuple[str, str], ...]


def pairings(question: AdaptationQuestion, solve: Solve) -> list[tuple[FitTask, bool]]:
    """List the tasks to adapt, each with its pairing given, and whether it is the only pairing possible.

    An open task is asked twice: as it is, and with every feature at the widest that may be made of it. Where
    no other pairing fits even then, the cheapest adaptation of that one is the cheapest of all.
    """
    task = question.task
    if task.given or _is_given(task.options):
        return [(replace(task, given=True), True)]
    widest = _widest(question)
    found: list[Pairs] = []
    for asked in (widest, task):
        answer = solve(asked)
        pairs = tuple((pair.fixing, pair.feature) for pair in answer.pairs)
        found += [pairs, *answer.also_pairs] if pairs else []
    kept = list(dict.fromkeys(tuple(sorted(pairs)) for pairs in found))[:MOST_PAIRINGS]
    only = len(kept) == 1 and not _another(widest, kept[0], solve)
    return [(_given(task, pairs), only) for pairs in kept]


def _is_given(options: Sequence[Option]) -> bool:
    return len({o.fixing for o in options}) == len(options) == len({o.feature for o in options})


def _widest(question: AdaptationQuestion) -> FitTask:
    """Every pair at the widest reach that any permitted job gives it."""
    bench, task = Bench(question), question.task
    fixings = {spot.id: spot for spot in task.fixings}
    features = {spot.id: spot for spot in task.features}
    options = []
    for option in task.options:
        unit = unit_of_pair(bench, fixings[option.fixing], features[option.feature], option)
        reaches = [
            choice.shape.outer_mm + max(choice.shape.back_mm, choice.shape.forward_mm)
            for choice in unit.choices
            if choice.shape is not None and choice.refusal is None
        ]
        options.append(replace(option, allowed_mm=max([option.allowed_mm, *reaches])))
    return replace(task, options=tuple(options))


def _another(widest: FitTask, pairs: Pairs, solve: Solve) -> bool:
    """Whether some other pairing fits with everything at its widest."""
    for pair in pairs:
        without = tuple(o for o in widest.options if (o.fixing, o.feature) != pair)
        if solve(replace(widest, options=without)).fits is not False:
            return True
    return False


def _given(task: FitTask, pairs: Pairs) -> FitTask:
    wanted = set(pairs)
    options = tuple(o for o in task.options if (o.fixing, o.feature) in wanted)
    return replace(task, options=options, given=True)
