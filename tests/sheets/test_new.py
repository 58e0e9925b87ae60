"""`partkin new`: a folder that loads at once and says that its rows are invented."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from builders import append
from partkin.model.build import Build, Settings
from partkin.model.columns import COLUMNS, SHEETS
from partkin.model.problem import FaultyInput
from partkin.sheets.loading import load
from partkin.sheets.starting import write_new


def test_headers_alone_load_without_a_word(tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "build"
    written = write_new(folder)
    assert [path.name for path in written] == ["build.toml", *(sheet.name for sheet in SHEETS)]
    for name, columns in COLUMNS.items():
        assert (folder / name).read_text() == ",".join(column.name for column in columns) + "\n"
    loaded = load(folder)
    assert loaded.problems == loaded.warnings == ()
    assert loaded.build == Build(settings=Settings(name="my build"))


def test_examples_are_known_as_such_in_one_line_and_are_not_read(tmp_path: Path) -> None:
    write_new(tmp_path, example=True)
    loaded = load(tmp_path)
    assert loaded.problems == () and loaded.build is not None and loaded.build.parts == loaded.build.features == ()
    assert [str(one) for one in loaded.warnings] == [
        "models.csv:2:: 20 rows of the example of partkin new are still in models.csv and 12 more sheets; they are not "
        "read. Overwrite or delete them"
    ]


def test_examples_are_known_after_a_spreadsheet_has_saved_them_its_own_way(tmp_path: Path) -> None:
    write_new(tmp_path, example=True)
    for name in COLUMNS:
        rows = list(csv.reader((tmp_path / name).open()))
        order = list(range(len(rows[0])))[::-1]
        rows = [[cell.replace(".", ",") if cell[:1].isdigit() else cell for cell in row] for row in rows]
        lines = [";".join(row[place] for place in order) for row in rows]
        (tmp_path / name).write_text("\r\n".join(lines))
    loaded = load(tmp_path)
    assert loaded.problems == () and loaded.build is not None and loaded.build.parts == ()


def test_a_row_that_was_overwritten_counts_and_the_rest_of_the_example_does_not(tmp_path: Path) -> None:
    write_new(tmp_path, example=True)
    sheet = tmp_path / "parts.csv"
    sheet.write_text(sheet.read_text().replace("example-donor", "wing"))
    loaded = load(tmp_path)
    # The row still names a model and a host of the example.
    assert [(one.row, one.column) for one in loaded.problems] == [(3, "model"), (3, "takes_place_of")]
    text = sheet.read_text().replace("Example One", "").replace(",example-host,", ",,").replace("example-host", "frame")
    sheet.write_text(text)
    loaded = load(tmp_path)
    assert loaded.build is not None and {part.part for part in loaded.build.parts} == {"wing", "frame"}


def test_a_row_added_to_the_example_leaves_it_where_it_is(tmp_path: Path) -> None:
    write_new(tmp_path, example=True)
    before = (tmp_path / "parts.csv").read_text()
    append(tmp_path, "parts.csv", {"part": "example-donor", "origin": "donor"})
    assert (tmp_path / "parts.csv").read_text().startswith(before)
    loaded = load(tmp_path)
    assert loaded.build is not None and [part.row for part in loaded.build.parts] == [4]


def test_every_sheet_has_every_column_and_says_that_it_is_invented(tmp_path: Path) -> None:
    write_new(tmp_path, example=True)
    for name, columns in COLUMNS.items():
        lines = (tmp_path / name).read_text().splitlines()
        assert lines[0] == ",".join(column.name for column in columns)
        assert all("invented" in line.lower() or "example-" in line for line in lines[1:])
        if "note" in lines[0]:
            assert all("Invented example" in line for line in lines[1:])


def test_a_folder_with_something_in_it_is_refused(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("keep me")
    with pytest.raises(FaultyInput, match=r"not empty: it has letter\.txt in it"):
        write_new(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]


def test_a_folder_under_git_is_taken(tmp_path: Path) -> None:
    (tmp_path / ".git").mkdir()
    assert len(write_new(tmp_path)) == 1 + len(SHEETS)


def test_where_no_folder_can_be(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(FaultyInput, match="cannot be written"):
        write_new(tmp_path / "file" / "build")


def test_the_same_twice(tmp_path: Path) -> None:
    first, second = write_new(tmp_path / "a"), write_new(tmp_path / "b")
    assert [path.read_bytes() for path in first] == [path.read_bytes() for path in second]
