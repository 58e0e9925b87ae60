"""The .rq files of the ontology folder: a header of `# key: value` lines, then one SPARQL query."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from partkin.tables.shipped import shipped


@dataclass(frozen=True)
class QueryFile:
    """One shipped query or rule.

    `header`: asks and given (a query); says, because, source and after (a rule).
    """

    name: str
    header: Mapping[str, str]
    sparql: str


def read_query(path: Path) -> QueryFile:
    """Read one .rq file; a header value goes on over `#` lines that hold no key of their own."""
    sparql = path.read_text(encoding="utf-8")
    header: dict[str, str] = {}
    key = ""
    for line in sparql.splitlines():
        if not line.startswith("#"):
            break
        said = line.lstrip("# ").rstrip()
        name, colon, rest = said.partition(":")
        if colon and name.isalpha() and name.islower():
            key = name
            header[key] = rest.strip()
        elif key and said:
            header[key] += " " + said
    return QueryFile(path.stem, header, sparql)


@cache
def query_files() -> dict[str, QueryFile]:
    """Return the shipped queries by name, in name order."""
    return {path.stem: read_query(path) for path in sorted((shipped("ontology") / "queries").glob("*.rq"))}


@cache
def rule_files() -> tuple[QueryFile, ...]:
    """Return the shipped rules, each after those that its header says it comes after."""
    waiting = {path.stem: read_query(path) for path in sorted((shipped("ontology") / "rules").glob("*.rq"))}
    done: dict[str, QueryFile] = {}
    while waiting:
        ready = [name for name, rule in waiting.items() if all(before in done for before in after_of(rule))]
        if not ready:
            raise ValueError(f"the rules {', '.join(waiting)} wait for each other or for one not there")
        done.update((name, waiting.pop(name)) for name in ready)
    return tuple(done.values())


def after_of(rule: QueryFile) -> list[str]:
    """Return the names of the rules whose results a rule reads."""
    return [name.strip() for name in rule.header.get("after", "").split(",") if name.strip()]
