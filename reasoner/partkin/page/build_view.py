"""The build and its verdicts, side by side; and what was measured on the vehicle."""

from __future__ import annotations

from partkin.commands import seeing
from partkin.commands.seeing import SeenCheck
from partkin.drawing.views import option_rows
from partkin.model.build import Build
from partkin.page import starting
from partkin.page.desk import Answer, Desk
from partkin.page.frame import address, faults, whole
from partkin.report.html import WayRow, glance_of, ways_of


def build_page(desk: Desk) -> str:
    """Return the first page."""
    build = desk.sheets().build
    if build is None:
        return faults(desk)
    if starting.step_of(build) is not None:
        return starting.start_page(desk)
    desk.begin()
    answers = {donor: desk.answer(donor) for donor in seeing.donors_of(build)}
    verdicts = [answer.verdict for answer in answers.values() if isinstance(answer, SeenCheck)]
    donors = (_way(build, donor, answer) for donor, answer in answers.items())
    vehicle = [
        (part, len(build.features_of(part.part)), sum(reading.part == part.part for reading in build.readings))
        for part in build.parts
        if part.origin != "donor"
    ]
    spent = sum(cost.amount for cost in build.costs) if build.costs else None
    places = glance_of(build, ways_of(option_rows(build, verdicts), donors))
    return whole(desk, "build.html", "Build", build=build, places=places, vehicle=vehicle, spent=spent)


def _way(build: Build, donor: str, answer: Answer | None) -> WayRow:
    href = address("part", donor)
    if isinstance(answer, SeenCheck):
        return WayRow(None, "", donor, href, answer.verdict, seeing.overlay(build, answer))
    return WayRow(None, "being checked" if answer is None else "cannot be checked", donor, href)
