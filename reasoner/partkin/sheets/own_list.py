"""Somebody's own list of holes or distances as rows of the sheets; what it leaves open is asked, never guessed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from partkin.model.problem import Problem
from partkin.model.words import MM_PER_UNIT
from partkin.sheets.cells import faults_of_cells, proposed_id
from partkin.sheets.headings import (
    LENGTHS,
    MEANINGS,
    OF_A_DISTANCE,
    OF_A_HOLE,
    SKIP,
    Heading,
    read_heading,
    said_heading,
)  # fmt: skip
from partkin.sheets.number import UNITS, DecimalSign, NotANumber, Number, decimal_sign, parse_number
from partkin.sheets.workbook import Tab

Cells = dict[str, str]
# How far down a list its headings may stand, below titles and dates.
MOST_TITLE_ROWS = 20
SHOWN_CELLS = 3
BETWEEN = ("centres", "near edges", "far edges")


@dataclass(frozen=True)
class Answers:
    """What somebody says of a list beside it.

    `columns`: column letter (or TAB!letter) to what it is; `unit`: of every length that does not say; `part`,
    `origin`, `kind`, `quantity`, `instrument`: of every row that does not say.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    unit: str | None = None
    part: str | None = None
    origin: str | None = None
    kind: str | None = None
    quantity: str | None = None
    instrument: str | None = None


class OwnRows(NamedTuple):
    """Rows by sheet, what was not clear (questions) or wrong (faults), and what was done that the list does not say."""

    rows: Mapping[str, list[Cells]]
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]


def take(tabs: Sequence[Tab], answers: Answers) -> OwnRows:
    """Turn lists into rows of parts.csv, features.csv and readings.csv.

    `tabs`: of a workbook, or one for a CSV file; empty ones are passed over. `answers`: what the person says beside
    them.
    """
    filled = [tab for tab in tabs if any(cell.strip() for row in tab.rows for cell in row)]
    whole = _Taking(answers)
    for tab in filled:
        whole.take(tab, several=len(filled) > 1)
    return whole.done()


def letter(place: int) -> str:
    """The letter of a column in a spreadsheet.

    Examples
    --------
    >>> letter(0), letter(26), letter(701)
    ('A', 'AA', 'ZZ')
    """
    text = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        text = chr(65 + rest) + text
    return text


@dataclass
class _Column:
    place: int
    title: str
    heading: Heading
    cells: list[str]


class _Taking:
    """What several lists of one build come to."""

    def __init__(self, answers: Answers) -> None:
        self.answers = answers
        self.problems: list[Problem] = []
        self.notes: dict[str, None] = {}
        self.features: dict[tuple[str, str], Cells] = {}
        self.readings: list[Cells] = []
        self.ids: dict[str, str] = {}
        self.used: set[str] = set()

    def done(self) -> OwnRows:
        for said in sorted(set(self.answers.columns) - self.used):
            self._ask("", 0, "", f"--column names {said}, and there is no such column", "Name a letter, or TAB!LETTER")
        if not self.features and not self.problems:
            self._ask("", 0, "", "no hole and no distance is in it", "Give a list with a heading above each column")
        self._look_at_answers()
        parts = list(dict.fromkeys(part for part, _ in self.features))
        rows = {
            "parts.csv": [{"part": part, "origin": self.answers.origin or ""} for part in parts],
            "features.csv": list(self.features.values()),
            "readings.csv": self.readings,
        }
        return OwnRows(rows, tuple(dict.fromkeys(self.problems)), tuple(self.notes))

    def _look_at_answers(self) -> None:
        said = (
            ("parts.csv", "origin", self.answers.origin, "--origin"),
            ("features.csv", "kind", self.answers.kind, "--kind"),
            ("readings.csv", "instrument", self.answers.instrument, "--instrument"),
            ("readings.csv", "unit", self.answers.unit, "--unit"),
        )  # fmt: skip
        for sheet, column, text, option in said:
            for fault in faults_of_cells(sheet, {column: text}):
                self._ask("new", 0, option, fault.what, fault.mend)
        if self.answers.quantity not in (None, *BETWEEN):
            what = f"{self.answers.quantity!r} is no way for a distance to run"
            self._ask("new", 0, "--between", what, f"Say one of {', '.join(BETWEEN)}")

    def _ask_for_all(self, tab: Tab, means: Mapping[str, _Column]) -> None:
        """Ask what has to be said of every row and no column says."""
        if "part" not in means and self.answers.part is None:
            mend = 'Say --part ID, such as --part wing-left, or which column says it: --column "A=part"'
            self._ask(tab.name, 0, "", "this list does not say which part it is of", mend)
        if self.answers.origin is None:
            what = "this list does not say whether its part stays on the vehicle, came off, or might go on"
            self._ask(tab.name, 0, "", what, "Say --origin host, --origin original or --origin donor")
        if "kind" not in means and self.answers.kind is None:
            mend = 'Say --kind hole (or stud, slot, ...), or which column says it: --column "C=kind"'
            self._ask(tab.name, 0, "", "this list does not say what its features are", mend)
        if "value" in means and self.answers.quantity is None:
            mend = 'Say --between centres, --between "near edges" or --between "far edges"'
            self._ask(tab.name, 0, "", "this list does not say whether distances run between centres or edges", mend)

    def take(self, tab: Tab, several: bool) -> None:
        """Read one list."""
        heading, first = _headings(tab)
        columns = self._columns(tab, heading, first, several)
        means = {column.heading.means: column for column in columns if column.heading.means not in (None, SKIP)}
        below = enumerate(tab.rows[first:], first + 1)
        rows = [(number, row) for number, row in below if any(cell.strip() for cell in row)]
        if {"from", "to", "value"} <= set(means):
            self._ask_for_all(tab, means)
            self._told_apart(tab, means, OF_A_HOLE)
            for number, row in rows:
                self._distance(tab, number, {name: _cell(row, column.place) for name, column in means.items()}, means)
        elif "feature" in means:
            self._told_apart(tab, means, OF_A_DISTANCE)
            self._ask_for_all(tab, {name: column for name, column in means.items() if name != "value"})
            for number, row in rows:
                self._hole(tab, number, {name: _cell(row, column.place) for name, column in means.items()}, means)
        elif not any(problem.sheet == tab.name for problem in self.problems):
            what = "this has neither a column for the hole nor columns for from, to and distance"
            mend = 'Say what its columns are, such as --column "A=feature", or --column "C=value_mm"'
            self._ask(tab.name, first, "", what, mend)

    def _columns(self, tab: Tab, heading: Sequence[str], first: int, several: bool) -> list[_Column]:
        found = []
        for place in range(max(map(len, (heading, *tab.rows[first:])))):
            cells = [text for row in tab.rows[first:] if (text := _cell(row, place))]
            title = _cell(heading, place)
            if cells or title:
                found.append(_Column(place, title, self._heading(tab, first, place, title, several), cells))
        self._ask_about(tab, first, found)
        return found

    def _heading(self, tab: Tab, first: int, place: int, title: str, several: bool) -> Heading:
        names = (f"{tab.name}!{letter(place)}", *(() if several else (letter(place),)))
        said = next((name for name in names if name in self.answers.columns), None)
        if said is None:
            return read_heading(title)
        self.used.add(said)
        found = said_heading(self.answers.columns[said])
        if found is None:
            what = f"{self.answers.columns[said]!r} is nothing that a column may be"
            mend = f"Say one of {', '.join((*MEANINGS, SKIP))}; a length with its unit, such as x_mm"
            self._ask(tab.name, first, letter(place), what, mend)
            return Heading(SKIP)
        own = read_heading(title).unit if found.means in LENGTHS else None
        return Heading(found.means, found.unit or own)

    def _ask_about(self, tab: Tab, row: int, columns: list[_Column]) -> None:
        """Ask what a column is, and in which unit."""
        first: dict[str, _Column] = {}
        for column in columns:
            at, shown = letter(column.place), _shown(column)
            means = column.heading.means
            if means is None and column.cells:
                mend = f'Say --column "{at}=..." with one of {", ".join(MEANINGS)}, or --column "{at}={SKIP}"'
                self._ask(tab.name, row, at, f"what {shown} is cannot be told", mend)
            elif means in first:
                mend = f'Say --column "{at}={SKIP}", or what it is'
                self._ask(tab.name, row, at, f"{shown} and {_shown(first[means])} seem to be the same", mend)
            elif means is not None and means != SKIP:
                first[means] = column
        for means, column in first.items():
            if means in LENGTHS and "unit" not in first and self._unit(column) is None and _bare_number(column.cells):
                at = letter(column.place)
                mend = f'Say --column "{at}={means}_mm" (or _cm, _in), or --unit mm for every column that does not say'
                self._ask(tab.name, row, at, f"in which unit {_shown(column)} is cannot be told", mend)

    def _unit(self, column: _Column) -> str | None:
        return column.heading.unit or UNITS.get(self.answers.unit or "")

    def _told_apart(self, tab: Tab, means: Mapping[str, _Column], other: Sequence[str]) -> None:
        for name in (name for name in other if name in means and name != "thread"):
            column = means[name]
            what = f"{_shown(column)} has no place in this list, and is left out"
            self.notes[f"{tab.name}:{letter(column.place)}: {what}"] = None

    def _hole(self, tab: Tab, number: int, cells: Cells, means: Mapping[str, _Column]) -> None:
        part = self._part_of(tab, number, cells)
        if not cells["feature"] or part is None:
            if not cells["feature"]:
                self._ask(tab.name, number, letter(means["feature"].place), "the hole has no name", "Give it one")
            return
        made = {"part": part, "feature": self._id(cells["feature"])}
        key = (part, made["feature"])
        if key in self.features and "x_mm" in self.features[key]:
            at = letter(means["feature"].place)
            self._ask(tab.name, number, at, f"{cells['feature']} is there twice", "Give one of them another name")
        for name in ("across", "length", "x", "y", "z", "plus_minus"):
            if cells.get(name):
                made[f"{name}_mm"] = self._mm(tab, number, means[name], cells)
        made |= {name: cells[name] for name in ("kind", "thread", "goes_on", "need") if cells.get(name)}
        if cells.get("angle"):
            made["angle_deg"] = cells["angle"].rstrip("° ")
        if cells.get("goes_on"):
            made["goes_on"] = self._id(cells["goes_on"])
        self._kind(made)
        if "kind" in means and "kind" not in made:
            at = letter(means["kind"].place)
            self._ask(tab.name, number, at, "this cell is empty", "Fill it, or say --kind hole")
        self._look_at(tab, number, "features.csv", made, means)
        self.features[key] = {**self.features.get(key, {}), **made}

    def _kind(self, made: Cells) -> None:
        if "kind" not in made and self.answers.kind is not None:
            slot = self.answers.kind == "hole" and "length_mm" in made
            made["kind"] = "slot" if slot else self.answers.kind
            if slot:
                self.notes["holes with a length are taken as slots"] = None

    def _distance(self, tab: Tab, number: int, cells: Cells, means: Mapping[str, _Column]) -> None:
        part = self._part_of(tab, number, cells)
        missing = [name for name in ("from", "to", "value") if not cells[name]]
        for name in missing:
            self._ask(tab.name, number, letter(means[name].place), "this cell is empty", "Fill it, or delete the row")
        if missing or part is None:
            return
        made = {
            "part": part, "reading": f"r{len(self.readings) + 1}", "quantity": self.answers.quantity or "",
            "from": self._id(cells["from"]), "to": self._id(cells["to"]), **self._as_read(tab, number, cells, means),
            "instrument": cells.get("instrument") or self.answers.instrument or "",
            **{name: cells[name] for name in ("by", "on", "note") if cells.get(name)},
        }  # fmt: skip
        for end in ("from", "to"):
            named = {"part": part, "feature": made[end]}
            self._kind(named)
            self.features.setdefault((part, made[end]), named)
        self._look_at(tab, number, "readings.csv", made, means)
        self.readings.append(made)

    def _as_read(self, tab: Tab, number: int, cells: Cells, means: Mapping[str, _Column]) -> Cells:
        """Value and unit as they were written; of two units the value's own."""
        value = self._number(tab, number, means["value"], cells["value"])
        unit = (value.unit if value else None) or cells.get("unit") or self._unit(means["value"]) or ""
        found = {"value": _plain(value.value) if value else "", "unit": unit}
        if cells.get("plus_minus"):
            spread = self._number(tab, number, means["plus_minus"], cells["plus_minus"])
            own = (spread.unit if spread else None) or self._unit(means["plus_minus"]) or unit
            if spread and own in MM_PER_UNIT and unit in MM_PER_UNIT:
                found["plus_minus"] = _plain(spread.value * MM_PER_UNIT[own] / MM_PER_UNIT[unit])
        return found

    def _mm(self, tab: Tab, number: int, column: _Column, cells: Cells) -> str:
        text = cells[column.heading.means or ""]
        value = self._number(tab, number, column, text)
        if not value:
            return ""
        unit = value.unit or cells.get("unit") or self._unit(column)
        if unit is None:
            return ""  # asked about the column
        if unit not in MM_PER_UNIT:
            self._ask(tab.name, number, letter(column.place), f"{unit} is no unit of length", "Write mm, cm, m or in")
            return ""
        return _plain(value.value * MM_PER_UNIT[unit])

    def _number(self, tab: Tab, number: int, column: _Column, text: str) -> Number | NotANumber:
        value = parse_number(text.lstrip("Ø⌀ø±"), _decimal(tab))
        if isinstance(value, NotANumber):
            self._ask(tab.name, number, letter(column.place), value.what, value.mend)
        return value

    def _part_of(self, tab: Tab, number: int, cells: Cells) -> str | None:
        name = cells.get("part") or self.answers.part
        if not name and "part" in cells:
            self._ask(tab.name, number, "", "it is not said which part this is of", "Fill the cell, or say --part ID")
        return self._id(name) if name else None

    def _id(self, name: str) -> str:
        """An id for what the list calls something; its own name where that is one."""
        if name not in self.ids:
            fault = faults_of_cells("features.csv", {"feature": name})
            self.ids[name] = proposed_id(name, tuple(self.ids.values())) if fault else name
            if fault:
                self.notes[f"{name!r} is called {self.ids[name]} in the sheets"] = None
        return self.ids[name]

    def _look_at(self, tab: Tab, number: int, sheet: str, made: Cells, means: Mapping[str, _Column]) -> None:
        for fault in faults_of_cells(sheet, made):
            name = fault.column.removesuffix("_mm").removesuffix("_deg")
            at = letter(means[name].place) if name in means else fault.column
            self._ask(tab.name, number, at, fault.what, fault.mend)

    def _ask(self, tab: str, row: int, column: str, what: str, mend: str) -> None:
        self.problems.append(Problem(tab or "list", row, column, what, mend))


def _cell(row: Sequence[str], place: int) -> str:
    return row[place].strip() if place < len(row) else ""


def _headings(tab: Tab) -> tuple[list[str], int]:
    """The row of headings, and where the rows below it begin.

    It is the row with the most headings that are known; where none is, the first with two cells, unless numbers stand
    in it: then the list has no headings.
    """
    known = [sum(read_heading(cell).means is not None for cell in row) for row in tab.rows[:MOST_TITLE_ROWS]]
    if any(known):
        place = known.index(max(known))
        return tab.rows[place], place + 1
    place = next((n for n, row in enumerate(tab.rows) if sum(bool(cell.strip()) for cell in row) > 1), 0)
    bare = any(isinstance(parse_number(cell, ","), Number) for cell in tab.rows[place])
    return ([], place) if bare else (tab.rows[place], place + 1)


def _shown(column: _Column) -> str:
    first = " · ".join(column.cells[:SHOWN_CELLS])
    title = f' "{column.title}"' if column.title else ""
    return f"column {letter(column.place)}{title} ({first})"


def _bare_number(cells: Sequence[str]) -> bool:
    """Whether a number stands there without a unit."""
    numbers = [parse_number(cell, ",") for cell in cells]
    return any(isinstance(number, Number) and number.unit is None for number in numbers)


def _decimal(tab: Tab) -> DecimalSign:
    return decimal_sign([cell.strip() for row in tab.rows for cell in row], tab.separator)


def _plain(value: float) -> str:
    text = f"{value:.10f}".rstrip("0").rstrip(".")
    return text if text != "-0" else "0"
