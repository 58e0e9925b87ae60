"""Worked examples of the open literature; the values stand in tests/published/disassembly."""

from __future__ import annotations

import csv
import itertools
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import pytest

from partkin.model.build import Build, Holding
from partkin.strip.assembly import Assembly, assembly
from partkin.strip.plan import plan
from partkin.strip.reach import bits
from partkin.tables.work import fastener_rows

PUBLISHED = Path(__file__).parent.parent / "published" / "disassembly"
# The four single parts of the graph; the letters are ours.
LETTER = {"node9": "C", "node10": "S", "node11": "R", "node12": "H"}
# What is in contact, with minutes chosen so that the partings of the cheapest routes cost what is published.
CONTACTS = {"CR": 4.0, "RH": 4.0, "SR": 1.0, "CS": 1.0, "SH": 1.0}
# The stick slides out of one end: that end is off the receptacle, and the other end is off the stick:
# (CR and SH) or (RH and CS), written as all of some.
SLIDES = (("CR", "RH"), ("CR", "CS"), ("SH", "RH"), ("SH", "CS"))


def _rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as sheet:
        return list(csv.DictReader(sheet))


@cache
def _graph() -> dict[frozenset[str], dict[frozenset[frozenset[str]], float]]:
    """The published graph by the parts of its nodes: whole -> {two halves: cost}."""
    arcs = [(row["whole"], row["one"], row["other"], float(row["cost"])) for row in _rows("andor.csv")]
    parts = {node: frozenset(letter) for node, letter in LETTER.items()}
    while len(parts) < 12:
        for whole, one, other, _ in arcs:
            if one in parts and other in parts:
                parts[whole] = parts[one] | parts[other]
    graph: dict[frozenset[str], dict[frozenset[frozenset[str]], float]] = {}
    for whole, one, other, cost in arcs:
        graph.setdefault(parts[whole], {})[frozenset({parts[one], parts[other]})] = cost
    return graph


def _product() -> Build:
    rows = [
        Holding(pair[0], pair[1], pair, "screw", minutes=minutes, behind=SLIDES if pair == "SR" else ())
        for pair, minutes in CONTACTS.items()
    ]
    return Build(holdings=tuple(rows))


def _partings(whole: frozenset[str]) -> set[frozenset[frozenset[str]]]:
    """Every way that our rules allow of parting a subassembly in two connected halves."""
    asm = assembly(_product(), "S", stays=frozenset())
    before = {f.index for f in asm.fasteners if not set(f.id) <= whole}
    found = set()
    for size in range(1, len(whole)):
        for half in map(frozenset, itertools.combinations(sorted(whole), size)):
            cut = [f.index for f in asm.fasteners if set(f.id) <= whole and len(set(f.id) & half) == 1]
            lump = asm.reach.joined(asm.reach.run(cut, before))
            lumps = {frozenset(b for b, label in zip(asm.bodies, lump, strict=True) if label == one) for one in lump}
            if {lump for lump in lumps if lump <= whole} == {half, whole - half}:
                found.add(frozenset({half, whole - half}))
    return found


def test_the_rules_of_reach_give_the_published_and_or_graph() -> None:
    """12 subassemblies and 15 partings, no more and no fewer, from five contacts and one `behind` cell."""
    graph = _graph()
    assert len(graph) + len(LETTER) == 12 and sum(map(len, graph.values())) == 15
    ours: dict[frozenset[str], set[frozenset[frozenset[str]]]] = {}
    waiting = [frozenset("CSRH")]
    while waiting:
        whole = waiting.pop()
        if whole not in ours and len(whole) > 1:
            ours[whole] = _partings(whole)
            waiting += [half for parting in ours[whole] for half in parting]
    assert ours == {whole: set(partings) for whole, partings in graph.items()}


def _published_least(part: str) -> float:
    """The cheapest way through the published graph from the whole product to one part alone."""
    graph = _graph()
    best = {frozenset("CSRH"): 0.0}
    for whole in sorted(graph, key=lambda parts: (-len(parts), sorted(parts))):
        for parting, cost in graph[whole].items():
            for half in parting:
                if whole in best:
                    best[half] = min(best.get(half, float("inf")), best[whole] + cost)
    return best[frozenset(part)]


@pytest.mark.parametrize("part", ["C", "H", "S"])
def test_freeing_one_part_costs_what_the_published_graph_says(part: str) -> None:
    """Cap and handle 5, stick 7. (The receptacle is left out: the published partings on its way cost more than
    their contacts add up to, so no minutes of ours could agree with them all.)
    """
    found = plan(_product(), part, stays=frozenset())
    assert found and found.proved
    assert found.minutes == pytest.approx(_published_least(part) * fastener_rows()["screw"].bench_factor)
    assert _published_least("S") == 7.0 and _published_least("C") == _published_least("H") == 5.0


def _pen() -> Build:
    """Ullman's pen, taken apart: what he lets precede in assembly comes off after."""
    values = {row["what"]: row["value"] for row in _rows("pen.csv")}
    joins = {
        "1": ("head", "body"),
        "2": ("button", "body"),
        "3": ("head", "tube"),
        "4": ("ink", "tube"),
        "5": ("cap", "body"),
    }
    behind = {"3": values["connection 3 before"], "1": values["connection 1 before"]}
    rows = [Holding(*joins[n], n, "clip", behind=((behind[n],),) if n in behind else ()) for n in sorted(joins)]
    return Build(holdings=tuple(rows))


def _can_be_carried_out(asm: Assembly, order: Sequence[str]) -> bool:
    number = {f.id: f.index for f in asm.fasteners}
    gone: set[int] = set()
    for name in order:
        if not asm.reach.reached(number[name], bits(gone), asm.reach.joined(gone)):
            return False
        gone.add(number[name])
    return True


def test_the_published_order_of_the_pen_backwards_can_be_carried_out() -> None:
    """Of the 120 orders of five connections two precedences leave a quarter (closed form: 5! / (2 x 2))."""
    order = next(row["value"] for row in _rows("pen.csv") if row["what"] == "order of assembly").split()
    asm = assembly(_pen(), "head", stays=frozenset())
    assert _can_be_carried_out(asm, order[::-1])
    assert not _can_be_carried_out(asm, order)
    assert sum(_can_be_carried_out(asm, each) for each in itertools.permutations(order)) == 30


def test_the_head_of_the_pen_comes_free_after_what_the_book_puts_on_later() -> None:
    found = plan(_pen(), "head", stays=frozenset())
    assert found
    order = list(found.undone)
    assert set(order) == {"1", "3", "4", "5"}
    assert order.index("5") < order.index("1") and order.index("4") < order.index("3")
