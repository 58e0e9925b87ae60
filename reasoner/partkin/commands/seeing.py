"""Seeing it: what a check found out, as what reports, templates, plots, bench sheets and the page are drawn from."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from partkin import pipeline
from partkin.adaptation import surroundings
from partkin.adaptation.bench_sheet import worklist
from partkin.commands.progress import Work
from partkin.commands.sharing_out import of_each_donor
from partkin.drawing.shapes import Picture
from partkin.model.adapting import Adaptation, BenchStep
from partkin.model.build import Build
from partkin.model.drawing import CalibrationBin, CalibrationPlot, ChancePlot, OverlayView, ReportView, TemplateView
from partkin.model.mating import Fixing
from partkin.model.positions import Positions
from partkin.model.problem import FaultyInput, refused
from partkin.model.stripping import PlanView
from partkin.model.verdict import Verdict

if TYPE_CHECKING:
    from partkin.trial.findings import Findings
    from partkin.trial.trying import Places


@dataclass(frozen=True, eq=False)
class SeenCheck:
    """One check with all that is needed to draw it.

    `positions`: by part id, of the layout that the verdict speaks of; `fixings`: as the pairing saw them.
    """

    verdict: Verdict
    positions: Mapping[str, Positions]
    fixings: tuple[Fixing, ...]
    findings: Findings
    places: Places | None = None


def see(build: Build, donor: str, host: str | None = None) -> SeenCheck:
    """Check a donor and keep what the picture of it is drawn from.

    `donor`, `host`: as with `pipeline.check`.

    Raises
    ------
    FaultyInput
        Where the donor or host cannot be told from the sheets.
    """
    return seen_of(build, lay_down(build, donor, host))


@dataclass(frozen=True, eq=False)
class LaidDonor:
    """How a donor lies as it is, before work and anything else is looked at; never a verdict by itself."""

    findings: Findings
    places: Places | None

    @property
    def settled(self) -> bool:
        """Whether the verdict needs no search for work or readings, and so comes at once."""
        trial = self.findings.trial
        return self.places is None or trial is None or trial.stand in ("fits", "missing", "undecided")

    @property
    def margin_mm(self) -> float | None:
        """The least margin, where everything is measured."""
        trial = self.findings.trial
        return None if trial is None or trial.stand == "missing" else trial.answer.margin_mm


def lay_down(build: Build, donor: str, host: str | None = None) -> LaidDonor:
    """Lay a donor on its host and no more.

    Raises
    ------
    FaultyInput
        As with `see`.
    """
    return LaidDonor(*pipeline.lay_on(build, donor, host))


def seen_of(build: Build, lying: LaidDonor) -> SeenCheck:
    """Go on from how a donor lies to its verdict."""
    from partkin.trial import trying

    findings, places = lying.findings, lying.places
    if places is not None:
        findings = pipeline.with_work(build, findings, places)
    verdict = pipeline.decided(build, findings)
    if verdict.verdict == "not judged":
        return SeenCheck(verdict, {}, (), findings)
    places = trying.places_of(findings.known) if places is None else places
    if findings.trial is not None:
        places = trying.as_tried(findings.known, places, findings.trial)
    found = {places.donor.part: places.donor, places.host.part: places.host}
    original = findings.known.original
    if original is not None and original.part.part not in found and original.features:
        found[original.part.part] = trying.adjusted(original)
    return SeenCheck(verdict, found, places.hosted.fixings, findings, places)


def overlay(build: Build, seen: SeenCheck, *, after: bool = False) -> OverlayView | None:
    """What the drawing of one check is made from, `after` the work or as it is; None where nothing can be drawn."""
    from partkin.drawing.views import overlay_view

    original = seen.findings.known.original
    came_off = original.part.part if original is not None else None
    return overlay_view(build, seen.verdict, seen.positions, seen.fixings or None, came_off, after)


def donors_of(build: Build, host: str | None = None) -> tuple[str, ...]:
    """Every donor of the sheets, in their order; `host`: only those that take its place."""
    return tuple(
        part.part for part in build.parts
        if part.origin == "donor" and (host is None or part.takes_place_of == host)
    )  # fmt: skip


def report_of(
    build: Build, donors: Sequence[str] | None = None, work: Work | None = None, notes: Sequence[str] = ()
) -> ReportView:
    """Check donors and gather what their report is made from.

    `donors`: in the order of the report; None: all of the sheets. `work`: progress, and a way to stop: what was checked
    by then is reported, and a note names the rest. `notes`: said at the top. Returns ReportView: donors that cannot be
    checked are named in its notes with what is wrong.
    """
    from partkin.drawing.views import report_view

    def seen_or_why_not(build: Build, donor: str) -> SeenCheck | tuple[str, ...]:
        try:
            return see(build, donor)
        except FaultyInput as fault:
            return tuple(f"{donor} was not checked. {problem}" for problem in fault.problems)

    chosen = donors_of(build) if donors is None else tuple(donors)
    work = work or Work("donors", len(chosen))
    looked = of_each_donor(build, chosen, seen_or_why_not, work)
    found = [one for one in looked if isinstance(one, SeenCheck)]
    said = [*notes, *(says for one in looked if not isinstance(one, SeenCheck) for says in one)]
    if work.undone:
        said.append(f"Stopped before all were checked; not looked at: {', '.join(work.undone)}.")
    overlays = [overlay(build, seen) for seen in found]
    verdicts = [seen.verdict for seen in found]
    after = tuple(overlay(build, seen, after=True) for seen in found)
    return replace(report_view(build, verdicts, overlays, notes=said), after=after, plans=_plans(build, verdicts))


def _plans(build: Build, verdicts: Sequence[Verdict]) -> tuple[PlanView, ...]:
    """Return how the originals come out and the donors come off, where held_by.csv tells."""
    if not build.holdings:
        return ()
    from partkin.strip import to_plan, view_of

    parts = to_plan(build, {verdict.donor for verdict in verdicts})
    return tuple(view_of(build, part) for part in parts)


def part_positions(build: Build, part: str) -> Positions:
    """Where the features of one part are by its own coordinates and the readings that stand."""
    from partkin.positions import adjust

    build.must_have(part)
    return adjust(part, build.features, build.readings)


def template_of(build: Build, part: str, turned_over: bool = False) -> TemplateView:
    """What the template of a part is made from; a donor's has its host drawn on it and what is to be cut.

    Raises
    ------
    FaultyInput
        There is no such part, it has no places, or it is a restraint part.
    """
    from partkin.drawing.views import template_view

    positions: Mapping[str, Positions] = {part: part_positions(build, part)}
    found = build.part(part)
    laid: OverlayView | None = None
    cautions: tuple[str, ...] = ()
    if found is not None and found.origin == "donor" and found.duty != "restraint":
        seen = see(build, part)
        positions = {**positions, **seen.positions}
        laid = overlay(build, seen, after=seen.verdict.after is not None)
        cautions = tuple(caution.says for caution in seen.verdict.safety)
    view = template_view(build, part, positions, laid, cautions, turned_over)
    if not view.features and not view.outlines:
        mend = "Give x_mm and y_mm of its features, or readings between them that tell where they are"
        raise refused("features.csv", 0, "x_mm", f"nothing of {part} has a known place", mend)
    return view


# Of the reading's own expected spread, each way, and how many values are looked at.
WIDTHS, VALUES = 4.0, 81


def pattern(build: Build, part: str) -> Picture:
    """A part's own pattern with the uncertainty of each place."""
    from partkin.drawing.plots import pattern_picture
    from partkin.drawing.views import pattern_plot

    return pattern_picture(pattern_plot(build, part, part_positions(build, part)))


def margins(build: Build, donor: str) -> Picture:
    """Offset and play of every pair of a donor at its best placement."""
    from partkin.drawing.plots import margin_picture
    from partkin.drawing.views import margin_plot

    return margin_picture(margin_plot(see(build, donor).verdict))


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
    from partkin.positions.next_reading import named
    from partkin.readings import could_read, next_readings

    seen = see(build, donor)
    trial, places = seen.findings.trial, seen.places
    if trial is not None and trial.stand in ("missing", "undecided"):
        first = seen.verdict.unknown[0].says if seen.verdict.unknown else seen.verdict.says
        what = f"the chance of {donor} is not known before everything that it needs is measured"
        raise refused("readings.csv", 0, "", what, f"First: {first}")
    best = next_readings.wanted(seen.findings, places, 1) if places is not None else ()
    if trial is None or places is None or not best:
        mend = "partkin check says what its verdict rests on"
        raise refused("readings.csv", 0, "", f"no reading would tell more of {donor}", mend)
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


def bench(build: Build, donor: str, host: str | None = None) -> tuple[Verdict, tuple[BenchStep, ...]]:
    """Lay out what has to be done to a donor; no steps where it does not go on.

    Raises
    ------
    FaultyInput
        Where the donor or host cannot be told from the sheets.
    """
    findings = pipeline.find_out(build, donor, host)
    verdict = pipeline.decided(build, findings)
    question, _ = surroundings.after_work(build, findings, verdict)
    if question is None:
        return verdict, ()
    pairs = tuple((pair.fixing, pair.feature) for pair in verdict.pairs)
    as_it_is = Adaptation((), 0.0, 0.0, verdict.margin_mm or 0.0, True, pairs=pairs)
    work = verdict.adaptation or as_it_is
    return verdict, worklist(question, work, verdict.besides, verdict.edges, verdict.connectors)
