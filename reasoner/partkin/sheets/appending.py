"""Rows added to a sheet, in the sheet's own dialect, all or nothing."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from partkin.model.columns import BY_NAME, NUMERIC, Sheet
from partkin.sheets.changing import Standing, change, refused
from partkin.sheets.dialect import Dialect, Grid, row_text, safe_cell
from partkin.sheets.number import PLAIN_NUMBER, NotANumber, parse_number
from partkin.sheets.records import SheetTable, column_name


def append(folder: Path, sheet: str, row: Mapping[str, str]) -> None:
    """Add one row to a sheet, atomically; make the sheet with its header where it is missing.

    The sheet keeps its encoding, separator, decimal sign, line ends, column order and unknown columns. Every
    other row stays as it is, byte for byte. A column that the sheet lacks is added at the end of its header.
    Texts that a spreadsheet would run as a formula get an apostrophe before them, which reading takes off.

    Parameters
    ----------
    folder
        The build folder.
    sheet
        For instance `readings.csv`.
    row
        Cells by column name, as text, numbers with a dot or a comma. Empty ones may be left out.

    Raises
    ------
    FaultyInput
        The row would bring a fault where there was none before, or the sheet cannot be read or written; then
        nothing was changed.
    KeyError
        There is no such sheet.
    """
    append_all(folder, {sheet: (row,)})


def append_all(folder: Path, rows: Mapping[str, Sequence[Mapping[str, str]]]) -> None:
    """Add rows to one or several sheets that make sense only together: all of them or none.

    Everything is checked before any sheet is written; where writing one fails, those written before it are put
    back, and where it is killed, the next command completes it. A sheet that is named with no rows is made with its
    header where it is missing. Everything else is as with `append`.
    """
    change(folder, rows, lambda standing: with_rows(standing, rows))


def with_rows(standing: Standing, rows: Mapping[str, Sequence[Mapping[str, str]]]) -> dict[str, bytes]:
    """Return the bytes of the sheets with rows added."""
    return {
        name: _written(BY_NAME[name], standing.tables[name], standing.grid_of(name), added)
        for name, added in rows.items()
        if added or name not in standing.contents
    }


def _written(sheet: Sheet, table: SheetTable, grid: Grid | None, rows: Sequence[Mapping[str, str]]) -> bytes:
    names = {column.name for column in sheet.columns}
    filled = [{column_name(name): text.strip() for name, text in row.items() if text.strip()} for row in rows]
    header = list(table.header) if grid else [column.name for column in sheet.columns]
    number = len(grid.rows) + 1 if grid else 2
    for name in (name for cells in filled for name in cells if name not in header and name not in names):
        mend = "Leave it out, or add the column by hand"
        raise refused(sheet.name, number, name, f"there is no column {name}", mend)
    added = list(dict.fromkeys(name for cells in filled for name in cells if name not in header))
    dialect = dialect_of(table, grid)
    text = grid.text if grid else row_text(header, dialect)
    if added and grid:
        text = wider_header(sheet.name, grid, added)
        header += added
    if text and not text.endswith(("\n", "\r")):
        text += dialect.line_end
    numeric = numeric_columns(sheet)
    for cells in filled:
        written = {
            name: number_cell(cell, dialect) if name in numeric else safe_cell(cell) for name, cell in cells.items()
        }
        text += row_text([written.get(name, "") for name in header], dialect)
    return encoded(sheet.name, number, text, dialect)


def dialect_of(table: SheetTable, grid: Grid | None) -> Dialect:
    """Return how rows are to be written into a sheet."""
    if grid is None:
        return Dialect()
    dialect = table.dialect
    # Semicolons come from countries of decimal commas; a dot that is there already says otherwise.
    if dialect.separator == ";" and dialect.decimal == ".":
        places = [place for place, name in enumerate(table.header) if name in numeric_columns(table.sheet)]
        if not any("." in cells[place] for cells in grid.rows[1:] for place in places if place < len(cells)):
            return replace(dialect, decimal=",")
    return dialect


def numeric_columns(sheet: Sheet) -> frozenset[str]:
    """Return the columns of a sheet that hold numbers."""
    return frozenset(column.name for column in sheet.columns if column.read_as in NUMERIC)


def number_cell(text: str, dialect: Dialect) -> str:
    """Return a number as the sheet's dialect writes it."""
    number = parse_number(text)
    if isinstance(number, NotANumber) or not PLAIN_NUMBER.fullmatch(text):
        return safe_cell(text)
    sign = "," if dialect.decimal == "," else "."
    plain = text.lstrip("+").replace(",", ".").replace(".", sign)
    # Three places behind the sign could be a thousand where the sheet leaves that open.
    if isinstance(parse_number(plain, dialect.decimal), NotANumber):
        plain += "0"
    return plain


def wider_header(sheet: str, grid: Grid, added: list[str]) -> str:
    """Return the sheet's text with columns added at the end of its first row."""
    width = len(grid.rows[0])
    for place, cells in enumerate(grid.rows):
        if len(cells) > width and any(cell.strip() for cell in cells[width:]):
            what = f"row {place + 1} has more cells than the header, so no column can be added"
            raise refused(sheet, place + 1, "", what, "Mend that row first")
    lines = io.StringIO(grid.text, newline="")
    next(csv.reader(lines, delimiter=grid.dialect.separator, strict=True))
    end = lines.tell()
    first, rest = grid.text[:end], grid.text[end:]
    bare = first.rstrip("\r\n")
    more = row_text(added, grid.dialect).removesuffix(grid.dialect.line_end)
    return bare + grid.dialect.separator + more + (first[len(bare) :] or grid.dialect.line_end) + rest


def encoded(sheet: str, row: int, text: str, dialect: Dialect) -> bytes:
    """Return the bytes of a sheet's text; `row` is blamed where a letter cannot be held."""
    try:
        return (b"\xef\xbb\xbf" if dialect.mark else b"") + text.encode(dialect.encoding)
    except UnicodeEncodeError as error:
        letter = text[error.start : error.start + 1]
        what = f'the sheet is Latin-1 and cannot hold "{letter}"'
        mend = "Save the sheet as CSV, UTF-8, or leave the letter out"
        raise refused(sheet, row, "", what, mend) from None
