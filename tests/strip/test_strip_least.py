"""The optimum against a search through every state, and what must hold of any optimum."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace

import pytest

from partkin.model.build import Build, Holding
from partkin.strip.answering import lines
from partkin.strip.assembly import assembly, what_stays
from partkin.strip.plan import plan
from partkin.strip.search import bundled, cheapest
from strip.brute import Taken
from strip.invented import random_build, tangled_build, vehicle_build

DEFAULT, ALL = 100, 300


def _equal(seed: int) -> bool:
    """Compare one assembly; return whether it has a plan at all."""
    build = random_build(seed)
    want = Taken(build, "p0").least()
    found = cheapest(assembly(build, "p0"))
    assert found.proved
    assert (found.chosen is None) == (want is None), seed
    if want is not None:
        assert found.cost_minutes == pytest.approx(want, abs=1e-6), seed
        assert found.bound_minutes <= found.cost_minutes + 1e-6
    return want is not None


def test_the_optimum_equals_brute_force() -> None:
    """Assemblies of up to 12 joints; most of them must have a plan, or the comparison says little."""
    assert sum(_equal(seed) for seed in range(DEFAULT)) > DEFAULT / 2


@pytest.mark.slow
def test_the_optimum_equals_brute_force_on_300() -> None:
    assert sum(_equal(seed) for seed in range(DEFAULT, ALL)) > (ALL - DEFAULT) / 2


def _with_one_more(build: Build, draw: random.Random) -> Build:
    """Add a fastener that holds some part, not one that holds the vehicle to something."""
    stays = what_stays(build)
    parts = sorted({row.part for row in build.holdings})
    others = sorted({row.held_to for row in build.holdings} | set(parts))
    part = draw.choice(parts)
    held_to = draw.choice([other for other in others if other != part])
    behind = ((draw.choice([row.fastener for row in build.holdings]),),) if draw.random() < 0.4 else ()
    more = Holding(part, held_to, "one more", "bolt", draw.randint(1, 4), behind=behind, place="cabin", row=99)
    build = replace(build, holdings=(*build.holdings, more))
    assert what_stays(build) == stays
    return build


def _never_cheaper(seeds: range) -> None:
    compared = dearer = 0
    for seed in seeds:
        build = random_build(seed, hard=False)
        before = cheapest(assembly(build, "p0"))
        after = cheapest(assembly(_with_one_more(build, random.Random(seed)), "p0"))
        if before.chosen is None:
            assert after.chosen is None, seed
            continue
        if after.chosen is not None:
            compared += 1
            dearer += after.cost_minutes > before.cost_minutes + 1e-6
            assert after.cost_minutes >= before.cost_minutes - 1e-6, seed
    assert compared > len(seeds) / 2 and dearer > len(seeds) / 20


def test_one_more_fastener_never_makes_it_cheaper() -> None:
    _never_cheaper(range(1000, 1080))


@pytest.mark.slow
def test_one_more_fastener_never_makes_it_cheaper_on_1000() -> None:
    _never_cheaper(range(2000, 3000))


def test_leaving_a_fastener_alone_never_makes_it_cheaper() -> None:
    compared = 0
    for seed in range(250):
        asm = assembly(random_build(seed, hard=False), "p0")
        before = cheapest(asm)
        if before.chosen is None:
            continue
        for index in sorted(before.chosen.undone - set(asm.boundary)):
            after = cheapest(replace(asm, without=frozenset([index])))
            if after.chosen is not None:
                compared += 1
                assert index not in after.chosen.undone
                assert after.cost_minutes >= before.cost_minutes - 1e-6
    assert compared > 10


def test_the_rules_of_reach_are_those_of_brute_force() -> None:
    """In place and lifted: which bodies stay joined, and what any set of fasteners lets come undone."""
    for seed in range(60):
        build = random_build(seed)
        taken, asm = Taken(build, "p0"), assembly(build, "p0")
        draw = random.Random(seed)
        # Brute force knows no links; they come undone at once.
        mine, links = ([f for f in asm.fasteners if f.link == link] for link in (False, True))
        for in_place in (False, True):
            reach = asm.reach_in_place if in_place else asm.reach
            for _ in range(8):
                allowed = {f.id for f in mine if draw.random() < 0.6}
                undone = 0
                left = set(allowed)
                while more := [name for name in left if taken.can_reach(name, undone, in_place)]:
                    undone |= sum(taken.bit[name] for name in more)
                    left.difference_update(more)
                found = reach.run(f.index for f in (*mine, *links) if f.link or f.id in allowed)
                assert {f.id for f in mine if f.index in found} == {n for n in allowed if undone & taken.bit[n]}
                joined, lumps = reach.joined(found), taken.lumps(undone, in_place)
                there = {body for f in asm.fasteners for body in f.ends} | asm.wanted
                for a, b in itertools.combinations(sorted(there), 2):
                    assert (joined[a] == joined[b]) == (asm.bodies[b] in lumps[asm.bodies[a]])


def test_a_blocking_set_blocks_and_no_smaller_one_does() -> None:
    for seed in range(40):
        asm = assembly(random_build(seed), "p0")
        every = range(len(asm.fasteners))
        can = asm.reach.run(every)
        for fastener in asm.fasteners:
            if fastener.index not in can or asm.reach.reached(fastener.index, 0, asm.reach.joined(())):
                continue
            others = asm.reach.others(fastener.index, sorted(can), [0.0] * len(every), float("inf"))
            assert others
            assert fastener.index not in asm.reach.run(can - set(others))
            for kept in others:
                assert fastener.index in asm.reach.run(can - set(others) | {kept})


def test_bundles_stand_for_every_fastener_once() -> None:
    asm = assembly(vehicle_build(1, 20, 60), "p5")
    small, stands_for = bundled(asm)
    members = sorted(member for bundle in stands_for for member in bundle)
    assert members == [f.index for f in asm.fasteners]
    assert len(small.fasteners) == len(stands_for) < len(asm.fasteners)
    assert sum(f.minutes for f in small.fasteners) == pytest.approx(sum(f.minutes for f in asm.fasteners))


def test_sixty_parts_and_two_hundred_fasteners_are_proved() -> None:
    found = cheapest(assembly(vehicle_build(12, 60, 200), "p3"))
    assert found.chosen is not None and found.proved and len(found.chosen.undone) > 10


def test_a_search_that_is_cut_short_says_so_and_its_bound_holds() -> None:
    asm = assembly(tangled_build(1, 12, 36), "p6")
    whole, short = cheapest(asm), cheapest(asm, rounds=1, nodes=1)
    assert whole.chosen is not None and short.chosen is not None and whole.proved and whole.limit is None
    assert short.bound_minutes <= whole.cost_minutes + 1e-6 <= short.cost_minutes + 2e-6
    assert not short.proved and short.limit == "the search stopped at its limit of branches"


def test_a_plan_that_was_not_proved_is_not_called_the_cheapest() -> None:
    found = plan(tangled_build(1, 12, 36), "p6", nodes=1, rounds=1)
    assert found and not found.proved and found.bound_minutes < found.cost_minutes
    assert "Not shown to be the cheapest (the search stopped at its limit of branches)" in " ".join(lines(found))


def test_the_same_sheets_give_the_same_solution() -> None:
    asm = assembly(vehicle_build(4, 40, 120), "p20")
    assert cheapest(asm) == cheapest(asm)
