"""On random builds, whole and partial: what is decided can be confirmed, and the order of the rows changes no byte."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest

import partkin
from campaigns import laws
from campaigns.partial_builds import Sheets, partial, questions, settings, whole, write
from partkin.model.build import Build
from partkin.model.words import NOT_ENOUGH
from partkin.report.verdict_file import verdict_json
from partkin.verify.verify import confirm

SHUFFLED = ("models.csv", "parts.csv", "features.csv", "readings.csv", "neighbours.csv", "connectors.csv")


KINDS: dict[str, Callable[[int], Sheets]] = {"partial": partial, "whole": whole}


def refused(kind: str, seed: int, where: Path) -> tuple[int, list[str]]:
    """How many verdicts of a build are decided, and which of them the verifier does not confirm."""
    sheets = KINDS[kind](seed)
    build, decided, faults = loaded(sheets, seed, where), 0, []
    for donor, host in questions(sheets):
        tree = json.loads(verdict_json(partkin.check(build, donor, host or None, others=False)))
        if tree["verdict"] != NOT_ENOUGH:
            decided += 1
            faults += [f"{seed} {donor} {host}: {said}" for said in confirm(tree, build).refused]
    return decided, faults


def loaded(sheets: Sheets, seed: int, where: Path) -> Build:
    return partkin.load_build(write(sheets, where / f"build-{seed}", settings(seed)))


def shuffled(sheets: Sheets, seed: int) -> Sheets:
    """The same rows in another order; corners of zones stay as they are numbered."""
    draw = Random(f"order {seed}")
    return {name: draw.sample(rows, len(rows)) if name in SHUFFLED else rows for name, rows in sheets.items()}


def same_bytes(kind: str, seed: int, where: Path) -> int:
    """Ask of a build and of its rows in another order; how many verdicts were compared."""
    sheets = KINDS[kind](seed)
    one, other = loaded(sheets, seed, where / "one"), loaded(shuffled(sheets, seed), seed, where / "other")
    for donor, host in questions(sheets):
        first, second = (verdict_json(partkin.check(b, donor, host or None, others=False)) for b in (one, other))
        assert first == second, (seed, donor, host)
    return len(questions(sheets))


@pytest.mark.parametrize(
    ("kind", "seeds", "least"),
    [("partial", range(30), 5), *(("whole", range(start, start + 10), 10) for start in (0, 10, 20))],
)
def test_what_is_decided_is_confirmed(kind: str, seeds: range, least: int, tmp_path: Path) -> None:
    """Few of the partial builds are decided at all, so they are counted together. On more: tests/campaigns/laws.py."""
    found = [refused(kind, seed, tmp_path) for seed in seeds]
    assert [fault for _, faults in found for fault in faults] == []
    assert sum(decided for decided, _ in found) >= least


@pytest.mark.parametrize("start", range(1020, 1040, 10))
@pytest.mark.parametrize("kind", KINDS)
def test_the_order_of_the_rows_changes_nothing(kind: str, start: int, tmp_path: Path) -> None:
    assert sum(same_bytes(kind, seed, tmp_path) for seed in range(start, start + 10)) >= 10


@pytest.mark.slow
@pytest.mark.parametrize("start", range(1040, 1240, 20))
@pytest.mark.parametrize("kind", KINDS)
def test_the_order_of_the_rows_changes_nothing_on_more(kind: str, start: int, tmp_path: Path) -> None:
    assert sum(same_bytes(kind, seed, tmp_path) for seed in range(start, start + 20)) >= 20


# 63, 321: a part number decides, a float or a slot's direction is not known. 430: in space, a seam lies elsewhere.
# 90: in space, few starts find no placement of two of three. 2717: a part of an assembly whose host is not named.
# 3875: what is no fixing makes a part uneven. 6058: a seam lies elsewhere on a panel that gives. 6462: after work.
# 7871: of what shows the fixings no place is known. 7905: two places in space and distances tell no directions.
@pytest.mark.parametrize("seed", [63, 90, 321, 430, 2717, 3875, 6058, 6462, 7871, 7905])
def test_answers_that_were_once_refused_are_confirmed(seed: int, tmp_path: Path) -> None:
    found = list(laws.faults_of(seed, tmp_path, {}))
    assert [said for _, said in found if said] == [] and found


# 2743: laid on as read and as its mirror image it has the same margin but for rounding, and one of them holds more.
@pytest.mark.parametrize("seed", [0, 3, 6, 7, 9, 2743])
def test_answers_keep_the_laws(seed: int, tmp_path: Path) -> None:
    """On more: tests/campaigns/laws.py."""
    assert [said for _, said in laws.faults_of(seed, tmp_path, laws.SAME | laws.NO_WORSE) if said] == []
