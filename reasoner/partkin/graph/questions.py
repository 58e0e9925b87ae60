"""Questions of people: a shipped query by name, a file, or SPARQL text; read only, within limits."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any, Final

from partkin.graph.apart import answer
from partkin.graph.asking import ListedParts
from partkin.graph.graph import Knowledge, query_files, with_given
from partkin.graph.names import PREFIXES
from partkin.graph.stores import Server
from partkin.graph.terms import CHANGES, misspelt, refusal, tokens
from partkin.model.known import Table
from partkin.model.problem import FaultyInput, Problem, nearest, refuse_any, refused

ROWS_AT_MOST: Final = 10_000
SECONDS_AT_MOST: Final = 10.0
MEGABYTES_AT_MOST: Final = 2048
_FIRST_WORDS = {"ASK", "BASE", "CONSTRUCT", "DESCRIBE", "LOAD", "PREFIX", "SELECT", "WITH", *CHANGES}
_SEE = "See the SPARQL 1.1 query language"
_WHERE = re.compile(r"error at (\d+):(\d+): (.*)", re.DOTALL)


def _fault(what: str, mend: str, row: int = 0, column: str = "query") -> FaultyInput:
    return refused("ask", row, column, what, mend)


def list_queries() -> Table:
    """Return every shipped query with what it asks and what may be named behind it."""
    rows = tuple(
        (name, file.header.get("asks", ""), file.header.get("given", "")) for name, file in query_files().items()
    )
    return Table(("query", "asks", "given"), rows)


def ask(
    graph: Knowledge, query: str, *, rows_at_most: int = ROWS_AT_MOST, seconds_at_most: float = SECONDS_AT_MOST
) -> tuple[Table, tuple[Problem, ...]]:
    """Answer a question put to the graph.

    `query`: the name of a shipped query, with the ids of the parts it is asked of behind it (none: every part); `list`;
    the path of a .rq file; or SPARQL text. The prefixes of the vocabulary need not be declared. `rows_at_most`: further
    rows are cut, and the table and a warning say so. `seconds_at_most`: of a question of the user's own, which is then
    stopped. Returns Table, tuple of Problem: the rows and the warnings: terms that the vocabulary does not have, rows
    that were cut.

    Raises
    ------
    FaultyInput
        When the question cannot be read, would change or fetch something, or takes too long.
    """
    words = query.split()
    if words == ["list"]:
        return list_queries(), ()
    if words and words[0] in query_files():
        return _shipped(graph, words[0], words[1:], rows_at_most)
    sparql, warnings = _looked_at(_text_of(query, words))
    table = _table(_apart(graph, sparql, rows_at_most, seconds_at_most))
    return table, (*warnings, *_cut(table, rows_at_most))


def ask_server(
    url: str, query: str, *, rows_at_most: int = ROWS_AT_MOST, seconds_at_most: float = 3 * SECONDS_AT_MOST
) -> tuple[Table, tuple[Problem, ...]]:
    """Answer a question put to a SPARQL 1.1 server, as `ask` does; its SELECT and ASK alone.

    Raises
    ------
    FaultyInput
        When the question would change or fetch something.
    RuntimeError
        The server cannot be reached, takes too long, or refuses.
    """
    words = query.split()
    shipped = query_files().get(words[0]) if len(words) == 1 else None
    sparql, warnings = _looked_at(shipped.sparql if shipped is not None else _text_of(query, words))
    prefixes = " ".join(f"PREFIX {prefix}: <{iri}>" for prefix, iri in PREFIXES.items())
    names, rows = Server(url, seconds_at_most).table(f"{prefixes} {sparql}")
    table = Table(tuple(names), tuple(map(tuple, rows[:rows_at_most])), cut=len(rows) > rows_at_most)
    return table, (*warnings, *_cut(table, rows_at_most))


def _looked_at(sparql: str) -> tuple[str, tuple[Problem, ...]]:
    """Refuse a question that may not be asked; return it, with a warning for each term that nothing has."""
    refused = refusal(sparql)
    if refused is not None:
        raise FaultyInput((refused,))
    return sparql, misspelt(list(tokens(sparql)))


def _text_of(query: str, words: list[str]) -> str:
    """Return the SPARQL text that a question is, or that the file it names holds."""
    if any(mark in query for mark in "{<\n") or (words and words[0].upper() in _FIRST_WORDS):
        return query
    path = Path(query.strip())
    if path.suffix not in (".rq", ".sparql"):
        name = words[0] if words else ""
        meant = nearest(name, [*query_files(), "list"])
        mend = f"Did you mean {meant}?" if meant else "`list` names them; a file ends in .rq"
        raise _fault(f"there is no query {name!r}", mend)
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as fault:
        reason = (fault.strerror or "no reason was given").lower()
        raise _fault(f"{path.as_posix()} cannot be read: {reason}", "Name a file of SPARQL text") from fault
    except UnicodeDecodeError as fault:
        raise _fault(f"{path.as_posix()} is not UTF-8 text", "Name a file of SPARQL text") from fault


def _shipped(graph: Knowledge, name: str, given: list[str], rows_at_most: int) -> tuple[Table, tuple[Problem, ...]]:
    file = query_files()[name]
    if given and "given" not in file.header:
        raise _fault(f"the query {name} is not asked of a part", "Leave out what stands behind its name")
    if given:
        places = ListedParts(graph)
        refuse_any(places.unknown(part) for part in given if part not in places.rows)
    table = _table(answer(graph.store, with_given(file.sparql, map(graph.part, given)), graph.base, rows_at_most))
    return table, _cut(table, rows_at_most)


def _table(found: dict[str, Any]) -> Table:
    if "fault" in found:
        where = _WHERE.fullmatch(found["fault"])
        if where:
            what = f"the question cannot be read from here on: {where[3].splitlines()[0][:80]}"
            raise _fault(what, _SEE, int(where[1]), where[2])
        raise _fault(f"the question cannot be answered: {found['fault']}", _SEE)
    return Table(tuple(found["columns"]), tuple(map(tuple, found["rows"])), found["answer"], found["cut"])


def _cut(table: Table, rows_at_most: int) -> tuple[Problem, ...]:
    if not table.cut:
        return ()
    what = f"there are more than {rows_at_most} rows; the rest is left out"
    return (Problem("ask", 0, "query", what, "Ask for fewer, with LIMIT or a narrower pattern", warning=True),)


def _apart(graph: Knowledge, sparql: str, rows_at_most: int, seconds_at_most: float) -> dict[str, Any]:
    asked = {
        "quads": graph.quads(), "sparql": sparql, "base": graph.base, "rows_at_most": rows_at_most,
        "megabytes": MEGABYTES_AT_MOST,
    }  # fmt: skip
    less = "Ask for less at a time"
    try:
        ran = subprocess.run(
            [sys.executable, "-m", "partkin.graph.apart"], input=json.dumps(asked), capture_output=True, text=True,
            encoding="utf-8", timeout=seconds_at_most, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired as late:
        raise _fault(f"the question took more than {seconds_at_most:g} s and was stopped", less) from late
    if ran.returncode == 1 and "MemoryError" not in ran.stderr:
        raise RuntimeError(f"the process that answers questions failed:\n{ran.stderr}")
    if ran.returncode != 0:
        # Killed, or brought down by the system: out of memory, or nested deeper than the stack is.
        raise _fault(f"the question is too large or too deeply nested to be answered in {MEGABYTES_AT_MOST} MB", less)
    found: dict[str, Any] = json.loads(ran.stdout)
    return found
