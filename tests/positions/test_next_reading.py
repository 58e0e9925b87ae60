"""Which reading next: rank-one updates against refits, probabilities against drawing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from partkin.model.distributions import normal_quantile
from partkin.positions import adjust
from partkin.positions.by_draws import ask_by_draws, chance_after
from partkin.positions.next_reading import Band, Candidate, meaning, spread_drops
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
