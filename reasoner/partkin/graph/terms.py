"""The terms of the vocabulary: described for the pages, as a question uses them, and what a question may not do."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import NamedTuple

from partkin.graph.names import NS, PREFIXES, full
from partkin.model.problem import Problem
from partkin.tables.reader import shipped

# Their terms are not checked: they are the languages that the vocabulary itself is written in.
_LANGUAGES = tuple(PREFIXES[prefix] for prefix in ("rdf", "rdfs", "owl", "xsd"))
_REUSED = tuple(PREFIXES[prefix] for prefix in ("dcterms", "prov", "qudt", "schema", "skos", "sosa", "unit"))

_TOKEN = re.compile(
    r"""
      (?P<comment>\#[^\n]*)
    | (?P<text>\"{3}(?:[^\\]|\\.)*?\"{3} | '{3}(?:[^\\]|\\.)*?'{3}
        | "(?:[^"\\\n]|\\.)*" | '(?:[^'\\\n]|\\.)*')
    | (?P<iri><[^<>"{}|^`\\\s]*>)
    | (?P<variable>[?$]\w+)
    | (?P<name>(?:[A-Za-z][\w.-]*)?:(?:[\w:~%-]|\\.|\.(?=[\w:%-]))*)
    | (?P<word>@?[^\W\d]\w*)
    | (?P<other>\S)
    """,
    re.VERBOSE | re.DOTALL,
)


class Token(NamedTuple):
    """A word of a question, with where it stands (from 1)."""

    kind: str
    text: str
    line: int
    column: int


def tokens(sparql: str) -> Iterator[Token]:
    """Yield the tokens of SPARQL text, without comments and without the insides of strings being read."""
    line, start, seen = 1, 0, 0
    for found in _TOKEN.finditer(sparql):
        line += sparql.count("\n", seen, found.start())
        start = sparql.rfind("\n", 0, found.start()) + 1
        seen = found.start()
        if found.lastgroup != "comment":
            yield Token(found.lastgroup or "other", found[0], line, found.start() - start + 1)


@cache
def known_terms() -> tuple[frozenset[str], frozenset[str]]:
    """Return the terms of our own vocabulary, and the terms of others that the alignments declare."""
    import pyoxigraph

    found: list[frozenset[str]] = []
    for folder in ("vocabulary", "alignments"):
        subjects: set[str] = set()
        for path in sorted((shipped("ontology") / folder).glob("*.ttl")):
            for quad in pyoxigraph.parse(path=path, format=pyoxigraph.RdfFormat.TURTLE):
                if isinstance(quad.subject, pyoxigraph.NamedNode):
                    subjects.add(quad.subject.value)
        found.append(frozenset(subjects))
    return found[0], frozenset(iri for iri in found[1] if not iri.startswith(NS))


def expanded(listed: list[Token]) -> list[tuple[str, Token]]:
    """Return every IRI that tokens name, prefixes resolved, with its token; declarations left out."""
    prefixes = dict(PREFIXES)
    found: list[tuple[str, Token]] = []
    place = 0
    while place < len(listed):
        token = listed[place]
        if token.kind == "word" and token.text.upper() == "PREFIX" and place + 2 < len(listed):
            prefixes[listed[place + 1].text.rstrip(":")] = listed[place + 2].text[1:-1]
            place += 3
            continue
        if token.kind == "iri":
            found.append((token.text[1:-1], token))
        elif token.kind == "name":
            prefix, local = token.text.split(":", 1)
            if prefix in prefixes:
                found.append((prefixes[prefix] + local.replace("\\", ""), token))
        place += 1
    return found


def misspelt(listed: list[Token]) -> tuple[Problem, ...]:
    """Return a warning for each term that no vocabulary here has: it would match nothing, and say nothing."""
    ours, reused = known_terms()
    warnings: dict[str, Problem] = {}
    for iri, token in expanded(listed):
        if iri in warnings or iri in ours or iri in reused or iri.startswith(_LANGUAGES):
            continue
        space = next((start for start in (NS, *_REUSED) if iri.startswith(start)), None)
        if space is None:
            continue
        listed_terms = ours if space == NS else frozenset(term for term in reused if term.startswith(space))
        warnings[iri] = _warning(iri, token, space, listed_terms)
    return tuple(warnings.values())


def _warning(iri: str, token: Token, space: str, known: frozenset[str]) -> Problem:
    from difflib import get_close_matches

    prefix = next(prefix for prefix, start in PREFIXES.items() if start == space)
    names = {term[len(space) :].casefold(): term[len(space) :] for term in sorted(known)}
    close = get_close_matches(iri[len(space) :].casefold(), list(names), n=1, cutoff=0.5)
    lacks = "is not a term of the vocabulary" if space == NS else "is not used in the graph"
    what = f"{prefix}:{iri[len(space) :]} {lacks}"
    mend = f"Did you mean {prefix}:{names[close[0]]}?" if close else "Nothing will match it"
    return Problem("ask", token.line, str(token.column), what, mend, warning=True)


CHANGES = frozenset({"INSERT", "DELETE", "CLEAR", "DROP", "CREATE", "COPY", "MOVE", "ADD"})
_ESCAPE = re.compile(r"\\u([0-9A-Fa-f]{4})|\\U([0-9A-Fa-f]{8})")
GREATEST_LETTERS = 100_000


def _unescaped(sparql: str) -> str:
    """Return text with its codepoint escapes undone, which SPARQL allows anywhere (SPARQL 1.1, 19.2)."""

    def letter(found: re.Match[str]) -> str:
        code = int(found[1] or found[2], 16)
        return chr(code) if code <= 0x10FFFF and not 0xD800 <= code <= 0xDFFF else found[0]

    return _ESCAPE.sub(letter, sparql)


def _refused(token: Token, what: str) -> Problem:
    return Problem("ask", token.line, str(token.column), what, "Ask with SELECT, ASK, CONSTRUCT or DESCRIBE")


def refusal(sparql: str) -> Problem | None:
    """Return why a question is refused before it is run, or None."""
    if len(sparql) > GREATEST_LETTERS:
        return Problem("ask", 0, "query", f"the question has more than {GREATEST_LETTERS} letters", "Ask a shorter one")
    for text in dict.fromkeys((sparql, _unescaped(sparql))):
        found = _first_refusal(list(tokens(text)))
        if found is not None:
            return found
    return None


def _first_refusal(listed: list[Token]) -> Problem | None:
    iris = {id(token): iri for iri, token in expanded(listed)}
    for place, token in enumerate(listed):
        if token.kind != "word":
            continue
        word = token.text.upper()
        if word in CHANGES:
            return _refused(token, f"{word} would change the graph, and questions only read it")
        if word == "SERVICE":
            return _refused(token, "SERVICE would ask another machine; nothing outside the build is asked")
        if word == "LOAD":
            return _refused(token, "LOAD would fetch a document, and nothing outside the build is read")
        if word == "FROM":
            named = place + 1 < len(listed) and listed[place + 1].text.upper() == "NAMED"
            after = listed[place + 1 + named] if place + 1 + named < len(listed) else None
            iri = iris.get(id(after), "") if after is not None else ""
            if not iri.startswith(f"{NS}rule-"):
                return _refused(token, f"FROM {after.text if after else ''} is not a graph of the build")
    return None


# The order of the page; a term of several types stands under the first.
TYPES = (
    ("owl:Class", "Classes"), ("owl:ObjectProperty", "Properties that name a thing"),
    ("owl:DatatypeProperty", "Properties that hold a value"), ("skos:ConceptScheme", "Lists of words"),
    ("skos:Concept", "Words"), ("partkin:Rule", "Rules"),
)  # fmt: skip
OTHER = "Other terms"


class Term(NamedTuple):
    """One term of the vocabulary; `kind`: the heading that it stands under."""

    name: str
    kind: str
    meaning: str
    examples: tuple[str, ...]
    sources: tuple[str, ...]


def terms() -> tuple[Term, ...]:
    """Return every term of the vocabulary, by file and name."""
    import pyoxigraph

    found = []
    for path in sorted((shipped("ontology") / "vocabulary").glob("*.ttl")):
        said: dict[str, dict[str, list[str]]] = {}
        for quad in pyoxigraph.parse(path=path, format=pyoxigraph.RdfFormat.TURTLE):
            if isinstance(quad.subject, pyoxigraph.NamedNode) and not isinstance(quad.object, pyoxigraph.BlankNode):
                said.setdefault(quad.subject.value, {}).setdefault(quad.predicate.value, []).append(quad.object.value)
        found += [_term(iri, facts) for iri, facts in sorted(said.items())]
    return tuple(found)


def _term(iri: str, facts: dict[str, list[str]]) -> Term:
    def all_of(name: str) -> tuple[str, ...]:
        return tuple(sorted(facts.get(full(name), ())))

    kind = next((heading for name, heading in TYPES if full(name) in all_of("rdf:type")), OTHER)
    called = next((f"{p}:{iri.removeprefix(space)}" for p, space in PREFIXES.items() if iri.startswith(space)), iri)
    meaning = (*all_of("skos:definition"), "")[0]
    return Term(called, kind, meaning, all_of("skos:example"), all_of("dcterms:source"))
