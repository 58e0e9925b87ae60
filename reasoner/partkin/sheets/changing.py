"""Sheets changed on disk, in their own dialect: rows added, cells filled, all that belongs together or nothing."""

from __future__ import annotations

import contextlib
import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path

from partkin.model.columns import BY_NAME, Sheet
from partkin.model.problem import FaultyInput, refuse_any, refused
from partkin.sheets.dialect import Dialect, Grid, read_grid, row_text, safe_cell
from partkin.sheets.files import alone, put_whole, together
from partkin.sheets.findings import ProblemList
from partkin.sheets.loading import read_files, read_settings, read_tables
from partkin.sheets.number import PLAIN_NUMBER, NotANumber, parse_number
from partkin.sheets.records import SheetTable, column_name

MOST_TRIES = 5
Cells = Mapping[str, str]
RowKey = tuple[str, ...]
RowCells = Mapping[RowKey, Cells]


class Standing:
    """The sheets as they stand before a change: their bytes, what was read of them, and the faults they have."""

    def __init__(self, contents: Mapping[str, bytes]) -> None:
        self.contents, self.faults = contents, ProblemList()
        if "build.toml" in contents:
            read_settings(contents["build.toml"], self.faults)
        self.tables = read_tables(contents, self.faults)

    def grid_of(self, sheet: str) -> Grid | None:
        """Return the cells of a sheet; None: it is not there yet. One that cannot be read is refused."""
        table: SheetTable = self.tables[sheet]
        if not table.present:
            return None
        grid = read_grid(sheet, self.contents[sheet], ProblemList())
        if grid is None or not table.readable:
            raise FaultyInput(tuple(one for one in self.faults.sorted(warnings=False) if one.sheet == sheet))
        return grid

    def refuse_new_faults(self, written: Mapping[str, bytes]) -> None:
        """Refuse new bytes that would bring a fault where there was none before."""
        after = ProblemList()
        if "build.toml" in written:
            read_settings(written["build.toml"], after)
        read_tables({**self.contents, **written}, after, {n: t for n, t in self.tables.items() if n not in written})
        known = {(one.sheet, one.row, one.column) for one in self.faults.sorted(warnings=False)}
        refuse_any(one for one in after.sorted(warnings=False) if (one.sheet, one.row, one.column) not in known)


def _change(folder: Path, cells: Mapping[str, RowCells], rows: Mapping[str, Sequence[Cells]], over: bool) -> None:
    """Fill cells and add rows, all of them or none, and only where they bring no fault.

    Changes by other partkins at the same time wait for each other; where an editor saved a sheet in between, its
    version is the one that is changed. What is killed while it writes several sheets, the next command completes.
    """
    wanted = tuple({**cells, **rows})
    with alone(folder):
        for _ in range(MOST_TRIES):
            findings = ProblemList()
            contents = read_files(folder, findings)
            if contents is None or any(name not in contents and (folder / name).exists() for name in wanted):
                raise FaultyInput(findings.sorted(warnings=False))
            standing = Standing(contents)
            written = {
                name: _written(standing, name, cells.get(name, {}), rows.get(name, ()), over) for name in wanted
                if cells.get(name) or rows.get(name) or name not in contents
            }  # fmt: skip
            standing.refuse_new_faults(written)
            try:
                with together(folder, contents, written) if len(written) > 1 else contextlib.nullcontext():
                    if _replace_all(folder, contents, written):
                        return
            except OSError as error:
                raise _unwritable(wanted[0], error) from None
    raise refused(wanted[0], 0, "", "the sheet keeps being changed by something else", "Close it there and try again")


def _replace_all(folder: Path, before: Mapping[str, bytes], after: Mapping[str, bytes]) -> bool:
    """Put all new bytes in place; where one cannot be, put the earlier ones back and return False or raise."""
    done: list[str] = []
    whole = False
    try:
        for name, content in after.items():
            if not _replace((folder / name).resolve(), before.get(name), content):
                return False
            done.append(name)
        whole = True
    finally:
        for name in () if whole else done:
            old, target = before.get(name), (folder / name).resolve()
            if old is not None:
                _replace(target, after[name], old)
            elif target.read_bytes() == after[name]:
                target.unlink()
    return True


def _replace(target: Path, before: bytes | None, after: bytes) -> bool:
    """Put the new bytes in the sheet's place; False where it was changed since `before` was read."""
    try:
        return put_whole(target, after, unless=lambda: (target.read_bytes() if target.exists() else None) != before)
    except OSError as error:
        raise _unwritable(target.name, error) from None


def _unwritable(sheet: str, error: OSError) -> FaultyInput:
    what = f"the sheet cannot be written ({error.strerror or 'unknown reason'})"
    return refused(sheet, 0, "", what, "Close it elsewhere, make room on the disk, or mend the folder's permissions")


def append_all(folder: Path, rows: Mapping[str, Sequence[Cells]]) -> None:
    """Add rows to one or several sheets that make sense only together: all of them or none.

    A sheet keeps its encoding, separator, decimal sign, line ends, column order and unknown columns. Every other row
    stays as it is, byte for byte. A column that it lacks is added at the end of its header. Texts that a spreadsheet
    would run as a formula get an apostrophe before them, which reading takes off. Everything is checked before any
    sheet is written; where writing one fails, those written before it are put back, and where it is killed, the next
    command completes it.

    `rows`: by sheet, for instance `readings.csv`: cells by column name, as text, numbers with a dot or a comma. Empty
    ones may be left out. A sheet that is missing is made with its header, be it with no rows.

    Raises
    ------
    FaultyInput
        A row would bring a fault where there was none before, or a sheet cannot be read or written; then nothing was
        changed.
    KeyError
        There is no such sheet.
    """
    _change(folder, {}, rows, over=False)


def _written(standing: Standing, name: str, cells: RowCells, rows: Sequence[Cells], over: bool) -> bytes:
    """Return the bytes of a sheet with cells filled and rows added."""
    sheet, table, grid = BY_NAME[name], standing.tables[name], standing.grid_of(name)
    if grid is None and cells:
        raise refused(name, 0, "", "there is no such sheet", "Look at the sheet, and try again")
    known, dialect = [column.name for column in sheet.columns], dialect_of(table, grid)
    header = list(table.header) if grid else known
    filled = dict(_row_of(sheet, table, key, wanted, over) for key, wanted in cells.items())
    new = [{column_name(name): text.strip() for name, text in row.items() if text.strip()} for row in rows]
    number = (len(grid.rows) + 1 if grid else 2) if rows else 0
    for strange in (column for row in new for column in row if column not in header and column not in known):
        mend = "Leave it out, or add the column by hand"
        raise refused(name, number, strange, f"there is no column {strange}", mend)
    added = list(dict.fromkeys(column for row in (*filled.values(), *new) for column in row if column not in header))
    header += added
    text = row_text(header, dialect)
    if grid:
        text = _with_filled(sheet, grid, dialect, header, filled)
        text = wider_header(name, Grid(grid.rows, grid.dialect, text), added) if added else text
    if new and not text.endswith(("\n", "\r")):
        text += dialect.line_end
    for row in new:
        text += row_text([cell_in(sheet, column, row.get(column, ""), dialect) for column in header], dialect)
    return encoded(name, number, text, dialect)


def dialect_of(table: SheetTable, grid: Grid | None) -> Dialect:
    """Return how rows are to be written into a sheet."""
    if grid is None:
        return Dialect()
    dialect = table.dialect
    # Semicolons come from countries of decimal commas; a dot that is there already says otherwise.
    if dialect.separator == ";" and dialect.decimal == ".":
        places = [place for place, name in enumerate(table.header) if name in table.sheet.numeric]
        if not any("." in cells[place] for cells in grid.rows[1:] for place in places if place < len(cells)):
            return dialect._replace(decimal=",")
    return dialect


def cell_in(sheet: Sheet, column: str, text: str, dialect: Dialect) -> str:
    """Return a cell as the sheet's dialect writes it."""
    plain_number = column in sheet.numeric and PLAIN_NUMBER.fullmatch(text)
    if not plain_number or isinstance(parse_number(text), NotANumber):
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
        raise refused(sheet, row, "", what, "Save the sheet as CSV, UTF-8, or leave the letter out") from None


def fill(folder: Path, sheet: str, cells: RowCells) -> None:
    """Fill empty cells of rows, all of them or none, atomically.

    Every other row stays as it is, byte for byte. A column that the sheet lacks is added at the end of its header.

    `sheet`: for instance `features.csv`. `cells`: by the key of the row (the sheet's key
    columns, in their order), cells by column name, as text.

    Raises
    ------
    FaultyInput
        There is no such row, a cell is filled already, or filling it would bring a fault where there was none
        before; then nothing was changed.
    KeyError
        There is no such sheet.
    """
    _change(folder, {sheet: cells}, {}, over=False)


def revise(folder: Path, cells: Mapping[str, RowCells], rows: Mapping[str, Sequence[Cells]]) -> None:
    """Write over cells that somebody was shown and said yes to, and add rows: all of it or none, atomically.

    `cells`: by sheet, as with `fill`; `rows`: by sheet, as with `append_all`.

    Raises
    ------
    FaultyInput
        There is no such row, or it would bring a fault where there was none before; then nothing was changed.
    """
    _change(folder, cells, rows, over=True)


def _row_of(sheet: Sheet, table: SheetTable, key: RowKey, wanted: Cells, over: bool) -> tuple[int, Cells]:
    """The place of a row in the grid, and what is to be written there."""
    found = next((r for r in table.records if tuple(str(r.get(name)) for name in sheet.key) == key), None)
    if found is None:
        named = " of ".join(reversed(key))
        raise refused(sheet.name, 0, sheet.key[-1], f"there is no {named}", "Add its row first")
    taken = () if over else tuple(name for name in wanted if name in found or name in found.get("faulty", ()))
    if taken:
        what = f"{taken[0]} of {key[-1]} is stated already ({found.get(taken[0], 'not readable')})"
        mend = "A stated cell is never written over: mend it in the sheet by hand if it is wrong"
        raise refused(sheet.name, int(found["row"]), taken[0], what, mend)
    return int(found["row"]) - 1, wanted


def _with_filled(sheet: Sheet, grid: Grid, dialect: Dialect, header: list[str], rows: Mapping[int, Cells]) -> str:
    text = grid.text
    spans = _spans(grid) if rows else []
    # From the last row up, so that the places of those before it stay.
    for place in sorted(rows, reverse=True):
        cells = [*grid.rows[place], *[""] * (len(header) - len(grid.rows[place]))]
        for name, cell in rows[place].items():
            cells[header.index(column_name(name))] = cell_in(sheet, name, cell, dialect)
        first, last = spans[place]
        # With the line end that the row had.
        end = text[first:last][len(text[first:last].rstrip("\r\n")) :]
        text = text[:first] + row_text(cells, dialect).removesuffix(dialect.line_end) + end + text[last:]
    return text


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
