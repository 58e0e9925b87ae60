"""The form that takes down a reading, and what is said when one was."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace

from partkin import pulse, sheets
from partkin.measuring import recording
from partkin.measuring.recording import donors_concerned, next_id, row_of, surprise_of, told
from partkin.measuring.typed_readings import NAMES, Words, understood
from partkin.model.build import Build, Part, Reading
from partkin.model.verdict import Verdict
from partkin.model.words import INSTRUMENTS, KG_PER_UNIT, MM_PER_UNIT, QUANTITIES
from partkin.page.desk import Desk
from partkin.page.frame import address
from partkin.page.markup import Html, tag, text
from partkin.progress import Stopped
from partkin.report.html_donor import called
from partkin.report.html_pieces import chance_words, mark, mm
from partkin.seeing import Lying, Seen

FIELDS = ("quantity", "from", "to", "value", "unit", "instrument", "plus_minus", "by", "on", "corrects", "note")
Typed = Mapping[str, str]
LONGEST = 500
# What is not known by then follows: the answer to a reading is wanted within a tenth of a second.
PATIENCE_S = 0.07


@dataclass(frozen=True)
class Taken:
    """A reading that was taken down, and what is said of it at once."""

    reading: Reading
    said: Html


def reading_form(build: Build, part: Part, wanted: tuple[str, str, str] | None, typed: Typed | None = None) -> Html:
    """Return the form; filled with what was typed, or with the reading that is asked for first."""
    typed = typed or (dict(zip(("quantity", "from", "to"), wanted, strict=True)) if wanted else {})
    mine = [reading for reading in build.readings if reading.part == part.part]
    corrected = {reading.corrects for reading in mine}
    open_ones = [reading.reading for reading in mine if reading.reading not in corrected]
    features = [feature.feature for feature in build.features_of(part.part)]
    fields = [
        _choice("quantity", "What was read", QUANTITIES, typed),
        _line("from", "From", typed, list_="ends"),
        _line("to", "To", typed, list_="ends"),
        _line("value", "Value, such as 612 or 24 1/8 in", typed, required=True, inputmode="text"),
        _choice("unit", "Unit", ("", *MM_PER_UNIT, *KG_PER_UNIT), typed, "mm, or as written"),
        _choice("instrument", "Read with", ("", *INSTRUMENTS), typed, "not said: as a seller's"),
        _line("plus_minus", "Out by at most; empty: the instrument's", typed),
        _line("by", "Who read it", typed),
        _line("on", "Day", typed, type_="date"),
        _choice("corrects", "In place of", ("", *open_ones), typed, "no other reading"),
        _line("note", "Note", typed),
    ]
    ends = tag("datalist", *(tag("option", value=name) for name in features), id_="ends")
    button = tag("button", "Take it down")
    return tag(
        "form", ends, tag("div", *fields, class_="fields"), tag("p", button), method="post",
        action=address("part", part.part, "readings"), id_="reading", autocomplete="off",
    )  # fmt: skip


def _line(name: str, label: str, typed: Typed, **more: object) -> Html:
    box = tag("input", id_=f"f-{name}", name=name, value=typed.get(name, ""), maxlength=LONGEST, **more)
    return tag("div", tag("label", label, for_=f"f-{name}"), box, class_=f"field f-{name}")


def _choice(name: str, label: str, words: tuple[str, ...], typed: Typed, empty: str = "") -> Html:
    options = [
        tag("option", word or empty, value=word, selected=typed.get(name, "") == word or None) for word in words
    ]
    box = tag("select", *options, id_=f"f-{name}", name=name)
    return tag("div", tag("label", label, for_=f"f-{name}"), box, class_=f"field f-{name}")


def take_down(desk: Desk, part: str, typed: Typed) -> Taken:
    """Add a reading to its sheet, and say what it does to the donors concerned.

    Raises
    ------
    FaultyInput
        It cannot be meant so, or the sheets hold faults; nothing was changed.
    """
    until_s = time.monotonic() + PATIENCE_S
    build = desk.build()
    before = {donor: _known(desk, donor) for donor in donors_concerned(build, part)}
    words = _words(part, {name: typed.get(name, "").strip()[:LONGEST] for name in FIELDS})
    reading = replace(understood(build, words), reading=next_id(build, part))
    sheets.append(desk.folder, recording.READINGS, row_of(reading))
    return Taken(reading, _said(desk, build, reading, before, until_s))


def _words(part: str, cells: dict[str, str]) -> Words:
    # Which names a quantity takes, `NAMES` says; a thickness may name the feature it was read at.
    quantity = cells["quantity"] or "centres"
    count = NAMES.get(quantity, 2) + (1 if quantity == "thickness" and cells["from"] else 0)
    names = (cells["from"], cells["to"])[:count]
    if all(names) or not cells["corrects"]:
        words = (*names, cells["value"])
    else:
        words = (cells["value"],)

    def or_none(name: str) -> str | None:
        return cells[name] or None

    return Words(
        part, words, quantity, or_none("unit"), or_none("instrument"), or_none("plus_minus"), or_none("by"),
        or_none("on"), or_none("corrects"), or_none("note"),
    )  # fmt: skip


def _known(desk: Desk, donor: str) -> Verdict | None:
    answer = desk.answer(donor)
    return answer.verdict if isinstance(answer, Seen) else desk.verdict_before(donor)


def _said(
    desk: Desk, build: Build, reading: Reading, before: dict[str, Verdict | None], until_s: float
) -> Html:  # fmt: skip
    """Return what a reading did: a surprise, and each donor concerned."""
    lines = [tag("p", tag("b", f"Taken down as {reading.reading}: "), f"{told(reading)}.")]
    surprise = surprise_of(build, reading)
    if surprise is not None:
        again = "It counts until a later reading corrects it."
        lines.append(tag("div", tag("b", f"Look: {surprise}"), again, class_="hold"))
    now = desk.sheets().build
    if now is not None:
        lines += [_line_of(desk, now, donor, was, until_s) for donor, was in before.items()]
    return text(lines)


class _OutOfTime(Stopped):
    """The answer is waited for."""


def _line_of(desk: Desk, build: Build, donor: str, was: Verdict | None, until_s: float) -> Html:
    """Return what a donor's verdict is now, or as much of it as is known in the time there is."""
    name = tag("a", Html(called(build, donor)), href=address("part", donor))

    def in_time(*_: object) -> None:
        if time.monotonic() > until_s:
            raise _OutOfTime

    try:
        in_time()
        with pulse.heard(in_time):
            found = desk.quickly(donor)
    except _OutOfTime:
        return tag("p", name, " is being checked. The verdict follows.")
    if isinstance(found, Lying):
        return tag("p", name, ": ", *_stand_words(was, found), " The verdict follows.")
    if isinstance(found, Seen):
        return tag("p", name, ": ", *_verdict_words(was, found.verdict))
    return tag("p", name, f" cannot be checked: {'; '.join(problem.what for problem in found.problems)}.")


def _verdict_words(was: Verdict | None, now: Verdict) -> list[object]:
    words: list[object] = []
    if was is not None and was.verdict != now.verdict:
        words += [Html(mark(was.verdict)), f" {was.verdict}, and now "]
    words += [Html(mark(now.verdict)), f" {now.verdict}"]
    if was is not None and was.verdict == now.verdict:
        words.append(" as before")
    return [*words, _figures(was, now.margin_mm, now.chance), "."]


def _stand_words(was: Verdict | None, now: Lying) -> list[object]:
    trial = now.findings.trial
    assert trial is not None
    lies = "it does not go on as it is" if trial.stand == "does not" else "whether it goes on as it is cannot be told"
    return [lies, _figures(was, now.margin_mm, trial.chance), "."]


def _figures(was: Verdict | None, margin_mm: float | None, chance: object) -> str:
    from partkin.model.fitting import Chance

    words = ""
    if margin_mm is not None:
        before = f" (before: {mm(was.margin_mm)})" if was is not None and was.margin_mm is not None else ""
        words += f", least margin {mm(margin_mm)} mm{before}"
    if isinstance(chance, Chance):
        words += f", chance as it is {chance_words(chance)}"
    return words
