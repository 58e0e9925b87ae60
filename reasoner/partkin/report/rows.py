"""Rows of an answer as a table for people, as CSV or as JSON."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence

from partkin.model.known import Cell, Table
from partkin.sheets.dialect import safe_cell

WIDEST = 60


def rows_text(table: Table, shape: str) -> str:
    """Write a table as `table`, `csv` or `json`, ending in a newline.

    Examples
    --------
    >>> print(rows_text(Table(("part", "across_mm"), (("top", 7.0), ("side", None))), "table"), end="")
    part  across_mm
    ----  ---------
    top           7
    side          ?
    2 rows
    """
    if shape == "csv":
        return csv_text(table.columns, (map(_cell, row) for row in table.rows))
    if shape == "json":
        rows = [dict(zip(table.columns, row, strict=True)) for row in table.rows]
        return json.dumps(rows, ensure_ascii=False, indent=2, allow_nan=False) + "\n"
    return _table(table)


def csv_text(head: Sequence[str], rows: Iterable[Iterable[str]]) -> str:
    """Write cells as CSV for a spreadsheet."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(rows)
    return out.getvalue()


def _cell(cell: Cell) -> str:
    # A text that a spreadsheet would run gets an apostrophe, as in the sheets; a number is one.
    return "" if cell is None else safe_cell(cell) if isinstance(cell, str) else _text(cell)


def _text(cell: Cell) -> str:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return f"{cell:.10g}" if isinstance(cell, float) else str(cell)


def _table(table: Table) -> str:
    shown = [["?" if cell is None else _short(_text(cell)) for cell in row] for row in table.rows]
    right = [
        any(isinstance(row[n], int | float) and not isinstance(row[n], bool) for row in table.rows)
        for n in range(len(table.columns))
    ]
    count = len(table.rows)
    total = f"{count} row{'s' if count != 1 else ''}{', cut here' if table.cut else ''}"
    return "\n".join([*table_lines(table.columns, shown, right), total]) + "\n"


def table_lines(head: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[bool]) -> list[str]:
    """Lay cells out as lines of a table; columns that are `right` stand to the right."""
    widths = [max(len(row[n]) for row in (head, *rows)) for n in range(len(head))]
    lines = []
    for row in (head, ["-" * width for width in widths], *rows):
        placed = zip(row, widths, right, strict=True)
        cells = (cell.rjust(width) if to_right else cell.ljust(width) for cell, width, to_right in placed)
        lines.append("  ".join(cells).rstrip())
    return lines


def _short(text: str) -> str:
    flat = " ".join(text.split())
    return flat if len(flat) <= WIDEST else flat[: WIDEST - 3] + "..."
