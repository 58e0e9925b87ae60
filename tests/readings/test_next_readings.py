"""Which readings are asked for, by what they would settle; and that their values mean what is said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import partkin
from builders import build as host_and_donor
from builders import given, holes, studs
from partkin.fit.batch import batch_fits
from partkin.graph import known_of
from partkin.model.build import Feature, Reading
from partkin.positions import by_draws, draws
from partkin.positions.by_draws import agreement, ask_by_draws, chance_after, told_by_each, weight_between
from partkin.positions.next_reading import Candidate
from partkin.readings import next_readings
from partkin.readings.could_read import effort_minutes, instrument_for
from partkin.tables.instruments import instruments, reading_costs
from partkin.trial import trying
from readings.simulated import (
    CONFIDENCE,
    anyhow,
    build,
    calibration,
    ends,
    judged,
    measured,
    near_builds,
    of,
    open_builds,
    promised,
    said_and_happened,
    trial_of,
    with_readings,
)

CORNERS = np.array([[0.0, 0.0], [600.0, 0.0], [600.0, 300.0], [0.0, 300.0]])


def test_the_draws_that_fit_are_those_of_the_chance() -> None:
    """The share of fitting draws is the chance; a draw knows where its holes are."""
    truth = open_builds(1)[0]
    findings, places = judged(truth.known)
    trial = trial_of(findings)
    fits, host_mm, donor_mm = trying.sides_drawn(truth.known, places, trial, 4000)
    assert fits.mean() == pytest.approx(trial.chance.fits, abs=4.0 * (0.25 / min(trial.chance.draws, 4000)) ** 0.5)
    again = batch_fits(host_mm, donor_mm, truth.play_mm)
    assert np.mean(again == fits) > 0.95, "but for what a turn of the rough places changes by its square"


def test_a_coarse_look_at_many_agrees_with_the_fine_one() -> None:
    rng = np.random.default_rng(1)
    drawn = np.stack([612.0 + rng.standard_normal(2000), 300.0 + 0.2 * rng.standard_normal(2000)])
    fits = drawn[0] + 0.3 * rng.standard_normal(2000) < 612.4
    asked = (Candidate("p", "a", "b", 0.3), Candidate("p", "a", "c", 0.3))
    told = told_by_each(asked, fits, drawn)
    for at, one in enumerate(asked):
        assert told[at] == pytest.approx(ask_by_draws(one, fits, drawn[at], CONFIDENCE).tells, abs=0.02)
    assert told[0] > 0.5 > 0.05 > told[1]


def test_what_is_told_is_the_expected_share_of_the_verdicts_variance() -> None:
    """Law of total variance, drawn: tells = 1 - E[p(1-p) after] / p(1-p) before."""
    rng = np.random.default_rng(2)
    drawn = 612.0 + rng.standard_normal(4000)
    fits = drawn < 612.3
    ask = ask_by_draws(Candidate("p", "a", "b", 0.5), fits, drawn, CONFIDENCE)
    read = drawn + 0.5 * rng.standard_normal(4000)
    after, _ = chance_after(fits, drawn, 0.5, read[:1500])
    expected = 1.0 - np.mean(after * (1.0 - after)) / (fits.mean() * (1.0 - fits.mean()))
    assert ask.tells == pytest.approx(expected, abs=0.03)


def test_what_follows_is_judged_where_the_first_leaves_it_open() -> None:
    rng = np.random.default_rng(3)
    drawn = 612.0 + rng.standard_normal(3000)
    ask = ask_by_draws(Candidate("p", "a", "b", 0.1), drawn < 612.0, drawn, CONFIDENCE)
    weight = weight_between(ask, drawn)
    assert weight[np.abs(drawn - 612.0) < 0.05].min() > 0.5
    settled = (np.abs(drawn - 612.0) > 1.0) & (np.abs(drawn - 612.0) < 1.5)
    assert weight[settled].max() < 1e-3


def test_nothing_is_promised_where_hardly_a_draw_stands_behind_it() -> None:
    """Draws end at 613: a value of 615 would be told by a single one of them."""
    drawn = np.linspace(611.0, 613.0, 400)
    fits = drawn > 612.99
    ask = ask_by_draws(Candidate("p", "a", "b", 0.02), fits, drawn, CONFIDENCE)
    assert {band.answer for band in ask.bands} <= {"does not", "between"}


@pytest.mark.parametrize("larger", [True, False])
def test_what_is_promised_on_one_side_says_nothing_of_the_other(larger: bool) -> None:
    """Of draws that fit above 612 every smaller value means that it does not; beyond the largest nothing is known."""
    drawn = np.linspace(611.0, 613.0, 4000)
    ask = ask_by_draws(Candidate("p", "a", "b", 0.02), (drawn > 612.0) == larger, drawn, CONFIDENCE)
    said = [band.answer for band in ask.bands]
    known = ["does not", "between", "bolts on", "between"]
    assert said == (known if larger else known[::-1])


@pytest.mark.parametrize(
    ("answers", "bands", "edges"),
    [
        ([1, 1, 0, -1, -1], ["between", "bolts on", "between", "does not"], [-0.5, 1.5, 2.5]),
        ([-1, 0, 0, 1, 1], ["does not", "between", "bolts on", "between"], [0.5, 2.5, 4.5]),
        ([2, -1, -1, 0, 2], ["again", "does not", "between", "again"], [0.5, 2.5, 3.5]),
        ([0, 0, 0, 0, 0], ["between"], []),
        ([1, 1, 1, 1, 1], ["bolts on"], []),
    ],
)
def test_it_bolts_on_only_between_values_that_were_looked_at(
    answers: list[int], bands: list[str], edges: list[float]
) -> None:
    """Five values a millimetre apart; an answer changes halfway between two of them."""
    told = by_draws._bands(np.arange(5.0), np.array(answers))
    assert [band.answer for band in told] == bands
    assert [band.from_mm for band in told] == [None, *edges] and [band.to_mm for band in told] == [*edges, None]


def test_a_value_that_would_not_agree_is_read_again() -> None:
    assert agreement(3.0, 1) == pytest.approx((5.991464547 - 3.0) ** 0.5)  # 95 % point, 2 degrees of freedom
    drawn = 612.0 + np.random.default_rng(4).standard_normal(3000)
    near_mm = agreement(0.0, 0) * np.hypot(1.0, 0.3)
    agreeing_mm = (612.0 - near_mm, 612.0 + near_mm)
    ask = ask_by_draws(Candidate("p", "a", "b", 0.3), drawn < 612.0, drawn, CONFIDENCE, None, agreeing_mm)
    assert (ask.bands[0].answer, ask.bands[-1].answer) == ("again", "again")
    assert ask.bands[0].to_mm == pytest.approx(612.0 - 1.96 * np.hypot(1.0, 0.3), abs=0.1)


def test_the_deciding_distance_comes_first() -> None:
    """Three holes are sure to 0.05 mm, the fourth is not along the line to the first: that distance decides."""
    truth = of(CORNERS, CORNERS + np.array([[0, 0], [0, 0], [0, 0], [0.0, 3.2]]), np.full(4, 0.8), 3, 0.05, 0.05)
    holes = list(truth.known.donor.features)
    holes[3] = replace(holes[3], plus_minus_mm=1.5)
    truth = replace(truth, known=replace(truth.known, donor=replace(truth.known.donor, features=tuple(holes))))
    findings, places = judged(truth.known)
    assert trial_of(findings).stand == "unsure"
    best = next_readings.wanted(findings, places, 3, at_hand=True)
    assert {best[0].reading.from_feature, best[0].reading.to_feature} == {"a0", "a3"}
    assert best[0].ask.tells > 0.5
    assert best[0].says.startswith("read a0 to a3 of donor, centre to centre: ")
    assert "mm means that it does not; between, " in best[0].says


def test_a_width_that_is_known_too_coarsely_is_asked_for() -> None:
    truth = of(CORNERS, CORNERS, np.full(4, 0.5), 5, 0.02, 0.02)
    across = Reading("donor", "r1", "across", 7.0, "mm", "a2", plus_minus=1.5, instrument="seller")
    donor = replace(truth.known.donor, readings=(across,))
    findings, places = judged(replace(truth.known, donor=donor))
    assert trial_of(findings).stand == "unsure"
    (first, *_) = next_readings.wanted(findings, places, 3, at_hand=True)
    assert (first.reading.quantity, first.reading.from_feature, first.reading.instrument) == ("across", "a2", "caliper")
    assert "how wide a2 of donor is across" in first.says
    unknown = next_readings.as_unknown(first)
    assert (unknown.quantity, unknown.from_feature, unknown.to_feature) == ("across", "a2", None)


def test_what_was_read_already_is_not_asked_for_again() -> None:
    truth = open_builds(3)[2]
    pairs = truth.pairs[:2]
    findings, places = judged(with_readings(truth, pairs))
    field = next_readings.field_of(findings, places, trial_of(findings), at_hand=True)
    asked = {(one.from_feature, one.to_feature) for one in field.candidates if one.part == "donor"}
    assert not asked & {(f"a{a}", f"a{b}") for a, b in pairs}
    assert len(asked) == len(truth.pairs) - 2


def test_a_sellers_reading_is_taken_again_on_the_bench() -> None:
    truth = open_builds(1)[0]
    told = replace(truth.reading((0, 1)), instrument="seller")
    donor = replace(truth.known.donor, readings=(told,))
    findings, places = judged(replace(truth.known, donor=donor))
    field = next_readings.field_of(findings, places, trial_of(findings), at_hand=True)
    assert any((one.from_feature, one.to_feature) == ("a0", "a1") for one in field.candidates)
    field = next_readings.field_of(findings, places, trial_of(findings), at_hand=False)
    assert not any((one.from_feature, one.to_feature) == ("a0", "a1") for one in field.candidates)


def test_a_dear_reading_has_to_tell_more() -> None:
    """Per minute, the bench comes before the seller unless the seller tells that much more."""
    truth = open_builds(2)[1]
    findings, places = judged(truth.known)
    ranked = next_readings.wanted(findings, places, 50, at_hand=False)
    worth = [one.ask.tells / one.reading.effort for one in ranked]
    assert len(worth) > 3 and np.all(np.diff(worth) < 0.01)
    assert {one.reading.instrument for one in ranked if one.reading.part == "donor"} <= {"seller"}
    assert effort_minutes("seller") > 4 * effort_minutes("caliper")


def test_the_costs_name_every_instrument_and_their_source() -> None:
    assert set(reading_costs()) == set(instruments())
    assert all(row.source == "common practice, no source" and row.minutes > 0 for row in reading_costs().values())
    assert instrument_for(4000.0, at_hand=True) == "tape"


def test_whether_the_donor_is_at_hand_is_told_by_its_readings() -> None:
    def row(instrument: str | None) -> Reading:
        return Reading("d", "r1", "centres", 1.0, "mm", "a", "b", instrument=instrument)

    assert next_readings.donor_at_hand([row("tape")])
    assert not next_readings.donor_at_hand([row("seller"), row("photo"), row(None)])


@pytest.mark.parametrize("mirrored", [False, True])
def test_in_words_the_donor_is_the_donor(mirrored: bool) -> None:
    truth = open_builds(1)[0]
    if mirrored:
        holes = tuple(replace(hole, x_mm=-hole.x_mm) for hole in truth.known.donor.features)
        part = replace(truth.known.donor.part, seen_from="inside")
        truth = replace(truth, known=replace(truth.known, donor=replace(truth.known.donor, features=holes, part=part)))
    findings, places = judged(truth.known)
    assert trial_of(findings).mirrored is mirrored
    first = next_readings.wanted(findings, places, 1, at_hand=True)[0]
    distance = first.reading
    rows = {name: at for name, at in zip(places.donor.features, places.donor.xyz_mm, strict=True)}
    if distance.part == "donor":
        expected = np.linalg.norm(rows[distance.from_feature] - rows[distance.to_feature])
        assert first.ask.expected_mm == pytest.approx(expected, abs=2.0)


def test_the_same_sheets_the_same_readings() -> None:
    truth = open_builds(1)[0]
    told = [next_readings.open_readings(*judged(truth.known)) for _ in range(2)]
    assert told[0] == told[1] and told[0]


# Values mean what is said


def test_values_come_out_as_said() -> None:
    tried, held = np.sum([promised(truth) for truth in open_builds(14)], axis=0)
    assert tried > 25
    assert held / tried >= 0.95


@pytest.mark.slow
def test_values_come_out_as_said_over_sixty_builds() -> None:
    tried, held = np.sum([promised(truth) for truth in open_builds(60, first=1000)], axis=0)
    assert tried > 150
    assert held / tried >= 0.95


# Fewer readings than all pairs


@pytest.mark.slow
def test_fewer_readings_than_half_of_all_pairs() -> None:
    """40 builds here, 200 in tests/benchmarks/bench_measuring.py: figures in docs/measuring.md."""
    builds = open_builds(40)
    told = {way: [measured(truth, way) for truth in builds] for way in ("verdict", "coordinates", "sheet")}
    share = {way: np.mean([one.share for one in stories]) for way, stories in told.items()}
    assert share["verdict"] <= 0.5
    assert share["verdict"] < share["coordinates"] < share["sheet"] + 0.05
    wrong = sum(one.wrong for one in told["verdict"])
    assert wrong <= 6  # 0.05 of 40 is 2; more than 6 would come once in 100 (binomial)


def test_a_hole_known_roughly_is_tied_down_first() -> None:
    """One hole is known to 25 mm, the others to 0.2 mm: two distances from it come first."""
    truth = of(CORNERS, CORNERS, np.full(4, 0.6), 3, 0.2, 0.1)
    holes = [replace(f, plus_minus_mm=25.0) if f.feature == "a2" else f for f in truth.known.donor.features]
    truth = replace(truth, known=replace(truth.known, donor=replace(truth.known.donor, features=tuple(holes))))
    taken: list[tuple[int, int]] = []
    for _ in range(2):
        findings, places = judged(with_readings(truth, taken))
        field = next_readings.field_of(findings, places, trial_of(findings), at_hand=True)
        (best, *_) = next_readings.best_of(field, places, trial_of(findings), 3)
        assert 2 in ends(best.reading) and best.reading.part == "donor"
        taken.append(ends(best.reading))
    assert len(set(taken)) == 2
    findings, places = judged(with_readings(truth, taken))
    assert trial_of(findings).chance.fits > 0.05, "now draws can tell"


def test_where_nothing_tells_that_is_said(monkeypatch) -> None:
    findings, places = judged(open_builds(1)[0].known)
    monkeypatch.setattr(next_readings, "wanted", lambda *_: ())
    (only,) = next_readings.open_readings(findings, places)
    assert (only.what, only.quantity) == ("finer readings", "centres")
    assert only.says.startswith(f"read {only.from_feature} to {only.to_feature} of {only.part} once more")
    assert "no single reading tells much of it" in only.says


# Coarse readings


def test_the_same_part_read_coarsely_is_open() -> None:
    """Read exactly, nothing is coarse; read to 3 mm with little play, even the same part looks far off."""
    exact = of(CORNERS, CORNERS + np.array([[0, 0], [0, 0], [0, 0], [4.0, 0.0]]), np.full(4, 0.5), 1, 0.0, 0.0)
    findings, _ = judged(exact.known)
    assert trial_of(findings).stand == "does not" and trial_of(findings).chance.just_goes_on is None
    rough = of(CORNERS, CORNERS, np.full(4, 0.5), 2, 3.0, 0.1)
    findings, places = judged(rough.known)
    trial = trial_of(findings)
    assert trial.stand == "unsure" and 0.05 < trial.chance.fits < 0.95
    assert next_readings.open_readings(findings, places)[0].quantity == "centres"


def test_precise_readings_are_not_called_coarse() -> None:
    for seed in range(12):
        truth = build(seed, rough_mm=0.2, host_within_mm=0.1, sisters=0.0)
        findings, places = judged(truth.known)
        if trial_of(findings).stand == "does not":
            assert next_readings.open_readings(findings, places) == ()


# The chance takes the adjusted covariance, correlations included


def test_correlations_matter_to_the_chance() -> None:
    """The same variances without the correlations give another chance."""
    truth = anyhow(129)
    findings, places = judged(truth.known)
    assert places.donor.covariance_mm2 is not None
    plain = replace(places.donor, covariance_mm2=np.diag(np.diagonal(places.donor.covariance_mm2)))
    trial = trial_of(findings)
    correlated = trying.sides_drawn(truth.known, places, trial, 4000)[0].mean()
    apart = trying.sides_drawn(truth.known, replace(places, donor=plain), trial, 4000)[0].mean()
    assert abs(correlated - apart) > 0.05
    assert draws(plain, 10, 1).shape == draws(places.donor, 10, 1).shape


@pytest.mark.slow
def test_what_is_said_is_what_happens() -> None:
    """1,000 builds here, over which right chances would miss by 0.02; 2,000 in tests/benchmarks/bench_measuring.py."""
    told = [said_and_happened(truth) for truth in near_builds(1000)]
    said, went_on = np.array([chance for chance, _ in told]), np.array([came for _, came in told])
    off = (went_on.sum() - said.sum()) / np.sqrt((said * (1.0 - said)).sum())
    assert abs(off) < 3.0
    assert np.count_nonzero((said > 0.05) & (said < 0.95)) > 150
    assert calibration(said, went_on)[0] <= 0.03


def test_one_more_distance_moves_the_chance() -> None:
    """End to end: the same donor with one more of its distances read has another chance."""
    truth = open_builds(5)[4]
    before = trial_of(judged(truth.known)[0]).chance
    after = trial_of(judged(with_readings(truth, truth.pairs[:4]))[0]).chance
    assert before.fits != after.fits


def test_features_without_pairs_are_not_measured() -> None:
    truth = open_builds(1)[0]
    spare = Feature("donor", "spare", "hole", 30.0, x_mm=1.0, y_mm=1.0, plus_minus_mm=3.0, need="spare")
    donor = replace(truth.known.donor, features=(*truth.known.donor.features, spare))
    findings, places = judged(replace(truth.known, donor=donor))
    field = next_readings.field_of(findings, places, trial_of(findings), at_hand=True)
    assert not any("spare" in (one.from_feature, one.to_feature) for one in field.candidates)


@pytest.mark.parametrize(("e_mm", "says"), [(0.5, "to 0.2 mm or better (caliper across"), (1.0, "to 0.5 mm or")])
def test_how_finely_to_read_is_said_and_settles_it_more_often_than_not(e_mm: float, says: str) -> None:
    """A hole that was read 1.2 or 2 mm out, all donor holes to 0.5 or 1 mm; the donor lies on the bench."""
    corners = [(0.0, 0.0), (110.0, 0.0), (110.0, 70.0), (0.0, 80.0)]
    off = [(x + (0.7 + e_mm if e_mm < 1.0 else 2.0) * (n == 1), y) for n, (x, y) in enumerate(corners)]
    host = [replace(f, plus_minus_mm=0.1) for f in studs(corners)]
    donor = [replace(f, plus_minus_mm=e_mm) for f in given(holes(off))]
    read = Reading("donor", "r1", "centres", 110.5, "mm", "a3", "a4", instrument="steel rule")
    made = replace(host_and_donor(host, donor), readings=(read,))
    verdict = partkin.check(made, "donor")
    assert verdict.verdict == "not enough measured" and says in verdict.unknown[0].says
    findings, places = judged(known_of(made, "donor"))
    here = next_readings.as_tried(findings.known, places, findings.trial)
    field = next_readings.field_of(findings, here, findings.trial, True)
    best = next_readings.order_of(field, None)[0]
    fine_mm = float(says.split()[1])
    assert field.ask(best, fine_mm).settles >= 0.5 > field.ask(best, 4.0 * fine_mm).settles
