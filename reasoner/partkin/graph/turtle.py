"""A build as Turtle, written subject by subject in sheet order: the same sheets give the same bytes."""

from __future__ import annotations

import re
from collections.abc import Iterator

from partkin.graph.names import PREFIXES
from partkin.graph.statements import Block, blocks_of, build_iri
from partkin.model.build import Build

_USED = ("partkin", "dcterms", "prov", "qudt", "schema", "skos", "sosa", "unit", "xsd")
_TYPE = f"<{PREFIXES['rdf']}type>"
_XSD = PREFIXES["xsd"]
_TYPED = re.compile(rf'(".*")\^\^<{re.escape(_XSD)}(\w+)>', re.DOTALL)
# What a prefixed name may hold without an escape; anything else keeps its brackets.
_LOCAL = re.compile(r"[A-Za-z][A-Za-z0-9_-]*")


class _Shortener:
    """Writes terms the short way, relative to the build where they are its own."""

    def __init__(self, base: str) -> None:
        self._inside = f"<{base}/"
        self._known: dict[str, str] = {}

    def term(self, term: str) -> str:
        short = self._known.get(term)
        if short is None:
            short = self._known[term] = self._iri(term) if term.startswith("<") else _literal(term)
        return short

    def _iri(self, term: str) -> str:
        if term.startswith(self._inside):
            relative = term[len(self._inside) :]
            return f"<{relative}" if relative[0] not in "/>" else term
        for prefix in _USED:
            start = f"<{PREFIXES[prefix]}"
            if term.startswith(start) and _LOCAL.fullmatch(term[len(start) : -1]):
                return f"{prefix}:{term[len(start) : -1]}"
        return term


def _literal(term: str) -> str:
    typed = _TYPED.fullmatch(term)
    if typed is None:
        return term
    written, datatype = typed[1], typed[2]
    bare = written[1:-1]
    if datatype in ("integer", "boolean") or (datatype == "decimal" and "." in bare):
        return bare
    return f"{written}^^xsd:{datatype}"


def _block(block: Block, short: _Shortener) -> str:
    subject, statements = block
    grouped: list[tuple[str, list[str]]] = []
    for predicate, value in statements:
        name = "a" if predicate == _TYPE else short.term(predicate)
        if grouped and grouped[-1][0] == name:
            grouped[-1][1].append(short.term(value))
        else:
            grouped.append((name, [short.term(value)]))
    lines = " ;\n    ".join(f"{name} {', '.join(values)}" for name, values in grouped)
    return f"{short.term(subject)} {lines} .\n"


def _lines(build: Build) -> Iterator[str]:
    base = build_iri(build.settings.name)
    yield f"@base <{base}/> .\n"
    for prefix in _USED:
        yield f"@prefix {prefix}: <{PREFIXES[prefix]}> .\n"
    short = _Shortener(base)
    for block in blocks_of(build):
        yield "\n"
        yield _block(block, short)


def export_turtle(build: Build) -> str:
    """Return the asserted graph of a build as Turtle.

    Returns
    -------
    str
        Byte for byte the same for the same sheets; it parses to exactly the asserted triples, and
        `to_build` gives back every sheet from them.
    """
    return "".join(_lines(build))
