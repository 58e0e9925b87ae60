"""The smallest conflict: that it conflicts, that nothing can be left out, and that its branches close."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from confirming import refused_of
from every_pairing import brute
from random_tasks import SHOULD, random_task, ring, spots, task

from partkin.fit.conflict import leaves_nothing_open
from partkin.fit.solve import solve
from partkin.model.fitting import Conflict, FitTask, Option, Spot


def asking_for(given: FitTask, fixings: set[str], features: set[str]) -> FitTask:
    """The task with these musts and no others."""
    sides = ((given.fixings, fixings), (given.features, features))
    bare = [tuple(replace(s, must=s.id in names, should=False) for s in side) for side, names in sides]
    return replace(given, fixings=bare[0], features=bare[1])


def is_smallest(given: FitTask, conflict: Conflict) -> None:
    fixings, features = set(conflict.fixings), set(conflict.features)
    whole = brute(asking_for(given, fixings, features))
    assert whole.fits is False
    if conflict.shortfall_mm is None:
        assert whole.margin_mm is None
    elif conflict.shortfall_mm < 10.0:
        assert conflict.shortfall_mm == pytest.approx(-whole.margin_mm, abs=2e-3)
    for name in fixings | features:
        if len(fixings | features) > 1:
            without = brute(asking_for(given, fixings - {name}, features - {name}))
            by_count = conflict.shortfall_mm is None and without.margin_mm is not None
            if not by_count:
                assert without.fits, f"{name} can be left out"


def is_closed(given: FitTask, conflict: Conflict) -> None:
    options = [(o.fixing, o.feature) for o in given.options]
    assert leaves_nothing_open(options, conflict.fixings, conflict.features, [n.pairs for n in conflict.nogoods])
    for nogood in conflict.nogoods:
        assert nogood.mirrored is given.mirrored
        assert refused_of(given, nogood) is None, nogood


def that_do_not_fit(seeds, most_fixings: int, most_features: int):
    for seed in seeds:
        given = random_task(seed, most_fixings, most_features)
        if any(s.must for s in (*given.fixings, *given.features)) and (answer := solve(given)).fits is False:
            yield pytest.param(given, answer.conflict, id=str(seed))


@pytest.mark.parametrize(("given", "conflict"), list(that_do_not_fit(range(3000, 3100), 4, 5)))
def test_conflicts_are_smallest_and_closed(given, conflict):
    is_smallest(given, conflict)
    is_closed(given, conflict)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4000, 4200))
def test_conflicts_of_larger_tasks_are_smallest_and_closed(seed):
    for case in that_do_not_fit([seed], 7, 8):
        is_smallest(*case.values)
        is_closed(*case.values)


def test_the_fewest_that_share_too_few_are_named():
    host, donor = spots([(0, 0), (50, 0), (0, 70), (9, 9)], "F"), spots([(0, 0), (0, 70)], "d", **SHOULD)
    pairs = [("F00", "d00"), ("F00", "d01"), ("F01", "d01"), ("F02", "d01"), ("F03", "d01")]
    options = tuple(Option(*pair, 0.5) for pair in pairs)
    assert solve(FitTask(host, donor, options)).conflict.fixings == ("F02", "F03")
    assert solve(FitTask(host, donor, options[:4])).conflict.fixings == ("F03",)


def test_two_too_far_apart_are_named():
    host = spots([(0, 0), (300, 0), (300, 200), (0, 200)], "F")
    donor = spots([(0, 0), (300, 0), (300, 204), (0, 200)], "d")
    given = FitTask(host, donor, tuple(Option(f"F{k:02d}", f"d{k:02d}", 0.5) for k in range(4)), given=True)
    conflict = solve(given).conflict
    assert conflict.fixings == ("F01", "F02") and conflict.shortfall_mm == pytest.approx(1.5)
    assert [n.pairs for n in conflict.nogoods] == [(("F01", "d01"), ("F02", "d02"))]
    assert conflict.nogoods[0].pieces[0].apart == ("F01", "F02")
    is_closed(given, conflict)


def test_a_bolt_too_large_for_its_hole_is_named_alone():
    host, donor = spots([(0, 0), (300, 0)], "F"), spots([(0, 0), (300, 0)], "d")
    given = FitTask(host, donor, (Option("F00", "d00", 0.5), Option("F01", "d01", -0.25)), given=True)
    answer = solve(given)
    assert answer.margin_mm == pytest.approx(-0.25)
    assert answer.conflict.fixings == ("F01",) and answer.conflict.shortfall_mm == pytest.approx(0.25)
    assert answer.conflict.nogoods[0].pieces[0].apart == ("F01", "F01")
    is_closed(given, answer.conflict)


def test_given_pairs_need_at_most_a_few_and_each_of_them():
    draw = np.random.default_rng(8)
    seen = set()
    for _ in range(25):
        points = draw.uniform(0, 400, (9, 2))
        donor = points + draw.normal(0, 0.45, points.shape)
        options = tuple(Option(f"F{k:02d}", f"d{k:02d}", 0.5) for k in range(9))
        given = FitTask(spots(points, "F"), spots(donor, "d"), options, given=True)
        answer = solve(given)
        if not answer.fits:
            is_smallest(given, answer.conflict)
            is_closed(given, answer.conflict)
            seen.add(len(answer.conflict.fixings))
    # Helly's theorem in the plane of shifts and the turn: nearly aligned patterns never need more than 4.
    assert seen <= {2, 3, 4} and len(seen) >= 2


def test_pairings_not_given_every_branch_is_closed():
    host = spots([(0, 0), (100, 0), (0, 100), (100, 100)], "F")
    donor = spots([(0, 0), (100, 0), (0, 100), (101.2, 101.2)], "d", **SHOULD)
    given = task(host, donor, 0.25)
    answer = solve(given)
    assert answer.fits is False and len(answer.conflict.nogoods) > 1
    is_smallest(given, answer.conflict)
    is_closed(given, answer.conflict)


def test_mirrored_branches_say_so():
    host = spots([(0, 0), (300, 0), (120, 200)], "F")
    donor = spots([(0, 0), (-300, 0), (-120, 203)], "d", **SHOULD)
    given = task(host, donor, mirrored=True)
    answer = solve(given)
    assert answer.fits is False
    is_closed(given, answer.conflict)


def test_a_large_pattern_has_a_small_conflict():
    draw = np.random.default_rng(5)
    points, donor = draw.uniform(0, 600, (40, 2)), draw.uniform(0, 600, (40, 2))
    donor[:20] = points[:20]
    answer = solve(task(spots(points, "F"), spots(donor, "d", **SHOULD)))
    assert answer.fits is False and len(answer.conflict.fixings) <= 4
    assert 0 < answer.conflict.shortfall_mm <= -answer.margin_mm


def test_rings_of_other_sizes():
    given = task(spots(ring(8, 80), "F"), spots(ring(8, 75, math.pi / 8), "d", **SHOULD))
    answer = solve(given)
    assert answer.margin_mm == pytest.approx(-4.5) and answer.also == 7
    is_closed(given, answer.conflict)


def test_a_forged_branch_is_noticed():
    options = [("F0", "a"), ("F0", "b"), ("F1", "a"), ("F1", "b")]
    both = [(("F0", "a"), ("F1", "b")), (("F0", "b"), ("F1", "a"))]
    assert leaves_nothing_open(options, ["F0", "F1"], [], both)
    assert not leaves_nothing_open(options, ["F0", "F1"], [], both[:1])
    assert not leaves_nothing_open([*options, ("F2", "b")], ["F0"], ["b"], [[("F0", "b")]])


def test_what_should_be_paired_and_has_no_partner_is_the_conflict_where_nothing_must():
    lone = FitTask((Spot("F", (0.0, 0.0), must=False, should=True), Spot("G", (9.0, 0.0), must=False)),
                   (Spot("d", (0.0, 0.0), must=False),), (Option("G", "d", 0.5),))  # fmt: skip
    answer = solve(lone)
    assert answer.fits is False and answer.conflict.fixings == ("F",) and not answer.placement
