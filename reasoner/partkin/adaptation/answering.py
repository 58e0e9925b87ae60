"""The cheapest adaptation of a donor, the next two different ones, and what was ruled out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cached_property

from partkin.adaptation.limits import LICENSED
from partkin.adaptation.one_pairing import GOES_ON_AS_IT_IS, OnePairing
from partkin.adaptation.pairing import Pairs, is_only, pairings
from partkin.adaptation.placing import Fits, Quick, Solve
from partkin.model.adapting import AdaptationAnswer, AdaptationQuestion

DEFAULT_LIMIT = 200
DIFFERENT = 2


def cheapest(
    question: AdaptationQuestion, solve: Solve, limit: int = DEFAULT_LIMIT, fits: Fits | None = None,
    different: int = DIFFERENT,
) -> AdaptationAnswer:  # fmt: skip
    """Find the least work that makes the donor go on, within what safety and the material allow.

    Parameters
    ----------
    question
    solve
        The geometry: a FitTask to its FitAnswer.
    limit
        How many sets of jobs may be laid on the host. A count, never seconds: the same question gives the
        same answer. When it is reached the best found is given with the bound that is proved.
    fits
        The geometry's verdict alone, where that is faster.
    different
        How many other sets of jobs to look for beside the cheapest.

    Returns
    -------
    AdaptationAnswer
        The cheapest first, then up to two that do without some of its jobs. Empty with `why`, and with a
        conflict where one proves it, when there is none.

    Notes
    -----
    Cost is minutes at the build's labour rate and what is used up; without a rate the least minutes count.
    """
    return Cheapest(question, solve, Quick(fits), limit=limit).whole(different)


class Cheapest:
    """One question, answered as far as is asked: the cheapest alone, or with different sets and what was ruled out.

    Parameters
    ----------
    question
    solve
        The geometry, as for `cheapest`.
    quick
        Its quick answers.
    nearest
        A pairing that is tried before all others; they are looked at only where it cannot be made to go on. Empty:
        the cheapest over all pairings found is taken.
    limit
    """

    def __init__(
        self, question: AdaptationQuestion, solve: Solve, quick: Quick | None = None, *, nearest: Pairs = (),
        limit: int = DEFAULT_LIMIT,
    ) -> None:  # fmt: skip
        self.question, self.solve, self.quick = question, solve, quick or Quick()
        self.nearest, self.limit = nearest, limit
        self.chosen: OnePairing | None = None

    @cached_property
    def first(self) -> AdaptationAnswer:
        """The cheapest alone; what was ruled out is left for `whole`."""
        refused = not_to_be_altered(self.question)
        if refused is not None:
            return AdaptationAnswer((), (), refused)
        best: tuple[tuple[bool, float, float], AdaptationAnswer] | None = None
        for asked in self._each():
            answer = asked.first()
            if best is None or _rank(answer) < best[0]:
                best, self.chosen = (_rank(answer), answer), asked
            if self.nearest and (answer.adaptations or answer.why == GOES_ON_AS_IT_IS):
                break
        return best[1] if best is not None else AdaptationAnswer((), (), "no feature of the donor can go on any fixing")

    def whole(self, different: int = DIFFERENT) -> AdaptationAnswer:
        """The cheapest, others, and what was ruled out."""
        first = self.first
        if self.chosen is None:
            return first
        if first.adaptations:
            task, pairs = self.question.task, self.chosen.pairs
            self.chosen.unique = task.given or is_only(self.question, pairs, self.quick.fits or _sign(self.solve))
        return self.chosen.whole(different)

    def several(self, different: int = DIFFERENT) -> AdaptationAnswer:
        """The cheapest and others; whether another pairing would do, and what was ruled out, is left open."""
        return self.chosen.several(different) if self.first.adaptations and self.chosen is not None else self.first

    def _each(self) -> Iterator[OnePairing]:
        for task in pairings(self.question, self.solve, self.nearest):
            asked = replace(self.question, task=task)
            yield OnePairing(asked, self.solve, self.limit, self.quick)


def _sign(solve: Solve) -> Fits:
    return lambda task: solve(task).fits


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
        return (answer.why != GOES_ON_AS_IT_IS, 0.0, 0.0)
    first = answer.adaptations[0]
    return (False, first.cost if first.cost is not None else first.minutes, first.minutes)
