"""A build as statements, subject by subject in sheet order: as the terms of N-Triples, and written as Turtle."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Any

from partkin.graph.names import PREFIXES, THINGS, UNITS, concept, full, plain_name, plain_number, segment
from partkin.model.build import Build
from partkin.model.columns import BUILD, SHEETS, Column, Sheet
from partkin.model.words import WORDS

XSD = PREFIXES["xsd"]
TYPE = f"<{full('rdf:type')}>"
ORDER = f"<{full('partkin:order')}>"
ROW = f"<{full('partkin:row')}>"
IDENTIFIER = f"<{full('dcterms:identifier')}>"
NAME = f"<{full('schema:name')}>"
MPN = f"<{full('schema:mpn')}>"
PLATFORM_NAME = f"<{full('partkin:platformName')}>"

Statement = tuple[str, str]
Block = tuple[str, list[Statement]]

_SPECIAL = re.compile(r'[\x00-\x1f"\\\x7f]')
_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t"}


def text(value: str) -> str:
    """Return a plain literal as N-Triples writes it."""
    if _SPECIAL.search(value):
        value = _SPECIAL.sub(lambda hit: _ESCAPES.get(hit[0]) or f"\\u{ord(hit[0]):04X}", value)
    return f'"{value}"'


@lru_cache(maxsize=65536)
def number_text(value: float) -> str:
    """Return the canonical decimal of a float.

    Examples
    --------
    >>> number_text(12.50), number_text(300.0), number_text(1e-7)
    ('12.5', '300', '0.0000001')
    """
    if not math.isfinite(value):
        raise ValueError(f"{value} has no place in the graph: the sheets refuse it")
    if value == int(value) and abs(value) < 1e15:
        return str(int(value))
    digits = format(Decimal(repr(float(value))), "f")
    return digits.rstrip("0").rstrip(".") if "." in digits else digits


@lru_cache(maxsize=65536)
def decimal(value: float) -> str:
    """Return a float as an xsd:decimal literal."""
    return f'"{number_text(value)}"^^<{XSD}decimal>'


def integer(value: int) -> str:
    """Return a count, year or row as an xsd:integer literal."""
    return f'"{int(value)}"^^<{XSD}integer>'


def boolean(value: bool) -> str:
    """Return an xsd:boolean literal."""
    return f'"{"true" if value else "false"}"^^<{XSD}boolean>'


def day(value: str) -> str:
    """Return an ISO 8601 day as xsd:date, anything else as it is written."""
    try:
        known = date.fromisoformat(value).isoformat() == value
    except ValueError:
        known = False
    return f"{text(value)}^^<{XSD}date>" if known else text(value)


@lru_cache(maxsize=4096)
def word(scheme: str, value: str) -> str:
    """Return the concept of a known word, and any other word as text (the shapes refuse that)."""
    return f"<{concept(scheme, value)}>" if value in WORDS[scheme] else text(value)


def build_iri(name: str) -> str:
    """Return the IRI of a build.

    Examples
    --------
    >>> build_iri("my build")
    'https://w3id.org/partkin/id/my%20build'
    """
    return THINGS + (segment(name) or "~")


def _numbered(
    iri: str, term: str, rdf_class: str, values: Iterable[list[Statement]]
) -> tuple[list[Statement], list[Block]]:
    """Return the links to, and the blocks of, the parts of a list that keeps its order."""
    links: list[Statement] = []
    blocks: list[Block] = []
    for place, statements in enumerate(values, start=1):
        child = f"{iri}/{place}>"
        links.append((f"<{full(term)}>", child))
        blocks.append((child, [(TYPE, f"<{full(rdf_class)}>"), (ORDER, integer(place)), *statements]))
    return links, blocks


class StatementWriter:
    """Turns the rows of one build into blocks of statements; keeps no state but the names it has seen."""

    def __init__(self, build: Build) -> None:
        self.build = build
        self.base = build_iri(build.settings.name)
        self._named: dict[str, Block] = {}

    def part(self, part_id: str) -> str:
        """Return the IRI of a part, in angle brackets."""
        return f"<{self.base}/{segment(part_id)}>"

    def blocks(self) -> Iterator[Block]:
        """Yield every block: the build, the sheets in their order, then the things that rows name."""
        yield self._settings()
        for sheet in SHEETS:
            for place, row in enumerate(getattr(self.build, sheet.attribute), start=1):
                yield from self._row(sheet, row, place)
        for iri in sorted(self._named):
            yield self._named[iri]

    def _settings(self) -> Block:
        statements: list[Statement] = [(TYPE, f"<{full(BUILD.rdf_class)}>")]
        for column in BUILD.terms:
            value = getattr(self.build.settings, column.attribute)
            if value is not None:
                statements.append((f"<{full(column.term)}>", self._one(column, value, "")))
        return f"<{self.base}>", statements

    def _iri(self, sheet: Sheet, row: Any, place: int) -> str:
        own = segment(getattr(row, sheet.by)) if sheet.by else str(place)
        stem = f"{self.base}/{segment(row.part)}" if sheet.of_part else self.base
        return f"<{stem}/~{sheet.segment}/{own}>" if sheet.segment else f"<{stem}/{own}>"

    def _row(self, sheet: Sheet, row: Any, place: int) -> Iterator[Block]:
        iri = self._iri(sheet, row, place)
        statements: list[Statement] = [(TYPE, _class(sheet.rdf_class)), (ORDER, integer(place))]
        if row.row:
            statements.append((ROW, integer(row.row)))
        children: list[Block] = []
        part_id = getattr(row, "part", None) or ""
        for column in sheet.terms:
            value = getattr(row, column.attribute)
            if value is None or value == ():
                continue
            said, blocks = self.said(column, value, iri, part_id)
            statements += said
            children += blocks
        yield iri, statements
        yield from children

    def said(self, column: Column, value: Any, iri: str, part_id: str) -> tuple[list[Statement], list[Block]]:
        """Return what one cell says of the thing that its row is, and the blocks of what that leads to."""
        if column.holds in _MANY:
            return self._many(column, value, iri[:-1])
        if column.holds in ("platform", "number"):
            return self._both(column, value), []
        return [(_term(column.term), self._one(column, value, part_id))], []

    def _one(self, column: Column, value: Any, part_id: str) -> str:
        holds = column.holds
        if holds == "word":
            return word(column.scheme, value)
        if holds in _LITERALS:
            return _LITERALS[holds](value)
        if holds == "unit":
            return f"<{PREFIXES['unit']}{UNITS[value]}>" if value in UNITS else text(value)
        return self._link(holds, value, part_id)

    def _link(self, holds: str, value: str, part_id: str) -> str:
        if holds == "part":
            return self.part(value)
        if holds == "feature":
            return f"<{self.base}/{segment(part_id)}/{segment(value)}>"
        if holds == "model":
            return f"<{self.base}/~model/{segment(value)}>"
        if holds == "person":
            iri = f"<{self.base}/~person/{segment(value)}>"
            self._named[iri] = (iri, [(TYPE, _class("prov:Person")), (NAME, text(value))])
            return iri
        return f"<{self.base}/{segment(part_id)}/~{holds}/{segment(value)}>"

    def _named_thing(self, kind: str, value: str) -> str | None:
        """Return the thing that a platform's name or a part number stands for, however it is written."""
        key = plain_number(value) if kind == "number" else plain_name(value)
        if not key:
            return None
        iri = f"<{self.base}/~{kind}/{segment(key)}>"
        rdf_class = "partkin:PartNumber" if kind == "number" else "partkin:Platform"
        self._named[iri] = (iri, [(TYPE, _class(rdf_class)), (IDENTIFIER, text(key))])
        return iri

    def _both(self, column: Column, value: str) -> list[Statement]:
        written = MPN if column.holds == "number" else PLATFORM_NAME
        thing = self._named_thing(column.holds, value)
        link = [(_term(column.term), thing)] if thing else []
        return [(written, text(value)), *link]

    def _many(self, column: Column, values: Any, stem: str) -> tuple[list[Statement], list[Block]]:
        if column.holds == "axis":
            return [(_term(f"partkin:axis{way}"), decimal(value)) for way, value in zip("XYZ", values, strict=True)], []
        if column.holds == "corners":
            corners = ([(X_MM, decimal(x_mm)), (Y_MM, decimal(y_mm))] for x_mm, y_mm in values)
            return _numbered(f"{stem}/~corner", column.term, "partkin:Corner", corners)
        if column.holds == "numbers":
            return _numbered(f"{stem}/~replaces", column.term, "partkin:Replacement", map(self._old, values))
        if column.holds == "cautions":
            kinds = ([(_term("partkin:cautionKind"), word("caution", value))] for value in values)
            return _numbered(f"{stem}/~caution", column.term, "partkin:Caution", kinds)
        return self._behind(column, values, stem)

    def _old(self, written: str) -> list[Statement]:
        thing = self._named_thing("number", written)
        return [(MPN, text(written)), *([(_term("partkin:oldNumber"), thing)] if thing else [])]

    def _behind(self, column: Column, values: Any, stem: str) -> tuple[list[Statement], list[Block]]:
        links, blocks = _numbered(f"{stem}/~behind", column.term, "partkin:Obstacle", ([] for _ in values))
        found: list[Block] = []
        for (iri, statements), names in zip(blocks, values, strict=True):
            alternatives = ([(NAME, text(name))] for name in names)
            ways, inner = _numbered(iri[:-1], "partkin:alternative", "partkin:Alternative", alternatives)
            found += [(iri, statements + ways), *inner]
        return links, found


_LITERALS: dict[str, Callable[[Any], str]] = {
    "decimal": decimal, "text": text, "id": text, "integer": integer, "boolean": boolean, "date": day,
}  # fmt: skip
_MANY = ("axis", "corners", "numbers", "cautions", "behind")


@lru_cache(maxsize=1024)
def _term(name: str) -> str:
    return f"<{full(name)}>"


_class = _term
X_MM = _term("partkin:xMm")
Y_MM = _term("partkin:yMm")


def blocks_of(build: Build) -> Iterator[Block]:
    """Yield (subject, [(predicate, object), ...]) for everything that the sheets say, in sheet order.

    Terms are N-Triples text. The sheets are taken as they are: no fault of theirs is mended or reported here.
    """
    return StatementWriter(build).blocks()


def ntriples(build: Build) -> str:
    """Return the asserted graph of a build as N-Triples, in sheet order."""
    lines: list[str] = []
    for subject, statements in blocks_of(build):
        lines += [f"{subject} {predicate} {value} .\n" for predicate, value in statements]
    return "".join(lines)


_USED = ("partkin", "dcterms", "prov", "qudt", "schema", "skos", "sosa", "unit", "xsd")
_TYPED = re.compile(rf'(".*")\^\^<{re.escape(XSD)}(\w+)>', re.DOTALL)
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
        name = "a" if predicate == TYPE else short.term(predicate)
        if grouped and grouped[-1][0] == name:
            grouped[-1][1].append(short.term(value))
        else:
            grouped.append((name, [short.term(value)]))
    lines = " ;\n    ".join(f"{name} {', '.join(values)}" for name, values in grouped)
    return f"{short.term(subject)} {lines} .\n"


def export_turtle(build: Build) -> str:
    """Return the asserted graph of a build as Turtle.

    It is byte for byte the same for the same sheets; it parses to exactly the asserted triples, and `to_build` gives
    back every sheet from them.
    """
    base = build_iri(build.settings.name)
    short = _Shortener(base)
    lines = [f"@base <{base}/> .\n", *(f"@prefix {prefix}: <{PREFIXES[prefix]}> .\n" for prefix in _USED)]
    for block in blocks_of(build):
        lines += ["\n", _block(block, short)]
    return "".join(lines)
