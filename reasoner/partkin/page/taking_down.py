"""A reading taken down on the page, and what is said of it: at once as much as is known, the rest when it is."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple
from urllib.parse import urlencode

from markupsafe import Markup

from partkin.commands import recording
from partkin.commands.doubts import donors_concerned
from partkin.commands.progress import Stopped
from partkin.commands.recording import reading_in_words, surprise_of
from partkin.commands.seeing import LaidDonor, SeenCheck
from partkin.model import pulse
from partkin.model.build import Reading
from partkin.model.fitting import Chance
from partkin.model.verdict import Verdict
from partkin.model.words import SIDES
from partkin.page.desk import Answer, Desk, Refused
from partkin.page.frame import Typed, address, cells_of, piece
from partkin.page.reading_form import BETWEEN, FIELDS, LABELS
from partkin.readings.typed_readings import NAMES, TypedInto, TypedWords, understood

# What is not known by then follows: the answer to a reading is wanted within a tenth of a second.
PATIENCE_S = 0.06


class Taken(NamedTuple):
    """A reading that was taken down, and what is said of it at once."""

    reading: Reading
    said: Markup


def take_down(desk: Desk, part: str, typed: Typed) -> Taken:
    """Add a reading to its sheet, and say what it does to the donors concerned.

    FaultyInput: it cannot be meant so, or the sheets hold faults; nothing was changed.
    """
    until_s = time.monotonic() + PATIENCE_S
    build = desk.build()
    words = _words(part, cells_of(typed, FIELDS))
    reading = recording.appended(desk.folder, build, lambda now: understood(now, words))
    return Taken(reading, _said(desk, reading, until_s))


def take_back(desk: Desk, typed: Typed) -> Reading:
    """Take back the reading that a button names, by a later row, and return that row.

    FaultyInput: it does not count any more, or the sheets hold faults; nothing was changed.
    """
    cells = cells_of(typed, ("part", "reading"))
    return recording.appended_back(desk.folder, desk.build(), cells["part"], cells["reading"])


def said_of(desk: Desk, part: str, reading: str) -> tuple[Reading, Markup] | None:
    """Return a reading of the sheets with what is to be said of it now; None: there is none of that name."""
    build = desk.sheets().build
    found = [row for row in build.readings if (row.part, row.reading) == (part, reading)] if build else []
    return (found[0], _said(desk, found[0], time.monotonic() + PATIENCE_S)) if found else None


def after(page: str, reading: Reading) -> str:
    """Return where the answer to a reading is shown: the page of a part."""
    return f"{address('part', page)}?{urlencode({'of': reading.part, 'taken': reading.reading})}"


def _words(part: str, cells: Mapping[str, str]) -> TypedWords:
    part = cells["part"] or part
    whose, between, corrects = cells["corrects"].rpartition(BETWEEN)
    part = whose if between else part
    # Which names a quantity takes, `NAMES` says; a thickness may name the feature it was read at.
    quantity = cells["quantity"] or "centres"
    count = NAMES.get(quantity, 2) + (1 if quantity == "thickness" and cells["from"] else 0)
    names = (cells["from"], cells["to"])[:count]
    given = (*names, cells["value"]) if all(names) or not corrects else (cells["value"],)
    if quantity in SIDES:
        given = (cells["from"], *cells["to"].split())
    # What the form begins with says nothing of a correction that names nothing.
    what = None if corrects and not any(names) and quantity == "centres" else quantity

    def or_none(name: str) -> str | None:
        return cells[name] or None

    return TypedWords(
        part, tuple(word for word in given if word), what, or_none("unit"), or_none("instrument"),
        or_none("plus_minus"), or_none("by"), or_none("on"), corrects or None, or_none("note"), TypedInto(LABELS),
    )  # fmt: skip


def _said(desk: Desk, reading: Reading, until_s: float) -> Markup:
    """Return what a reading did: a surprise, and each donor concerned."""
    build = desk.sheets().build
    if build is None:
        return piece("taken.html", "taken", build, reading, reading_in_words(reading), None, ())
    surprise = surprise_of(build, reading)
    lines = [_line_of(desk, donor, until_s) for donor in donors_concerned(build, reading.part)]
    return piece("taken.html", "taken", build, reading, reading_in_words(reading), surprise, lines)


@dataclass(frozen=True)
class DonorLine:
    """What is told of a donor: its verdict before and `now`, or as much of it as is known in the time there is.

    `lies`: as it is, where the verdict is to follow; `waits`: it is to follow; `why`: it cannot be checked.
    """

    donor: str
    was: Verdict | None
    now: Verdict | None = None
    lies: str = ""
    margin_mm: float | None = None
    chance: Chance | None = None
    waits: bool = False
    why: str = ""


def _line_of(desk: Desk, donor: str, until_s: float) -> DonorLine:
    was = desk.verdict_before(donor)

    def in_time(*_: object) -> None:
        if time.monotonic() > until_s:
            raise Stopped

    try:
        found: Answer | LaidDonor | None = desk.answer(donor)
        if found is None:
            in_time()
            with pulse.heard(in_time):
                found = desk.quickly(donor)
    except Stopped:
        return DonorLine(donor, was, waits=True)
    if isinstance(found, SeenCheck):
        now = found.verdict
        return DonorLine(donor, was, now, "", now.margin_mm, now.chance)
    if isinstance(found, Refused):
        return DonorLine(donor, was, why="; ".join(problem.what for problem in found.problems))
    trial = found.findings.trial
    assert trial is not None
    lies = "it does not go on as it is" if trial.stand == "does not" else "whether it goes on as it is cannot be told"
    return DonorLine(donor, was, None, lies, found.margin_mm, found.findings.chance, waits=True)
