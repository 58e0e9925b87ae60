"""A stock is before or after, never between; what is faulty stays out and is told; nothing is lost."""

from __future__ import annotations

import csv
import json
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as parquet
import pytest
from typer.testing import CliRunner

from partkin import graph as knowledge
from partkin import pipeline
from partkin.cli.app import app
from partkin.commands import demonstration, stocking
from partkin.graph import stores
from partkin.graph.statements import StatementWriter
from partkin.model.build import Build, Settings
from partkin.model.problem import FaultyInput
from partkin.stock import answering, incoming, sharing, storing
from stock_makers import host_build, pattern, started, table_of

ADD = """
import sys
from pathlib import Path
from partkin.stock import storing
print("ready", flush=True)
storing.add([Path(sys.argv[1])], Path(sys.argv[2]))
print("done", flush=True)
"""


def parts(rng: np.random.Generator, stem: str, count: int, points: np.ndarray | None = None):
    own = [(f"{stem}{k}", pattern(rng, 5) if points is None else points, np.full(5, 7.0), None) for k in range(count)]
    return table_of(own, rng)


def names_in(stock: Path) -> set[str]:
    found: set[str] = set()
    for one in storing.read_manifest(stock).partitions:
        names = parquet.read_table(stock / one.name / "parts.parquet").column("part").to_pylist()
        gone = set(storing.gone_of(stock, one).tolist())
        found |= {name for row, name in enumerate(names) if row not in gone}
    return found


def files_of(stock: Path) -> set[str]:
    manifest = storing.read_manifest(stock)
    named = {name for one in manifest.partitions for name in (one.name, one.gone)}
    return named | {manifest.graph, "manifest.json", ".lock"}


def killed_in_the_middle(folder: Path, times: int) -> None:
    rng = np.random.default_rng(1)
    stock, kept = folder / "stock", {f"k{n}" for n in range(300)}
    storing.add([parts(rng, "k", 300).write(folder / "kept.parquet")], stock)
    more = parts(rng, "n", 3000)
    more.columns["name"] = ["bracket"] * len(more.columns["part"])
    file, new = more.write(folder / "more.parquet"), {f"n{n}" for n in range(3000)}
    before = after = 0
    longest_s = unhurried_s(file, folder / "other")
    for k in range(times):
        run = started("-c", ADD, str(file), str(stock))
        assert run.stdout is not None and run.stdout.readline() == "ready\n"
        # The first is killed at once, and every tenth is left as long as it needs, however busy the machine is.
        time.sleep(0.0 if k == 0 else float(rng.uniform(0, 1.3 * longest_s)))
        if k % 10 == 9:
            run.wait()
        run.kill()
        finished = run.communicate()[0] == "done\n"
        there = names_in(stock)
        assert there in (kept, kept | new)
        if k % 10 == 9:
            assert finished
        if finished:
            assert there == kept | new
        assert storing.examine(stock) == ()
        before, after = before + (there == kept), after + (there != kept)
        if there != kept:
            assert storing.drop(stock, sorted(new)) == 3000
    assert before and after
    named = files_of(stock)
    assert storing.add([file], stock).problems == ()
    assert names_in(stock) == kept | new
    # What a killed one left is cleared; what the manifest before names stays for those that read by it.
    assert {path.name for path in stock.iterdir()} <= named | files_of(stock)


def unhurried_s(file: Path, stock: Path) -> float:
    """How long that takes that nobody interrupts."""
    run = started("-c", ADD, str(file), str(stock))
    assert run.stdout is not None and run.stdout.readline() == "ready\n"
    began = time.perf_counter()
    assert run.communicate()[0] == "done\n"
    return time.perf_counter() - began


def test_killed_in_the_middle_of_an_add(tmp_path):
    killed_in_the_middle(tmp_path, 12)


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_killed_in_the_middle_of_an_add_200_times(tmp_path):
    killed_in_the_middle(tmp_path, 200)


def test_a_reader_that_follows_the_manifest_before(tmp_path, monkeypatch):
    rng = np.random.default_rng(2)
    points = pattern(rng, 5)
    stock = tmp_path / "stock"
    storing.add([parts(rng, "a", 3, points).write(tmp_path / "a.parquet")], stock)
    question = stocking.question_of(host_build(points), "host")
    read, asked = answering.read_manifest, []

    def late(where):
        manifest = read(where)
        if not asked:
            asked.append(manifest)
            # Two more while it reads: what its manifest names is cleared.
            for stem in "bc":
                storing.add([parts(rng, stem, 3, points).write(tmp_path / "b.parquet")], stock)
        return manifest

    monkeypatch.setattr(answering, "read_manifest", late)
    assert len(answering.ask(stock, [question])[0].found) == 9


def test_only_one_writes_at_a_time(tmp_path):
    rng = np.random.default_rng(3)
    file = parts(rng, "a", 3).write(tmp_path / "a.parquet")
    stock = tmp_path / "stock"
    storing.add([file], stock)
    with storing._alone(stock), pytest.raises(RuntimeError, match="another partkin is writing"):
        storing.add([file], stock)


def test_every_damaged_file_is_named(tmp_path):
    rng = np.random.default_rng(4)
    stock = tmp_path / "stock"
    table = parts(rng, "a", 20)
    table.columns["name"] = ["bracket"] * len(table.columns["part"])
    storing.add([table.write(tmp_path / "a.parquet")], stock)
    storing.drop(stock, ["a3"])
    assert storing.examine(stock) == ()
    files = sorted(storing.read_manifest(stock).partitions[0].digests)
    assert len(files) == 13
    for file in files:
        content = (stock / file).read_bytes()
        (stock / file).write_bytes(content[:-1] + bytes([content[-1] ^ 1]))
        assert [one.column for one in storing.examine(stock)] == [file]
        (stock / file).unlink()
        assert "it is not there" in storing.examine(stock)[0].what
        (stock / file).write_bytes(content)
    manifest = stock / "manifest.json"
    manifest.write_bytes(manifest.read_bytes().replace(b'"parts": 20', b'"parts": 21'))
    with pytest.raises(FaultyInput, match="not as it was written"):
        storing.examine(stock)


def test_versions_stay_and_what_is_dropped_is_not_found(tmp_path):
    rng = np.random.default_rng(5)
    stock = tmp_path / "stock"
    for again in range(4):
        file = parts(rng, "a", 6).write(tmp_path / "a.parquet")
        added = storing.add([file], stock)
        assert (added.new, added.again) == ((6, 0) if again == 0 else (0, 6))
    assert storing.read_manifest(stock).parts == 6
    held = [parquet.read_table(stock / one.name / "parts.parquet") for one in storing.read_manifest(stock).partitions]
    versions = sorted(version for table in held for version in table.column("version").to_pylist())
    assert versions == [1] * 6 + [2] * 6 + [3] * 6 + [4] * 6
    assert storing.drop(stock, ["a1", "a2"]) == 2
    assert names_in(stock) == {"a0", "a3", "a4", "a5"}
    with pytest.raises(FaultyInput, match="there is no part 'a1'"):
        storing.drop(stock, ["a1"])
    assert storing.add([file], stock).again == 6
    assert names_in(stock) == {f"a{k}" for k in range(6)}


def test_many_small_adds_make_few_partitions(tmp_path):
    rng = np.random.default_rng(6)
    stock = tmp_path / "stock"
    for k in range(30):
        storing.add([parts(rng, f"s{k}-", 1).write(tmp_path / "a.parquet")], stock)
    manifest = storing.read_manifest(stock)
    assert manifest.parts == 30 and len(manifest.partitions) <= 6


FAULTY = """part;feature;kind;x_mm;y_mm;across_mm;length_mm;seen_from
good;a;hole;0;0;7,5;;outside
good;b;oblong hole;100,5;0;7;12;outside
kindless;a;hohle;0;0;7;;
far;a;hole;1e9;0;7;;
nowhere;a;hole;;0;7;;
twice;a;hole;0;0;7;;
twice;a;hole;5;0;7;;
short;a;slot;0;0;7;5;
faces;a;hole;0;0;7;;outside
faces;b;hole;9;0;7;;inside
thin;a;hole;0;0;-7;;
odd id;a;hole;0;0;7;;
"""


def test_what_is_faulty_stays_out_and_is_told_row_by_row(tmp_path):
    file = tmp_path / "yard.csv"
    file.write_text(FAULTY, encoding="utf-8")
    stock = tmp_path / "stock"
    said = CliRunner().invoke(app, ["stock", "add", str(file), "--to", str(stock)])
    assert said.exit_code == 0 and "1 new" in said.output
    assert names_in(stock) == {"good"}
    rows = list(csv.DictReader((tmp_path / "stock.faults.csv").open()))
    assert [(int(row["row"]), row["column"]) for row in rows] == [
        (4, "kind"), (5, "x_mm"), (6, "x_mm"), (8, "feature"), (9, "length_mm"), (11, "seen_from"), (12, "across_mm"),
        (13, "part"),
    ]  # fmt: skip
    held = storing.read_batch(stock, storing.read_manifest(stock).partitions[0]).features.to_pylist()
    assert [(row["kind"], row["x_mm"], row["across_mm"]) for row in held] == [("hole", 0.0, 7.5), ("slot", 100.5, 7.0)]


def test_a_file_without_a_sound_part_changes_nothing(tmp_path):
    file = tmp_path / "bad.csv"
    file.write_text("part,feature,kind,x_mm,y_mm\na,b,hohle,0,0\n")
    with pytest.raises(FaultyInput, match="hohle"):
        storing.add([file], tmp_path / "stock")
    file.write_text("part,feature\na,b\n")
    with pytest.raises(FaultyInput, match="the column kind is missing"):
        storing.add([file], tmp_path / "stock")
    with pytest.raises(FaultyInput, match="none of what a stock takes in"):
        storing.add([Path(__file__)], tmp_path / "stock")
    assert not (tmp_path / "stock").exists()


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("stock") / "demo-build"
    demonstration.run(folder)
    return folder


def test_csv_parquet_and_chunks_come_to_the_same(tmp_path):
    rng = np.random.default_rng(7)
    table = parts(rng, "a", 30)
    for axis in ("x_mm", "y_mm"):
        table.columns[axis] = [round(value, 6) for value in table.columns[axis]]
    file = table.write(tmp_path / "a.parquet")
    lines = [",".join(table.columns), *(",".join("" if cell is None else str(cell) for cell in row)
                                        for row in zip(*table.columns.values(), strict=True))]  # fmt: skip
    (tmp_path / "a.csv").write_text("\n".join(lines))
    (one, faults), (other, others) = incoming.read(file), incoming.read(tmp_path / "a.csv")
    assert faults == others == ()
    assert one.parts.equals(other.parts) and one.features.equals(other.features)


def test_turtle_and_folder_come_to_the_same_and_the_first_few_are_the_ordinary_check(tmp_path, demo):
    build = pipeline.load_build(demo)
    (tmp_path / "demo.ttl").write_text(knowledge.export_turtle(build), encoding="utf-8")
    answers = []
    for place, file in enumerate((demo, tmp_path / "demo.ttl")):
        stock = tmp_path / f"stock{place}"
        storing.add([file], stock)
        answers.append(stocking.find(build, "dash-frame", stock))
    assert [one.part for one in answers[0].answer.found] == [one.part for one in answers[1].answer.found]
    assert answers[0].checked == answers[1].checked
    stem = "velt-dashboard."
    # What came off is no donor: of itself the check knows more.
    donors = [verdict for verdict in answers[0].checked if verdict.donor != "velt-dashboard.top-velt"]
    assert len(donors) == 2
    for verdict in donors:
        own = pipeline.check(build, verdict.donor.removeprefix(stem))
        assert (verdict.verdict, verdict.chance, verdict.margin_mm) == (own.verdict, own.chance, own.margin_mm)
    found = [one.part.removeprefix(stem) for one in answers[0].answer.found]
    for part in build.parts:
        own = pipeline.check(build, part.part) if part.origin == "donor" else None
        if own is not None and own.verdict == "bolts on":
            assert part.part in found


def test_the_commands(tmp_path, demo):
    stock, run = tmp_path / "stock", CliRunner().invoke
    assert "7 new" in run(app, ["stock", "add", str(demo), "--to", str(stock)]).output
    assert "7 parts" in run(app, ["stock", "info", str(stock)]).output
    assert "No damage" in run(app, ["stock", "check", str(stock)]).output
    words = ["stock", "find", "--for", "dash-frame", "--in", str(demo), "--from", str(stock)]
    told = json.loads(run(app, [*words, "--json"]).output)
    assert [row["verdict"] for row in told["found"]] == ["bolts on", "bolts on", "bolts on with adaptation"]
    assert [tree["donor"] for tree in told["verdicts"]] == [row["part"] for row in told["found"]]
    text = run(app, words).output
    assert "dash-frame is held at 8 fixings. Of 7 parts" in text
    rows = list(csv.DictReader(run(app, [*words, "--as", "csv", "--in-full", "0"]).output.splitlines()))
    assert [row["part"] for row in rows] == [row["part"] for row in told["found"]]
    assert run(app, ["stock", "drop", "velt-dashboard.top-kurm", "--from", str(stock)]).output == "1 dropped\n"
    assert len(json.loads(run(app, [*words, "--json"]).output)["found"]) == 2
    assert run(app, ["stock", "info", str(tmp_path / "none")]).exit_code != 0
    assert text.count("\n") > run(app, [*words, "--most", "1"]).output.count("\n")


def test_what_is_asked_wrongly_is_told_and_nothing_is_changed(tmp_path, demo):
    stock, run = tmp_path / "stock", CliRunner().invoke
    storing.add([demo], stock)
    (tmp_path / "file").write_text("no folder")
    find = ["stock", "find", "--for", "dash-frame", "--in", str(demo), "--from", str(stock)]
    none = str(tmp_path / "none")
    for words, column, what in (
        ([*find, "--partly", "9"], "--partly", "held at 8 fixings"),
        ([*find, "--graph", "nonsense"], "--graph", "no address of a server"),
        ([*find, "--on", "nonsense"], "--on", "no address of a scheduler"),
        ([*find[:3], "dash-fram", *find[4:]], "part", "no part 'dash-fram'"),
        (["stock", "drop", "a", "--from", none], "stock", "there is no stock"),
        (["stock", "add", str(demo), "--to", none, "--graph", "nonsense"], "--graph", "no address of a server"),
        (["stock", "add", str(demo), "--to", str(tmp_path / "file")], "--to", "is a file"),
        (["stock", "add", str(demo), "--to", str(demo)], "--to", "is no stock, and holds build.toml"),
        (["stock", "add", str(tmp_path / "file"), "--to", none], "file", "none of what a stock takes in"),
    ):
        fault = run(app, words).exception
        assert isinstance(fault, FaultyInput), (words, fault)
        assert [(one.column, what in one.what) for one in fault.problems] == [(column, True)]
    assert run(app, [*find, "--partly", "0"]).exit_code == 2
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize("file", ["parts.parquet", "features.parquet", "specs.parquet", "key.npy", "first.npy", None])
def test_a_damaged_stock_is_no_answer_and_it_is_said_how_to_find_out(tmp_path, demo, file):
    stock = tmp_path / "stock"
    storing.add([demo], stock)
    held = storing.read_manifest(stock)
    damaged = stock / held.partitions[0].name / file if file else stock / held.graph / "CURRENT"
    for content in (b"junk", None):
        damaged.write_bytes(content) if content else damaged.unlink()
        sharing.opened.cache_clear()
        answering._table.cache_clear()
        stores._opened.cache_clear()
        with pytest.raises((RuntimeError, OSError)) as told:
            stocking.find(pipeline.read(demo)[0], "dash-frame", stock)
        if file or content is None:
            assert "partkin stock check says what is damaged" in str(told.value)
        assert storing.examine(stock) != ()


def test_the_graph_says_what_the_sheets_of_the_parts_would(tmp_path):
    rng, texts = np.random.default_rng(7), ["a b", 'q"\\', "x\0y", "~part", f"<{stores.BASE}/~part>", "é"]
    rows = []
    for place in range(400):
        row: dict[str, object] = {}
        for column in incoming.PART_COLUMNS:
            kind = incoming.PART_SCHEMA.field(column.name).type
            some = column.words or (texts if kind == "string" else [1.0, 2.5] if kind == "double" else [True])
            if column.read_as == "part numbers":
                some = ["A1", "B 2; c/3", "~part; A1"]
            row[column.name] = some[rng.integers(len(some))] if rng.random() < 0.5 else None
        rows.append({**row, "part": f"p{place}" if place % 2 else f"p {place}~é"})
    table = pa.Table.from_pylist(rows, incoming.PART_SCHEMA)
    batch = incoming.Batch(table, incoming.FEATURE_SCHEMA.empty_table(), np.zeros(401, dtype=np.int64))
    lines = sorted(line for text in storing._texts(batch, 7) for line in text.splitlines())
    parts = tuple(replace(incoming.part_of(row), part=f"{row['part']}.7") for row in rows)
    build = Build(settings=Settings(name="stock"), parts=parts)
    skipped = (f"<{stores.BASE}>", f"<{stores.BASE}/~number/")
    wanted = [
        f"{subject} {term} {value} ."
        for subject, said in StatementWriter(build).blocks() if not subject.startswith(skipped)
        for term, value in said if term not in stores._NOT_KEPT
    ]  # fmt: skip
    assert lines == sorted(wanted)
    assert len(lines) > 3000
