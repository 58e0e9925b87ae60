"""Rows of cells to rows of values: header, ragged rows, needed cells, ids that come twice."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise
from typing import Any

from partkin.model.columns import BY_NAME, NUMERIC, Column, Sheet
from partkin.sheets.cells import CellFault, Reader, reader_of
from partkin.sheets.dialect import LONGEST_CELL, Dialect, Grid, plain_cell, say_dialect
from partkin.sheets.findings import ProblemList
from partkin.sheets.number import DecimalSign, decimal_sign

LONGEST_SHOWN = 40

# A row's values by column name, those that could be read; "row" is its number in the spreadsheet, and
# "faulty" the names of the columns whose cells could not be read, where there are any.
Record = dict[str, Any]


@dataclass(frozen=True)
class SheetTable:
    """What was read of one sheet.

    `whole`: every row was understood well enough to know its ids. `readable`: so was the header. `examples`: rows that
    `partkin new --example` wrote and nobody has touched; they are no records.
    """

    sheet: Sheet
    records: tuple[Record, ...] = ()
    whole: bool = True
    present: bool = False
    readable: bool = True
    dialect: Dialect = field(default_factory=Dialect)
    header: tuple[str, ...] = ()
    examples: tuple[int, ...] = ()


def column_name(cell: str) -> str:
    """Return a header cell as columns are named: lower case, `_` for spaces.

    Examples
    --------
    >>> column_name(" Takes place of ")
    'takes_place_of'
    """
    return "_".join(plain_cell(cell.strip()).lower().split())


def read_table(sheet: Sheet, grid: Grid, findings: ProblemList) -> SheetTable:
    """Read every row of a sheet; what cannot be read is noted, and the rest is kept."""
    header = tuple(column_name(cell) for cell in grid.rows[0])
    if not _header_is_good(sheet, header, grid, findings):
        say_dialect(sheet.name, grid.dialect, findings)
        return SheetTable(sheet, whole=False, present=True, readable=False, header=header)
    columns = {column.name: column for column in sheet.columns}
    known = [(place, columns[name]) for place, name in enumerate(header) if name in columns]
    decimal = _decimal(known, grid)
    if decimal == "mixed":
        what = "the numbers have dots in some cells and commas in others"
        findings.warn(sheet.name, 0, "", what, "Use one of them throughout")
    dialect = grid.dialect._replace(decimal=decimal)
    say_dialect(sheet.name, dialect, findings)
    plan = [(place, column.name, reader_of(column, decimal, findings)) for place, column in known]
    needed = tuple(column.name for column in sheet.columns if column.needed and not column.may_be_empty)
    records: list[Record] = []
    examples: list[int] = []
    whole = True
    for number, cells in enumerate(grid.rows[1:], start=2):
        if _is_example(sheet, header, cells):
            examples.append(number)
            continue
        record = _read_row(sheet, number, cells, len(header), plan, findings)
        if record is None:
            continue
        for name in needed:
            if name not in record and name not in record.get("faulty", ()):
                record["faulty"] = (*record.get("faulty", ()), name)
                findings.fault(sheet.name, number, name, f"{name} is empty", _how_to_fill(columns[name]))
        records.append(record)
        whole = whole and not _key_is_faulty(sheet, record)
    _find_doubles(sheet, records, findings)
    return SheetTable(
        sheet, tuple(records), whole, present=True, dialect=dialect, header=header, examples=tuple(examples)
    )


def _is_example(sheet: Sheet, header: tuple[str, ...], cells: Sequence[str]) -> bool:
    """Whether a row is one of the example's, in whatever order and dialect."""
    cells_written, rows_written = _examples(sheet.name)
    if next(filter(None, cells), "").strip().replace(",", ".") not in cells_written:
        return False
    filled = {name: cell.strip().replace(",", ".") for name, cell in zip(header, cells, strict=False) if cell.strip()}
    return filled in rows_written


@cache
def _examples(name: str) -> tuple[frozenset[str], tuple[dict[str, str], ...]]:
    """Every cell of the example of a sheet, and its rows."""
    sheet = BY_NAME[name]
    names = [column.name for column in sheet.columns]
    rows = tuple({name: cell for name, cell in zip(names, row, strict=True) if cell} for row in sheet.example_rows)
    return frozenset(cell for row in rows for cell in row.values()), rows


def _header_is_good(sheet: Sheet, header: tuple[str, ...], grid: Grid, findings: ProblemList) -> bool:
    if not any(header):
        findings.fault(sheet.name, 1, "", "the first row has no column names", "Put the column names there")
        return False
    if header[0].startswith("sep="):
        what = "the first line is a note for spreadsheets, not the column names"
        findings.fault(sheet.name, 1, "", what, "Delete that line")
        return False
    good = True
    names = tuple(column.name for column in sheet.columns)
    for place, name in enumerate(header):
        if name and name in header[:place]:
            findings.fault(sheet.name, 1, name, f"the column {name} is there twice", "Delete or rename one of them")
            good = False
    for column in sheet.columns:
        if column.needed and column.name not in header:
            near = findings.meant(column.name, tuple(name for name in header if name and name not in names))
            renamed = near.replace("Did you mean", "Is it").rstrip()
            mend = f"{renamed} Name it {column.name}" if near else f"Add it: {column.meaning}"
            findings.fault(sheet.name, 1, column.name, f"the column {column.name} is missing", mend)
            good = False
    for name in dict.fromkeys(header):
        if name and name not in names:
            guess = findings.meant(name, tuple(free for free in names if free not in header))
            mend = f"{guess}Rename it if it was meant to be read; else leave it"
            findings.warn(sheet.name, 1, name[:LONGEST_SHOWN], "this column is kept but not read", mend)
    if "" in header:
        _warn_of_nameless(sheet, header, grid, findings)
    return good


def _warn_of_nameless(sheet: Sheet, header: tuple[str, ...], grid: Grid, findings: ProblemList) -> None:
    for place, name in enumerate(header):
        if not name and any(place < len(cells) and cells[place].strip() for cells in grid.rows):
            what = f"column {place + 1} has no name; it is kept but not read"
            findings.warn(sheet.name, 1, "", what, "Name it if it was meant to be read; else leave it")


def _decimal(known: list[tuple[int, Column]], grid: Grid) -> DecimalSign:
    # Between commas an unquoted cell cannot hold one, so the dot is the only decimal sign there.
    if grid.dialect.separator == "," and '"' not in grid.text:
        return "."
    places = [place for place, column in known if column.read_as in NUMERIC]
    cells = [cells[place].strip() for cells in grid.rows[1:] for place in places if place < len(cells)]
    return decimal_sign(cells, grid.dialect.separator)


def _read_row(
    sheet: Sheet,
    number: int,
    cells: list[str],
    width: int,
    plan: list[tuple[int, str, Reader]],
    findings: ProblemList,
) -> Record | None:
    if not any(cells):
        return None
    if max(map(len, cells)) > LONGEST_CELL:
        what = f"a cell is longer than {LONGEST_CELL} characters"
        findings.fault(sheet.name, number, "", what, "Shorten it, and see whether a quotation mark is missing")
        return {"row": number, "faulty": _all_of(sheet)}
    cells = [cell.strip() for cell in cells]
    if not any(cells):
        return None
    if len(cells) > width and any(cells[width:]):
        what = f"the row has {len(cells)} cells and the header {width}"
        findings.fault(sheet.name, number, "", what, _mend_ragged(cells))
        return {"row": number, "faulty": _all_of(sheet)}
    record: Record = {"row": number}
    length = len(cells)
    for place, name, read in plan:
        if place < length and (cell := cells[place]):
            if cell[0] == "'":
                cell = plain_cell(cell)
            try:
                record[name] = read(cell)
            except CellFault as fault:
                findings.fault(sheet.name, number, name, fault.what, fault.mend)
                record["faulty"] = (*record.get("faulty", ()), name)
    return record


def _all_of(sheet: Sheet) -> tuple[str, ...]:
    return tuple(column.name for column in sheet.columns)


def _key_is_faulty(sheet: Sheet, record: Record) -> bool:
    return any(name in sheet.key for name in record.get("faulty", ()))


def _mend_ragged(cells: list[str]) -> str:
    if any(before[-1:].isdigit() and after.isdigit() for before, after in pairwise(cells)):
        return 'Put a number with a decimal comma in quotation marks ("12,5") or write it with a dot'
    return "Put a cell that has the separator in it in quotation marks, or take out the cell too many"


def _how_to_fill(column: Column) -> str:
    if column.words:
        return f"Write one of: {', '.join(column.words)}"
    return f"Fill it: {column.meaning}"


def _find_doubles(sheet: Sheet, records: Iterable[Record], findings: ProblemList) -> None:
    if not sheet.key:
        return
    first: dict[tuple[Any, ...], int] = {}
    last = sheet.key[-1]
    for record in records:
        if _key_is_faulty(sheet, record):
            continue
        key = tuple(record.get(name) for name in sheet.key)
        if key in first:
            named = " of ".join(f"{name} {record.get(name, '(empty)')}" for name in reversed(sheet.key))
            what = f"{named} is already in row {first[key]}"
            other = "number" if last == "point" else "id"
            findings.fault(sheet.name, record["row"], last, what, f"Give one of the two another {other}")
        else:
            first[key] = record["row"]
