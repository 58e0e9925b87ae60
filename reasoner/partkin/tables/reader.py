"""What travels with the program and how it is read, and what is kept in the user's cache folder."""

from __future__ import annotations

import csv
import os
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple, TypeVar, get_type_hints


@cache
def shipped(folder: str) -> Path:
    """The folder `ontology` or `data` as it travels with the program.

    Examples
    --------
    >>> (shipped("data") / "tables").is_dir()
    True
    """
    here = Path(__file__).resolve().parents[1]
    for root in (here / "_shipped", here.parent.parent):
        if (root / folder).is_dir():
            return root / folder
    raise FileNotFoundError(f"partkin was installed without its folder {folder!r}")


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


@cache
def _read(name: str, row_type: Any) -> tuple[Any, ...]:
    cells = {field: CELLS[kind] for field, kind in get_type_hints(row_type).items()}
    return tuple(
        row_type(**{field: cells[field](cell) for field, cell in row.items() if field in cells})
        for row in rows_of(name)
    )


def read(name: str, row_type: Callable[..., Row]) -> tuple[Row, ...]:
    """Return the rows of one sheet of data/tables; a field that has no column keeps its default.

    `row_type`: a named tuple or dataclass whose fields bear the names of columns and types of CELLS.

    Raises
    ------
    TypeError
        A field without a column has no default.
    """
    return _read(name, row_type)


@cache
def _by_first(name: str, row_type: Any) -> Mapping[Any, Any]:
    first = next(iter(get_type_hints(row_type)))
    return MappingProxyType({getattr(row, first): row for row in _read(name, row_type)})


def by_first(name: str, row_type: Callable[..., Row]) -> Mapping[Any, Row]:
    """Return the rows of one sheet of data/tables by what stands in their first field, in table order."""
    return _by_first(name, row_type)


@cache
def values_of(name: str) -> tuple[tuple[str, float], ...]:
    """Return what a sheet of one number a row says: its first column, and its `value`."""
    return tuple((next(iter(row.values())), float(row["value"])) for row in rows_of(name))


def cache_file(name: str) -> Path | None:
    """Return where a file of that name is kept; None where no home folder can be told."""
    home = os.environ.get("XDG_CACHE_HOME") or ""
    try:
        # The specification says: a relative path is ignored.
        folder = Path(home) if home and Path(home).is_absolute() else Path.home() / ".cache"
    except RuntimeError:
        return None
    return folder / "partkin" / name


def keep(file: Path, text: str) -> None:
    """Write a file of the cache whole; a cache that cannot be written is done without."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        part = file.with_suffix(f".{os.getpid()}.part")
        part.write_text(text, encoding="utf-8")
        part.replace(file)
    except OSError:
        return


class ScreenWord(NamedTuple):
    """A word of text, report and page, in a line of its own."""

    word: str
    means: str
    source: str


def screen_words() -> tuple[ScreenWord, ...]:
    """Return data/tables/words.csv, the verdicts first."""
    return read("words.csv", ScreenWord)
