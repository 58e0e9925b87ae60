"""How far work is, how fast it goes, how long it will take; and that it can be stopped."""

from __future__ import annotations

import io
import os
import pty
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from partkin import pipeline
from partkin.commands import ranking
from partkin.commands.progress import ProgressLine, State, Stopped, Work, on_terminal
from partkin.fit.chance import sequential
from partkin.model import pulse
from partkin.tables.reader import shipped


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
    line = ProgressLine(stream)
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
    line = ProgressLine(stream)
    line(State("donors", 2, 9, 5.0))
    line.close()
    assert stream.getvalue() == ""


# What is said from within a step


def test_draws_are_heard_with_their_rate_and_the_most_time_left():
    clock, seen = Clock(), []

    def fits(start, count):
        clock.now_s += 1.0
        return [True, False] * (count // 2)

    with pulse.heard(Work("", 0, seen.append, clock).beat):
        chance = sequential(fits, 0.5, cap=1280)
    assert chance.draws == 1280
    third = next(state for state in seen if state.within and state.within.done == 384)
    assert third.says == "384 of at most 1280 draws, 192.0 a second, at most 5 s left"
    assert seen[-1].within is None and seen[-1].says == "", "it is over"


def test_a_step_tells_how_far_it_is_and_can_be_ended_within():
    work, done = Work("donors", 3), []
    with pytest.raises(Stopped):
        for name in work.each(["a", "b", "c"]):
            pulse.beat("sets of jobs", 4, 200)
            assert work.state.says.endswith(f"now {name}: 4 of at most 200 sets of jobs")
            if name == "b":
                work.stop()
                pulse.beat("sets of jobs", 5, 200)
            done.append(name)
    assert done == ["a"] and work.undone == ("b", "c") and work.state.says == "1 of 3 donors, stopped"
    pulse.beat("sets of jobs", 1, 200)
    assert work.state.within is None, "nobody listens after the work"


def test_adaptation_says_how_many_sets_it_has_laid():
    heard = []
    with pulse.heard(lambda *beat: heard.append(beat)):
        pipeline.check(pipeline.load_build(shipped("data") / "demo"), "top-dask")
    sets = [beat for beat in heard if beat[0] == "sets of jobs"]
    assert sets and all(0 < done <= most for _, done, most in sets) and sets[-1][1] == sets[-1][2]
    assert any(what == "draws" for what, _, _ in heard)


def test_on_a_terminal_the_line_is_gone_before_anything_else_is_written():
    stream = Terminal()
    with on_terminal(stream):
        pulse.beat("draws", 1, 100)
        time.sleep(0.55)
        pulse.beat("draws", 2, 100)
        assert stream.getvalue().startswith("\r2 of at most 100 draws, ")
        pulse.beat("draws", 100, 100)
        assert stream.getvalue().split("\r")[-1] == ""
    pulse.beat("draws", 1, 100)


# Stopped


def demo():
    return pipeline.load_build(shipped("data") / "demo")


def test_a_ranking_that_is_stopped_ranks_what_was_checked():
    work = Work("donors", 0)

    def shown(state):
        if state.done == 1:
            work.stop()

    work._shown = shown
    found = ranking.rank(demo(), "dash-frame", work)
    whole = ranking.rank(demo(), "dash-frame")
    assert work.undone == ("top-kurm",) and work.state.total == 2
    kept = {way.part: way for way in found.ways}
    assert "top-dask" in kept and "top-kurm" not in kept
    assert kept["top-dask"].verdict == next(way.verdict for way in whole.ways if way.part == "top-dask")


def many(folder, count):
    """The demo with many more donors, each a little off."""
    import csv
    import random
    import shutil

    shutil.copytree(shipped("data") / "demo", folder)
    rng = random.Random(3)
    for sheet in ("parts.csv", "features.csv"):
        with (folder / sheet).open(newline="") as opened:
            mine = [row for row in csv.DictReader(opened) if row["part"] == "top-dask"]
        with (folder / sheet).open("a", newline="") as opened:
            writer = csv.DictWriter(opened, mine[0], lineterminator="\n")
            for number in range(count):
                for row in mine:
                    moved = {"x_mm": f"{float(row['x_mm']) + rng.gauss(0, 1):.2f}"} if sheet == "features.csv" else {}
                    writer.writerow({**row, "part": f"d{number}", **moved})
    return folder


@pytest.mark.slow
def test_ctrl_c_on_a_terminal_keeps_what_was_ranked(tmp_path):
    folder = many(tmp_path / "build", 40)
    ours, theirs = pty.openpty()
    command = [str(Path(sys.executable).with_name("partkin")), "rank", "--for", "dash-frame", "--in", str(folder)]
    # Whoever runs the tests in the background may have Ctrl-C ignored, and children inherit that.
    running = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=theirs, start_new_session=True, text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )  # fmt: skip
    os.close(theirs)
    seen = b""
    while b", about" not in seen:
        seen += os.read(ours, 4096)
    os.killpg(running.pid, signal.SIGINT)
    out = running.stdout.read()
    try:
        while more := os.read(ours, 4096):
            seen += more
    except OSError:
        pass
    os.close(ours)
    assert running.wait(60) == 1
    # How fast it goes is told by the second, or by the minute on a busy machine.
    assert re.search(r"\d a (second|minute), about \d+ ", seen.decode())
    assert "Stopped before all were checked; not ranked: " in seen.decode()
    assert "d0 " in out and "d39" not in out and "Traceback" not in seen.decode()
