"""One workbook, a tab a sheet, is read as the folder of the same cells is; nothing is written into it."""

from __future__ import annotations

import csv
import datetime
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from partkin.commands.demonstration import write
from partkin.pipeline import load_build
from partkin.sheets.loading import Loaded, load
from partkin.sheets.number import PLAIN_NUMBER
from sheets.workbooks import WRITERS, Cell, Tabs

ENDINGS = tuple(WRITERS)
TEXT_COLUMNS = (
    "part", "part_number", "replaces", "feature", "note", "reading", "from", "to", "thread", "fastener", "behind",
)  # fmt: skip
SMALL: Tabs = {
    "parts": [
        ["part", "origin", "takes_place_of", "duty", "airbag"], ["frame", "host"],
        ["lid", "donor", "frame", "trim", False],
    ],
    "features": [
        ["part", "feature", "kind", "across_mm", "x_mm", "y_mm"],
        ["frame", "F1", "stud", 6, 0, 0], ["frame", "F2", "stud", 6.0, 200.5, 0],
        ["lid", "a", "hole", 7, 0, 0], ["lid", 2, "hole", "7,5", 200.5, 0],
    ],
}  # fmt: skip


def as_a_spreadsheet_has_it(column: str, cell: str) -> Cell:
    """Numbers, ticks and days as such, all else as text."""
    if column in TEXT_COLUMNS:
        return cell
    if PLAIN_NUMBER.fullmatch(cell):
        return float(cell)
    if column == "on" and cell:
        return datetime.date.fromisoformat(cell)
    return {"yes": True, "no": False}.get(cell, cell) if column in ("airbag", "available") else cell


def tabs_of(folder: Path) -> dict[str, list[list[Cell]]]:
    found: dict[str, list[list[Cell]]] = {}
    for path in sorted(folder.glob("*.csv")):
        header, *rows = csv.reader(path.open(encoding="utf-8", newline=""))
        tab = path.stem.replace("_", " ").title()
        cells = ([as_a_spreadsheet_has_it(*pair) for pair in zip(header, row, strict=True)] for row in rows)
        found[tab] = [[*header], *cells]
    lines = (folder / "build.toml").read_text().splitlines()
    settings = (line.split("#")[0].split("=") for line in lines if "=" in line)
    found["Build"] = [["setting", "value"], *([key.strip(), value.strip().strip('"')] for key, value in settings)]
    return found


@pytest.mark.parametrize("ending", ENDINGS)
def test_the_demo_as_a_workbook_is_the_same_build(ending: str, tmp_path: Path) -> None:
    write(tmp_path / "demo")
    book = WRITERS[ending](tmp_path / f"demo{ending}", tabs_of(tmp_path / "demo"))
    loaded = load(book)
    assert loaded.problems == () and loaded.build == load(tmp_path / "demo").build
    assert load_build(book) == load_build(tmp_path / "demo")


@pytest.mark.parametrize("ending", ENDINGS)
def test_commands_read_it(ending: str, tmp_path: Path, typed: Callable[[str], tuple[int, str, str]]) -> None:
    book = WRITERS[ending](tmp_path / f"b{ending}", SMALL)
    assert {f.across_mm for f in load_build(book).features_of("lid")} == {7.0, 7.5}
    code, out, err = typed(f"check lid --in {book}")
    assert code == 0 and "BOLTS ON" in out and err == ""
    assert typed(f"doctor {book}")[0] == 0
    assert typed(f"export --in {book} -o {tmp_path / 'b.ttl'}")[0] == 0


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_fault_says_tab_row_and_column(ending: str, tmp_path: Path) -> None:
    wrong = {"Parts of mine": [["x"]], "PARTS": [*SMALL["parts"], [], ["lid2", "doner"]], "features": SMALL["features"]}
    loaded = load(WRITERS[ending](tmp_path / f"b{ending}", wrong))
    assert [(one.sheet, one.row, one.column) for one in loaded.problems] == [("PARTS", 5, "origin")]
    assert [(one.sheet, one.what) for one in loaded.warnings] == [("Parts of mine", "this tab is not read")]


WRITING = (
    "record lid a 2 200.4 --unit mm --instrument caliper", "outcome lid --happened fitted", "page",
    "offers import {file}", "import {file}",
)  # fmt: skip


@pytest.mark.parametrize("command", WRITING)
def test_nothing_is_written_into_it(command: str, tmp_path: Path, typed: Callable[[str], tuple[int, str, str]]) -> None:
    book = WRITERS[".xlsx"](tmp_path / "b.xlsx", SMALL)
    before = book.read_bytes()
    file = tmp_path / ("l.csv" if "offers" in command else "l.ttl")
    if "offers" in command:
        file.write_text("option,part,price\ndonor,lid,12\n")
    else:
        assert typed(f"export --part lid --in {book} -o {file}")[0] == 0
        file.write_text(file.read_text().replace("lid", "lid-2"))
    code, _, err = typed(f"{command.format(file=file)} --in {book}")
    assert code == 2 and "a workbook is only read" in err and "partkin new FOLDER --from b.xlsx" in err
    assert book.read_bytes() == before


def test_output_never_goes_onto_it(tmp_path: Path, typed: Callable[[str], tuple[int, str, str]]) -> None:
    book = WRITERS[".ods"](tmp_path / "b.ods", SMALL)
    before = book.read_bytes()
    assert typed(f"export --in {book} -o {book}")[0] == 2
    assert book.read_bytes() == before


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04", b"part,origin\n", b"\x00" * 5000])
def test_what_is_no_workbook_is_refused_in_words(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "b.xlsx").write_bytes(content)
    loaded = load(tmp_path / "b.xlsx")
    assert loaded.build is None and len(loaded.problems) == 1 and loaded.problems[0].sheet == "b.xlsx"
    assert "Traceback" not in loaded.problems[0].what


def test_a_missing_one_is_named(tmp_path: Path) -> None:
    assert "there is no file" in load(tmp_path / "none.ods").problems[0].what


def test_one_that_unpacks_to_far_more_is_refused_unread(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "b.xlsx", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b" " * 1_000_000)
        for n in range(300):
            archive.writestr(f"xl/{n}", b" " * 1_000_000)
    assert "larger than" in load(tmp_path / "b.xlsx").problems[0].what


def test_settings_may_stand_across_or_down(tmp_path: Path) -> None:
    def with_settings(*rows: list[Cell]) -> Loaded:
        return load(WRITERS[".xlsx"](tmp_path / "b.xlsx", {**SMALL, "build": rows}))

    down = with_settings(["currency", "EUR"], ["labour_rate", 45])
    across = with_settings(["currency", "labour_rate"], ["EUR", 45])
    assert down.build is not None and across.build is not None
    assert down.build.settings == across.build.settings
    assert down.build.settings.labour_rate == 45.0
    wrong = with_settings(["currency", "EUR"], ["labour_rate", "lots"])
    assert [(one.sheet, one.row, one.column) for one in wrong.problems] == [("build", 2, "labour_rate")]


def test_own_work_times_are_read_from_a_tab_and_from_latin_1(tmp_path: Path) -> None:
    header: list[Cell] = ["do", "minutes", "cost", "workmanship_mm", "tools"]
    work = [header, ["slot", 30, 1.5, 0.3, "Rundfeile, groß"]]
    book = load_build(WRITERS[".xlsx"](tmp_path / "b.xlsx", {**SMALL, "work": work}))
    write(tmp_path / "demo")
    text = "do;minutes;cost;workmanship_mm;tools\nslot;30;1,5;0,3;Rundfeile, groß\n"
    (tmp_path / "demo" / "work.csv").write_bytes(text.encode("latin-1"))
    assert load_build(tmp_path / "demo").work == tuple(replace(row) for row in book.work)
    assert book.work[0].minutes == 30.0
