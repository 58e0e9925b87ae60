"""Nothing of a build is lost on the way through the graph, the queries or Turtle."""

import dataclasses
import os
import subprocess
import sys

import rdflib
from hypothesis import HealthCheck, given, settings

from graph.builds import dashboard, family, random_builds
from partkin.graph import ask_check, compile_graph, export_turtle, to_build
from partkin.graph.backwards import build_from
from partkin.graph.statements import ntriples, number_text
from partkin.model.columns import BUILD, SHEETS
from partkin.model.known import Known

patient = settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow])


@patient
@given(random_builds())
def test_the_graph_gives_the_build_back(build):
    assert to_build(compile_graph(build)) == build


@patient
@given(random_builds())
def test_turtle_holds_the_asserted_triples_and_gives_the_build_back(build):
    turtle = rdflib.Graph().parse(data=export_turtle(build), format="turtle")
    lines = rdflib.Graph().parse(data=ntriples(build), format="nt")
    assert set(turtle) == set(lines)
    assert build_from((str(one), str(two), str(three)) for one, two, three in turtle) == build


def test_no_blank_node_and_only_decimals_in_data():
    graph = rdflib.Graph().parse(data=export_turtle(dashboard()), format="turtle")
    terms = {term for triple in graph for term in triple}
    assert not [term for term in terms if isinstance(term, rdflib.BNode)]
    numbers = {str(term.datatype) for term in terms if isinstance(term, rdflib.Literal) and term.datatype}
    assert numbers == {f"http://www.w3.org/2001/XMLSchema#{name}" for name in ("decimal", "integer", "boolean", "date")}


@patient
@given(random_builds())
def test_the_store_keeps_every_triple_as_it_was_written(build):
    kept = {tuple(triple) for triple in compile_graph(build).asserted()}
    written = rdflib.Graph().parse(data=ntriples(build), format="nt")
    assert kept == {(str(one), str(two), str(three)) for one, two, three in written}


def test_every_field_of_every_sheet_is_a_column():
    for sheet in (BUILD, *SHEETS):
        names = {field.name for field in dataclasses.fields(sheet.row)} - {"row"}
        assert names == {column.attribute for column in sheet.terms}, sheet.name


def test_a_check_gets_the_very_numbers_of_the_sheets():
    for seed in range(40):
        build = family(seed)
        graph = compile_graph(build)
        for part in build.parts:
            known = ask_check(graph, part.part)
            if not isinstance(known, Known):
                continue
            for side in (known.host, known.donor, known.original):
                if side is None:
                    continue
                name = side.part.part
                assert side.part == build.part(name)
                assert side.features == build.features_of(name)
                assert side.zones == tuple(zone for zone in build.zones if zone.part == name)
                assert side.connectors == tuple(one for one in build.connectors if one.part == name)
                wrong = {one.corrects for one in build.readings if one.part == name}
                assert side.readings == tuple(
                    one for one in build.readings if one.part == name and one.reading not in wrong
                )
                models = [model for model in build.models if model.model == side.part.model]
                assert side.model == (models[0] if models else None)


def test_a_space_feature_comes_back_with_its_axis():
    known = ask_check(compile_graph(dashboard()), "top-2")
    assert isinstance(known, Known)
    assert known.donor.features == dashboard().features_of("top-2")
    assert [feature.feature for feature in known.donor.features] == ["a", "z"]


def test_numbers_are_canonical():
    assert [number_text(value) for value in (12.0, -0.0, 0.5, 1e-3, 123456789012345680.0)] == [
        "12",
        "0",
        "0.5",
        "0.001",
        "123456789012345680",
    ]


_WRITE = """
import sys
sys.path.insert(0, sys.argv[1])
from graph.builds import dashboard, family
from partkin.graph import export_turtle
sys.stdout.write("".join(export_turtle(build) for build in (dashboard(), family(3), family(4))))
"""


def test_turtle_is_the_same_bytes_in_every_process():
    written = []
    for seed in ("0", "1", "4242"):
        ran = subprocess.run(
            [sys.executable, "-c", _WRITE, os.path.dirname(os.path.dirname(__file__))],
            capture_output=True,
            env={**os.environ, "PYTHONHASHSEED": seed},
            check=True,
        )
        written.append(ran.stdout)
    assert written[0] and written[0] == written[1] == written[2]
