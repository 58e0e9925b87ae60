"""Cells that somebody typed elsewhere, looked at before their row goes into its sheet."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from partkin.model.columns import BY_NAME
from partkin.model.problem import Problem
from partkin.sheets.cells import CellFault, reader_of
from partkin.sheets.findings import ProblemList


def cell_value(sheet: str, column: str, text: str | None) -> Any:
    """The value of a cell that `faults_of_cells` found no fault with; None where nothing is told.

    Examples
    --------
    >>> cell_value("readings.csv", "on", "28 May 2024")
    '2024-05-28'
    """
    described = next(one for one in BY_NAME[sheet].columns if one.name == column)
    return reader_of(described, ".", ProblemList())(text.strip()) if text and text.strip() else None


def faults_of_cells(sheet: str, cells: Mapping[str, str | None]) -> tuple[Problem, ...]:
    """What is wrong with cells by themselves, by column name; None and blank ones are not known, which is no fault.

    Examples
    --------
    >>> [str(one) for one in faults_of_cells("readings.csv", {"on": "31.5.24", "by": None})]  # doctest: +ELLIPSIS
    ['readings.csv::on: "31.5.24" has a year of two digits, and may be more than one day. Write ...']
    """
    found = []
    for column in BY_NAME[sheet].columns:
        text = (cells.get(column.name) or "").strip()
        if not text:
            continue
        try:
            reader_of(column, ".", ProblemList())(text)
        except CellFault as fault:
            found.append(Problem(sheet, 0, column.name, fault.what, fault.mend))
    return tuple(found)
