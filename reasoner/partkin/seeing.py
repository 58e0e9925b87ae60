"""Seeing it: what a check found out, as the views that reports, templates, plots and the page are drawn from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from partkin import pipeline
from partkin.model.build import Build, Reading
from partkin.model.drawing import OverlayView, ReportView, TemplateView
from partkin.model.fitting import Spot
from partkin.model.mating import Fixing
from partkin.model.positions import Positions
from partkin.model.problem import FaultyInput, Problem
from partkin.model.verdict import Verdict
from partkin.progress import Work

if TYPE_CHECKING:
    from partkin.trying import Places
    from partkin.verdict import Findings


@dataclass(frozen=True, eq=False)
class Seen:
    """One check with all that is needed to draw it.

    `positions`: by part id, of the layout that the verdict speaks of; `fixings`: as the pairing saw them.
    """

    verdict: Verdict
    positions: Mapping[str, Positions]
    fixings: tuple[Fixing, ...]
    findings: Findings
    places: Places | None = None


def see(build: Build, donor: str, host: str | None = None) -> Seen:
    """Check a donor and keep what the picture of it is drawn from.

    Parameters
    ----------
    build
    donor, host
        As with `pipeline.check`.

    Raises
    ------
    FaultyInput
        Where the donor or host cannot be told from the sheets.
    """
    from partkin.verdict import decide

    findings = pipeline.find_out(build, donor, host)
    verdict = decide(findings)
    if verdict.verdict == "not judged":
        return Seen(verdict, {}, (), findings)
    from partkin import trying

    places = trying.places_of(findings.known)
    return Seen(verdict, _positions(findings, places), places.hosted.fixings, findings, places)


def _positions(findings: Findings, places: Places) -> dict[str, Positions]:
    """Where everything is, by part: of several layouts, the ones that were laid on each other."""
    from partkin.trying import adjusted

    known, trial = findings.known, findings.trial
    host, donor = places.host, places.donor
    if trial is not None:
        placed_by = places.hosted.placed_by
        host = _as_tried(host, [(spot, placed_by.get(spot.id)) for spot in trial.task.fixings])
        donor = _as_tried(donor, [(spot, spot.id) for spot in trial.task.features])
    found = {donor.part: donor, host.part: host}
    if known.original is not None and known.original.part.part not in found and known.original.features:
        found[known.original.part.part] = adjusted(known.original)
    return found


def _as_tried(positions: Positions, spots: Sequence[tuple[Spot, str | None]]) -> Positions:
    """The layout that a trial was made with, told by its places."""
    from partkin.positions.sampling import of_layout

    for number in range(1, len(positions.layouts)):
        other = of_layout(positions, number)
        rows = {name: tuple(float(v) for v in row) for name, row in zip(other.features, other.xyz_mm, strict=True)}
        if all(rows[name][: len(spot.at_mm)] == spot.at_mm for spot, name in spots if name in rows):
            return other
    return positions


def overlay(build: Build, seen: Seen, drawing: int = 1, drawings: int = 1) -> OverlayView | None:
    """What the drawing of one check is made from; None where nothing can be drawn."""
    from partkin.report.views import overlay_view

    original = seen.findings.known.original
    return overlay_view(
        build, seen.verdict, seen.positions, seen.fixings or None, drawing, drawings,
        original.part.part if original is not None else None,
    )  # fmt: skip


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

    Parameters
    ----------
    build
    donors
        In the order of the report; None: all of the sheets.
    work
        Progress, and a way to stop: what was checked by then is reported, and a note names the rest.
    notes
        Said at the top.

    Returns
    -------
    ReportView
        Donors that cannot be checked are named in its notes with what is wrong.
    """
    from partkin.report.views import report_view

    chosen = donors_of(build) if donors is None else tuple(donors)
    work = work or Work("donors", len(chosen))
    found: list[Seen] = []
    said: list[str] = [*notes]
    begun: set[str] = set()
    try:
        for donor in work.each(chosen):
            try:
                found.append(see(build, donor))
            except FaultyInput as fault:
                said += [f"{donor} was not checked. {problem}" for problem in fault.problems]
            begun.add(donor)
    except KeyboardInterrupt:
        work.stop()
    left = [donor for donor in chosen if donor not in begun]
    if left:
        said.append(f"Stopped before all were checked; not looked at: {', '.join(left)}.")
    overlays = [overlay(build, seen, number, len(found)) for number, seen in enumerate(found, 1)]
    return report_view(build, [seen.verdict for seen in found], overlays, notes=said)


def part_positions(build: Build, part: str) -> Positions:
    """Where the features of one part are by its own coordinates and standing readings.

    Raises
    ------
    FaultyInput
        There is no such part.
    """
    from partkin.positions import adjust

    if build.part(part) is None:
        mend = f"Say one of {', '.join(one.part for one in build.parts)}"
        raise FaultyInput((Problem("parts.csv", 0, "part", f"there is no part {part}", mend),))
    return adjust(part, build.features_of(part), standing_readings(build, part))


def standing_readings(build: Build, part: str) -> tuple[Reading, ...]:
    """The readings of a part that no later one corrects."""
    mine = [reading for reading in build.readings if reading.part == part]
    corrected = {reading.corrects for reading in mine if reading.corrects}
    return tuple(reading for reading in mine if reading.reading not in corrected)


def template_of(build: Build, part: str, turned_over: bool = False) -> TemplateView:
    """What the template of a part is made from; a donor's has its host drawn on it and what is to be cut.

    Raises
    ------
    FaultyInput
        There is no such part, it has no places, or it is a restraint part.
    """
    from partkin.report.part_views import template_view

    positions: Mapping[str, Positions] = {part: part_positions(build, part)}
    found = build.part(part)
    laid: OverlayView | None = None
    cautions: tuple[str, ...] = ()
    if found is not None and found.origin == "donor" and found.duty != "restraint":
        seen = see(build, part)
        positions = {**positions, **seen.positions}
        laid = overlay(build, seen)
        cautions = tuple(caution.says for caution in seen.verdict.safety)
    view = template_view(build, part, positions, laid, cautions, turned_over)
    if not view.features and not view.outlines:
        mend = "Give x_mm and y_mm of its features, or readings between them that tell where they are"
        raise FaultyInput((Problem("features.csv", 0, "x_mm", f"nothing of {part} has a known place", mend),))
    return view


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    beside = path.with_name(f".{path.name}.part")
    beside.write_bytes(content)
    beside.replace(path)
