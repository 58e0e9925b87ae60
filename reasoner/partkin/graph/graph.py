"""The graph of one build: what the sheets assert, and what each rule adds in a graph of its own."""

from __future__ import annotations

import weakref
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from partkin.graph.backwards import build_from
from partkin.graph.names import NS, full, plain_number, segment
from partkin.graph.statements import build_iri, ntriples
from partkin.model.build import Build
from partkin.tables.reader import shipped

if TYPE_CHECKING:
    from pyoxigraph import Store


class QueryFile(NamedTuple):
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


GIVEN = "{ UNDEF }"
ASKED = f"{NS}asked"
COMPARED = full("partkin:comparedWith")

Row = dict[str, str]


def with_given(sparql: str, iris: Iterable[str]) -> str:
    """Return a shipped query for these things alone, in place of every one."""
    listed = " ".join(f"<{iri}>" for iri in iris)
    return sparql.replace(GIVEN, f"{{ {listed} }}", 1) if listed else sparql


def texts_of(answer: Any) -> list[Row]:
    """Return the rows of a store's answer as texts by variable; what is not bound is left out."""
    names = [variable.value for variable in answer.variables]
    return [{name: term.value for name, term in zip(names, row, strict=True) if term is not None} for row in answer]


class Knowledge:
    """A build as a graph that can be asked; the store behind it is this stage's own affair.

    The default graph is what the sheets assert; the results of a rule stand in the graph
    `https://w3id.org/partkin/ns#rule-<name>`. Queries see all of them as one.
    """

    def __init__(self, store: Store, base: str) -> None:
        self.store = store
        self.base = base

    def part(self, part_id: str) -> str:
        """Return the IRI of a part of this build."""
        return f"{self.base}/{segment(part_id)}"

    def number(self, written: str) -> str:
        """Return the IRI of a part number, however it is written."""
        return f"{self.base}/~number/{segment(plain_number(written))}"

    def rows(self, name: str, given: Iterable[str] = ()) -> list[Row]:
        """Return the rows of a shipped query as texts by column; what is not bound is left out.

        `name`: of the file in ontology/queries. `given`: IRIs for the variable that the file's header names under
        `given`; none: every one.
        """
        sparql = with_given(query_files()[name].sparql, given)
        return texts_of(self.store.query(sparql, use_default_graph_as_union=True))

    def compare(self, donor: str, *others: str) -> None:
        """Let the rules compare a donor with these parts as well, whatever the sheets say it is for.

        Facts that hold already stay; asking twice changes nothing.
        """
        from pyoxigraph import NamedNode, Quad

        known = {row["other"] for row in self.rows("compared", [self.part(donor)])}
        new = [iri for iri in map(self.part, others) if iri not in known]
        if new:
            ours, compared, asked = NamedNode(self.part(donor)), NamedNode(COMPARED), NamedNode(ASKED)
            self.store.extend([Quad(ours, compared, NamedNode(iri), asked) for iri in new])
            self.apply([rule for rule in rule_files() if "compared" in after_of(rule)])

    def apply(self, rules: Iterable[QueryFile]) -> None:
        """Run rules once, in order; what each derives goes into its own graph."""
        from pyoxigraph import NamedNode, Quad

        for rule in rules:
            graph = NamedNode(f"{NS}rule-{rule.name}")
            derived: Any = self.store.query(rule.sparql, use_default_graph_as_union=True)
            self.store.extend([Quad(one.subject, one.predicate, one.object, graph) for one in derived])

    def quads(self) -> str:
        """Return everything as N-Quads, in no order."""
        from pyoxigraph import RdfFormat

        written: Any = self.store.dump(format=RdfFormat.N_QUADS)
        return str(written, "utf-8")

    def asserted(self) -> Iterator[tuple[str, str, str]]:
        """Yield what the sheets say as (subject, predicate, object) texts."""
        from pyoxigraph import DefaultGraph

        yield from self._texts(DefaultGraph())

    def derived(self) -> Iterator[tuple[str, str, str, str]]:
        """Yield what the rules add as (rule, subject, predicate, object) texts."""
        from pyoxigraph import NamedNode

        for rule in rule_files():
            for subject, predicate, value in self._texts(NamedNode(f"{NS}rule-{rule.name}")):
                yield rule.name, subject, predicate, value

    def _texts(self, graph: Any) -> Iterator[tuple[str, str, str]]:
        quads: Any = self.store.quads_for_pattern(None, None, None, graph)
        for quad in quads:
            yield quad.subject.value, quad.predicate.value, quad.object.value


def compile_graph(build: Build) -> Knowledge:
    """Compile a build into a graph and let the rules add what follows.

    `build`: sheets without faults; they are taken as they are. Returns Knowledge: the asserted triples and, in one
    named graph a rule, the derived ones.
    """
    from pyoxigraph import RdfFormat, Store

    store = Store()
    store.bulk_load(ntriples(build).encode(), format=RdfFormat.N_TRIPLES)
    graph = Knowledge(store, build_iri(build.settings.name))
    graph.apply(rule_files())
    return graph


_last: list[tuple[weakref.ref[Build], Knowledge]] = []


def graph_of(build: Build) -> Knowledge:
    """Compile the graph of a build; the last one is kept, since one build is asked about many donors."""
    if _last and _last[0][0]() is build:
        return _last[0][1]
    graph = compile_graph(build)
    _last[:] = [(weakref.ref(build), graph)]
    return graph


def to_build(graph: Knowledge) -> Build:
    """Return the build that a graph was compiled from; nothing of any sheet is lost."""
    return build_from(graph.asserted())
