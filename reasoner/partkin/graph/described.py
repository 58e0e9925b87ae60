"""The vocabulary and the rules as values, read from the Turtle and the rule files: what the pages are made from."""

from __future__ import annotations

from dataclasses import dataclass, field

from partkin.graph.graph import query_files, rule_files
from partkin.graph.names import NS, PREFIXES, full
from partkin.tables.reader import shipped

# The order of the page; a term of several types stands under the first.
TYPES = (
    ("owl:Class", "Classes"), ("owl:ObjectProperty", "Properties that name a thing"),
    ("owl:DatatypeProperty", "Properties that hold a value"), ("skos:ConceptScheme", "Lists of words"),
    ("skos:Concept", "Words"), ("partkin:Rule", "Rules"),
)  # fmt: skip
OTHER = "Other terms"


@dataclass(frozen=True)
class Term:
    """One term: `file` of the vocabulary, `kind` the heading that it stands under."""

    name: str
    kind: str
    label: str
    meaning: str
    examples: tuple[str, ...]
    sources: tuple[str, ...]
    file: str


@dataclass(frozen=True)
class DescribedFile:
    """A rule, or a query, by its header."""

    name: str
    header: dict[str, str] = field(default_factory=dict)


def terms() -> tuple[Term, ...]:
    """Return every term of the vocabulary, by file and name."""
    import pyoxigraph

    found = []
    for path in sorted((shipped("ontology") / "vocabulary").glob("*.ttl")):
        said: dict[str, dict[str, list[str]]] = {}
        for quad in pyoxigraph.parse(path=path, format=pyoxigraph.RdfFormat.TURTLE):
            if isinstance(quad.subject, pyoxigraph.NamedNode) and not isinstance(quad.object, pyoxigraph.BlankNode):
                said.setdefault(quad.subject.value, {}).setdefault(quad.predicate.value, []).append(quad.object.value)
        found += [_term(iri, facts, path.stem) for iri, facts in sorted(said.items())]
    return tuple(found)


def _term(iri: str, facts: dict[str, list[str]], file: str) -> Term:
    def all_of(name: str) -> tuple[str, ...]:
        return tuple(sorted(facts.get(full(name), ())))

    types = all_of("rdf:type")
    kind = next((heading for name, heading in TYPES if full(name) in types), OTHER)
    label = (*all_of("rdfs:label"), "")[0]
    meaning = (*all_of("skos:definition"), "")[0]
    return Term(_short(iri), kind, label, meaning, all_of("skos:example"), all_of("dcterms:source"), file)


def _short(iri: str) -> str:
    if iri.startswith(NS):
        return f"partkin:{iri.removeprefix(NS)}"
    return next((f"{p}:{iri.removeprefix(space)}" for p, space in PREFIXES.items() if iri.startswith(space)), iri)


def rules() -> tuple[DescribedFile, ...]:
    """Return every rule in the order in which they run."""
    return tuple(DescribedFile(rule.name, dict(rule.header)) for rule in rule_files())


def queries() -> tuple[DescribedFile, ...]:
    """Return every shipped query by name."""
    return tuple(DescribedFile(name, dict(file.header)) for name, file in query_files().items())
