"""What a plan says: small cases worked out by hand, and the example. The table's minutes are common practice."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from partkin.model.build import Build, Holding, Part
from partkin.strip.answering import labels, lines
from partkin.strip.plan import plan
from partkin.strip.stuck import left, undone_by
from partkin.tables.work import bench_minutes, fastener_rows, lift_row, lift_rows, place_minutes
from strip.reading import example


def _held(part: str, held_to: str, fastener: str, kind: str = "screw", **more: object) -> Holding:
    return Holding(part, held_to, fastener, kind, **more)  # type: ignore[arg-type]


def test_a_part_on_its_own_costs_its_fasteners_and_one_place() -> None:
    build = Build(holdings=(_held("vent", "dash", "S1", count=4), _held("dash", "shell", "B1", "bolt", count=8)))
    found = plan(build, "vent")
    assert found and found.proved
    assert found.undone == ("S1",) and found.left_alone == ()
    assert found.minutes == 4 * fastener_rows()["screw"].minutes_each
    assert found.cost_minutes == found.minutes + place_minutes()


def test_minutes_of_the_sheet_count_for_the_row_and_beat_the_table() -> None:
    build = Build(holdings=(_held("vent", "dash", "S1", count=4, minutes=7.5),))
    found = plan(build, "vent")
    assert found and found.minutes == 7.5


def _two_ways(in_place: float, on_bench: float) -> Build:
    """A skin whose screws are reached in place behind a slow cover, or from behind once its frame is off."""
    return Build(
        parts=(Part("skin", mass_kg=3.0), Part("frame", mass_kg=6.0)),
        holdings=(
            _held("skin", "frame", "S1", count=2, behind=(("cover", "frame"),), place="cabin"),
            _held("cover", "shell", "S2", minutes=in_place, place="cabin"),
            _held("frame", "shell", "B1", "bolt", minutes=on_bench, place="cabin"),
        ),
    )


def test_the_whole_assembly_comes_off_in_one_lift_where_that_is_less_work() -> None:
    """In place: 20 + 1 min and a place; with the frame: 4 min, a place, the bench, 0.7 of 1 min."""
    found = plan(_two_ways(20.0, 4.0), "skin")
    assert found and set(found.comes_off) == {"skin", "frame"} and found.undone == ("B1", "S1")
    assert found.cost_minutes == pytest.approx(4.0 + place_minutes() + bench_minutes() + 0.7)
    assert [step.do for step in found.steps] == ["undo", "to the bench", "undo", "take off", "take off"]


def test_it_is_taken_apart_in_place_where_that_is_less_work() -> None:
    found = plan(_two_ways(4.0, 20.0), "skin")
    assert found and found.comes_off == ("skin",) and found.undone == ("S2", "S1")
    assert found.cost_minutes == pytest.approx(4.0 + 1.0 + place_minutes())


def test_what_holds_the_assembly_to_itself_is_left_alone() -> None:
    found = plan(example(), "dash-velt")
    assert found and found.proved
    assert found.left_alone == ("S3", "S4", "S5", "C6", "B9", "S8")
    assert found.left_alone_pieces == 8 + 10 + 4 + 6 + 4 + 4
    assert "Leave these 36 alone: they hold the assembly to itself" in " ".join(lines(found))


def test_the_example_costs_what_adding_up_by_hand_gives() -> None:
    """dash-velt: 33.8 min of fasteners by the table, two places at 3 min, 50 kg lifted: 10 min."""
    found = plan(example(), "dash-velt")
    assert found and found.minutes == pytest.approx(33.8)
    assert found.cost_minutes == pytest.approx(33.8 + 2 * 3.0 + lift_row(50.0).minutes)
    assert found.changes_of_place == 1


def test_an_assembly_brings_its_children_and_a_child_comes_alone() -> None:
    whole, one = plan(example(), "dash-velt"), plan(example(), "cluster-velt")
    assert whole and set(whole.comes_off) >= {"frame-velt", "top-velt", "bag-velt"}
    assert one and one.comes_off == ("cluster-velt",) and set(one.undone) == {"S6", "K4"}


def test_a_mass_counts_the_children_in_once() -> None:
    """50 kg with its children; without glovebox (2.1) and cluster (1.4) 46.5 kg go to the bench."""
    whole, top = plan(example(), "dash-velt"), plan(example(), "top-velt")
    assert whole and whole.steps[-1].mass_kg == 50.0
    assert top and next(step for step in top.steps if step.do == "to the bench").mass_kg == 46.5


def test_lifting_says_how_many_people_and_measures_the_way_out() -> None:
    found = plan(example(), "dash-velt")
    assert found
    caution = next(c for c in found.steps[-1].cautions if c.rule == "lifting")
    assert "50 kg: two to four people or a hoist" in caution.says and "way out of the door" in caution.says


@pytest.mark.parametrize(
    ("kg", "least", "hoist"), [(16.0, 1, False), (25.0, 1, False), (25.1, 2, False), (60.1, 0, True)]
)
def test_the_lifting_table_turns_at_the_filter_values(kg: float, least: int, hoist: bool) -> None:
    """16 kg and 25 kg: HSE INDG143, lifting filter, held close at waist height."""
    assert (lift_row(kg).people_least, lift_row(kg).hoist) == (least, hoist)
    minutes = [row.minutes for row in lift_rows()]
    assert minutes == sorted(minutes)
    assert all(row.source for row in (*lift_rows(), *fastener_rows().values()))


def test_a_mass_that_no_sheet_gives_is_said_not_guessed() -> None:
    found = plan(example(), "blower")
    assert found
    step = next(step for step in found.steps if step.bodies == ("blower",))
    assert step.mass_kg is None and step.mass_unknown == ("blower",)
    assert any(c.rule == "mass not known" for c in step.cautions)


def test_drains_and_isolation_come_before_the_step_that_needs_them() -> None:
    found = plan(example(), "blower")
    assert found
    hose = next(step.number for step in found.steps if step.fastener == "H2")
    drain = next(step for step in found.steps if step.do == "prepare" and "coolant" in step.says)
    assert drain.number == hose - 1
    assert any("battery" in step.says for step in found.steps[:1])


@pytest.mark.parametrize(
    ("word", "first", "at_start"),
    [
        ("high voltage", "isolated", True),
        ("restraint", "maker's waiting time", True),
        ("refrigerant", "certified", False),
    ],
)
def test_each_caution_is_prepared_for_and_said_at_its_step(word: str, first: str, at_start: bool) -> None:
    rows = (
        _held("a", "shell", "S1", "clip"),
        _held("a", "shell", "S2", "connector", behind=(("S1",),), cautions=(word,)),
    )
    found = plan(Build(holdings=rows), "a")
    assert found
    prepare = next(step for step in found.steps if step.do == "prepare")
    touched = next(step for step in found.steps if step.fastener == "S2")
    assert first in prepare.says and touched.cautions[0].rule.startswith(word)
    assert prepare.number == (1 if at_start else touched.number - 1)
    assert prepare.cautions[0].hold and touched.cautions[0].hold


def test_a_restraint_part_is_known_by_its_duty_too() -> None:
    build = Build(parts=(Part("bag", duty="restraint"),), holdings=(_held("bag", "dash", "K1", "connector"),))
    found = plan(build, "bag")
    assert found and found.steps[0].do == "prepare" and "battery" in found.steps[0].says
    assert all(step.cautions for step in found.steps)
    assert not any(character.isdigit() for character in found.steps[0].says), "a waiting time is never made up"


def test_hinges_columns_splines_and_springs_are_marked_before_they_are_separated() -> None:
    rows = (
        _held("door", "shell", "B1", "bolt", place="door", note="upper hinge"),
        _held("steering-column", "shell", "B2", "bolt"),
        _held("shaft", "box", "B3", "bolt", note="splined end"),
        _held("lid", "shell", "B4", "bolt", cautions=("spring",)),
        _held("lid", "shell", "S5", "screw"),
        _held("door", "shell", "K1", "connector", note="by the hinge"),
    )
    marked = {}
    for part in ("door", "steering-column", "shaft", "lid"):
        found = plan(Build(holdings=rows), part)
        assert found
        marked.update({step.fastener: step.mark for step in found.steps if step.fastener})
    assert all(marked[name] for name in ("B1", "B2", "B3", "B4"))
    assert marked["S5"] is None and marked["K1"] is None


def test_the_position_changes_no_more_often_than_it_must() -> None:
    """Two places by turns, no access between them: one change. With a chain across: as many as the chain has."""
    rows = [_held("a", "shell", f"S{n}", place=("cabin", "door")[n % 2]) for n in range(6)]
    free = plan(Build(holdings=tuple(rows)), "a")
    chained = [replace(row, behind=((f"S{n - 1}",),) if n else ()) for n, row in enumerate(rows)]
    bound = plan(Build(holdings=tuple(chained)), "a")
    assert free and free.changes_of_place == 1
    assert bound and bound.changes_of_place == 5 and bound.undone == tuple(row.fastener for row in rows)


def test_plugs_come_before_bolts_and_what_bears_the_weight_comes_last() -> None:
    rows = (
        _held("a", "shell", "B1", "bolt", cautions=("heavy",)), _held("a", "shell", "B2", "bolt"),
        _held("a", "shell", "K1", "connector"),
    )  # fmt: skip
    found = plan(Build(holdings=rows), "a")
    assert found and found.undone == ("K1", "B2", "B1")


def test_every_step_that_leaves_pieces_or_a_plug_has_a_label_with_its_number_and_place() -> None:
    found = plan(example(), "dash-velt")
    assert found
    listed = labels(found)
    assert len(listed) == len(found.undone)
    for label, step in zip(listed, [step for step in found.steps if step.bag], strict=True):
        kind, place = label.split(" | ")[:2]
        assert kind == f"{'tag' if step.kind == 'connector' else 'bag'} {step.number}" and place == step.place


def test_what_is_left_keeps_its_numbers() -> None:
    found = plan(example(), "dash-velt")
    assert found
    rest = left(found, {3, 4, 7})
    assert [step.number for step in rest] == [n for n in range(1, len(found.steps) + 1) if n not in (3, 4, 7)]
    assert undone_by(found, {3, 4, 7}) == {step.fastener for step in found.steps if step.number in (3, 4, 7)} - {None}


def test_done_fasteners_and_parts_are_not_undone_again() -> None:
    found = plan(example(), "dash-velt", done=frozenset({"console", "C1", "C3"}))
    assert found and not {"C1", "C3", "K1", "B1", "S2"} & set(found.undone)
    assert {joint.fastener for joint in found.joints if joint.done} >= {"C1", "C3", "K1", "B1", "S2"}


def test_a_fastener_that_will_not_come_is_gone_round_where_there_is_a_way() -> None:
    """The plug behind console or glovebox: without the glovebox's screws it is reached by way of the console."""
    found = plan(example(), "cluster-velt", without=frozenset({"S7"}))
    assert found and "S7" not in found.undone
    rows = (
        _held("a", "shell", "B1", behind=(("c", "d"),)),
        _held("c", "shell", "S1"),
        _held("d", "shell", "S2", minutes=9.0),
    )
    first = plan(Build(holdings=rows), "a")
    second = plan(Build(holdings=rows), "a", without=frozenset({"S1"}))
    assert first and first.undone == ("S1", "B1") and second and second.undone == ("S2", "B1")


def test_a_fastener_that_holds_the_part_itself_stays_and_so_does_what_it_holds() -> None:
    found = plan(example(), "top-velt", without=frozenset({"S4"}))
    assert found and found.with_it == ("frame-velt",) and "S4" not in found.undone
    assert found.notes and "frame-velt" in found.notes[0]


def test_where_the_vehicle_itself_holds_it_there_is_no_plan_and_the_reason_is_given() -> None:
    found = plan(example(), "dash-velt", without=frozenset({"B4"}))
    assert not found and found.blocked == ("B4",) and "cannot be free while it holds" in found.reason


def test_a_circle_is_named() -> None:
    rows = (_held("a", "shell", "S1", behind=(("S2",),)), _held("b", "shell", "S2", behind=(("S1",),)))
    found = plan(Build(holdings=rows), "a")
    assert not found and "S1 waits for S2; S2 waits for S1" in found.reason


def test_a_name_that_no_sheet_has_stays_in_the_way() -> None:
    found = plan(Build(holdings=(_held("a", "shell", "S1", behind=(("ghost",),)),)), "a")
    assert not found and "ghost (in no sheet)" in found.reason
    other = plan(Build(holdings=(_held("a", "shell", "S1", behind=(("ghost", "b"),)), _held("b", "shell", "S2"))), "a")
    assert other and other.undone == ("S2", "S1")


@pytest.mark.parametrize("names", [{"part": "nothing"}, {"done": frozenset({"X"})}, {"without": frozenset({"X"})}])
def test_names_that_no_sheet_has_are_answered_with_a_reason(names: dict[str, object]) -> None:
    asked = {"part": "dash-velt", **names}
    found = plan(example(), **asked)  # type: ignore[arg-type]
    assert not found and "no" in found.reason and "has" in found.reason


def test_what_is_taken_on_trust_is_said_with_what_to_look_for() -> None:
    rows = (
        _held("a", "shell", "S1", certain=False, place="door"), _held("b", "shell", "B1", "bolt", place="engine bay"),
        _held("c", "shell", "K1", "connector", place="cabin"), _held("d", "shell", "S2", count=5, place="cabin"),
    )  # fmt: skip
    build = Build(parts=(Part("e"), *(Part(name) for name in "abcd")), holdings=rows)
    says = {}
    for part in "abcde":
        found = plan(build, part)
        assert found
        says[part] = " ".join(unknown.says for unknown in found.unknowns)
    assert "only guesses" in says["a"] and "is a guess: look whether it is there" in says["a"]
    assert "pull-handle caps" in says["a"]
    assert "only one fastener" in says["b"] and "from below" in says["b"]
    assert "only guesses, plugs or pipes" in says["c"] and "trim caps" in says["c"]
    assert says["d"] == ""
    assert "nothing is known to hold it" in says["e"]


def test_a_child_that_nothing_is_known_to_hold_is_asked_about() -> None:
    parts = (Part("dash"), Part("badge", part_of="dash"))
    build = Build(parts=parts, holdings=(_held("dash", "shell", "B1", count=2),))
    found = plan(build, "badge")
    assert found and found.undone == () and "badge belongs to dash" in found.unknowns[-1].says
    whole = plan(build, "dash")
    assert whole and whole.comes_off == ("dash", "badge") and not whole.unknowns


def test_a_part_in_the_way_that_nothing_holds_is_asked_about() -> None:
    build = Build(parts=(Part("mat"),), holdings=(_held("a", "shell", "S1", count=2, behind=(("mat",),)),))
    found = plan(build, "a")
    assert found and "mat stands before S1" in found.unknowns[0].says


def test_a_donor_on_the_bench_is_planned_at_the_bench() -> None:
    """10 and 4 screws at half a minute, 0.7 of it at the bench; nothing is lifted off a vehicle."""
    found = plan(example(), "top-kurm", stays=frozenset())
    assert found and found.undone == ("D1", "D2") and found.cost_minutes == pytest.approx(14 * 0.5 * 0.7)
    assert all(step.on_bench for step in found.steps if step.fastener)
    assert "bench" in found.notes[0]
    in_car = plan(example(), "top-kurm")
    assert in_car and in_car.minutes == pytest.approx(7.0)


def test_one_bolt_through_three_parts_is_undone_once() -> None:
    rows = (_held("a", "b", "B1", "bolt", place="cabin"), _held("b", "shell", "B1", "bolt", place="cabin"))
    found = plan(Build(holdings=rows), "a")
    assert found and found.undone == ("B1",) and found.minutes == 1.0
    assert found.steps[0].joins == (("a", "b"), ("b", "shell"))


_PROGRAM = """
import sys
sys.path.insert(0, {tests!r})
from strip.reading import example
from partkin.drawing.plan_drawing import plan_file
from partkin.strip.plan import plan
from partkin.strip.refit import refit
from partkin.strip.stuck import stuck
from partkin.strip.answering import labels, lines, refit_lines
build = example()
for part in ("dash-velt", "top-velt"):
    found = plan(build, part)
    print("\\n".join([*lines(found), *labels(found), *refit_lines(refit(build, found)), plan_file(found)]))
print(stuck(build, "B2"))
"""


def test_the_same_sheets_give_the_same_bytes_whatever_the_hash_seed() -> None:
    tests = str(Path(__file__).parent.parent)
    command = [sys.executable, "-c", _PROGRAM.format(tests=tests)]
    outputs = [
        subprocess.run(command, capture_output=True, check=True, env={"PYTHONHASHSEED": seed}).stdout
        for seed in ("1", "2")
    ]
    assert outputs[0] == outputs[1] and b"HiGHS" not in outputs[0]


def test_importing_the_stage_loads_nothing_heavy() -> None:
    code = (
        "import sys, partkin.strip; "
        "print([m for m in ('highspy', 'numpy', 'scipy', 'pandas', 'rdflib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True)
    assert done.stdout.strip() == "[]"


def test_the_cowl_of_a_column_is_no_column() -> None:
    rows = (Holding("cowl", "shell", "B1", "bolt"), Holding("column", "shell", "B2", "bolt"))
    parts = (Part("cowl", name="column cowl", duty="trim"), Part("column", name="steering column"))
    build = Build(parts=parts, holdings=rows)
    for part, marked in (("cowl", False), ("column", True)):
        found = plan(build, part)
        assert found and [step.mark is not None for step in found.steps if step.do == "undo"] == [marked]
