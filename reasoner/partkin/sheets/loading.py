"""A build folder, with its settings, to a build, or to every fault in it."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from partkin.model.build import Build, Settings, WorkRow
from partkin.model.columns import BY_NAME, FILES, NUMBER_SETTINGS, SETTING_MEANINGS, SETTINGS, WORK
from partkin.model.problem import Problem, nearest
from partkin.sheets.cells import GREATEST_NUMBER, LONGEST_NAME
from partkin.sheets.dialect import LARGEST_BYTES, UTF8_MARK, read_grid
from partkin.sheets.files import finish_before_reading, is_workbook
from partkin.sheets.findings import ProblemList
from partkin.sheets.records import SheetTable, read_table
from partkin.sheets.references import check_holding, check_references
from partkin.sheets.sense import check_lines, check_rows
from partkin.sheets.values import build_of
from partkin.tables.work import read_work

LARGEST_TOML_BYTES = 1024 * 1024
LEAST_CONFIDENCE, MOST_CONFIDENCE = 0.5, 1.0
LEAST_SAME, MOST_SAME = 0.01, 0.99
MOST_SCATTER_MM = 5.0
_AT_LINE = re.compile(r"\s*\(at line (\d+), column \d+\)")
_CURRENCY = re.compile(r"[A-Z]{3}", re.ASCII)


def read_settings(content: bytes, findings: ProblemList) -> Settings:
    """Read build.toml; what is wrong is noted, and the defaults stand in for it."""
    text = _decode(content, findings)
    if text is None:
        return Settings()
    try:
        toml = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = _AT_LINE.search(str(error))
        what = _AT_LINE.sub("", str(error)).rstrip(".")
        what = f"this is not TOML: {what[:1].lower()}{what[1:]}"
        row = int(line[1]) if line else text.count("\n") + 1
        findings.fault(SETTINGS, row, "", what, 'Write lines such as name = "my build" below [build]')
        return Settings()
    except (RecursionError, ValueError):
        what = "this is not TOML that can be read"
        findings.fault(SETTINGS, 0, "", what, "Write only the lines of [build]")
        return Settings()
    settings = _from_toml(toml, text, findings)
    findings.currency = settings.currency
    return settings


def _decode(content: bytes, findings: ProblemList) -> str | None:
    if len(content) > LARGEST_TOML_BYTES:
        findings.fault(SETTINGS, 0, "", "the file is larger than 1 MB", "Write only the lines of [build]")
        return None
    try:
        return content.removeprefix(UTF8_MARK).decode("utf-8")
    except UnicodeDecodeError:
        findings.fault(SETTINGS, 0, "", "this is not text in UTF-8", "Save it as UTF-8")
        return None


def _shown(key: str) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in key)[:40]


def _line_of(key: str, text: str) -> int:
    match = re.search(rf"^[ \t]*(?:build\.)?[\"']?{re.escape(key)}[\"']?[ \t]*=", text, re.MULTILINE)
    return text.count("\n", 0, match.start()) + 1 if match else 0


def _from_toml(toml: dict[str, Any], text: str, findings: ProblemList) -> Settings:
    build = toml.get("build", {})
    for key in toml:
        if key == "build":
            continue
        known = key in SETTING_MEANINGS and not isinstance(toml[key], dict)
        mend = "Put it below a line [build]" if known else "Only the lines of [build] are read"
        findings.warn(SETTINGS, _line_of(key, text), _shown(key), "this is kept but not read", mend)
    if not isinstance(build, dict):
        findings.fault(SETTINGS, _line_of("build", text), "build", "build is not a table", "Begin with a line [build]")
        return Settings()
    read: dict[str, Any] = {}
    for key, value in build.items():
        row = _line_of(key, text)
        if key not in SETTING_MEANINGS:
            near = findings.meant(key, tuple(SETTING_MEANINGS))
            mend = f"{near}These are read: {', '.join(SETTING_MEANINGS)}"
            findings.warn(SETTINGS, row, _shown(key), "this is kept but not read", mend)
        elif wrong := _wrong(key, value):
            findings.fault(SETTINGS, row, key, *wrong)
        else:
            read[key] = float(value) if key in NUMBER_SETTINGS else value
    return Settings(**read)


def _wrong(key: str, value: Any) -> tuple[str, str] | None:
    if key == "name":
        if isinstance(value, str) and value.strip() and len(value) <= LONGEST_NAME and value.isprintable():
            return None
        return "the name is not a line of text", 'Write name = "my build"'
    if key == "currency":
        if isinstance(value, str) and _CURRENCY.fullmatch(value):
            return None
        return "the currency is not three capital letters", 'Write its ISO 4217 code, such as "EUR"'
    if key == "adapt_host":
        if isinstance(value, bool):
            return None
        return "adapt_host is neither true nor false", "Write true or false, without quotation marks"
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) <= GREATEST_NUMBER:
        return f"{key} is not a number that can be used", "Write a number, without quotation marks"
    if key == "confidence" and not LEAST_CONFIDENCE < value < MOST_CONFIDENCE:
        return f"a confidence of {value:g} is not between 0.5 and 1", "Write a number such as 0.95"
    if key == "same_drawing" and not LEAST_SAME <= value <= MOST_SAME:
        return f"a same_drawing of {value:g} is not from 0.01 to 0.99", "Write a number such as 0.7"
    if key == "scatter_mm" and not 0.0 <= value <= MOST_SCATTER_MM:
        return f"a scatter_mm of {value:g} is not from 0 to 5", "Write a number such as 0.1"
    if key == "labour_rate" and value < 0.0:
        return f"a labour rate of {value:g} cannot be", "Write what an hour is worth, 0 or more"
    return None


@dataclass(frozen=True)
class Loaded:
    """What a build folder holds.

    `build`: None where there is any fault. `problems`: every fault of every sheet, by sheet, row and column.
    `warnings`: what is said on standard error, in the same order. `digests`: SHA-256 (hex) of each file that is there,
    in sheet order.
    """

    build: Build | None
    problems: tuple[Problem, ...] = ()
    warnings: tuple[Problem, ...] = ()
    digests: Mapping[str, str] = field(default_factory=dict)


def load(folder: Path) -> Loaded:
    """Read a build folder, or a workbook that has a tab a sheet.

    Nothing in it can make this raise: whatever is wrong comes back as problems, all at once; of a workbook they name
    the tab.
    """
    findings = ProblemList()
    if is_workbook(folder):
        from partkin.sheets.workbook import read_tabs, tabs_of_a_build

        tabs = read_tabs(folder, findings)
        if not tabs:
            return Loaded(None, findings.sorted(warnings=False))
        whole = tabs_of_a_build(tabs, findings)
        loaded = _loaded(whole.contents, findings)
        return replace(loaded, problems=whole.named(loaded.problems), warnings=whole.named(loaded.warnings))
    finish_before_reading(folder)
    contents = read_files(folder, findings)
    if contents is None:
        return Loaded(None, findings.sorted(warnings=False))
    return _loaded(contents, findings)


def read(contents: Mapping[str, bytes]) -> Loaded:
    """Read a build from the bytes of its sheets by name (`parts.csv`, ..., `build.toml`), as `load` does."""
    return _loaded({name: contents[name] for name in FILES if name in contents}, ProblemList())


def _loaded(contents: Mapping[str, bytes], findings: ProblemList) -> Loaded:
    settings = Settings()
    if SETTINGS in contents:
        settings = read_settings(contents[SETTINGS], findings)
    tables = read_tables(contents, findings)
    work = _own_work(contents, findings)
    build = replace(build_of(tables, settings), work=work) if findings.clean else None
    digests = {name: hashlib.sha256(content).hexdigest() for name, content in contents.items()}
    faults, warnings = findings.sorted(warnings=False), findings.sorted(warnings=True)
    return Loaded(build, faults, warnings, MappingProxyType(digests))


def _own_work(contents: Mapping[str, bytes], findings: ProblemList) -> tuple[WorkRow, ...]:
    """Read the build's own work.csv, whose rows stand before the shipped times and costs."""
    grid = read_grid(WORK, contents[WORK], findings) if WORK in contents else None
    if grid is None:
        return ()
    rows, problems = read_work(grid.rows)
    for one in problems:
        findings.fault(one.sheet, one.row, one.column, one.what, one.mend)
    return rows


def read_files(folder: Path, findings: ProblemList) -> dict[str, bytes] | None:
    """Return the bytes of every file of a build that the folder has; what cannot be read is noted.

    None, with one fault, where there is no such folder.
    """
    contents: dict[str, bytes] = {}
    try:
        there = sorted(path.name for path in folder.iterdir())
    except OSError:
        what = "this folder cannot be read" if folder.is_dir() else f"there is no folder {folder.as_posix()}"
        findings.fault(folder.name or folder.as_posix(), 0, "", what, "Make one with: partkin new FOLDER")
        return None
    for name in FILES:
        if name in there and (content := _bytes_of(folder / name, findings)) is not None:
            contents[name] = content
    free = tuple(name for name in BY_NAME if name not in there)
    for name in there:
        if name.lower().endswith(".csv") and name not in (*BY_NAME, WORK) and (meant := nearest(name, free)):
            findings.warn(name, 0, "", "this file is not read", f"Name it {meant} if it is meant to be")
    return contents


def _bytes_of(path: Path, findings: ProblemList) -> bytes | None:
    try:
        if not path.is_file():
            findings.fault(path.name, 0, "", "this is not a file", "Put a sheet of that name in its place")
            return None
        if path.stat().st_size > LARGEST_BYTES:
            what = f"the file is larger than {LARGEST_BYTES // 1024**2} MB"
            findings.fault(path.name, 0, "", what, "Split the build into several folders")
            return None
        return path.read_bytes()
    except OSError as error:
        what = f"the file cannot be read ({error.strerror or 'unknown reason'})"
        findings.fault(path.name, 0, "", what, "Close it elsewhere, or mend its permissions")
        return None


def _say_examples(tables: list[SheetTable], findings: ProblemList) -> None:
    """Say once that rows of the example are still there: nothing is judged by them."""
    if tables:
        names, rows = [table.sheet.name for table in tables], sum(len(table.examples) for table in tables)
        rest = f" and {len(names) - 1} more sheet{'s' * (len(names) > 2)}" if len(names) > 1 else ""
        what = f"{rows} rows of the example of partkin new are still in {names[0]}{rest}; they are not read"
        findings.warn(names[0], tables[0].examples[0], "", what, "Overwrite or delete them")


def read_tables(
    contents: Mapping[str, bytes], findings: ProblemList, known: Mapping[str, SheetTable] = MappingProxyType({})
) -> dict[str, SheetTable]:
    """Read every sheet into values and check them row by row and against each other.

    `known`: sheets that were read before; what is wrong within their cells is not found again.
    """
    tables: dict[str, SheetTable] = {}
    for name, sheet in BY_NAME.items():
        if name in known:
            tables[name] = known[name]
        elif name not in contents:
            tables[name] = SheetTable(sheet, whole=not sheet.must_exist)
            if sheet.must_exist and not findings.mentions(name):
                mend = "Make it; partkin new FOLDER writes every sheet for a start"
                findings.fault(name, 0, "", "the sheet is missing", mend)
        elif (grid := read_grid(name, contents[name], findings)) is None:
            tables[name] = SheetTable(sheet, whole=False, present=True, readable=False)
        else:
            tables[name] = read_table(sheet, grid, findings)
    _say_examples([table for table in tables.values() if table.examples], findings)
    for table in tables.values():
        check_rows(table, findings)
    for name in ("zones.csv", "outlines.csv"):
        check_lines(tables[name], findings)
    check_references(tables, findings)
    check_holding(tables, findings)
    return tables
