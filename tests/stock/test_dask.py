"""On a Dask scheduler the answer is the same, or there is none and it is said why: never a shorter one."""

from __future__ import annotations

import os
import shutil
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import numpy as np
import pytest

from partkin.commands import stocking
from partkin.model.problem import FaultyInput
from partkin.stock import answering, sharing, storing
from stock_makers import host_build, pattern, scheduler, stock_of

SIX = pattern(np.random.default_rng(1), 6)


@pytest.fixture(scope="module")
def stock(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Several partitions of parts."""
    folder = tmp_path_factory.mktemp("stock")
    rng = np.random.default_rng(2)
    for place, count in enumerate((300, 120, 50)):
        table = stock_of(rng, SIX, count)
        table.columns["part"] = [f"{place}{name}" for name in table.columns["part"]]
        storing.add([table.write(folder / "parts.parquet")], folder / "stock")
    assert len(storing.read_manifest(folder / "stock").partitions) == 3
    return folder / "stock"


@pytest.fixture(scope="module")
def cluster() -> Iterator[str]:
    with ExitStack() as ends:
        yield scheduler(ends, 2)[0]


def question() -> stocking.Question:
    return stocking.question_of(host_build(SIX), "host")


def test_workers_find_what_threads_find(stock, cluster, monkeypatch):
    here = answering.ask(stock, [question()])
    assert len(here[0].found) == 30
    assert answering.ask(stock, [question()] * 2, cluster) == here * 2
    monkeypatch.setattr(answering, "PARTS_AT_ONCE", 1)
    assert answering.ask(stock, [question()], cluster) == here


def test_an_end_asked_for_in_the_middle_ends_every_thread(monkeypatch):
    monkeypatch.setattr(sharing.pulse, "processors", lambda: 2)
    began = threading.Event()

    def job(place: int) -> None:
        if place == 0:
            began.wait(30)
            raise KeyboardInterrupt
        for step in range(3000):
            began.set()
            sharing.pulse.beat("steps", step, 3000)
            time.sleep(0.01)

    at = time.perf_counter()
    with pytest.raises(KeyboardInterrupt):
        sharing.by_threads(job, [(0,), (1,)], lambda *_: None)
    assert time.perf_counter() - at < 15


def test_a_partition_that_cannot_be_read_is_no_shorter_list(stock, cluster, tmp_path):
    copy = tmp_path / "stock"
    shutil.copytree(stock, copy)
    one = storing.read_manifest(copy).partitions[1]
    (copy / one.name / "key.npy").write_bytes(b"nothing of the kind")
    for on in ("", cluster):
        with pytest.raises(RuntimeError, match=one.name):
            answering.ask(copy, [question()], on)
    (copy / one.name / "key.npy").unlink()
    for on in ("", cluster):
        with pytest.raises((RuntimeError, FileNotFoundError), match=one.name):
            answering.ask(copy, [question()], on)


def test_a_scheduler_that_is_not_there(stock, monkeypatch):
    monkeypatch.setattr(sharing, "SECONDS_TO_ANSWER", 1)
    with pytest.raises(RuntimeError, match="no Dask scheduler answers at tcp://127"):
        answering.ask(stock, [question()], "tcp://127.0.0.1:9")
    with pytest.raises(FaultyInput, match="no address of a scheduler"):
        answering.ask(stock, [question()], "nonsense")


def test_workers_of_another_version_are_refused(stock, cluster, monkeypatch):
    monkeypatch.setattr(sharing, "__version__", "0.0.1")
    with pytest.raises(RuntimeError, match="another version"):
        answering.ask(stock, [question()], cluster)


def _slow(path: str, name: str) -> int:
    """A task that a worker is busy with; the first to have it writes down who that is."""
    file = Path(path)
    if not file.exists():
        file.write_text(str(os.getpid()))
    time.sleep(2.0)
    return len(name)


def test_a_worker_that_dies_in_the_middle(tmp_path):
    with ExitStack() as ends:
        address, workers = scheduler(ends, 2)
        own = sharing.Cluster(address)
        ends.callback(own.close)
        said = tmp_path / "who"

        def kill() -> None:
            while not said.exists() or not said.read_text():
                time.sleep(0.05)
            next(run for run in workers if run.pid == int(said.read_text())).kill()

        threading.Thread(target=kill, daemon=True).start()
        jobs = [(str(said), f"{'x' * k}") for k in range(4)]
        assert own.do(_slow, jobs, lambda *_: None) == [0, 1, 2, 3]
        for run in workers:
            run.kill()
        for _ in range(100):
            time.sleep(0.2)
            try:
                sharing.Cluster(address).close()
            except RuntimeError as fault:
                # Until the scheduler has noticed there is one that does not say which partkin it has.
                if "it has no workers" in str(fault):
                    return
        raise AssertionError("a scheduler without workers was not refused")
