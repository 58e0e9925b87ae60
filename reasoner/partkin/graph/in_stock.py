"""What the graph of a stock says of its parts: statements out of rows, and what speaks for or against a part."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from partkin.graph.files import query_files
from partkin.graph.graph import with_given
from partkin.graph.names import concept, full, last, plain_number, segment
from partkin.graph.statements import IDENTIFIER, ORDER, ROW, TYPE, StatementWriter, build_iri
from partkin.graph.stores import OnDisk, Row, Server, is_url
from partkin.model.build import Build, Part, Settings
from partkin.model.columns import Column

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

    Parameters
    ----------
    store, graph
    parts
        Id of each part by its IRI.
    wanted
    adds
        Those that were finished: what another one left in the store does not count.
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
