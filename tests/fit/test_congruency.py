"""The congruency test of deformation surveys on a network that can be recomputed by hand.

The formula is Pelzer's (Zur Analyse geodätischer Deformationsmessungen, 1971, from memory): with d what two epochs of a
free network depart by and Q its cofactors, d^T Q^+ d over the variance is chi-square with its free directions.
A published network with the coordinates of both epochs at hand was not found, so this one is invented.

Four points, a square of 200 mm; each coordinate of both epochs known to a standard deviation of 0.1 mm, so a
difference to 0.02 mm^2. The third, at (100, 100) from the middle, moves by 1.2 mm along x. Laying one epoch on the
other takes a quarter of that (the shift) and, of its square, an eighth (the turn: moment 100 x 1.2, over 4 x 20000):
what is left is 1.44 x (1 - 1/4 - 1/8) = 0.9, and 0.9 / 0.02 = 45. With 8 - 3 = 5 free directions 11.07 is exceeded in
5 of 100: moved. Without the third point the others are congruent, 0; without any other 1.44 x (1 - 1/3 - turn) is left.
"""

from __future__ import annotations

import numpy as np
import pytest

from partkin.fit.discrepancies import Discrepancies, discrepancies
from partkin.fit.making import weigh
from partkin.model.distributions import chi_square_tail
from partkin.model.known import Making

SQUARE = np.array([(-100.0, -100.0), (100.0, -100.0), (100.0, 100.0), (-100.0, 100.0)])
MOVED = np.array([(0.0, 0.0), (0.0, 0.0), (1.2, 0.0), (0.0, 0.0)])


def epochs(keep: list[int]) -> Discrepancies:
    spread = np.eye(2 * len(keep)) * 0.1**2
    return discrepancies(SQUARE[keep], (SQUARE + MOVED)[keep], spread, spread, np.eye(2))


def departs(of: Discrepancies) -> float:
    return float((of.y_mm**2 / of.variance_mm2).sum())


def test_the_global_test_says_that_something_moved() -> None:
    of = epochs([0, 1, 2, 3])
    assert len(of.y_mm) == 5
    # The turn is taken exactly here, to first order by hand.
    assert departs(of) == pytest.approx(45.0, rel=0.01)
    assert chi_square_tail(11.07, 5) == pytest.approx(0.05, abs=1e-4)
    assert chi_square_tail(departs(of), 5) < 0.001


@pytest.mark.parametrize("left_out", range(4))
def test_the_rest_is_congruent_only_without_the_point_that_moved(left_out: int) -> None:
    of = epochs([k for k in range(4) if k != left_out])
    assert len(of.y_mm) == 3
    if left_out == 2:
        assert departs(of) == pytest.approx(0.0, abs=1e-9)
        return
    # By hand: of three corners the middle is a third of the way in, and the arms add up to 2/3 of three squared sides.
    at = SQUARE[[k for k in range(4) if k != left_out]]
    arm = at - at.mean(axis=0)
    moment = -arm[[k for k in range(4) if k != left_out].index(2), 1] * 1.2
    left = 1.44 * (1 - 1 / 3) - moment**2 / float((arm**2).sum())
    assert departs(of) == pytest.approx(left / 0.02, rel=0.01)
    assert departs(of) > 7.81  # exceeded in 5 of 100, 3 free directions


def test_the_point_that_moved_is_the_one_that_is_weighed_most() -> None:
    """Of the ways in which one hole of another drawing stands elsewhere, the third has nearly all of the weight."""
    making = Making(scatter_mm=0.0, spreads_mm=(1.2,), one_hole=1.0, two_holes=0.0, group=0.0, all_holes=0.0)
    found = weigh(epochs([0, 1, 2, 3]), making, 0.5)
    each = [float(found.weight[found.few == k].sum()) for k in range(4)]
    assert found.one_drawing < 1e-4
    assert int(np.argmax(each)) == 2 and each[2] > 0.99
