"""The plots of a build, as pictures: a pattern, a donor's margins, its chance against the next reading, the score."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from partkin.commands import seeing
from partkin.drawing.shapes import Picture
from partkin.model.build import Build
from partkin.model.drawing import CalibrationBin, CalibrationPlot, ChancePlot
from partkin.model.problem import FaultyInput, Problem

# Of the reading's own expected spread, each way, and how many values are looked at.
WIDTHS, VALUES = 4.0, 81


def pattern(build: Build, part: str) -> Picture:
    """A part's own pattern with the uncertainty of each place."""
    from partkin.drawing.part_views import pattern_plot
    from partkin.drawing.plots import pattern_picture

    return pattern_picture(pattern_plot(build, part, seeing.part_positions(build, part)))


def margins(build: Build, donor: str) -> Picture:
    """Offset and play of every pair of a donor at its best placement."""
    from partkin.drawing.part_views import margin_plot
    from partkin.drawing.plots import margin_picture

    return margin_picture(margin_plot(seeing.see(build, donor).verdict))


def chance(build: Build, donor: str) -> Picture:
    """The chance that a donor goes on, against what the reading that narrows most may say."""
    from partkin.drawing.plots import chance_picture

    return chance_picture(chance_plot(build, donor))


def calibration(build: Build, donor: str | None = None) -> Picture:
    """The chances that were said, against what happened."""
    from partkin.commands.ranking import score
    from partkin.drawing.plots import calibration_picture

    bins = (CalibrationBin(b.low, b.high, b.count, round(b.happened * b.count)) for b in score(build).bins)
    return calibration_picture(CalibrationPlot(tuple(bins)))


PLOTS: dict[str, Callable[[Build, str], Picture]] = {
    "pattern": pattern, "margins": margins, "chance": chance, "calibration": calibration,
}  # fmt: skip


def chance_plot(build: Build, donor: str) -> ChancePlot:
    """Values of the reading that would tell most, with the chance that each would leave.

    Each of the draws that the chance is taken from is weighed by how likely it would have given the reading
    (Bayes, `positions.next_reading.chance_after`).

    Raises
    ------
    FaultyInput
        Nothing is placed, something that has to be known first is missing, or no reading tells anything.
    """
    from partkin.positions.by_draws import chance_after, look_mm
    from partkin.positions.wording import named
    from partkin.readings import could_read, next_readings

    seen = seeing.see(build, donor)
    trial, places = seen.findings.trial, seen.places
    if trial is not None and trial.stand in ("missing", "undecided"):
        first = seen.verdict.unknown[0].says if seen.verdict.unknown else seen.verdict.says
        what = f"the chance of {donor} is not known before everything that it needs is measured"
        raise FaultyInput((Problem("readings.csv", 0, "", what, f"First: {first}"),))
    best = next_readings.wanted(seen.findings, places, 1) if places is not None else ()
    if trial is None or places is None or not best:
        mend = "partkin check says what its verdict rests on"
        raise FaultyInput((Problem("readings.csv", 0, "", f"no reading would tell more of {donor}", mend),))
    ask, one = best[0].ask, best[0].reading
    at_hand = best[0].later or could_read.donor_at_hand(seen.findings.known.donor.readings)
    field = could_read.field_of(seen.findings, places, trial, at_hand)
    drawn_mm = field.drawn_mm[field.candidates.index(one)]
    wide_mm = look_mm(one.sigma_mm, float(drawn_mm.std()), len(drawn_mm))
    values_mm = ask.expected_mm + np.linspace(-WIDTHS, WIDTHS, VALUES) * ask.sigma_mm
    chances, _ = chance_after(field.fits, drawn_mm, wide_mm, values_mm)
    called = f"{named(one)} of {one.part}"
    return ChancePlot(
        donor, called, tuple(map(float, values_mm)), tuple(map(float, chances)), build.settings.confidence,
        ask.expected_mm, ask.sigma_mm,
    )  # fmt: skip
