"""A reading as it was typed: what is meant by it, or all that is wrong, in the words of the command or the form."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import ParamSpec, TypeVar, cast

from partkin.model.build import Build, Reading
from partkin.model.problem import FaultyInput, Problem, refuse_any
from partkin.model.problem import refused as one_refused
from partkin.model.words import INSTRUMENTS, KG_PER_UNIT, MM_PER_UNIT, SIDES, WITHDRAWN, Instrument, Quantity
from partkin.positions.lengths import current
from partkin.sheets.cells import DECIMALS, cell_value, faults_of_cells
from partkin.sheets.number import UNITS, NotANumber, Number, parse_number

Given = ParamSpec("Given")
Answer = TypeVar("Answer")


class Faults:
    """The faults of one command, in the order in which they were found.

    Examples
    --------
    >>> faults = Faults("record")
    >>> faults.add("unit", "ell is no unit", "Say mm")
    >>> faults.raise_any()
    Traceback (most recent call last):
    partkin.model.problem.FaultyInput: record::unit: ell is no unit. Say mm
    """

    def __init__(self, command: str) -> None:
        self._command = command
        self._found: dict[Problem, None] = {}

    def __bool__(self) -> bool:
        """Whether there is any."""
        return bool(self._found)

    def add(self, where: str, what: str, mend: str) -> None:
        """Note one."""
        self._found[Problem(self._command, 0, where, what, mend)] = None

    def kept(self, call: Callable[Given, Answer], *args: Given.args, **rest: Given.kwargs) -> Answer | None:
        """Return what a call gives; None where it is refused, and its faults are noted."""
        try:
            return call(*args, **rest)
        except FaultyInput as fault:
            self._found.update(dict.fromkeys(fault.problems))
            return None

    def raise_any(self) -> None:
        """Raise FaultyInput with all of them, if there are any."""
        refuse_any(self._found)


@dataclass(frozen=True)
class TypedInto:
    """`labels`: of a form's fields, by name; none: the words are those of `partkin record`.

    Examples
    --------
    >>> TypedInto().put("unit", "cm", "mm"), TypedInto({"unit": "Unit"}).put("unit", "cm", "mm")
    ('Say --unit cm or --unit mm', 'Put cm or mm into "Unit"')
    >>> TypedInto().write("from", "value"), TypedInto({"from": "From", "value": "Value"}).write("from", "value")
    ('Write: partkin record PART FEATURE VALUE', 'Fill in "From" and "Value"')
    """

    labels: Mapping[str, str] = field(default_factory=dict)

    def place(self, name: str) -> str:
        """Name the place of one word."""
        return f'"{self.labels[name]}"' if self.labels else f"--{name}"

    def put(self, name: str, *values: str) -> str:
        """Ask for one of these values there."""
        if self.labels:
            return f"Put {' or '.join(values)} into {self.place(name)}"
        return f"Say {' or '.join(f'{self.place(name)} {value}' for value in values)}"

    def leave(self, name: str) -> str:
        """Ask for nothing there."""
        return f"leave {self.place(name)} {'empty' if self.labels else 'out'}"

    def beside(self, side: str) -> str:
        """Ask for a feature and the two that a line runs through."""
        if self.labels:
            return f"Fill in {self.place('from')}, and two names with a blank between in {self.place('to')}"
        return f"Write: partkin record PART FEATURE --{side.replace(' ', '-')} A B"

    def write(self, *names: str) -> str:
        """Ask for the words that a quantity takes."""
        if self.labels:
            *most, last = map(self.place, names)
            return f"Fill in {', '.join(most)}{' and ' if most else ''}{last}"
        words = {1: ("VALUE",), 2: ("FEATURE", "VALUE"), 3: ("FROM", "TO", "VALUE")}[len(names)]
        return f"Write: partkin record PART {' '.join(words)}"


COMMAND = "record"
FEATURES, READINGS = "features.csv", "readings.csv"
# How many names stand before the value.
NAMES = {"centres": 2, "near edges": 2, "far edges": 2, "gap": 2, "across": 1, "length": 1, "thickness": 0, "mass": 0,
         "left of": 3, "right of": 3}  # fmt: skip


@dataclass(frozen=True)
class TypedWords:
    """What was typed. `words`: names, then the value, as they stood in the command; `into`: for what faults say."""

    part: str
    words: tuple[str, ...]
    quantity: str | None = None
    unit: str | None = None
    instrument: str | None = None
    plus_minus: str | None = None
    by: str | None = None
    on: str | None = None
    corrects: str | None = None
    note: str | None = None
    into: TypedInto = field(default_factory=TypedInto)


def on_a_side(typed: TypedWords, left_of: tuple[str, str] | None, right_of: tuple[str, str] | None) -> TypedWords:
    """Return what was typed with a line that the feature lies left or right of; refuse both, or another quantity."""
    lines = {"left of": left_of, "right of": right_of}
    said = {side: line for side, line in lines.items() if line is not None}
    if not said:
        return typed
    side, line = next(iter(said.items()))
    if len(said) > 1 or typed.quantity not in (None, side):
        other = "right of" if len(said) > 1 else typed.quantity
        raise refused("quantity", f"{side} and {other} are both said", "Say one of the two")
    if any(name.startswith("-") for name in line):
        option = side.replace(" ", "-")
        raise refused("to", f"{side} needs the two features that the line runs through", f"Write: --{option} A B")
    return replace(typed, quantity=side, words=(*typed.words, *line))


def understood(build: Build, typed: TypedWords) -> Reading:
    """Return the reading that was typed, not yet numbered; or tell everything that is wrong, and how to mend it."""
    faults = Faults(COMMAND)
    part = faults.kept(build.must_have, typed.part)
    corrected = None
    if part is not None and typed.corrects is not None:
        corrected = faults.kept(_corrected, build, typed.part, typed.corrects, typed.into)
    quantity = faults.kept(_quantity, typed.quantity, corrected)
    if quantity in SIDES:
        return _understood_side(build, typed, quantity, corrected, faults)
    unit = None if quantity is None else faults.kept(_unit_said, typed.unit, quantity)
    # Without the reading that is corrected it is not known what the words should be.
    readable = typed.corrects is None or corrected is not None
    split = faults.kept(_split, typed, quantity, corrected) if quantity is not None and readable else None
    amount = None
    if split is not None and quantity is not None:
        if part is not None:
            check_names(build, typed.part, quantity, split[0], faults)
        if typed.unit is None or unit is not None:
            amount = faults.kept(_amount, split[1], unit, quantity, corrected, typed.into)
        else:
            faults.kept(_number, split[1])
    instrument = faults.kept(instrument_named, typed.instrument)
    plus_minus = faults.kept(plus_minus_of, typed.plus_minus, amount[1] if amount else unit)
    _check_about(typed, faults)
    faults.raise_any()
    if quantity is None or split is None or amount is None:
        raise AssertionError("each of them is there, or a fault says why not")
    names = split[0]
    return Reading(
        typed.part, "", quantity, *amount,
        from_feature=names[0] if names else None,
        to_feature=names[1] if len(names) > 1 else None,
        plus_minus=plus_minus,
        instrument=instrument or (corrected.instrument if corrected is not None else None),
        by=typed.by, on=cell_value(READINGS, "on", typed.on), corrects=typed.corrects, note=typed.note,
    )  # fmt: skip


def taken_back(build: Build, part: str, named: str | None) -> Reading:
    """Return the row, not yet numbered, that takes back a reading; of a correction, what it had replaced."""
    build.must_have(part)
    standing = current(build.readings_of(part))
    if not standing:
        raise refused("undo", f"no reading of {part} counts, so there is none to take back", "Nothing needs doing")
    wrong = max(standing, key=lambda row: row.row) if named is None else _corrected(build, part, named, TypedInto())
    mine = {row.reading: row for row in build.readings_of(part)}
    before = mine.get(wrong.corrects or "")
    if before is not None:
        return replace(before, corrects=wrong.reading, row=0)
    return Reading(part, "", WITHDRAWN, None, None, corrects=wrong.reading)


def named_to_undo(typed: TypedWords) -> str | None:
    """Return the reading that is to be taken back; None: the last. Refuse whatever else was typed besides."""
    options = ("quantity", "unit", "instrument", "plus_minus", "by", "on", "corrects", "note")
    besides = [f"--{name.replace('_', '-')}" for name in options if getattr(typed, name) is not None]
    if besides or len(typed.words) > 1:
        what = f"--undo takes one reading at most, and here is {typed_as((*typed.words, *besides))}"
        raise refused("undo", what, "Write: partkin record PART --undo, or partkin record PART READING --undo")
    return typed.words[0] if typed.words else None


def _understood_side(
    build: Build, typed: TypedWords, quantity: Quantity, corrected: Reading | None, faults: Faults
) -> Reading:
    """The answer that a feature lies left or right of the line through two others."""
    if len(typed.words) != 3:
        what = f"{quantity} is told of a feature and a line through two others, and here is {typed_as(typed.words)}"
        faults.add("to", what, typed.into.beside(quantity))
    else:
        check_names(build, typed.part, quantity, typed.words, faults)
    for name, given in (("unit", typed.unit), ("plus_minus", typed.plus_minus)):
        if given is not None:
            faults.add(name, f"{quantity} has no value, and so no {name.replace('_', ' ')}", "Leave it out")
    point, *line = typed.words if len(typed.words) == 3 else ("", "", "")
    if corrected is not None and (point, {*line}) != (
        corrected.from_feature, {corrected.line_from, corrected.line_to},
    ):  # fmt: skip
        seen = f"{corrected.from_feature} beside {corrected.line_from} to {corrected.line_to}"
        what = f"{corrected.reading} was seen at {seen}, not at {point} beside {' to '.join(line)}"
        mend = f"An answer is corrected by one of the same three; else {typed.into.leave('corrects')}"
        faults.add("corrects", what, mend)
    instrument = faults.kept(instrument_named, typed.instrument)
    _check_about(typed, faults)
    faults.raise_any()
    return Reading(
        typed.part, "", quantity, None, None, point, instrument=instrument, by=typed.by,
        on=cell_value(READINGS, "on", typed.on), corrects=typed.corrects, note=typed.note, line_from=line[0],
        line_to=line[1],
    )  # fmt: skip


def _check_about(typed: TypedWords, faults: Faults) -> None:
    for problem in faults_of_cells(READINGS, {"by": typed.by, "on": typed.on, "note": typed.note}):
        faults.add(problem.column, problem.what, problem.mend)


refused = partial(one_refused, COMMAND, 0)


def _corrected(build: Build, part: str, named: str, into: TypedInto) -> Reading:
    mine = build.readings_of(part)
    found = next((row for row in mine if row.reading == named), None)
    if found is None:
        known = ", ".join(row.reading for row in mine) or "none yet"
        raise refused("corrects", f"{part} has no reading {named}", f"Its readings: {known}")
    if found.quantity == WITHDRAWN:
        what = f"{named} takes back {found.corrects}, and is no reading"
        raise refused("corrects", what, f"To count {found.corrects} again, record it anew")
    later = next((row for row in mine if row.corrects == named), None)
    if later is not None:
        how, mend = "corrected", into.put("corrects", later.reading)
        if later.quantity == WITHDRAWN:
            how, mend = "taken back", f"{into.leave('corrects')[0].upper()}{into.leave('corrects')[1:]}"
        raise refused("corrects", f"{named} is {how} by {later.reading} already", mend)
    return found


def _quantity(word: str | None, corrected: Reading | None) -> Quantity:
    if word is None:
        return corrected.quantity if corrected is not None else "centres"
    plain = _plain(word)
    if plain == WITHDRAWN:
        mend = "Write: partkin record PART READING --undo"
        raise refused("quantity", "a reading is taken back without a value", mend)
    if plain not in NAMES:
        raise refused("quantity", f'"{word}" is no quantity that is read', f"Say one of: {', '.join(NAMES)}")
    if corrected is not None and plain != corrected.quantity and not {plain, corrected.quantity} <= {*SIDES}:
        what = f"{corrected.reading} is a reading of {corrected.quantity}, not of {plain}"
        raise refused("quantity", what, "A reading is corrected by one of the same thing")
    return cast(Quantity, plain)


def _plain(word: str) -> str:
    return " ".join(re.split(r"[\s_-]+", word.strip().lower()))


def _split(typed: TypedWords, quantity: Quantity, corrected: Reading | None) -> tuple[tuple[str, ...], str]:
    """Names and value. A correction may leave the names out; thickness may name a feature."""
    words, count = typed.words, NAMES[quantity]
    ends = tuple(end for end in (corrected.from_feature, corrected.to_feature) if end) if corrected else ()
    if corrected is not None and words and parse_number(" ".join(words)):
        return ends, " ".join(words)
    if quantity == "thickness" and len(words) > 1 and not parse_number(" ".join(words)):
        count = 1
    what = f"{quantity} is told with {('no name', 'one name', 'two names')[count]} and a value"
    what, mend = f"{what}, and here is {typed_as(words)}", typed.into.write(*("from", "to")[:count], "value")
    if len(words) <= count:
        raise refused("value", what, mend)
    found, value = tuple(words[:count]), " ".join(words[count:])
    if not parse_number(value) and len(words) > count + 1 and parse_number(" ".join(words[count + 1 :])):
        raise refused("value", what, f"{mend}{', or say --quantity centres' * (count < 2)}")
    if corrected is not None and frozenset(found) != frozenset(ends):
        what = f"{corrected.reading} was read at {' to '.join(ends) or 'the whole part'}, not at {' to '.join(found)}"
        mend = f"A reading is corrected by one of the same thing; else {typed.into.leave('corrects')}"
        raise refused("corrects", what, mend)
    return found, value


def typed_as(words: Sequence[str]) -> str:
    return " ".join(words) if words else "nothing"


def check_names(build: Build, part: str, quantity: Quantity, names: Sequence[str], faults: Faults) -> None:
    if quantity == "gap":
        return
    known = [feature.feature for feature in build.features_of(part)]
    for name in names:
        if name not in known:
            mend = f"Its features: {', '.join(known)}" if known else f"Add its row to {FEATURES} first"
            faults.add("feature", f"{part} has no feature {name}", mend)
    twice = next((name for name in names if names.count(name) > 1 and name in known), None)
    if twice is not None:
        mend = "Name three different features" if quantity in SIDES else "Name the two features it was read between"
        faults.add("feature", f"{twice} is named twice", mend)


def _number(text: str, where: str = "value") -> Number:
    number = parse_number(text)
    if isinstance(number, NotANumber):
        raise refused(where, number.what, number.mend)
    return number


def _unit_said(unit: str | None, quantity: Quantity) -> str | None:
    said = None if unit is None else UNITS.get(unit.strip().lower())
    if unit is not None:
        _refuse_unit(said, f'"{unit}"', quantity)
    return said


def _refuse_unit(unit: str | None, named: str, quantity: Quantity) -> None:
    units = KG_PER_UNIT if quantity == "mass" else MM_PER_UNIT
    if unit not in units:
        raise refused("unit", f"{named} is no unit of {quantity}", f"Say one of: {', '.join(units)}")


def _amount(
    text: str, said: str | None, quantity: Quantity, corrected: Reading | None, into: TypedInto
) -> tuple[float, str]:
    number = _number(text)
    usual = "kg" if quantity == "mass" else "mm"
    if quantity != "mass" and said is None and number.seems_inches:
        asked = number.in_which_unit(text)
        raise refused("value", asked.what, asked.mend)
    if corrected is not None and corrected.unit != usual and number.unit is None and said is None:
        what = f"{corrected.reading} is in {corrected.unit}, and no unit is said here"
        raise refused("unit", what, into.put("unit", corrected.unit or usual, usual))
    if number.unit is not None and said is not None and number.unit != said:
        what = f"the value is in {number.unit} and {into.place('unit')} says {said}"
        raise refused("unit", what, "Say one of the two")
    found = number.unit or said or usual
    _refuse_unit(found, found, quantity)
    return round(number.value, DECIMALS), found


def plus_minus_of(text: str | None, unit: str | None) -> float | None:
    """A greatest error in the unit of its value; with no unit known only the number is looked at."""
    if text is None:
        return None
    number = _number(text, "plus_minus")
    if number.unit is not None and unit is not None and number.unit != unit:
        what = f"plus or minus is in {number.unit} and the value in {unit}"
        raise refused("plus_minus", what, "Say both in one unit")
    if number.value < 0.0:
        raise refused("plus_minus", "plus or minus is less than nothing", "Say how far it may be out, either way")
    return round(number.value, DECIMALS)


def instrument_named(word: str | None) -> Instrument | None:
    if word is None:
        return None
    plain = _plain(word)
    plain = "steel rule" if plain == "rule" else plain
    if plain not in INSTRUMENTS:
        raise refused("instrument", f'"{word}" is no instrument that is known', f"Say one of: {', '.join(INSTRUMENTS)}")
    return plain
