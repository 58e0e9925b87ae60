"""The cheapest adaptation equals trying every set, on random questions with all jobs."""

from __future__ import annotations

import pytest
from adapting_cases import cheapest, random_question
from every_set import cheapest_of_all

from partkin.adaptation.placing import adapted_task
from partkin.fit.solve import solve


def _is_cheapest(seed: int, most: int) -> None:
    question = random_question(seed, most=most)
    answer, best = cheapest(question), cheapest_of_all(question)
    if best is None:
        assert not answer.adaptations and answer.why
        return
    if best == 0:
        assert not answer.adaptations and answer.why == "it goes on as it is"
        return
    first = answer.adaptations[0]
    rate = question.settings.labour_rate
    if rate is None:
        used = sum(row.cost for action in first.actions for row in question.work if row.do == action.do)
        assert round(1000 * first.minutes + used) == best
    else:
        # Each action's money is rounded to the cent, the search's to a thousandth.
        assert first.cost == pytest.approx(best / 1000.0, abs=0.005 * len(first.actions) + 0.001)
    for adaptation in answer.adaptations:
        after = solve(adapted_task(question.task, adaptation))
        assert after.fits and after.margin_mm == pytest.approx(adaptation.margin_mm, abs=1e-9)


@pytest.mark.parametrize("seed", range(60))
def test_equals_trying_every_set(seed: int) -> None:
    _is_cheapest(seed, most=4)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(1000, 1340))
def test_equals_trying_every_set_of_up_to_six(seed: int) -> None:
    _is_cheapest(seed, most=6)
