"""Weights and draws of how a donor may have been made: against an importance sampler, and against Scholz's bound."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest

from partkin.fit.batch import batch_fits
from partkin.fit.discrepancies import Discrepancies, discrepancies
from partkin.fit.just_goes_on import Reach, just_goes_on, nearest_that_goes_on, shortfalls
from partkin.fit.making import weigh
from partkin.model.known import Making
from partkin.tables.instruments import making

PLATE = np.array([(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0), (150.0, 5.0), (140.0, 210.0)])
PRIOR_DRAWS = 40_000


def read(points: np.ndarray, error_mm: float, draw: np.random.Generator, off_mm: float = 0.0) -> Discrepancies:
    """Host and donor read with normal errors; the donor's second hole stands off."""
    there = points.copy()
    there[1, 0] += off_mm
    host, donor = (side + draw.normal(0.0, error_mm, side.shape) for side in (points, there))
    spread = np.eye(points.size) * error_mm**2
    return discrepancies(host, donor, spread, spread, np.eye(points.shape[1]))


def by_importance(
    of: Discrepancies, how: Making, one_drawing: float, play_mm: float, draw: np.random.Generator
) -> tuple[float, float, float]:
    """Weight of one drawing and the chance, by donors drawn before y and weighed by how likely they would give it.

    Written without a line of what it is to confirm; with how many draws stand behind it.
    """
    n, d = of.fixings_mm.shape
    x = draw.normal(0.0, how.scatter_mm, (PRIOR_DRAWS, n, d))
    one = draw.random(PRIOR_DRAWS) < one_drawing
    apart = np.linalg.norm(of.fixings_mm[:, None] - of.fixings_mm, axis=2)
    nearest = np.argsort(apart, axis=1)
    groups = sorted({tuple(sorted(row[:k].tolist())) for row in nearest for k in range(2, n // 2 + 1)})
    share = np.array([how.one_hole, how.two_holes, how.all_holes, how.group if groups else 0.0])
    kind = draw.choice(4, PRIOR_DRAWS, p=share / share.sum())
    spread = draw.choice(how.spreads_mm, PRIOR_DRAWS)
    pairs = np.array(list(combinations(range(n), 2)))
    moves = np.zeros((PRIOR_DRAWS, n))
    rows = np.arange(PRIOR_DRAWS)
    first, two = draw.integers(0, n, PRIOR_DRAWS), pairs[draw.integers(0, len(pairs), PRIOR_DRAWS)]
    moves[rows[kind == 0], first[kind == 0]] = 1.0
    for end in (0, 1):
        moves[rows[kind == 1], two[kind == 1, end]] = 1.0
    moves[kind == 2] = 1.0
    amount = draw.standard_normal((PRIOR_DRAWS, n, d))
    for at, group in zip(np.array_split(np.flatnonzero(kind == 3), max(len(groups), 1)), groups, strict=False):
        moves[np.ix_(at, group)] = 1.0
        amount[at] = amount[at, :1]
    x += (moves * np.where(one, 0.0, spread)[:, None])[..., None] * amount
    z = x.reshape(PRIOR_DRAWS, -1) @ of.basis
    log = -0.5 * ((of.y_mm - z) ** 2 / of.variance_mm2).sum(axis=1)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    heavy = np.flatnonzero(weight > weight.max() * 1e-6)
    fits = batch_fits(of.fixings_mm, of.donor_mm(z[heavy]), np.full(n, play_mm))
    return float(weight @ one), float(weight[heavy] @ fits), 1.0 / float(weight @ weight)


def agrees_with_importance(seed: int) -> bool:
    """Whether a case has enough draws behind it; then it is held to."""
    draw = np.random.default_rng([seed, 3])
    n = int(draw.integers(2, 5))
    error_mm, play_mm = float(draw.uniform(0.2, 0.6)), float(draw.uniform(0.3, 1.0))
    of = read(PLATE[:n], error_mm, draw, float(draw.choice([0.0, 0.8, 1.6])))
    how = Making(0.1, (0.3, 1.2, 5.0), 0.4, 0.15, 0.15, 0.3)
    start = float(draw.uniform(0.2, 0.8))
    ways = weigh(of, how, start)
    one, fits, behind = by_importance(of, how, start, play_mm, draw)
    if behind < 400:
        return False
    drawn = batch_fits(of.fixings_mm, of.donor_mm(ways.drawn(0, 2048).departs_mm), np.full(n, play_mm))
    assert ways.one_drawing == pytest.approx(one, abs=4.0 * math.sqrt(0.25 / behind) + 1e-3)
    assert float(drawn.mean()) == pytest.approx(fits, abs=4.0 * math.sqrt(0.25 / behind + 0.25 / 2048) + 1e-3)
    return True


def test_weights_and_draws_are_those_of_an_importance_sampler() -> None:
    assert sum(agrees_with_importance(seed) for seed in range(6)) >= 4


@pytest.mark.slow
def test_of_two_hundred_cases_too() -> None:
    assert sum(agrees_with_importance(seed) for seed in range(200)) >= 150


@pytest.mark.parametrize("holes", [3, 6])
def test_the_chance_is_at_least_scholzs(holes: int) -> None:
    """F. Scholz, Hole Alignment Tolerance Stacking Issues (1999): held still, (1 - exp(-c^2 / (4 sigma^2)))^K.

    Parts of one drawing whose makers scatter by sigma each, of which nothing was read: the best placement can only
    do better.
    """
    scatter_mm, play_mm = 0.3, 0.75
    nothing_read = np.eye(2 * holes) * 1e6
    of = discrepancies(PLATE[:holes], PLATE[:holes], nothing_read, nothing_read, np.eye(2))
    both = Making(scatter_mm * math.sqrt(2.0), (1.0,), 1.0, 0.0, 0.0, 0.0)
    drawn = weigh(of, both, 1.0).drawn(0, 4096)
    assert drawn.one.all()
    chance = float(batch_fits(PLATE[:holes], of.donor_mm(drawn.departs_mm), np.full(holes, play_mm)).mean())
    bound = (1.0 - math.exp(-(play_mm**2) / (4.0 * scatter_mm**2))) ** holes
    assert bound - 0.02 <= chance
    assert chance > bound + 0.02


def test_the_same_draws_however_blocks_are_cut() -> None:
    of = read(PLATE, 0.3, np.random.default_rng(1))
    ways = weigh(of, making(), 0.5)
    whole = ways.drawn(0, 300)
    parts = [ways.drawn(0, 100), ways.drawn(100, 128), ways.drawn(228, 72)]
    assert np.concatenate([part.departs_mm for part in parts]) == pytest.approx(whole.departs_mm, abs=1e-12)


def test_nothing_read_leaves_the_weights_as_they_were() -> None:
    nothing_read = np.eye(12) * 1e8
    of = discrepancies(PLATE, PLATE, nothing_read, nothing_read, np.eye(2))
    assert weigh(of, making(), 0.3).one_drawing == pytest.approx(0.3, abs=1e-4)


def test_a_group_that_was_moved_is_known_from_holes_moved_one_by_one() -> None:
    """Three holes side by side, moved together by 4 mm, in a plate of six read to 0.1 mm."""
    there = PLATE.copy()
    there[[0, 3, 4]] += (3.0, 2.5)
    spread = np.eye(12) * 0.1**2 / 3.0
    of = discrepancies(PLATE, there, spread, spread, np.eye(2))
    ways = weigh(of, making(), 0.5)
    likeliest = int(np.argmax(ways.weight))
    assert ways.few[likeliest] >= 0 and ways.moves[ways.few[likeliest], :, 0].sum() == 3.0


def plain(count: int, play_mm: float) -> Reach:
    """Round holes."""
    return Reach(np.full(count, play_mm), np.zeros((count, 0, 2)), np.zeros((count, 0)))


def test_the_nearest_that_goes_on_goes_on_and_just_so() -> None:
    draw = np.random.default_rng(2)
    of = read(PLATE, 0.3, draw, off_mm=3.0)
    held, missed = nearest_that_goes_on(of, plain(6, 0.5), of.y_mm[None])
    laid = of.donor_mm(held.reshape(1, -1) @ of.basis)
    assert batch_fits(of.fixings_mm, laid, np.full(6, 0.501))[0]
    assert not batch_fits(of.fixings_mm, laid, np.full(6, 0.45))[0]
    assert missed[0] > 10.0


@pytest.mark.parametrize("edge", [True, False])
def test_a_part_that_goes_on_is_seldom_taken_for_one_that_does_not(edge: bool) -> None:
    """Every hole at the end of its play (or anywhere in it), read to 0.5 mm: at most 5 in 100 look this far off."""
    wrong, tried = 0, 60
    for seed in range(tried):
        draw = np.random.default_rng([seed, 5])
        way = draw.uniform(0.0, 2.0 * np.pi, 6)
        far = 0.5 * (1.0 if edge else np.sqrt(draw.uniform(0.0, 1.0, 6)))
        there = PLATE + (far * np.stack([np.cos(way), np.sin(way)])).T
        spread = np.eye(12) * 0.25 / 3.0
        host, donor = (side + draw.uniform(-0.5, 0.5, side.shape) for side in (PLATE, there))
        of = discrepancies(host, donor, spread, spread, np.eye(2))
        wrong += just_goes_on(of, plain(6, 0.5), 0.95) <= 0.05
    # 0.05 of 60 is 3; more than 9 would come once in 1,000 (binomial).
    assert wrong <= 9


def test_a_slot_takes_what_lies_along_it() -> None:
    """Two holes 4 mm too far apart, one of them a slot that can take 5 mm along the line between them."""
    spread = np.eye(4) * 0.01
    of = discrepancies(np.array([(0.0, 0.0), (300.0, 0.0)]), np.array([(0.0, 0.0), (304.0, 0.0)]), spread, spread,
                       np.eye(2))  # fmt: skip
    along = np.tile(np.array([1.0, 0.0]), (2, 1, 1))
    slotted = Reach(np.full(2, 0.5), along, np.array([[0.0], [5.0]]))
    assert nearest_that_goes_on(of, slotted, of.y_mm[None])[1][0] == pytest.approx(0.0, abs=1e-6)
    assert shortfalls(of, slotted, of.y_mm[None])[0][0] <= 0.0
    assert shortfalls(of, plain(2, 0.5), of.y_mm[None])[0][0] == pytest.approx(1.5, abs=0.01)


def test_a_pair_that_may_be_anywhere_leaves_the_others_as_short_as_they_are() -> None:
    spread = np.eye(6) * 0.01
    here, there = np.array([(0.0, 0.0), (300.0, 0.0), (100.0, 200.0)]), np.array([(0, 0), (304, 0), (105, 206)])
    of = discrepancies(here, there.astype(float), spread, spread, np.eye(2))
    open_third = Reach(np.array([0.5, 0.5, np.inf]), np.zeros((3, 0, 2)), np.zeros((3, 0)))
    short_mm, at = shortfalls(of, open_third, of.y_mm[None])
    assert short_mm[0] == pytest.approx(1.5, abs=0.05) and at[0] < 2
