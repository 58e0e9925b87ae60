"""The two masters name sets of the same cost, whatever the cuts."""

from __future__ import annotations

import functools
import itertools

import numpy as np
import pytest
from adapting_cases import cheapest, random_question

from partkin.adaptation.optimise import Listed, Optimiser, Programmed, master, refuted


def _case(seed: int) -> tuple[list[list[int]], list[list[int]], list[list[bool]], list]:  # type: ignore[type-arg]
    draw = np.random.default_rng(seed)
    n = int(draw.integers(3, 6))
    sizes = [int(draw.integers(2, 5)) for _ in range(n)]
    costs = [[0, *sorted(int(v) for v in draw.integers(1, 30_000, k - 1))] for k in sizes]
    permitted = [list(range(k)) for k in sizes]
    keeps = [[bool(c < k - 1 or draw.uniform() < 0.5) for c in range(k)] for k in sizes]
    cuts = []
    for _ in range(int(draw.integers(1, 12))):
        units = sorted(int(u) for u in draw.choice(n, size=int(draw.integers(1, 4)), replace=False))
        cuts.append(tuple((u, frozenset(range(int(draw.integers(1, sizes[u] + 1))))) for u in units))
    return costs, permitted, keeps, cuts


def _alone(vector: tuple[int, ...]) -> tuple[tuple[int, frozenset[int]], ...]:
    """The cut that strikes one vector."""
    return tuple((unit, frozenset((choice,))) for unit, choice in enumerate(vector))


@pytest.mark.parametrize("seed", range(40))
def test_listed_and_programmed_agree_with_looking_at_all(seed: int) -> None:
    costs, permitted, keeps, cuts = _case(seed)
    left = [
        sum(costs[u][c] for u, c in enumerate(vector))
        for vector in itertools.product(*permitted)
        if sum(keeps[u][c] for u, c in enumerate(vector)) >= 2 and not any(refuted(cut, vector) for cut in cuts)
    ]
    for way in (Listed, Programmed):
        asked = way(costs, permitted, keeps, 2)
        for cut in cuts:
            asked.strike(cut)
        found = asked.cheapest()
        assert (found is None) == (not left)
        if found is not None:
            vector, cost = found
            assert cost == min(left) == sum(costs[u][c] for u, c in enumerate(vector))
            asked.strike(_alone(vector))
            again = asked.cheapest()
            assert (again is None) == (len(left) == 1)
            if again is not None:
                assert again[0] != vector


def test_where_there_is_nothing_to_work_on_the_one_set_is_no_work() -> None:
    asked = master([], [], [], 0, 20_000)
    assert asked.cheapest() == ((), 0)
    asked.strike(_alone(()))
    assert asked.cheapest() is None


def test_many_sets_are_programmed() -> None:
    costs = [[0, 1, 2, 3]] * 12
    keeps = [[True] * 4] * 12
    assert isinstance(master(costs, [range(4)] * 12, keeps, 2, 20_000), Programmed)
    assert isinstance(master(costs[:4], [range(4)] * 4, keeps[:4], 2, 20_000), Listed)


@pytest.mark.parametrize("seed", range(12))
def test_an_adaptation_costs_the_same_by_either_master(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = random_question(seed)
    listed = cheapest(asked)
    monkeypatch.setattr("partkin.adaptation.one_pairing.Optimiser", functools.partial(Optimiser, most_listed=1))
    programmed = cheapest(asked)
    assert [each.cost for each in listed.adaptations] == [each.cost for each in programmed.adaptations]
    assert [each.minutes for each in listed.adaptations[:1]] == [each.minutes for each in programmed.adaptations[:1]]
    assert all(each.proved_cheapest for each in programmed.adaptations[:1])
