"""How stated chances fare."""

from __future__ import annotations

import random

import pytest

from partkin.choosing.score import calibration, interval
from partkin.model.build import Outcome
from partkin.report.ranking import score_text


def outcomes(count: int, stated: float, true: float, seed: int = 1) -> list[Outcome]:
    dice = random.Random(seed)
    return [
        Outcome(f"d{n}", None, None, "fits" if dice.random() < true else "did not fit", chance_then=stated)
        for n in range(count)
    ]


def test_too_few_to_tell() -> None:
    found = calibration(outcomes(5, 0.9, 0.9))
    assert not found.enough and "too few to tell" in found.says


def test_chances_that_hold_and_chances_that_do_not() -> None:
    assert calibration(outcomes(400, 0.8, 0.8)).says.endswith("have held")
    assert "not held" in calibration(outcomes(400, 0.8, 0.4)).says


def test_chances_that_hold_are_rarely_said_not_to() -> None:
    """Four bins at once, 400 times over: at most 5 % false alarms are meant; beyond 8 % by luck alone in 1 of 200."""
    false = 0
    for seed in range(400):
        told = [
            one for n, stated in enumerate((0.02, 0.3, 0.8, 0.97))
            for one in outcomes(60, stated, stated, 1000 * n + seed)
        ]  # fmt: skip
        false += "not held" in calibration(told).says
    assert false <= 32


def test_too_few_are_not_marked() -> None:
    assert "outside" not in score_text(calibration(outcomes(3, 0.99, 0.0)))
    assert "outside" in score_text(calibration(outcomes(30, 0.99, 0.0)))


def test_what_says_neither_is_left_out() -> None:
    assert calibration([Outcome("d", None, None, "sold to somebody else", chance_then=0.5)]).count == 0


@pytest.mark.parametrize(("yes", "count"), [(0, 5), (5, 5), (3, 7), (90, 100)])
def test_interval_solves_its_own_equation(yes: int, count: int) -> None:
    """Wilson's bounds p solve (share - p)^2 = z^2 p (1 - p) / n (Wilson, 1927)."""
    for bound in interval(yes, count):
        left = (yes / count - bound) ** 2
        assert left == pytest.approx(1.959963985**2 * bound * (1 - bound) / count, abs=1e-9)
