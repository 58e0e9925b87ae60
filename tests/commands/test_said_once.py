"""What is said beside an answer: how sheets are written once in one line, and files that are not there in words."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from partkin.cli.app import app
from partkin.model.problem import FaultyInput

NOTE = "written with semicolons between the cells"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    build = tmp_path / "build"
    build.mkdir()
    (build / "parts.csv").write_text("part;origin;takes_place_of\nh;host;\nd;donor;h\n", newline="")
    (build / "features.csv").write_text("part;feature;kind;across_mm\nh;F1;stud;6,5\nd;a;hole;7,5\n")
    return build


def said(*words: str) -> str:
    return CliRunner().invoke(app, list(words)).stderr


def test_how_sheets_are_written_is_said_in_one_line_and_once(folder: Path) -> None:
    first = said("check", "d", "--in", str(folder))
    assert [NOTE in line for line in first.splitlines()].count(True) == 1
    assert f"parts.csv: {NOTE}; features.csv: {NOTE}, decimal commas." in first
    assert NOTE not in said("check", "d", "--in", str(folder))
    assert NOTE not in said("positions", "d", "--in", str(folder))
    # doctor always says it, and what is written otherwise now is new.
    assert NOTE in said("doctor", str(folder))
    (folder / "parts.csv").write_text("part\torigin\ttakes_place_of\nh\thost\nd\tdonor\th\n")
    assert said("positions", "d", "--in", str(folder)).startswith("parts.csv: written with tabs")


def test_where_nothing_can_be_kept_it_is_said_each_time(folder: Path, monkeypatch) -> None:
    (folder / "blocked").write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(folder / "blocked"))
    assert NOTE in said("check", "d", "--in", str(folder)) and NOTE in said("check", "d", "--in", str(folder))


@pytest.mark.parametrize(
    "words",
    [
        ("verify", "none.json"),
        ("outline", "none.dxf", "--part", "d"),
        ("import", "none.ttl"),
        ("offers", "import", "none"),
    ],
)
def test_a_file_that_is_not_there_is_said_in_words(folder: Path, words: tuple[str, ...]) -> None:
    done = CliRunner().invoke(app, [*words, "--in", str(folder)])
    assert isinstance(done.exception, FaultyInput)
    assert f"there is no file {words[1] if words[0] != 'offers' else 'none'}" in str(done.exception)
    assert "Errno" not in str(done.exception)


def test_a_folder_for_a_file_is_said_in_words(folder: Path) -> None:
    done = CliRunner().invoke(app, ["verify", str(folder), "--in", str(folder)])
    assert isinstance(done.exception, FaultyInput) and "is not a file" in str(done.exception)


def test_a_named_query_is_asked_of_the_parts_behind_it(folder: Path) -> None:
    done = CliRunner().invoke(app, ["ask", "features", "d", "--in", str(folder), "--as", "csv"])
    assert done.exit_code == 0 and [line.split(",")[:2] for line in done.stdout.splitlines()[1:]] == [["d", "a"]]
    wrong = CliRunner().invoke(app, ["ask", "features", "x", "--in", str(folder)])
    assert isinstance(wrong.exception, FaultyInput) and "there is no part 'x'" in str(wrong.exception)


def test_listings_in_latin_1_are_read_as_sheets_are(folder: Path) -> None:
    (folder / "parts.csv").write_text("part;origin;takes_place_of\nh;host;\nd;donor;h\n")
    listing = folder.parent / "listing.csv"
    listing.write_bytes("part;price;seller;on\nd;1.250,00 EUR;Händler;28.5.2024\n".encode("latin-1"))
    done = CliRunner().invoke(app, ["offers", "import", str(listing), "--in", str(folder)])
    assert done.exit_code == 0, done
    assert "d,1250,,Händler,2024-05-28" in (folder / "offers.csv").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("parts", "first"),
    [
        ("", "No part is listed yet."),
        ("h;host;\n", "No part is a donor yet"),
        ("d;donor;\n", "Next: partkin measure-next d"),
    ],
)
def test_a_build_without_faults_is_told_where_to_begin(folder: Path, parts: str, first: str) -> None:
    (folder / "parts.csv").write_text(f"part;origin;takes_place_of\n{parts}")
    (folder / "features.csv").write_text("part;feature;kind\n")
    assert CliRunner().invoke(app, ["doctor", str(folder)]).stdout.splitlines()[-1].startswith(first)
