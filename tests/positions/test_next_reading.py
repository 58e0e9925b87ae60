"""Which reading next: rank-one updates against refits, probabilities against drawing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from partkin.positions import adjust, next_readings
from partkin.positions.budget import length_row
from partkin.positions.by_draws import ask_by_draws, chance_after
from partkin.positions.distributions import normal_quantile
from partkin.positions.next_reading import Band, Candidate, candidates, settling, thresholds, variance_drops
from partkin.positions.wording import in_words
from partkin.tables import greatest_error_mm
from positions.parts import all_pairs, features, readings

SIX = np.random.default_rng(11).uniform(0.0, 700.0, (6, 2))
READ = readings(SIX, [pair for pair in all_pairs(6) if sum(pair) % 4])
FOUND = adjust("p", features(SIX), READ)
CONFIDENCE = 0.95


def test_candidates_are_every_pair_with_the_instruments_error() -> None:
    asked = candidates(FOUND, "tape", effort=2.0, features=("f0", "f2", "f5"))
    assert [(one.from_feature, one.to_feature) for one in asked] == [("f0", "f2"), ("f0", "f5"), ("f2", "f5")]
    length = np.linalg.norm(SIX[0] - SIX[2])
    assert asked[0].sigma_mm == pytest.approx(greatest_error_mm("tape", length) / np.sqrt(3.0))
    assert asked[0].effort == 2.0


def test_a_rank_one_update_is_a_refit() -> None:
    """Drop of a distance's variance when one more reading of the same value comes in."""
    gradient = length_row(FOUND, 0, 5)
    asked = [Candidate("p", "f0", "f4", 0.3), Candidate("p", "f1", "f3", 0.2), Candidate("p", "f0", "f5", 0.5)]
    drops, _, _ = variance_drops(FOUND, gradient, asked)
    before = gradient @ FOUND.covariance_mm2 @ gradient
    for one, drop in zip(asked, drops, strict=True):
        a, b = int(one.from_feature[1:]), int(one.to_feature[1:])
        (more,) = readings(SIX, [(a, b)], plus_minus=one.sigma_mm * np.sqrt(3.0))
        refit = adjust("p", features(SIX), [*READ, replace(more, reading="new")])
        after = length_row(refit, 0, 5) @ refit.covariance_mm2 @ length_row(refit, 0, 5)
        assert drop == pytest.approx(before - after, rel=1e-4, abs=1e-9)


def test_the_closed_form_of_the_drop() -> None:
    gradient = np.random.default_rng(1).normal(size=(6, 2))
    one = Candidate("p", "f1", "f4", 0.4)
    (drop,), (together,), (reading,) = variance_drops(FOUND, gradient, [one])
    row = length_row(FOUND, 1, 4)
    assert together == pytest.approx(gradient.ravel() @ FOUND.covariance_mm2 @ row)
    assert reading == pytest.approx(0.16 + row @ FOUND.covariance_mm2 @ row)
    assert drop == pytest.approx(together**2 / reading)


@pytest.mark.parametrize(
    ("mean", "before", "after"), [(0.2, 0.4, 0.15), (-0.1, 0.3, 0.29), (1.0, 0.5, 0.0), (0.0, 1.0, 0.5)]
)
def test_settling_against_drawing(mean: float, before: float, after: float) -> None:
    """Draw the margin, read it with noise that leaves `after`, and look whether the verdict is settled."""
    rng = np.random.default_rng(5)
    moved = mean + np.sqrt(before**2 - after**2) * rng.standard_normal(200_000)
    bar = 1.6448536 * after
    drawn = ((moved >= bar) | (moved <= -bar)).mean()
    assert settling(mean, before, after, CONFIDENCE) == pytest.approx(drawn, abs=0.004)


def test_a_reading_that_tells_nothing_settles_only_what_is_settled() -> None:
    assert settling(1.0, 0.4, 0.4, CONFIDENCE) == 1.0
    assert settling(0.1, 0.4, 0.4, CONFIDENCE) == 0.0


@pytest.mark.parametrize("gain", [0.7, -0.7])
def test_thresholds_are_where_the_chance_crosses(gain: float) -> None:
    """At its end a band's chance is exactly the confidence."""
    mean, after, expected = 0.1, 0.25, 612.0
    bands = thresholds(mean, after, gain, expected, CONFIDENCE)
    assert [band.answer for band in bands] == sorted(
        ["bolts on", "between", "does not"], key=["does not", "between", "bolts on"].index, reverse=gain < 0
    )
    middle = next(band for band in bands if band.answer == "between")
    for edge in (middle.from_mm, middle.to_mm):
        margin = mean + gain * (edge - expected)
        assert abs(margin) / after == pytest.approx(1.6448536, abs=0.01)


def test_thresholds_without_gain() -> None:
    assert thresholds(1.0, 0.1, 0.0, 600.0, CONFIDENCE) == (Band("bolts on", None, None),)
    assert thresholds(0.0, 0.1, 0.0, 600.0, CONFIDENCE) == (Band("between", None, None),)


def two_sides():
    donor = adjust("donor", [replace(f, part="donor") for f in features(SIX)], [replace(r, part="donor") for r in READ])
    host = adjust("host", [replace(f, part="host") for f in features(SIX, range(6), plus_minus_mm=0.1)], [])
    gradient = -length_row(donor, 0, 5).reshape(6, 2)
    return (donor, gradient), (host, -gradient)


def test_the_reading_that_settles_most_comes_first() -> None:
    """The margin hangs on the donor's distance f0 to f5 alone, so reading it is worth most."""
    sides = two_sides()
    asked = [*candidates(sides[0][0], "tape"), *candidates(sides[1][0], "caliper")]
    ranked = next_readings(sides, 0.15, asked, CONFIDENCE)
    assert (ranked[0].candidate.part, ranked[0].candidate.from_feature, ranked[0].candidate.to_feature) == (
        "donor", "f0", "f5",
    )
    assert [ask.worth for ask in ranked] == sorted((ask.worth for ask in ranked), reverse=True)
    assert len(ranked) == len(asked)
    bands = {band.answer for band in ranked[0].bands}
    assert bands == {"bolts on", "between", "does not"}


def test_a_dear_reading_is_asked_for_later() -> None:
    sides = two_sides()
    cheap = candidates(sides[0][0], "tape", effort=1.0)
    dear = [replace(one, effort=20.0) if (one.from_feature, one.to_feature) == ("f0", "f5") else one for one in cheap]
    first = next_readings(sides, 0.15, dear, CONFIDENCE)[0].candidate
    assert (first.from_feature, first.to_feature) != ("f0", "f5")


def test_ranking_does_not_depend_on_the_order_asked() -> None:
    sides = two_sides()
    asked = list(candidates(sides[0][0], "tape"))
    there = next_readings(sides, 0.15, asked, CONFIDENCE)
    assert there == next_readings(sides, 0.15, asked[::-1], CONFIDENCE)


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
    assert in_words(ask) == "a to f, centre to centre"
