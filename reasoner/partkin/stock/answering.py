"""One question put to a stock, from the manifest to the rows that are shown."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa

from partkin.graph import stores
from partkin.graph.stores import RESTRAINT_PART, Server, WantedPart, is_url
from partkin.model.problem import refused
from partkin.stock import index
from partkin.stock.finding import Host
from partkin.stock.joining import GOES, Hit
from partkin.stock.sharing import Cluster, Said, by_threads, lay, look, opened, speak
from partkin.stock.storing import Manifest, Partition, read_manifest

# Parts that are laid on a host in one task, more or less.
PARTS_AT_ONCE = 8_192
Rows = dict[Partition, np.ndarray]
Do = Callable[[Any, Sequence[tuple[Any, ...]], Said], list[Any]]


class FoundPart(NamedTuple):
    """A part that was found, with what speaks for or against it besides its holes."""

    part: str
    version: int
    partition: str
    hit: Hit
    speaks: tuple[str, ...] = ()


class Answer(NamedTuple):
    """What a stock has for one host: parts that go on or may, best first.

    `parts`: how many there are in the stock. `laid_on`: how many were laid on the host. `not_judged`: restraint parts
    that distances do not rule out. `left_out`: parts left out because of what speaks against them.
    """

    found: tuple[FoundPart, ...]
    parts: int
    laid_on: int
    not_judged: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()


class StockQuestion(NamedTuple):
    """What is asked of a stock for one host; `without`: what must not speak against a part."""

    host: Host
    wanted: WantedPart
    without: frozenset[str] = frozenset()


def ask(
    stock: Path, questions: Sequence[StockQuestion], on: str = "", graph: str = "", said: Said = lambda *_: None
) -> list[Answer]:
    """Find the parts of a stock for several hosts.

    `on`: address of a Dask scheduler; empty: threads on this machine. `graph`: address of a SPARQL server in place of
    the one that the manifest names. `said`: hears how far it is.

    Raises
    ------
    FaultyInput
        There is no such stock, its manifest is damaged, an address is none, or the server holds nothing of it.
    RuntimeError
        A file of it cannot be read, or the scheduler, a worker or the server went away: there is no answer then,
        never a shorter one.
    """
    cluster = Cluster(on) if on else None
    do: Do = cluster.do if cluster is not None else by_threads
    try:
        manifest = read_manifest(stock)
        if graph and graph != manifest.graph:
            # What speaks against a part would be left out.
            held = Server(graph).rows(f"ASK {{ GRAPH <{stores.graph_iri(manifest.token)}> {{ ?s ?p ?o }} }}")
            if held != [{"answer": "true"}]:
                mend = "Leave --graph out, or add the parts to a stock with it"
                raise refused("graph", 0, "--graph", f"{graph} holds nothing of this stock", mend)
        try:
            return _Asking(stock.resolve(), manifest, graph, do, said).answers(questions)
        except FileNotFoundError as fault:
            # Written anew meanwhile, and what this manifest named was cleared.
            later = read_manifest(stock)
            if later == manifest:
                raise index.not_there(fault) from fault
            return _Asking(stock.resolve(), later, graph, do, said).answers(questions)
    finally:
        if cluster is not None:
            cluster.close()


class _Asking(NamedTuple):
    """A stock, as one manifest has it, that is asked; `do` does the jobs, and `said` hears how far they are."""

    stock: Path
    manifest: Manifest
    graph: str
    do: Do
    said: Said

    def answers(self, questions: Sequence[StockQuestion]) -> list[Answer]:
        """Return the answers; each step is taken for all hosts at once, so that no worker waits for another."""
        partitions, hosts = self.manifest.partitions, [question.host for question in questions]
        looked = self.do(look, [(str(self.stock), one.name, one.gone, hosts) for one in partitions], self.said)
        kept, restraints = [], []
        for at in range(len(questions)):
            likely = {one: parts[at] for one, parts in zip(partitions, looked, strict=True) if len(parts[at])}
            rows, gone = _without_restraints(self.stock, likely)
            kept.append(rows)
            restraints.append(gone)
        # What must not speak against a part is asked of all of them first; else only of those that are found.
        against = self._spoken(questions, [rows if q.without else {} for q, rows in zip(questions, kept, strict=True)])
        left_out = [
            {name for name, says in speaks.items() if not question.without.isdisjoint(says)}
            for question, speaks in zip(questions, against, strict=True)
        ]
        kept = [_without(self.stock, rows, names) for rows, names in zip(kept, left_out, strict=True)]
        laid = self._laid(hosts, kept)
        shown = [{one: np.array([hit.part for hit in hits]) for one, hits in each.items() if hits} for each in laid]
        speaks = self._spoken(questions, [{} if q.without else rows for q, rows in zip(questions, shown, strict=True)])
        return [
            self._answer(laid[at], against[at] | speaks[at], sum(map(len, kept[at].values())), restraints[at], out)
            for at, out in enumerate(left_out)
        ]

    def _laid(self, hosts: Sequence[Host], kept: Sequence[Rows]) -> list[dict[Partition, list[Hit]]]:
        """Return what goes on each host."""
        groups = [(at, group) for at, rows in enumerate(kept) for group in _groups(rows)]
        jobs = [
            (str(self.stock), [one.name for one in group], hosts[at], [kept[at][one] for one in group])
            for at, group in groups
        ]
        laid: list[dict[Partition, list[Hit]]] = [{} for _ in hosts]
        for (at, group), hits in zip(groups, self._done(lay, jobs), strict=True):
            laid[at] |= dict(zip(group, hits, strict=True))
        return laid

    def _spoken(
        self, questions: Sequence[StockQuestion], asked: Sequence[Rows]
    ) -> list[dict[str, tuple[str, ...]]]:  # fmt: skip
        """Return what the graph says of the parts that each question is about, by id."""
        found: list[dict[str, tuple[str, ...]]] = [{} for _ in questions]
        place = self.graph or self.manifest.graph
        about = [at for at, rows in enumerate(asked) if rows and place]
        own, adds = stores.graph_iri(self.manifest.token), frozenset(self.manifest.adds)
        # A server may be within reach of this machine alone.
        store, do = (place, self._here) if is_url(place) else (str(self.stock / place), self._done)
        jobs = [(store, own, self._iris(asked[at]), questions[at].wanted, adds) for at in about]
        for at, says in zip(about, do(speak, jobs), strict=True):
            found[at] = says
        return found

    def _iris(self, rows: Rows) -> dict[str, str]:
        """Return the id of each part by its IRI."""
        found: dict[str, str] = {}
        for one, parts in rows.items():
            names, adds = (_column(self.stock, one, column).take(parts).to_pylist() for column in ("part", "added"))
            found |= {stores.part_iri(name, at): name for name, at in zip(names, adds, strict=True)}
        return found

    def _here(self, job: Any, jobs: Sequence[tuple[Any, ...]]) -> list[Any]:
        return by_threads(job, jobs, self.said)

    def _done(self, job: Any, jobs: Sequence[tuple[Any, ...]]) -> list[Any]:
        """Do jobs where they are best done: one alone is not worth the way to a worker."""
        return self._here(job, jobs) if len(jobs) < 2 else self.do(job, jobs, self.said)

    def _answer(
        self, laid: dict[Partition, list[Hit]], speaks: dict[str, tuple[str, ...]], laid_on: int, restraints: set[str],
        left_out: set[str],
    ) -> Answer:  # fmt: skip
        found = []
        for one, hits in laid.items():
            at = np.array([hit.part for hit in hits], dtype=np.int64)
            names, versions = (_column(self.stock, one, column).take(at).to_pylist() for column in ("part", "version"))
            found += [
                FoundPart(name, version, one.name, hit, speaks.get(name, ()))
                for name, version, hit in zip(names, versions, hits, strict=True)
            ]
        restraints = restraints | {one.part for one in found if RESTRAINT_PART in one.speaks}
        told = (one for one in found if one.part not in restraints)
        return Answer(
            tuple(sorted(told, key=_best_first)), self.manifest.parts, laid_on, tuple(sorted(restraints)),
            tuple(sorted(left_out - restraints)),
        )  # fmt: skip


def _groups(rows: Rows) -> list[list[Partition]]:
    """Partitions of which so many parts are laid on together at once."""
    found: dict[int, list[Partition]] = {}
    before = 0
    for one, parts in rows.items():
        found.setdefault(before // PARTS_AT_ONCE, []).append(one)
        before += len(parts)
    return list(found.values())


def _without_restraints(stock: Path, rows: Rows) -> tuple[Rows, set[str]]:
    """The parts that may be laid on, and the names of restraint parts, which never are."""
    kept, gone = {}, set()
    for one, parts in rows.items():
        restraint = (np.asarray(opened(f"{stock}/{one.name}").flags)[parts] & index.RESTRAINT) > 0
        if restraint.any():
            gone |= set(_column(stock, one, "part").take(parts[restraint]).to_pylist())
        kept[one] = parts[~restraint]
    return {one: parts for one, parts in kept.items() if len(parts)}, gone


def _without(stock: Path, rows: Rows, names: set[str]) -> Rows:
    if not names:
        return rows
    kept = {}
    for one, parts in rows.items():
        own = _column(stock, one, "part").take(parts).to_pylist()
        kept[one] = parts[[name not in names for name in own]]
    return {one: parts for one, parts in kept.items() if len(parts)}


def _best_first(found: FoundPart) -> tuple[bool, int, float, str]:
    margin = found.hit.margin_mm
    return found.hit.state != GOES, -found.hit.holds, np.inf if margin is None else -margin, found.part


def _column(stock: Path, one: Partition, name: str) -> pa.ChunkedArray:
    return _table(str(stock / one.name)).column(name)


@lru_cache(maxsize=64)
def _table(folder: str) -> pa.Table:
    return index.read_rows(Path(folder, "parts.parquet"), ["part", "version", "added"])


def rows_of(stock: Path, found: FoundPart) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Return the row of a part as it was added, and those of its features."""
    folder = stock / found.partition
    first = opened(f"{stock.resolve()}/{found.partition}").first
    begin, end = int(first[found.hit.part]), int(first[found.hit.part + 1])
    try:
        part = index.read_rows(folder / "parts.parquet").slice(found.hit.part, 1).to_pylist()[0]
        return part, index.read_rows(folder / "features.parquet").slice(begin, end - begin).to_pylist()
    except FileNotFoundError as fault:
        raise index.not_there(fault) from fault
