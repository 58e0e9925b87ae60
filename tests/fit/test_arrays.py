"""Offsets of pairs with slots on either side, against a distance worked out another way."""

import math

import numpy as np
import pytest
from flat_cases import pattern
from reference import distance, excesses

from partkin.fit.arrays import Pairs, directions
from partkin.model.fitting import FitTask, Spot


@pytest.mark.parametrize("seed", range(10))
def test_excess_is_the_distance_less_the_play(seed):
    rng = np.random.default_rng(seed)
    pairs, _ = pattern(rng, 12, slots=True, noise_mm=3.0)
    angle, shift = rng.uniform(-3, 3), rng.uniform(-5, 5, 2)
    assert pairs.excess(angle, shift) == pytest.approx(excesses(pairs, angle, shift), abs=1e-9)
    assert pairs.offsets(angle, shift) == pytest.approx(pairs.excess(angle, shift) + pairs.rho)


@pytest.mark.parametrize(
    ("v", "angle_h", "s_h", "angle_d", "s_d", "expected"),
    [
        ((3, 4), 0, 0, 0, 0, 5.0),
        ((3, 4), 0, 3, 0, 0, 4.0),
        ((3, 4), 0, 2, 0, 0, math.hypot(1, 4)),
        ((3, 4), 0, 1, 0, 1, math.hypot(1, 4)),  # two slots in one direction add up
        ((3, 4), 0, 3, 90, 4, 0.0),
        ((3, 4), 0, 3, 90, 1, 3.0),
        ((3, 4), 0, 1, 90, 1, math.hypot(2, 3)),
        ((0, 2), 0, 5, 45, 1, 2 - math.sqrt(0.5)),
    ],
)
def test_slots_add(v, angle_h, s_h, angle_d, s_d, expected):
    pairs = Pairs.plain([v], [(0, 0)], 0.0, s_h=s_h, angle_h_deg=angle_h, s_d=s_d, angle_d_deg=angle_d)
    assert pairs.offsets(0.0, (0.0, 0.0))[0] == pytest.approx(expected, abs=1e-12)
    u, w = directions(np.array([angle_h, angle_d]))
    assert distance(np.array(v), u, s_h, w, s_d) == pytest.approx(expected, abs=1e-12)


def test_a_donor_slot_turns_with_the_donor():
    pairs = Pairs.plain([(0, 0)], [(0, 3)], 0.5, s_d=5.0)
    assert pairs.offsets(0.0, (0, 0))[0] == pytest.approx(3.0)
    assert pairs.offsets(math.pi / 2, (0, 0))[0] == pytest.approx(0.0)


def test_what_a_task_cannot_give_is_a_bug():
    flat = FitTask((Spot("F1", (0.0, 0.0)),), (Spot("a", (0.0, 0.0)),), ())
    with pytest.raises(KeyError):
        Pairs.of(flat, [("F1", "a")])


def test_swapping_twice_changes_nothing_and_once_turns_the_other_way():
    rng = np.random.default_rng(1)
    pairs, _ = pattern(rng, 5, slots=True)
    angle, shift = 0.4, np.array([3.0, -2.0])
    c, s = math.cos(angle), math.sin(angle)
    back = -(np.array([[c, s], [-s, c]]) @ shift)
    assert pairs.swapped().excess(-angle, back) == pytest.approx(pairs.excess(angle, shift))
    assert pairs.swapped().swapped().p is pairs.p
