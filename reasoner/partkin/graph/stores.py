"""The statements of a stock: kept in a store on disk or a SPARQL 1.1 server, and what they say of its parts."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from errno import ENOENT
from functools import lru_cache
from http.client import HTTPException
from pathlib import Path
from typing import Any, Protocol
from urllib.error import HTTPError
from urllib.parse import urlencode
from urllib.request import Request, urlopen

from partkin.graph.graph import query_files, texts_of, with_given
from partkin.graph.names import concept, full, last, plain_number, segment
from partkin.graph.statements import IDENTIFIER, ORDER, ROW, TYPE, StatementWriter, build_iri
from partkin.model.build import Build, Part, Settings
from partkin.model.columns import Column
from partkin.model.problem import refused

Row = dict[str, str]
SECONDS_AT_MOST = 30.0
# Statements in one update, where a server takes nothing else.
LINES_AT_ONCE = 2_000
LINES_IN_A_FILE = 100_000
_JSON = "application/sparql-results+json"
# Files that the store on disk adds to; all others of it never change once they are written.
_CHANGING = ("CURRENT", "IDENTITY", "LOCK", "LOG", "MANIFEST", "OPTIONS")


class OnDisk:
    """A store in a folder, only read; `grown` makes another one from it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def rows(self, sparql: str) -> list[Row]:
        """Return the rows of a SELECT as texts by variable; what is not bound is left out."""
        return texts_of(_opened(str(self.folder)).query(sparql))

    @staticmethod
    def grown(before: Path | None, folder: Path, graph: str, texts: Iterable[str]) -> None:
        """Write a store with all that another one holds, and N-Triples in a graph of their own.

        The other one is not touched: what it never changes is shared with it, not copied.
        """
        from pyoxigraph import NamedNode, RdfFormat, Store

        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        for file in sorted(before.iterdir()) if before is not None else ():
            if file.name.startswith(_CHANGING) or file.suffix != ".sst":
                shutil.copy2(file, folder / file.name)
            else:
                _share(file, folder / file.name)
        store = Store(str(folder))
        for text in texts:
            store.bulk_load(text.encode(), format=RdfFormat.N_TRIPLES, to_graph=NamedNode(graph))
        store.flush()


def _share(file: Path, to: Path) -> None:
    try:
        os.link(file, to)
    except OSError:
        shutil.copy2(file, to)


@lru_cache(maxsize=8)
def _opened(folder: str) -> Any:
    from pyoxigraph import Store

    if not Path(folder, "CURRENT").exists():
        raise FileNotFoundError(ENOENT, "no such store", folder)
    return Store.read_only(folder)


class Server:
    """A SPARQL 1.1 server.

    `url`: where it takes queries. Where that ends in `/query`, updates go to `/update` and graphs to `/store` beside
    it; else updates go to the same place. `seconds`: how long one answer may take.

    Raises
    ------
    FaultyInput
        That is no address.
    """

    def __init__(self, url: str, seconds: float = SECONDS_AT_MOST) -> None:
        if not is_url(url):
            what = f"{url!r} is no address of a server"
            raise refused("graph", 0, "--graph", what, "Write it as http://HOST:PORT/query")
        self.url = url
        self.seconds = seconds
        stem = url.removesuffix("/query")
        self._update = f"{stem}/update" if stem != url else url
        self._store = f"{stem}/store" if stem != url else None

    def rows(self, sparql: str) -> list[Row]:
        """Return the rows of a SELECT as texts by variable; what is not bound is left out.

        Raises
        ------
        RuntimeError
            The server cannot be reached, takes too long, or refuses.
        """
        names, rows = self.table(sparql)
        return [{name: value for name, value in zip(names, row, strict=True) if value is not None} for row in rows]

    def table(self, sparql: str) -> tuple[list[str], list[list[str | None]]]:
        """Return the variables of a SELECT, and its rows; of an ASK, one row of true or false."""
        content = self._send("POST", self.url, urlencode({"query": sparql}).encode(), _FORM, _JSON)
        try:
            found = json.loads(content)
            if "boolean" in found:
                return ["answer"], [["true" if found["boolean"] else "false"]]
            names = found["head"]["vars"]
            bound = found["results"]["bindings"]
            rows = [[one[name]["value"] if name in one else None for name in names] for one in bound]
        except (ValueError, KeyError, TypeError) as fault:
            raise RuntimeError(f"{self.url} did not answer in SPARQL's JSON; is it the place for queries?") from fault
        return names, rows

    def add(self, graph: str, texts: Iterable[str]) -> None:
        """Add N-Triples to a graph, by the graph store protocol where there is one."""
        place = f"{self._store}?{urlencode({'graph': graph})}"
        for text in texts:
            lines = text.splitlines()
            at_once = LINES_AT_ONCE if self._store is None else LINES_IN_A_FILE
            for start in range(0, len(lines), at_once):
                triples = "\n".join((*lines[start : start + at_once], ""))
                if self._store is not None:
                    self._send("POST", place, triples.encode(), "application/n-triples")
                else:
                    update = f"INSERT DATA {{ GRAPH <{graph}> {{\n{triples}}} }}"
                    self._send("POST", self._update, urlencode({"update": update}).encode(), _FORM)

    def _send(self, method: str, url: str, content: bytes, kind: str, accept: str = "*/*") -> bytes:
        try:
            asked = Request(url, content, {"Content-Type": kind, "Accept": accept}, method=method)
            with urlopen(asked, timeout=self.seconds) as answer:
                return bytes(answer.read())
        except HTTPError as fault:
            said = fault.read(400).decode(errors="replace").strip().splitlines()
            raise RuntimeError(f"{url} refused ({fault.code}): {said[0] if said else fault.reason}") from fault
        except TimeoutError as fault:
            raise RuntimeError(f"{url} took more than {self.seconds:g} s") from fault
        except (OSError, HTTPException, ValueError) as fault:
            reason = getattr(fault, "reason", fault)
            late = isinstance(reason, TimeoutError)
            why = f"took more than {self.seconds:g} s" if late else f"cannot be reached: {reason}"
            raise RuntimeError(f"{url} {why}") from fault


_FORM = "application/x-www-form-urlencoded"


def is_url(place: str) -> bool:
    """Whether a place is a server's rather than a folder."""
    return place.startswith(("http://", "https://"))


BASE = build_iri("stock")
# So many parts are asked about at once.
AT_ONCE = 1_000
# A chain of replaced numbers longer than this is not followed.
LONGEST_CHAIN = 20
_NOT_KEPT = (TYPE, ORDER, ROW, IDENTIFIER)


class Asked(Protocol):
    """Anything that answers a SELECT."""

    def rows(self, sparql: str) -> list[Row]:
        """Return the rows as texts by variable."""


@dataclass(frozen=True)
class WantedPart:
    """What is known of the host, and of the original that came off, that parts are compared with."""

    hands: frozenset[str] = frozenset()
    drives: frozenset[str] = frozenset()
    numbers: frozenset[str] = frozenset()
    replaced: frozenset[str] = frozenset()

    @classmethod
    def of(cls, parts: Iterable[Part]) -> WantedPart:
        """Gather it from the rows of the host and of the original."""
        listed = tuple(parts)
        return cls(
            frozenset(one.hand for one in listed if one.hand), frozenset(one.drive for one in listed if one.drive),
            frozenset(plain_number(one.part_number) for one in listed if one.part_number),
            frozenset(plain_number(old) for one in listed for old in one.replaces),
        )  # fmt: skip


def opened(place: str | Path) -> Asked:
    """Return the store of a stock: a folder, or the address of a server."""
    return Server(str(place)) if is_url(str(place)) else OnDisk(Path(place))


def graph_iri(token: str) -> str:
    """Return the graph that one stock's statements stand in."""
    return f"{BASE}/~graph/{token}"


def part_iri(part: str, added: int) -> str:
    """Return the IRI of a part as one `add` brought it: a later version is another thing."""
    # The number stands where no engine needs a percent sign: not every one leaves those alone.
    return f"{BASE}/{segment(f'{part}.{added}')}"


def pieces_of(column: Column, values: Iterable[Any]) -> list[list[str]]:
    """Return what each cell of parts.csv says, as N-Triples cut wherever the IRI of its part is to stand."""
    writer, found = StatementWriter(Build(settings=Settings(name="stock"))), []
    for value in values:
        said, children = writer.said(column, value, _ITS, "")
        lines = [
            f"{_open(subject)} {term} {_open(told)} .\n"
            for subject, statements in [(_ITS, said), *children]
            for term, told in statements
            if term not in _NOT_KEPT
        ]
        found.append("".join(lines).split(_CUT))
    return found


# Stands for a part: no id makes such a segment.
_ITS = f"<{BASE}/~part>"
# No text in N-Triples has it as it is.
_CUT = "\0"


def _open(term: str) -> str:
    return f"<{_CUT}{term[len(_ITS) - 1 :]}" if term.startswith(_ITS[:-1]) else term


def spoken_of(store: Asked, graph: str, parts: Mapping[str, str], wanted: WantedPart, adds: frozenset[int]) -> (
    dict[str, tuple[str, ...]]
):  # fmt: skip
    """Return what speaks for and against parts, by id; those of which nothing does are left out.

    `parts`: id of each part by its IRI. `adds`: those that were finished: what another one left in the store does not
    count.
    """
    newer = _replacing(store, graph, wanted.numbers, adds)
    found: dict[str, list[str]] = {}
    iris = sorted(parts)
    for start in range(0, len(iris), AT_ONCE):
        for row in _asked(store, graph, "stock-facts", iris[start : start + AT_ONCE]):
            says = _says(row["term"], row["value"], wanted, newer)
            if says is not None and row["part"] in parts:
                found.setdefault(parts[row["part"]], []).append(says)
    return {part: tuple(sorted(set(says))) for part, says in found.items()}


def _asked(store: Asked, graph: str, query: str, iris: Iterable[str]) -> list[Row]:
    """The rows of a shipped query over one graph: not every engine takes FROM as a graph that it holds."""
    sparql = with_given(query_files()[query].sparql, iris)
    head, inner = sparql.split("WHERE {", 1)
    # What is said is sorted in the end: rows in order would cost four times as much.
    inner = inner.rsplit("}", 1)[0]
    return store.rows(f"{head}WHERE {{ GRAPH <{graph}> {{{inner}}} }}")


def _replacing(store: Asked, graph: str, numbers: frozenset[str], adds: frozenset[int]) -> frozenset[str]:
    """The numbers that replace these, down the chain, by the rows of parts in the stock."""
    known, new = set(numbers), set(numbers)
    for _ in range(LONGEST_CHAIN):
        if not new:
            break
        rows = _asked(store, graph, "stock-replaced", [f"{BASE}/~number/{segment(number)}" for number in sorted(new)])
        new = {last(row["number"]) for row in rows if int(last(row["part"]).rpartition(".")[2]) in adds} - known
        known |= new
    return frozenset(known - numbers)


def _says(term: str, value: str, wanted: WantedPart, newer: frozenset[str]) -> str | None:
    if term == _DUTY:
        return RESTRAINT_PART if value == concept("duty", RESTRAINT_PART) else None
    if term == _NUMBER:
        number = last(value)
        if number in wanted.numbers:
            return "same part number"
        return "superseded" if number in newer else "older part number" if number in wanted.replaced else None
    sides, says = (wanted.hands, "other hand") if term == _HAND else (wanted.drives, "other drive")
    return says if sides and value not in {concept("side", side) for side in sides} else None


RESTRAINT_PART = "restraint"
_DUTY, _NUMBER, _HAND = (full(f"partkin:{name}") for name in ("duty", "number", "hand"))
