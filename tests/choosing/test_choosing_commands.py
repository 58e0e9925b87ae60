"""The commands of choosing, on the demo: right and wrong input, and what they leave on disk."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

import partkin
from partkin.cli.app import app
from partkin.commands import demonstration, ranking
from partkin.model.problem import FaultyInput


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    demonstration.write(tmp_path / "build")
    return tmp_path / "build"


def run(folder: Path, *words: str):
    return CliRunner().invoke(app, [*words, "--in", str(folder)])


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def test_rank_says_the_same_as_table_csv_json_and_frame(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = partkin.rank(partkin.load_build(folder), "dash-frame")
    # The checks are made once; the command only chooses how they are written.
    monkeypatch.setattr(ranking, "rank", lambda *_: found)
    table = run(folder, "rank", "--for", "dash-frame").stdout
    rows = list(csv.DictReader(io.StringIO(run(folder, "rank", "--for", "dash-frame", "--as", "csv").stdout)))
    tree = json.loads(run(folder, "rank", "--for", "dash-frame", "--as", "json").stdout)
    frame = ranking.frame(found)
    names = [way["called"] for way in tree["ways"]]
    assert names == [row["way"] for row in rows] and len(names) == len(frame) == 4
    assert [line.split("  ")[0].strip() for line in table.splitlines()[4:8]] == names
    for way, row, (_, cells) in zip(tree["ways"], rows, frame.iterrows(), strict=True):
        known = way["expected"] is not None
        assert (
            (float(row["expected low"]) == way["expected"]["low"] == cells["expected_low"])
            if known
            else (row["expected low"] == "")
        )
    # Carriage that is not stated, a finish that differs, a price that is not known: said, and nothing put in.
    assert [(row["way"], row["carriage"], row["trim"], row["price"] != "") for row in rows] == [
        ("top-dask", "35.00", "", True),
        ("top-kurm", "35.00", "", True),
        ("repair top-velt", "", "0.00", True),
        ("new top-velt", "", "0.00", False),
    ]
    assert "470.00+" in table and "ruled out: not to be had" in table


@pytest.mark.parametrize(("words", "said"), [
    (("rank",), "there are 4 hosts to rank for"), (("rank", "--for", "nope"), "there is no part 'nope'"),
    (("why", "nope"), "there is no part 'nope'"), (("why", "top-kurm", "--not", "--for", "nope"), "'nope'"),
    (("costs", "--for", "nope"), "'nope'"), (("outcome", "nope", "--happened", "fits"), "'nope'"),
    (("outcome", "top-kurm", "--happened", ""), "happened is empty"),
    (("outcome", "top-kurm", "--happened", "fits", "--on", "May"), "is not a day"),
    (("offers", "import", "no-such-file.csv"), "there is no file"),
])  # fmt: skip
def test_wrong_input_is_told_and_changes_nothing(folder: Path, words: tuple[str, ...], said: str) -> None:
    before = bytes_of(folder)
    done = run(folder, *words)
    assert isinstance(done.exception, FaultyInput) and said in str(done.exception)
    assert bytes_of(folder) == before


def test_why_and_why_not_name_what_decides(folder: Path) -> None:
    told = " ".join(run(folder, "why", "top-dask").stdout.split())
    assert told.startswith("top-dask on dash-frame: bolts on with adaptation")
    assert "where the evidence disagrees" in told and "decides: read " in told
    told = " ".join(run(folder, "why", "top-dask", "--not").stdout.split())
    assert "For another verdict - it would go on if" in told and "if it carried OV4-7710-A" in told


def test_an_outcome_is_kept_with_the_verdict_and_chance_of_now_and_counts(folder: Path) -> None:
    assert run(folder, "outcome", "top-kurm", "--happened", "fits", "--on", "2026-03-01").exit_code == 0
    row = list(csv.DictReader((folder / "outcomes.csv").open()))[-1]
    assert (row["donor"], row["verdict_then"], row["chance_then"], row["happened"]) == (
        "top-kurm",
        "bolts on",
        "1",
        "fits",
    )
    done = run(folder, "outcome", "top-dask", "--happened", "sold before I asked")
    assert done.exit_code == 0 and "score leaves it out" in done.stderr
    assert "1 outcome: too few to tell" in run(folder, "score").stdout


def test_costs_add_up(folder: Path) -> None:
    tree = json.loads(run(folder, "costs", "--for", "dash-frame", "--json").stdout)
    assert tree["spent"] == pytest.approx(sum(amount for _, amount in tree["by_kind"]))
    told = []
    for way, after in tree["after"]:
        paid = [way[key] or 0.0 for key in ("price", "carriage", "adaptation", "labour", "trim")]
        told.append(after is not None)
        if after is not None:
            assert after == pytest.approx(tree["spent"] + sum(paid))
    assert any(told)
