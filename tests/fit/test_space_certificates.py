"""Proofs in space: confirmed in fractions, by sampling rotations, and refused when forged."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from confirming import refused_of
from scipy.spatial.transform import Rotation
from space_reference import held as plain
from space_tasks import moved, random_known, random_move

from partkin.fit.solve import solve
from partkin.model.fitting import FitTask, Nogood, Option, Piece, Spot, TurnBox


def refused(first: int, last: int) -> list[tuple[int, FitTask, Nogood]]:
    found = []
    for seed in range(first, last):
        task = random_known(seed)
        answer = solve(task)
        if answer.conflict:
            found += [(seed, task, nogood) for nogood in answer.conflict.nogoods]
    return found


@pytest.fixture(scope="module")
def proofs() -> list[tuple[int, FitTask, Nogood]]:
    return refused(0, 16)


def test_every_proof_is_confirmed_in_fractions(proofs) -> None:
    assert len(proofs) >= 6
    assert sum(len(nogood.pieces) > 1 for _, _, nogood in proofs) >= 2
    assert [seed for seed, task, nogood in proofs if refused_of(task, nogood) is not None] == []


@pytest.mark.slow
def test_more_proofs_are_confirmed() -> None:
    found = refused(16, 300)
    assert len(found) > 100
    assert [seed for seed, task, nogood in found if refused_of(task, nogood) is not None] == []


def test_what_a_proof_rules_out_holds_nowhere_in_its_boxes(proofs) -> None:
    """Sampled: each rotation lies in a box, and there no shift brings the weighted pairs within their play."""
    draw = np.random.default_rng(5)
    for _, task, nogood in proofs:
        if len(nogood.pieces) == 1:
            continue
        for q in draw.normal(size=(60, 4)):
            piece = next(p for p in nogood.pieces if holds(p.box, q))
            assert bound(task, nogood, piece, Rotation.from_quat(q, scalar_first=True).as_matrix()) > 0


def holds(box: TurnBox, q: np.ndarray) -> bool:
    three = np.delete(q, box.largest) / q[box.largest]
    return bool((three >= box.lo).all() and (three <= box.hi).all())


def bound(task: FitTask, nogood: Nogood, piece: Piece, turn: np.ndarray) -> float:
    """How far the forces show that the pairs are out at one rotation, worked out anew."""
    small = replace(task, options=tuple(o for o in task.options if (o.fixing, o.feature) in nogood.pairs))
    pairs = {option.fixing: pair for option, pair in zip(small.options, plain(small), strict=True)}
    if piece.apart:
        one, two = (pairs[name] for name in piece.apart)
        across = [p.allowed + np.linalg.norm(p.host_slot) + np.linalg.norm(p.donor_slot) for p in (one, two)]
        reach = math.hypot(across[0], one.grip) + math.hypot(across[1], two.grip)
        return float(np.linalg.norm(turn @ (one.p - two.p) - (one.q - two.q))) - reach
    force, couple, axes = dict(piece.weights), dict(piece.couples), dict(piece.axes)
    value = 0.0
    for name, pair in pairs.items():
        f, g = np.array(force.get(name, (0, 0, 0))), np.array(couple.get(name, (0, 0, 0)))
        flat = np.eye(3) - np.outer(pair.a, pair.a)
        value += f @ (turn @ pair.p - pair.q) - abs(f @ pair.a) * pair.grip
        value += axes.get(name, 0.0) * (0.866 - pair.a @ turn @ pair.b)
        each = [(f / 2 + g, pair.ends[0]), (f / 2 - g, pair.ends[1])] if len(pair.ends) == 2 else [(f, pair.p)]
        for pull, end in each:
            pull = flat @ pull
            value += pull @ turn @ (end - pair.p) - np.linalg.norm(pull) * pair.allowed
            value -= abs(pull @ pair.host_slot) + abs(pull @ turn @ pair.donor_slot)
    return float(value)


def test_forged_proofs_are_refused(proofs) -> None:
    _, task, nogood = next(p for p in proofs if len(p[2].pieces) > 20)
    pieces = list(nogood.pieces)
    assert refused_of(task, nogood, pieces[:-1]) == "not every rotation is covered"
    assert refused_of(task, nogood, pieces[1:]) == "not every rotation is covered"
    at = next(k for k, piece in enumerate(pieces) if piece.weights)
    (name, force), *rest = pieces[at].weights
    unbalanced = replace(pieces[at], weights=((name, (force[0] + 0.125, *force[1:])), *rest))
    assert "does not rule out" in refused_of(task, nogood, [*pieces[:at], unbalanced, *pieces[at + 1 :]])
    wider = replace(pieces[at], box=TurnBox(pieces[at].box.largest, (-1.0, -1.0, -1.0), (1.0, 1.0, 1.0)))
    assert "does not rule out" in refused_of(task, nogood, [wider])
    easier = replace(task, options=tuple(replace(o, allowed_mm=o.allowed_mm + 5.0) for o in task.options))
    assert refused_of(easier, nogood) is not None


def test_two_too_far_apart_need_one_piece() -> None:
    task = FitTask(
        (Spot("F1", (0.0, 0.0, 0.0), grip_mm=6.0), Spot("F2", (300.0, 0.0, 0.0), grip_mm=6.0)),
        (Spot("a", (0.0, 0.0, 5.0)), Spot("b", (303.0, 0.0, 5.0))),
        (Option("F1", "a", 0.5), Option("F2", "b", 0.5)),
        given=True,
    )
    answer = solve(task)
    assert answer.fits is False
    (nogood,) = answer.conflict.nogoods
    assert nogood.pieces == (Piece((-180.0, 180.0), apart=("F1", "F2")),)
    assert refused_of(task, nogood) is None


def test_a_part_turned_over_is_refused_by_the_axes() -> None:
    """Three holes of a flat bracket whose mirror image would go on turned over."""
    host = [Spot(f"F{k}", (x, y, 0.0), grip_mm=6.0) for k, (x, y) in enumerate([(0, 0), (120, 0), (30, 70)])]
    donor = [Spot(f"d{k}", (-s.at_mm[0], s.at_mm[1], 0.0)) for k, s in enumerate(host)]
    donor = list(moved(tuple(donor), *random_move(np.random.default_rng(3))))
    options = tuple(Option(f"F{k}", f"d{k}", 0.5) for k in range(3))
    task = FitTask(tuple(host), tuple(donor), options, given=True)
    answer = solve(task)
    assert answer.fits is False
    assert all(refused_of(task, nogood) is None for nogood in answer.conflict.nogoods)
    over = replace(task, features=tuple(replace(s, axis=tuple(-v for v in s.axis)) for s in task.features))
    assert solve(over).fits is True
    assert solve(replace(task, mirrored=True)).fits is True
