"""Slopes and curvature of the constraints that a placement is walked by, against finite differences."""

from __future__ import annotations

import numpy as np
import pytest
from flat_cases import pattern
from space_tasks import random_known

from partkin.fit.arrays import Pairs
from partkin.fit.cones import Cones, LaidConstraints, Program, _convex
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


@pytest.mark.parametrize("hold_turn", [False, True])
@pytest.mark.parametrize("d", [2, 3])
@pytest.mark.parametrize("seed", range(6))
def test_programs_have_room_for_every_slope(seed: int, d: int, hold_turn: bool) -> None:
    """Slopes at many turns and shifts, and the limits of the turn, against what is kept of the matrix."""
    random = np.random.default_rng([seed, d, 3])
    cones = Cones(some_pairs(seed, d))
    program = Program(cones, hold_turn)
    m, t = 40, cones.turns
    turn = turned_by(random.normal(size=(m, 3 if d == 3 else 1)))
    laid = cones.lay(turn, random.normal(size=(m, d)), random.normal(size=(m, cones.slots)))
    rows = np.concatenate([laid.ends_by.reshape(m, -1, laid.ends_by.shape[-1]), laid.lines_by], axis=1)
    limits = np.zeros((0 if hold_turn else 2 * t, rows.shape[2]))
    if not hold_turn:
        limits[:t, :t], limits[t:, :t] = np.eye(t), -np.eye(t)
    used = np.concatenate([(rows != 0).any(axis=0), limits != 0])[:, t if hold_turn else 0 :]
    # A slope that is nothing, as across an axis that points along one of the part's own, may have room.
    assert program.can.shape == used.T.shape and (program.can.T | ~used).all()


@pytest.mark.parametrize("hold_turn", [False, True])
@pytest.mark.parametrize("d", [2, 3])
@pytest.mark.parametrize("seed", range(8))
def test_a_step_is_the_best_of_its_program(seed: int, d: int, hold_turn: bool) -> None:
    """Its forces balance the objective and what the turn bends, and press only where a constraint is met."""
    random = np.random.default_rng([seed, d, 4])
    cones = Cones(some_pairs(seed, d))
    m, t, z = 3, cones.turns, cones.z
    turn = turned_by(0.3 * random.normal(size=(m, 3 if d == 3 else 1)))
    laid = cones.lay(turn, random.normal(size=(m, d)), np.zeros((m, cones.slots)))
    root = random.normal(size=(m, t, t))
    bend, trust = root @ np.swapaxes(root, 1, 2) * 1e-2, np.array([1e3, 0.5, 0.05])
    step, ends, lines = Program(cones, hold_turn).solve(laid, bend, trust)
    for k in range(m):
        rest = np.eye(step.shape[1])[z] - np.einsum("er,eru->u", ends[k].reshape(-1, 3), laid.ends_by[k])
        rest -= lines[k] @ laid.lines_by[k]
        turned = bend[k] @ step[k, :t] + rest[:t]
        assert rest[t:] == pytest.approx(0.0, abs=1e-6)
        if hold_turn:
            assert not step[k, :t].any()
        else:
            # Where the turn stops short of its limit nothing holds it, at the limit it is held back.
            short = trust[k] - np.abs(step[k, :t])
            assert (short >= -1e-6).all() and turned * short == pytest.approx(0.0, abs=2e-6)
            assert (turned * step[k, :t] <= 1e-6).all()
        there = laid.ends[k] + laid.ends_by[k] @ step[k]
        slack = laid.lines[k] + laid.lines_by[k] @ step[k]
        assert (there[:, 0] >= np.hypot(there[:, 1], there[:, 2]) - 1e-5).all() and (slack >= -1e-5).all()
        assert (ends[k] * there).sum() + lines[k] @ slack == pytest.approx(0.0, abs=1e-4)
        assert (ends[k][:, 0] >= np.hypot(ends[k][:, 1], ends[k][:, 2]) - 1e-7).all() and (lines[k] >= -1e-7).all()


@pytest.mark.parametrize("d", [2, 3])
@pytest.mark.parametrize("seed", range(6))
def test_forces_are_what_a_shift_works_against(seed: int, d: int) -> None:
    """What ends and lines give way to, for a shift of the donor, is what the forces on it add up to."""
    random = np.random.default_rng([seed, d, 5])
    cones = Cones(some_pairs(seed, d))
    turn = turned_by(random.normal(size=(1, 3 if d == 3 else 1)))
    laid = cones.lay(turn, random.normal(size=(1, d)), np.zeros((1, cones.slots)))
    ends, lines = random.normal(size=laid.ends.shape), random.normal(size=laid.lines.shape)
    across, along, lean = cones.forces(ends, lines)
    given = np.einsum("mer,meru->u", ends, laid.ends_by) + lines[0] @ laid.lines_by[0]
    assert across.sum(axis=(0, 1)) + along.sum(axis=(0, 1)) == pytest.approx(-given[cones.by_shift])
    n = len(cones.pairs)
    assert lean.shape == (1, n if d == 3 else 0) and lean == pytest.approx(
        1000.0 * lines[:, 2 * n : 3 * n][:, : lean.shape[1]]
    )
    if d == 3:
        pressed = np.einsum("end,ed->en", cones.basis, across[0])
        assert pressed == pytest.approx(-ends[0, :, 1:])
        assert (along[0] * cones.pairs.a).sum(axis=1) == pytest.approx(lines[0, :n] - lines[0, n : 2 * n])
        assert np.cross(along[0], cones.pairs.a) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("d", [2, 3])
@pytest.mark.parametrize("seed", range(6))
def test_bent_constraints_stand_after_the_step_as_they_truly_do_there(seed: int, d: int) -> None:
    random = np.random.default_rng([seed, d, 6])
    cones = Cones(some_pairs(seed, d))
    m, width = 3, cones.rails.shape[1]
    turn = turned_by(random.normal(size=(m, 3 if d == 3 else 1)))
    laid = cones.lay(turn, random.normal(size=(m, d)), random.normal(size=(m, cones.slots)))
    there = cones.lay(turn[[2, 0]], random.normal(size=(2, d)), random.normal(size=(2, cones.slots)))
    step = random.normal(size=(2, width))
    bent = laid.bent_by(there, np.array([2, 0]), step, cones.z)
    still = step.copy()
    still[:, cones.z] = 0.0
    assert bent.ends + np.einsum("meru,mu->mer", laid.ends_by[[2, 0]], still) == pytest.approx(there.ends)
    assert bent.lines + np.einsum("mlu,mu->ml", laid.lines_by[[2, 0]], still) == pytest.approx(there.lines)
    assert np.array_equal(bent.ends_by, laid.ends_by[[2, 0]]) and np.array_equal(bent.levers, laid.levers[[2, 0]])
    assert (step[:, cones.z] != 0).all()


def test_the_nearest_that_bends_upwards_only() -> None:
    axes = np.linalg.qr(np.random.default_rng(1).normal(size=(3, 3)))[0]
    sizes = np.array([[2.0, -3.0, 0.5], [-1.0, -2.0, 4.0]])
    bend = np.stack([axes @ np.diag(size) @ axes.T for size in sizes])
    expected = np.stack([axes @ np.diag(np.maximum(size, 0.0)) @ axes.T for size in sizes])
    assert _convex(bend) == pytest.approx(expected)
