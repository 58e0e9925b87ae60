"""What a folder's sheets say, in whatever way they were written."""

# ruff: noqa: E501 (one case after another)

from __future__ import annotations

import hashlib
import sys
import time
from pathlib import Path
from subprocess import run

import pytest

from partkin.model.build import Feature, Holding, Outline, Part, Reading, Zone
from partkin.model.columns import COLUMNS, SHEETS
from partkin.sheets.loading import load, read
from partkin.tables.reader import shipped
from sheets.base import BASE, contents, places, read_spoiled, warned


def write(folder: Path, files: dict[str, bytes]) -> Path:
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder


def test_every_value(tmp_path: Path) -> None:
    loaded = load(write(tmp_path, contents()))
    build = loaded.build
    assert build is not None
    assert (build.settings.name, build.settings.currency, build.settings.labour_rate) == ("invented", "EUR", 40.0)
    assert build.part("new") == Part(
        "new", "top", "two", "PN-2", ("PN-1", "PN-0"), "donor", "frame", "dash", None, "left", "inside", "trim",
        True, None, "plastic", 2.5, 4.2, "grey", 1.5, False, "invented", row=4,
    )  # fmt: skip
    assert build.features[1] == Feature(
        "frame", "F2", "captive nut", float_mm=1.5, thread="M6x1", x_mm=300.0, y_mm=0.0, plus_minus_mm=0.5,
        need="must", axis=(0.0, 0.0, 1.0), row=3,
    )  # fmt: skip
    assert build.readings[4] == Reading(
        "new", "r5", "centres", 300.5, "mm", "a", "b", 1.0, "tape", "me", "2024-06-01", "r1", "invented", row=6
    )
    assert build.zones == (
        Zone("new", "box", "keep clear", ((0.0, 50.0), (10.0, 50.0), (10.0, 60.0)), row=4),
        Zone("new", "seam", "tear seam", ((100.0, 20.0), (200.0, 20.0)), row=2),
    )
    assert build.outlines == (
        Outline("new", "edge", "edge", ((-10.0, -10.0), (310.0, -10.0), (310.0, 90.0), (-10.0, 90.0)), row=2),
    )
    assert build.holdings[1] == Holding(
        "old", "frame", "clip-1", "clip", 6, None, "trim tool", 1.0, (), "cabin", ("heavy", "glass"), False, None,
        True, "invented", row=3,
    )  # fmt: skip
    assert build.holdings[2].behind == (("old",), ("bolt-1", "clip-1"))
    assert (build.offers[1].available, build.offers[0].available) == (None, True)
    assert build.costs[1].amount == -3.5
    assert (build.outcomes[0].chance_then, build.outcomes[0].verdict_then) == (0.97, "bolts on")
    assert build.connectors[0].ways == 4
    assert build.neighbours[0].gap_max_mm == 8.0


def test_digests_are_of_the_bytes(tmp_path: Path) -> None:
    files = contents()
    loaded = load(write(tmp_path, files))
    assert dict(loaded.digests) == {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}
    assert list(loaded.digests) == ["build.toml", *(sheet.name for sheet in SHEETS)]


def test_points_are_taken_in_the_order_of_their_numbers() -> None:
    build = read_spoiled("zones.csv", {(4, "point"): "30", (5, "point"): "20", (6, "point"): "10"}).build
    assert build is not None
    assert build.zones[0].corners_mm == ((10.0, 60.0), (10.0, 50.0), (0.0, 50.0))


def test_units_in_cells() -> None:
    build = read_spoiled(
        "features.csv", {(6, "across_mm"): "1/4 in", (7, "x_mm"): "30 cm", (7, "length_mm"): '1/2"'}
    ).build
    assert build is not None
    assert (build.features[2].across_mm, build.features[3].x_mm, build.features[3].length_mm) == (6.35, 300.0, 12.7)
    build = read_spoiled("parts.csv", {(4, "mass_kg"): "10 lb"}).build
    assert build is not None
    assert build.parts[2].mass_kg == 4.5359237
    build = read_spoiled("readings.csv", {(2, "value"): "11 7/8 in", (2, "unit"): "Inches"}).build
    assert build is not None
    assert (build.readings[0].value, build.readings[0].unit) == (11.875, "in")


def test_cells_are_stripped_and_words_read_in_any_case() -> None:
    build = read_spoiled(
        "features.csv", {(6, "kind"): "  Hole ", (7, "kind"): "SLOT", (3, "kind"): "Captive  Nut"}
    ).build
    assert build is not None
    assert [feature.kind for feature in build.features][4:] == ["hole", "slot"]
    assert build.features[1].kind == "captive nut"


def test_a_time_behind_a_day_is_left_off() -> None:
    build = read_spoiled("readings.csv", {(2, "on"): "2024-05-31T10:30:00+02:00"}).build
    assert build is not None
    assert build.readings[0].on == "2024-05-31"


def test_cells_that_a_spreadsheet_would_run_are_text() -> None:
    loaded = read_spoiled("parts.csv", {(4, "note"): "=1+1", (3, "note"): "'@x", (2, "note"): "'90s carrier"})
    assert loaded.build is not None
    assert [loaded.build.part(name).note for name in ("frame", "old", "new")] == ["'90s carrier", "@x", "=1+1"]


def test_an_original_may_be_what_a_donor_takes_the_place_of() -> None:
    loaded = read_spoiled("parts.csv", {(4, "takes_place_of"): "old"})
    assert loaded.problems == ()
    # Its fixings are the original's own, or the host's.
    loaded = read(
        contents(
            {
                "parts.csv": BASE["parts.csv"].replace("donor,frame,", "donor,old,"),
                "features.csv": BASE["features.csv"].replace(",,F2,should,seam", ",,o2,should,seam"),
            }
        )
    )
    assert loaded.problems == ()


def test_a_host_and_an_original_need_not_exist() -> None:
    parts = "part,origin\nx,donor\ny,\n"
    features = "part,feature,kind,x_mm,y_mm\nx,a,hole,0,0\n"
    assert read({"parts.csv": parts.encode(), "features.csv": features.encode()}).problems == ()


def test_columns_may_stand_in_any_order_and_unknown_ones_are_warned_about() -> None:
    sheet = "colour, Thickness mm ,PART,Origin,\nred,2,x,Donor,\n"
    loaded = read({"parts.csv": sheet.encode(), "features.csv": b"part,feature,kind\n"})
    assert loaded.problems == ()
    assert warned(loaded) == ["parts.csv:1:colour"]
    assert loaded.build is not None
    assert loaded.build.parts == (Part("x", origin="donor", thickness_mm=2.0, row=2),)


def test_a_nameless_column_with_something_in_it_is_warned_about() -> None:
    loaded = read({"parts.csv": b"part,,\nx,stray,\n", "features.csv": b"part,feature,kind\n"})
    assert loaded.problems == ()
    assert [str(one) for one in loaded.warnings] == [
        "parts.csv:1:: column 2 has no name; it is kept but not read. Name it if it was meant to be read; else leave it"
    ]


def test_blank_rows_count_and_say_nothing() -> None:
    sheet = "part,origin\n\n,\nx,donor\n  ,\ny,doner\n"
    assert places(read({"parts.csv": sheet.encode(), "features.csv": b"part,feature,kind\n"})) == ["parts.csv:6:origin"]


def test_short_rows_and_trailing_separators_are_no_fault() -> None:
    loaded = read({"parts.csv": b"part,origin,note\nx\ny,donor,,,,\n", "features.csv": b"part,feature,kind\n"})
    assert loaded.problems == ()


GERMAN = "part;feature;kind;across_mm;x_mm;y_mm\r\nnew;a;hole;6,5;1,234;0\r\n"

DIALECTS = [
    ("mark", "\ufeff" + BASE["costs.csv"], "utf-8", ["byte-order mark"]),
    ("crlf", BASE["costs.csv"].replace("\n", "\r\n"), "utf-8", ["CRLF"]),
    ("cr", BASE["costs.csv"].replace("\n", "\r"), "utf-8", ["CR line ends"]),
    ("semicolons", BASE["costs.csv"].replace(",", ";"), "utf-8", ["semicolons"]),
    ("tabs", BASE["costs.csv"].replace(",", "\t"), "utf-8", ["tabs"]),
    ("comma", BASE["costs.csv"].replace(",", ";").replace("3.5", "3,5"), "utf-8", ["semicolons", "decimal commas"]),
    ("quoted comma", BASE["costs.csv"].replace("3.5", "3,5").replace("3,5", '"3,5"').replace('-"', '"-'), "utf-8", ["decimal commas"]),
    ("latin", BASE["costs.csv"].replace("clips sent", "Clips für Tür"), "latin-1", ["Latin-1"]),
]  # fmt: skip


@pytest.mark.parametrize(("name", "text", "encoding", "said"), DIALECTS, ids=[one[0] for one in DIALECTS])
def test_dialects_are_read_and_said_once(name: str, text: str, encoding: str, said: list[str]) -> None:
    loaded = read(contents({"costs.csv": text.encode(encoding)}))
    assert loaded.problems == ()
    assert loaded.build is not None
    assert [cost.amount for cost in loaded.build.costs] == [3.5, -3.5]
    assert loaded.build.costs[1].what == ("Clips für Tür back" if encoding == "latin-1" else "clips sent back")
    (note,) = loaded.warnings
    assert note.what.startswith("written with ") and all(words in note.what for words in said)


def test_a_sheet_with_decimal_commas_reads_three_places() -> None:
    loaded = read({"parts.csv": b"part\nnew\n", "features.csv": GERMAN.encode()})
    assert loaded.problems == ()
    assert loaded.build is not None
    assert (loaded.build.features[0].across_mm, loaded.build.features[0].x_mm) == (6.5, 1.234)


def test_a_sheet_that_mixes_signs_leaves_three_places_open() -> None:
    sheet = GERMAN.replace("hole;6,5", "hole;6.5").replace(";0\r", ";2,5\r")
    loaded = read({"parts.csv": b"part\nnew\n", "features.csv": sheet.encode()})
    assert places(loaded) == ["features.csv:2:x_mm"]


def test_a_missing_folder_is_one_fault(tmp_path: Path) -> None:
    loaded = load(tmp_path / "nowhere")
    assert [one.row for one in loaded.problems] == [0]
    assert "there is no folder" in loaded.problems[0].what
    assert loaded.build is None


def test_an_empty_folder_lacks_the_two_sheets(tmp_path: Path) -> None:
    assert places(load(tmp_path)) == ["parts.csv:0:", "features.csv:0:"]


def test_a_misspelt_sheet_is_warned_about(tmp_path: Path) -> None:
    files = contents()
    files["Reading.csv"] = files.pop("readings.csv")
    loaded = load(write(tmp_path, files))
    assert loaded.problems == ()
    assert [str(one) for one in loaded.warnings] == [
        "Reading.csv: this file is not read. Name it readings.csv if it is meant to be"
    ]


def test_a_folder_in_place_of_a_sheet(tmp_path: Path) -> None:
    files = contents()
    del files["parts.csv"]
    (write(tmp_path, files) / "parts.csv").mkdir()
    assert places(load(tmp_path)) == ["parts.csv:0:"]


def test_a_sheet_that_is_too_large(tmp_path: Path) -> None:
    with (write(tmp_path, contents()) / "costs.csv").open("wb") as file:
        file.truncate(51 * 1024 * 1024)
    assert places(load(tmp_path)) == ["costs.csv:0:"]
    assert "larger than 50 MB" in load(tmp_path).problems[0].what


def test_the_demo_is_faultless() -> None:
    loaded = load(shipped("data") / "demo")
    assert loaded.problems == ()


def test_every_column_is_described() -> None:
    for columns in COLUMNS.values():
        assert all(column.meaning for column in columns)
        assert len({column.name for column in columns}) == len(columns)


def test_reading_imports_nothing_heavy() -> None:
    code = (
        "import sys; from partkin.sheets.loading import load; from pathlib import Path;"
        f"load(Path({str(shipped('data') / 'demo')!r}));"
        "print([name for name in ('numpy', 'pandas', 'rdflib', 'pyoxigraph', 'scipy') if name in sys.modules])"
    )
    assert run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"


@pytest.mark.slow
def test_a_hundred_thousand_features_take_seconds(tmp_path: Path) -> None:
    rows = [f"p{n // 10},f{n % 10},hole,6.5,{n % 900}.25,{n % 700}.5\n" for n in range(100_000)]
    (tmp_path / "parts.csv").write_text("part\n" + "".join(f"p{n}\n" for n in range(10_000)))
    (tmp_path / "features.csv").write_text("part,feature,kind,across_mm,x_mm,y_mm\n" + "".join(rows))
    begun = time.perf_counter()
    loaded = load(tmp_path)
    assert time.perf_counter() - begun < 15.0
    assert loaded.build is not None
    assert len(loaded.build.features) == 100_000
