"""Empty cells of rows that are there, filled in the sheet's own dialect; what is stated is never changed."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path

from partkin.model.columns import BY_NAME, Sheet
from partkin.model.problem import FaultyInput, Problem
from partkin.sheets.appending import (
    MOST_TRIES,
    _all_checked,
    _dialect,
    _encoded,
    _number_cell,
    _numeric,
    _replace,
    _wider_header,
)
from partkin.sheets.dialect import Dialect, Grid, read_grid, row_text, safe_cell
from partkin.sheets.findings import Findings
from partkin.sheets.loading import read_files
from partkin.sheets.records import Record, Table, column_name
from partkin.sheets.whole import alone

Key = tuple[str, ...]


def fill(folder: Path, sheet: str, cells: Mapping[Key, Mapping[str, str]]) -> None:
    """Fill empty cells of rows, all of them or none, atomically.

    Every other row stays as it is, byte for byte. A column that the sheet lacks is added at the end of its header.

    Parameters
    ----------
    folder
        The build folder.
    sheet
        For instance `features.csv`.
    cells
        By the key of the row (the sheet's key columns, in their order), cells by column name, as text.

    Raises
    ------
    FaultyInput
        There is no such row, a cell is filled already, or filling it would bring a fault where there was none
        before; then nothing was changed.
    KeyError
        There is no such sheet.
    """
    described = BY_NAME[sheet]
    with alone(folder):
        for _ in range(MOST_TRIES):
            findings = Findings()
            contents = read_files(folder, findings)
            if contents is None or sheet not in contents:
                raise FaultyInput(findings.sorted(warnings=False) or (_fault(sheet, 0, "", "there is no such sheet"),))
            after = _filled(described, contents, cells)
            if _replace((folder / sheet).resolve(), contents[sheet], after):
                return
    raise FaultyInput((_fault(sheet, 0, "", "the sheet keeps being changed by something else"),))


def _filled(sheet: Sheet, contents: Mapping[str, bytes], cells: Mapping[Key, Mapping[str, str]]) -> bytes:
    before = Findings()
    table = _all_checked(contents, before)[sheet.name]
    grid = read_grid(sheet.name, contents[sheet.name], Findings())
    if grid is None or not table.readable:
        raise FaultyInput(tuple(one for one in before.sorted(warnings=False) if one.sheet == sheet.name))
    rows = {place: wanted for place, wanted in (_row_of(sheet, table, key, cells[key]) for key in cells)}
    written = _written(sheet, table, grid, rows)
    after = Findings()
    _all_checked({**contents, sheet.name: written}, after)
    known = {(one.sheet, one.row, one.column) for one in before.sorted(warnings=False)}
    new = tuple(one for one in after.sorted(warnings=False) if (one.sheet, one.row, one.column) not in known)
    if new:
        raise FaultyInput(new)
    return written


def _row_of(sheet: Sheet, table: Table, key: Key, wanted: Mapping[str, str]) -> tuple[int, Mapping[str, str]]:
    """The place of a row in the grid, and what is to be written there."""
    found = next((r for r in table.records if tuple(r.get(name) for name in sheet.key) == key), None)
    if found is None:
        named = " of ".join(reversed(key))
        raise FaultyInput((_fault(sheet.name, 0, sheet.key[-1], f"there is no {named}", "Add its row first"),))
    taken = tuple(name for name in wanted if _is_filled(found, name))
    if taken:
        what = f"{taken[0]} of {key[-1]} is stated already ({found.get(taken[0], 'not readable')})"
        mend = "A stated cell is never written over: mend it in the sheet by hand if it is wrong"
        raise FaultyInput((_fault(sheet.name, int(found["row"]), taken[0], what, mend),))
    return int(found["row"]) - 1, wanted


def _is_filled(record: Record, name: str) -> bool:
    return name in record or name in record.get("faulty", ())


def _written(sheet: Sheet, table: Table, grid: Grid, rows: Mapping[int, Mapping[str, str]]) -> bytes:
    dialect = _dialect(table, grid)
    header = list(table.header)
    added = list(dict.fromkeys(name for wanted in rows.values() for name in wanted if name not in header))
    numeric = _numeric(sheet)
    text = grid.text
    # From the last row up, so that the places of those before it stay.
    spans = _spans(grid)
    for place in sorted(rows, reverse=True):
        cells = [*grid.rows[place], *[""] * (len(header) + len(added) - len(grid.rows[place]))]
        for name, cell in rows[place].items():
            at = (header + added).index(column_name(name))
            cells[at] = _number_cell(cell, dialect) if name in numeric else safe_cell(cell)
        first, last = spans[place]
        text = text[:first] + _line(cells, dialect, text[first:last]) + text[last:]
    if added:
        text = _wider_header(sheet.name, Grid(grid.rows, grid.dialect, text), added)
    return _encoded(sheet.name, 0, text, dialect)


def _line(cells: list[str], dialect: Dialect, before: str) -> str:
    """A row with the line end that it had."""
    bare = before.rstrip("\r\n")
    return row_text(cells, dialect).removesuffix(dialect.line_end) + before[len(bare) :]


def _spans(grid: Grid) -> list[tuple[int, int]]:
    """Where each row of the grid begins and ends in its text."""
    lines = io.StringIO(grid.text, newline="")
    reader = csv.reader(lines, delimiter=grid.dialect.separator, strict=True)
    spans, first = [], 0
    for _ in reader:
        last = lines.tell()
        spans.append((first, last))
        first = last
    return spans


def _fault(sheet: str, row: int, column: str, what: str, mend: str = "Look at the sheet, and try again") -> Problem:
    return Problem(sheet, row, column, what, mend)
