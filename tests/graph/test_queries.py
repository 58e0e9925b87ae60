"""Every query and every rule gives the same rows in two engines that share no code."""

import pyoxigraph
import pytest
import rdflib

from graph.builds import dashboard, family
from graph.test_one_drawing import with_original
from partkin.graph import compile_graph
from partkin.graph.backwards import gather
from partkin.graph.graph import query_files, rule_files
from partkin.graph.names import full, last
from partkin.graph.statements import number_text
from partkin.model.build import Feature, Part, Reading
from partkin.model.columns import terms_of

BUILDS = {
    "dashboard": dashboard(), **{f"family {seed}": family(seed) for seed in (1, 2, 5)},
    "alike": with_original(7.0), "not alike": with_original(9.0, "bracket"),
}  # fmt: skip
GRAPHS = {name: compile_graph(build) for name, build in BUILDS.items()}


def other_engine(name: str) -> rdflib.Graph:
    """The same triples, asserted and derived, as one rdflib graph."""
    triples = (quad.triple for quad in GRAPHS[name].store)
    text = pyoxigraph.serialize(triples, format=pyoxigraph.RdfFormat.N_TRIPLES)
    return rdflib.Graph().parse(data=text, format="nt")


OTHERS = {name: other_engine(name) for name in BUILDS}


def cell(value: str, datatype: str) -> str:
    """A term's text; a decimal that was worked out has one value and, between the engines, two spellings."""
    return number_text(float(value)) if datatype.endswith("#decimal") else value


def both(sparql: str, name: str) -> tuple[list, list]:
    ours = GRAPHS[name].store.query(sparql, use_default_graph_as_union=True)
    theirs = OTHERS[name].query(sparql)
    columns = [variable.value for variable in ours.variables]
    assert columns == [str(variable) for variable in theirs.vars]
    return (
        [
            tuple(
                None if term is None else cell(term.value, getattr(getattr(term, "datatype", None), "value", ""))
                for term in row
            )
            for row in ours
        ],
        [
            tuple(
                None if row[name] is None else cell(str(row[name]), str(getattr(row[name], "datatype", "")))
                for name in columns
            )
            for row in theirs
        ],
    )


@pytest.mark.parametrize("build", BUILDS)
@pytest.mark.parametrize("query", query_files())
def test_a_query_gives_equal_rows_in_both_engines(query, build):
    ours, theirs = both(query_files()[query].sparql, build)
    assert sorted(ours, key=repr) == sorted(theirs, key=repr)


@pytest.mark.parametrize("build", BUILDS)
@pytest.mark.parametrize("rule", rule_files(), ids=lambda rule: rule.name)
def test_a_rule_derives_the_same_in_both_engines(rule, build):
    ours = {
        (one.subject.value, one.predicate.value, one.object.value)
        for one in GRAPHS[build].store.query(rule.sparql, use_default_graph_as_union=True)
    }
    theirs = {tuple(map(str, triple)) for triple in OTHERS[build].query(rule.sparql)}
    assert ours == theirs


def test_every_rule_derives_something():
    sized = [compile_graph(with_original(across_mm)) for across_mm in (7.0, 9.0)]
    found = {rule for graph in (*GRAPHS.values(), *sized) for rule, *_ in graph.derived()}
    assert found == {rule.name for rule in rule_files()}


@pytest.mark.parametrize(
    ("wide", "facts", "row"),
    [
        ("features", "feature-facts", Feature),
        ("parts", "part-facts", Part),
        ("readings", "reading-facts", Reading),
    ],
)
@pytest.mark.parametrize("build", BUILDS)
def test_one_row_a_thing_and_one_row_a_fact_say_the_same(wide, facts, row, build):
    graph = GRAPHS[build]
    things = gather((one["thing"], one["term"], one["value"]) for one in graph.rows(facts))
    if wide == "readings":
        # That query leaves out what a later reading corrects.
        corrected = {one for thing in things.values() for one in thing.get(full("prov:wasRevisionOf"), ())}
        things = {iri: thing for iri, thing in things.items() if iri not in corrected}
    columns = terms_of(row)
    rows = graph.rows(wide)
    assert len(rows) == len(things)
    for line, (iri, thing) in zip(rows, things.items(), strict=True):
        for name, column in columns.items():
            if name in ("part", "axis", "replaces", "part_number"):
                continue
            value = thing.get(full(column.term), [None])[0]
            assert line.get(name) == value, (wide, name)
        assert last(iri) in (line.get("feature"), line.get("reading"), last(line["part"]))
