"""The cheapest adaptation of a donor, over the pairings that the geometry finds with and without work."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cached_property

from partkin.adaptation.choices import unit_of_pair
from partkin.adaptation.limits import LICENSED
from partkin.adaptation.one_pairing import GOES_ON_AS_IT_IS, NamedPairs, OnePairing
from partkin.adaptation.placing import Geometry
from partkin.adaptation.question import Bench
from partkin.fit.solve import solve
from partkin.model.adapting import AdaptationAnswer, AdaptationQuestion
from partkin.model.fitting import FitTask

DEFAULT_LIMIT = 200
DIFFERENT = 2
MOST_PAIRINGS = 4


class Cheapest:
    """One question, answered as far as is asked: the cheapest alone, or with different sets and what was ruled out.

    Cost is minutes at the build's labour rate and what is used up; without a rate the least minutes count.
    `nearest`: a pairing that is tried before all others; they are looked at only where it cannot be made to go on.
    Empty: the cheapest over all pairings found is taken. `limit`: how many sets of jobs may be laid on the host (when
    it is reached the best found is given with the bound that is proved). `quick`: ask flat tasks without their proofs.
    """

    def __init__(
        self,
        question: AdaptationQuestion,
        *,
        nearest: NamedPairs = (),
        limit: int = DEFAULT_LIMIT,
        quick: bool = True,
    ) -> None:
        self.question, self.nearest, self.limit, self.quick = question, nearest, limit, quick
        self.chosen: OnePairing | None = None

    @cached_property
    def first(self) -> AdaptationAnswer:
        """The cheapest alone; empty with `why`, and with a conflict where one proves it, when there is none."""
        refused = not_to_be_altered(self.question)
        if refused is not None:
            return AdaptationAnswer((), (), refused)
        best = AdaptationAnswer((), (), "no feature of the donor can go on any fixing")
        for task in self._pairings():
            asked = OnePairing(replace(self.question, task=task), self.limit, self.quick)
            answer = asked.first()
            if self.chosen is None or _rank(answer) < _rank(best):
                best, self.chosen = answer, asked
            if self.nearest and (answer.adaptations or answer.why == GOES_ON_AS_IT_IS):
                break
        return best

    def whole(self, different: int = DIFFERENT) -> AdaptationAnswer:
        """The cheapest, so many other sets that do without some of its jobs, and what was ruled out."""
        if self.first.adaptations and self.chosen is not None:
            self.chosen.unique = self.question.task.given or self._is_only(self.chosen.pairs)
        return self.chosen.whole(different) if self.chosen is not None else self.first

    def several(self, different: int = DIFFERENT) -> AdaptationAnswer:
        """The cheapest and others; whether another pairing would do, and what was ruled out, is left open."""
        return self.chosen.several(different) if self.first.adaptations and self.chosen is not None else self.first

    def _pairings(self) -> Iterator[FitTask]:
        """Go through the tasks to adapt, each with its pairing given: the nearest one first, where one is named.

        An open task is asked twice: as it is, and with every feature at the widest that may be made of it.
        """
        task, tried = self.question.task, list[NamedPairs]()
        if task.given or len({o.fixing for o in task.options}) == len(task.options) == len(
            {o.feature for o in task.options}
        ):
            yield replace(task, given=True)
            return
        if self.nearest:
            tried.append(tuple(sorted(self.nearest)))
            yield _given(task, self.nearest)
        for asked in (_widest(self.question), task):
            answer = solve(asked)
            pairs = tuple((pair.fixing, pair.feature) for pair in answer.pairs)
            for each in [pairs, *answer.also_pairs] if pairs else []:
                in_order = tuple(sorted(each))
                if in_order not in tried and len(tried) < MOST_PAIRINGS:
                    tried.append(in_order)
                    yield _given(task, in_order)

    def _is_only(self, pairs: NamedPairs) -> bool:
        """Whether no other pairing fits even with every feature at the widest that may be made of it.

        Then the cheapest adaptation of this one is the cheapest of all.
        """
        asked, fits = _widest(self.question), Geometry(self.question.task, (), self.quick).fits
        for pair in pairs:
            without = tuple(o for o in asked.options if (o.fixing, o.feature) != pair)
            if fits(replace(asked, options=without, given=False)) is not False:
                return False
        return True


def not_to_be_altered(question: AdaptationQuestion) -> str | None:
    """Why no work may be done to the donor at all, by its duty; None: it may."""
    duty, part = question.duty, question.donor.part
    if duty is None:
        return f"the duty of {part} is not known: it goes on as it is or not at all until it is; {LICENSED}"
    if duty in ("structural", "restraint"):
        return f"{part} is a {duty} part: it goes on as it is or not at all; {LICENSED}"
    return None


def _rank(answer: AdaptationAnswer) -> tuple[bool, float, float]:
    if not answer.adaptations:
        goes_on = answer.why == GOES_ON_AS_IT_IS
        return (not goes_on, float(not goes_on and not answer.waits), 0.0)
    first = answer.adaptations[0]
    return (False, first.cost if first.cost is not None else first.minutes, first.minutes)


def _given(task: FitTask, pairs: NamedPairs) -> FitTask:
    options = tuple(option for option in task.options if (option.fixing, option.feature) in pairs)
    return replace(task, options=options, given=True)


def _widest(question: AdaptationQuestion) -> FitTask:
    """Every pair at the widest reach that any permitted job gives it."""
    bench, task = Bench(question), question.task
    fixings, features = ({spot.id: spot for spot in spots} for spots in (task.fixings, task.features))
    reach_mm: dict[object, float] = {}
    options = []
    for option in task.options:
        fixing, feature = fixings[option.fixing], features[option.feature]
        # The jobs at a feature depend on what the fixing is, not on where it is.
        host = replace(bench.host_feature[fixing.id], feature="", x_mm=None, y_mm=None, z_mm=None, row=0)
        key = (feature.id, option.allowed_mm, host, fixing.id if question.bolts or question.brackets else None)
        if question.settings.adapt_host or key not in reach_mm:
            unit = unit_of_pair(bench, fixing, feature, option)
            shapes = [choice.shape for choice in unit.choices if choice.shape is not None and choice.refusal is None]
            reaches = [shape.outer_mm + max(shape.back_mm, shape.forward_mm) for shape in shapes]
            reach_mm[key] = max([option.allowed_mm, *reaches])
        options.append(replace(option, allowed_mm=reach_mm[key]))
    return replace(task, options=tuple(options))
