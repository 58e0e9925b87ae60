"""What was typed for an empty cell of features.csv: a place, what goes through, a direction, a float."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from partkin.model.build import Build, Feature
from partkin.model.words import MM_PER_UNIT
from partkin.readings.typed_readings import (
    COMMAND,
    FEATURES,
    Faults,
    TypedWords,
    check_names,
    instrument_named,
    plus_minus_of,
    refused,
    typed_as,
)
from partkin.sheets.cells import faults_of_cells
from partkin.sheets.number import UNITS, NotANumber, parse_number
from partkin.tables.instruments import greatest_error_mm
from partkin.tables.threads import parse_thread

PLACES = ("x_mm", "y_mm", "z_mm")


@dataclass(frozen=True)
class Typed:
    """What was typed for a feature's cells; None: nothing."""

    at: str | None = None
    through: str | None = None
    angle: str | None = None
    float_mm: str | None = None

    def __bool__(self) -> bool:
        """Whether anything was."""
        return any(one is not None for one in (self.at, self.through, self.angle, self.float_mm))


class Filled(NamedTuple):
    """Cells of one feature, or of several alike, as text, and what they say in words."""

    features: tuple[str, ...]
    cells: Mapping[str, str]
    says: str


def understood_cells(build: Build, words: TypedWords, typed: Typed) -> Filled:
    """Return the cells that were typed, or tell all that is wrong; a cell that is filled the sheet itself tells.

    A place and a direction are told of one feature; what goes through, and a float, of all that are named.
    """
    faults = Faults(COMMAND)
    options = {"at": typed.at, "through": typed.through, "angle": typed.angle, "float": typed.float_mm}
    said = [f"--{name}" for name, value in options.items() if value is not None]
    part = faults.kept(build.must_have, words.part)
    names, first = tuple(dict.fromkeys(words.words)), next((one for one in said if one in _OF_ONE), said[0])
    if not names or (len(names) > 1 and first in _OF_ONE):
        what = f"{first} is told of one feature, and here is {typed_as(words.words)}"
        faults.add(first.strip("-"), what, f"Write: PART FEATURE {first} {_SHAPES[first]}")
    for name, given in (("quantity", words.quantity), ("corrects", words.corrects)):
        if given is not None:
            faults.add(name, f"--{name} does not go with {said[0]}", "Leave it out: this is no reading")
    if part is not None:
        check_names(build, words.part, "across", names, faults)
    there = [feature for feature in build.features_of(words.part) if feature.feature in names]
    only = there[0] if len(names) == 1 and there else None
    told: dict[str, dict[str, str]] = {
        "place": _place(only, words, typed.at, faults) if typed.at is not None else {},
        "what goes through": faults.kept(through_cells, typed.through or "") or {},
        "direction": {"angle_deg": typed.angle} if typed.angle is not None else {},
        "float": {"float_mm": typed.float_mm} if typed.float_mm is not None else {},
    }
    for name, value, kind, what in (
        ("angle", typed.angle, "slot", "a slot points anywhere"),
        ("float", typed.float_mm, "captive nut", "a captive nut can move"),
    ):
        for feature in (one for one in there if value is not None and one.kind != kind):
            faults.add(name, f"{feature.feature} is a {feature.kind}, and only {what}", f"Leave --{name} out")
    cells = {name: cell for each in told.values() for name, cell in each.items()}
    for problem in faults_of_cells(FEATURES, cells):
        faults.add(problem.column, problem.what, problem.mend)
    faults.raise_any()
    return Filled(names, cells, "; ".join(f"{what}: {_in_words(each)}" for what, each in told.items() if each))


_OF_ONE = ("--at", "--angle")
_SHAPES = {"--at": "X,Y", "--through": "M6", "--angle": "30, or --angle 'to FEATURE'", "--float": "1.5"}


def _in_words(cells: Mapping[str, str]) -> str:
    at = ", ".join(f"{name[0]} {cell}" for name, cell in cells.items() if name in PLACES)
    if not at:
        return ", ".join(cells.values())
    sure = cells.get("plus_minus_mm")
    return f"{at} mm" + (f", each within {sure} mm" if sure else "")


def through_cells(text: str) -> dict[str, str]:
    """Return the cell that says what goes through a hole: a thread, or the diameter of a plain fastener.

    Examples
    --------
    >>> through_cells("M6"), through_cells("6 mm"), through_cells("")
    ({'thread': 'M6'}, {'fastener_mm': '6 mm'}, {})
    """
    if not text.strip():
        return {}
    number = parse_number(text)
    if "/" in text and not isinstance(number, NotANumber) and number.unit is None and parse_thread(text) is None:
        raise refused("through", f'"{text}" has no unit and no pitch', f"Write {text} in, or its thread such as 1/4-20")
    is_plain = not isinstance(number, NotANumber) and parse_thread(text) is None
    return {"fastener_mm" if is_plain else "thread": text.strip()}


def _place(feature: Feature | None, words: TypedWords, at: str, faults: Faults) -> dict[str, str]:
    """Coordinates of a feature without a place, in mm, with the greatest error of each."""
    stated = [name for name in PLACES if feature is not None and getattr(feature, name) is not None]
    if feature is not None and stated:
        now = ", ".join(f"{name} {getattr(feature, name):g}" for name in stated)
        mend = f"Read distances from it, or mend row {feature.row} of {FEATURES} by hand if the place is wrong"
        faults.add("at", f"{feature.feature} has a place already ({now})", mend)
    unit = UNITS.get((words.unit or "mm").strip().lower())
    if unit not in MM_PER_UNIT:
        faults.add("unit", f'"{words.unit}" is no unit of length', f"Say one of: {', '.join(MM_PER_UNIT)}")
    values = faults.kept(_coordinates, at)
    instrument = faults.kept(instrument_named, words.instrument)
    plus_minus = faults.kept(plus_minus_of, words.plus_minus, unit)
    if unit not in MM_PER_UNIT or values is None:
        return {}
    at_mm = [MM_PER_UNIT[unit] * value for value in values]
    within_mm = None if plus_minus is None else MM_PER_UNIT[unit] * plus_minus
    if within_mm is None and instrument:
        within_mm = greatest_error_mm(instrument, max(abs(value) for value in at_mm), "across")
    cells = {name: plain_number(value) for name, value in zip(PLACES, at_mm, strict=False)}
    if within_mm is not None and feature is not None and feature.plus_minus_mm is None:
        cells["plus_minus_mm"] = plain_number(within_mm)
    return cells


def plain_number(value: float) -> str:
    """Write a number for a sheet, to nine places.

    Examples
    --------
    >>> plain_number(24.125), plain_number(612.0)
    ('24.125', '612')
    """
    return f"{value + 0.0:.9f}".rstrip("0").rstrip(".")


def _coordinates(text: str) -> tuple[float, ...]:
    """X,Y or X,Y,Z; with ; between where the numbers have decimal commas."""
    pieces = text.split(";") if ";" in text else text.split(",")
    numbers = [parse_number(piece, "," if ";" in text and "." not in text else ".") for piece in pieces]
    if len(pieces) not in (2, 3) or not all(numbers):
        raise refused("at", f'"{text}" is no place', "Write X,Y such as 12.5,300, or 12,5;300 with decimal commas")
    return tuple(number.value for number in numbers if not isinstance(number, NotANumber))
