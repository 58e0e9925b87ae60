"""Slopes and curvature of the constraints that a placement is walked by, against finite differences."""

from __future__ import annotations

import numpy as np
import pytest
from flat_cases import pattern
from space_tasks import random_known

from partkin.fit.arrays import Pairs
from partkin.fit.cones import Cones, LaidConstraints
from partkin.fit.rotations import turned_by


def some_pairs(seed: int, d: int) -> Pairs:
    """Random known pairs, slots on either side among them."""
    if d == 2:
        return pattern(np.random.default_rng([seed, 9]), 4, True)[0]
    task = random_known(seed)
    return Pairs.of(task, [(option.fixing, option.feature) for option in task.options])


@pytest.mark.parametrize("d", [2, 3])
@pytest.mark.parametrize("seed", range(12))
def test_slopes_and_bend_are_the_derivatives(seed: int, d: int) -> None:
    random = np.random.default_rng([seed, d])
    cones = Cones(some_pairs(seed, d))
    turn = turned_by(random.normal(size=3) * 0.3)[None] if d == 3 else np.eye(2)[None]
    shift, slid = random.normal(size=(1, d)), random.normal(size=(1, cones.slots))
    t = cones.turns

    def laid(step: np.ndarray) -> LaidConstraints:
        """At a turn, shift and way along the slots that differ by a step; z, which inflates the plays, stays at 0."""
        by, shifted, slides = step[:t], step[t : t + d], step[t + d + 1 :]
        return cones.lay(cones.turned(turn, by[None]), shift + shifted, slid + slides)

    def matches(slope: np.ndarray, found: np.ndarray) -> bool:
        return bool(np.abs(slope - found).max(initial=0.0) < 1e-6 * max(1.0, np.abs(slope).max(initial=0.0)))

    width = t + d + 1 + cones.slots
    here, step_mm = laid(np.zeros(width)), 3e-4 * cones.size_mm
    for one in set(range(width)) - {cones.z}:
        more, less = laid(step_mm * np.eye(width)[one]), laid(-step_mm * np.eye(width)[one])
        assert matches(here.ends_by[..., one], (more.ends - less.ends) / (2 * step_mm))
        assert matches(here.lines_by[..., one], (more.lines - less.lines) / (2 * step_mm))
    assert (here.ends_by[..., 0, cones.z] == 1.0).all() and not here.ends_by[..., 1:, cones.z].any()
    assert (here.lines_by[:, : cones.lines - 2 * cones.slots, cones.z] == 1.0).all()
    ends, lines = random.normal(size=here.ends.shape), random.normal(size=here.lines.shape)

    def carried(step: np.ndarray) -> float:
        there = laid(step)
        return float((ends * there.ends).sum() + (lines * there.lines).sum())

    far_mm = 0.02 * cones.size_mm
    curved = [
        [sum(i * k * carried(far_mm * (i * a + k * b)) for i in (1, -1) for k in (1, -1)) for b in np.eye(width)[:t]]
        for a in np.eye(width)[:t]
    ]
    bend = cones.bend(ends, lines, here.levers)[0]
    assert np.abs(bend + np.array(curved) / (2 * far_mm) ** 2).max() < 1e-3 * np.abs(bend).max()
