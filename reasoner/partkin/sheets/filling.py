"""Empty cells of rows that are there, filled in the sheet's own dialect; what is stated changes by `revise` alone."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path

from partkin.model.columns import BY_NAME, Sheet
from partkin.sheets.appending import dialect_of, encoded, number_cell, numeric_columns, wider_header, with_rows
from partkin.sheets.changing import Standing, change, refused
from partkin.sheets.dialect import Dialect, Grid, row_text, safe_cell
from partkin.sheets.records import Record, SheetTable, column_name

LOOK = "Look at the sheet, and try again"
RowKey = tuple[str, ...]


def fill(folder: Path, sheet: str, cells: Mapping[RowKey, Mapping[str, str]]) -> None:
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
    change(folder, (sheet,), lambda standing: {sheet: _with_cells(standing, sheet, cells)})


def revise(
    folder: Path,
    cells: Mapping[str, Mapping[RowKey, Mapping[str, str]]],
    rows: Mapping[str, Sequence[Mapping[str, str]]],
) -> None:
    """Write over cells that somebody was shown and said yes to, and add rows: all of it or none, atomically.

    `cells`: by sheet, as with `fill`; `rows`: by sheet, as with `append_all`.

    Raises
    ------
    FaultyInput
        There is no such row, or it would bring a fault where there was none before; then nothing was changed.
    """

    def make(standing: Standing) -> dict[str, bytes]:
        written = with_rows(standing, rows)
        after = Standing({**standing.contents, **written})
        return {**written, **{sheet: _with_cells(after, sheet, wanted, True) for sheet, wanted in cells.items()}}

    change(folder, {**cells, **rows}, make)


def _with_cells(
    standing: Standing, sheet: str, cells: Mapping[RowKey, Mapping[str, str]], over: bool = False
) -> bytes:  # fmt: skip
    grid, table = standing.grid_of(sheet), standing.tables[sheet]
    if grid is None:
        raise refused(sheet, 0, "", "there is no such sheet", LOOK)
    rows = dict(_row_of(BY_NAME[sheet], table, key, wanted, over) for key, wanted in cells.items())
    return _written(BY_NAME[sheet], table, grid, rows)


def _row_of(
    sheet: Sheet, table: SheetTable, key: RowKey, wanted: Mapping[str, str], over: bool
) -> tuple[int, Mapping[str, str]]:
    """The place of a row in the grid, and what is to be written there."""
    found = next((r for r in table.records if tuple(str(r.get(name)) for name in sheet.key) == key), None)
    if found is None:
        named = " of ".join(reversed(key))
        raise refused(sheet.name, 0, sheet.key[-1], f"there is no {named}", "Add its row first")
    taken = () if over else tuple(name for name in wanted if _is_filled(found, name))
    if taken:
        what = f"{taken[0]} of {key[-1]} is stated already ({found.get(taken[0], 'not readable')})"
        mend = "A stated cell is never written over: mend it in the sheet by hand if it is wrong"
        raise refused(sheet.name, int(found["row"]), taken[0], what, mend)
    return int(found["row"]) - 1, wanted


def _is_filled(record: Record, name: str) -> bool:
    return name in record or name in record.get("faulty", ())


def _written(sheet: Sheet, table: SheetTable, grid: Grid, rows: Mapping[int, Mapping[str, str]]) -> bytes:
    dialect = dialect_of(table, grid)
    header = list(table.header)
    added = list(dict.fromkeys(name for wanted in rows.values() for name in wanted if name not in header))
    numeric = numeric_columns(sheet)
    text = grid.text
    # From the last row up, so that the places of those before it stay.
    spans = _spans(grid)
    for place in sorted(rows, reverse=True):
        cells = [*grid.rows[place], *[""] * (len(header) + len(added) - len(grid.rows[place]))]
        for name, cell in rows[place].items():
            at = (header + added).index(column_name(name))
            cells[at] = number_cell(cell, dialect) if name in numeric else safe_cell(cell)
        first, last = spans[place]
        text = text[:first] + _line(cells, dialect, text[first:last]) + text[last:]
    if added:
        text = wider_header(sheet.name, Grid(grid.rows, grid.dialect, text), added)
    return encoded(sheet.name, 0, text, dialect)


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
