"""Readings and sizes of a build that a slip would explain better: asked about when they are typed, and by doctor."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

from partkin.graph import known_of
from partkin.model.build import Build
from partkin.model.positions import Suspect, likeliest
from partkin.model.problem import FaultyInput, Problem
from partkin.positions import adjust
from partkin.readings.record_command import correcting, record_command
from partkin.sheets import in_folder
from partkin.trial.trying import places_of


class Examined(NamedTuple):
    """What `doctor` found in the sheets that were read: every fault, and what has to be read again.

    `next_step`: what a build needs first that has no fault; empty where it has.
    """

    problems: tuple[Problem, ...]
    warnings: tuple[Problem, ...]
    sheets: tuple[str, ...]
    next_step: str = ""


def examine(folder: Path) -> Examined:
    """Look through every sheet of a folder."""
    from partkin import graph
    from partkin.sheets import load

    loaded = load(folder)
    names, build = tuple(loaded.digests), loaded.build
    if build is None:
        return Examined(loaded.problems, loaded.warnings, names)
    if problems := graph.validate(build):
        return Examined(problems, loaded.warnings, names)
    at = folder.as_posix()
    return Examined((), (*loaded.warnings, *questions(build, at)), names, _next_step(build, at))


def _next_step(build: Build, folder: str) -> str:
    """What the person does next, where it is too early for a verdict."""
    if not build.parts:
        rows = "what broke, what it is fixed to, and each part that might go on"
        return f"No part is listed yet. List {rows} in parts.csv, or begin on the page: partkin page{in_folder(folder)}"
    donors = [part.part for part in build.parts if part.origin == "donor"]
    if not donors:
        return "No part is a donor yet: give each part that might go on a row in parts.csv, with origin donor."
    return f"Next: partkin measure-next {donors[0]}{in_folder(folder)}" if not build.readings else ""


def donors_concerned(build: Build, part: str) -> tuple[str, ...]:
    """Ids of the donors whose verdict rests on a part: itself, or all that take the place it shows.

    Examples
    --------
    >>> from partkin.model.build import Part
    >>> parts = (Part("h", origin="host"), Part("o", origin="original", takes_place_of="h"))
    >>> donor = Part("d", origin="donor", takes_place_of="h")
    >>> [donors_concerned(Build(parts=(*parts, donor)), one) for one in "hod"]
    [('d',), ('d',), ('d',)]
    """
    own = build.part(part)
    if own is None:
        return ()
    if own.origin == "donor":
        return (part,)
    places = {part, own.takes_place_of} - {None}
    return tuple(p.part for p in build.parts if p.origin == "donor" and p.takes_place_of in places)


def suspects_of(build: Build, part: str) -> tuple[Suspect, ...]:
    """Suspect readings and sizes of a part, the likeliest slip first.

    Held against the other readings of the part, and against every part that it is judged beside.
    """
    found: dict[str, Suspect] = {}
    for suspect in adjust(part, build.features, build.readings).suspects:
        found[suspect.reading] = suspect
    for donor in donors_concerned(build, part):
        try:
            places = places_of(known_of(build, donor))
        except FaultyInput:
            continue
        for suspect in places.suspects:
            known = found.get(suspect.reading)
            if suspect.part == part and (known is None or known.likely < suspect.likely):
                found[suspect.reading] = suspect
    return tuple(sorted(found.values(), key=lambda one: -one.likely))


def questions(build: Build, folder: str) -> tuple[Problem, ...]:
    """The likeliest suspects of every part as warnings: the sheet is sound, and they have to be read again.

    `folder`: as it is named in commands.
    """
    found: list[Problem] = []
    for part in build.parts:
        first, more = likeliest(suspects_of(build, part.part))
        found += [_question(build, part.part, suspect, folder) for suspect in first]
        if more:
            says = f"of {part.part}, {more}"
            found.append(Problem("readings.csv", 0, "", says, "Read again what is named first", warning=True))
    return tuple(found)


def _question(build: Build, part: str, suspect: Suspect, folder: str) -> Problem:
    rows = {row.reading: row.row for row in build.readings_of(part)}
    if suspect.reading in rows:
        said = " or ".join(correcting(replace(suspect, part=part), suspect.reading, folder))
        mend = f"Take down what you read then: {said}"
        return Problem("readings.csv", rows[suspect.reading], "value", suspect.says.rstrip("."), mend, warning=True)
    feature, _, column = suspect.reading.rpartition(".")
    row = next((one.row for one in build.features_of(part) if one.feature == feature), 0)
    mend = "Look at it again, and mend the cell"
    if column == "across_mm":
        command = record_command(part, "across", feature, "", None, folder)
        mend = f"Take down what you read then: {command}"
    return Problem("features.csv", row, column, suspect.says.rstrip("."), mend, warning=True)
