"""One part: a donor with its verdict, drawing, reasons, readings and what to ask its seller, or a host with its own."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from partkin.commands import seeing
from partkin.commands.doubts import donors_concerned
from partkin.commands.recording import VerdictChange as VerdictChange
from partkin.commands.recording import change_says
from partkin.commands.seeing import SeenCheck
from partkin.commands.seller_message import MOST_QUESTIONS, message_to_seller
from partkin.drawing.views import option_rows
from partkin.model.build import Build, Part, Reading
from partkin.model.problem import FaultyInput
from partkin.model.verdict import Verdict
from partkin.page import reading_form
from partkin.page.answer_form import own_form
from partkin.page.desk import Answer, Desk, Refused
from partkin.page.feature_view import features_address
from partkin.page.frame import Typed, address, faults, refusal, whole
from partkin.page.reading_form import filled, form_for, key_of
from partkin.page.starting import next_for
from partkin.readings.record_command import alike
from partkin.report.html import ToldDonor, measured_of
from partkin.report.html_pieces import Sources

# How long a page waits for a check before it is shown without; the script then fetches it.
PATIENCE_S = 0.2
REFUSED = "This donor cannot be checked"
# Questions to a seller in one message.
MOST_OFFERED = 6


@dataclass(frozen=True)
class Answered:
    """What came of the form: what is said, the reading that was taken down, or what was typed where it was refused.

    `correct`: the reading that is to be read again.
    """

    said: Markup | None = None
    taken: Reading | None = None
    typed: Typed | None = None
    correct: str | None = None


def part_page(desk: Desk, part: str, answered: Answered) -> str | None:
    """Return the page of a part; None: there is no such part."""
    build = desk.sheets().build
    if build is None:
        return faults(desk)
    found = build.part(part)
    if found is None:
        return None
    common = {"build": build, "part": found, "measured": measured_of(build, part), "answered": answered}
    if found.origin != "donor":
        desk.begin()
        donors = [(donor, desk.answer(donor)) for donor in donors_concerned(build, part)]
        states = [(donor, _state(answer)) for donor, answer in donors]
        taking = _taking(build, found, None, answered)
        return whole(desk, "vehicle_part.html", part, **common, **taking, states=states, told=None)
    answer = desk.soon(part, PATIENCE_S)
    desk.begin()
    return whole(
        desk, "donor_page.html", part, **common, **_taking(build, found, answer, answered),
        **_told(desk, build, answer), waiting=answer is None,
        refused=refusal(answer.problems, REFUSED) if isinstance(answer, Refused) else None,
    )  # fmt: skip


def _told(desk: Desk, build: Build, answer: Answer | None) -> dict[str, object]:
    """Return the verdict as far as it is known, and how it changed when the sheets last did."""
    if not isinstance(answer, SeenCheck):
        return {"told": None}
    drawn = seeing.overlay(build, answer), seeing.overlay(build, answer, after=True)
    row = next((row for row in option_rows(build, [answer.verdict]) if row.part == answer.verdict.donor), None)
    told = ToldDonor(build, answer.verdict, drawn[0], Sources(), "d", drawn[1], row)
    before = desk.verdict_before(answer.verdict.donor)
    change = change_says(VerdictChange(answer.verdict.donor, before, answer.verdict)) if before is not None else None
    return {"told": told, "change": change}


def _state(answer: Answer | None) -> Verdict | str:
    """Return a donor's verdict, or what stands in its place; empty: it is waited for."""
    if isinstance(answer, SeenCheck):
        return answer.verdict
    return "" if answer is None else "cannot be checked"


def _taking(build: Build, part: Part, answer: Answer | None, answered: Answered) -> dict[str, object]:
    """Return what is said of the last reading, what is asked for, and the form."""
    # Of a donor the verdict rests on the host and what came off it, too.
    parts = [part]
    if part.origin == "donor" and part.takes_place_of is not None:
        host = build.part(part.takes_place_of)
        parts += [] if host is None or host is part else [host]
        parts += build.came_off(part.takes_place_of)
    donor = part.part if part.origin == "donor" else None
    first = next_for(build, part.part) if donor else address("part", part.part)
    listing = {
        "first": first if first != address("part", part.part) else None,
        "listed": [(one.part, features_address(one.part, donor)) for one in parts],
    }
    if not any(build.features_of(one.part) for one in parts):
        return {**listing, "form": None}
    names = [one.part for one in parts]
    form = form_for(build, [part, *(one for one in parts[1:] if build.features_of(one.part))])
    unknown = answer.verdict.unknown if isinstance(answer, SeenCheck) else ()
    open_ones = [one for one in unknown if one.part in names]
    asked = next((one for one in open_ones if reading_form.takes(one) or own_form(one)), None)
    reading = next((one for one in open_ones if reading_form.takes(one)), None)
    again = form.again(answered.correct)
    return {
        **listing,
        "form": form,
        "typed": answered.typed or again or filled(reading, answered.taken),
        "of": key_of(answered.taken) if answered.taken is not None else None,
        "asked": asked,
        "own": own_form(asked) if asked is not None else None,
        "alike": alike(asked, open_ones) if asked is not None else (),
    }


def most_asked(said: str) -> int:
    """How many questions the person allows.

    Examples
    --------
    >>> most_asked("2"), most_asked(""), most_asked("900"), most_asked("-1")
    (2, 3, 6, 3)
    """
    return min(int(said[:4]), MOST_OFFERED) or MOST_QUESTIONS if said.isascii() and said.isdigit() else MOST_QUESTIONS


def seller_page(desk: Desk, build: Build, donor: str, most: int) -> str:
    """Return the page with the message of at most so many questions."""
    message, refused, verdict = None, None, ""
    try:
        message, found = message_to_seller(build, donor, most=most)
        verdict = found.verdict
    except FaultyInput as fault:
        refused = refusal(fault.problems, REFUSED)
    counts = {str(count): str(count) for count in range(1, MOST_OFFERED + 1)}
    return whole(
        desk, "seller.html", donor, build=build, donor=donor, message=message, refused=refused, verdict=verdict,
        counts=counts, most=str(most),
    )  # fmt: skip
