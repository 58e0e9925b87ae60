"""A listing's photograph as evidence: kept, told, counted as the weakest, never deciding alone. All is invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from partkin import pipeline
from partkin.cli.app import app
from partkin.commands import demonstration, explaining
from partkin.graph import known_of
from partkin.model.problem import FaultyInput
from partkin.report.explaining import chain_text
from readings.pictures import picks, picture, view

NEW = "top-new,lid,other,,,donor,dash-frame,,,,,trim,yes,,,,,,invented\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The demo with one more donor, of which nothing is measured."""
    folder = tmp_path / "build"
    demonstration.write(folder)
    with (folder / "parts.csv").open("a") as sheet:
        sheet.write(NEW)
    with (folder / "models.csv").open("a") as sheet:
        sheet.write("other,another invented maker,OX9,2014,2019,invented\n")
    return folder


def shown(tmp_path: Path, folder: Path, donor: str, different: bool, *words: str, seed: int = 1):
    at_mm = {f.feature: (f.x_mm, f.y_mm) for f in pipeline.load_build(folder).features_of("dash-frame")}
    if different:
        at_mm["F4"] = (at_mm["F4"][0] + 45.0, at_mm["F4"][1] - 30.0)
    points = picks(tmp_path, view(seed, at_mm, 1.0))
    return CliRunner().invoke(app, [
        "same-shape", donor, str(picture(tmp_path)), "--points", str(points), "--corrected", "--in", str(folder),
        *words,
    ])  # fmt: skip


def rows(folder: Path) -> list[str]:
    sheet = folder / "looks.csv"
    return sheet.read_text().splitlines()[1:] if sheet.is_file() else []


def why(folder: Path, donor: str) -> str:
    verdict, disagreeing = explaining.verdict_and_disagreements(pipeline.load_build(folder), donor)
    return " ".join(chain_text(verdict, [(one.says, one.decides) for one in disagreeing]).split())


def test_a_picture_that_agrees_is_the_weakest_evidence_and_decides_nothing(tmp_path: Path, folder: Path) -> None:
    done = shown(tmp_path, folder, "top-new", False, "--keep", "--on", "2024-05-30")
    assert done.exit_code == 0 and "kept in looks.csv: alike" in done.stderr
    assert rows(folder) == ["top-new,dash-frame,alike,listing.jpg,2024-05-30,"]
    known = known_of(pipeline.load_build(folder), "top-new")
    assert [(e.kind, e.strength, e.speaks_for) for e in known.evidence] == [("pictured alike", 5, True)]
    told = why(folder, "top-new")
    assert "not enough measured" in told and "a picture never tells the size" in told
    assert "listing.jpg was held against dash-frame: alike" in told


def test_a_picture_that_differs_speaks_against_and_says_what_decides(tmp_path: Path, folder: Path) -> None:
    assert shown(tmp_path, folder, "top-new", True, "--keep", seed=2).exit_code == 0
    assert rows(folder) == ["top-new,dash-frame,different,listing.jpg,,"]
    verdict = pipeline.check(pipeline.load_build(folder), "top-new")
    assert verdict.verdict == "not enough measured"
    assert any(one.what == "pictured different" and "ask before you pay" in one.says for one in verdict.unknown)
    # A second picture that agrees: the two disagree, neither is overwritten.
    assert shown(tmp_path, folder, "top-new", False, "--keep").exit_code == 0
    assert [row.split(",")[2] for row in rows(folder)] == ["different", "alike"]
    told = why(folder, "top-new")
    assert "neither decides alone" in told and "pick the holes once more in a photograph taken square on" in told


def test_the_readings_overrule_a_picture(tmp_path: Path, folder: Path) -> None:
    before = pipeline.check(pipeline.load_build(folder), "top-kurm")
    assert shown(tmp_path, folder, "top-kurm", True, "--keep", seed=2).exit_code == 0
    after = pipeline.check(pipeline.load_build(folder), "top-kurm")
    assert (before.verdict, before.margin_mm) == (after.verdict, after.margin_mm) == ("bolts on", after.margin_mm)
    told = why(folder, "top-kurm")
    assert "in no view can the photograph of the donor be one of the pattern of the host" in told
    assert "what was measured says that it goes on, and counts more" in told


def test_what_does_not_tell_or_shows_no_donor_is_not_kept(tmp_path: Path, folder: Path) -> None:
    at_mm = {f.feature: (f.x_mm, f.y_mm) for f in pipeline.load_build(folder).features_of("dash-frame")[:4]}
    points = picks(tmp_path, view(3, at_mm))
    run = ["same-shape", "top-new", str(picture(tmp_path)), "--points", str(points), "--in", str(folder), "--keep"]
    done = CliRunner().invoke(app, run)
    assert done.exit_code == 0 and "nothing kept" in done.stderr and rows(folder) == []
    refused = shown(tmp_path, folder, "dash-frame", False, "--keep")
    assert isinstance(refused.exception, FaultyInput) and "is no donor" in str(refused.exception)
    assert rows(folder) == []


def test_without_keep_nothing_is_written(tmp_path: Path, folder: Path) -> None:
    assert shown(tmp_path, folder, "top-new", False).exit_code == 0
    assert rows(folder) == []


@pytest.mark.parametrize(("row", "said"), [
    ("top-new,nowhere,alike,,,", "looks.csv:2:beside: nowhere is not in parts.csv"),
    ("top-new,dash-frame,similar,,,", "looks.csv:2:looks: \"similar\" is not a word"),
    ("top-new,top-kurm,alike,,,", "looks.csv:2:beside: top-kurm is a donor"),
    ("top-new,,alike,,,", "looks.csv:2:beside:"),
    ("top-new,dash-frame,alike,,May,", "looks.csv:2:on:"),
])  # fmt: skip
def test_wrong_rows_are_named(folder: Path, row: str, said: str) -> None:
    (folder / "looks.csv").write_text(f"part,beside,looks,picture,on,note\n{row}\n")
    with pytest.raises(FaultyInput) as caught:
        pipeline.load_build(folder)
    assert said in str(caught.value)
