"""Plain questions, each with its data, its query and exactly the rows that answer it.

A question is a folder: question.txt, data.ttl (invented), query.rq, expected.csv. The expected rows were written
by reading the data, not by running the query.
"""

import csv
from pathlib import Path

import pyoxigraph
import pytest
import rdflib

from partkin.graph import compile_graph
from partkin.graph.backwards import build_from, cell_of
from partkin.graph.shapes import check_graph
from partkin.graph.statements import number_text
from partkin.graph.terms import expanded, known_terms, misspelt, tokens

FOLDERS = sorted(path for path in Path(__file__).parent.iterdir() if (path / "question.txt").is_file())
BASE = "https://w3id.org/partkin/id/q"


def written(cell) -> str:
    """A cell as expected.csv holds it."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    return number_text(float(f"{cell:.12g}")) if isinstance(cell, float) else str(cell)


def expected(folder: Path) -> tuple[list[str], list[list[str]]]:
    with (folder / "expected.csv").open(encoding="utf-8", newline="") as file:
        head, *rows = csv.reader(file)
    return head, rows


def store_of(folder: Path):
    data = rdflib.Graph().parse(folder / "data.ttl")
    build = build_from((str(one), str(two), str(three)) for one, two, three in data)
    return compile_graph(build).store


def answer(store, sparql: str) -> tuple[list[str], list[list[str]]]:
    found = store.query(sparql, use_default_graph_as_union=True)
    if isinstance(found, pyoxigraph.QueryBoolean):
        return ["answer"], [[written(bool(found))]]
    columns = [variable.value for variable in found.variables]
    return columns, [[written(cell_of(term, BASE)) for term in row] for row in found]


def answer_of_another_engine(store, sparql: str) -> tuple[list[str], list[list[str]]]:
    text = pyoxigraph.serialize((quad.triple for quad in store), format=pyoxigraph.RdfFormat.N_TRIPLES)
    found = rdflib.Graph().parse(data=text, format="nt").query(sparql)
    if found.type == "ASK":
        return ["answer"], [[written(bool(found))]]
    columns = [str(variable) for variable in found.vars]
    return columns, [[written(cell_of(moved(row[name]), BASE)) for name in columns] for row in found]


def moved(term):
    """The same term for the store's own types."""
    if term is None:
        return None
    if isinstance(term, rdflib.Literal):
        datatype = pyoxigraph.NamedNode(str(term.datatype)) if term.datatype else None
        return pyoxigraph.Literal(str(term), datatype=datatype)
    return pyoxigraph.NamedNode(str(term))


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_a_question_has_its_answer(folder):
    sparql = (folder / "query.rq").read_text(encoding="utf-8")
    head, rows = expected(folder)
    store = store_of(folder)
    columns, found = answer(store, sparql)
    assert columns == head
    assert (found if "ORDER BY" in sparql else sorted(found)) == (rows if "ORDER BY" in sparql else sorted(rows))
    other_columns, other = answer_of_another_engine(store, sparql)
    assert (other_columns, sorted(other)) == (columns, sorted(found))


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_a_question_is_plain_and_its_query_uses_known_terms(folder):
    assert "?" in (folder / "question.txt").read_text(encoding="utf-8")
    listed = list(tokens((folder / "query.rq").read_text(encoding="utf-8")))
    assert misspelt(listed) == ()
    ours, reused = known_terms()
    assert any(iri in ours | reused for iri, _ in expanded(listed))


def test_there_are_questions_enough_and_no_two_are_the_same():
    assert len(FOLDERS) >= 25
    assert len({(folder / "query.rq").read_text() for folder in FOLDERS}) == len(FOLDERS)
    assert all(expected(folder)[1] for folder in FOLDERS)


def test_the_data_of_every_question_is_sound():
    texts = {(folder / "data.ttl").read_text(encoding="utf-8") for folder in FOLDERS}
    for text in sorted(texts):
        problems = check_graph(rdflib.Graph().parse(data=text, format="turtle"))
        # One question is about a fixing that is not there.
        assert {problem.column for problem in problems} <= {"goes_on"}, problems
