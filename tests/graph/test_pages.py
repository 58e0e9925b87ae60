"""docs/terms.md and docs/rules.md: nothing of the ontology is missing, and they are up to date."""

from pathlib import Path

import pytest
import rdflib
from rdflib import RDFS

from partkin.commands.documenting import pages
from partkin.graph.names import NS
from partkin.tables.reader import shipped

DOCS = Path(__file__).parents[2] / "docs"


@pytest.mark.parametrize("name", ["terms.md", "rules.md"])
def test_the_page_is_up_to_date(name):
    assert (DOCS / name).read_text(encoding="utf-8") == pages()[name], "run: python -m partkin.commands.documenting"


def test_no_term_is_missing():
    graph = rdflib.Graph()
    for path in (shipped("ontology") / "vocabulary").glob("*.ttl"):
        graph.parse(path)
    names = {str(term).removeprefix(NS) for term in graph.subjects(RDFS.label) if str(term).startswith(NS)}
    rows = {
        line.split("`")[1].removeprefix("partkin:")
        for line in pages()["terms.md"].splitlines()
        if line.startswith("| `")
    }
    assert len(names) > 150
    assert names <= rows
    assert not [
        row
        for row in pages()["terms.md"].splitlines()
        if row.startswith("| `") and "|  |" in row.replace("|  | ", "", 1)
    ], "a term without meaning or example"


def test_no_rule_and_no_query_is_missing():
    page = pages()["rules.md"]
    for path in (shipped("ontology") / "rules").glob("*.rq"):
        assert f"\n## {path.stem}\n" in page
    for path in (shipped("ontology") / "queries").glob("*.rq"):
        assert f"| `{path.stem}` |" in page
    assert "because: \n" not in page and "source: \n" not in page
