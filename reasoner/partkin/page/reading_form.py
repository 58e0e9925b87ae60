"""The form that takes down a reading: filled with what is asked for, or with what was typed."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

from partkin.measuring.typed_readings import NAMES
from partkin.model.build import Build, Part, Reading, current
from partkin.model.reasons import Unknown
from partkin.model.words import INSTRUMENTS, KG_PER_UNIT, MM_PER_UNIT, SIDES
from partkin.page.fields import Typed, choice, line
from partkin.page.frame import address
from partkin.page.markup import Html, tag

FIELDS = (
    "part", "quantity", "from", "to", "value", "unit", "instrument", "plus_minus", "by", "on", "corrects", "note",
)  # fmt: skip
LABELS = {
    "part": "Of", "quantity": "What was read", "from": "From", "to": "To", "value": "Value", "unit": "Unit",
    "instrument": "Read with", "plus_minus": "Out by at most", "by": "Who read it", "on": "Day",
    "corrects": "In place of", "note": "Note",
}  # fmt: skip
# Put away until they are wanted.
SELDOM = ("plus_minus", "by", "on", "corrects", "note")
# Stays for the next reading.
KEPT = ("unit", "instrument", "by", "on")
# Between a part and its reading; no id has one.
BETWEEN = "/"


def key_of(reading: Reading) -> str:
    """Name a reading among those of several parts."""
    return f"{reading.part}{BETWEEN}{reading.reading}"


def takes(asked: Unknown) -> bool:
    """Whether a question is answered by a value in this form."""
    return asked.quantity in NAMES and asked.quantity not in SIDES and asked.from_feature is not None


def filled(asked: Unknown | None, taken: Reading | None = None) -> dict[str, str]:
    """The form as it is given out: what is asked for, and how the last one was read."""
    typed = {}
    if taken is not None:
        kept = (taken.unit, taken.instrument, taken.by, taken.on)
        typed = {name: value for name, value in zip(KEPT, kept, strict=True) if value}
    if asked is not None:
        ends = (asked.part, asked.quantity, asked.from_feature, asked.to_feature)
        typed |= {name: value for name, value in zip(("part", "quantity", "from", "to"), ends, strict=True) if value}
    return typed


def reading_form(build: Build, page: Part, parts: Sequence[Part], typed: Typed) -> Html:
    """Return the form.

    Parameters
    ----------
    build
    page
        The part whose page it stands on.
    parts
        Whose readings it takes; the first one when nothing is said.
    typed
        By field.
    """
    names = {part.part: part.name or part.part for part in parts}
    mine = [reading for reading in build.readings if reading.part in names]
    corrected = {(reading.part, reading.corrects) for reading in mine}
    open_ones = {
        key_of(one): _brief(one, names) for one in mine
        if (one.part, one.reading) not in corrected and one.quantity in NAMES
    }  # fmt: skip
    ends = dict.fromkeys(feature.feature for part in parts for feature in build.features_of(part.part))
    read_with = {"": "not said", **dict.fromkeys(INSTRUMENTS)}
    fields = [
        choice("part", LABELS["part"], names, typed),
        choice("quantity", LABELS["quantity"], dict.fromkeys(NAMES), typed),
        line("from", LABELS["from"], typed, list_="ends"),
        line("to", LABELS["to"], typed, list_="ends"),
        line("value", f"{LABELS['value']}, such as 612 or 24 1/8 in", typed, required=True, inputmode="text"),
        choice("unit", LABELS["unit"], {"": "mm, or as written", **dict.fromkeys((*MM_PER_UNIT, *KG_PER_UNIT))}, typed),
        choice("instrument", LABELS["instrument"], read_with, typed),
    ]
    more = [
        line("plus_minus", f"{LABELS['plus_minus']}; empty: the instrument's", typed),
        line("by", LABELS["by"], typed),
        line("on", LABELS["on"], typed, type_="date"),
        choice("corrects", LABELS["corrects"], {"": "no other reading", **open_ones}, typed),
        line("note", LABELS["note"], typed),
    ]
    listed = tag("datalist", *(tag("option", value=name) for name in ends), id_="ends")
    summary = tag("summary", "How sure, who, when, in place of")
    opened = any(typed.get(name) for name in SELDOM)
    seldom = tag("details", summary, tag("div", *more, class_="fields"), open=opened)
    return tag(
        "form", listed, tag("div", *fields, class_="fields"), seldom, tag("p", tag("button", "Take it down")),
        method="post", action=address("part", page.part, "readings"), id_="reading", autocomplete="off",
        data_ends=json.dumps(NAMES), data_kept=" ".join(KEPT),
    )  # fmt: skip


def undo_form(build: Build, page: Part, parts: Sequence[Part]) -> Html | None:
    """Return the button that takes back the last reading of these parts that counts; None: there is none.

    It names that reading, so that on a page that is out of date it takes back no other one.
    """
    names = {part.part: part.name or part.part for part in parts}
    last = max((row for row in current(build.readings) if row.part in names), key=lambda row: row.row, default=None)
    if last is None:
        return None
    kept = [tag("input", type_="hidden", name=name, value=value)
            for name, value in (("part", last.part), ("reading", last.reading))]  # fmt: skip
    button = tag("button", f"Take back {_brief(last, names)}")
    return tag("form", *kept, tag("p", button), method="post", action=address("part", page.part, "undo"))


def _brief(reading: Reading, names: Mapping[str, str]) -> str:
    ends = " to ".join(end for end in (reading.from_feature, reading.to_feature) if end)
    whose = f" of {names[reading.part]}" if len(names) > 1 else ""
    if reading.value is None:
        return f"{reading.reading}{whose}: {ends} {reading.quantity} {reading.line_from} to {reading.line_to}"
    return f"{reading.reading}{whose}: {ends or reading.quantity}, {reading.value:g} {reading.unit}"
