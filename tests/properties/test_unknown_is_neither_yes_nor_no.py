"""A verdict on a partial build stands whichever way what is missing is filled in, the way it was among them.

So erasing leads from a decided verdict to `not enough measured` at most, and never decides anything. Left out, as the
contract says what empty means: duty, airbag, need, goes_on of a donor, plus or minus, which parts there are, and the
features that a part is said to have.
"""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import partkin
from properties.partial_builds import Partial, erased, filled, whole

OPEN = ("not enough measured", "not judged")


def survives(seed: int, fills: int) -> None:
    rng = random.Random(seed)
    partial: Partial = erased(rng, whole(rng))
    verdict = partkin.check(partial.build, "donor").verdict
    if verdict in OPEN:
        return
    for number, build in enumerate([partial.whole, *(filled(rng, partial) for _ in range(fills))]):
        assert partkin.check(build, "donor").verdict == verdict, (seed, number)


@settings(max_examples=25)
@given(st.integers(0, 10**6))
def test_a_decided_verdict_survives_every_way_of_filling_in(seed: int) -> None:
    survives(seed, fills=2)


@pytest.mark.slow
@pytest.mark.parametrize("start", range(0, 2000, 100))
def test_many_decided_verdicts_survive_many_ways_of_filling_in(start: int) -> None:
    for seed in range(start, start + 100):
        survives(seed, fills=12)
