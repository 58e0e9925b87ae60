"""The plots of a build, as pictures: a pattern, a donor's margins, its chance against the next reading, the score."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from partkin import seeing
from partkin.model.build import Build
from partkin.model.drawing import CalibrationBin, CalibrationPlot, ChancePlot
from partkin.model.positions import Positions
from partkin.model.problem import FaultyInput, Problem
from partkin.model.words import Instrument
from partkin.report.shapes import Picture

# Of the reading's own expected spread, each way, and how many values are looked at.
WIDTHS, VALUES = 4.0, 81
# What the donor is measured with (somebody else's hands), and the host (on the bench).
INSTRUMENTS: tuple[Instrument, Instrument] = ("seller", "tape")


def pattern(build: Build, part: str) -> Picture:
    """A part's own pattern with the uncertainty of each place."""
    from partkin.report.part_views import pattern_plot
    from partkin.report.plots import pattern_picture

    return pattern_picture(pattern_plot(build, part, seeing.part_positions(build, part)))


def margins(build: Build, donor: str) -> Picture:
    """Offset and play of every pair of a donor at its best placement."""
    from partkin.report.part_views import margin_plot
    from partkin.report.plots import margin_picture

    return margin_picture(margin_plot(seeing.see(build, donor).verdict))


def chance(build: Build, donor: str) -> Picture:
    """The chance that a donor goes on, against what the reading that narrows most may say."""
    from partkin.report.plots import chance_picture

    return chance_picture(chance_plot(build, donor))


def calibration(build: Build, donor: str | None = None) -> Picture:
    """The chances that were said, against what happened."""
    from partkin.ranking import score
    from partkin.report.plots import calibration_picture

    bins = (CalibrationBin(b.low, b.high, b.count, round(b.happened * b.count)) for b in score(build).bins)
    return calibration_picture(CalibrationPlot(tuple(bins)))


PLOTS: dict[str, Callable[[Build, str], Picture]] = {
    "pattern": pattern, "margins": margins, "chance": chance, "calibration": calibration,
}  # fmt: skip


def chance_plot(build: Build, donor: str) -> ChancePlot:
    """Values of the reading that would narrow the margin most, with the chance that each would leave.

    The margin is taken as normal and linear in the reading about the likely positions, as
    `positions.next_reading.next_readings` has it.

    Raises
    ------
    FaultyInput
        No placement is known, or no reading narrows anything.
    """
    from partkin import next_readings as forces_of
    from partkin.positions import next_reading
    from partkin.positions.distributions import normal_cdf

    seen = seeing.see(build, donor)
    trial, places = seen.findings.trial, seen.places
    if trial is None or places is None or trial.task.dims != 2 or seen.verdict.margin_mm is None:
        raise _refused(donor, "no margin is known, so no reading can be weighed", "Measure what check asks for")
    host_forces, donor_forces = forces_of.forces(trial)
    placed_by = places.hosted.placed_by
    hosts = {placed_by.get(name, name): force for name, force in host_forces.items()}
    sides = [
        (positions, _gradient(positions, by_feature))
        for positions, by_feature in (
            (seen.positions[places.donor.part], donor_forces), (seen.positions[places.host.part], hosts),
        )
    ]  # fmt: skip
    asked = [
        one for (positions, slope), instrument in zip(sides, INSTRUMENTS, strict=True)
        for one in next_reading.candidates(positions, instrument, features=_felt(positions, slope))
    ]  # fmt: skip
    found = next_reading.next_readings(sides, seen.verdict.margin_mm, asked, build.settings.confidence)
    best = max(found, key=lambda ask: ask.drop_mm2, default=None)
    if best is None or best.drop_mm2 <= 0:
        raise _refused(donor, "no reading narrows its margin", "See the reasons of partkin check")
    return _curve(seen.verdict.margin_mm, best, sides, build.settings.confidence, donor, normal_cdf)


def _curve(
    margin_mm: float, best: object, sides: list[tuple[Positions, np.ndarray]], confidence: float, donor: str,
    normal_cdf: Callable[[float], float],
) -> ChancePlot:  # fmt: skip
    from partkin.positions import next_reading
    from partkin.positions.budget import covariance_mm2

    assert isinstance(best, next_reading.Ask)
    one = best.candidate
    total = sum(float(slope.ravel() @ covariance_mm2(positions) @ slope.ravel()) for positions, slope in sides)
    mine = next((positions, slope) for positions, slope in sides if positions.part == one.part)
    drops, together, reading = next_reading.variance_drops(*mine, [one])
    gain, after_mm = float(together[0] / reading[0]), math.sqrt(max(1e-12, total - float(drops[0])))
    off_mm = np.linspace(-WIDTHS, WIDTHS, VALUES) * math.sqrt(float(reading[0]))
    chances = tuple(normal_cdf((margin_mm + gain * float(off)) / after_mm) for off in off_mm)
    values = tuple(float(best.expected_mm + off) for off in off_mm)
    named = f"{one.from_feature} to {one.to_feature} of {one.part}, centre to centre"
    return ChancePlot(donor, named, values, chances, confidence, best.expected_mm, math.sqrt(float(reading[0])))


def _gradient(positions: Positions, by_feature: dict[str, np.ndarray]) -> np.ndarray:
    """(n, d): how the margin changes with each coordinate of one part."""
    slope = np.zeros((len(positions.features), positions.dims))
    for row, name in enumerate(positions.features):
        if name in by_feature:
            slope[row, :2] = by_feature[name]
    return slope


def _felt(positions: Positions, slope: np.ndarray) -> list[str]:
    """Features whose place the margin feels, with those that they are measured to."""
    return [name for row, name in enumerate(positions.features) if np.abs(slope[row]).max() > 1e-9] or [
        *positions.features
    ]


def _refused(donor: str, what: str, mend: str) -> FaultyInput:
    return FaultyInput((Problem("features.csv", 0, "", f"{donor}: {what}", mend),))
