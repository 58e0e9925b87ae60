"""`partkin new`: a folder that loads at once and says that its rows are invented."""



from __future__ import annotations

from pathlib import Path

import pytest

from partkin.model.problem import FaultyInput
from partkin.sheets import COLUMNS, SHEETS, load, write_new


def test_it_loads_without_a_word(tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "build"
    written = write_new(folder)
    assert [path.name for path in written] == ["build.toml", *(sheet.name for sheet in SHEETS)]
    loaded = load(folder)
    assert loaded.problems == loaded.warnings == ()
    assert loaded.build is not None
    for rows in (
        loaded.build.models, loaded.build.parts, loaded.build.features, loaded.build.readings, loaded.build.offers,
        loaded.build.costs, loaded.build.neighbours, loaded.build.zones, loaded.build.outlines,
        loaded.build.connectors, loaded.build.outcomes, loaded.build.holdings,
        loaded.build.looks,
    ):  # fmt: skip
        assert rows


def test_every_sheet_has_every_column_and_says_that_it_is_invented(tmp_path: Path) -> None:
    write_new(tmp_path)
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
