"""Every term has its label, definition and example; words, shapes, rules and code agree with the vocabulary."""

import pytest
import rdflib
from rdflib import OWL, RDF, RDFS, SKOS, Namespace

from partkin.graph.evidence import FINDINGS
from partkin.graph.graph import query_files, rule_files
from partkin.graph.names import NS, PREFIXES, UNITS, concept, full
from partkin.graph.terms import expanded, known_terms, tokens
from partkin.model import words
from partkin.model.columns import BUILD, SHEETS
from partkin.model.words import WORDS
from partkin.tables.reader import shipped

PARTKIN = Namespace(NS)
SH = Namespace("http://www.w3.org/ns/shacl#")
ONTOLOGY = shipped("ontology")


def read(folder: str) -> rdflib.Graph:
    graph = rdflib.Graph()
    for path in sorted((ONTOLOGY / folder).glob("*.ttl")):
        graph.parse(path)
    return graph


VOCABULARY, ALIGNMENTS, SHAPES = read("vocabulary"), read("alignments"), read("shapes")
TERMS = sorted(term for term in set(VOCABULARY.subjects()) if isinstance(term, rdflib.URIRef))


@pytest.mark.parametrize("term", TERMS, ids=lambda term: term.removeprefix(NS))
def test_a_term_has_one_label_one_definition_and_an_example(term):
    assert len(list(VOCABULARY.objects(term, RDFS.label))) == 1
    definitions = list(VOCABULARY.objects(term, SKOS.definition))
    assert len(definitions) == 1 and str(definitions[0]).endswith(".")
    assert list(VOCABULARY.objects(term, SKOS.example))
    assert list(VOCABULARY.objects(term, RDF.type))


def test_no_two_terms_share_a_label_of_one_type():
    for kind in (OWL.Class, OWL.ObjectProperty, OWL.DatatypeProperty):
        labels = [
            str(VOCABULARY.value(term, RDFS.label))
            for term in VOCABULARY.subjects(RDF.type, kind)
            if isinstance(term, rdflib.URIRef)
        ]
        assert len(labels) == len(set(labels))


def test_every_term_used_in_an_axiom_is_a_term():
    known = {*known_terms()[0], *known_terms()[1]}
    used = {
        node
        for triple in VOCABULARY
        for node in triple
        if isinstance(node, rdflib.URIRef) and node.startswith((NS, PREFIXES["schema"], PREFIXES["sosa"]))
    }
    assert {str(node) for node in used} <= known


@pytest.mark.parametrize("scheme", WORDS)
def test_the_words_of_a_scheme_are_those_of_the_sheets(scheme):
    iris = {concept(scheme, word): word for word in WORDS[scheme]}
    found = {
        str(term): str(VOCABULARY.value(term, RDFS.label))
        for term in VOCABULARY.subjects(RDF.type, SKOS.Concept)
        if term.removeprefix(NS).startswith(f"{scheme}-")
    }
    assert found == iris
    schemes = {VOCABULARY.value(rdflib.URIRef(iri), SKOS.inScheme) for iri in iris}
    assert len(schemes) == 1 and (schemes.pop(), RDF.type, SKOS.ConceptScheme) in VOCABULARY


def test_every_list_of_the_shapes_is_a_whole_scheme():
    lists = [{str(item) for item in SHAPES.items(head)} for head in SHAPES.objects(None, SH["in"])]
    schemes = [{concept(scheme, word) for word in listed} for scheme, listed in WORDS.items()]
    units = {PREFIXES["unit"] + local for local in UNITS.values()}
    assert lists and all(listed in (*schemes, units) for listed in lists)


def test_every_column_is_a_term():
    ours, reused = known_terms()
    for sheet in (BUILD, *SHEETS):
        assert full(sheet.rdf_class) in ours
        for column in sheet.terms:
            terms = [f"partkin:axis{way}" for way in "XYZ"] if column.holds == "axis" else [column.term]
            for term in terms:
                assert full(term) in ours | reused, term


def test_a_property_is_of_the_kind_that_its_column_holds():
    for sheet in (BUILD, *SHEETS):
        for column in sheet.terms:
            if column.term.startswith("partkin:") and column.holds not in ("axis",):
                literal = column.holds in ("text", "id", "decimal", "integer", "boolean", "date")
                kind = OWL.DatatypeProperty if literal else OWL.ObjectProperty
                assert (rdflib.URIRef(full(column.term)), RDF.type, kind) in VOCABULARY, column.term


def test_evidence_is_the_same_table_in_code_and_vocabulary():
    written = {
        str(found): (str(VOCABULARY.value(kind, RDFS.label)), int(VOCABULARY.value(kind, PARTKIN.strength)))
        for kind, found in VOCABULARY.subject_objects(PARTKIN.foundAs)
    }
    assert written == {term: (finding.kind, finding.strength) for term, finding in FINDINGS.items()}
    strengths = {int(value) for value in VOCABULARY.objects(None, PARTKIN.strength)}
    assert strengths == {0, 1, 2, 3, 4, 5}


def test_every_rule_states_says_because_and_source_and_is_a_graph_of_the_vocabulary():
    for rule in rule_files():
        assert {"says", "because", "source"} <= rule.header.keys(), rule.name
        assert all(rule.header[key] for key in ("says", "because", "source"))
        assert rule.sparql.count("CONSTRUCT") == 1
        assert (PARTKIN[f"rule-{rule.name}"], RDF.type, PARTKIN.Rule) in VOCABULARY
    described = {term.removeprefix(NS) for term in VOCABULARY.subjects(RDF.type, PARTKIN.Rule)}
    assert described == {f"rule-{rule.name}" for rule in rule_files()}
    assert {finding.rule for finding in FINDINGS.values()} <= {rule.name for rule in rule_files()}


def test_every_query_says_what_it_asks_and_what_it_is_given():
    for name, file in query_files().items():
        assert file.header["asks"].endswith("?"), name
        assert ("{ UNDEF }" in file.sparql) == ("given" in file.header), name
        if "given" in file.header:
            assert f"VALUES ?{file.header['given']} {{ UNDEF }}" in file.sparql, name


@pytest.mark.parametrize("file", (*query_files().values(), *rule_files()), ids=lambda file: file.name)
def test_every_iri_of_a_query_is_known(file):
    ours, reused = known_terms()
    iris = {iri for iri, _ in expanded(list(tokens(file.sparql)))}
    assert iris <= ours | reused
    # Nothing was lost in reading: the terms that the text shows are among those that were found.
    assert bool(iris) == (file.name != "everything")


@pytest.mark.parametrize("file", (*query_files().values(), *rule_files()), ids=lambda file: file.name)
def test_a_query_declares_just_the_prefixes_that_it_uses(file):
    body = [line for line in file.sparql.splitlines() if not line.startswith(("#", "PREFIX"))]
    declared = {line.split()[1] for line in file.sparql.splitlines() if line.startswith("PREFIX")}
    used = {f"{token.text.split(':')[0]}:" for token in tokens("\n".join(body)) if token.kind == "name"}
    assert declared == used


@pytest.mark.parametrize("path", sorted((ONTOLOGY / "shapes").glob("*.ttl")), ids=lambda path: path.stem)
def test_every_term_of_a_shape_is_known(path):
    ours, reused = known_terms()
    graph = rdflib.Graph().parse(path)
    spaces = tuple(PREFIXES[prefix] for prefix in ("partkin", "schema", "sosa", "prov", "qudt", "dcterms", "unit"))
    used = {
        str(node)
        for triple in graph
        for node in triple
        if isinstance(node, rdflib.URIRef) and str(node).startswith(spaces)
    }
    for select in graph.objects(None, SH.select):
        used |= {iri for iri, _ in expanded(list(tokens(str(select))))}
    assert used <= ours | reused


def test_every_constraint_says_what_and_how_to_mend():
    shapes = {*SHAPES.objects(None, SH.property), *SHAPES.objects(None, SH.sparql)}
    assert len(shapes) > 100
    for shape in shapes:
        for say in (SH.message, SH.description):
            said = list(SHAPES.objects(shape, say))
            assert len(said) == 1 and said[0] and not str(said[0]).endswith("."), SHAPES.value(shape, SH.path)


def test_units_convert_as_the_sheets_do():
    # QUDT's factors lead to metres and kilograms; the sheets' to millimetres and kilograms.
    for unit, local in UNITS.items():
        factor = float(
            ALIGNMENTS.value(
                rdflib.URIRef(PREFIXES["unit"] + local), rdflib.URIRef(PREFIXES["qudt"] + "conversionMultiplier")
            )
        )
        if unit in words.MM_PER_UNIT:
            assert factor * 1000 == pytest.approx(words.MM_PER_UNIT[unit], rel=1e-15)
        else:
            assert factor == words.KG_PER_UNIT[unit]
    assert {*UNITS} == {*words.MM_PER_UNIT, *words.KG_PER_UNIT}
