"""A new build folder: every sheet with its header, and rows to overwrite where they are asked for."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from partkin.model.columns import FEATURES, PARTS, SETTING_MEANINGS, SETTINGS, SHEETS
from partkin.model.problem import FaultyInput, refuse_any, refused
from partkin.sheets.changing import append_all
from partkin.sheets.dialect import Dialect, read_grid, row_text
from partkin.sheets.files import is_workbook
from partkin.sheets.findings import ProblemList
from partkin.sheets.loading import load
from partkin.sheets.own_list import Answers, take
from partkin.sheets.workbook import Tab, file_of, read_tabs, tabs_of_a_build

_SETTING_LINES = {
    "name": 'name = "my build"',
    "currency": '# currency = "EUR"',
    "labour_rate": "# labour_rate = 45",
    "confidence": "confidence = 0.95",
    "same_drawing": "# same_drawing = 0.5",
    "scatter_mm": "# scatter_mm = 0.1",
    "adapt_host": "adapt_host = false",
}


def write_new(folder: Path, example: bool = False) -> tuple[Path, ...]:
    """Write the sheets of a new build: headers alone, or with invented rows that say that they are.

    `folder`: made where it is missing. A hidden file such as .git may be in it, nothing else. `example`: write the rows
    too. Until they are overwritten they are known as examples, and not read. Returns tuple of Path: what was written,
    in sheet order.

    Raises
    ------
    FaultyInput
        The folder has something in it, or cannot be written.
    """
    shown = folder.name or folder.as_posix()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        there = sorted(path.name for path in folder.iterdir() if not path.name.startswith("."))
        if there:
            what = f"the folder is not empty: it has {there[0]} in it"
            raise refused(shown, 0, "", what, "Name a new folder, or empty this one")
        written = []
        for name, text in _texts(example).items():
            (folder / name).write_bytes(text.encode("utf-8"))
            written.append(folder / name)
        return tuple(written)
    except OSError as error:
        what = f"the folder cannot be written ({error.strerror or 'unknown reason'})"
        raise refused(shown, 0, "", what, "Name another folder") from None


class Begun(NamedTuple):
    """A new build from somebody's own file: what was written, and what was done that the file does not say."""

    written: tuple[Path, ...]
    notes: tuple[str, ...]


def write_from(folder: Path, file: Path, answers: Answers) -> Begun:
    """Write a new build from a workbook that has a tab a sheet, or from a list of holes or distances.

    `folder`: as for `write_new`. `file`: CSV, .xlsx or .ods. `answers`: what the person says of it beside.

    Raises
    ------
    FaultyInput
        With every question that is open and every fault; nothing was written.
    """
    findings = ProblemList()
    tabs = read_tabs(file, findings) if is_workbook(file) else _as_tab(file, findings)
    refuse_any(findings.sorted(warnings=False))
    if is_workbook(file) and {file_of(tab.name) for tab in tabs} & {PARTS, FEATURES}:
        return _from_a_build(folder, file, tabs)
    taken = take(tabs, answers)
    refuse_any(taken.problems)
    written = write_new(folder)
    try:
        append_all(folder, taken.rows)
    except FaultyInput:
        for path in written:
            path.unlink()
        raise
    return Begun(written, taken.notes)


def _as_tab(file: Path, findings: ProblemList) -> tuple[Tab, ...]:
    try:
        content = file.read_bytes()
    except OSError as error:
        what = f"it cannot be read ({error.strerror or 'unknown reason'})"
        findings.fault(file.name, 0, "", what, "Name a CSV file, or a workbook (.xlsx, .ods)")
        return ()
    grid = read_grid(file.name, content, findings)
    return (Tab(file.name, grid.rows, grid.dialect.separator),) if grid is not None else ()


def _from_a_build(folder: Path, file: Path, tabs: Sequence[Tab]) -> Begun:
    loaded = load(file)
    refuse_any(loaded.problems)
    contents = tabs_of_a_build(tabs, ProblemList()).contents
    written = write_new(folder)
    for name, content in contents.items():
        text = content.decode()
        if name != SETTINGS:
            text = "".join(row_text(row, Dialect()) for row in csv.reader(io.StringIO(text, newline="")))
        else:
            text = "[build]\n" + "".join(f"{line.removeprefix('build.')}\n" for line in text.splitlines() if line)
        (folder / name).write_text(text, encoding="utf-8", newline="")
    return Begun(tuple(dict.fromkeys((*written, *(folder / name for name in contents)))), ())


def _texts(example: bool) -> dict[str, str]:
    settings = "".join(f"{line}  # {SETTING_MEANINGS[key]}\n" for key, line in _SETTING_LINES.items())
    found = {SETTINGS: f"[build]\n{settings}"}
    for sheet in SHEETS:
        header = tuple(column.name for column in sheet.columns)
        rows = (header, *(sheet.example_rows if example else ()))
        found[sheet.name] = "".join(row_text(list(row), Dialect()) for row in rows)
    return found
