"""One cell to one value: a reader for each kind of column; and ids proposed for what people call by other names."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Collection, Mapping
from typing import Any

from partkin.model.columns import BY_NAME, Column
from partkin.model.problem import Problem
from partkin.model.words import ALSO_CALLED, KG_PER_UNIT, KINDS, MM_PER_UNIT
from partkin.sheets.findings import ProblemList
from partkin.sheets.number import UNITS, DecimalSign, NoDay, NotANumber, Number, parse_day, parse_money, parse_number
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
    maker = _MAKERS.get(column.read_as)
    return maker(column, decimal, findings) if maker is not None else _PLAIN[column.read_as]


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
        raise CellFault(f"{_shown(text)} seems to have a screw's length in it", f"Write the thread alone: {screw[1]}")
    raise CellFault(
        f"no diameter and pitch can be read from the thread {_shown(text)}",
        "Write it as the trade does: M6x1, M8 (its coarse pitch), 1/4-20, G1/4",
    )


def _listed(text: str, mark: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(_name(name.strip()) for name in text.split(mark) if name.strip()))


_PLAIN: dict[str, Reader] = {
    "id": _id, "name": _name, "text": str, "year": _year, "date": _date, "thread": _thread,
    "part numbers": lambda text: _listed(text, ";"),
    "alternatives": lambda text: tuple(names for clause in text.split(";") if (names := _listed(clause, "|"))),
}  # fmt: skip


def _unit_reader(_: Column, __: DecimalSign, findings: ProblemList) -> Reader:
    known = {word: unit for word, unit in UNITS.items() if unit in MM_PER_UNIT or unit in KG_PER_UNIT}
    listed = ", ".join((*MM_PER_UNIT, *KG_PER_UNIT))

    def read(text: str) -> str:
        unit = known.get(text.lower().rstrip("."))
        if unit is None:
            near = findings.meant(text, tuple(known)) if len(text) > 2 else ""
            raise CellFault(f"{_shown(text)} is not a unit that is known here", f"{near}Write one of: {listed}")
        return unit

    return read


def _word_reader(column: Column, _: DecimalSign, findings: ProblemList) -> Reader:
    words = column.words or ("yes", "no")
    also = ALSO_CALLED if words is KINDS else {}
    values = {word: (word == "yes" if column.read_as == "yes or no" else word) for word in words}

    def one(text: str) -> Any:
        plain = text if text in values else " ".join(text.lower().split())
        if plain in values:
            return values[plain]
        if (meant := also.get(plain.replace("-", " ").replace("_", " "))) is not None:
            return meant
        mend = f"{findings.meant(plain.replace('_', ' '), words)}Write one of: {', '.join(words)}"
        raise CellFault(f"{_shown(text)} is not a word for {column.name}", mend)

    def several(text: str) -> tuple[Any, ...]:
        return tuple(dict.fromkeys(one(word.strip()) for word in text.split(";") if word.strip()))

    return several if column.read_as == "words" else one


def _number_reader(column: Column, decimal: DecimalSign, _: ProblemList) -> Reader:
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


def _direction_reader(column: Column, decimal: DecimalSign, findings: ProblemList) -> Reader:
    degrees = _number_reader(column, decimal, findings)

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
        return CellFault(f"{_shown(text)} is not more than {column.above:g}{unit}", f"Write what it is{unknown}")
    if column.least == 0.0 and value < 0.0:
        return CellFault(f"{_shown(text)} is less than nothing", f"Write it without the minus sign{unknown}")
    mend = f"Look at the decimal sign and the unit{unknown}"
    if column.least is not None and value < column.least:
        return CellFault(f"{_shown(text)} is below {column.least:.0f}{unit}", mend)
    most = column.most if column.most is not None else GREATEST_NUMBER
    return CellFault(f"{_shown(text)} is above {most:.0f}{unit}", mend)


def _whole_reader(column: Column, decimal: DecimalSign, findings: ProblemList) -> Reader:
    as_number = _number_reader(column, decimal, findings)

    def read(text: str) -> int:
        value = as_number(text)
        if value != int(value):
            raise CellFault(f"{_shown(text)} is not a whole number", "Write a number such as 3")
        return int(value)

    return read


_MAKERS: dict[str, Callable[[Column, DecimalSign, ProblemList], Reader]] = {
    "number": _number_reader, "direction": _direction_reader, "whole number": _whole_reader, "money": _money_reader,
    "word": _word_reader, "words": _word_reader, "yes or no": _word_reader, "unit": _unit_reader,
}  # fmt: skip


def cell_value(sheet: str, column: str, text: str | None) -> Any:
    """The value of a cell that `faults_of_cells` found no fault with; None where nothing is told.

    Examples
    --------
    >>> cell_value("readings.csv", "on", "28 May 2024")
    '2024-05-28'
    """
    described = next(one for one in BY_NAME[sheet].columns if one.name == column)
    return reader_of(described, ".", ProblemList())(text.strip()) if text and text.strip() else None


def faults_of_cells(sheet: str, cells: Mapping[str, str | None]) -> tuple[Problem, ...]:
    """What is wrong with cells by themselves, by column name; None and blank ones are not known, which is no fault.

    Examples
    --------
    >>> [str(one) for one in faults_of_cells("readings.csv", {"on": "31.5.24", "by": None})]  # doctest: +ELLIPSIS
    ['readings.csv::on: "31.5.24" has a year of two digits, and may be more than one day. Write ...']
    """
    found = []
    for column in BY_NAME[sheet].columns:
        try:
            if text := (cells.get(column.name) or "").strip():
                reader_of(column, ".", ProblemList())(text)
        except CellFault as fault:
            found.append(Problem(sheet, 0, column.name, fault.what, fault.mend))
    return tuple(found)


LONGEST_PROPOSED = 32


def proposed_id(name: str, taken: Collection[str] = ()) -> str:
    """Return an id made of a name, unlike those that are taken.

    Examples
    --------
    >>> proposed_id("Dash carrier (left)"), proposed_id("Türgriff", ("turgriff",)), proposed_id("!!")
    ('dash-carrier-left', 'turgriff-2', 'part')
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    bare = re.sub(r"[^a-z0-9_.]+", "-", plain)[:LONGEST_PROPOSED].strip("-.") or "part"
    if bare not in taken:
        return bare
    return next(one for number in range(2, len(taken) + 3) if (one := f"{bare}-{number}") not in taken)


def numbered_on(first: str, count: int, taken: Collection[str] = ()) -> tuple[str, ...]:
    """Return ids from the first on, those that are taken left out.

    Examples
    --------
    >>> numbered_on("F1", 3, ("F2",)), numbered_on("y", 3), numbered_on("a", 2, ("a", "b"))
    (('F1', 'F3', 'F4'), ('y', 'z', 'aa'), ('c', 'd'))
    """
    found: list[str] = []
    one = first
    while len(found) < count:
        if one not in taken:
            found.append(one)
        one = _next(one)
    return tuple(found)


def _next(one: str) -> str:
    """The id after one: its number and one more, or the next letter."""
    number = re.search(r"\d{1,9}$", one)
    if number:
        return f"{one[: number.start()]}{int(number[0]) + 1:0{len(number[0])}d}"
    if not re.fullmatch("[a-z]{1,2}", one):
        return f"{one}2"
    if one[-1] < "z":
        return one[:-1] + chr(ord(one[-1]) + 1)
    return "aa" if len(one) == 1 else (chr(ord(one[0]) + 1) + "a" if one[0] < "z" else "a1")
