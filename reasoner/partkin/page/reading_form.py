"""The form that takes down a reading: filled with what is asked for, or with what was typed."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from partkin.model.build import Build, Part, Reading, current
from partkin.model.verdict import Unknown
from partkin.model.words import INSTRUMENTS, KG_PER_UNIT, MM_PER_UNIT, SIDES
from partkin.page.frame import Typed
from partkin.readings.typed_readings import NAMES

FIELDS = (
    "part", "quantity", "from", "to", "value", "unit", "instrument", "plus_minus", "by", "on", "corrects", "note",
)  # fmt: skip
LABELS = {
    "part": "Of", "quantity": "What was read", "from": "From", "to": "To", "value": "Value", "unit": "Unit",
    "instrument": "Read with", "plus_minus": "Out by at most", "by": "Who read it", "on": "Day",
    "corrects": "In place of", "note": "Note",
}  # fmt: skip
# Put away until they are wanted.
SELDOM = ("plus_minus", "by", "on", "note")
# What may be read, as the form says it.
QUANTITY_WORDS = {
    "centres": "middle to middle", "near edges": "between the near edges", "far edges": "between the far edges",
    "gap": "a gap between two edges", "across": "across one hole, stud or slot", "length": "along a slot, end to end",
    "thickness": "thickness", "mass": "weight", "left of": "left of a line", "right of": "right of a line",
}  # fmt: skip
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


@dataclass(frozen=True)
class ReadingForm:
    """What the form for readings offers. `names`: of the parts whose readings it takes, the first one unless said."""

    names: Mapping[str, str]
    ends: tuple[str, ...]
    corrections: Mapping[str, Reading]
    last: Reading | None
    labels: ClassVar = LABELS
    kept: ClassVar = " ".join(KEPT)
    ends_of: ClassVar = json.dumps(NAMES)
    quantities: ClassVar = {name: QUANTITY_WORDS[name] for name in NAMES}
    units: ClassVar = {"": "mm, or as written", **dict.fromkeys((*MM_PER_UNIT, *KG_PER_UNIT))}
    instruments: ClassVar[dict[str, str | None]] = {"": "not said", **dict.fromkeys(INSTRUMENTS)}

    def is_open(self, typed: Typed) -> bool:
        """Whether a field that is put away holds something."""
        return any(typed.get(name) for name in SELDOM)

    def what(self, typed: Typed) -> str:
        """Say what is read, and of which part where there are several."""
        of = self.names.get(typed.get("part", ""), next(iter(self.names.values())))
        said = QUANTITY_WORDS.get(typed.get("quantity", ""), QUANTITY_WORDS["centres"])
        return said + (f", of {of}" if len(self.names) > 1 else "")

    def again(self, key: str | None) -> dict[str, str] | None:
        """Return the form as it is given out to correct a reading; None: there is none that can be."""
        one = self.corrections.get(key or "")
        if one is None:
            return None
        to = f"{one.line_from} {one.line_to}" if one.quantity in SIDES else one.to_feature
        ends = (one.part, one.quantity, one.from_feature, to, one.unit, one.instrument, key)
        names = ("part", "quantity", "from", "to", "unit", "instrument", "corrects")
        return {name: value for name, value in zip(names, ends, strict=True) if value}

    def brief(self, reading: Reading) -> str:
        """Say a reading in a few words."""
        ends = " to ".join(end for end in (reading.from_feature, reading.to_feature) if end)
        whose = f" of {self.names[reading.part]}" if len(self.names) > 1 else ""
        if reading.value is None:
            return f"{reading.reading}{whose}: {ends} {reading.quantity} {reading.line_from} to {reading.line_to}"
        return f"{reading.reading}{whose}: {ends or reading.quantity}, {reading.value:g} {reading.unit}"


def form_for(build: Build, parts: Sequence[Part]) -> ReadingForm:
    """Return the form that takes the readings of these parts."""
    names = {part.part: part.name or part.part for part in parts}
    mine = [reading for reading in build.readings if reading.part in names]
    corrected = {(reading.part, reading.corrects) for reading in mine}
    open_ones = {key_of(one): one for one in mine if (one.part, one.reading) not in corrected and one.quantity in NAMES}
    ends = dict.fromkeys(feature.feature for part in parts for feature in build.features_of(part.part))
    last = max(current(mine), key=lambda row: row.row, default=None)
    return ReadingForm(names, tuple(ends), open_ones, last)
