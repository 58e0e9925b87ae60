"""The whole story of one check, on one page: sheets -> graph -> positions -> fit -> adaptation -> verdict."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from partkin.model.build import Build, other_levels
from partkin.model.problem import FaultyInput, Problem
from partkin.model.verdict import Verdict
from partkin.model.words import BOLTS_ON, WITH_ADAPTATION

if TYPE_CHECKING:
    from partkin.trial.findings import Findings
    from partkin.trial.trying import Places


def load_build(folder: str | Path) -> Build:
    """Read a build folder.

    Raises
    ------
    FaultyInput
        With every fault of every sheet.
    """
    return read(Path(folder))[0]


def read(folder: Path) -> tuple[Build, tuple[Problem, ...]]:
    """Read a build folder, with the warnings that go to standard error."""
    from partkin.sheets import load

    loaded = load(folder)
    if loaded.build is None:
        raise FaultyInput(loaded.problems)
    return loaded.build, loaded.warnings


def check(build: Build, donor: str, host: str | None = None, *, others: bool = True) -> Verdict:
    """Say whether a donor goes on its host.

    Parameters
    ----------
    build
    donor
        Part id.
    host
        Part id; None: what the donor takes the place of.
    others
        Look for the next different adaptations too; the verdict is the same without.

    Returns
    -------
    Verdict

    Raises
    ------
    FaultyInput
        Where the donor or host cannot be told from the sheets.
    """
    return decided(build, find_out(build, donor, host, others=others))


def decided(build: Build, findings: Findings) -> Verdict:
    """Make the verdict of a donor, with its edges and connectors, and how it stands at other levels."""
    from partkin.verdict import decide

    verdict = decide(findings)
    if verdict.verdict in (BOLTS_ON, WITH_ADAPTATION) or build.connectors:
        from partkin.adaptation import surroundings

        verdict = surroundings.with_surroundings(build, findings, verdict)
    others = other_levels(build, verdict.donor)
    if not others:
        return verdict
    from partkin.strip.plan import best_first, level_of

    found = []
    for one in others:
        # A level that names no host is left out; asked about by itself, it says what is missing.
        with suppress(FaultyInput):
            found.append((*one, decide(find_out(build, one[0].part, others=False))))
    return replace(verdict, levels=best_first(level_of(build, verdict, *one) for one in found))


def find_out(build: Build, donor: str, host: str | None = None, *, others: bool = True) -> Findings:
    """Gather what the verdict rests on: what is known, how it lies, what may be done."""
    findings, places = lay_on(build, donor, host)
    return findings if places is None else with_work(build, findings, places, others)


def lay_on(build: Build, donor: str, host: str | None = None) -> tuple[Findings, Places | None]:
    """Gather what is known, and how the donor lies as it is; no places where it is not judged, or nothing can lie."""
    from partkin.graph import known_of
    from partkin.model.known import is_restraint
    from partkin.trial.findings import Findings
    from partkin.trial.places import measured_from, other_originals

    known = known_of(build, donor, host)
    confidence = build.settings.confidence
    if is_restraint(known):
        return Findings(known, confidence, measured_from(known)), None
    from partkin.trial import trying

    places = trying.places_of(known)
    if not places.hosted.fixings or not known.donor.features:
        return Findings(known, confidence, places.hosted.measured_from), None
    trials = trying.trials(known, places, confidence)
    findings = Findings(
        known, confidence, places.hosted.measured_from,
        trials=trials,
        suspects=(*places.suspects, *trying.looks_in_doubt(known, places, trials)),
        notes=places.host.notes + places.donor.notes + other_originals(build, known),
        sides=trying.side_questions(places),
        layouts_left_out=trying.layouts_left_out(places),
    )  # fmt: skip
    return findings, places


def with_work(build: Build, findings: Findings, places: Places, others: bool = True) -> Findings:
    """Add where the seams lie, and where the donor does not simply fit, work to do and readings to take."""
    trial = findings.trial
    if trial is None:
        return findings
    if findings.face_open or trial.stand in ("fits", "missing", "undecided"):
        if trial.stand == "missing":
            from partkin.adaptation import unread_sizes
            from partkin.readings import untied

            findings = unread_sizes.work_for_any_size(build, untied.fewest(findings, places), others=others)
        findings = replace(findings, seams=trial.seams)
        if not findings.hides_much:
            return findings
        from partkin.readings import next_readings

        return replace(findings, asks=next_readings.showing_hidden(findings, places))
    from partkin.adaptation import adapting
    from partkin.readings import next_readings
    from partkin.trial import out_by

    findings = replace(findings, trials=tuple(
        out_by.with_errors(findings.known, places, one) if one.stand == "does not" else one for one in findings.trials
    ))  # fmt: skip
    findings = replace(findings, odd=out_by.odd_holes_of(findings.trial))
    findings = adapting.cheapest_work(build, findings, places, others=others)
    return replace(findings, asks=next_readings.open_readings(findings, places))
