"""Cells that somebody typed elsewhere, looked at before their row goes into its sheet."""

from __future__ import annotations

from collections.abc import Mapping

from partkin.model.problem import Problem
from partkin.sheets.cells import CellFault, reader_of
from partkin.sheets.columns import BY_NAME
from partkin.sheets.findings import Findings


def faults_of_cells(sheet: str, cells: Mapping[str, str | None]) -> tuple[Problem, ...]:
    """What is wrong with cells by themselves, by column name; None and blank ones are not known, which is no fault.

    Examples
    --------
    >>> [str(one) for one in faults_of_cells("readings.csv", {"on": "31.5.24", "by": None})]  # doctest: +ELLIPSIS
    ['readings.csv::on: "31.5.24" is not a date that can be read in one way only. Write ...']
    """
    found = []
    for column in BY_NAME[sheet].columns:
        text = (cells.get(column.name) or "").strip()
        if not text:
            continue
        try:
            reader_of(column, ".", Findings())(text)
        except CellFault as fault:
            found.append(Problem(sheet, 0, column.name, fault.what, fault.mend))
    return tuple(found)
