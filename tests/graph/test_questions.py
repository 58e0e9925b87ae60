"""Questions of people: named, in a file or in words of SPARQL; read only, within limits, and never silently empty."""

import re
import time

import pytest

from graph.builds import dashboard
from partkin.graph import ask, compile_graph, list_queries
from partkin.graph.graph import query_files
from partkin.model.known import Table
from partkin.model.problem import FaultyInput
from partkin.report.rows import rows_text

GRAPH = compile_graph(dashboard())


def refused(query: str, **limits: float) -> str:
    with pytest.raises(FaultyInput) as caught:
        ask(GRAPH, query, **limits)
    assert len(caught.value.problems) == 1
    said = str(caught.value)
    assert "\n" not in said
    return said


def test_a_named_query_of_a_part():
    table, warnings = ask(GRAPH, "features frame")
    assert warnings == ()
    assert table.columns[:3] == ("part", "feature", "kind")
    assert [row[:3] for row in table.rows] == [("frame", "F1", "stud"), ("frame", "F2", "stud")]
    x_mm = table.columns.index("x_mm")
    assert [row[x_mm] for row in table.rows] == [0.0, 300.1]


def test_a_named_query_of_every_part():
    table, _ = ask(GRAPH, "candidates")
    assert ("frame", "top-2", True) in table.rows and ("frame", "spare", False) in table.rows


def test_readings_are_shown_in_the_words_of_the_sheet():
    table, _ = ask(GRAPH, "readings top-2")
    cells = [dict(zip(table.columns, row, strict=True)) for row in table.rows]
    assert [one["reading"] for one in cells] == ["r2", "r3"]
    assert (cells[0]["quantity"], cells[0]["unit"], cells[0]["value"]) == ("centres", "cm", 30.04)
    assert (cells[0]["from_feature"], cells[0]["on"], cells[0]["instrument"]) == ("top-2/z", "2024-06-01", "tape")


def test_a_cell_that_a_spreadsheet_would_run_is_a_text_in_the_csv():
    """A name that begins with an equals sign gets an apostrophe, as in the sheets; a number below zero stays one."""
    table = Table(("name", "x_mm"), (("=HYPERLINK(1)", -7.5), ("@top", 2.0), ("top", None)))
    assert rows_text(table, "csv") == "name,x_mm\n'=HYPERLINK(1),-7.5\n'@top,2\ntop,\n"


def test_the_list_names_every_query():
    table, _ = ask(GRAPH, "list")
    assert table == list_queries()
    assert [row[0] for row in table.rows] == list(query_files())


def test_sparql_text_needs_no_prefixes():
    table, warnings = ask(GRAPH, "SELECT ?p ?n WHERE { ?p partkin:supersedes ?n } ORDER BY ?p ?n")
    assert warnings == ()
    assert ("top-2", "x100a") in table.rows and ("top-2", "x99") in table.rows


def test_a_yes_or_no():
    table, _ = ask(GRAPH, "ASK { ?p partkin:duty partkin:duty-restraint }")
    assert table.answer is True and table.rows == ((True,),)
    table, _ = ask(GRAPH, "ASK { ?p partkin:duty partkin:duty-body }")
    assert table.answer is False


def test_triples():
    table, _ = ask(GRAPH, "CONSTRUCT { ?p partkin:hand ?h } WHERE { ?p partkin:hand ?h } ")
    assert table.columns == ("subject", "predicate", "object")
    assert ("top-3", "partkin:hand", "right") in table.rows


def test_a_file(tmp_path):
    file = tmp_path / "mine.rq"
    file.write_text("# what I ask\nSELECT (COUNT(?p) AS ?n) { ?p a partkin:Part }", encoding="utf-8")
    table, _ = ask(GRAPH, str(file))
    assert table.rows == ((8,),)
    assert "cannot be read" in refused(str(tmp_path / "none.rq"))
    file.write_bytes(b"\xff\xfe\x00")
    assert "UTF-8" in refused(str(file))


@pytest.mark.parametrize(
    "query",
    [
        "INSERT DATA { <a:a> <a:b> <a:c> }",
        "insert { ?a ?b ?c } where { ?a ?b ?c }",
        "DELETE WHERE { ?a ?b ?c }",
        "WITH <a:g> DELETE { ?a ?b ?c } WHERE { ?a ?b ?c }",
        "CLEAR ALL",
        "DROP DEFAULT",
        "CREATE GRAPH <a:g>",
        "COPY <a:a> TO <a:b>",
        "MOVE <a:a> TO <a:b>",
        "ADD <a:a> TO <a:b>",
        "SELECT * { ?a ?b ?c } ; INSERT DATA { <a:a> <a:b> <a:c> }",
        "PREFIX a: <a:>\n#comment\nINSERT DATA { a:a a:b a:c }",
    ],
)
def test_changes_are_refused(query):
    assert re.search("change|INSERT|DELETE", refused(query))


@pytest.mark.parametrize(
    "query",
    [
        "SELECT * { SERVICE <http://127.0.0.1:9/> { ?a ?b ?c } }",
        "SELECT * { service silent <http://127.0.0.1:9/> { ?a ?b ?c } }",
        "SELECT * { \\u0053ERVICE <http://127.0.0.1:9/> { ?a ?b ?c } }",
        "SELECT * { ?x ?y '''\n''' . SERVICE ?x { ?a ?b ?c } }",
        'SELECT * { ?x ?y "a\\"b" . SERVICE ?x { ?a ?b ?c } }',
        "SELECT * { ?x ?y '#' . SERVICE ?x { ?a ?b ?c } }",
        "LOAD <http://127.0.0.1:9/>",
        "LOAD SILENT <file:///etc/hostname> INTO GRAPH <a:g>",
        "SELECT * FROM <http://127.0.0.1:9/> { ?a ?b ?c }",
        "SELECT * FROM NAMED <file:///etc/hostname> { GRAPH ?g { ?a ?b ?c } }",
        "PREFIX x: <http://127.0.0.1:9/> SELECT * FROM x:y { ?a ?b ?c }",
    ],
)
def test_nothing_outside_is_asked(query):
    said = refused(query)
    assert any(word in said for word in ("SERVICE", "LOAD", "FROM"))


@pytest.mark.parametrize(
    "query",
    [
        "SELECT ?p { ?p skos:note 'SERVICE <http://a> LOAD INSERT' }",
        'SELECT ?p { ?p skos:note "DELETE" } # CLEAR ALL, SERVICE <x>',
        "SELECT ?service ?load { ?service skos:note ?load }",
        "PREFIX load: <a:> SELECT * { ?x load:insert ?y }",
        "SELECT ?p { ?p skos:note '''INSERT \" ' DATA''' }",
        "SELECT * FROM partkin:rule-part-of { ?a partkin:within ?b }",
    ],
)
def test_words_that_only_look_like_it_are_let_through(query):
    assert ask(GRAPH, query)[0].columns


def test_the_graph_of_a_rule_can_be_asked_alone():
    table, _ = ask(GRAPH, "SELECT ?a ?b { GRAPH partkin:rule-part-of { ?a partkin:within ?b } }")
    assert table.rows == (("top-1", "dash"),)
    table, _ = ask(GRAPH, "SELECT ?a ?b FROM partkin:rule-part-of { ?a ?p ?b }")
    assert table.rows == (("top-1", "dash"),)


@pytest.mark.parametrize(
    ("query", "wrong", "meant"),
    [
        ("SELECT ?x { ?f partkin:acrosMm ?x }", "partkin:acrosMm", "partkin:acrossMm"),
        ("SELECT ?x { ?x partkin:duty partkin:duty-restrain }", "partkin:duty-restrain", "partkin:duty-restraint"),
        ("SELECT ?x { ?x a <https://w3id.org/partkin/ns#Parts> }", "partkin:Parts", "partkin:Part"),
        (
            "PREFIX k: <https://w3id.org/partkin/ns#>\nSELECT ?x { ?x a k:feature }",
            "partkin:feature",
            "partkin:Feature",
        ),
        ("SELECT ?x { ?x schema:nmae ?y }", "schema:nmae", "schema:name"),
        ("SELECT ?x { ?x qudt:unit ?y }", "qudt:unit", "qudt:hasUnit"),
        ("SELECT ?x { ?x a partkin:Qqqqqq }", "partkin:Qqqqqq", "Nothing will match it"),
    ],
)
def test_a_misspelt_term_is_told(query, wrong, meant):
    table, warnings = ask(GRAPH, query)
    assert table.rows == ()
    assert len(warnings) == 1 and warnings[0].warning
    assert wrong in warnings[0].what and meant in warnings[0].mend


def test_where_a_misspelt_term_stands_is_told():
    _, warnings = ask(GRAPH, "SELECT ?x {\n  ?x partkin:nam ?y }")
    assert (warnings[0].row, warnings[0].column) == (2, "6")


def test_what_cannot_be_read_is_told_with_its_place():
    said = refused("SELECT ?x {\n ?x partkin:duty }")
    assert said.startswith("ask:2:") and "cannot be read" in said
    assert "no query 'featurs'. Did you mean features?" in refused("featurs")
    assert "there is no part 'top2'" in refused("features top2")
    assert "not asked of a part" in refused("places top-2")
    assert "prefix" in refused("SELECT ?x { ?x nobody:knows ?y }").lower()
    refused("")


def test_rows_are_cut_and_it_is_said():
    table, warnings = ask(GRAPH, "SELECT ?a ?b ?c { ?a ?b ?c }", rows_at_most=7)
    assert len(table.rows) == 7 and table.cut
    assert len(warnings) == 1 and "7 rows" in warnings[0].what
    table, warnings = ask(GRAPH, "places", rows_at_most=7)
    assert len(table.rows) == 7 and table.cut and warnings
    table, warnings = ask(GRAPH, "places", rows_at_most=8)
    assert len(table.rows) == 8 and not table.cut and not warnings


@pytest.mark.parametrize(
    "query",
    [
        "SELECT (COUNT(*) AS ?n) { ?a ?b ?c . ?d ?e ?f . ?g ?h ?i . ?j ?k ?l }",
        "SELECT * { ?a ?b ?c . ?d ?e ?f . ?g ?h ?i . FILTER(CONCAT(STR(?a), STR(?d), STR(?g)) = 'nowhere') }",
    ],
)
def test_a_question_without_end_is_stopped(query):
    start = time.monotonic()
    assert "took more than 1 s" in refused(query, seconds_at_most=1.0)
    assert time.monotonic() - start < 6.0


def test_a_question_of_too_much_text_is_refused():
    assert "letters" in refused("SELECT * { ?a ?b '" + "x" * 200_000 + "' }")


def test_a_question_nested_too_deep_does_not_take_the_program_down():
    assert "too deeply nested" in refused("SELECT * " + "{" * 20_000 + "?a ?b ?c" + "}" * 20_000)


def test_a_question_that_needs_too_much_memory_is_stopped(monkeypatch):
    from partkin.graph import questions

    monkeypatch.setattr(questions, "MEGABYTES_AT_MOST", 40)
    assert "40 MB" in refused("SELECT * { ?a ?b ?c }")


def test_a_fault_of_the_program_is_not_taken_for_one_of_the_question(monkeypatch):
    from partkin.graph import questions

    monkeypatch.setattr(questions, "MEGABYTES_AT_MOST", "not a number")
    with pytest.raises(RuntimeError, match="TypeError"):
        ask(GRAPH, "SELECT * { ?a ?b ?c }")


def test_numbers_are_numbers_and_unbound_is_none():
    table, _ = ask(
        GRAPH,
        """SELECT ?whole ?real ?yes ?none ?text WHERE {
        BIND(1 + 1 AS ?whole) BIND(0.5 + 0.25 AS ?real) BIND(1 < 2 AS ?yes) BIND("x" AS ?text) }""",
    )
    assert table.rows == ((2, 0.75, True, None, "x"),)
