"""The same job for every partition: by threads on this machine, or as tasks of a Dask scheduler that is there."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from pathlib import Path
from threading import Event
from typing import Any, TypeVar

import numpy as np

from partkin.graph import stores
from partkin.graph.stores import WantedPart
from partkin.model import pulse
from partkin.model.problem import refused
from partkin.model.version import __version__
from partkin.stock.finding import Host, likely
from partkin.stock.index import Segment, gone_in
from partkin.stock.joining import Hit, tried

Job = TypeVar("Job")
Answer = TypeVar("Answer")
Said = Callable[[str, int, int], None]
# How long a scheduler may take to answer at all.
SECONDS_TO_ANSWER = 10


def look(stock: str, name: str, gone: str, hosts: Sequence[Host]) -> list[np.ndarray]:
    """Return, for each host, the parts of a partition that may go on it by their distances."""
    segment, out = opened(f"{stock}/{name}"), _gone(f"{stock}/{gone}" if gone else "")
    return [likely(host, segment, out) for host in hosts]


def lay(stock: str, names: Sequence[str], host: Host, parts: Sequence[np.ndarray]) -> list[list[Hit]]:
    """Lay parts of several partitions on a host all at once; the hits of each partition."""
    whole = Segment.gathered([(opened(f"{stock}/{name}"), own) for name, own in zip(names, parts, strict=True)])
    begins = np.cumsum([0, *map(len, parts)])
    found: list[list[Hit]] = [[] for _ in parts]
    for hit in tried(host, whole, np.arange(len(whole))):
        at = int(np.searchsorted(begins, hit.part, side="right")) - 1
        found[at].append(hit.of(int(parts[at][hit.part - begins[at]])))
    return found


def speak(
    store: str, graph: str, parts: Mapping[str, str], wanted: WantedPart, adds: frozenset[int]
) -> dict[str, tuple[str, ...]]:
    """Return what a graph says for and against parts, whose ids stand by their IRIs; see `stores.spoken_of`."""
    return stores.spoken_of(stores.opened(store), graph, parts, wanted, adds)


@lru_cache(maxsize=256)
def opened(folder: str) -> Segment:
    """Return a partition, mapped once."""
    return Segment.opened(Path(folder))


_gone = lru_cache(maxsize=256)(gone_in)


def by_threads(job: Callable[..., Answer], jobs: Sequence[tuple[Any, ...]], said: Said) -> list[Answer]:
    """Do the jobs on this machine, and return their answers in order."""
    workers = min(len(jobs), pulse.processors())
    if workers < 2:
        return [job(*one) for one in _counted(jobs, said)]
    pool, ended = ThreadPoolExecutor(workers), Event()
    within: dict[int, tuple[int, int]] = {}

    def done(place: int) -> Answer:
        def heard(what: str, steps: int, most: int) -> None:
            if ended.is_set():
                raise KeyboardInterrupt
            within[place] = steps, most
            said(what, *map(sum, zip(*list(within.values()), strict=True)))

        with pulse.heard(heard):
            return job(*jobs[place])

    try:
        return list(_counted(pool.map(done, range(len(jobs))), said, len(jobs)))
    finally:
        ended.set()
        pool.shutdown(cancel_futures=True)


def _counted(answers: Any, said: Said, total: int | None = None) -> Any:
    total = len(answers) if total is None else total
    for done, answer in enumerate(answers):
        said("partitions", done, total)
        yield answer
    said("partitions", total, total)


class Cluster:
    """A Dask scheduler with its workers, each of this very version.

    `address`: as Dask writes it: tcp://HOST:PORT.

    Raises
    ------
    RuntimeError
        No scheduler answers, it has no workers, or one is of another version.
    """

    def __init__(self, address: str) -> None:
        if not re.fullmatch(r"[a-z]+://.+:\d+", address):
            what = f"{address!r} is no address of a scheduler"
            raise refused("stock", 0, "--on", what, "Write it as tcp://HOST:PORT")
        from distributed import Client

        self.address = address
        try:
            self._client = Client(address, timeout=SECONDS_TO_ANSWER, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as fault:
            raise RuntimeError(f"no Dask scheduler answers at {address}: {fault}") from fault
        try:
            versions = self._client.run(_version)
        except Exception as fault:
            self.close()
            raise RuntimeError(f"a worker of {address} does not say which partkin it has: {fault}") from fault
        others = {worker: version for worker, version in versions.items() if version != __version__}
        if not versions or others:
            self.close()
            what = f"workers are of another version than {__version__}: {others}" if others else "it has no workers"
            raise RuntimeError(f"the scheduler at {address} cannot be used: {what}")

    def close(self) -> None:
        """Let go of the scheduler; it goes on."""
        self._client.close()

    def do(self, job: Callable[..., Answer], jobs: Sequence[tuple[Any, ...]], said: Said) -> list[Answer]:
        """Do the jobs on the workers, and return all of their answers in order.

        Raises
        ------
        RuntimeError
            One of them was not done, whatever the reason: an answer with a partition less is none.
        """
        from distributed import as_completed

        futures = [self._client.submit(job, *one, pure=False) for one in jobs]
        try:
            for done, future in enumerate(as_completed(futures, loop=self._client.loop)):
                said("partitions", done, len(futures))
                if future.status != "finished":
                    at = next(place for place, one in enumerate(futures) if one.key == future.key)
                    fault = future.exception()
                    raise RuntimeError(
                        f"{jobs[at][1]} of {jobs[at][0]} was not looked through, so there is no answer. Every worker "
                        f"needs the stock under the same path, and enough memory. {type(fault).__name__}: {fault}"
                    )
            answers: list[Answer] = self._client.gather(futures)
            return answers
        except OSError as fault:
            raise RuntimeError(f"the scheduler at {self.address} went away: {fault}") from fault
        finally:
            self._client.cancel(futures)


def _version() -> str:
    return __version__
