"""A stock on disk: a folder of Parquet files, and a manifest that is replaced as a whole.

Every file but the manifest is written once, under a name of its own, and never changed. A reader follows one manifest
and sees all of an `add` or nothing of it; what a killed `add` left behind no manifest names, and the next one clears.
"""

from __future__ import annotations

import contextlib
import json
import secrets
import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, field, replace
from hashlib import sha256
from itertools import chain
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import parquet

from partkin.graph import stores
from partkin.graph.stores import OnDisk, Server, is_url
from partkin.model.problem import FaultyInput, Problem, refuse_any, refused
from partkin.sheets.files import put_whole, sync
from partkin.stock import incoming, index
from partkin.stock.incoming import Batch

try:
    import fcntl
except ImportError:  # pragma: no cover
    fcntl = None  # type: ignore[assignment]

MANIFEST = "manifest.json"
# Parts of one partition at most; smaller ones are put together as they come.
PARTS_AT_MOST = 65_536
_LIKE_SIZED = 2
_FILES = ("parts.parquet", "features.parquet", "specs.parquet")
FORMAT = 1


@dataclass(frozen=True)
class Partition:
    """One partition as the manifest names it.

    `gone`: file of the parts that a later version or `drop` took out; empty: none. `digests`: SHA-256 by file.
    """

    name: str
    parts: int
    features: int
    gone: str = ""
    gone_parts: int = 0
    digests: dict[str, str] = field(default_factory=dict, hash=False)


@dataclass(frozen=True)
class Manifest:
    """What a stock holds. `adds`: numbers of those that were finished. `token`: names its graph on a server."""

    generation: int = 0
    partitions: tuple[Partition, ...] = ()
    adds: tuple[int, ...] = ()
    graph: str = ""
    token: str = ""

    @property
    def parts(self) -> int:
        """Parts that there are, each in its newest version."""
        return sum(one.parts - one.gone_parts for one in self.partitions)


class Added(NamedTuple):
    """What an `add` did: parts that are new, parts of which there is a new version, faults of what stayed out."""

    new: int
    again: int
    problems: tuple[Problem, ...] = ()


def read_manifest(stock: Path) -> Manifest:
    """Return what a stock holds.

    Raises
    ------
    FaultyInput
        There is none there, or its manifest is damaged.
    """
    try:
        told = json.loads((stock / MANIFEST).read_bytes())
    except FileNotFoundError:
        mend = "Make one: partkin stock add FILE --to STOCK"
        raise refused(stock.name, 0, "stock", f"there is no stock in {stock.as_posix()}", mend) from None
    except ValueError:
        raise _damaged(stock, MANIFEST, "it is not JSON") from None
    body = told.get("stock") if isinstance(told, dict) else None
    if not isinstance(body, dict) or told.get("digest") != _digest_of(body):
        raise _damaged(stock, MANIFEST, "it is not as it was written")
    if told.get("format") != FORMAT:
        what = f"it is of format {told.get('format')}, and this partkin knows {FORMAT}"
        raise refused(stock.name, 0, "stock", what, "Use the partkin that wrote it")
    rows = tuple(Partition(**one) for one in body.pop("partitions"))
    return Manifest(**{**body, "adds": tuple(body["adds"])}, partitions=rows)


def _damaged(stock: Path, file: str, what: str) -> FaultyInput:
    mend = "Bring it back from a copy, or add its parts anew to another stock"
    return refused(stock.name, 0, file, f"{file} is damaged: {what}", mend)


def _digest_of(body: Any) -> str:
    return sha256(json.dumps(body, sort_keys=True).encode()).hexdigest()


def _write_manifest(stock: Path, manifest: Manifest) -> None:
    body = json.loads(json.dumps(asdict(manifest)))
    content = json.dumps({"format": FORMAT, "digest": _digest_of(body), "stock": body}, indent=1).encode()
    put_whole(stock / MANIFEST, content)


@contextlib.contextmanager
def _alone(stock: Path) -> Iterator[None]:
    """Keep others from writing to a stock meanwhile; a dead process lets go by itself."""
    if fcntl is None:
        yield
        return
    with (stock / ".lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as fault:
            what = f"another partkin is writing to {stock.as_posix()}; try again when it is done"
            raise RuntimeError(what) from fault
        try:
            yield
        except FileNotFoundError as fault:
            raise index.not_there(fault) from fault


def add(
    files: Sequence[Path], stock: Path, graph: str = "", said: Callable[[str, int, int], None] = lambda *_: None
) -> Added:
    """Add the parts of files to a stock, all that are sound or, where it is interrupted, none.

    `files`: build folders, Turtle, CSV or Parquet. `stock`: made where there is none. `graph`: address of a SPARQL
    server for what is known of the parts besides; empty: a store in the stock. `said`: hears how far it is.

    Raises
    ------
    FaultyInput
        A file cannot be read at all, or no part of any is sound.
    """
    found = [incoming.read(file) for file in files]
    problems = tuple(one for _, faults in found for one in faults)
    batch = _newest(incoming.joined([batch for batch, _ in found]))
    if not len(batch):
        none = Problem(files[0].name, 0, "file", "it holds no part with a feature", "Add one")
        raise FaultyInput(problems or (none,))
    _check_place(stock, graph)
    stock.mkdir(parents=True, exist_ok=True)
    with _alone(stock):
        manifest = _begun(stock, graph)
        number = manifest.generation + 1
        partitions, versions = _superseded(stock, manifest, batch.parts.column("part"), number)
        parts = batch.parts.append_column("version", pa.array(versions))
        parts = parts.append_column("added", pa.array(np.full(len(batch), number, dtype=np.int32)))
        batch = replace(batch, parts=parts)
        graph = _grow_graph(stock, manifest, batch, number)
        partitions = _store(stock, partitions, batch, number, said)
        finished = replace(
            manifest, generation=number, partitions=tuple(partitions), adds=(*manifest.adds, number), graph=graph
        )
        _write_manifest(stock, finished)
        (stock / _STARTED).unlink(missing_ok=True)
        _sweep(stock, manifest, finished)
    again = int((versions > 1).sum())
    return Added(len(batch) - again, again, problems)


_STARTED = "adding"
_OWN = ("partition-", "graph-", f".{MANIFEST}", f".{_STARTED}")


def _check_place(stock: Path, graph: str) -> None:
    """Refuse a place that is no stock and cannot become one, and a server that does not answer."""
    name, mend = stock.name, "Name a folder of its own"
    if stock.exists() and not stock.is_dir():
        raise refused(name, 0, "--to", f"{stock.as_posix()} is a file", mend)
    own = (MANIFEST, _STARTED, ".lock")
    others = [path.name for path in sorted(stock.glob("*")) if path.name not in own and not path.name.startswith(_OWN)]
    if others and not (stock / MANIFEST).exists():
        raise refused(name, 0, "--to", f"{stock.as_posix()} is no stock, and holds {others[0]}", mend)
    if graph:
        Server(graph).rows("ASK {}")


def _begun(stock: Path, graph: str) -> Manifest:
    """The manifest to go on from; the number of an `add` that was begun and never finished is not used again."""
    if (stock / MANIFEST).exists():
        manifest = read_manifest(stock)
        if graph and graph != manifest.graph:
            where = manifest.graph if is_url(manifest.graph) else "the stock itself"
            mend = "Leave --graph out, or begin another stock"
            raise refused(stock.name, 0, "--graph", f"its graph is kept in {where}", mend)
    else:
        manifest = Manifest(graph=graph, token=secrets.token_hex(8))
    started = stock / _STARTED
    last = int(started.read_text()) if started.exists() else 0
    manifest = replace(manifest, generation=max(manifest.generation, last))
    put_whole(started, str(manifest.generation + 1).encode())
    _sweep(stock, manifest, manifest)
    return manifest


def _newest(batch: Batch) -> Batch:
    """Of a part that comes twice in one go, the last."""
    codes = np.asarray(batch.parts.column("part").combine_chunks().dictionary_encode().indices)
    last = len(codes) - 1 - np.unique(codes[::-1], return_index=True)[1]
    return batch if len(last) == len(codes) else batch.take(np.sort(last))


def _superseded(
    stock: Path, manifest: Manifest, names: pa.ChunkedArray, number: int
) -> tuple[list[Partition], np.ndarray]:
    """The partitions without the parts that come again, and which version each of those now is."""
    names = names.combine_chunks()
    versions, partitions = np.ones(len(names), dtype=np.int32), []
    for one in manifest.partitions:
        held = index.read_rows(stock / one.name / _FILES[0], columns=["part", "version"])
        at = np.asarray(pc.index_in(held.column("part"), names).combine_chunks().fill_null(-1))
        hit = np.flatnonzero(at >= 0)
        np.maximum.at(versions, at[hit], np.asarray(held.column("version"))[hit] + 1)
        partitions.append(_without(stock, one, hit, number))
    return partitions, versions


def _without(stock: Path, one: Partition, rows: np.ndarray, number: int) -> Partition:
    """A partition with these parts taken out as well: in a file of its own, so that readers are not disturbed."""
    before = gone_of(stock, one)
    gone = np.union1d(before, rows).astype(np.int32)
    if len(gone) == len(before):
        return one
    name = f"{one.name}-gone-{number:06d}.npy"
    np.save(stock / name, gone)
    sync(stock / name)
    digests = {file: digest for file, digest in one.digests.items() if file != one.gone}
    return replace(one, gone=name, gone_parts=len(gone), digests={**digests, name: _digest_file(stock / name)})


def gone_of(stock: Path, one: Partition) -> np.ndarray:
    """Rows of a partition that are not there any more."""
    return index.gone_in(f"{stock}/{one.gone}" if one.gone else "")


def _grow_graph(stock: Path, manifest: Manifest, batch: Batch, number: int) -> str:
    """Add what is known of the parts to the graph, and return where that is now."""
    chunks = _texts(batch, number)
    iri = stores.graph_iri(manifest.token)
    if is_url(manifest.graph):
        Server(manifest.graph).add(iri, chunks)
        return manifest.graph
    first = next(chunks, "")
    if not first and manifest.graph:
        return manifest.graph
    name = f"graph-{number:06d}"
    before = stock / manifest.graph if manifest.graph else None
    OnDisk.grown(before, stock / name, iri, chain((first,) if first else (), chunks))
    return name


def _texts(batch: Batch, number: int) -> Iterator[str]:
    """What is known of the parts, as N-Triples: each different cell is written once, then told of its parts."""
    written = []
    for column in incoming.PART_COLUMNS:
        coded = batch.parts.column(column.name).combine_chunks().dictionary_encode()
        values = (incoming.value_of(column, cell) for cell in coded.dictionary.to_pylist())
        written.append((np.asarray(coded.indices.fill_null(-1)), stores.pieces_of(column, values)))
    for start in range(0, len(batch), PARTS_AT_MOST):
        names = batch.parts.column("part").slice(start, PARTS_AT_MOST).to_pylist()
        iris = [stores.part_iri(name, number) for name in names]
        text = "".join(
            iri.join(pieces[code])
            for codes, pieces in written if pieces
            for iri, code in zip(iris, codes[start : start + PARTS_AT_MOST].tolist(), strict=True) if code >= 0
        )  # fmt: skip
        if text:
            yield text


def _store(
    stock: Path, partitions: list[Partition], batch: Batch, number: int, said: Callable[[str, int, int], None]
) -> list[Partition]:
    """Write the parts as partitions, together with small ones that were there before."""
    kept = list(partitions)
    while kept and kept[-1].parts <= min(_LIKE_SIZED * len(batch), PARTS_AT_MOST // 2):
        last = kept.pop()
        # Older versions are kept, with which of the parts are not there any more.
        before = read_batch(stock, last)
        out = np.zeros(len(before), dtype=bool)
        out[gone_of(stock, last)] = True
        before = replace(before, parts=before.parts.append_column("gone", pa.array(out)))
        batch = incoming.joined([before, batch])
    gone = None
    if "gone" in batch.parts.column_names:
        gone = np.asarray(batch.parts.column("gone").combine_chunks().fill_null(False))
        batch = replace(batch, parts=batch.parts.drop_columns(["gone"]))
    for place, start in enumerate(range(0, len(batch), PARTS_AT_MOST)):
        rows = np.arange(start, min(start + PARTS_AT_MOST, len(batch)))
        said("parts", start, len(batch))
        one = _write_partition(stock, batch.take(rows), f"partition-{number:06d}-{place:04d}")
        if gone is not None:
            one = _without(stock, one, np.flatnonzero(gone[rows]), number)
        kept.append(one)
    said("parts", len(batch), len(batch))
    return kept


def read_batch(stock: Path, one: Partition) -> Batch:
    """Read a partition whole."""
    parts = index.read_rows(stock / one.name / _FILES[0])
    features = index.read_rows(stock / one.name / _FILES[1])
    with index.readable(stock / one.name):
        return Batch(parts, features, np.load(stock / one.name / "first.npy"))


def _write_partition(stock: Path, batch: Batch, name: str) -> Partition:
    folder = stock / name
    folder.mkdir()
    parquet.write_table(batch.parts, folder / _FILES[0])
    parquet.write_table(batch.features, folder / _FILES[1])
    index.write(batch, folder)
    digests = {}
    for file in sorted(folder.iterdir()):
        sync(file)
        digests[f"{name}/{file.name}"] = _digest_file(file)
    sync(folder)
    return Partition(name, len(batch), batch.features.num_rows, digests=digests)


def _digest_file(path: Path) -> str:
    with path.open("rb") as file:
        digest = sha256()
        while piece := file.read(1 << 22):
            digest.update(piece)
    return digest.hexdigest()


def _sweep(stock: Path, before: Manifest, now: Manifest) -> None:
    """Clear what neither this manifest nor the one before it names: readers may still follow that one."""
    named = {MANIFEST, _STARTED, ".lock"}
    for manifest in (before, now):
        named |= {one.name for one in manifest.partitions} | {one.gone for one in manifest.partitions}
        named.add(manifest.graph)
    for path in stock.iterdir():
        if path.name in named or not path.name.startswith(_OWN):
            continue
        shutil.rmtree(path, ignore_errors=True) if path.is_dir() else path.unlink(missing_ok=True)


def drop(stock: Path, parts: Sequence[str]) -> int:
    """Take parts out of what is found; their rows stay. Returns how many there were.

    Raises
    ------
    FaultyInput
        There is no such part.
    """
    read_manifest(stock)
    with _alone(stock):
        manifest = read_manifest(stock)
        number, names = manifest.generation + 1, pa.array(list(parts))
        rows, seen = [], np.zeros(len(parts), dtype=bool)
        for one in manifest.partitions:
            held = index.read_rows(stock / one.name / _FILES[0], columns=["part"]).column("part")
            at = np.asarray(pc.index_in(held, names).combine_chunks().fill_null(-1))
            hit = np.setdiff1d(np.flatnonzero(at >= 0), gone_of(stock, one))
            seen[at[hit]] = True
            rows.append(hit)
        lacking = [name for name, there in zip(parts, seen, strict=True) if not there]
        refuse_any(
            Problem(stock.name, 0, "part", f"there is no part {name!r}", "Mind its spelling") for name in lacking
        )
        partitions = tuple(
            _without(stock, one, hit, number) for one, hit in zip(manifest.partitions, rows, strict=True)
        )
        finished = replace(manifest, generation=number, partitions=partitions)
        _write_manifest(stock, finished)
        _sweep(stock, manifest, finished)
    return sum(map(len, rows))


def examine(stock: Path) -> tuple[Problem, ...]:
    """Return what is wrong with a stock: files that are not there, or not as they were written."""
    manifest = read_manifest(stock)
    found: list[Problem] = []
    for one in manifest.partitions:
        for file, digest in sorted(one.digests.items()):
            path = stock / file
            what = "it is not there" if not path.is_file() else None
            if what is None and _digest_file(path) != digest:
                what = "it is not as it was written"
            if what is not None:
                found += _damaged(stock, file, what).problems
    if manifest.graph and not is_url(manifest.graph):
        try:
            OnDisk(stock / manifest.graph).rows("SELECT ?s WHERE { GRAPH ?g { ?s ?p ?o } } LIMIT 1")
        except (OSError, RuntimeError) as fault:
            found += _damaged(stock, manifest.graph, incoming.why_not_read(fault)).problems
    return tuple(found)
