"""Bytes of a sheet to rows of cells, and back: encoding, separator, line ends, whatever wrote them."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, field
from typing import NamedTuple

from partkin.sheets.findings import ProblemList
from partkin.sheets.number import DecimalSign

LARGEST_BYTES = 50 * 1024 * 1024
LONGEST_CELL = 10_000
MOST_COLUMNS = 200
UTF8_MARK = b"\xef\xbb\xbf"
SEPARATOR_NAMES = {";": "semicolons", "\t": "tabs"}
OTHER_FORMATS = {
    b"PK\x03\x04": "a spreadsheet file, not CSV",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet file, not CSV",
    b"\xff\xfe": "text in UTF-16",
    b"\xfe\xff": "text in UTF-16",
    b"%PDF": "a PDF",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
}
AS_WRITTEN = "Nothing needs doing: it is read so, and rows that partkin adds are written the same way"
SAVE_AS = "Open it in a spreadsheet and save it as CSV, UTF-8"

# Also what would steer a terminal (C1 controls of ISO 6429), or turn the writing direction of what follows, so that one
# part's name reads as another's.
_NOT_TEXT = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufffe\uffff]")
_LINE_END = re.compile(r"\r\n|\n|\r")
_QUOTED = re.compile(r'"[^"]*"')
# What a spreadsheet would run when the cell is opened; an apostrophe before it makes it text.
_RUNS = re.compile(r"'*[=+\-@]")
_MADE_SAFE = re.compile(r"'+[=+\-@]")


class Dialect(NamedTuple):
    """How a sheet is written. `encoding` is utf-8 or cp1252 (Latin-1 with a few characters more)."""

    encoding: str = "utf-8"
    mark: bool = False
    separator: str = ","
    line_end: str = "\n"
    decimal: DecimalSign = "."


@dataclass(frozen=True)
class Grid:
    """The cells of a sheet. `rows[0]` is the header; a row's number in the spreadsheet is its place + 1."""

    rows: tuple[list[str], ...]
    dialect: Dialect
    text: str = field(repr=False, default="")


def read_grid(name: str, content: bytes, findings: ProblemList) -> Grid | None:
    """Read the bytes of a sheet into cells; None, with the fault noted, where they cannot be read."""
    text, encoding = _decode(name, content, findings)
    if text is None:
        return None
    if not text.strip():
        findings.fault(name, 0, "", "the sheet is empty", "Give it a row of column names")
        return None
    if bad := _NOT_TEXT.search(text):
        row = len(_LINE_END.findall(text, 0, bad.start())) + 1
        what = f"there is a character that is not text (code {ord(bad[0])})"
        findings.fault(name, row, "", what, "Delete it, or save the sheet as CSV, UTF-8, once more")
        return None
    first_end = _LINE_END.search(text)
    line_end = first_end[0] if first_end else "\n"
    first_line = _QUOTED.sub("", text[: first_end.start()] if first_end else text)
    separator = max(",;\t", key=first_line.count)
    rows = _split(name, text, separator, findings)
    if rows is None:
        return None
    dialect = Dialect(encoding, content.startswith(UTF8_MARK), separator, line_end)
    return Grid(tuple(rows), dialect, text)


def _decode(name: str, content: bytes, findings: ProblemList) -> tuple[str | None, str]:
    if len(content) > LARGEST_BYTES:
        size = f"the sheet is larger than {LARGEST_BYTES // 1024**2} MB"
        findings.fault(name, 0, "", size, "Split the build into several folders")
        return None, ""
    for start, what in OTHER_FORMATS.items():
        if content.startswith(start):
            findings.fault(name, 0, "", f"this is {what}", SAVE_AS)
            return None, ""
    if b"\x00" in content:
        findings.fault(name, 0, "", "this is not a text file (it holds zero bytes)", SAVE_AS)
        return None, ""
    marked = content.startswith(UTF8_MARK)
    try:
        return content[len(UTF8_MARK) * marked :].decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        pass
    try:
        if not marked:
            return content.decode("cp1252"), "cp1252"
    except UnicodeDecodeError:
        pass
    findings.fault(name, 0, "", "this is not text in UTF-8 or Latin-1", SAVE_AS)
    return None, ""


def _split(name: str, text: str, separator: str, findings: ProblemList) -> list[list[str]] | None:
    rows: list[list[str]] = []
    try:
        for cells in csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True):
            rows.append(cells)
            if len(cells) > MOST_COLUMNS:
                what = f"the row has {len(cells)} cells; {MOST_COLUMNS} are read at most"
                findings.fault(name, len(rows), "", what, "Delete the columns that are not needed")
                return None
    except csv.Error as error:
        row = len(rows) + 1
        if "limit" in str(error):
            what = f"a cell is longer than {LONGEST_CELL} characters"
            mend = "Shorten it, and see whether a quotation mark is missing"
        else:
            what = "a quotation mark opens a cell and is not closed at its end; the rest cannot be read"
            mend = 'Close it, or write "" for a quotation mark inside a cell that is quoted'
        findings.fault(name, row, "", what, mend)
        return None
    return rows


def say_dialect(name: str, dialect: Dialect, findings: ProblemList) -> None:
    """Note in one line how a sheet is written, where that is not plain UTF-8 with commas and dots."""
    said = []
    if dialect.separator != ",":
        said.append(f"{SEPARATOR_NAMES[dialect.separator]} between the cells")
    if dialect.decimal == ",":
        said.append("decimal commas")
    if dialect.line_end != "\n":
        said.append(f"{'CRLF' if dialect.line_end == chr(13) + chr(10) else 'CR'} line ends")
    if dialect.encoding != "utf-8":
        said.append("Latin-1 in place of UTF-8")
    if dialect.mark:
        said.append("a byte-order mark")
    if said:
        findings.warn(name, 0, "", f"written with {', '.join(said)}", AS_WRITTEN)


def plain_cell(cell: str) -> str:
    """Take off the apostrophe that keeps a spreadsheet from running a cell.

    Examples
    --------
    >>> plain_cell("'=A1"), plain_cell("'90s trim")
    ('=A1', "'90s trim")
    """
    return cell[1:] if _MADE_SAFE.match(cell) else cell


def safe_cell(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet would run; `plain_cell` takes it off again.

    Examples
    --------
    >>> safe_cell("=1+1"), safe_cell("'=1"), safe_cell("as new")
    ("'=1+1", "''=1", 'as new')
    """
    return "'" + text if _RUNS.match(text) else text


def row_text(cells: list[str], dialect: Dialect) -> str:
    """Return one row as the sheet's own dialect writes it, with its line end."""
    # Not csv.writer: before Python 3.13 it leaves a lone carriage return unquoted.
    special = (dialect.separator, '"', "\n", "\r")
    quoted = ('"' + cell.replace('"', '""') + '"' if any(sign in cell for sign in special) else cell for cell in cells)
    return dialect.separator.join(quoted) + dialect.line_end
