"""Exchange between workshops: nothing is lost on the way, nothing of the folder is overwritten."""

from __future__ import annotations

import os
import time
from dataclasses import fields, replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from graph.builds import dashboard as every_column
from partkin import pipeline
from partkin.cli.app import app
from partkin.commands import exchanging
from partkin.graph import export_turtle
from partkin.graph.incoming import SHAPES_AT_MOST
from partkin.model.build import Build, Feature, Holding, Part, Reading, Settings
from partkin.model.problem import FaultyInput
from partkin.sheets.changing import append_all
from partkin.sheets.loading import load
from partkin.sheets.values import HELD_IN, cell_text
from partkin.tables.reader import shipped

DEMO = shipped("data") / "demo"


def dashboard() -> Build:
    """Every column filled, and the fasteners that one row of held_by.csv names as being in its way."""
    build = every_column()
    first = build.holdings[0]
    more = tuple(Holding(first.part, first.held_to, name, "clip") for name in ("clip-1", "plug-1"))
    # The sheets keep 15 digits, and a direction at length 1.
    features = tuple(
        replace(f, axis=f.axis and (0.0, 0.0, 1.0), x_mm=None if f.x_mm is None else round(f.x_mm, 9))
        for f in build.features
    )
    return replace(build, holdings=(*build.holdings, *more), features=features)


def without_rows(build: Build) -> Build:
    sheets = {f.name: getattr(build, f.name) for f in fields(build) if f.name not in ("settings", "work")}
    return Build(build.settings, **{name: tuple(replace(row, row=0) for row in rows) for name, rows in sheets.items()})


def written(build: Build, file: Path) -> Path:
    file.write_text(export_turtle(build), encoding="utf-8")
    return file


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def folder_of(build: Build, folder: Path) -> Path:
    exchanging.take_in(written(build, folder.with_suffix(".ttl")), folder)
    return folder


@pytest.mark.parametrize("build", [pipeline.load_build(DEMO), dashboard()], ids=["demo", "every column"])
def test_a_build_goes_round_and_loses_nothing(build: Build, tmp_path: Path) -> None:
    folder = folder_of(build, tmp_path / "new")
    again = pipeline.load_build(folder)
    assert without_rows(again) == without_rows(build)
    assert sum(len(getattr(again, held)) for held in HELD_IN.values()) > 30
    # A second time adds nothing and touches nothing.
    before = bytes_of(folder)
    taking, _ = exchanging.take_in(tmp_path / "new.ttl", folder)
    assert taking.rows == {} and sum(taking.there.values()) > 30 and not taking.conflicts
    assert bytes_of(folder) == before


def test_an_empty_folder_and_a_missing_one_take_a_build_alike(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    file = written(dashboard(), tmp_path / "b.ttl")
    for name in ("empty", "missing"):
        exchanging.take_in(file, tmp_path / name)
    assert bytes_of(tmp_path / "empty") == bytes_of(tmp_path / "missing")


def test_settings_of_any_wording_come_back(tmp_path: Path) -> None:
    settings = Settings('a "b" \\ c', "EUR", 41.25, 0.9, True)
    build = Build(settings, parts=(Part("top", duty="trim"),))
    assert pipeline.load_build(folder_of(build, tmp_path / "new")).settings == settings


def test_one_part_travels_with_all_that_is_its_own_and_nothing_else() -> None:
    build = dashboard()
    name = next(f.part for f in build.features if any(r.part == f.part for r in build.readings))
    alone, left_out = exchanging.of_parts(build, [name])
    assert [part.part for part in alone.parts] == [name]
    for held in ("features", "readings", "zones", "outlines", "connectors"):
        assert len(getattr(alone, held)) == sum(row.part == name for row in getattr(build, held))
    assert alone.readings and alone.features
    assert not (alone.offers or alone.costs or alone.outcomes)
    assert (alone.settings.labour_rate, alone.settings.currency) == (None, None)
    own = build.part(name)
    assert own.takes_place_of and any(own.takes_place_of in text for text in left_out)
    assert export_turtle(alone) == export_turtle(exchanging.of_parts(build, [name, name])[0])


def test_what_a_photograph_said_travels_with_both_parts_only() -> None:
    build = dashboard()
    look = build.looks[0]
    assert not exchanging.of_parts(build, [look.part])[0].looks
    assert exchanging.of_parts(build, [look.part, look.beside])[0].looks == (look,)


def test_persons_are_named_only_when_asked(tmp_path: Path) -> None:
    build = dashboard()
    person = next(reading.by for reading in build.readings if reading.by)
    name = next(reading.part for reading in build.readings if reading.by)
    folder = folder_of(build, tmp_path / "new")
    run = CliRunner()

    def said(*more: str) -> str:
        result = run.invoke(app, ["export", "--in", str(folder), *more])
        assert result.exit_code == 0
        return result.stdout

    assert "prov:Person" in said() and person in said()
    assert "prov:Person" not in said("--without-people") and "partkin:seller" not in said("--without-people")
    assert "prov:Person" not in said("--part", name)
    assert "prov:wasAttributedTo" in said("--part", name, "--with-people")
    assert "partkin:instrument" in said("--part", name)
    assert said("--part", name) == said("--part", name)


def test_an_unknown_part_is_named_with_the_nearest() -> None:
    with pytest.raises(FaultyInput, match="Did you mean 'top-dask'"):
        exchanging.of_parts(pipeline.load_build(DEMO), ["top-dsk"])


HOLES = tuple(
    Feature("top", name, "hole", across_mm=7.0, x_mm=x_mm, y_mm=0.0) for name, x_mm in (("a", 0.0), ("b", 300.0))
)
READ = Reading("top", "r1", "centres", 300.0, "mm", "a", "b", 0.5, "tape")
OWN = Build(Settings(currency="EUR"), parts=(Part("top", name="top", duty="trim"),), features=HOLES, readings=(READ,))


@pytest.mark.parametrize(("theirs", "said"), [
    (replace(OWN, parts=(Part("top", name="top", duty="body"),)), "parts.csv:2:duty: top: duty is trim here and body"),
    (replace(OWN, readings=(replace(READ, value=301.0),)), "readings.csv:2:value: top r1: value is 300 here and 301"),
    (replace(OWN, features=(replace(HOLES[0], x_mm=1.0), HOLES[1])), "features.csv:2:x_mm: top a: x_mm is 0 here"),
])  # fmt: skip
def test_a_conflict_is_shown_and_nothing_is_changed(theirs: Build, said: str, tmp_path: Path) -> None:
    folder = folder_of(OWN, tmp_path / "own")
    before = bytes_of(folder)
    more = replace(theirs, parts=(*theirs.parts, Part("rail", duty="trim")))
    file = written(more, tmp_path / "theirs.ttl")
    result = CliRunner().invoke(app, ["import", str(file), "--in", str(folder)])
    assert isinstance(result.exception, FaultyInput) and said in str(result.exception)
    assert bytes_of(folder) == before
    # Asked to, the rest is added, and what the folder had stays.
    exchanging.take_in(file, folder, skip_conflicts=True)
    again = pipeline.load_build(folder)
    assert [part.part for part in again.parts] == ["rail", "top"]
    top = tuple(part for part in again.parts if part.part == "top")
    assert without_rows(replace(again, parts=top)) == without_rows(replace(OWN, settings=again.settings))


def test_what_hangs_on_a_conflict_is_left_out_with_it(tmp_path: Path) -> None:
    folder = folder_of(OWN, tmp_path / "own")
    third = Feature("top", "c", "hole", across_mm=7.0, x_mm=600.0, y_mm=0.0)
    readings = (replace(READ, reading="r2", to_feature="c", value=600.0), replace(READ, reading="r3", value=300.5))
    theirs = replace(OWN, features=(replace(HOLES[0], x_mm=9.0), HOLES[1], third), readings=readings)
    taking, _ = exchanging.take_in(written(theirs, tmp_path / "t.ttl"), folder, skip_conflicts=True)
    again = pipeline.load_build(folder)
    # Another origin: neither the third hole nor what was read to it; a distance between known holes may come.
    assert [feature.feature for feature in again.features] == ["a", "b"]
    assert [reading.reading for reading in again.readings] == ["r1", "r3"]
    assert taking.skipped == {"features.csv": 1, "readings.csv": 1}


def test_an_empty_cell_is_no_conflict_and_is_not_filled(tmp_path: Path) -> None:
    folder = folder_of(OWN, tmp_path / "own")
    before = bytes_of(folder)
    theirs = replace(OWN, parts=(Part("top", duty="trim", material="ABS"),))
    taking, _ = exchanging.take_in(written(theirs, tmp_path / "t.ttl"), folder)
    assert taking.fuller == ("parts.csv, top: material ABS",) and bytes_of(folder) == before


def test_prices_in_another_currency_are_a_conflict(tmp_path: Path) -> None:
    demo = pipeline.load_build(DEMO)
    folder = folder_of(replace(demo, offers=()), tmp_path / "own")
    theirs = replace(demo, settings=replace(demo.settings, currency="USD"))
    with pytest.raises(FaultyInput, match="are in USD"):
        exchanging.take_in(written(theirs, tmp_path / "t.ttl"), folder)


def test_rows_that_the_sheets_refuse_change_no_sheet(tmp_path: Path) -> None:
    folder = folder_of(OWN, tmp_path / "own")
    before = bytes_of(folder)
    with pytest.raises(FaultyInput, match="rial"):
        append_all(
            folder,
            {"parts.csv": [{"part": "rail"}], "features.csv": [{"part": "rial", "feature": "a", "kind": "hole"}]},
        )
    assert bytes_of(folder) == before
    append_all(
        folder, {"parts.csv": [{"part": "rail"}], "features.csv": [{"part": "rail", "feature": "a", "kind": "hole"}]}
    )
    assert load(folder).build.part("rail") is not None


def test_a_sheet_that_cannot_be_written_puts_the_others_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = folder_of(OWN, tmp_path / "own")
    before = bytes_of(folder)
    real = os.replace

    def failing(source, target):
        if Path(target).name == "features.csv" and b"rail" in Path(source).read_bytes():
            raise PermissionError(13, "not allowed")
        real(source, target)

    monkeypatch.setattr(os, "replace", failing)
    with pytest.raises(FaultyInput, match="cannot be written"):
        append_all(
            folder,
            {"parts.csv": [{"part": "rail"}], "features.csv": [{"part": "rail", "feature": "a", "kind": "hole"}]},
        )
    assert bytes_of(folder) == before


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills a forked process")
def test_what_is_killed_between_two_sheets_is_completed_by_the_next_command(tmp_path: Path) -> None:
    """Killed at the n-th file that takes its place: the sheets are as before, or the next command makes them whole."""
    rows = {"parts.csv": [{"part": "rail"}], "features.csv": [{"part": "rail", "feature": "a", "kind": "hole"}]}
    real, ended = os.replace, []
    for last in range(4):
        folder = folder_of(OWN, tmp_path / f"own{last}")
        before, left = bytes_of(folder), last

        def killing(source, target):
            nonlocal left
            if left == 0:
                os._exit(9)
            left -= 1
            real(source, target)

        child = os.fork()
        if child == 0:
            os.replace = killing
            append_all(folder, rows)
            os._exit(0)
        killed = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9
        has_part = load(folder).build.part("rail") is not None
        ended.append((killed, has_part))
        assert has_part == ("rail" in {f.part for f in load(folder).build.features})
        if not has_part:
            assert {name: content for name, content in bytes_of(folder).items() if name in before} == before
    # The first file is the note of what is to be done; three files, so the fourth try is not killed.
    assert ended == [(True, False), (True, True), (True, True), (False, True)]


def large() -> Build:
    names = [f"p{n}" for n in range(300)]
    features = [
        Feature(name, f"a{k}", "hole", across_mm=7.0, x_mm=9.0 * k, y_mm=1.0) for name in names for k in range(10)
    ]
    return Build(parts=tuple(Part(name, duty="trim") for name in names), features=tuple(features))


def test_a_large_file_is_refused_for_the_same_faults_without_the_shapes(tmp_path: Path) -> None:
    turtle = export_turtle(large())
    file = tmp_path / "large.ttl"
    assert turtle.count(" ;\n") + turtle.count(" .\n") > SHAPES_AT_MOST
    faulty = [
        ("partkin:kind-hole", "partkin:kind-hloe"),
        ('partkin:xMm "9"^^xsd:decimal', 'partkin:xMm "9"^^xsd:decimal, "10"^^xsd:decimal'),
        ('partkin:acrossMm "7"^^xsd:decimal', 'partkin:acrossMm "-7"^^xsd:decimal'),
        ('partkin:acrossMm "7"^^xsd:decimal', 'partkin:acrossMm "NaN"^^xsd:double'),
        ("partkin:ofPart <p7>", "partkin:ofPart <p777>"), ("partkin:duty partkin:duty-trim", 'partkin:duty "trim"'),
        ("partkin:ofPart", "partkin:isOfPart"),
    ]  # fmt: skip
    for good, bad in faulty:
        assert good in turtle
        file.write_text(turtle.replace(good, bad, 1), encoding="utf-8")
        with pytest.raises(FaultyInput):
            exchanging.take_in(file, tmp_path / "new")
        assert not (tmp_path / "new").exists(), bad
    file.write_text(turtle, encoding="utf-8")
    exchanging.take_in(file, tmp_path / "new")
    assert without_rows(pipeline.load_build(tmp_path / "new")) == large()


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\x00" * 1000,
        b'<a:a> <a:b> "' + b"x" * 40_000_000 + b'" .',
        b"<a:a> <a:b> " + b"[ <a:b> " * 200_000,
        b'{"@context": "http://127.0.0.1:9/", "@id": "x"}',
        b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]><x>&b;</x>',
        b"".join(b"<a:%d> <a:b> <a:c> .\n" % number for number in range(1_000_000)),
        b" " * ((64 << 20) + 1),
    ],
    ids=["empty", "zeros", "huge literal", "deep", "context", "entities", "a million statements", "too large"],
)
def test_a_hostile_file_is_refused_in_time_and_leaves_no_folder(content: bytes, tmp_path: Path) -> None:
    file = tmp_path / "hostile.ttl"
    file.write_bytes(content)
    begun = time.monotonic()
    with pytest.raises(FaultyInput) as refused:
        exchanging.take_in(file, tmp_path / "new")
    assert time.monotonic() - begun < 5.0
    assert len(str(refused.value)) < 1000 and "hostile.ttl" in str(refused.value)
    assert not (tmp_path / "new").exists()


def test_cells_are_written_as_the_sheets_have_them() -> None:
    assert [cell_text(v) for v in (True, 0.5, 3, (("a", "b"), ("c",)), ("x", "y"))] == [
        "yes",
        "0.5",
        "3",
        "a|b; c",
        "x; y",
    ]
