"""The shapes of the ontology folder held against a graph, and their report in plain words with sheet and row.

Imports rdflib and pyshacl, and so is imported only where sheets are examined, never on the way of a check.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Any

import pyshacl
from rdflib import RDF, Graph, Literal, Namespace, URIRef
from rdflib.plugins.sparql import prepareQuery
from rdflib.plugins.sparql.sparql import Query
from rdflib.query import Result
from rdflib.term import Node

from partkin.graph.names import PREFIXES, full
from partkin.graph.statements import ntriples
from partkin.model.build import Build
from partkin.model.columns import BUILD, SHEETS, Sheet
from partkin.model.problem import Problem
from partkin.tables.reader import shipped

SH = Namespace("http://www.w3.org/ns/shacl#")
ROW, ORDER = URIRef(full("partkin:row")), URIRef(full("partkin:order"))
_SHEET_OF: dict[Node, Sheet] = {URIRef(full(sheet.rdf_class)): sheet for sheet in (BUILD, *SHEETS)}
# Columns whose attribute has another name than the sheet's column.
_COLUMN_NAMES = {"corners_mm": "point", "angle_to": "angle_deg", "line_from": "to", "line_to": "to"}
# Terms that are no column's own: where their fault is shown.
_OTHER_TERMS = {
    **{f"partkin:{way}Mm": f"{way}_mm" for way in "xyz"},
    **{f"partkin:axis{way.upper()}": f"axis_{way}" for way in "xyz"},
    "partkin:oldNumber": "replaces",
    "partkin:cautionKind": "caution",
    "schema:mpn": "part_number",
}
_DECIMAL = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)")
_XSD_DECIMAL = URIRef(PREFIXES["xsd"] + "decimal")


@cache
def shapes_graph() -> Graph:
    """Return every shape of the ontology folder."""
    graph = Graph()
    for path in sorted((shipped("ontology") / "shapes").glob("*.ttl")):
        graph.parse(path, format="turtle")
    return graph


@cache
def _parsed(query: str, prefixes: frozenset[tuple[str, URIRef]]) -> Query:
    return prepareQuery(query, initNs=dict(prefixes))


class _Asked(Graph):
    """A graph that parses a query once: the shapes ask some 40 of every build, and to parse them takes the longest."""

    def query(self, query_object: str | Query, *args: Any, **rest: Any) -> Result:
        """Answer a query as rdflib does."""
        if isinstance(query_object, str):
            query_object = _parsed(query_object, frozenset(self.namespaces()))
        return super().query(query_object, *args, **rest)


def graph_of(build: Build) -> Graph:
    """Return what the sheets assert, as rdflib holds it."""
    return _Asked().parse(data=ntriples(build), format="nt")


def check_graph(data: Graph) -> tuple[Problem, ...]:
    """Hold the shapes against a graph: every fault by sheet, row and column; row 0 where the graph does not say it."""
    unreadable = _unreadable_numbers(data)
    if unreadable:
        # Not a number, though typed as one: comparing it would raise, so the shapes are not asked.
        return unreadable
    _, report, _ = pyshacl.validate(data, shacl_graph=shapes_graph(), inference="none", advanced=False)
    assert isinstance(report, Graph)
    found = {_problem(data, report, result) for result in report.objects(None, SH.result)}
    return tuple(sorted(found, key=_place))


def _place(problem: Problem) -> tuple[Any, ...]:
    files = [sheet.name for sheet in (BUILD, *SHEETS)]
    place = files.index(problem.sheet) if problem.sheet in files else len(files)
    return (place, problem.row, problem.column, problem.what)


def _unreadable_numbers(data: Graph) -> tuple[Problem, ...]:
    found = {
        _located(data, subject, predicate, f"{value} is not a number", "Write digits with a decimal point")
        for subject, predicate, value in data
        if isinstance(value, Literal) and value.datatype == _XSD_DECIMAL and not _DECIMAL.fullmatch(str(value))
    }
    return tuple(sorted(found, key=_place))


def _problem(data: Graph, report: Graph, result: Node) -> Problem:
    path, constraint = report.value(result, SH.resultPath), report.value(result, SH.sourceConstraint)
    # A constraint in SPARQL is asked of the whole graph: its value is the thing at fault.
    focus = report.value(result, SH.focusNode if constraint is None else SH.value)
    said = str(report.value(result, SH.resultMessage) or "this breaks a shape")
    shapes = shapes_graph()
    source = constraint or report.value(result, SH.sourceShape)
    mend = shapes.value(source, SH.description) or report.value(source, SH.description)
    return _located(data, focus, path, said, str(mend or "Mend it there"))


def _located(data: Graph, focus: Node | None, path: Node | None, what: str, mend: str) -> Problem:
    """Return a fault of the thing of a sheet that a node is, or is listed under."""
    thing = _thing(data, str(focus))
    kinds = [_SHEET_OF[kind] for kind in data.objects(thing, RDF.type) if kind in _SHEET_OF]
    if not kinds:
        return Problem("graph", 0, str(focus), what, mend)
    sheet = min(kinds, key=lambda kind: kind.name)
    row = min((int(str(value)) for value in data.objects(thing, ROW) if str(value).isdigit()), default=0)
    if not row and sheet is not BUILD:
        what = f"{what} ({_short(data, thing)})"
    return Problem(sheet.name, row, _column(sheet, path), what, mend)


def _thing(data: Graph, iri: str) -> URIRef:
    while True:
        thing = URIRef(iri)
        if any(kind in _SHEET_OF for kind in data.objects(thing, RDF.type)) or "/~" not in iri:
            return thing
        iri = iri.rsplit("/~", 1)[0]


def _short(data: Graph, thing: URIRef) -> str:
    from partkin.graph.backwards import thing_name

    builds = sorted(map(str, data.subjects(RDF.type, URIRef(full("partkin:Build")))))
    inside = next((build for build in builds if thing.startswith(f"{build}/")), None)
    return thing_name(str(thing), inside) if inside else str(thing)


def _column(sheet: Sheet, path: Node | None) -> str:
    for column in sheet.terms:
        if path == URIRef(full(column.term)):
            return _COLUMN_NAMES.get(column.name, column.name)
    for term, name in _OTHER_TERMS.items():
        if path == URIRef(full(term)):
            return name
    return sheet.by


def check_build(build: Build) -> tuple[Problem, ...]:
    """Hold the shapes against what the sheets assert."""
    return check_graph(graph_of(build))
