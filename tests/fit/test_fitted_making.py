"""What measured sister parts tell of how parts come about: fitted where it is known how they were made."""

from __future__ import annotations

import numpy as np
import pytest

from partkin.choosing.score import calibration, with_sisters
from partkin.fit.discrepancies import Discrepancies, discrepancies
from partkin.fit.fitted_making import _bounds, fitted
from partkin.model.known import FittedMaking, Making

MAKING = Making(0.1, (0.3, 0.6, 1.2, 2.5, 5.0, 10.0, 20.0), 0.4, 0.15, 0.1, 0.35)
PLATE = np.array([(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0), (150.0, 90.0)])


def made(random: np.random.Generator, share: float, scatter_mm: float) -> Discrepancies:
    """One donor: of the same drawing, or with one hole or all holes moved; both sides read to 0.1 mm."""
    donor = PLATE + random.normal(scale=scatter_mm, size=PLATE.shape)
    if random.random() > share:
        moved = random.normal(scale=random.choice(MAKING.spreads_mm), size=PLATE.shape)
        one = np.arange(len(PLATE)) == random.integers(len(PLATE))
        donor += moved * (one[:, None] if random.random() < 0.5 else 1.0)
    spread = np.eye(PLATE.size) * 0.1**2
    read = [at + random.normal(scale=0.1, size=PLATE.shape) for at in (PLATE, donor)]
    return discrepancies(read[0], read[1], spread, spread, np.eye(2))


def test_what_was_put_in_comes_out() -> None:
    random = np.random.default_rng(1)
    found = fitted([made(random, 0.7, 0.2) for _ in range(40)], MAKING)
    assert found.one_drawing_low <= 0.7 <= found.one_drawing_high and found.one_drawing_low > 0.3
    assert found.scatter_low_mm <= 0.2 <= found.scatter_high_mm and found.scatter_high_mm < 0.35


@pytest.mark.slow
def test_both_bounds_hold_about_as_often_as_they_say() -> None:
    """40 populations of 60 donors: about 95 times in 100; under 33 is hardly luck."""
    held = [0, 0]
    for seed in range(40):
        random = np.random.default_rng(seed)
        share, scatter_mm = float(random.uniform(0.3, 0.9)), float(random.uniform(0.05, 0.4))
        found = fitted([made(random, share, scatter_mm) for _ in range(60)], MAKING)
        held[0] += found.one_drawing_low <= share <= found.one_drawing_high
        held[1] += found.scatter_low_mm <= scatter_mm <= found.scatter_high_mm
    assert min(held) >= 33, held


def test_too_few_are_not_fitted_and_enough_change_nothing_by_themselves() -> None:
    def asked() -> FittedMaking:
        raise AssertionError("too few to be asked about")

    few = with_sisters(calibration([]), [0.75] * 3, 0.1, asked)
    assert few.making is None and "3 measured sister parts: too few" in few.making_says
    enough = with_sisters(calibration([]), [0.75] * 25, 0.1, lambda: FittedMaking(0.6, 0.4, 0.8, 0.2, 0.1, 0.3))
    assert "Nothing changes until you say so: same_drawing = 0.60 and scatter_mm = 0.20" in enough.making_says


def test_bounds_reach_outwards_to_the_next_that_was_tried() -> None:
    """A fall of 1.92 from the best is what 95 % of a chi-square of one degree allows (half of 3.84)."""
    values = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0])
    assert _bounds(np.array([-9.0, -9.0, -1.9, 0.0, -1.95, -9.0]), values) == (2.0, 5.0)
    assert _bounds(np.array([-9.0, -1.95, -1.9, 0.0, -1.9, -9.0]), values) == (2.0, 6.0)
    assert _bounds(np.zeros(6), values) == (1.0, 6.0)
