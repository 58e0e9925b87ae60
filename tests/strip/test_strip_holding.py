"""What else may be holding, and circles that nobody can undo."""

from __future__ import annotations

import pytest

from partkin.model.build import Build, Holding, Part
from partkin.strip.answering import stuck_lines
from partkin.strip.plan import impossible
from partkin.strip.stuck import stuck
from strip.brute import Taken
from strip.invented import random_build
from strip.reading import example


def _held(part: str, held_to: str, fastener: str, **more: object) -> Holding:
    return Holding(part, held_to, fastener, "screw", **more)  # type: ignore[arg-type]


def _ranked() -> Build:
    return Build(
        parts=(Part("cap"), Part("lid")),
        holdings=(
            _held("lid", "box", "S1", place="door"),
            _held("lid", "box", "S2", behind=(("cap",),), place="door"),
            _held("lid", "box", "S3", certain=False, place="door"),
            _held("lid", "strut", "S4", place="door"),
            _held("strut", "box", "S5", place="door"),
            _held("cap", "box", "S6", place="door", count=2),
            _held("lid", "other", "S7", place="door"),
        ),
    )


def test_candidates_come_in_the_order_likely_guess_way_round_unknown() -> None:
    found = stuck(_ranked(), "S1")
    assert [s.fastener for s in found] == ["S2", "S3", "S4", "S5", None]
    assert [s.rank for s in found] == [1, 2, 3, 4, 5]
    assert found[1].guess and "a guess" in found[1].why and "by way of strut" in found[2].why
    assert "pull-handle caps" in found[-1].look


def test_a_hidden_one_says_the_shortest_way_to_look() -> None:
    """S2 is behind the cap, which S6 holds: two screws at half a minute."""
    hidden = stuck(_ranked(), "S1")[0]
    assert hidden.first == ("S6",) and hidden.minutes == 1.0 and "hidden behind what is still on" in hidden.why
    seen = stuck(_ranked(), "S1", done=frozenset({"S6"}))[0]
    assert seen.first == () and "in reach now" in seen.look
    assert stuck(_ranked(), "S1", done=frozenset({"S2"}))[0].fastener == "S3"


def test_what_stands_before_it_by_its_own_row_comes_first() -> None:
    found = stuck(_ranked(), "S2")
    assert found[0].fastener == "S6" and "must be off before S2" in found[0].why


def test_a_part_that_will_not_come_away_lists_what_still_holds_it() -> None:
    found = stuck(_ranked(), "lid", done=frozenset({"S1", "S2"}))
    assert [s.fastener for s in found] == ["S4", "S7", "S3", None]
    free = stuck(_ranked(), "lid", done=frozenset({"S1", "S2", "S3", "S4", "S7"}))
    assert len(free) == 1 and "no row is left" in free[0].why and free[0].look.startswith("look for")


def test_one_that_can_never_be_reached_is_listed_all_the_same() -> None:
    rows = (_held("a", "b", "S1"), _held("a", "b", "S2", behind=(("S3",),)), _held("c", "b", "S3", behind=(("S2",),)))
    found = stuck(Build(holdings=rows), "S1")
    assert found[0].fastener == "S2" and "cannot be reached" in found[0].look


def test_a_name_that_no_sheet_has_raises() -> None:
    with pytest.raises(KeyError):
        stuck(_ranked(), "S99")


def test_the_example_reads_as_a_list() -> None:
    text = stuck_lines(stuck(example(), "B2", done=frozenset({"C1"})))
    assert text[0].startswith(" 1  C3: its row says") and all(len(line) <= 100 for line in text)


def test_circles_are_named_once_each_with_row_and_column() -> None:
    rows = (
        _held("a", "shell", "S1", behind=(("b",),), row=2), _held("b", "shell", "S2", behind=(("c", "S3"),), row=3),
        _held("c", "shell", "S3", behind=(("S1",),), row=4), _held("d", "shell", "S4", behind=(("a",),), row=5),
    )  # fmt: skip
    problems = impossible(Build(holdings=rows))
    assert len(problems) == 1
    problem = problems[0]
    assert (problem.sheet, problem.row, problem.column, problem.warning) == ("held_by.csv", 2, "behind", False)
    assert problem.what.startswith("S1 waits for b to be off, which S2 holds; S2 waits for c to be off, which S3 holds")


def test_one_way_out_of_an_or_opens_a_circle() -> None:
    rows = [_held("a", "shell", "S1", behind=(("S2",),)), _held("b", "shell", "S2", behind=(("S1", "S3"),))]
    build = Build(holdings=(*rows, _held("c", "shell", "S3")))
    assert impossible(build) == ()


def test_a_fastener_behind_what_it_holds_itself_is_a_circle_unless_the_assembly_comes_off() -> None:
    bad = (_held("a", "shell", "S1", behind=(("a",),), row=2),)
    assert "S1 waits for a to be off, which S1 holds" in impossible(Build(holdings=bad))[0].what
    good = (_held("bag", "dash", "N1", behind=(("dash",),)), _held("dash", "shell", "B1"))
    assert impossible(Build(holdings=good)) == ()


def test_nothing_that_stays_is_a_warning() -> None:
    rows = (_held("a", "b", "S1", row=2), _held("b", "a", "S2", row=3))
    problems = impossible(Build(holdings=rows))
    assert len(problems) == 1 and problems[0].warning and problems[0].column == "held_to"
    assert impossible(Build()) == () and impossible(example()) == ()


def test_circles_are_found_where_and_only_where_something_can_never_be_undone() -> None:
    """Against the slow rules of the tests: undo whatever can be reached until nothing more can."""
    some = none = 0
    for seed in range(120):
        build = random_build(seed)
        taken = Taken(build, "p0")
        undone = 0
        while True:
            more = [n for n in taken.ids if not undone & taken.bit[n] and taken.can_reach(n, undone, False)]
            if not more:
                break
            undone |= sum(taken.bit[name] for name in more)
        stays_done_up = undone != (1 << len(taken.ids)) - 1
        faults = [problem for problem in impossible(build) if not problem.warning]
        assert bool(faults) == stays_done_up, seed
        some, none = some + stays_done_up, none + (not stays_done_up)
    assert some > 10 and none > 10
