"""Every plan can be carried out, forwards and back, in a simulator that refuses a step whose access is blocked."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from partkin.model.build import Build
from partkin.strip.plan import plan
from partkin.strip.refit import refit
from partkin.strip.stuck import undone_by
from strip.invented import random_build, vehicle_build
from strip.reading import example
from strip.simulator import Bench, Refused, carried_out, put_back

DEFAULT, ALL = 150, 2000


def _carried_out(build: Build, part: str = "p0") -> bool:
    found = plan(build, part)
    if not found:
        assert found.reason and found.blocked
        return False
    bench = carried_out(build, found)
    put_back(bench, refit(build, found))
    assert bench.undone == 0
    at_vehicle = [step.place for step in found.steps if step.do == "undo"]
    changes = sum(a != b for a, b in itertools.pairwise(at_vehicle))
    assert changes == found.changes_of_place
    return True


def test_plans_can_be_carried_out() -> None:
    assert sum(_carried_out(random_build(seed)) for seed in range(DEFAULT)) > DEFAULT / 2


@pytest.mark.slow
def test_plans_can_be_carried_out_on_2000() -> None:
    assert sum(_carried_out(random_build(seed)) for seed in range(DEFAULT, ALL)) > (ALL - DEFAULT) / 2


def test_plans_of_a_vehicle_can_be_carried_out() -> None:
    assert all([_carried_out(vehicle_build(seed, 40, 120), f"p{5 + seed}") for seed in (0, 1, 4)])


@pytest.mark.parametrize("part", ["dash-velt", "top-velt", "cluster-velt", "glove-velt", "console", "blower"])
def test_plans_of_the_example_can_be_carried_out(part: str) -> None:
    assert _carried_out(example(), part)


def test_the_simulator_refuses_what_cannot_be_done() -> None:
    """The example: bolts behind a cover, a thing done twice, bench work on the vehicle, a lift too early."""
    bench = Bench(example(), "dash-velt")
    with pytest.raises(Refused, match="cannot be reached"):
        bench.undo("B2", False)
    bench.undo("C1", False)
    with pytest.raises(Refused, match="already"):
        bench.undo("C1", False)
    with pytest.raises(Refused, match="not at the bench"):
        bench.undo("S3", True)
    with pytest.raises(Refused, match="still joined"):
        bench.carry(("dash-velt",), False)
    bench.carry(("cover-left",), False)


def test_the_simulator_refuses_a_plan_with_two_steps_exchanged() -> None:
    found = plan(example(), "dash-velt")
    assert found
    steps = list(found.steps)
    last = next(i for i, step in enumerate(steps) if step.fastener == "B5")
    first = next(i for i, step in enumerate(steps) if step.fastener == "K1")
    steps[first], steps[last] = steps[last], steps[first]
    renumbered = tuple(replace(step, number=n) for n, step in enumerate(steps, start=1))
    with pytest.raises(Refused):
        carried_out(example(), found._replace(steps=renumbered))


def test_from_the_middle_of_a_plan_the_rest_is_planned_anew() -> None:
    """After any number of steps the new plan can be carried out from there and undoes nothing twice."""
    build = vehicle_build(3, 30, 90)
    found = plan(build, "p7")
    assert found
    undo = [step.number for step in found.steps if step.do == "undo"]
    for count in (1, len(undo) // 2, len(undo) - 1):
        done = undone_by(found, undo[:count])
        rest = plan(build, "p7", done=done)
        assert rest and not done & set(rest.undone)
        carried_out(build, rest, done)
        assert set(rest.undone) | done == set(found.undone)
