"""A verdict on a partial build stands whichever way what is missing is filled in, the way it was among them.

So erasing leads from a decided verdict to `not enough measured` at most, and never decides anything. Left out, as the
contract says what empty means: duty, airbag, need, goes_on of a donor, plus or minus, which parts there are, and the
features that a part is said to have.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import partkin
from campaigns.gaps_to_fill import Partial, erased, filled, whole
from campaigns.partial_builds import Sheets, less_known, questions, write
from campaigns.partial_builds import settings as settings_of
from campaigns.whole_builds import whole as whole_sheets

OPEN = ("not enough measured", "not judged")


def survives(seed: int, fills: int, in_space: bool = False) -> bool:
    """Whether the verdict is decided at all; that it stands is asserted."""
    rng = random.Random(seed)
    partial: Partial = erased(rng, whole(rng, in_space))
    verdict = partkin.check(partial.build, "donor").verdict
    if verdict in OPEN:
        return False
    for number, build in enumerate([partial.whole, *(filled(rng, partial) for _ in range(fills))]):
        assert partkin.check(build, "donor").verdict == verdict, (seed, number)
    return True


@settings(max_examples=25)
@given(st.integers(0, 10**6))
def test_a_decided_verdict_survives_every_way_of_filling_in(seed: int) -> None:
    survives(seed, fills=2)


def test_a_decided_verdict_in_space_survives_every_way_of_filling_in() -> None:
    assert sum(survives(seed, fills=2, in_space=True) for seed in range(24)) >= 4


@pytest.mark.slow
@pytest.mark.parametrize("in_space", [False, True])
@pytest.mark.parametrize("start", range(0, 2000, 100))
def test_many_decided_verdicts_survive_many_ways_of_filling_in(start: int, in_space: bool) -> None:
    for seed in range(start, start + 100):
        survives(seed, fills=12, in_space=in_space)


def verdicts(sheets: Sheets, seed: int, where: Path) -> list[str]:
    """Of every check that a person may ask for."""
    build = partkin.load_build(write(sheets, where, settings_of(seed)))
    return [partkin.check(build, donor, host or None, others=False).verdict for donor, host in questions(sheets)]


def stand(seed: int, where: Path) -> int:
    """How many verdicts of a build of which little is said are decided; none is another when all is said.

    Readings are coarse there, so more of them may leave open what fewer had decided: that is no contradiction.
    """
    little = verdicts(less_known(seed), seed, where / f"little-{seed}")
    if all(word in OPEN for word in little):
        return 0
    found = list(zip(little, verdicts(whole_sheets(seed), seed, where / f"all-{seed}"), strict=True))
    assert [pair for pair in found if not set(pair) & set(OPEN) and len(set(pair)) > 1] == [], seed
    return sum(word not in OPEN for word in little)


def test_what_little_decides_stands_when_all_is_said(tmp_path: Path) -> None:
    """Whole sheets, in the plane and in space; 40: a stud that nothing goes on, of a size that nobody took."""
    assert sum(stand(seed, tmp_path) for seed in range(34, 44)) >= 4


@pytest.mark.slow
@pytest.mark.parametrize("start", range(0, 1000, 50))
def test_what_little_decides_stands_when_all_is_said_in_many(start: int, tmp_path: Path) -> None:
    for seed in range(start, start + 50):
        stand(seed, tmp_path)
