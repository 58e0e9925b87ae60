"""A workbook (.xlsx or .ods): its tabs as rows of cells, and a tab a sheet as a build folder. It is only read."""

from __future__ import annotations

import csv
import datetime
import io
import json
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

from partkin.model.columns import FILES, NUMBER_SETTINGS, SETTING_MEANINGS, SETTINGS
from partkin.model.problem import Problem, nearest
from partkin.sheets.dialect import LARGEST_BYTES
from partkin.sheets.findings import ProblemList

# Unpacked; a file that claims more is refused before anything of it is unpacked.
LARGEST_UNPACKED_BYTES = 4 * LARGEST_BYTES
YES_OR_NO = {"yes": True, "true": True, "no": False, "false": False}


class Tab(NamedTuple):
    """One tab as text: numbers with a dot, days as year-month-day, ticks as yes or no; or a CSV file as it is."""

    name: str
    rows: tuple[list[str], ...]
    separator: str = ","


def read_tabs(path: Path, findings: ProblemList) -> tuple[Tab, ...]:
    """Read every tab of a workbook; none, with the fault noted, where it cannot be read."""
    what, mend = "", "Save it as .xlsx or .ods once more, without a password"
    try:
        large = path.stat().st_size > LARGEST_BYTES
        if not large:
            with zipfile.ZipFile(path) as archive:
                large = sum(entry.file_size for entry in archive.infolist()) > LARGEST_UNPACKED_BYTES
        if not large:
            return _tabs(path)
        what = f"the workbook is larger than {LARGEST_BYTES // 1024**2} MB"
    except FileNotFoundError:
        what, mend = f"there is no file {path.as_posix()}", "Name a workbook or a build folder that is there"
    except ModuleNotFoundError:
        raise
    except zipfile.BadZipFile:
        what = "this is no workbook that can be read"
    except OSError as error:
        what = f"the file cannot be read ({error.strerror or 'unknown reason'})"
    except Exception as error:  # the library's own faults share no base with each other
        what = f"this workbook cannot be read ({str(error)[:80] or type(error).__name__})"
    findings.fault(path.name, 0, "", what, mend)
    return ()


def _tabs(path: Path) -> tuple[Tab, ...]:
    from python_calamine import load_workbook

    with path.open("rb") as file:
        workbook = load_workbook(io.BytesIO(file.read()))
    return tuple(
        Tab(name, tuple([_text(cell) for cell in row] for row in _rows(workbook.get_sheet_by_name(name))))
        for name in workbook.sheet_names
    )


def _rows(sheet: Any) -> Iterable[Sequence[Any]]:
    """Rows from the first of the sheet on, so that their numbers are those that a spreadsheet shows."""
    return sheet.to_python(skip_empty_area=False) if sheet.height else ()


def _text(cell: Any) -> str:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime.datetime):
        return cell.date().isoformat() if cell.time() == datetime.time() else cell.isoformat(" ")
    return cell.isoformat() if isinstance(cell, datetime.date | datetime.time) else str(cell)


class TabsOfABuild(NamedTuple):
    """A workbook as the files of a build folder. `tab_of`: file to the tab that it came from."""

    contents: Mapping[str, bytes]
    tab_of: Mapping[str, str]

    def named(self, problems: Iterable[Problem]) -> tuple[Problem, ...]:
        """Problems with the tab in place of the file."""
        return tuple(replace(one, sheet=self.tab_of.get(one.sheet, one.sheet)) for one in problems)


def tabs_of_a_build(tabs: Sequence[Tab], findings: ProblemList) -> TabsOfABuild:
    """Take each tab for the sheet that it is called after: parts, Parts or parts.csv for parts.csv."""
    contents: dict[str, bytes] = {}
    tab_of: dict[str, str] = {}
    for tab in tabs:
        file = file_of(tab.name)
        filled = any(cell.strip() for row in tab.rows for cell in row)
        if file is None:
            if filled:
                near = nearest(tab.name, tuple(_file_stems()))
                mend = f"Name it {near} if it is meant to be" if near else f"Sheets are {', '.join(_file_stems())}"
                findings.warn(tab.name, 0, "", "this tab is not read", mend)
        elif file in contents:
            findings.fault(tab.name, 0, "", f"this tab and {tab_of[file]} are the same sheet", "Put them into one")
        elif filled or file != SETTINGS:
            contents[file] = _toml(tab) if file == SETTINGS else _csv(tab)
            tab_of[file] = tab.name
    if not contents:
        mend = "Name its tabs parts, features, ...; from a list of your own: partkin new FOLDER --from FILE"
        findings.fault(tabs[0].name, 0, "", "no tab of this workbook is called after a sheet", mend)
    return TabsOfABuild({name: contents[name] for name in FILES if name in contents}, tab_of)


def file_of(tab: str) -> str | None:
    """The file of a build folder that a tab stands for; None: none.

    Examples
    --------
    >>> file_of("Held by"), file_of("parts.csv"), file_of("Sheet1")
    ('held_by.csv', 'parts.csv', None)
    """
    stem = "_".join(tab.strip().casefold().removesuffix(".csv").removesuffix(".toml").split())
    return _file_stems().get(stem)


def _file_stems() -> dict[str, str]:
    return {name.split(".")[0]: name for name in FILES}


def _csv(tab: Tab) -> bytes:
    out = io.StringIO()
    # Quoted, so that a comma typed into a cell of text may still be a decimal one.
    csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows(tab.rows)
    return out.getvalue().encode()


def _toml(tab: Tab) -> bytes:
    """The settings, a line a row: name and value beside each other, or a row of names above a row of values."""
    rows = [[cell.strip() for cell in row] for row in tab.rows]
    across = len(rows) > 1 and sum(cell in SETTING_MEANINGS for cell in rows[0]) > 1
    pairs = [("", ""), *zip(rows[0], rows[1], strict=False)] if across else [[*row, "", ""][:2] for row in rows]
    known = [key in SETTING_MEANINGS and bool(cell) for key, cell in pairs]
    lines = [f"build.{key} = {_toml_value(key, cell)}" * yes for (key, cell), yes in zip(pairs, known, strict=True)]
    return "\n".join(lines).encode()


def _toml_value(key: str, value: str) -> str:
    if value.casefold() in YES_OR_NO and key == "adapt_host":
        return "true" if YES_OR_NO[value.casefold()] else "false"
    try:
        return repr(float(value.replace(",", "."))) if key in NUMBER_SETTINGS else json.dumps(value)
    except ValueError:
        return json.dumps(value)
