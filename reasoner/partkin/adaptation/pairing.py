"""Which pairing is adapted: the one given, or those that the geometry finds with and without work."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from partkin.adaptation.choices import Bench, unit_of_pair
from partkin.adaptation.placing import Fits, Solve
from partkin.model.adapting import AdaptationQuestion
from partkin.model.fitting import FitTask, Option

MOST_PAIRINGS = 4
Pairs = tuple[tuple[str, str], ...]


def pairings(question: AdaptationQuestion, solve: Solve, nearest: Pairs = ()) -> Iterator[FitTask]:
    """Go through the tasks to adapt, each with its pairing given: the nearest one first, where one is named.

    An open task is asked twice: as it is, and with every feature at the widest that may be made of it.
    """
    task = question.task
    if task.given or _is_given(task.options):
        yield replace(task, given=True)
        return
    tried = [tuple(sorted(nearest))] if nearest else []
    if nearest:
        yield _given(task, nearest)
    for asked in (widest(question), task):
        answer = solve(asked)
        pairs = tuple((pair.fixing, pair.feature) for pair in answer.pairs)
        for each in [pairs, *answer.also_pairs] if pairs else []:
            in_order = tuple(sorted(each))
            if in_order not in tried and len(tried) < MOST_PAIRINGS:
                tried.append(in_order)
                yield _given(task, in_order)


def is_only(question: AdaptationQuestion, pairs: Pairs, fits: Fits) -> bool:
    """Whether no other pairing fits even with every feature at the widest that may be made of it.

    Then the cheapest adaptation of this one is the cheapest of all.
    """
    asked = widest(question)
    for pair in pairs:
        without = tuple(o for o in asked.options if (o.fixing, o.feature) != pair)
        if fits(replace(asked, options=without, given=False)) is not False:
            return False
    return True


def _is_given(options: Sequence[Option]) -> bool:
    return len({o.fixing for o in options}) == len(options) == len({o.feature for o in options})


def widest(question: AdaptationQuestion) -> FitTask:
    """Every pair at the widest reach that any permitted job gives it."""
    bench, task = Bench(question), question.task
    fixings = {spot.id: spot for spot in task.fixings}
    features = {spot.id: spot for spot in task.features}
    reach_mm: dict[object, float] = {}
    options = []
    for option in task.options:
        fixing, feature = fixings[option.fixing], features[option.feature]
        # What may be done to a feature does not hang on where the fixing is, only on what it is.
        host = replace(bench.host_feature[fixing.id], feature="", x_mm=None, y_mm=None, z_mm=None, row=0)
        key = (feature.id, option.allowed_mm, host, fixing.id if question.bolts or question.brackets else None)
        if question.settings.adapt_host or key not in reach_mm:
            unit = unit_of_pair(bench, fixing, feature, option)
            reaches = [
                choice.shape.outer_mm + max(choice.shape.back_mm, choice.shape.forward_mm)
                for choice in unit.choices
                if choice.shape is not None and choice.refusal is None
            ]
            reach_mm[key] = max([option.allowed_mm, *reaches])
        options.append(replace(option, allowed_mm=reach_mm[key]))
    return replace(task, options=tuple(options))


def _given(task: FitTask, pairs: Pairs) -> FitTask:
    wanted = set(pairs)
    options = tuple(o for o in task.options if (o.fixing, o.feature) in wanted)
    return replace(task, options=options, given=True)
