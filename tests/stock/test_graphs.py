"""What a graph says of parts is the same from a store on disk and from servers of two families."""

from __future__ import annotations

import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.request import urlopen

import numpy as np
import pytest
from typer.testing import CliRunner

from partkin.cli.app import app
from partkin.commands import stocking
from partkin.graph.stores import Server
from partkin.model.build import Build, Part
from partkin.model.problem import FaultyInput
from partkin.stock import answering, storing
from stock_makers import host_build, pattern, table_of

HOLES = pattern(np.random.default_rng(1), 5)
ENDPOINT = """
import sys, uvicorn
from rdflib import Dataset
from rdflib_endpoint import SparqlEndpoint
served = SparqlEndpoint(graph=Dataset(default_union=True), enable_update=True)
uvicorn.run(served, port=int(sys.argv[1]), log_level="error")
"""


def free_port() -> int:
    with socket.socket() as own:
        own.bind(("127.0.0.1", 0))
        return int(own.getsockname()[1])


def answers(url: str, run: subprocess.Popen) -> None:
    for _ in range(300):
        try:
            urlopen(url, timeout=5).read(1)
            return
        except OSError as fault:
            if hasattr(fault, "code"):
                return
            assert run.poll() is None
            time.sleep(0.2)
    raise AssertionError(f"{url} never answered")


@pytest.fixture(scope="module")
def oxigraph(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    port, place = free_port(), tmp_path_factory.mktemp("oxigraph")
    words = [str(Path(sys.executable).with_name("oxigraph")), "serve", "--location", str(place)]
    run = subprocess.Popen([*words, "--bind", f"127.0.0.1:{port}"], stderr=subprocess.DEVNULL)
    try:
        answers(f"http://127.0.0.1:{port}/", run)
        yield f"http://127.0.0.1:{port}/query"
    finally:
        run.kill()
        run.wait()


@pytest.fixture(scope="module")
def rdflib_endpoint() -> Iterator[str]:
    port = free_port()
    run = subprocess.Popen([sys.executable, "-c", ENDPOINT, str(port)], stderr=subprocess.DEVNULL)
    try:
        answers(f"http://127.0.0.1:{port}/", run)
        yield f"http://127.0.0.1:{port}/"
    finally:
        run.kill()
        run.wait()


def host() -> Build:
    build = host_build(HOLES)
    part = Part("host", origin="host", name="host", duty="trim", airbag=False, hand="left", drive="left",
                seen_from="outside", part_number="B 200", replaces=("A 100",))  # fmt: skip
    return Build(build.settings, parts=(part,), features=build.features)


SAID = {
    "plain": {}, "right": {"hand": "right"}, "left": {"hand": "left", "duty": "trim"}, "drive": {"drive": "right"},
    "same": {"part_number": "b-200"}, "old": {"part_number": "A100"}, "belt": {"duty": "restraint"},
    "newer": {"part_number": "C300", "replaces": "B200"}, "newest": {"part_number": "D400", "replaces": "C-300; X1"},
}  # fmt: skip
SPEAKS = {
    "right": ("other hand",), "drive": ("other drive",), "same": ("same part number",), "old": ("older part number",),
    "newer": ("superseded",), "newest": ("superseded",),
}  # fmt: skip


def made(folder: Path, graph: str) -> Path:
    """Two adds, so that a chain of numbers runs over both; what one part said before it came again is past."""
    stock, rng = folder / "stock", np.random.default_rng(2)
    for names in (["plain", "right", "newest", "same"], ["right", "left", "drive", "old", "belt", "newer"]):
        table = table_of([(name, HOLES, np.full(5, 7.0), "outside") for name in names], rng)
        first = len(names) == 4
        for column in ("hand", "drive", "duty", "part_number", "replaces"):
            said = {name: SAID[name].get(column) for name in names}
            if first and column == "drive":
                said["right"] = "right"
            table.columns[column] = [said[part] for part in table.columns["part"]]
        if first:
            assert table.columns["drive"]
        storing.add([table.write(folder / "parts.parquet")], stock, graph)
    return stock


@pytest.mark.parametrize("kind", ["on disk", "oxigraph", "rdflib_endpoint"])
def test_the_same_answers_from_all_three(tmp_path, kind, request):
    graph = "" if kind == "on disk" else request.getfixturevalue(kind)
    stock = made(tmp_path, graph)
    found = stocking.find(host(), "host", stock, in_full=0).answer
    assert {one.part: one.speaks for one in found.found if one.speaks} == SPEAKS
    assert {one.part for one in found.found} == set(SAID) - {"belt"}
    assert found.not_judged == ("belt",)
    without = stocking.find(host(), "host", stock, without=["other hand", "other drive"], in_full=0).answer
    assert {one.part for one in without.found} == set(SAID) - {"belt", "right", "drive"}
    assert without.left_out == ("drive", "right")
    assert without.laid_on == found.laid_on - 2


def test_ask_puts_a_question_to_a_server(tmp_path, oxigraph):
    made(tmp_path, oxigraph)
    said = CliRunner().invoke(app, ["ask", "SELECT (COUNT(*) AS ?n) { GRAPH ?g { ?p partkin:hand ?h } }", "--graph",
                                    oxigraph, "--as", "csv"])  # fmt: skip
    assert said.exit_code == 0
    assert int(said.stdout.splitlines()[1]) >= 3
    said = CliRunner().invoke(app, ["ask", "DROP ALL", "--graph", oxigraph])
    assert isinstance(said.exception, FaultyInput)


def test_a_server_that_is_not_there_or_goes_away(tmp_path):
    with pytest.raises(RuntimeError, match="cannot be reached"):
        made(tmp_path, f"http://127.0.0.1:{free_port()}/query")
    assert not (tmp_path / "stock" / "manifest.json").exists()
    with socket.socket() as silent:
        silent.bind(("127.0.0.1", 0))
        silent.listen()
        with pytest.raises(RuntimeError, match=r"took more than 0\.5 s"):
            Server(f"http://127.0.0.1:{silent.getsockname()[1]}/query", seconds=0.5).rows("SELECT * {}")


def test_a_server_that_refuses_says_why(oxigraph):
    with pytest.raises(RuntimeError, match=r"refused \(400\)"):
        Server(oxigraph).rows("SELECT nonsense")
    with pytest.raises(RuntimeError, match=r"refused \(404\)"):
        Server(oxigraph.removesuffix("/query") + "/").rows("SELECT * {}")


def test_another_address_of_the_same_server_will_do(tmp_path, oxigraph):
    stock, other = made(tmp_path, oxigraph), oxigraph.replace("127.0.0.1", "localhost")
    found = stocking.find(host(), "host", stock, in_full=0, graph=other).answer.found
    assert {one.part: one.speaks for one in found if one.speaks} == SPEAKS


def test_a_stock_keeps_to_its_graph(tmp_path, oxigraph):
    stock = made(tmp_path, "")
    file = table_of([("more", HOLES, np.full(5, 7.0), None)], np.random.default_rng(3)).write(tmp_path / "m.parquet")
    with pytest.raises(FaultyInput, match="the stock itself"):
        storing.add([file], stock, oxigraph)
    with pytest.raises(FaultyInput, match="holds nothing of this stock"):
        stocking.find(host(), "host", stock, without=["other hand"], graph=oxigraph)


def test_what_an_add_left_in_the_server_that_was_never_finished_is_not_heard(tmp_path, oxigraph, monkeypatch):
    stock, rng = tmp_path / "stock", np.random.default_rng(4)
    one, other = (table_of([(name, HOLES, np.full(5, 7.0), None)], rng) for name in ("a", "n"))
    one.columns["part_number"] = ["C300"] * 5
    other.columns.update(part_number=["C300"] * 5, replaces=["B200"] * 5)
    storing.add([one.write(tmp_path / "a.parquet")], stock, oxigraph)
    with monkeypatch.context() as broken:
        broken.setattr(storing, "_store", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            storing.add([other.write(tmp_path / "n.parquet")], stock)
    found = answering.ask(stock, [stocking.question_of(host(), "host")])[0].found
    assert [(one.part, one.speaks) for one in found] == [("a", ())]
    storing.add([other.write(tmp_path / "n.parquet")], stock)
    found = answering.ask(stock, [stocking.question_of(host(), "host")])[0].found
    assert {one.part: one.speaks for one in found} == {"a": ("superseded",), "n": ("superseded",)}
