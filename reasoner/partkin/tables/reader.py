"""The one reader of data/tables: each row a value of a dataclass, each cell by its field's type."""

from __future__ import annotations

import csv
from collections.abc import Callable
from typing import Any, TypeVar, get_type_hints

from partkin.tables.shipped import shipped

Row = TypeVar("Row")
CELLS: dict[Any, Callable[[str], Any]] = {
    str: str,
    int: int,
    float: float,
    float | None: lambda cell: float(cell) if cell else None,
    bool: lambda cell: cell == "yes",
    tuple[str, ...]: lambda cell: tuple(cell.split(";")) if cell else (),
}


def rows_of(name: str) -> list[dict[str, str]]:
    """Return the rows of one sheet of data/tables, each source with how it was checked."""
    with (shipped("data") / "tables" / name).open(encoding="utf-8", newline="") as sheet:
        rows = list(csv.DictReader(sheet))
    for row in rows:
        if row.get("check"):
            row["source"] += f"; {row['check']}"
    return rows


def read(name: str, row_type: type[Row]) -> tuple[Row, ...]:
    """Return the rows of one sheet of data/tables; a field that has no column keeps its default.

    Parameters
    ----------
    name
    row_type
        A dataclass. Its fields bear the names of columns and types of CELLS.

    Raises
    ------
    TypeError
        A field without a column has no default.
    """
    cells = {field: CELLS[kind] for field, kind in get_type_hints(row_type).items()}
    return tuple(
        row_type(**{field: cells[field](cell) for field, cell in row.items() if field in cells})
        for row in rows_of(name)
    )


def values_of(name: str) -> tuple[tuple[str, float], ...]:
    """Return what a sheet of one number a row says: its first column, and its `value`."""
    return tuple((next(iter(row.values())), float(row["value"])) for row in rows_of(name))
