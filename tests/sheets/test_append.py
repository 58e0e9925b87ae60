"""Rows are added in the sheet's own dialect, all or nothing."""

# ruff: noqa: E501 (one case after another)

from __future__ import annotations

import base64
import json
import os
import stat
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from builders import append
from partkin.model.build import Reading
from partkin.model.problem import FaultyInput
from partkin.sheets import changing
from partkin.sheets.changing import append_all
from partkin.sheets.files import UNFINISHED, finish_before_reading
from partkin.sheets.loading import load
from sheets.base import BASE, contents

ROW = {
    "part": "new", "reading": "r6", "quantity": "centres", "from": "a", "to": "b", "value": "300.7", "unit": "mm",
    "instrument": "tape", "by": "you", "on": "2024-06-03", "note": "once more",
}  # fmt: skip
EXPECTED = Reading(
    "new", "r6", "centres", 300.7, "mm", "a", "b", None, "tape", "you", "2024-06-03", None, "once more", row=7
)
READINGS = BASE["readings.csv"]
DOOR = [
    {"part": "new", "zone": "door", "kind": "airbag door", "point": str(n), "x_mm": x, "y_mm": y}
    for n, (x, y) in enumerate([("0", "0"), ("9", "0"), ("9", "9")])
]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, content in contents().items():
        (tmp_path / name).write_bytes(content)
    return tmp_path


def last_reading(folder: Path) -> Reading:
    loaded = load(folder)
    assert loaded.problems == ()
    assert loaded.build is not None
    return max(loaded.build.readings, key=lambda reading: reading.row)


def test_a_row_is_added_and_nothing_else_changes(folder: Path) -> None:
    append(folder, "readings.csv", ROW)
    added = "new,r6,centres,a,b,300.7,mm,,tape,you,2024-06-03,,once more\n"
    assert (folder / "readings.csv").read_bytes() == (READINGS + added).encode()
    assert last_reading(folder) == EXPECTED
    assert sorted(path.name for path in folder.iterdir()) == sorted(BASE)


DIALECTS: list[tuple[str, Callable[[str], str], str, str]] = [
    ("plain", lambda text: text, "utf-8", "300.7"),
    ("mark", lambda text: "\ufeff" + text, "utf-8", "300.7"),
    ("crlf", lambda text: text.replace("\n", "\r\n"), "utf-8", "300.7"),
    ("cr", lambda text: text.replace("\n", "\r"), "utf-8", "300.7"),
    ("semicolons with dots", lambda text: text.replace(",", ";"), "utf-8", "300.7"),
    ("semicolons with commas", lambda text: text.replace(",", ";").replace(".", ","), "utf-8", "300,7"),
    ("semicolons, whole numbers", lambda text: text.replace(",", ";").replace("0.9", "1").replace("7.1", "7").replace("4.2", "4").replace("0.5", "0"), "utf-8", "300,7"),
    ("quoted commas", lambda text: text.replace("300.9", '"300,9"').replace("7.1", '"7,1"').replace("4.2", '"4,2"').replace("300.5", '"300,5"'), "utf-8", '"300,7"'),
    ("tabs", lambda text: text.replace(",", "\t"), "utf-8", "300.7"),
    ("latin", lambda text: text.replace("me,", "Jürgen,"), "latin-1", "300.7"),
    ("euro", lambda text: text.replace("me,", "10 €,"), "cp1252", "300.7"),
    ("no last line end", lambda text: text.removesuffix("\n"), "utf-8", "300.7"),
    ("empty rows at the end", lambda text: text + ",,,,,,,,,,,,\n\n", "utf-8", "300.7"),
    ("columns turned round", lambda text: "\n".join(",".join(reversed(line.split(","))) for line in text.splitlines()) + "\n", "utf-8", "300.7"),
    ("unknown column", lambda text: "".join(f"{line},kept\n" for line in text.splitlines()), "utf-8", "300.7"),
    ("all at once", lambda text: "\ufeff" + text.replace(",", ";").replace(".", ",").replace("\n", "\r\n"), "utf-8", "300,7"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "wrote", "encoding", "number"), DIALECTS, ids=[one[0] for one in DIALECTS])
def test_the_sheet_keeps_its_dialect(
    folder: Path, name: str, wrote: Callable[[str], str], encoding: str, number: str
) -> None:
    before = wrote(READINGS).encode(encoding)
    (folder / "readings.csv").write_bytes(before)
    warnings = [one.what for one in load(folder).warnings]
    append(folder, "readings.csv", {**ROW, "note": "für später" if encoding != "utf-8" else "once more"})
    after = (folder / "readings.csv").read_bytes()
    assert after.startswith(before)
    added = after[len(before) :].decode(encoding)
    assert number in added
    end = next(end for end in ("\r\n", "\r", "\n") if end in wrote(READINGS))
    assert added.endswith(end) and added.replace(end, "") == added.strip()
    reading = last_reading(folder)
    assert (reading.value, reading.reading) == (300.7, "r6")
    if name != "semicolons, whole numbers":
        assert [one.what for one in load(folder).warnings] == warnings


def test_a_missing_sheet_is_made_with_its_header(folder: Path) -> None:
    (folder / "readings.csv").unlink()
    append(folder, "readings.csv", ROW)
    assert (folder / "readings.csv").read_text().splitlines() == [
        READINGS.splitlines()[0],
        "new,r6,centres,a,b,300.7,mm,,tape,you,2024-06-03,,once more",
    ]


def test_a_column_that_the_sheet_lacks_is_added_to_its_header(folder: Path) -> None:
    short = "part;reading;quantity;from;to;value;unit\r\nnew;r1;centres;a;b;300,9;mm\r\n"
    (folder / "readings.csv").write_text(short, newline="")
    append(folder, "readings.csv", {**ROW, "note": "a; b"})
    with (folder / "readings.csv").open(newline="") as sheet:
        assert sheet.read() == (
            "part;reading;quantity;from;to;value;unit;instrument;by;on;note\r\nnew;r1;centres;a;b;300,9;mm\r\n"
            'new;r6;centres;a;b;300,7;mm;tape;you;2024-06-03;"a; b"\r\n'
        )
    assert last_reading(folder).note == "a; b"


def test_a_column_is_not_added_over_stray_cells(folder: Path) -> None:
    """Cells beyond the header would otherwise become values of the new column."""
    (folder / "readings.csv").write_text("part,reading,quantity,value,unit\nnew,r1,mass,4,kg,stray\n")
    with pytest.raises(FaultyInput, match="has more cells than the header"):
        append(folder, "readings.csv", {**ROW, "quantity": "mass", "from": "", "to": "", "value": "4", "unit": "kg"})


def test_three_places_stay_clear_where_the_sheet_leaves_them_open(folder: Path) -> None:
    text = READINGS.replace(",", ";").replace("300.9", "300,9")
    (folder / "readings.csv").write_text(text)
    append(folder, "readings.csv", {**ROW, "value": "1.234"})
    assert (folder / "readings.csv").read_text().splitlines()[-1].split(";")[5] == "1.2340"
    assert last_reading(folder).value == 1.234


@pytest.mark.parametrize(
    "note",
    ["=1+1", "+1", "-1", "@SUM(A1)", "'=1", "''=1", "'plain", "=cmd|' /C calc'!A0", "-", "two\nlines", "a\rb", "a\r\nb",
     'say "so"', "a,b", ";", "ünï", "'", "\u00bd"],
)  # fmt: skip
def test_texts_come_back_as_they_went_in(folder: Path, note: str) -> None:
    append(folder, "readings.csv", {**ROW, "note": note})
    assert last_reading(folder).note == note
    written = (folder / "readings.csv").read_bytes().decode().removeprefix(READINGS)
    cell = written.split("2024-06-03,,", 1)[1].lstrip('"')
    assert cell[0] not in "=+-@"


def test_negative_numbers_stay_numbers(folder: Path) -> None:
    append(folder, "costs.csv", {"what": "back", "amount": "-12,5"})
    assert (folder / "costs.csv").read_text().splitlines()[-1] == ",back,,-12.5,"


REFUSED = [
    ({"value": "abc"}, "readings.csv:7:value"),
    ({"value": "1,234"}, "readings.csv:7:value"),
    ({"from": "z"}, "readings.csv:7:from"),
    ({"reading": "r1"}, "readings.csv:7:reading"),
    ({"part": "gone", "from": "", "to": "", "quantity": "mass", "unit": "kg"}, "readings.csv:7:part"),
    ({"unit": ""}, "readings.csv:7:unit"),
    ({"corrects": "r6"}, "readings.csv:7:corrects"),
    ({"note": "x\x07"}, "readings.csv:7:"),
    ({"note": "x" * 10_001}, "readings.csv:7:"),
    ({"colour": "red"}, "readings.csv:7:colour"),
]


@pytest.mark.parametrize(("change", "place"), REFUSED)
def test_a_faulty_row_is_refused_and_nothing_changes(folder: Path, change: dict[str, str], place: str) -> None:
    with pytest.raises(FaultyInput) as refused:
        append(folder, "readings.csv", {**ROW, **change})
    assert [f"{one.sheet}:{one.row}:{one.column}" for one in refused.value.problems] == [place]
    assert (folder / "readings.csv").read_text() == READINGS
    assert sorted(path.name for path in folder.iterdir()) == sorted(BASE)


def test_a_row_that_breaks_another_sheet_is_refused(folder: Path) -> None:
    """A second drawing of a part's depth makes its other features half placed."""
    row = {"part": "new", "feature": "c", "kind": "hole", "x_mm": "1", "y_mm": "1", "z_mm": "1"}
    with pytest.raises(FaultyInput, match=r"features\.csv:6:z_mm"):
        append(folder, "features.csv", row)
    assert (folder / "features.csv").read_text() == BASE["features.csv"]


def test_faults_that_were_there_before_do_not_stop_a_reading(folder: Path) -> None:
    (folder / "offers.csv").write_text(BASE["offers.csv"].replace("240", "-240"))
    (folder / "readings.csv").write_text(READINGS.replace("7.1", "7.1.1"))
    append(folder, "readings.csv", ROW)
    assert len((folder / "readings.csv").read_text().splitlines()) == 7
    assert len(load(folder).problems) == 2


@pytest.mark.parametrize("text", ["", "part,part\n", "reading\n", 'part,"reading\n', "sep=;\n"])
def test_a_sheet_that_cannot_be_read_is_not_added_to(folder: Path, text: str) -> None:
    (folder / "readings.csv").write_text(text)
    with pytest.raises(FaultyInput, match=r"^readings\.csv"):
        append(folder, "readings.csv", ROW)
    assert (folder / "readings.csv").read_text() == text


def test_what_latin_1_cannot_hold_is_refused(folder: Path) -> None:
    before = READINGS.replace("me,", "Jürgen,").encode("latin-1")
    (folder / "readings.csv").write_bytes(before)
    with pytest.raises(FaultyInput, match='cannot hold "Ω"'):
        append(folder, "readings.csv", {**ROW, "note": "5 Ω"})
    assert (folder / "readings.csv").read_bytes() == before


def test_corners_go_in_together(folder: Path) -> None:
    with pytest.raises(FaultyInput, match="has 1 corner; airbag door needs 3"):
        append(folder, "zones.csv", DOOR[0])
    assert (folder / "zones.csv").read_text() == BASE["zones.csv"]
    append_all(folder, {"zones.csv": DOOR})
    build = load(folder).build
    assert build is not None
    assert build.zones[1].corners_mm == ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0))


def test_no_such_sheet_or_folder(tmp_path: Path) -> None:
    with pytest.raises(KeyError):
        append(tmp_path, "sheet.csv", {})
    with pytest.raises(FaultyInput, match="there is no folder"):
        append(tmp_path / "nowhere", "readings.csv", ROW)


@pytest.mark.parametrize("broken", ["replace", "fsync", "open"])
def test_when_the_disk_fails_the_sheet_is_as_it_was(folder: Path, monkeypatch: pytest.MonkeyPatch, broken: str) -> None:
    def fail(*args: object, **more: object) -> int:
        raise OSError(28, "No space left on device")

    real_open = os.open
    if broken == "open":
        monkeypatch.setattr(os, "open", lambda p, f, *m: fail() if f & os.O_CREAT else real_open(p, f, *m))
    else:
        monkeypatch.setattr(os, broken, fail)
    with pytest.raises(FaultyInput, match="No space left on device"):
        append(folder, "readings.csv", ROW)
    monkeypatch.undo()
    assert (folder / "readings.csv").read_text() == READINGS
    assert sorted(path.name for path in folder.iterdir()) == sorted(BASE)


@pytest.mark.parametrize("missing", [False, True])
@pytest.mark.parametrize("fails_at", ["readings.csv", "zones.csv", UNFINISHED])
def test_of_two_sheets_none_is_changed_where_one_cannot_be(
    folder: Path, monkeypatch: pytest.MonkeyPatch, fails_at: str, missing: bool
) -> None:
    """What was written first is put back; a sheet that was not there is taken away again."""
    if missing:
        (folder / "zones.csv").unlink()
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    real = os.replace

    def fail(one: Path, other: Path) -> None:
        if Path(other).name == fails_at and not Path(one).read_bytes() == before.get(fails_at):
            raise OSError(28, "No space left on device")
        real(one, other)

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(FaultyInput, match="No space left on device"):
        append_all(folder, {"zones.csv": DOOR, "readings.csv": [ROW]})
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_a_new_sheet_that_somebody_changed_at_once_is_not_taken_away(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "zones.csv").unlink()
    real = os.replace

    def fail(one: Path, other: Path) -> None:
        if Path(other).name == "readings.csv":
            (folder / "zones.csv").write_text("by somebody else")
            raise OSError(28, "No space left on device")
        real(one, other)

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(FaultyInput, match="No space left on device"):
        append_all(folder, {"zones.csv": DOOR, "readings.csv": [ROW]})
    assert (folder / "zones.csv").read_text() == "by somebody else"


def noted(folder: Path, written: str, new: str = READINGS + "new,r9,across,a,,7,mm,,caliper,,,,\n") -> str:
    """A note of a command that was killed after it wrote zones.csv, with what readings.csv holds by now."""
    zones = base64.b64encode((folder / "zones.csv").read_bytes()).decode()
    pair = [base64.b64encode(text.encode()).decode() for text in (READINGS, new)]
    (folder / UNFINISHED).write_text(json.dumps({"zones.csv": [None, zones], "readings.csv": pair}))
    (folder / "readings.csv").write_text(written)
    return new


def test_what_a_killed_command_began_is_completed(folder: Path) -> None:
    new = noted(folder, READINGS)
    append(folder, "readings.csv", ROW)
    assert (folder / "readings.csv").read_text().startswith(new) and last_reading(folder).reading == "r6"
    assert not (folder / UNFINISHED).exists()


@pytest.mark.parametrize("note", [None, b"{", b"[]", b'{"readings.csv": 3}', b'{"readings.csv": ["?", "?"]}'])
def test_a_note_of_other_sheets_than_there_are_or_no_note_at_all_changes_none(folder: Path, note: bytes | None) -> None:
    changed = READINGS + "new,r8,across,a,,9,mm,,caliper,,,,by the editor\n"
    noted(folder, changed)
    if note is not None:
        (folder / UNFINISHED).write_bytes(note)
    finish_before_reading(folder)
    assert (folder / "readings.csv").read_text() == changed and not (folder / UNFINISHED).exists()


def test_an_editor_that_saves_in_between_loses_nothing(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    edited = READINGS + "new,r9,across,a,,7,mm,,caliper,,,,by the editor\n"
    real, calls = changing._written, []

    def slow(*args: object) -> bytes:
        after = real(*args)  # type: ignore[arg-type]
        if not calls:
            (folder / "readings.csv").write_text(edited)
        calls.append(1)
        return after

    monkeypatch.setattr(changing, "_written", slow)
    append(folder, "readings.csv", ROW)
    assert len(calls) == 2
    assert (folder / "readings.csv").read_text().startswith(edited)
    assert last_reading(folder).reading == "r6"


def test_an_editor_that_never_stops_is_given_up_on(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = changing._written

    def busy(*args: object) -> bytes:
        after = real(*args)  # type: ignore[arg-type]
        with (folder / "readings.csv").open("a") as file:
            file.write("\n")
        return after

    monkeypatch.setattr(changing, "_written", busy)
    with pytest.raises(FaultyInput, match="keeps being changed") as caught:
        append_all(folder, {"readings.csv": (ROW,), "costs.csv": ({"part": "new", "what": "fare", "amount": "3"},)})
    assert [(one.sheet, one.row) for one in caught.value.problems] == [("readings.csv", 0)]
    assert (folder / "readings.csv").read_text().startswith(READINGS)


def test_twenty_at_once_all_get_in(folder: Path) -> None:
    failed: list[BaseException] = []

    def add(number: int) -> None:
        try:
            append(folder, "costs.csv", {"what": f"thing {number}", "amount": str(number)})
        except BaseException as error:
            failed.append(error)

    threads = [threading.Thread(target=add, args=(number,)) for number in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    build = load(folder).build
    assert build is not None
    assert sorted(cost.amount for cost in build.costs[2:]) == [float(number) for number in range(20)]


def test_permissions_and_links_are_kept(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    real = tmp_path_factory.mktemp("elsewhere") / "kept.csv"
    real.write_text(READINGS)
    real.chmod(0o6751)
    (folder / "readings.csv").unlink()
    (folder / "readings.csv").symlink_to(real)
    append(folder, "readings.csv", ROW)
    assert (folder / "readings.csv").is_symlink()
    assert stat.S_IMODE(real.stat().st_mode) == 0o6751
    assert last_reading(folder) == EXPECTED
