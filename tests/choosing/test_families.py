"""Published flange and motor-face standards as a graph: the query names who might stand in, geometry who does.

Source: each row's own `source` column in tests/published/interchange.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

import pytest

import partkin
from partkin import graph
from partkin.model.build import Build, Feature, Part
from published.test_interchange import CASES, build_of

WORDS = ("PN", "JIS", "ASME", "ANSI", "CL", "IEC", "NEMA", "CLASS")


def of_families(case: dict[str, str]) -> bool:
    """Whether both sides are flanges or motor faces, judged as they are with every hole given."""
    sides = (case["donor_pattern"], case["host_pattern"])
    return all(side.upper().startswith(WORDS) for side in sides) and case["expected"] != "marginal"


FAMILIES = [case for case in CASES if of_families(case)]


def one_build(cases: list[dict[str, str]]) -> tuple[Build, dict[tuple[str, str], str]]:
    """The pairs of one host pattern as one build, and what the table says of each (donor, host).

    A host comes once for each bolt and need that the rows give it; a donor for each row.
    """
    parts: dict[str, Part] = {}
    features: list[Feature] = []
    hosts: dict[tuple[Feature | str | None, ...], str] = {}
    table: dict[tuple[str, str], str] = {}
    for number, case in enumerate(cases):
        pair = build_of(case)
        own = tuple(f for f in pair.features if f.part == "host")
        new = (*own, pair.part("host").seen_from) not in hosts
        host = hosts.setdefault((*own, pair.part("host").seen_from), f"host-{len(hosts)}")
        names = {"host": host, "donor": f"donor-{number}"}
        for p in pair.parts:
            parts[names[p.part]] = replace(p, part=names[p.part], takes_place_of=names.get(p.takes_place_of or ""))
        features += [replace(f, part=names[f.part]) for f in pair.features if new or f.part == "donor"]
        table[(f"donor-{number}", host)] = case["expected"]
    return Build(parts=tuple(parts.values()), features=tuple(features)), table


def groups() -> dict[str, list[dict[str, str]]]:
    found: dict[str, list[dict[str, str]]] = defaultdict(list)
    for case in FAMILIES:
        found[case["host_pattern"]].append(case)
    return dict(found)


def test_there_are_families_on_both_sides_of_the_question() -> None:
    assert len(FAMILIES) >= 20
    assert {case["expected"] for case in FAMILIES} == {"fits", "does_not_fit"}


@pytest.mark.parametrize("host", sorted(groups()))
def test_the_query_and_the_geometry_together_give_the_table(host: str) -> None:
    build, table = one_build(groups()[host])
    answer, _ = graph.ask(graph.graph_of(build), "candidates")
    asked = {(str(row[answer.columns.index("donor")]), str(row[answer.columns.index("host")])) for row in answer.rows}
    assert asked == set(table)
    goes_on = {pair for pair in asked if partkin.check(build, *pair).verdict == "bolts on"}
    assert goes_on == {pair for pair, expected in table.items() if expected == "fits"}
