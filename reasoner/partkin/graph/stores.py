"""Where the statements of a stock are kept: a store on disk, or any server that speaks SPARQL 1.1.

Nothing but the standard is asked of a server: query, update, and where it has one the graph store protocol.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterable
from errno import ENOENT
from functools import lru_cache
from http.client import HTTPException
from pathlib import Path
from typing import Any
from urllib.error import HTTPError
from urllib.parse import urlencode
from urllib.request import Request, urlopen

from partkin.model.problem import FaultyInput, Problem

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
        answer: Any = _opened(str(self.folder)).query(sparql)
        names = [variable.value for variable in answer.variables]
        return [
            {name: term.value for name, term in zip(names, solution, strict=True) if term is not None}
            for solution in answer
        ]

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

    Parameters
    ----------
    url
        Where it takes queries. Where that ends in `/query`, updates go to `/update` and graphs to `/store` beside it;
        else updates go to the same place.
    seconds
        How long one answer may take.

    Raises
    ------
    FaultyInput
        That is no address.
    """

    def __init__(self, url: str, seconds: float = SECONDS_AT_MOST) -> None:
        if not is_url(url):
            what = f"{url!r} is no address of a server"
            raise FaultyInput((Problem("graph", 0, "--graph", what, "Write it as http://HOST:PORT/query"),))
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
