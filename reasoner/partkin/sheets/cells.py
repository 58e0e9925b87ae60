"""One cell to one value: a reader for each kind of column."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from typing import Any

from partkin.model.columns import Column
from partkin.model.words import ALSO_CALLED, KG_PER_UNIT, KINDS, MM_PER_UNIT
from partkin.sheets.days import NoDay, parse_day
from partkin.sheets.findings import ProblemList
from partkin.sheets.money import parse_money
from partkin.sheets.number import UNITS, DecimalSign, NotANumber, Number, parse_number
from partkin.tables.threads import parse_thread

LONGEST_ID = 64
LONGEST_NAME = 200
GREATEST_NUMBER = 1e9
FIRST_YEAR, LAST_YEAR = 1880, 2100
_ID = re.compile(r"[A-Za-z0-9_][A-Za-z0-9._-]*", re.ASCII)
# Finer than a millionth of a micrometre means nothing, and the graph's decimals hold 18 places.
DECIMALS = 9
_PLAIN_DOT = re.compile(r"-?\d{1,15}(?:\.\d{1,9})?", re.ASCII)
_NUMERIC_DATE = r"\d{4}-\d{1,2}-\d{1,2}.*|\d{1,2}[./]\d{1,2}[./]\d{2,4}"
_LOOKS_LIKE_DATE = re.compile(_NUMERIC_DATE + r"|[A-Za-z]{3,9}[- ]\d{1,4}|\d{1,2}[-. ][A-Za-z]{3,9}\.?", re.ASCII)
_SCREW_LENGTH = re.compile(r"(m\d+(?:[.,]\d+)?(?:\s*[x×]\s*\d+(?:[.,]\d+)?)?)\s*[x×]\s*\d+(?:[.,]\d+)?", re.I)


class CellFault(Exception):
    """A cell that cannot be read: what is wrong and how to mend it. Never leaves this package."""

    def __init__(self, what: str, mend: str) -> None:
        super().__init__(what)
        self.what = what
        self.mend = mend


Reader = Callable[[str], Any]


def reader_of(column: Column, decimal: DecimalSign, findings: ProblemList) -> Reader:
    """Return the function that reads a filled cell of a column; it raises CellFault."""
    if column.read_as == "number":
        return _number_reader(column, decimal)
    if column.read_as == "direction":
        return _direction_reader(column, decimal)
    if column.read_as == "money":
        return _money_reader(column, decimal, findings)
    if column.read_as == "whole number":
        return _whole_reader(column, decimal)
    if column.read_as in ("word", "words", "yes or no"):
        return _word_reader(column, findings)
    simple: dict[str, Reader] = {
        "id": _id, "name": _name, "text": _text, "year": _year, "date": _date, "thread": _thread,
        "unit": _unit_reader(findings), "part numbers": _part_numbers, "alternatives": _alternatives,
    }  # fmt: skip
    return simple[column.read_as]


def _shown(text: str) -> str:
    line = " ".join(text.split())
    return f'"{line if len(line) <= 40 else line[:37] + "..."}"'


def _id(text: str) -> str:
    if len(text) > LONGEST_ID:
        raise CellFault(f"{_shown(text)} is longer than {LONGEST_ID} characters", "Choose a shorter id")
    if not _ID.fullmatch(text):
        offered = offered_id(text)
        offer = f"Write {offered}, here and wherever it is named" if offered else "Choose another"
        raise CellFault(f"{_shown(text)} cannot be an id", f"{offer}: letters a to z, digits, - _ and . only")
    return text


def offered_id(text: str) -> str:
    """Return the id nearest to a text that cannot be one; nothing where no letter or digit is left.

    Examples
    --------
    >>> offered_id("dash carrier"), offered_id("Türpappe (l)"), offered_id("???")
    ('dash-carrier', 'Turpappe-l', '')
    """
    plain = unicodedata.normalize("NFKD", text.replace("ß", "ss")).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9._-]+", "-", plain).strip("-.")[:LONGEST_ID]


def _name(text: str) -> str:
    if len(text) > LONGEST_NAME:
        raise CellFault(f"{_shown(text)} is longer than {LONGEST_NAME} characters", "Shorten it")
    if "\n" in text or "\r" in text:
        raise CellFault(f"{_shown(text)} runs over more than one line", "Write it on one line")
    return text


def _text(text: str) -> str:
    return text


def _year(text: str) -> int:
    if not (text.isascii() and text.isdigit() and FIRST_YEAR <= int(text[:9]) <= LAST_YEAR):
        raise CellFault(f"{_shown(text)} is not a year", "Write four digits, such as 2014")
    return int(text)


def _date(text: str) -> str:
    day = parse_day(text)
    if isinstance(day, NoDay):
        raise CellFault(day.what, day.mend)
    return day


def _thread(text: str) -> str:
    if parse_thread(text.lstrip("'")) is not None:
        return text.lstrip("'")
    if _LOOKS_LIKE_DATE.fullmatch(text):
        raise CellFault(
            f"{_shown(text)} is a date, which a spreadsheet may have made out of a thread such as 1/4-20",
            "Write UNC or UNF behind it (1/4-20 UNC), and a spreadsheet leaves it alone",
        )
    if screw := _SCREW_LENGTH.fullmatch(text):
        what = f"{_shown(text)} seems to have a screw's length in it"
        raise CellFault(what, f"Write the thread alone: {screw[1]}")
    raise CellFault(
        f"no diameter and pitch can be read from the thread {_shown(text)}",
        "Write it as the trade does: M6x1, M8 (its coarse pitch), 1/4-20, G1/4",
    )


def _listed(text: str, mark: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(_name(name.strip()) for name in text.split(mark) if name.strip()))


def _part_numbers(text: str) -> tuple[str, ...]:
    return _listed(text, ";")


def _alternatives(text: str) -> tuple[tuple[str, ...], ...]:
    return tuple(names for clause in text.split(";") if (names := _listed(clause, "|")))


def _unit_reader(findings: ProblemList) -> Reader:
    known = {word: unit for word, unit in UNITS.items() if unit in MM_PER_UNIT or unit in KG_PER_UNIT}
    listed = ", ".join((*MM_PER_UNIT, *KG_PER_UNIT))

    def read(text: str) -> str:
        unit = known.get(text.lower().rstrip("."))
        if unit is None:
            near = findings.meant(text, tuple(known)) if len(text) > 2 else ""
            mend = f"{near}Write one of: {listed}"
            raise CellFault(f"{_shown(text)} is not a unit that is known here", mend)
        return unit

    return read


def _word_reader(column: Column, findings: ProblemList) -> Reader:
    words = column.words or ("yes", "no")
    also = ALSO_CALLED if words is KINDS else {}
    values = {word: (word == "yes" if column.read_as == "yes or no" else word) for word in words}

    def one(text: str) -> Any:
        try:
            return values[text]
        except KeyError:
            pass
        plain = " ".join(text.lower().split())
        if plain in values:
            return values[plain]
        if (meant := also.get(plain.replace("-", " ").replace("_", " "))) is not None:
            return meant
        mend = f"{findings.meant(plain.replace('_', ' '), words)}Write one of: {', '.join(words)}"
        raise CellFault(f"{_shown(text)} is not a word for {column.name}", mend)

    def several(text: str) -> tuple[Any, ...]:
        return tuple(dict.fromkeys(one(word.strip()) for word in text.split(";") if word.strip()))

    return several if column.read_as == "words" else one


def _number_reader(column: Column, decimal: DecimalSign) -> Reader:
    least, above = column.least, column.above
    lowest = least if least is not None else -GREATEST_NUMBER
    highest = column.most if column.most is not None else GREATEST_NUMBER
    # Alone of all, a reading's value may bring its own unit.
    brings_unit = column.name == "value"
    quick = decimal == "." and not brings_unit

    def read(text: str) -> Any:
        unit = None
        if quick and _PLAIN_DOT.fullmatch(text):
            value = float(text) + 0.0
        else:
            number = parse_number(text, decimal)
            if not isinstance(number, Number):
                raise CellFault(number.what, number.mend)
            if column.unit == "mm" and number.seems_inches:
                asked = number.in_which_unit(text)
                raise CellFault(asked.what, asked.mend)
            value, unit = number.value, number.unit
            if unit is not None and not brings_unit:
                value = _in_unit(text, value, unit, column)
            value = round(value, DECIMALS) + 0.0
        if not lowest <= value <= highest or (above is not None and value <= above):
            raise _out_of_bounds(text, value, column)
        return (value, unit) if brings_unit else value

    return read


def _money_reader(column: Column, decimal: DecimalSign, findings: ProblemList) -> Reader:
    most = column.most if column.most is not None else GREATEST_NUMBER

    def read(text: str) -> float:
        money = parse_money(text, decimal)
        if isinstance(money, NotANumber):
            raise CellFault(money.what, money.mend)
        if money.currencies and findings.other_currency(money.currencies):
            what = f"{_shown(text)} is in {money.currencies[0]}, and the build counts in {findings.currency}"
            raise CellFault(what, f"Convert it to {findings.currency} first; nothing is converted here")
        value = round(money.amount, DECIMALS) + 0.0
        if not (column.least if column.least is not None else -most) <= value <= most:
            raise _out_of_bounds(text, value, column)
        return value

    return read


def _direction_reader(column: Column, decimal: DecimalSign) -> Reader:
    degrees = _number_reader(column, decimal)

    def read(text: str) -> Any:
        """Degrees, or the id that follows `to`."""
        way, _, named = text.partition(" ")
        return _id(named.strip()) if way.lower() == "to" and named.strip() else degrees(text)

    return read


def _in_unit(text: str, value: float, unit: str, column: Column) -> float:
    wanted = column.unit
    if unit == wanted:
        return value
    for factors in (MM_PER_UNIT, KG_PER_UNIT):
        if wanted in factors and unit in factors:
            return value * factors[unit] / factors[wanted]
    if wanted is None:
        raise CellFault(f"{_shown(text)} has a unit, and {column.name} has none", "Write the number alone")
    raise CellFault(f"{_shown(text)} is in {unit}, and {column.name} is in {wanted}", f"Write it in {wanted}")


def _out_of_bounds(text: str, value: float, column: Column) -> CellFault:
    unit = f" {column.unit}" if column.unit else ""
    unknown = "" if column.needed else ", or leave the cell empty when it is not known"
    if column.above is not None and value <= column.above:
        what = f"{_shown(text)} is not more than {column.above:g}{unit}"
        return CellFault(what, f"Write what it is{unknown}")
    if column.least == 0.0 and value < 0.0:
        return CellFault(f"{_shown(text)} is less than nothing", f"Write it without the minus sign{unknown}")
    mend = f"Look at the decimal sign and the unit{unknown}"
    if column.least is not None and value < column.least:
        return CellFault(f"{_shown(text)} is below {column.least:.0f}{unit}", mend)
    most = column.most if column.most is not None else GREATEST_NUMBER
    return CellFault(f"{_shown(text)} is above {most:.0f}{unit}", mend)


def _whole_reader(column: Column, decimal: DecimalSign) -> Reader:
    as_number = _number_reader(column, decimal)

    def read(text: str) -> int:
        value = as_number(text)
        if value != int(value):
            raise CellFault(f"{_shown(text)} is not a whole number", "Write a number such as 3")
        return int(value)

    return read
