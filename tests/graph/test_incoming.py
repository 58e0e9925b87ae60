"""Turtle from elsewhere: a sound file loses nothing, a hostile one is refused within its limits."""

import time
from dataclasses import replace

import pytest

from graph.builds import dashboard
from partkin.graph import export_turtle, read_turtle
from partkin.model.build import Build, Feature, Part
from partkin.sheets.loading import load
from partkin.tables.reader import shipped

TURTLE = export_turtle(dashboard())
OWN = "<https://w3id.org/partkin/id/an%20invented%20build"


def told(content: str | bytes) -> list[str]:
    build, problems = read_turtle(content if isinstance(content, bytes) else content.encode())
    assert build is None and problems and not any(one.warning for one in problems)
    assert all("\n" not in str(one) and len(str(one)) < 500 for one in problems)
    return [str(one) for one in problems]


def test_a_build_comes_back_whole():
    assert read_turtle(TURTLE.encode()) == (dashboard(), ())
    assert read_turtle(b"\xef\xbb\xbf" + TURTLE.encode()) == (dashboard(), ())
    for name in ("demo",):
        build = load(shipped("data") / name).build
        assert read_turtle(export_turtle(build).encode()) == (build, ())


def test_statements_in_any_order_give_the_same_build():
    lines = [line for line in TURTLE.splitlines() if line.startswith("@")]
    blocks = TURTLE.split("\n\n")[1:]
    assert len(blocks) > 40
    mixed = "\n".join([*lines, *reversed(blocks)])
    assert read_turtle(mixed.encode()) == (dashboard(), ())


def test_what_has_no_column_is_left_out_and_said():
    build, problems = read_turtle(
        (
            TURTLE
            + """
        <top-1> partkin:colour "red", "blue" ; <http://example.org/x> <http://example.org/y> .
        """
        ).encode()
    )
    assert build == dashboard()
    assert all(one.warning for one in problems)
    assert [one.what for one in problems] == [
        "1 of http://example.org/x left out, the first of top-1",
        "2 of partkin:colour left out, the first of top-1",
    ]


def test_a_thing_under_another_name_is_left_out_and_said():
    build, problems = read_turtle(
        (
            TURTLE
            + """
        <http://example.org/x> a partkin:Feature ; partkin:order 9 ; dcterms:identifier "q" ;
            partkin:kind partkin:kind-hole ; partkin:ofPart <top-1> .
        """
        ).encode()
    )
    assert build == dashboard()
    assert "1 of a partkin:Feature left out, the first of http://example.org/x" in [one.what for one in problems]


def test_faults_come_back_as_the_shapes_say_them():
    assert [one for one in told(TURTLE.replace("kind-stud", "kind-sutd")) if "kind is not one of" in one]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "no build"),
        (b"\xff\xfe\x00", "not Turtle"),
        (b"<a> <b> <c> .", "not Turtle"),
        (b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaa">]><x>&a;</x>', "not Turtle"),
        (b'{"@context": "http://127.0.0.1:9/", "@id": "x"}', "not Turtle"),
        (b"@prefix owl: <http://www.w3.org/2002/07/owl#> . <a:a> owl:imports <http://127.0.0.1:9/> .", "no build"),
        (b"[] a <a:b> .", "blank node"),
        (b"<a:a> <a:b> " + b"(" * 100_000 + b")" * 100_000 + b" .", "blank node"),
        (b"<a:a> <a:b> " + b"[ <a:b> " * 100_000 + b"<a:c>" + b"] " * 100_000 + b" .", "blank node"),
        (b"<a:a> <a:b> <<( <a:c> <a:d> <a:e> )>> .", "statement about a statement"),
        (b'<a:a> <a:b> "' + b"x" * 20_000 + b'" .', "10000 letters"),
        (b'<a:a> <a:b> "' + b"x" * 40_000_000 + b'" .', "10000 letters"),
        (b"<a:a> <a:b> <a:" + b"x" * 20_000 + b"> .", "10000 letters"),
        (b" " * ((64 << 20) + 1), "64 MB"),
        (TURTLE.encode() + TURTLE.replace("an%20invented%20build", "other").encode(), "2 builds"),
        (TURTLE.encode().replace(b"x102", b"x102\\uD800"), "not Turtle"),
    ],
)
def test_a_hostile_file_is_refused_in_time(content, said):
    start = time.monotonic()
    assert said in told(content)[0]
    assert time.monotonic() - start < 10.0


def test_too_many_statements_are_refused_before_they_are_all_read():
    many = b"".join(b"<a:%d> <a:b> <a:c> .\n" % number for number in range(400_000))
    start = time.monotonic()
    assert "200000 statements" in told(many)[0]
    assert time.monotonic() - start < 10.0


def test_numbers_that_are_none_are_refused():
    for text in ('"NaN"', '"INF"', '"1e5"', '"0x10"'):
        assert "is not a number" in told(TURTLE.replace("300.1", f"{text}^^xsd:decimal"))[0]
    for text in ("1e2", "true", '"12"'):
        assert "x is not one number" in told(TURTLE.replace("300.1", text))[0]
    assert told(TURTLE.replace("partkin:order 2 ;", 'partkin:order "two" ;'))


def test_numbers_may_be_written_with_zeros_and_signs():
    other = TURTLE.replace("300.1", "+300.100").replace('"7"^^xsd:decimal', "7.00")
    other = other.replace("partkin:order 2", "partkin:order 02")
    assert other != TURTLE
    assert read_turtle(other.encode()) == (dashboard(), ())


def test_names_that_climb_out_of_the_build_stay_names():
    build = Build(
        settings=replace(dashboard().settings, name="../../etc"),
        parts=(Part("..", duty="trim"), Part("a-b_c.d")),
        features=(Feature("..", "...", "hole"),),
    )
    assert read_turtle(export_turtle(build).encode()) == (build, ())
