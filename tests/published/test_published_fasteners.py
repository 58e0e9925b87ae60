"""Fixed and floating fastener examples, and threads that must not be joined. Sources: the rows' own columns."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from partkin.fit.mating import allowed_play, threads_clash
from partkin.model.build import Feature
from partkin.tables import parse_thread

HERE = Path(__file__).parent / "fasteners"


def rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as sheet:
        return list(csv.DictReader(sheet))


EXAMPLES = {row["example_id"]: row for row in rows("gdt.csv")}


def inputs(example: str) -> dict[str, float]:
    return {k: float(v) for k, v in re.findall(r"(\w+)=([\d.]+)", EXAMPLES[example]["inputs"])}


@pytest.mark.parametrize("example", ["G01", "G03", "G16"])
def test_floating_each_hole_gets_half_of_what_is_over(example: str) -> None:
    """T = H - F is a diameter for each part: two such holes allow T/2 each, T in all."""
    given = inputs(example)
    assert allowed_play("floating", given["H"], given["H"], given["F"]) == pytest.approx(
        float(EXAMPLES[example]["answer"])
    )


@pytest.mark.parametrize(("example", "factor"), [("G02", 1.0), ("G10", 1.0), ("G08", 1.0)])
def test_fixed(example: str, factor: float) -> None:
    given = inputs(example)
    assert allowed_play("fixed by the host", given["F"], given["H"]) * factor == pytest.approx(
        float(EXAMPLES[example]["answer"])
    )


def test_loose_bolt_through_two_different_holes() -> None:
    given = inputs("G11")
    assert allowed_play("floating", given["H1"], given["H2"], given["F"]) == pytest.approx(
        float(EXAMPLES["G11"]["answer"])
    )


@pytest.mark.parametrize("example", ["G05", "G06", "G07", "G09"])
def test_smallest_hole_leaves_just_the_tolerances(example: str) -> None:
    """H = F + T1 + T2 (fixed) and H = F + T (floating): then the play is exactly used up."""
    given, answer = inputs(example), float(re.findall(r"[\d.]+", EXAMPLES[example]["answer"])[0])
    if example == "G05":
        assert 2 * allowed_play("fixed by the host", given["F"], given["H"]) == pytest.approx(given["T2"] + answer)
    elif example == "G06":
        assert 2 * allowed_play("fixed by the host", given["F"], answer) == pytest.approx(given["T1"] + given["T2"])
    elif example == "G07":
        assert allowed_play("floating", answer, answer, given["F"]) == pytest.approx(given["T"])
    else:
        short = given["T1"] + given["T2"] - 2 * allowed_play("fixed by the host", given["F"], given["H"])
        assert short == pytest.approx(answer)


def test_a_bolt_larger_than_one_hole_gains_nothing_from_the_other() -> None:
    """The contract's rule; no published row relies on it alone."""
    assert allowed_play("floating", 20.0, 15.0, 16.0) == pytest.approx(-0.5)


@pytest.mark.parametrize("row", rows("near_misses.csv"), ids=lambda row: row["pair_id"])
def test_threads_that_must_not_be_joined(row: dict[str, str]) -> None:
    nut = Feature("h", "F1", "tapped hole", thread=row["thread_a"])
    hole = Feature("d", "a", "hole", thread=row["thread_b"])
    one, other = parse_thread(row["thread_a"]), parse_thread(row["thread_b"])
    assert one is not None and other is not None
    assert one.major_mm == pytest.approx(float(row["major_a_mm"]), abs=0.002)
    assert other.pitch_mm == pytest.approx(float(row["pitch_b_mm"]), abs=0.0005)
    clash = threads_clash(nut, hole)
    assert (clash is None) == (row["may_join"] == "yes")
    if clash is not None:
        assert row["thread_a"] in clash and row["thread_b"] in clash
        same = Feature("d", "a", "hole", thread=row["thread_a"])
        assert threads_clash(nut, same) is None
