"""One question put to a stock, from the manifest to the rows that are shown."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from partkin.graph import in_stock
from partkin.graph.in_stock import RESTRAINT_PART, WantedPart
from partkin.graph.stores import Server, is_url
from partkin.stock import index
from partkin.stock.finding import Host
from partkin.stock.joining import GOES, Hit
from partkin.stock.sharing import Cluster, Said, by_threads, lay, look, opened
from partkin.stock.storing import Manifest, Partition, read_manifest

# Parts that are laid on a host in one task, more or less.
PARTS_AT_ONCE = 8_192
Rows = dict[Partition, np.ndarray]
Do = Callable[[Any, Sequence[tuple[Any, ...]], Said], list[Any]]


@dataclass(frozen=True)
class FoundPart:
    """A part that was found, with what speaks for or against it besides its holes."""

    part: str
    version: int
    partition: str
    hit: Hit
    speaks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Answer:
    """What a stock has for one host: parts that go on or may, best first.

    `parts`: how many there are in the stock. `laid_on`: how many were laid on the host. `not_judged`: restraint parts
    that distances do not rule out. `left_out`: parts left out because of what speaks against them.
    """

    found: tuple[FoundPart, ...]
    parts: int
    laid_on: int
    not_judged: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True)
class StockQuestion:
    """What is asked of a stock for one host; `without`: what must not speak against a part."""

    host: Host
    wanted: WantedPart
    without: frozenset[str] = frozenset()


def ask(
    stock: Path, questions: Sequence[StockQuestion], on: str = "", graph: str = "", said: Said = lambda *_: None
) -> list[Answer]:
    """Find the parts of a stock for several hosts.

    Parameters
    ----------
    stock, questions
    on
        Address of a Dask scheduler; empty: threads on this machine.
    graph
        Address of a SPARQL server in place of the one that the manifest names.
    said
        Hears how far it is.

    Raises
    ------
    FaultyInput
        There is no such stock, its manifest is damaged, or an address is none.
    RuntimeError
        A file of it cannot be read, or the scheduler, a worker or the server went away: there is no answer then,
        never a shorter one.
    """
    if graph:
        Server(graph)
    cluster = Cluster(on) if on else None
    do: Do = cluster.do if cluster is not None else by_threads
    try:
        manifest = read_manifest(stock)
        try:
            return _asked(stock, manifest, questions, do, graph, said)
        except FileNotFoundError as fault:
            # Written anew meanwhile, and what this manifest named was cleared.
            later = read_manifest(stock)
            if later == manifest:
                raise index.not_there(fault) from fault
            return _asked(stock, later, questions, do, graph, said)
    finally:
        if cluster is not None:
            cluster.close()


def _asked(
    stock: Path, manifest: Manifest, questions: Sequence[StockQuestion], do: Do, graph: str, said: Said
) -> list[Answer]:
    hosts = [question.host for question in questions]
    place = str(stock.resolve())
    looked = do(look, [(place, one.name, one.gone, hosts) for one in manifest.partitions], said)
    kept = [
        _Kept.of(stock, manifest, question, _filled(manifest.partitions, (parts[at] for parts in looked)), graph)
        for at, question in enumerate(questions)
    ]
    # The hosts are shared out together: one alone would have the workers wait for each other.
    groups = [(at, group) for at, one in enumerate(kept) for group in _groups(one.rows)]
    jobs = [
        (place, [one.name for one in group], hosts[at], [kept[at].rows[one] for one in group]) for at, group in groups
    ]
    laid: list[dict[Partition, list[Hit]]] = [{} for _ in questions]
    done = by_threads(lay, jobs, said) if len(jobs) < 2 else do(lay, jobs, said)
    for (at, group), hits in zip(groups, done, strict=True):
        laid[at] |= dict(zip(group, hits, strict=True))
    return [
        _answered(stock, manifest, question, one, hits, graph)
        for question, one, hits in zip(questions, kept, laid, strict=True)
    ]


def _filled(partitions: Iterable[Partition], parts: Iterable[np.ndarray]) -> Rows:
    return {one: rows for one, rows in zip(partitions, parts, strict=True) if len(rows)}


def _groups(rows: Rows) -> list[list[Partition]]:
    """Partitions of which so many parts are laid on together at once."""
    found: dict[int, list[Partition]] = {}
    before = 0
    for one, parts in rows.items():
        found.setdefault(before // PARTS_AT_ONCE, []).append(one)
        before += len(parts)
    return list(found.values())


@dataclass(frozen=True)
class _Kept:
    """The parts that are to be laid on a host, and those that are not though distances allow it."""

    rows: Rows
    restraints: frozenset[str]
    left_out: frozenset[str]
    speaks: dict[str, tuple[str, ...]]

    @classmethod
    def of(cls, stock: Path, manifest: Manifest, question: StockQuestion, rows: Rows, graph: str) -> _Kept:
        rows, restraints = _without_restraints(stock, rows)
        # What must not speak against a part is asked of all of them first; else only of those that are found.
        speaks = _spoken(stock, manifest, question, rows, graph) if question.without else {}
        left_out = {name for name, says in speaks.items() if not question.without.isdisjoint(says)}
        return cls(_without(stock, rows, left_out), frozenset(restraints), frozenset(left_out), speaks)


def _answered(
    stock: Path, manifest: Manifest, question: StockQuestion, kept: _Kept, laid: dict[Partition, list[Hit]], graph: str
) -> Answer:
    shown = _filled(laid, (np.array([hit.part for hit in hits], dtype=np.int64) for hits in laid.values()))
    speaks = kept.speaks if question.without else _spoken(stock, manifest, question, shown, graph)
    found = []
    for one, at in shown.items():
        names, versions = (_column(stock, one, column).take(at).to_pylist() for column in ("part", "version"))
        found += [
            FoundPart(name, version, one.name, hit, speaks.get(name, ()))
            for name, version, hit in zip(names, versions, laid[one], strict=True)
        ]
    restraints = {one.part for one in found if RESTRAINT_PART in one.speaks}
    return Answer(
        tuple(sorted((one for one in found if one.part not in restraints), key=_best_first)), manifest.parts,
        sum(map(len, kept.rows.values())), tuple(sorted(restraints | kept.restraints)),
        tuple(sorted(kept.left_out - kept.restraints)),
    )  # fmt: skip


def _without_restraints(stock: Path, rows: Rows) -> tuple[Rows, set[str]]:
    """The parts that may be laid on, and the names of restraint parts, which never are."""
    kept, gone = {}, set()
    for one, parts in rows.items():
        restraint = (np.asarray(opened(f"{stock.resolve()}/{one.name}").flags)[parts] & index.RESTRAINT) > 0
        if restraint.any():
            gone |= set(_names(stock, one, parts[restraint]))
        kept[one] = parts[~restraint]
    return {one: parts for one, parts in kept.items() if len(parts)}, gone


def _without(stock: Path, rows: Rows, names: set[str]) -> Rows:
    if not names:
        return rows
    kept = {one: parts[[name not in names for name in _names(stock, one, parts)]] for one, parts in rows.items()}
    return {one: parts for one, parts in kept.items() if len(parts)}


def _best_first(found: FoundPart) -> tuple[bool, int, float, str]:
    margin = found.hit.margin_mm
    return found.hit.state != GOES, -found.hit.holds, np.inf if margin is None else -margin, found.part


def _spoken(
    stock: Path, manifest: Manifest, question: StockQuestion, rows: Rows, graph: str
) -> dict[str, tuple[str, ...]]:
    """What the graph says of these parts."""
    place = graph or manifest.graph
    if not place or not rows:
        return {}
    iris: dict[str, str] = {}
    for one, parts in rows.items():
        adds = _column(stock, one, "added").take(parts).to_pylist()
        iris |= {in_stock.part_iri(name, at): name for name, at in zip(_names(stock, one, parts), adds, strict=True)}
    store = in_stock.opened(place if is_url(place) else stock / place)
    own = in_stock.graph_iri(manifest.token)
    return in_stock.spoken_of(store, own, iris, question.wanted, frozenset(manifest.adds))


def _names(stock: Path, one: Partition, parts: np.ndarray) -> list[str]:
    return _column(stock, one, "part").take(parts).to_pylist()  # type: ignore[no-any-return]


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
