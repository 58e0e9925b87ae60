"""Bounds over boxes of rotations, each written down once more term by term as the module states it."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import lsq_linear
from space_tasks import random_known

from partkin.fit.arrays import LEAN_COS, Pairs
from partkin.fit.rotations import matrix_of
from partkin.fit.space_bound import (
    Boxes,
    Force,
    ForceBound,
    apart_always,
    apart_forms,
    ball_mm,
    lean_forms,
    least,
    least_each,
    quaternions,
)


def plainly(form: np.ndarray, c: np.ndarray, h: np.ndarray) -> float:
    """What a form does not go below over a box: the module's formula."""
    at = form @ c
    value = c @ at - 2 * sum(h[j] * abs(at[j]) for j in range(4))
    value += sum(min(0.0, form[j, j]) * h[j] ** 2 for j in range(4))
    return float(value - 2 * sum(abs(form[j, k]) * h[j] * h[k] for j in range(4) for k in range(j + 1, 4)))


def some_boxes(rng: np.random.Generator, count: int) -> Boxes:
    ends = np.sort(rng.uniform(-1, 1, (2, count, 3)), axis=0)
    return Boxes(rng.integers(0, 4, count), ends[0], ends[1])


def some_pairs(seed: int) -> tuple[Pairs, np.random.Generator]:
    """Pairs with slots, grip and depth on some, at least three of them."""
    rng = np.random.default_rng([seed, 4])
    task = next(one for one in (random_known(s) for s in range(50 * seed, 50 * seed + 50)) if len(one.options) >= 3)
    pairs = Pairs.of(task, [(o.fixing, o.feature) for o in task.options])
    n = len(pairs)
    some = rng.random((3, n)) < 0.6
    return (
        Pairs(
            pairs.p, pairs.q, pairs.rho, rng.uniform(1, 6, n) * some[0], pairs.u_h, rng.uniform(1, 6, n) * some[1],
            pairs.u_d, rng.uniform(0, 3, n), pairs.a, pairs.b, rng.uniform(2, 9, n) * some[2],
        ),
        rng,
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(6))
def test_what_forms_do_not_go_below_over_boxes(seed: int) -> None:
    rng = np.random.default_rng(seed)
    forms = rng.normal(size=(5, 4, 4))
    forms += np.swapaxes(forms, 1, 2)
    boxes = some_boxes(rng, 5)
    middle, half = boxes.middle()
    expected = np.array([[plainly(form, c, h) for form in forms] for c, h in zip(middle, half, strict=True)])
    assert least(forms, middle, half) == pytest.approx(expected, abs=1e-12)
    assert least_each(forms, middle, half) == pytest.approx(np.diagonal(expected), abs=1e-12)
    for _ in range(20):
        q = quaternions(boxes.largest, rng.uniform(boxes.lo, boxes.hi), 1.0)
        assert (np.einsum("bi,kij,bj->bk", q, forms, q) >= expected - 1e-12).all()


def test_the_four_boxes_hold_every_rotation_and_middles_stand_in_order() -> None:
    boxes = Boxes.all()
    assert len(boxes) == 4 and boxes.largest.tolist() == [0, 1, 2, 3]
    assert (boxes.lo == -1.0).all() and (boxes.hi == 1.0).all() and boxes.lo.shape == boxes.hi.shape == (4, 3)
    one = Boxes(np.array([0, 2]), np.array([[-1.0, 0.0, 0.5]] * 2), np.array([[0.0, 0.5, 1.0]] * 2)).take(np.array([1]))
    middle, half = one.middle()
    assert middle.tolist() == [[-0.5, 0.25, 1.0, 0.75]] and half.tolist() == [[0.5, 0.25, 0.0, 0.25]]


def bound_at(pairs: Pairs, force: Force, turn: np.ndarray) -> tuple[float, list[float]]:
    """At one rotation: what the forces show without the donor's slots, and what each end's slot takes."""
    value, slots = 0.0, []
    for i in range(len(pairs)):
        f, g, a = force.force[i], force.couple[i], pairs.a[i]
        flat, deep = np.eye(3) - np.outer(a, a), pairs.depth[i] > 0
        value += f @ (turn @ pairs.p[i] - pairs.q[i]) - abs(f @ a) * pairs.grip[i]
        value += force.lean[i] * (LEAN_COS - a @ turn @ pairs.b[i])
        for side in (1.0, -1.0) if deep else (0.0,):
            pull = flat @ (f / 2 + side * g if deep else f)
            value += pull @ turn @ pairs.b[i] * pairs.depth[i] / 2 * side
            value -= np.linalg.norm(pull) * pairs.rho[i]
            value -= pairs.s_h[i] * abs(pull @ (pairs.u_h[i] @ pairs.basis[i]))
            slots.append(float(pull @ turn @ pairs.u_d[i]) * pairs.s_d[i])
    return float(value), slots


@pytest.mark.parametrize("seed", range(10))
def test_what_forces_show_is_the_sum_that_the_module_states(seed: int) -> None:
    pairs, rng = some_pairs(seed)
    n = len(pairs)
    couple = rng.normal(size=(n, 3)) * (pairs.depth > 0)[:, None]
    force = Force(rng.normal(size=(n, 3)), couple, rng.uniform(0, 1, n))
    bound = ForceBound(pairs, force)
    q = rng.normal(size=(8, 4))
    value = bound.least(q, np.zeros(q.shape)) / (q * q).sum(axis=1)
    for one, found in zip(q, value, strict=True):
        plain, slots = bound_at(pairs, force, matrix_of(one))
        assert found == pytest.approx(plain - sum(map(abs, slots)), rel=1e-9, abs=1e-9)
    # Over boxes: a slot that pulls one way all over one is a form like the others, else it takes the most of both.
    middle, half = some_boxes(rng, 30).middle()
    half *= rng.choice([0.01, 0.1, 1.0], (30, 1))
    for c, h, found in zip(middle, half, bound.least(middle, half), strict=True):
        whole, over = bound.whole.copy(), 0.0
        for slot in bound.slots:
            up, down = plainly(slot, c, h), plainly(-slot, c, h)
            if up > 0 or down > 0:
                whole -= slot if up > 0 else -slot
            else:
                over += max(-up, -down)
        assert found == pytest.approx(plainly(whole, c, h) - over, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_forces_are_rounded_so_that_they_balance(seed: int) -> None:
    """Multiples of the snap whose lengths come to the scale; what is less than a ten thousandth of it is left out."""
    pairs, rng = some_pairs(seed)
    n, ends = len(pairs), len(pairs.end_of)
    across, along, lean = rng.normal(size=(2, ends, 3)), rng.normal(size=(2, n, 3)), rng.uniform(0, 1, (2, n))
    lean[1, 0] = 1e-7
    settled = SimpleNamespace(across=across, along=along, lean=lean)
    force = along[1].copy()
    couple = np.zeros((n, 3))
    for end, pair in enumerate(pairs.end_of):
        force[pair] += across[1, end]
        couple[pair] += across[1, end] / 2 * (0.0 if pairs.depth[pair] == 0 else 1.0 if end < n else -1.0)
    size = sum(np.linalg.norm(x, axis=1).sum() for x in (force, couple)) + lean[1].sum()
    snap, scale = 2.0**-15, 3.0
    found = Force.of(pairs, settled, 1, snap, scale)  # type: ignore[arg-type]
    assert found is not None and not found.force.sum(axis=0).any()
    assert found.force == pytest.approx((force - force.mean(axis=0)) * scale / size, abs=2 * snap)
    assert found.couple == pytest.approx(couple * scale / size, abs=0.51 * snap)
    assert found.lean[1:] == pytest.approx(lean[1, 1:] * scale / size, abs=0.51 * snap) and found.lean[0] == 0.0
    for each in (found.force, found.couple, found.lean):
        assert np.array_equal(each, np.round(each / snap) * snap)
    assert found.used().tolist() == list(range(n))
    settled.across, settled.along, settled.lean = across * 0.0, along * 0.0, lean * 0.0
    assert Force.of(pairs, settled, 1, snap, scale) is None  # type: ignore[arg-type]
    settled.lean[1, 1] = 1.0
    only = Force.of(pairs, settled, 1, snap, scale)  # type: ignore[arg-type]
    assert only is not None and only.used().tolist() == [1] and only.lean[1] == scale
    # A force by itself cannot balance; one so small beside another is none.
    settled.along[1, 0] = 5e-5, 0.0, 0.0
    settled.along[1, 2] = 0.5, 0.0, 0.0
    assert not Force.of(pairs, settled, 1, snap, scale).force.any()  # type: ignore[arg-type, union-attr]
    settled.along[1, 0] = -5e-4, 0.0, 0.0
    assert Force.of(pairs, settled, 1, snap, scale).force[[0, 2]].any(axis=1).all()  # type: ignore[arg-type, union-attr]


@pytest.mark.parametrize("seed", range(6))
def test_two_fixings_alone(seed: int) -> None:
    """Distances against what plays, slots and grips leave of them; forms against the same at a rotation."""
    pairs, rng = some_pairs(seed)
    named, lacks = apart_always(pairs)
    forms_of, forms = apart_forms(pairs)
    assert [tuple(two) for two in named.tolist()] == forms_of
    reach = pairs.rho + pairs.s_h + pairs.s_d
    q = rng.normal(size=4)
    turn = matrix_of(q)
    for (k, i), lack, form in zip(forms_of, lacks, forms, strict=True):
        host, donor = pairs.q[i] - pairs.q[k], pairs.p[i] - pairs.p[k]
        ends = np.stack([pairs.a[i] * pairs.grip[i], pairs.a[k] * pairs.grip[k]], axis=1)
        nearest = np.linalg.norm(host + ends @ lsq_linear(ends, -host, (-1, 1), method="bvls").x)
        farthest = max(np.linalg.norm(host + ends @ (x, y)) for x in (-1, 1) for y in (-1, 1))
        apart, across = np.linalg.norm(donor), reach[i] + reach[k]
        around = math.hypot(reach[i], pairs.grip[i]) + math.hypot(reach[k], pairs.grip[k])
        cut = max(apart - farthest, nearest - apart) - across
        assert lack == pytest.approx(max(cut, abs(apart - np.linalg.norm(host)) - around), abs=1e-9)
        assert ball_mm(pairs, i, k) == pytest.approx(around)
        expected = (np.linalg.norm(turn @ donor - host) ** 2 - around**2) * (q @ q)
        assert q @ form @ q == pytest.approx(expected, rel=1e-9)
    for form, a, b in zip(lean_forms(pairs), pairs.a, pairs.b, strict=True):
        assert q @ form @ q == pytest.approx((LEAN_COS - a @ turn @ b) * (q @ q))


def test_two_whose_plays_are_negative_together_lack_that_at_any_distance() -> None:
    """However far their fasteners reach towards each other."""
    at, along = np.array([(0.0, 0.0, 0.0), (100.0, 0.0, 0.0)]), np.array([(1.0, 0.0, 0.0)] * 2)
    none = np.zeros(2)
    pairs = Pairs(at, at, np.array([-0.5, 0.2]), none, along[:, :2], none, along, np.ones(2), along, along, none)
    assert apart_always(pairs)[1] == pytest.approx([0.3])
