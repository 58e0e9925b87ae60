"""OWL RL over the vocabulary and the identity triples alone, and all that can be said against a build as a graph."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from functools import cache
from itertools import combinations
from pathlib import Path

import owlrl
from rdflib import OWL, RDF, SKOS, Graph, Literal, URIRef
from rdflib.term import Node

from partkin.graph.names import NS, last, plain_number, segment
from partkin.graph.shapes import check_build
from partkin.graph.statements import TYPE, blocks_of, build_iri
from partkin.model.build import Build
from partkin.model.problem import Problem
from partkin.model.version import __version__
from partkin.tables.reader import cache_file, keep, shipped

# What identity rests on: which thing is which, and which belongs to or replaces which.
IDENTITY = tuple(
    f"<{NS}{name}>"
    for name in ["origin", "takesPlaceOf", "partOf", "number", "replaces", "oldNumber", "model", "platform"]
)
_KINDS = tuple(f"<{NS}{name}>" for name in ["Part", "PartNumber", "Replacement", "VehicleModel", "Platform"])
# Terms that no identity triple can hold: their axioms would only be carried along.
_BESIDE = (
    OWL.DatatypeProperty, OWL.NamedIndividual, OWL.Ontology, SKOS.Concept, SKOS.ConceptScheme, URIRef(f"{NS}Rule"),
)  # fmt: skip
_SAID = URIRef("http://www.daml.org/2002/03/agents/agent-ont#error")
# Properties that lead nowhere back, and the words for one that does.
_RINGS = {
    "numberSupersedes": (
        "replaces",
        "the part number {name} supersedes itself, by way of other numbers",
        "Leave out the older one's claim: a number replaces earlier numbers only",
    ),
    "within": (
        "part_of",
        "{name} lies within itself, by way of other parts",
        "Break the chain: a part belongs to something larger than itself",
    ),
    "takesPlaceOf": ("takes_place_of", "{name} takes its own place", "Name the host part whose fixings it goes on"),
}


@cache
def axioms() -> Graph:
    """Return what the vocabulary says of identity: no literals, no words, nothing of numbers and texts."""
    graph, whole = Graph(), Graph()
    for path in sorted((shipped("ontology") / "vocabulary").glob("*.ttl")):
        whole.parse(path, format="turtle")
    beside = {one for kind in _BESIDE for one in whole.subjects(RDF.type, kind)}
    for triple in whole:
        if not isinstance(triple[2], Literal) and triple[0] not in beside:
            graph.add(triple)
    return graph


def identity_lines(build: Build) -> list[str]:
    """Return the identity triples of a build as sorted lines of N-Triples."""
    lines: set[str] = set()
    for subject, statements in blocks_of(build):
        for predicate, value in statements:
            if predicate in IDENTITY or (predicate == TYPE and value in _KINDS):
                lines.add(f"{subject} {predicate} {value} .")
    return sorted(lines)


def closure(lines: list[str]) -> Graph:
    """Return the OWL RL closure of the vocabulary and identity triples."""
    graph = Graph()
    for triple in axioms():
        graph.add(triple)
    graph.parse(data="\n".join(lines), format="nt")
    reasoner = owlrl.DeductiveClosure(
        owlrl.OWLRL_Semantics, rdfs_closure=False, axiomatic_triples=False, datatype_axioms=False
    )
    reasoner.expand(graph)
    return graph


def _contradictions(graph: Graph) -> list[list[str]]:
    """Return [IRI, column, what, mend] for each contradiction of a closed graph, in order."""
    found: set[tuple[str, str, str, str]] = set()
    for local, (column, what, mend) in _RINGS.items():
        for subject, value in graph.subject_objects(URIRef(NS + local)):
            if subject == value and isinstance(subject, URIRef):
                found.add((str(subject), column, what.format(name=last(str(subject))), mend))
    for thing, kinds in _two_kinds(graph):
        what = f"{last(thing)} is of two kinds that exclude each other: {kinds}"
        found.add((thing, "origin", what, "Keep one of them"))
    if not found:
        # The reasoner knows more ways to contradict oneself than have words here: give its own.
        found = {("", "part", str(said), "See the vocabulary") for said in graph.objects(None, _SAID)}
    return [list(one) for one in sorted(found)]


def _two_kinds(graph: Graph) -> Iterator[tuple[str, str]]:
    for one in graph.subjects(RDF.type, OWL.AllDisjointClasses):
        listed = graph.value(one, OWL.members)
        for first, second in combinations(graph.items(listed) if listed is not None else (), 2):
            both = set(graph.subjects(RDF.type, first)) & set(graph.subjects(RDF.type, second))
            kinds = " and ".join(sorted((_label(first), _label(second))))
            yield from ((str(thing), kinds) for thing in both if isinstance(thing, URIRef))


def _label(term: Node) -> str:
    text = str(term).removeprefix(NS)
    return "".join(f" {letter.lower()}" if letter.isupper() else letter for letter in text).strip()


def _key(lines: list[str]) -> str:
    digest = hashlib.sha256(f"partkin {__version__} owlrl {owlrl.__version__}\n".encode())
    for path in sorted((shipped("ontology") / "vocabulary").glob("*.ttl")):
        digest.update(path.read_bytes())
    digest.update("\n".join(lines).encode())
    return digest.hexdigest()[:32]


def _remembered(file: Path) -> list[list[str]] | None:
    try:
        found = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    known = isinstance(found, list) and all(
        isinstance(one, list) and len(one) == 4 and all(isinstance(text, str) for text in one) for one in found
    )
    return found if known else None


def contradictions_of(lines: list[str]) -> list[list[str]]:
    """Return [IRI, column, what, mend] for each contradiction in identity triples.

    The answer is remembered in the user's cache folder, under a hash of all that went in.
    """
    if not any(f" {name} " in line for line in lines for name in IDENTITY):
        return []
    file = cache_file(f"contradictions-{_key(lines)}.json")
    found = _remembered(file) if file else None
    if found is None:
        found = _contradictions(closure(lines))
        if file:
            keep(file, json.dumps(found))
    return found


def contradictions(build: Build) -> tuple[Problem, ...]:
    """Return what contradicts itself in who is part of, takes the place of and supersedes whom (OWL RL)."""
    base = build_iri(build.settings.name)
    rows = {f"{base}/{segment(part.part)}": part.row for part in reversed(build.parts)}
    for part in reversed(build.parts):
        if part.part_number:
            rows[f"{base}/~number/{segment(plain_number(part.part_number))}"] = part.row
    found = (
        Problem("parts.csv", rows.get(iri, 0), column, what, mend)
        for iri, column, what, mend in contradictions_of(identity_lines(build))
    )
    return tuple(sorted(found))


def validate(build: Build) -> tuple[Problem, ...]:
    """Return every fault that the shapes and the vocabulary find in a build.

    Returns tuple of Problem: in plain words, by sheet and row where the row is known; empty when there is none. Takes
    about a second; a check never calls it.
    """
    shaped = check_build(build)
    # A ring is found both ways; the shapes' words for it are enough.
    seen = {(problem.sheet, problem.column) for problem in shaped}
    return (*shaped, *(one for one in contradictions(build) if (one.sheet, one.column) not in seen))
