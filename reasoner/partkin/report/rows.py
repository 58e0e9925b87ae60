"""Rows of an answer as a table for people, as CSV or as JSON."""

from __future__ import annotations

import csv
import io
import json

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
        return _csv(table)
    if shape == "json":
        rows = [dict(zip(table.columns, row, strict=True)) for row in table.rows]
        return json.dumps(rows, ensure_ascii=False, indent=2, allow_nan=False) + "\n"
    return _table(table)


def _csv(table: Table) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(table.columns)
    # A text that a spreadsheet would run gets an apostrophe, as in the sheets; a number is one.
    writer.writerows([
        ["" if cell is None else safe_cell(cell) if isinstance(cell, str) else _text(cell) for cell in row]
        for row in table.rows
    ])  # fmt: skip
    return out.getvalue()


def _text(cell: Cell) -> str:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return f"{cell:.10g}" if isinstance(cell, float) else str(cell)


def _table(table: Table) -> str:
    shown = [["?" if cell is None else _short(_text(cell)) for cell in row] for row in table.rows]
    widths = [max([len(name), *(len(row[n]) for row in shown)]) for n, name in enumerate(table.columns)]
    right = [
        any(isinstance(row[n], int | float) and not isinstance(row[n], bool) for row in table.rows)
        for n in range(len(table.columns))
    ]
    lines = []
    for row in (table.columns, ["-" * width for width in widths], *shown):
        placed = zip(row, widths, right, strict=True)
        cells = (cell.rjust(width) if to_right else cell.ljust(width) for cell, width, to_right in placed)
        lines.append("  ".join(cells).rstrip())
    count = len(table.rows)
    lines.append(f"{count} row{'s' if count != 1 else ''}{', cut here' if table.cut else ''}")
    return "\n".join(lines) + "\n"


def _short(text: str) -> str:
    flat = " ".join(text.split())
    return flat if len(flat) <= WIDEST else flat[: WIDEST - 3] + "..."
