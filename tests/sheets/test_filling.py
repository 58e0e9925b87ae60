"""Empty cells are filled in the sheet's own dialect, all or nothing; what is stated stays."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from partkin.model.problem import FaultyInput
from partkin.sheets.changing import fill
from partkin.sheets.loading import load
from sheets.base import BASE, contents

KEY = ("old", "o3")
SHEET = BASE["features.csv"].replace("new,a,hole", "old,o3,hole,7,,,,,6,,,,,,,,,,\nnew,a,hole")
PLACE = {"x_mm": "160.5", "y_mm": "20", "plus_minus_mm": "0.6"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, content in {**contents(), "features.csv": SHEET.encode()}.items():
        (tmp_path / name).write_bytes(content)
    return tmp_path


def test_one_row_changes_and_nothing_else(folder: Path) -> None:
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    fill(folder, "features.csv", {KEY: PLACE})
    after = {path.name: path.read_bytes() for path in folder.iterdir()}
    changed = after.pop("features.csv").decode().splitlines()
    assert after == {name: content for name, content in before.items() if name != "features.csv"}
    rows = SHEET.splitlines()
    assert [number for number, (a, b) in enumerate(zip(rows, changed, strict=True)) if a != b] == [5]
    assert changed[5] == "old,o3,hole,7,,,,,6,160.5,20,,0.6,,,,,,"
    loaded = load(folder)
    assert loaded.build is not None
    found = next(f for f in loaded.build.features if f.feature == "o3")
    assert (found.x_mm, found.y_mm, found.plus_minus_mm) == (160.5, 20.0, 0.6)


DIALECTS: list[tuple[str, Callable[[str], str], str, bytes]] = [
    ("mark", lambda text: "\ufeff" + text, "utf-8", b"160.5"),
    ("crlf", lambda text: text.replace("\n", "\r\n"), "utf-8", b"160.5"),
    ("semicolons with commas", lambda text: text.replace(",", ";").replace(".", ","), "utf-8", b"160,5"),
    ("latin-1", lambda text: text.replace("seam", "séam"), "cp1252", b"160.5"),
    ("tabs", lambda text: text.replace(",", "\t"), "utf-8", b"160.5"),
]


@pytest.mark.parametrize(("name", "written", "encoding", "cell"), DIALECTS, ids=[one[0] for one in DIALECTS])
def test_in_the_sheets_own_dialect(
    folder: Path, name: str, written: Callable[[str], str], encoding: str, cell: bytes
) -> None:
    before = written(SHEET).encode(encoding)
    (folder / "features.csv").write_bytes(before)
    fill(folder, "features.csv", {KEY: PLACE})
    after = (folder / "features.csv").read_bytes()
    assert cell in after and len(after) == len(before) + len("160.5") + len("20") + len("0.6")
    start = before.index(b"old" + after[before.index(b"old") + 3 : before.index(b"old") + 4] + b"o3")
    assert after[:start] == before[:start]
    assert after.endswith(before[before.index(b"new", start) :])
    assert load(folder).build is not None


def test_a_row_over_two_lines_is_one_row(folder: Path) -> None:
    text = SHEET.replace("axis_z\n", "axis_z,note\n").replace("F1,,,,,\n", 'F1,,,,,"first\nsecond"\n', 1)
    (folder / "features.csv").write_text(text)
    fill(folder, "features.csv", {KEY: PLACE})
    assert '"first\nsecond"' in (folder / "features.csv").read_text()
    assert ",160.5,20,,0.6," in (folder / "features.csv").read_text()


def test_a_lacking_column_is_added(folder: Path) -> None:
    narrow = "\n".join(",".join(line.split(",")[:12]) for line in SHEET.splitlines()) + "\n"
    (folder / "features.csv").write_text(narrow)
    fill(folder, "features.csv", {KEY: PLACE})
    lines = (folder / "features.csv").read_text().splitlines()
    assert lines[0].endswith(",z_mm,plus_minus_mm")
    assert lines[5].endswith("160.5,20,,0.6")
    assert load(folder).build is not None


@pytest.mark.parametrize(
    ("cells", "says"),
    [
        ({("old", "o1"): PLACE}, "x_mm of o1 is stated already (10.0)"),
        ({("old", "o9"): PLACE}, "there is no o9 of old"),
        ({KEY: {"x_mm": "far"}}, "not a number"),
        ({KEY: PLACE, ("old", "o1"): {"plus_minus_mm": "1"}}, "plus_minus_mm of o1 is stated already"),
    ],
)
def test_refused_and_unchanged(folder: Path, cells: dict, says: str) -> None:
    before = (folder / "features.csv").read_bytes()
    with pytest.raises(FaultyInput) as refused:
        fill(folder, "features.csv", cells)
    assert says in str(refused.value)
    assert (folder / "features.csv").read_bytes() == before


def test_no_folder_no_sheet(tmp_path: Path) -> None:
    with pytest.raises(FaultyInput):
        fill(tmp_path / "nowhere", "features.csv", {KEY: PLACE})
    with pytest.raises(FaultyInput):
        fill(tmp_path, "features.csv", {KEY: PLACE})
    with pytest.raises(KeyError):
        fill(tmp_path, "holes.csv", {KEY: PLACE})
