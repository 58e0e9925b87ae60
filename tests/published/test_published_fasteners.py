"""Fixed and floating fastener examples. Sources: the rows' own columns."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from partkin.fit.arrays import Pairs
from partkin.fit.mating import allowed_play

with (Path(__file__).parent / "fasteners" / "gdt.csv").open(encoding="utf-8", newline="") as _sheet:
    EXAMPLES = {row["example_id"]: row for row in csv.DictReader(_sheet)}


def inputs(example: str) -> dict[str, float]:
    return {k: float(v) for k, v in re.findall(r"(\w+)=([\d.]+)", EXAMPLES[example]["inputs"])}


def answer(example: str) -> float:
    return float(re.findall(r"[\d.]+", EXAMPLES[example]["answer"])[0])


def stud(fastener: float, hole: float) -> float:
    """Radial play of a fastener that stands fast in the host, (H - F)/2."""
    return float(allowed_play("fixed by the host", fastener, hole))


def bolt(hole: float, other: float, fastener: float) -> float:
    """Radial play of a loose bolt through two holes, (H1 - F)/2 + (H2 - F)/2."""
    return float(allowed_play("floating", hole, other, fastener))


# What the play has to be where the example holds: (the program's, the example's). Tolerances of position are diameters.
PLAYS = {
    "G01": lambda e, H, F: (bolt(H, H, F), e),
    "G02": lambda e, H, F: (stud(F, H), e),
    "G03": lambda e, H, F: (bolt(H, H, F), e),
    # As a hole grows above its least size, so does its play: by the bonus, a diameter.
    "G04": lambda e, MMC, actual, T: (T + 2 * (stud(8.0, actual) - stud(8.0, MMC)), e),
    "G05": lambda e, H, F, T2: (2 * stud(F, H), T2 + e),
    "G06": lambda e, F, T1, T2: (2 * stud(F, e), T1 + T2),
    "G07": lambda e, F, T: (bolt(e, e, F), T),
    "G08": lambda e, H, F: (stud(F, H), e),
    "G09": lambda e, H, F, T1, T2: (T1 + T2 - 2 * stud(F, H), e),
    "G10": lambda e, H, F: (stud(F, H), e),
    "G11": lambda e, H1, H2, F: (bolt(H1, H2, F), e),
    # The play is used up by both positions and by how far the screw's own zone leans over the thickness P.
    "G12": lambda e, F, T1, T2, P, D: (2 * stud(F, e), T1 + T2 * (1 + 2 * P / D)),
    "G13": lambda e, F, T1, T2, P: (2 * stud(F, e), T1 + T2),
    # The same screw as in G12: what its hole leaves over the other part's half tolerance.
    "G14": lambda e, T2, P, D: (stud(10.0, answer("G12")) - T2 / 2, e),
    "G15": lambda e, dx, dy: (2 * float(Pairs.plain([(dx, dy)], [(0, 0)], 0.0).offsets(0.0, (0, 0))[0]), e),
    "G16": lambda e, H, F: (bolt(H, H, F), e),
}


@pytest.mark.parametrize("example", EXAMPLES)
def test_play_is_what_the_standards_formula_leaves(example: str) -> None:
    ours, theirs = PLAYS[example](answer(example), **inputs(example))
    assert ours == pytest.approx(theirs, abs=1e-9)


def test_a_bolt_larger_than_one_hole_gains_nothing_from_the_other() -> None:
    """The contract's rule; no published row relies on it alone."""
    assert allowed_play("floating", 20.0, 15.0, 16.0) == pytest.approx(-0.5)
