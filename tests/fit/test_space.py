"""Placing and pairing in space: against cones by cvxpy, every pairing, the plane, and rigid moves."""

from __future__ import annotations

import itertools
import math
import warnings
from dataclasses import replace

import numpy as np
import pytest
from every_pairing import Try, brute
from random_tasks import random_task
from space_reference import excess, held, reference
from space_tasks import moved, random_known, random_move, random_open, shape

from partkin.fit.arrays import Pairs
from partkin.fit.just_goes_on import Reach
from partkin.fit.layout import Layout
from partkin.fit.minimax import best_placement
from partkin.fit.rotations import turned_by
from partkin.fit.solve import _further, _needed, answer_of, pulled, solve, with_flex
from partkin.fit.space import SpaceKnown, work_in_space
from partkin.fit.space_minimax import SpaceScatter, best_in_space, starts
from partkin.fit.within_errors import Said, within_errors
from partkin.model.fitting import FitAnswer, FitTask, Option, Spot

EXACT_MM = 1e-3


def pairs_of(task: FitTask) -> Pairs:
    return Pairs.of(task, [(option.fixing, option.feature) for option in task.options])


def is_as_good_as_the_reference(seed: int, **effort: int) -> None:
    """What is found is what it is said to be, and nothing better is known."""
    task = random_known(seed)
    found = best_in_space(pairs_of(task))
    assert excess(held(task), found.turn, found.shift_mm).max() == pytest.approx(found.worst_mm, abs=1e-6)
    with warnings.catch_warnings():
        # scipy says where the start is not unique.
        warnings.simplefilter("ignore", UserWarning)
        best, turn, shift = reference(task, **effort)
    assert found.worst_mm <= best + EXACT_MM
    assert excess(held(task), turn, shift).max() == pytest.approx(best, abs=1e-9)
    assert np.allclose(found.turn @ found.turn.T, np.eye(3), atol=1e-9) and np.linalg.det(found.turn) > 0


@pytest.mark.parametrize("seed", range(40))
def test_no_placement_by_cones_is_better(seed: int) -> None:
    is_as_good_as_the_reference(seed, rounds=5, starts=1)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(300))
def test_no_placement_by_cones_from_several_starts_is_better(seed: int) -> None:
    is_as_good_as_the_reference(seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(300))
def test_the_sign_stands_and_its_proof_or_placement(seed: int) -> None:
    """What fits has a placement that fits; what does not is proved over every rotation."""
    task = random_known(seed)
    answer = solve(task)
    assert answer.fits is not None
    if answer.fits:
        matrix = np.array(answer.placement.matrix)
        assert excess(held(task), matrix[:3, :3], matrix[:3, 3]).max() <= 2e-6
    else:
        assert all(nogood.pieces for nogood in answer.conflict.nogoods)


@pytest.mark.parametrize("seed", range(8))
def test_a_rigid_move_of_either_side_changes_nothing(seed: int) -> None:
    task = random_known(seed)
    draw = np.random.default_rng([5, seed])
    other = replace(
        task, fixings=moved(task.fixings, *random_move(draw)), features=moved(task.features, *random_move(draw))
    )
    one, two = solve(task), solve(other)
    assert one.fits is two.fits
    if one.fits:
        assert two.margin_mm == pytest.approx(one.margin_mm, abs=1e-5)


@pytest.mark.parametrize("seed", range(60))
def test_a_part_goes_on_itself_however_it_lies(seed: int) -> None:
    draw = np.random.default_rng([6, seed])
    points, axes = shape(draw, int(draw.integers(1, 9)))
    host = tuple(Spot(f"F{k}", tuple(p), axis=tuple(a), grip_mm=6.0) for k, (p, a) in enumerate(zip(points, axes)))
    donor = moved(tuple(replace(s, id=f"d{s.id}", depth_mm=3.0) for s in host), *random_move(draw))
    task = FitTask(host, donor, tuple(Option(s.id, f"d{s.id}", 0.4) for s in host), given=True)
    answer = solve(task)
    assert answer.fits and answer.margin_mm == pytest.approx(0.4, abs=1e-6)
    assert max(abs(pair.offset_mm) for pair in answer.pairs) < 1e-6
    assert max(abs(pair.along_mm) for pair in answer.pairs) < 1e-6
    assert max(gap_mm for _, gap_mm in answer.gaps) < 1e-5


def lifted(task: FitTask, tilt: tuple[np.ndarray, np.ndarray] | None = None) -> FitTask:
    """A flat task in space, its faces having to meet."""
    fixings = tuple(replace(s, at_mm=(*s.at_mm, 0.0)) for s in task.fixings)
    features = tuple(replace(s, at_mm=(*s.at_mm, 0.0)) for s in task.features)
    return replace(task, fixings=fixings, features=moved(features, *tilt) if tilt else features)


@pytest.mark.parametrize("seed", range(40))
def test_flat_patterns_come_out_as_in_the_plane(seed: int) -> None:
    """Known pairings, with the faces meeting: no tilt can help."""
    flat = random_task(seed + 100, 7, 7)
    shared = [(f, d) for f, d in zip(flat.fixings, flat.features)]
    options = tuple(Option(f.id, d.id, 0.5) for f, d in shared)
    task = FitTask(tuple(f for f, _ in shared), tuple(d for _, d in shared), options, True, flat.mirrored)
    named = [(o.fixing, o.feature) for o in options]
    plane = best_placement(Pairs.of(task, named))
    tilt = None if flat.mirrored else random_move(np.random.default_rng(seed))
    space = best_in_space(Pairs.of(lifted(task, tilt), named))
    assert space.fits is plane.fits
    if plane.worst_mm <= 0:
        # Faces that have to meet leave nothing along the axis, so in space the excess is never below zero.
        assert space.worst_mm == pytest.approx(0.0, abs=2e-6)
    elif plane.worst_mm < 5.0:
        assert space.worst_mm <= plane.worst_mm + EXACT_MM


def test_play_along_the_axis_lets_a_long_part_lean_and_no_more() -> None:
    """Two studs 300 apart, holes 301.2 apart, 0.5 of play: flat it is 0.1 short each, leaning it is not.

    With a grip of g either way the holes come nearer by 301.2 - sqrt(301.2^2 - (2 g)^2): 0.2 at g = 5.487 (derived).
    """
    host = [Spot(f"F{k}", (300.0 * k, 0.0, 0.0)) for k in range(2)]
    donor = [Spot(f"d{k}", (301.2 * k, 0.0, 0.0)) for k in range(2)]
    options = (Option("F0", "d0", 0.5), Option("F1", "d1", 0.5))
    for grip_mm, fits in ((0.0, False), (5.4, False), (5.6, True)):
        fixings = tuple(replace(s, grip_mm=grip_mm) for s in host)
        assert solve(FitTask(fixings, tuple(donor), options, given=True)).fits is fits


def test_a_deep_hole_leans_by_its_play_over_its_depth() -> None:
    """A fastener of 6 in a hole of 7, 20 deep, leans by asin(1 / 20) = 2.866 degrees and no further (derived)."""
    for lean_deg, fits in ((2.8, True), (2.9, False)):
        lean = math.radians(lean_deg)
        host = (Spot("F", (0.0, 0.0, 0.0), grip_mm=6.0), Spot("G", (50.0, 0.0, 0.0), grip_mm=6.0))
        axis = (0.0, math.sin(lean), math.cos(lean))
        donor = (
            Spot("d", (0.0, 0.0, 0.0), depth_mm=20.0), Spot("e", (50.0, 0.0, 0.0), axis=axis, depth_mm=20.0),
        )  # fmt: skip
        options = (Option("F", "d", 1e-9), Option("G", "e", 0.5))
        answer = solve(FitTask(host, donor, options, given=True))
        assert answer.fits is fits, lean_deg
    assert answer.conflict.fixings == ("F", "G")


DEGENERATE = {
    "one": [(5.0, 6.0, 7.0)],
    "two": [(0.0, 0.0, 0.0), (80.0, 0.0, 10.0)],
    "coincident": [(0.0, 0.0, 0.0), (0.0, 0.0, 0.0), (50.0, 20.0, 0.0)],
    "in line": [(0.0, 0.0, 0.0), (40.0, 0.0, 0.0), (100.0, 0.0, 0.0), (150.0, 0.0, 0.0)],
    "far away": [(9000.0, 9000.0, 9000.0), (9100.0, 9000.0, 9000.0), (9000.0, 9080.0, 9010.0)],
}


@pytest.mark.parametrize("play_mm", [0.0, 0.3])
@pytest.mark.parametrize("name", DEGENERATE)
def test_degenerate_layouts_hold(name: str, play_mm: float) -> None:
    points = DEGENERATE[name]
    host = tuple(Spot(f"F{k}", p, grip_mm=play_mm) for k, p in enumerate(points))
    for turn_deg in (0.0, 180.0, 77.0):
        c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
        turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
        donor = moved(tuple(Spot(f"d{k}", p) for k, p in enumerate(points)), turn, np.array([3.0, -4.0, 5.0]))
        task = FitTask(host, donor, tuple(Option(f"F{k}", f"d{k}", play_mm) for k in range(len(points))), given=True)
        answer = solve(task)
        assert answer.fits and answer.margin_mm == pytest.approx(play_mm, abs=2e-6)


class SpaceTry(Try):
    """Every pairing, placed in space; nothing is cut short by distances."""

    def apart_mm(self, one: tuple[str, str], two: tuple[str, str]) -> float:
        return -math.inf

    def excess_mm(self, pairs) -> float:
        key = frozenset(pairs)
        if key not in self.excess_of:
            self.excess_of[key] = best_in_space(Pairs.of(self.task, sorted(key))).worst_mm
        return self.excess_of[key]


def agrees_with_every_pairing(seed: int, fixings: int, features: int) -> FitAnswer:
    task = random_open(seed, fixings, features)
    answer, whole = solve(task), brute(task, SpaceTry)
    assert answer.fits is whole.fits
    if whole.margin_mm is None:
        assert answer.margin_mm is None
    elif whole.fits or whole.margin_mm > -9.0:
        assert answer.margin_mm == pytest.approx(whole.margin_mm, abs=2e-3)
    if whole.fits:
        shoulds = {s.id for s in (*task.fixings, *task.features) if s.should}
        assert sum((p.fixing in shoulds) + (p.feature in shoulds) for p in answer.pairs) == whole.value
        assert tuple(sorted((p.fixing, p.feature) for p in answer.pairs)) in {tuple(sorted(t)) for t in whole.ties}
        assert answer.also == len(whole.ties) - 1
    return answer


@pytest.mark.parametrize("seed", range(4))
def test_pairing_agrees_with_trying_every_one(seed: int) -> None:
    agrees_with_every_pairing(seed, 3, 3)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 150))
def test_larger_pairings_agree_with_trying_every_one(seed: int) -> None:
    agrees_with_every_pairing(seed, 4, 5)


@pytest.mark.parametrize(("count", "also"), [(6, 2), (8, 3)])
def test_every_symmetric_pairing_is_counted(count: int, also: int) -> None:
    """A ring whose fixings stand high and low by turns comes to itself at every second one (derived)."""
    draw = np.random.default_rng(count)
    turn = 2 * math.pi * np.arange(count) / count
    at = np.column_stack([100 * np.cos(turn), 100 * np.sin(turn), 10.0 * (np.arange(count) % 2)])
    host = tuple(Spot(f"F{k}", tuple(p), grip_mm=6.0) for k, p in enumerate(at))
    off = at + draw.uniform(-0.1, 0.1, at.shape)
    lying = tuple(Spot(f"d{k}", tuple(p), must=False, should=True) for k, p in enumerate(off))
    donor = moved(lying, *random_move(draw))
    answer = solve(FitTask(host, donor, tuple(Option(f.id, d.id, 0.5) for f in host for d in donor)))
    assert answer.fits and answer.also == also
    margins = []
    for pairs in (*answer.also_pairs, tuple((p.fixing, p.feature) for p in answer.pairs)):
        given = FitTask(host, donor, tuple(Option(*pair, 0.5) for pair in pairs), given=True)
        margins.append(-best_in_space(pairs_of(given)).worst_mm)
    assert max(margins) - min(margins) < 1e-6


@pytest.mark.parametrize("seed", [3, 5, 41])
def test_conflicts_are_smallest(seed: int) -> None:
    task = random_known(seed)
    conflict = solve(task).conflict
    assert 1 <= len(conflict.fixings) <= 7
    for left_out in conflict.fixings:
        kept = [name for name in conflict.fixings if name != left_out]
        smaller = replace(task, options=tuple(o for o in task.options if o.fixing in kept),
                          fixings=tuple(replace(s, must=s.id in kept) for s in task.fixings))  # fmt: skip
        assert (solve(smaller).fits is True) == bool(kept)


def test_the_same_task_gives_the_same_answer() -> None:
    task = random_known(4)
    shuffled = replace(task, fixings=task.fixings[::-1], features=task.features[::-1], options=task.options[::-1])
    one, two, three = solve(task), solve(task), solve(shuffled)
    assert one == two
    assert three.placement == one.placement and three.conflict.nogoods == one.conflict.nogoods


def dish(middle_mm: float, **more: float) -> FitTask:
    """Four corners and a middle that stands higher by 20 on the host, by 20 + middle_mm on the donor."""
    at = [(-100.0, -80.0, 0.0), (100.0, -80.0, 0.0), (100.0, 80.0, 0.0), (-100.0, 80.0, 0.0), (0.0, 0.0, 20.0)]
    host = tuple(Spot(f"F{k}", p, grip_mm=6.0) for k, p in enumerate(at))
    donor = [Spot(f"d{k}", p) for k, p in enumerate(at)]
    donor[4] = Spot("d4", (0.0, 0.0, 20.0 + middle_mm))
    options = tuple(Option(f"F{k}", f"d{k}", 0.5) for k in range(5))
    return FitTask(host, tuple(donor), options, given=True, **more)


def test_a_dish_with_a_wrong_height_is_refused_and_names_the_fixings() -> None:
    """All five may be off by 6 along the axis, so the middle by 12 against the corners (derived)."""
    assert solve(dish(11.9)).fits is True
    answer = solve(dish(13.0))
    assert answer.fits is False and "F4" in answer.conflict.fixings and len(answer.conflict.fixings) == 3
    assert answer.margin_mm == pytest.approx(-0.5, abs=1e-4)
    assert answer.gaps[0] == ("F4", pytest.approx(13.0, abs=1e-3))


def test_flex_makes_it_go_on_and_says_how_much() -> None:
    """13 mm is 1 mm too much: half a millimetre at each fixing (derived)."""
    assert with_flex(dish(13.0, flex_mm=0.4)).fits is False
    answer = with_flex(dish(13.0, flex_mm=2.0))
    assert answer.fits is True and answer.flex_used_mm == pytest.approx(0.5, abs=0.011)
    assert with_flex(dish(11.9, flex_mm=2.0)).flex_used_mm == 0.0
    assert with_flex(dish(13.0)) == solve(dish(13.0))


@pytest.mark.parametrize(
    ("fixing_must", "feature_must", "needed"),
    [(False, False, ["F1", "F2"]), (True, False, ["F1"]), (False, True, ["F2"]), (True, True, ["F1", "F2"])],
)
def test_pulled_are_the_pairs_that_have_to_hold(fixing_must: bool, feature_must: bool, needed: list[str]) -> None:
    """Those of a fixing or of a feature that must; all where there is none."""
    fixings = Spot("F1", (0.0, 0.0), must=fixing_must), Spot("F2", (9.0, 0.0), must=False)
    features = Spot("a", (0.0, 0.0), must=False), Spot("b", (9.0, 0.0), must=feature_must)
    task = FitTask(fixings, features, (Option("F1", "a", 0.5), Option("F2", "b", 0.5)))
    assert [fixing for fixing, _ in _needed(task, solve(task))] == needed


@pytest.mark.parametrize("short_mm", [0.1, 0.37, 0.9])
def test_flex_in_the_plane(short_mm: float) -> None:
    """Two studs 100 apart, holes 101 + 2 short apart, 0.5 of play: each has to give `short_mm` (derived)."""
    host = (Spot("F0", (0.0, 0.0)), Spot("F1", (100.0, 0.0)))
    donor = (Spot("d0", (0.0, 0.0)), Spot("d1", (101.0 + 2 * short_mm, 0.0)))
    task = FitTask(host, donor, (Option("F0", "d0", 0.5), Option("F1", "d1", 0.5)), True, flex_mm=1.0)
    assert with_flex(task).fits is False
    answer = with_flex(replace(task, flex_in_plane=True))
    assert answer.fits is True and answer.flex_used_mm == pytest.approx(short_mm, abs=0.011)
    assert answer.flex_used_mm >= short_mm - 1e-9
    assert all(pair.allowed_mm == pytest.approx(0.5 + answer.flex_used_mm) for pair in answer.pairs)


def test_pulled_along_the_axis_what_has_no_fastener_meets_by_the_pull_alone() -> None:
    """What a screw of no known length reaches stays unknown."""
    spot = Spot("F1", (0.0, 0.0, 0.0), axis=(0.0, 0.0, 1.0))
    assert _further(spot, 2.0, fastened=False).grip_mm == 2.0 and _further(spot, 2.0, fastened=True) == spot
    assert _further(replace(spot, grip_mm=6.0), 2.0, fastened=True).grip_mm == 8.0


def test_a_bolt_too_large_stays_so_however_much_it_gives() -> None:
    host, donor = (Spot("F0", (0.0, 0.0)),), (Spot("d0", (0.0, 0.0)),)
    task = FitTask(host, donor, (Option("F0", "d0", -0.25),), True, flex_mm=5.0, flex_in_plane=True)
    assert with_flex(task).fits is False and pulled(task, 5.0).options == task.options


@pytest.mark.parametrize("seed", [2, 4, 6, 26])
def test_draws_at_once_come_out_as_one_by_one(seed: int) -> None:
    task = random_known(seed)
    nominal = pairs_of(task)
    draw = np.random.default_rng(seed)
    p, q = (side + draw.uniform(-0.3, 0.3, (60, len(nominal), 3)) for side in (nominal.p, nominal.q))
    rho = np.broadcast_to(nominal.rho, (60, len(nominal)))
    together = SpaceScatter(nominal).fits(q, p, rho)
    each = [best_in_space(replace(nominal, p=p[k], q=q[k]), stop_at_sign=True).fits for k in range(60)]
    assert together.tolist() == each


def test_a_question_that_has_solved_all_its_programs_is_undecided_and_says_so() -> None:
    task = next(task for task in (random_open(seed, 4, 4) for seed in range(20)) if solve(task).fits)
    work = work_in_space(task, 10_000)
    assert isinstance(work.known, SpaceKnown)
    work.known.programs_left = 0
    answer = answer_of(work)
    assert answer.fits is None and answer.margin_mm is None and "2000 convex programs" in answer.limit


@pytest.mark.parametrize("error_mm, holds", [(0.5, True), (0.1, False)])
def test_places_within_the_errors_are_found_in_space(error_mm: float, holds: bool) -> None:
    """One of four holes stands 1.4 mm off, play 0.1: errors of 0.5 mm on either side let it go on, of 0.1 do not."""
    at = np.array([(0.0, 0.0, 0.0), (200.0, 0.0, 5.0), (200.0, 150.0, -5.0), (0.0, 150.0, 20.0)])
    off = at + np.array([(0.0, 0.0, 0.0)] * 3 + [(1.0, 1.0, 0.0)])
    none = np.zeros((0, 2), dtype=int), np.zeros(0), np.zeros(0)
    host, donor = (Said(xyz, np.ones((4, 3)), *none, xyz, np.full((4, 3), error_mm)) for xyz in (at, off))
    up = np.tile((0.0, 0.0, 1.0), (4, 1))
    reach = Reach(np.full(4, 0.1), np.zeros((4, 0, 3)), np.zeros((4, 0)), up)
    found = within_errors(host, donor, [(k, k) for k in range(4)], reach, np.eye(3), np.zeros(3))
    assert (found is not None) is holds
    if found is not None:
        assert host.holds(found[0]) and donor.holds(found[1])


@pytest.mark.parametrize("first", range(0, 40, 10))
def test_two_pairs_need_no_less_than_their_distances_say(first: int) -> None:
    """Of what they have to spare too: a bound that asked for more would hide the best pairing."""
    for seed in range(first, first + 10):
        task = random_known(seed)
        layout = Layout.of(task)
        named = [(option.fixing, option.feature) for option in task.options]
        rows, columns = range(len(layout.rows.spots)), range(len(layout.columns.spots))
        at = {layout.ids(pair): pair for pair in itertools.product(rows, columns)}
        for one, other in itertools.pairwise(named):
            if one[0] != other[0] and one[1] != other[1]:
                found = best_in_space(Pairs.of(task, [one, other]))
                assert layout.pair_need_mm(*at[one])[at[other]] <= found.worst_mm + EXACT_MM, seed


def test_no_pairs_fit_anywhere() -> None:
    found = best_in_space(pairs_of(random_known(1)).take(np.zeros(0, dtype=int)))
    assert found.fits and np.array_equal(found.turn, np.eye(3)) and not found.shift_mm.any()


def test_pairs_that_say_nothing_are_placed_once_however_they_are_swapped() -> None:
    """Eight holes of unknown size on eight studs: 40,320 pairings, and no more placements than single pairs."""
    host = tuple(Spot(f"F{k}", (90.0 * (k % 4), 70.0 * (k // 4), 11.0 * (k % 3))) for k in range(8))
    donor = tuple(replace(spot, id=f"d{spot.id}", must=False) for spot in host)
    task = FitTask(host, donor, tuple(Option(f.id, d.id, 1.0e4) for f in host for d in donor))
    work = work_in_space(task, 10_000)
    answer = answer_of(work)
    assert answer.fits and answer.limit == "more than 1024 pairings are equally good; the rest were not counted"
    assert len(work.known.solved) <= len(host) * len(donor)


def test_two_pairs_that_no_distance_lets_stand_together_are_told_without_a_placement() -> None:
    host = (Spot("F0", (0.0, 0.0, 0.0)), Spot("F1", (300.0, 0.0, 20.0)))
    donor = (Spot("a", (0.0, 0.0, 0.0)), Spot("b", (310.0, 0.0, 20.0)))
    known = work_in_space(FitTask(host, donor, tuple(Option(f.id, d.id, 1.0) for f in host for d in donor)), 100).known
    assert known.settle([(0, 0), (1, 1)], 0.0) == ((0, 0), (1, 1))
    assert not known.solved and not known.judged


def test_a_rotation_at_which_pairs_were_found_to_hold_is_started_from_however_near_another_start_lies() -> None:
    """Else a proof that came upon it would come upon it for ever: build 184 of tests/campaigns/laws.py did."""
    pairs = pairs_of(random_known(0))
    turn, _ = starts(pairs)
    hint = turned_by(np.array([0.0, 0.0, 0.01])) @ turn[0]
    again, _ = starts(pairs, [hint])
    assert not any(np.allclose(hint, one) for one in turn) and any(np.allclose(hint, one) for one in again)


def test_a_pull_lengthens_what_fasteners_reach_on_either_side() -> None:
    """A fixing without a fastener has it from the donor's, which is pulled; without either the pull is all there is."""
    fixings = tuple(Spot(f"F{k}", (0.0, 0.0, 0.0), grip_mm=grip) for k, grip in enumerate((6.0, None, None)))
    features = tuple(Spot(f"d{k}", (0.0, 0.0, 0.0), grip_mm=grip) for k, grip in enumerate((None, 5.0, None)))
    task = FitTask(fixings, features, tuple(Option(f"F{k}", f"d{k}", 0.5) for k in range(3)), given=True, flex_mm=3.0)
    done = pulled(task, 2.0)
    assert [spot.grip_mm for spot in done.fixings] == [8.0, None, 2.0]
    assert [spot.grip_mm for spot in done.features] == [None, 7.0, None]
    assert (done.flex_mm, done.pulled_mm, done.options) == (0.0, 2.0, task.options)
