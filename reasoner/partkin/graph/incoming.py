"""A Turtle file from elsewhere into a build: within limits, held against the shapes, and nothing lost unsaid."""

from __future__ import annotations

import re
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import MISSING, fields, replace
from functools import cache
from typing import Any, Final, get_args

from partkin.graph.backwards import build_from, iri_name
from partkin.graph.names import full
from partkin.graph.statements import blocks_of, ntriples
from partkin.model.build import Build
from partkin.model.columns import SHEETS
from partkin.model.problem import Problem

BYTES_AT_MOST: Final = 64 << 20
TRIPLES_AT_MOST: Final = 200_000
# The shapes take 0.2 ms a statement; beyond this the sheets' own checks, which refuse the same faults, stand alone.
SHAPES_AT_MOST: Final = 20_000
LETTERS_AT_MOST: Final = 10_000
TOO_LONG: Final = f"the file holds a text or a name of more than {LETTERS_AT_MOST} letters"
SECONDS_AT_MOST: Final = 20.0
LOST_AT_MOST: Final = 20
_LINE: Final = re.compile(r"line (\d+)")
_DECIMAL: Final = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)")
_XSD_DECIMAL: Final = full("xsd:decimal")
_RDF_TYPE: Final = full("rdf:type")
_IS_BUILD: Final = (_RDF_TYPE, full("partkin:Build"))
# rdflib writes plain text without a datatype.
_DATATYPES: Final = {full("xsd:string"): None}

Triple = tuple[str, str, str]
Incoming = tuple[Build | None, tuple[Problem, ...]]


class _Refused(Exception):
    def __init__(self, what: str, mend: str, row: int = 0) -> None:
        super().__init__(what)
        self.problem = Problem("import", row, "file", what, mend)


def read_turtle(content: bytes) -> Incoming:
    """Read a build from Turtle.

    Nothing is fetched, whatever the file names. Blank nodes, and files beyond the limits of this module, are
    refused. A file of more than `SHAPES_AT_MOST` statements is not held against the shapes; it must come back
    statement for statement instead, and whoever takes it in holds its rows against the sheets' own checks.

    Returns Build or None, tuple of Problem: the build when nothing is at fault. Problems are every fault of the shapes,
    or warnings that say which statements have no place in a sheet and are left out.
    """
    import pyoxigraph

    try:
        # A store holds numbers in their canonical form.
        store = pyoxigraph.Store()
        store.bulk_extend(_quads(content))
    except _Refused as refused:
        return None, (refused.problem,)
    said: list[Triple] = [(one.subject.value, one.predicate.value, one.object.value) for one in store]
    builds = sorted(subject for subject, predicate, value in said if (predicate, value) == _IS_BUILD)
    if len(builds) != 1:
        what = f"the file describes {len(builds)} builds" if builds else "the file describes no build"
        return None, (Problem("import", 0, "file", what, "It must describe one, as partkin export writes it"),)
    large = len(said) > SHAPES_AT_MOST
    if not large:
        from partkin.graph.shapes import check_graph

        if faults := check_graph(_for_shapes(store)):
            return None, faults
    try:
        whole = build_from(said)
        if faults := _incomplete(whole):
            return None, faults
        named = {subject[1:-1] for subject, _ in blocks_of(whole)}
        # A thing under another name than partkin gives it would come back as a different thing.
        build = build_from(triple for triple in said if triple[0] in named)
        lost = _lost(said, _written(build), builds[0])
    except ValueError as fault:
        return None, (Problem("import", 0, "file", f"a number cannot be read: {fault}", "Mend it there"),)
    if large and lost:
        return None, tuple(replace(one, warning=False) for one in lost)
    return build, lost


def _incomplete(build: Build) -> tuple[Problem, ...]:
    """Return a fault for each kind of cell that a row cannot do without and that is missing, with its first row."""
    missing: dict[tuple[str, str], int] = {}
    for sheet in SHEETS:
        needed = [
            one.name for one in fields(sheet.row) if one.default is MISSING and type(None) not in get_args(one.type)
        ]
        for row in getattr(build, sheet.attribute):
            for name in needed:
                if getattr(row, name) is None:
                    missing.setdefault((sheet.name, name), row.row)
    return tuple(
        Problem(file, row, name, f"{name} is not given", "Give it there") for (file, name), row in missing.items()
    )


def _written(build: Build) -> set[Triple]:
    import pyoxigraph

    parsed: Any = pyoxigraph.parse(ntriples(build), format=pyoxigraph.RdfFormat.N_TRIPLES)
    return {(one.subject.value, one.predicate.value, one.object.value) for one in parsed}


def _for_shapes(store: Any) -> Any:
    """Return the same triples as rdflib holds them, each term made once."""
    from rdflib import Graph, Literal, URIRef

    @cache
    def thing(iri: str) -> URIRef:
        return URIRef(iri)

    @cache
    def literal(value: str, datatype: str, language: str | None) -> Literal:
        if language:
            return Literal(value, lang=language)
        return Literal(value, datatype=_DATATYPES.get(datatype, datatype))

    graph = Graph()
    for one in store:
        value = one.object
        typed = getattr(value, "datatype", None)
        said = thing(value.value) if typed is None else literal(value.value, typed.value, value.language)
        graph.add((thing(one.subject.value), thing(one.predicate.value), said))
    return graph


def _quads(content: bytes) -> Iterator[Any]:
    import pyoxigraph

    if len(content) > BYTES_AT_MOST:
        raise _Refused(f"the file is larger than {BYTES_AT_MOST >> 20} MB", "Export fewer parts at a time")
    start = time.monotonic()
    try:
        parsed: Any = pyoxigraph.parse(content.removeprefix(b"\xef\xbb\xbf"), format=pyoxigraph.RdfFormat.TURTLE)
        for count, quad in enumerate(parsed, start=1):
            if count > TRIPLES_AT_MOST:
                raise _Refused(f"the file holds more than {TRIPLES_AT_MOST} statements", "Export fewer parts at a time")
            if count % 1024 == 0 and time.monotonic() - start > SECONDS_AT_MOST:
                raise _Refused(f"reading the file took more than {SECONDS_AT_MOST:g} s", "Export fewer parts at a time")
            for term in (quad.subject, quad.object):
                _check_term(term)
            yield quad
    except MemoryError as fault:
        # The reader's own bound on one text or name.
        raise _Refused(TOO_LONG, "Shorten it") from fault
    except (SyntaxError, ValueError) as fault:
        at = _LINE.search(str(fault))
        said = str(fault).splitlines()[0][:200] if str(fault) else "no reason was given"
        mend = "Write it with partkin export, or mend it there"
        raise _Refused(f"this is not Turtle: {said}", mend, int(at[1]) if at else 0) from fault


def _check_term(term: Any) -> None:
    import pyoxigraph

    if isinstance(term, pyoxigraph.BlankNode):
        raise _Refused("the file holds a blank node", "Give everything an IRI, as partkin export does")
    if not isinstance(term, (pyoxigraph.NamedNode, pyoxigraph.Literal)):
        raise _Refused("the file holds a statement about a statement", "Leave it out")
    if len(term.value) > LETTERS_AT_MOST:
        raise _Refused(TOO_LONG, "Shorten it")
    typed = term.datatype.value if isinstance(term, pyoxigraph.Literal) else ""
    # rdflib would take 1e5 and NaN for decimals, which they are not.
    if typed == _XSD_DECIMAL and not _DECIMAL.fullmatch(term.value):
        raise _Refused(f"{term.value[:40]!r} is not a number", "Write digits with a decimal point")


def _lost(said: list[Triple], kept: set[Triple], base: str) -> tuple[Problem, ...]:
    """Return a warning for each kind of statement that no sheet has a column for."""
    lost: Counter[str] = Counter()
    first: dict[str, str] = {}
    for subject, predicate, value in said:
        if (subject, predicate, value) not in kept:
            name = f"a {iri_name(value, base)}" if predicate == _RDF_TYPE else iri_name(predicate, base)
            lost[name] += 1
            first[name] = min(first.get(name, subject), subject)
    mend = "No sheet has a place for it, or the thing is not named as partkin export names things"
    told = []
    for name, count in sorted(lost.items()):
        what = f"{count} of {name} left out, the first of {iri_name(first[name], base)}"
        told.append(Problem("import", 0, "file", what, mend, True))
    more = len(told) - LOST_AT_MOST
    if more > 0:
        what = f"{more} more kinds of statement are left out"
        told[LOST_AT_MOST:] = [Problem("import", 0, "file", what, "See above", True)]
    return tuple(told)
