"""Rows added to a sheet, in the sheet's own dialect, all or nothing."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from partkin.model.columns import BY_NAME, NUMERIC, Sheet
from partkin.model.problem import FaultyInput, Problem
from partkin.sheets.dialect import Dialect, Grid, read_grid, row_text, safe_cell
from partkin.sheets.findings import Findings
from partkin.sheets.loading import read_files, read_tables
from partkin.sheets.number import PLAIN_NUMBER, NotANumber, parse_number
from partkin.sheets.records import Table, column_name
from partkin.sheets.settings import read_settings
from partkin.sheets.whole import alone, put_whole, together

MOST_TRIES = 5


def append(folder: Path, sheet: str, row: Mapping[str, str]) -> None:
    """Add one row to a sheet, atomically; make the sheet with its header where it is missing.

    The sheet keeps its encoding, separator, decimal sign, line ends, column order and unknown columns. Every
    other row stays as it is, byte for byte. A column that the sheet lacks is added at the end of its header.
    Texts that a spreadsheet would run as a formula get an apostrophe before them, which reading takes off.
    Rows added by another partkin at the same time wait for each other; where an editor saved the sheet in
    between, its version is the one that the row is added to.

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
    append_rows(folder, sheet, (row,))


def append_rows(folder: Path, sheet: str, rows: Sequence[Mapping[str, str]]) -> None:
    """Add rows that make sense only together, such as the corners of a zone: all of them or none.

    Everything else is as with `append`.
    """
    described = BY_NAME[sheet]
    with alone(folder):
        for _ in range(MOST_TRIES):
            findings = Findings()
            contents = read_files(folder, findings)
            target = (folder / sheet).resolve()
            if contents is None or (sheet not in contents and target.exists()):
                raise FaultyInput(findings.sorted(warnings=False))
            after = _with_rows(described, contents, rows)
            if _replace(target, contents.get(sheet), after):
                return
    what = "the sheet keeps being changed by something else"
    raise _refused(sheet, 0, "", what, "Close it there and try again")


def append_all(folder: Path, rows: Mapping[str, Sequence[Mapping[str, str]]]) -> None:
    """Add rows to several sheets that make sense only together: all of them or none.

    Everything is checked before any sheet is written; where writing one fails, those written before it are put
    back, and where it is killed, the next command completes it. A sheet that is named with no rows is made with its
    header where it is missing. Everything else is as with `append`.
    """
    with alone(folder):
        for _ in range(MOST_TRIES):
            findings = Findings()
            contents = read_files(folder, findings)
            unread = [name for name in rows if contents is None or (name not in contents and (folder / name).exists())]
            if contents is None or unread:
                raise FaultyInput(findings.sorted(warnings=False))
            after = _with_all(contents, rows)
            with together(folder, contents, after):
                if _replace_all(folder, contents, after):
                    return
    what = "the sheets keep being changed by something else"
    raise _refused(folder.name, 0, "", what, "Close them there and try again")


def _with_all(contents: Mapping[str, bytes], rows: Mapping[str, Sequence[Mapping[str, str]]]) -> dict[str, bytes]:
    """Return the bytes of every sheet that gets rows, having checked the whole build with them."""
    before = Findings()
    tables = _all_checked(contents, before)
    written = {}
    for name, added in rows.items():
        if not added and name in contents:
            continue
        grid = read_grid(name, contents[name], Findings()) if tables[name].present else None
        if tables[name].present and (grid is None or not tables[name].readable):
            raise FaultyInput(tuple(one for one in before.sorted(warnings=False) if one.sheet == name))
        written[name] = _written(BY_NAME[name], tables[name], grid, added)
    _refuse_new_faults({**contents, **written}, before)
    return written


def _refuse_new_faults(contents: Mapping[str, bytes], before: Findings) -> None:
    after = Findings()
    _all_checked(contents, after)
    known = {(one.sheet, one.row, one.column) for one in before.sorted(warnings=False)}
    new = tuple(one for one in after.sorted(warnings=False) if (one.sheet, one.row, one.column) not in known)
    if new:
        raise FaultyInput(new)


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


def _with_rows(sheet: Sheet, contents: Mapping[str, bytes], rows: Sequence[Mapping[str, str]]) -> bytes:
    """Return the bytes of the sheet with the rows, having checked the whole build with them."""
    before = Findings()
    table = _all_checked(contents, before)[sheet.name]
    grid = None
    if table.present:
        grid = read_grid(sheet.name, contents[sheet.name], Findings())
        if grid is None or not table.readable:
            raise FaultyInput(tuple(one for one in before.sorted(warnings=False) if one.sheet == sheet.name))
    written = _written(sheet, table, grid, rows)
    _refuse_new_faults({**contents, sheet.name: written}, before)
    return written


def _all_checked(contents: Mapping[str, bytes], findings: Findings) -> dict[str, Table]:
    if "build.toml" in contents:
        read_settings(contents["build.toml"], findings)
    return read_tables(contents, findings)


def _written(sheet: Sheet, table: Table, grid: Grid | None, rows: Sequence[Mapping[str, str]]) -> bytes:
    names = {column.name for column in sheet.columns}
    filled = [{column_name(name): text.strip() for name, text in row.items() if text.strip()} for row in rows]
    header = list(table.header) if grid else [column.name for column in sheet.columns]
    number = len(grid.rows) + 1 if grid else 2
    for name in (name for cells in filled for name in cells if name not in header and name not in names):
        mend = "Leave it out, or add the column by hand"
        raise _refused(sheet.name, number, name, f"there is no column {name}", mend)
    added = list(dict.fromkeys(name for cells in filled for name in cells if name not in header))
    dialect = _dialect(table, grid)
    text = grid.text if grid else row_text(header, dialect)
    if added and grid:
        text = _wider_header(sheet.name, grid, added)
        header += added
    if text and not text.endswith(("\n", "\r")):
        text += dialect.line_end
    numeric = _numeric(sheet)
    for cells in filled:
        written = {
            name: _number_cell(cell, dialect) if name in numeric else safe_cell(cell)
            for name, cell in cells.items()
        }
        text += row_text([written.get(name, "") for name in header], dialect)
    return _encoded(sheet.name, number, text, dialect)


def _dialect(table: Table, grid: Grid | None) -> Dialect:
    if grid is None:
        return Dialect()
    dialect = table.dialect
    # Semicolons come from countries of decimal commas; a dot that is there already says otherwise.
    if dialect.separator == ";" and dialect.decimal == ".":
        places = [place for place, name in enumerate(table.header) if name in _numeric(table.sheet)]
        if not any("." in cells[place] for cells in grid.rows[1:] for place in places if place < len(cells)):
            return replace(dialect, decimal=",")
    return dialect


def _numeric(sheet: Sheet) -> frozenset[str]:
    return frozenset(column.name for column in sheet.columns if column.read_as in NUMERIC)


def _number_cell(text: str, dialect: Dialect) -> str:
    number = parse_number(text)
    if isinstance(number, NotANumber) or not PLAIN_NUMBER.fullmatch(text):
        return safe_cell(text)
    sign = "," if dialect.decimal == "," else "."
    plain = text.lstrip("+").replace(",", ".").replace(".", sign)
    # Three places behind the sign could be a thousand where the sheet leaves that open.
    if isinstance(parse_number(plain, dialect.decimal), NotANumber):
        plain += "0"
    return plain


def _wider_header(sheet: str, grid: Grid, added: list[str]) -> str:
    """Return the sheet's text with columns added at the end of its first row."""
    width = len(grid.rows[0])
    for place, cells in enumerate(grid.rows):
        if len(cells) > width and any(cell.strip() for cell in cells[width:]):
            what = f"row {place + 1} has more cells than the header, so no column can be added"
            raise _refused(sheet, place + 1, "", what, "Mend that row first")
    lines = io.StringIO(grid.text, newline="")
    next(csv.reader(lines, delimiter=grid.dialect.separator, strict=True))
    end = lines.tell()
    first, rest = grid.text[:end], grid.text[end:]
    bare = first.rstrip("\r\n")
    more = row_text(added, grid.dialect).removesuffix(grid.dialect.line_end)
    return bare + grid.dialect.separator + more + (first[len(bare) :] or grid.dialect.line_end) + rest


def _encoded(sheet: str, row: int, text: str, dialect: Dialect) -> bytes:
    try:
        return (b"\xef\xbb\xbf" if dialect.mark else b"") + text.encode(dialect.encoding)
    except UnicodeEncodeError as error:
        letter = text[error.start : error.start + 1]
        what = f'the sheet is Latin-1 and cannot hold "{letter}"'
        mend = "Save the sheet as CSV, UTF-8, or leave the letter out"
        raise _refused(sheet, row, "", what, mend) from None


def _refused(sheet: str, row: int, column: str, what: str, mend: str) -> FaultyInput:
    return FaultyInput((Problem(sheet, row, column, what, mend),))


def _replace(target: Path, before: bytes | None, after: bytes) -> bool:
    """Put the new bytes in the sheet's place; False where it was changed since `before` was read."""
    try:
        return put_whole(target, after, unless=lambda: (target.read_bytes() if target.exists() else None) != before)
    except OSError as error:
        what = f"the sheet cannot be written ({error.strerror or 'unknown reason'})"
        mend = "Close it elsewhere, or mend the folder's permissions"
        raise _refused(target.name, 0, "", what, mend) from None
