"""The pairing search: against trying everything, and where the answer is plain."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from every_pairing import brute
from random_tasks import SHOULD, SPARE, random_task, ring, spots, task

from partkin.fit.search import AllSpent, LimitReached, StepBudget, cover, take, together
from partkin.fit.solve import holds, solve
from partkin.fit.work import WorkedTask
from partkin.model.fitting import FitAnswer, FitTask, Option, Spot


def shoulds_paired(given: FitTask, answer: FitAnswer) -> int:
    sides = (given.fixings, {p.fixing for p in answer.pairs}), (given.features, {p.feature for p in answer.pairs})
    return sum(s.should and not s.must and s.id in used for spots_, used in sides for s in spots_)


def agrees_with_brute(given: FitTask) -> None:
    answer, truth = solve(given), brute(given)
    assert answer.fits is truth.fits
    assert (answer.margin_mm is None) == (truth.margin_mm is None)
    if answer.fits and any(s.must or s.should for s in (*given.fixings, *given.features)):
        assert shoulds_paired(given, answer) == truth.value
    if truth.margin_mm is None or truth.margin_mm > 1e4:
        # No pairing at all, or none of it measured: there is nothing to compare.
        return
    assert max(answer.margin_mm, -10.0) == pytest.approx(max(truth.margin_mm, -10.0), abs=2e-3)
    if truth.ties and truth.margin_mm > -10.0:
        assert answer.also == len(truth.ties) - 1
        shown = tuple(sorted((p.fixing, p.feature) for p in answer.pairs))
        assert shown == truth.ties[0]
        others = {tuple(sorted(pairing)) for pairing in answer.also_pairs}
        assert others <= set(truth.ties[1:])


@pytest.mark.parametrize("seed", range(1000, 1120))
def test_equals_trying_everything(seed):
    agrees_with_brute(random_task(seed, 4, 5))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(2000, 2250))
def test_equals_trying_everything_up_to_seven_on_nine(seed):
    agrees_with_brute(random_task(seed, 7, 9))


def test_the_margin_is_that_of_the_best_shift():
    # Fifth hole out by d: best margin exactly 0.5 - d/2 (a derivation: the other four hold the turn).
    host = spots([(0, 0), (300, 0), (300, 200), (0, 200), (150, 0)], "F")
    for d, fits in ((0.95, True), (1.05, False)):
        donor = spots([(0, 0), (300, 0), (300, 200), (0, 200), (150, d)], "d", **SHOULD)
        answer = solve(task(host, donor))
        assert answer.fits is fits
        assert answer.margin_mm == pytest.approx(0.5 - d / 2, abs=1e-6)


@pytest.mark.parametrize(("count", "others"), [(3, 2), (4, 3), (32, 31)])
def test_every_turn_of_a_ring_is_counted_and_the_first_in_id_order_shown(count, others):
    host, donor = spots(ring(count, 100), "F"), spots(ring(count, 100, 0.3), "d", **SHOULD)
    answer = solve(task(host, donor))
    assert answer.fits and answer.also == others
    assert [p.feature for p in answer.pairs] == [f"d{k:02d}" for k in range(count)]
    assert len(answer.also_pairs) == others


def test_shuffled_sheets_show_the_same_pairs():
    draw = np.random.default_rng(3)
    host, donor = spots(ring(6, 80), "F"), spots(ring(6, 80, 1.0), "d", **SHOULD)
    first = solve(task(host, donor))
    for _ in range(5):
        shuffled = [tuple(side[k] for k in draw.permutation(len(side))) for side in (host, donor)]
        again = solve(task(*shuffled))
        assert {(p.fixing, p.feature) for p in again.pairs} == {(p.fixing, p.feature) for p in first.pairs}
        assert again.margin_mm == first.margin_mm and again.also == first.also
        assert again.placement == first.placement


def test_pairs_stand_in_the_order_of_the_task():
    host = spots(ring(5, 80), "F")[::-1]
    answer = solve(task(host, spots(ring(5, 80), "d", **SHOULD)))
    assert [p.fixing for p in answer.pairs] == [s.id for s in host]


def test_the_same_task_gives_the_same_answer():
    given = random_task(77, 7, 9)
    assert repr(solve(given)) == repr(solve(given))


def test_a_spare_hole_may_cover_a_must_but_is_never_needed():
    host = (Spot("F0", (0.0, 0.0)), Spot("F1", (100.0, 0.0)), Spot("F2", (50.0, 80.0), **SPARE))
    donor = spots([(0, 0), (100, 0), (500, 500)], "d", **SPARE)
    answer = solve(task(host, donor))
    assert answer.fits and len(answer.pairs) == 2
    assert answer.unpaired_fixings == ("F2",) and answer.unpaired_features == ("d02",)


def test_as_many_shoulds_as_can_be_are_paired_before_the_margin_counts():
    host = (*spots([(0, 0), (100, 0)], "F"), Spot("G", (50.0, 60.0), **SHOULD))
    donor = spots([(0, 0), (100, 0), (50, 60.9)], "d", **SHOULD)
    answer = solve(task(host, donor))
    # With G the margin is 0.05; without it 0.5: G is paired all the same.
    assert answer.fits and len(answer.pairs) == 3
    assert answer.margin_mm == pytest.approx(0.05, abs=0.05)
    out = replace(donor[2], at_mm=(50.0, 63.0))
    answer = solve(task(host, (*donor[:2], out)))
    assert answer.fits and answer.unpaired_fixings == ("G",) and answer.margin_mm == pytest.approx(0.5)


def test_a_donor_feature_that_must_be_used_is():
    host = spots([(0, 0), (100, 0), (0, 80)], "F", **SHOULD)
    donor = (Spot("d0", (0.0, 0.0)), Spot("d1", (100.0, 0.0), **SHOULD), Spot("pin", (500.0, 500.0)))
    answer = solve(task(host, donor))
    assert answer.fits is False
    assert answer.conflict.features == ("d0", "pin") and answer.conflict.fixings == ()


def test_where_nothing_must_be_paired_one_pair_is_asked_for():
    host, donor = spots([(0, 0), (70, 0)], "F", **SHOULD), spots([(0, 0)], "d", **SPARE)
    assert solve(task(host, donor)).fits is True
    blocked = solve(task(host, donor, -0.2))
    assert blocked.fits is False and blocked.margin_mm == pytest.approx(-0.2)


def test_too_few_holes_name_the_fixings_that_share_them():
    host, donor = spots([(0, 0), (50, 0), (0, 70)], "F"), spots([(0, 0), (0, 70)], "d", **SHOULD)
    options = (Option("F00", "d00", 0.5), Option("F01", "d00", 0.5), Option("F02", "d01", 0.5))
    answer = solve(FitTask(host, donor, options))
    assert answer.fits is False and answer.margin_mm is None
    assert answer.conflict.fixings == ("F00", "F01") and answer.conflict.nogoods == ()
    assert len(answer.pairs) == 2 and answer.placement


def test_a_must_with_no_option_is_named_alone():
    host, donor = spots([(0, 0), (50, 0), (0, 70)], "F"), spots([(0, 0), (0, 70), (9, 9)], "d", **SHOULD)
    options = tuple(Option(f.id, d.id, 0.5) for f in host[:2] for d in donor)
    answer = solve(FitTask(host, donor, options))
    assert answer.margin_mm is None and answer.conflict.fixings == ("F02",)


def test_nothing_at_all():
    answer = solve(FitTask((), (), ()))
    assert answer.fits is False and not answer.placement and answer.margin_mm is None


def test_the_limit_is_said_and_never_guessed():
    host, donor = spots(ring(12, 90), "F"), spots(ring(12, 90), "d", **SHOULD)
    answer = solve(task(host, donor), node_limit=1)
    assert answer.fits is None and "undecided within the limit" in answer.limit
    assert answer.margin_mm is None and answer.conflict is None


def test_a_placement_found_before_the_limit_still_counts():
    host, donor = spots(ring(12, 90), "F"), spots(ring(12, 90), "d", **SHOULD)
    answer = solve(task(host, donor), node_limit=3)
    assert answer.fits is True and "limit" in answer.limit


def test_many_equal_pairings_are_cut_off_and_said_so():
    points = np.random.default_rng(4).uniform(0, 200, (12, 2))
    answer = solve(task(spots(points, "F"), spots([*points, *points], "d", **SPARE)))
    assert answer.fits and answer.margin_mm == pytest.approx(0.5)
    assert answer.also >= 1000 and "equally good" in answer.limit and len(answer.also_pairs) == 64


def test_unknown_play_neither_conflicts_nor_hides_a_conflict():
    host, donor = spots([(0, 0), (100, 0), (0, 0)], "F"), spots([(0, 0), (100, 0), (0, 0)], "d", **SHOULD)
    open_ended = tuple(Option(f.id, d.id, 1e5 if "02" in f.id + d.id else 0.5) for f in host for d in donor)
    answer = solve(FitTask(host, donor, open_ended))
    assert answer.fits
    far = (donor[0], replace(donor[1], at_mm=(103.0, 0.0)), donor[2])
    given = tuple(Option(f"F0{k}", f"d0{k}", 1e5 if k == 2 else 0.5) for k in range(3))
    answer = solve(FitTask(host, far, given, given=True))
    assert answer.fits is False and answer.conflict.fixings == ("F00", "F01")
    assert answer.margin_mm == pytest.approx(-1.0)


@pytest.mark.parametrize("out_mm", [0.3, 1.7, 6.0])
def test_the_margin_of_a_large_pattern_that_does_not_fit(out_mm):
    draw = np.random.default_rng(11)
    points = draw.uniform(0, 600, (40, 2))
    donor = points + draw.uniform(-0.01, 0.01, points.shape)
    donor[7] += (out_mm * 2, 0)
    answer = solve(task(spots(points, "F"), spots(donor, "d", **SHOULD)))
    # One hole out by 2 w: the others hold the rest, so the best is to share it, nearly.
    assert answer.fits is (out_mm < 0.5)
    assert answer.margin_mm == pytest.approx(0.5 - out_mm, abs=0.03)


def test_mirrored_parts_are_mirrored_first():
    points = np.random.default_rng(2).uniform(0, 300, (6, 2))
    donor = spots(points * (-1, 1), "d", **SHOULD)
    assert solve(task(spots(points, "F"), donor)).fits is False
    answer = solve(task(spots(points, "F"), donor, mirrored=True))
    assert answer.fits and answer.placement.mirrored
    matrix = np.array(answer.placement.matrix)
    assert np.linalg.det(matrix[:2, :2]) == pytest.approx(-1.0)
    moved = np.array([s.at_mm for s in donor]) @ matrix[:2, :2].T + matrix[:2, 3]
    assert np.allclose(moved, points, atol=1e-6)


def test_movement_that_is_left_is_said():
    donor = tuple(replace(s, half_travel_mm=4.0) for s in spots([(0, 0), (80, 0)], "d", **SHOULD))
    answer = solve(task(spots([(0, 0), (80, 0)], "F"), donor, 0.25))
    assert answer.fits and "slide" in answer.slides[0]
    assert solve(task(spots(ring(6, 80), "F"), spots(ring(6, 80), "d", **SHOULD))).slides == ()


def test_holds_says_whether_and_no_more() -> None:
    told = []
    for seed in range(60):
        asked = random_task(seed, 4, 5)
        told.append(holds(asked))
        assert told[-1] in (None, solve(asked).fits)
    assert {True, False} <= set(told)


def matchings(open_pairs: np.ndarray, row: int = 0) -> list[dict[int, int]]:
    """Every matching of rows from one on."""
    if row == len(open_pairs):
        return [{}]
    found = matchings(open_pairs, row + 1)
    return found + [
        {row: int(column), **rest} for column in np.flatnonzero(open_pairs[row]) for rest in found
        if column not in rest.values()
    ]  # fmt: skip


@pytest.mark.parametrize("seed", range(150))
def test_a_cover_is_the_best_of_all_matchings(seed: int) -> None:
    """All that is needed, then the most that is counted; and no pair that covers neither."""
    random = np.random.default_rng(seed)
    n, m = (int(random.integers(1, 5)) for _ in range(2))
    opened = random.random((n, m)) < random.choice([0.2, 0.5, 0.9])
    need, count = ((random.random(n) < share, random.random(m) < share) for share in random.choice([0.0, 0.3, 0.6], 2))

    def covered(pairs: dict[int, int], of: tuple[np.ndarray, np.ndarray]) -> int:
        return int(of[0][list(pairs)].sum()) + int(of[1][list(pairs.values())].sum())

    wanted = int(need[0].sum() + need[1].sum())
    able = [covered(pairs, count) for pairs in matchings(opened) if covered(pairs, need) == wanted]
    found, value = cover(opened, random.random((n, m)), need, count)
    assert (found is None) == (not able)
    if found is None:
        assert value == 0
        return
    assert value == max(able) == covered(found, count) and covered(found, need) == wanted
    assert len(set(found.values())) == len(found) and all(opened[pair] for pair in found.items())
    assert list(found) == sorted(found)
    assert all(need[0][r] or count[0][r] or need[1][c] or count[1][c] for r, c in found.items())


def test_of_two_that_are_open_the_nearer_is_taken() -> None:
    opened, none = np.array([[True, True, False], [True, False, True]]), np.zeros(3, dtype=bool)
    nearness = np.array([[2.0, 1.0, 0.0], [0.5, 0.0, 0.7]])
    found, _ = cover(opened, nearness, (np.ones(2, dtype=bool), none), (np.zeros(2, dtype=bool), none))
    assert found == {0: 1, 1: 0}
    found, _ = cover(opened.T, nearness.T, (none, np.ones(2, dtype=bool)), (none, np.zeros(2, dtype=bool)))
    assert found == {0: 1, 1: 0}


def test_steps_that_are_searched_together_are_counted() -> None:
    budget = StepBudget(2, steps=3)
    with together(7):
        budget.spend()
        budget.spend()
        with pytest.raises(LimitReached):
            budget.spend()
        take(1)
        with pytest.raises(AllSpent):
            take(1)
        with together(1):
            take(5)
    take(10**9)
    assert budget.spent == 2


def test_a_pairing_far_off_is_as_near_as_plain_placements_show_and_counts_nothing() -> None:
    """Turned a quarter: the fourth of four plain placements lays it where it nearly goes."""
    host = spots([(0, 0), (100, 0), (0, 40)], "F")
    for quarter in range(4):
        at = [complex(*spot.at_mm) * 1j**quarter + 7 for spot in host]
        donor = spots([(z.real, z.imag) for z in (at[2], at[0], at[1])], "d")
        work = WorkedTask.of(task(host, donor, -30.0), 100)
        (found,) = work.nearest_miss(work.demands)
        assert {work.layout.ids(pair) for pair in found.pairs} == {("F00", "d01"), ("F01", "d02"), ("F02", "d00")}
        assert (found.value, found.excess_mm) == (0, pytest.approx(30.0, abs=1e-6))
