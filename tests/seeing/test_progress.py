"""How far work is, how fast it goes, how long it will take; and that it can be stopped."""

from __future__ import annotations

import io

import pytest

from partkin.progress import Line, State, Work


class Clock:
    def __init__(self):
        self.now_s = 100.0

    def __call__(self):
        return self.now_s


def test_rate_and_time_left():
    clock, seen = Clock(), []
    work = Work("donors", 4, seen.append, clock)
    for name in work.each(["a", "b", "c", "d"]):
        clock.now_s += 2.0 if name != "d" else 4.0
    assert work.state == State("donors", 4, 4, 10.0, "d")
    halfway = next(state for state in seen if state.done == 2)
    assert halfway.rate_per_s == pytest.approx(0.5) and halfway.left_s == pytest.approx(4.0)
    assert halfway.says == "2 of 4 donors, 30.0 a minute, about 4 s left, now b"
    assert seen[0].rate_per_s is None and seen[0].says == "0 of 4 donors, now a"
    assert work.state.says == "4 of 4 donors"


@pytest.mark.parametrize(
    ("done", "passed_s", "says"),
    [
        (10, 2.0, "10 of 100 donors, 5.0 a second, about 18 s left"),
        (1, 60.0, "1 of 100 donors, 1.0 a minute, about 99 min left"),
        (99, 1.0, "99 of 100 donors, 99.0 a second, about 1 s left"),
    ],
)
def test_it_is_said_in_units_that_people_use(done, passed_s, says):
    assert State("donors", done, 100, passed_s).says == says


def test_a_stop_lets_the_step_be_finished_and_begins_no_other():
    work, done = Work("donors", 3), []
    for name in work.each(["a", "b", "c"]):
        if name == "b":
            work.stop()
        done.append(name)
    assert done == ["a", "b"] and work.state.done == 2 and work.state.stopped and work.stopping
    assert work.state.says == "2 of 3 donors, stopped"


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_a_terminal_sees_one_line_that_is_cleared_at_the_end():
    stream = Terminal()
    line = Line(stream)
    line(State("donors", 1, 9, 0.1, "short work does not flicker"))
    assert stream.getvalue() == ""
    line(State("donors", 2, 9, 1.0, "top\x1b[31m\n"))
    line(State("donors", 3, 9, 2.0, "a"))
    shown = stream.getvalue()
    assert "\n" not in shown and "\x1b" not in shown, "a name cannot steer the terminal"
    assert shown.startswith("\r2 of 9 donors") and "\r3 of 9 donors" in shown
    line.close()
    last = stream.getvalue().split("\r")
    assert last[-1] == "" and last[-2].strip() == "" and len(last[-2]) >= len("3 of 9 donors")


def test_no_terminal_no_progress():
    stream = io.StringIO()
    line = Line(stream)
    line(State("donors", 2, 9, 5.0))
    line.close()
    assert stream.getvalue() == ""
