"""Output never takes the place of what a build is read from, whatever the place is called."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
import rdflib
from PIL import Image

from partkin.commands.demonstration import write
from partkin.model.columns import COLUMNS
from partkin.model.problem import FaultyInput
from partkin.sheets import files

Typed = Callable[..., tuple[int, str, str]]
SHEETS = ("build.toml", "work.csv", *COLUMNS, "READINGS.CSV", "../demo/parts.csv", "./zones.csv")
WRITING = (
    "report -o {to}", "export -o {to}", "export --part top-dask -o {to}", "strip top-velt --drawing {to}",
)  # fmt: skip


@pytest.fixture
def demo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    write(tmp_path / "demo")
    monkeypatch.chdir(tmp_path)
    return tmp_path / "demo"


def kept(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("command", WRITING)
def test_no_command_writes_onto_a_sheet(command: str, demo: Path, typed: Typed) -> None:
    before = kept(demo)
    code, _, told = typed(command.format(to="demo/readings.csv") + " --in demo")
    assert code == 2 and "readings.csv: the build is read from it" in told and "another name" in told
    assert kept(demo) == before


@pytest.mark.parametrize("name", SHEETS)
def test_nothing_is_written_by_the_name_of_a_sheet_there_or_not(name: str, demo: Path, typed: Typed) -> None:
    (demo / "looks.csv").unlink(missing_ok=True)
    before = kept(demo)
    assert typed(f"export -o demo/{name} --in demo")[0] == 2
    assert kept(demo) == before


def test_links_to_a_sheet_and_sheets_that_are_links_are_safe(demo: Path, typed: Typed) -> None:
    (demo.parent / "out.ttl").symlink_to(demo / "parts.csv")
    shared = demo.parent / "shared.txt"
    shutil.move(demo / "offers.csv", shared)
    (demo / "offers.csv").symlink_to(shared)
    os.link(demo / "costs.csv", demo.parent / "hard.ttl")
    before = kept(demo)
    for to in ("out.ttl", "shared.txt", "demo/offers.csv", "hard.ttl"):
        assert typed(f"export -o {to} --in demo")[0] == 2
    assert kept(demo) == before


def test_a_sheet_of_another_build_is_safe_too(demo: Path, typed: Typed) -> None:
    write(demo.parent / "other")
    before = kept(demo.parent / "other")
    assert typed("export -o other/parts.csv --in demo")[0] == 2
    assert kept(demo.parent / "other") == before


def test_photographs_are_safe_and_pictures_of_our_own_may_be_written_again(demo: Path, typed: Typed) -> None:
    (demo / "photos").mkdir()
    for name in ("photos/top.png", "front.png"):
        Image.new("RGB", (8, 8)).save(demo / name)
    before = kept(demo)
    for to in ("demo/photos/top.png", "demo/front.png", "demo/photos/new.png", "demo/photos/new.svg"):
        assert typed(f"plot pattern top-dask -o {to} --in demo")[0] == 2
    assert kept(demo) == before
    for _ in range(2):
        assert typed("plot pattern top-dask -o demo/own.png --in demo")[0] == 0


@pytest.mark.parametrize("to", ["out.csv", "demo/out.svg", "readings.csv"])
def test_other_places_are_written(to: str, demo: Path, typed: Typed) -> None:
    assert typed(f"export -o {to} --in demo")[0] == 0
    assert rdflib.Graph().parse(demo.parent / to, format="turtle")


def test_a_folder_is_no_place_for_a_file(demo: Path, typed: Typed) -> None:
    assert typed("export -o demo --in demo")[0] == 2
    with pytest.raises(FaultyInput, match="this is a folder") as caught:
        files.put(demo, b"")
    assert [(one.sheet, one.row) for one in caught.value.problems] == [("demo", 0)]


def test_only_outputs_writes_files_for_people() -> None:
    """Whoever writes goes by the one place that refuses: these are all who call the unguarded one, and why."""
    package = Path(files.__file__).parent.parent
    callers = {path for path in package.rglob("*.py") if "files.put(" in path.read_text(encoding="utf-8")}
    assert {path.relative_to(package).as_posix() for path in callers} == {
        "commands/exchanging.py",
        "page/photo_marks.py",
    }


def test_an_output_is_written_beside_its_place_and_never_through_a_link_that_waits_there(
    demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A report written in place would be half a report while it is written; it is on the disk before it is shown."""
    theirs, to, seen = demo / "theirs.txt", demo / "report.html", []
    theirs.write_text("theirs")
    (demo / ".report.html.part").symlink_to(theirs)
    to.write_text("earlier")
    real = os.fsync

    def synced(handle: int) -> None:
        seen.append(to.read_text())
        real(handle)

    monkeypatch.setattr(os, "fsync", synced)
    files.write_text(to, "later", demo)
    assert (seen[0], to.read_text(), theirs.read_text()) == ("earlier", "later", "theirs")
    assert not list(demo.glob(".report.html.*.part"))
