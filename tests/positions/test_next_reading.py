"""Which reading next: rank-one updates against refits, probabilities against drawing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from partkin.model.distributions import normal_quantile
from partkin.positions import adjust
from partkin.positions.by_draws import (
    _answers,
    _seldom_alone,
    ask_by_draws,
    chance_after,
    told_by_each,
    weight_between,
)  # fmt: skip
from partkin.positions.next_reading import Ask, Band, Candidate, meaning, spread_drops
from positions.parts import all_pairs, features, readings

SIX = np.random.default_rng(11).uniform(0.0, 700.0, (6, 2))
READ = readings(SIX, [pair for pair in all_pairs(6) if sum(pair) % 4])
FOUND = adjust("p", features(SIX), READ)
CONFIDENCE = 0.95


def test_a_rank_one_update_is_a_refit() -> None:
    """How far the weighted variances fall when one more reading of the same value comes in."""
    weight = np.array([1.0, 0.5, 2.0, 1.0, 0.4, 1.0])
    asked = [Candidate("p", "f0", "f4", 0.3), Candidate("p", "f1", "f3", 0.2), Candidate("p", "f0", "f5", 0.5)]
    drops = spread_drops(FOUND, weight, asked)
    before = np.repeat(weight**2, 2) @ np.diagonal(FOUND.covariance_mm2)
    for one, drop in zip(asked, drops, strict=True):
        a, b = int(one.from_feature[1:]), int(one.to_feature[1:])
        (more,) = readings(SIX, [(a, b)], plus_minus=one.sigma_mm * np.sqrt(3.0))
        refit = adjust("p", features(SIX), [*READ, replace(more, reading="new")])
        after = np.repeat(weight**2, 2) @ np.diagonal(refit.covariance_mm2)
        assert drop == pytest.approx(before - after, rel=1e-4, abs=1e-9)


def test_the_closed_form_of_the_drop() -> None:
    """Two places known to 3 mm each, read exactly: one coordinate's variance of either is halved."""
    found = adjust("p", features(SIX[:2], range(2), plus_minus_mm=3.0), [])
    (drop,) = spread_drops(found, np.array([1.0, 1.0]), [Candidate("p", "f0", "f1", 1e-9)])
    assert drop == pytest.approx(3.0)  # each 3 mm2 (rectangular) along the line, 6 together


def test_chance_after_is_bayes() -> None:
    """Distance normal, fits where it is at most 600: the chance after a reading has a closed form."""
    from scipy.stats import norm

    rng = np.random.default_rng(2)
    drawn = 600.3 + 0.5 * rng.standard_normal(60_000)
    read = np.array([599.5, 600.0, 600.4, 601.2])
    told, likely = chance_after(drawn <= 600.0, drawn, 0.3, read)
    spread = 1.0 / np.sqrt(1.0 / 0.25 + 1.0 / 0.09)
    middle = spread**2 * (600.3 / 0.25 + read / 0.09)
    assert told == pytest.approx(norm.cdf((600.0 - middle) / spread), abs=0.015)
    density = norm.pdf(read, 600.3, np.hypot(0.5, 0.3))
    assert likely == pytest.approx(density / density.sum(), abs=0.01)


def test_a_draw_of_weight_two_counts_as_two() -> None:
    rng = np.random.default_rng(5)
    drawn, weight = 600.0 + 0.5 * rng.standard_normal(300), rng.integers(1, 4, 300)
    read = np.array([599.2, 600.0, 600.9])
    told = chance_after(drawn <= 600.2, drawn, 0.3, read, weight.astype(float))
    again = np.repeat(drawn, weight)
    assert np.array(told) == pytest.approx(np.array(chance_after(again <= 600.2, again, 0.3, read)))


def test_what_each_of_many_tells_is_what_is_left_of_the_doubt_after_each_value() -> None:
    """By Bayes at each of many values that may be read, against bins on a coarse grid; draws weigh unequally."""
    rng = np.random.default_rng(6)
    shared = rng.standard_normal(2000)
    drawn = np.array([600.0 + 0.6 * shared, 250.0 + 0.5 * shared + 0.5 * rng.standard_normal(2000)])
    fits, weight = drawn[0] <= 600.3, rng.uniform(0.5, 1.5, 2000)
    own = weight / weight.sum()
    asked = tuple(Candidate("donor", "a", name, sigma) for name, sigma in (("b", 0.4), ("c", 0.7)))
    now = float(own @ fits)
    for told, one, at in zip(told_by_each(asked, fits, drawn, weight), asked, drawn, strict=True):
        read = np.linspace(at.min() - 3.0, at.max() + 3.0, 400)
        chance, likely = chance_after(fits, at, one.sigma_mm, read, weight)
        left = float(likely @ (chance * (1.0 - chance)))
        assert told == pytest.approx(1.0 - left / (now * (1.0 - now)), abs=0.02)
        assert ask_by_draws(one, fits, at, CONFIDENCE, weight).tells == pytest.approx(told, abs=0.02)
    assert told_by_each(asked, np.ones(2000, dtype=bool), drawn).tolist() == [0.0, 0.0]


def test_a_reading_that_settles_nothing_leaves_the_draws_that_would_give_one() -> None:
    """How likely each value is to be read within the bands between, by the normal distribution."""
    from scipy.stats import norm

    bands = (
        Band("does not", None, 599.0), Band("between", 599.0, 599.5), Band("bolts on", 599.5, 600.5),
        Band("between", 600.5, None),
    )  # fmt: skip
    ask = Ask(Candidate("donor", "a", "f", 0.4), 600.0, 0.6, 0.5, bands)
    drawn = np.array([598.0, 599.2, 600.0, 601.5])
    told = norm.cdf((599.5 - drawn) / 0.4) - norm.cdf((599.0 - drawn) / 0.4) + norm.sf((600.5 - drawn) / 0.4)
    assert weight_between(ask, drawn) == pytest.approx(told)
    below = replace(ask, bands=(Band("between", None, 599.5), Band("bolts on", 599.5, None)))
    assert weight_between(below, drawn) == pytest.approx(norm.cdf((599.5 - drawn) / 0.4))


def test_both_ends_of_a_distance_that_may_be_too_short_and_too_long() -> None:
    rng = np.random.default_rng(3)
    drawn = 613.4 + 2.0 * rng.standard_normal(4000)
    ask = ask_by_draws(Candidate("donor", "a", "f", 0.3), np.abs(drawn - 613.4) <= 1.9, drawn, CONFIDENCE)
    assert [band.answer for band in ask.bands] == ["does not", "between", "bolts on", "between", "does not"]
    fits = ask.bands[2]
    # By theory the answers begin 1.645 standard uncertainties of the reading inside and outside 611.5 and 615.3.
    inside = 0.3 * normal_quantile(0.95)
    assert 0.0 <= fits.from_mm - (611.5 + inside) <= 0.25, "promised later than theory has it, and not much later"
    assert 0.0 <= (615.3 - inside) - fits.to_mm <= 0.25
    assert 0.0 <= (611.5 - inside) - ask.bands[0].to_mm <= 0.4
    assert 0.0 <= ask.bands[4].from_mm - (615.3 + inside) <= 0.4


def test_settling_by_draws_against_measuring_again_and_again() -> None:
    """Take the truth from one draw, read it, judge by all: how often is it settled?"""
    rng = np.random.default_rng(4)
    drawn = 600.0 + 0.6 * rng.standard_normal(2000)
    fits = drawn <= 600.2
    ask = ask_by_draws(Candidate("donor", "a", "f", 0.25), fits, drawn, CONFIDENCE)
    truth = 600.0 + 0.6 * rng.standard_normal(2000)
    chance, _ = chance_after(fits, drawn, 0.25, truth + 0.25 * rng.standard_normal(2000))
    settled = ((chance >= CONFIDENCE) | (chance <= 1.0 - CONFIDENCE)).mean()
    assert ask.settles == pytest.approx(settled, abs=0.03)


def test_few_draws_do_not_promise_more_than_many() -> None:
    rng = np.random.default_rng(6)
    drawn = 600.0 + 0.6 * rng.standard_normal(64)
    one = Candidate("donor", "a", "f", 0.001)
    assert ask_by_draws(one, drawn <= 600.2, drawn, CONFIDENCE).settles < 0.95


def test_what_is_settled_needs_no_reading() -> None:
    drawn = 600.0 + 0.6 * np.random.default_rng(7).standard_normal(500)
    ask = ask_by_draws(Candidate("donor", "a", "f", 0.3), np.ones(500, dtype=bool), drawn, CONFIDENCE)
    assert ask.settles == pytest.approx(1.0)
    assert ask.bands == (Band("bolts on", None, None),)
    assert meaning(ask.bands) == ""


@pytest.mark.parametrize(("half_mm", "promised"), [(1.02, False), (1.25, True)])
def test_no_range_is_promised_that_is_narrower_than_the_reading_is_sure(half_mm: float, promised: bool) -> None:
    """By theory the range of `bolts on` is 2 (half - 1.645 sigma) wide at most, against a sigma of 0.5."""
    drawn = 600.0 + 2.0 * np.random.default_rng(9).standard_normal(20_000)
    ask = ask_by_draws(Candidate("donor", "a", "f", 0.5), np.abs(drawn - 600.0) <= half_mm, drawn, CONFIDENCE)
    assert ("bolts on" in [band.answer for band in ask.bands]) == promised


@pytest.mark.parametrize(
    ("chance", "draws", "answer"),
    [
        (0.98, 200.0, 1), (0.962, 200.0, 0), (0.951, 20_000.0, 0), (0.96, 20_000.0, 1), (1.0, 39.5, 0), (1.0, 40.5, 1),
        (0.02, 200.0, -1), (0.038, 200.0, 0), (0.04, 20_000.0, -1), (0.5, 1e6, 0),
    ],
)  # fmt: skip
def test_a_promise_is_one_and_a_half_deviations_of_the_draws_beyond_the_bar(
    chance: float, draws: float, answer: int
) -> None:
    """Of 200 draws a share of 0.98 is known to 0.01, so 0.965 are left; one of 0.962 to 0.0135, so 0.942."""
    assert _answers(np.full(3, chance), np.full(3, draws), 0.95).tolist() == [answer] * 3


@pytest.mark.parametrize(("low_mm", "high_mm"), [(-60.0, 90.0), (-75.0, 62.0), (-200.0, 200.0), (-1.0, 1.0)])
def test_far_off_is_promised_only_where_a_part_that_just_goes_on_seldom_comes_out_so(
    low_mm: float, high_mm: float
) -> None:
    read_mm = np.linspace(-120.0, 120.0, 241)
    answers = np.where(read_mm < -45.0, -1, np.where(read_mm > 55.0, -1, np.where(abs(read_mm) < 20.0, 1, 0)))
    asked = np.zeros(241, dtype=bool)

    def seldom(values_mm: np.ndarray) -> np.ndarray:
        asked[np.searchsorted(read_mm, values_mm - 0.5)] = True
        return np.asarray((values_mm < low_mm) | (values_mm > high_mm))

    kept = _seldom_alone(answers, read_mm, seldom)
    far = (read_mm < low_mm) | (read_mm > high_mm)
    assert (kept[answers != -1] == answers[answers != -1]).all()
    assert set(kept[answers == -1].tolist()) <= {-1, 0} and far[kept == -1].all()
    assert 20 <= asked.sum() <= 24
    # From the first value outwards that was asked about and is seldom, all that was promised still is.
    for side in (read_mm < 0.0, read_mm > 0.0):
        sure = np.abs(read_mm[side & asked & far]).min(initial=np.inf)
        assert (kept[side & (answers == -1) & (np.abs(read_mm) >= sure)] == -1).all()
