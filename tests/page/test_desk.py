"""The sheets are the only truth: what changed on disk is read again, and only what it touches is checked anew."""

from __future__ import annotations

import os
import time
from itertools import count

import pytest

from builders import append
from partkin import pipeline
from partkin.commands import seeing
from partkin.commands.progress import Work
from partkin.commands.seeing import SeenCheck
from partkin.model import pulse
from partkin.model.problem import FaultyInput
from partkin.page.build_view import build_page
from partkin.page.desk import Desk, Refused

from .conftest import PATIENCE_S, demo_in

READING = {
    "part": "top-kurm",
    "reading": "t9",
    "quantity": "centres",
    "from": "a",
    "to": "b",
    "value": "1276",
    "unit": "mm",
}


@pytest.fixture
def desk(tmp_path):
    return Desk(demo_in(tmp_path / "build"))


def until(holds):
    over = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < over, "it does not come to an end"
        time.sleep(0.02)


def settled(desk):
    until(lambda: not desk.waiting())


def test_the_verdicts_are_those_of_the_check(desk):
    build = pipeline.load_build(desk.folder)
    desk.begin()
    settled(desk)
    for donor in seeing.donors_of(build):
        assert desk.answer(donor).verdict == pipeline.check(build, donor)


def test_a_changed_sheet_is_read_again_and_only_what_it_touches_is_checked_again(desk):
    desk.begin()
    settled(desk)
    number, kept = desk.sheets().number, desk.answer("top-dask")
    assert desk.sheets().number == number, "nothing changed, nothing is read"
    append(desk.folder, "readings.csv", READING)
    assert desk.waiting() == ("top-kurm",)
    assert desk.sheets().number == number + 1
    assert desk.answer("top-dask") is kept
    assert desk.verdict_before("top-kurm").verdict == "bolts on"
    assert isinstance(desk.look("top-kurm"), SeenCheck)


def test_a_change_of_anything_but_readings_touches_everything(desk):
    desk.begin()
    settled(desk)
    sheet = desk.folder / "features.csv"
    sheet.write_text(sheet.read_text().replace("top-dask,a,hole,9", "top-dask,a,hole,9.5"))
    assert desk.waiting() == seeing.donors_of(desk.build())


def test_a_reading_on_the_host_touches_every_donor_that_rests_on_it(desk):
    desk.begin()
    settled(desk)
    append(desk.folder, "readings.csv", {**READING, "part": "dash-frame", "from": "F1", "to": "F2"})
    assert {"top-kurm", "top-dask"} <= set(desk.waiting())
    assert "bag-kurm" not in desk.waiting() and "glove-dask" not in desk.waiting()


def test_an_edit_that_keeps_length_and_time_is_still_seen_where_the_file_is_another(desk):
    """An editor writes a new file and moves it into the place of the old one."""
    desk.sheets()
    sheet = desk.folder / "readings.csv"
    seen = sheet.stat()
    beside = desk.folder / "readings.new"
    beside.write_text(sheet.read_text().replace("1276.2", "1277.2"))
    os.utime(beside, ns=(seen.st_atime_ns, seen.st_mtime_ns))
    beside.replace(sheet)
    assert any(reading.value == 1277.2 for reading in desk.build().readings)


def test_faults_are_told_and_mended_sheets_are_read_again(desk):
    sheet = desk.folder / "features.csv"
    whole = sheet.read_text()
    sheet.write_text(whole.replace("top-dask,a,hole", "top-dask,a,whole"))
    assert desk.sheets().build is None
    assert any("whole" in problem.what for problem in desk.sheets().problems)
    with pytest.raises(FaultyInput):
        desk.build()
    assert isinstance(desk.look("top-dask"), Refused)
    sheet.write_text(whole)
    assert desk.build() == pipeline.load_build(desk.folder)


def test_stopping_keeps_what_was_found_and_going_on_does_the_rest(desk):
    desk.stop()
    desk.begin()
    waiting = desk.waiting()
    assert waiting == seeing.donors_of(desk.build()), "stopped before the first"
    assert f"stopped; {len(waiting)} donors not checked yet" == desk.progress()
    first = desk.look(waiting[0])
    desk.go_on()
    settled(desk)
    assert desk.answer(waiting[0]) is first
    until(lambda: desk.progress() == "")


def test_a_long_search_says_how_far_it_is_and_is_ended_in_the_middle(desk, monkeypatch):
    def endless(build, donor, host=None):
        for number in count(1):
            pulse.beat("sets of jobs", number, 10**9)
            time.sleep(0.005)

    first = desk.waiting()[0]
    with monkeypatch.context() as patched:
        patched.setattr(seeing, "see", endless)
        desk.begin()
        until(lambda: f"now {first}: " in desk.progress())
        assert desk.progress().startswith(f"0 of 5 donors, now {first}: ")
        assert desk.progress().endswith(" of at most 1000000000 sets of jobs")
        desk.stop()
        until(lambda: not desk._thread.is_alive())
    assert desk.progress() == "stopped; 5 donors not checked yet"
    desk.go_on()
    settled(desk)
    assert isinstance(desk.answer(first), SeenCheck), "what was broken off is checked anew"


def test_a_check_of_sheets_that_changed_meanwhile_is_broken_off(desk, monkeypatch):
    began = []

    def endless(build, donor, host=None):
        began.append(build)
        for number in count(1):
            pulse.beat("draws", number, 10**9)
            time.sleep(0.005)

    monkeypatch.setattr(seeing, "see", endless)
    assert desk.soon("top-kurm", 0.05) is None
    until(lambda: desk.progress().startswith("0 of 1 donors, now top-kurm: "))
    append(desk.folder, "readings.csv", READING)
    assert len(desk.build().readings) == len(began[0].readings) + 1
    until(lambda: desk.progress() == "")
    assert desk.answer("top-kurm") is None and len(began) == 1


def test_a_fault_of_the_program_over_one_donor_leaves_the_others(desk, monkeypatch, capsys):
    real = seeing.see

    def broken(build, donor, host=None):
        if donor == "top-dask":
            raise ZeroDivisionError("for the test")
        return real(build, donor, host)

    monkeypatch.setattr(seeing, "see", broken)
    desk.begin()
    settled(desk)
    refused = desk.answer("top-dask")
    assert isinstance(refused, Refused) and "this program went wrong over it" in refused.problems[0].what
    assert isinstance(desk.answer("top-kurm"), SeenCheck)
    until(lambda: desk.progress() == "")
    assert "ZeroDivisionError: for the test" in capsys.readouterr().err


def test_a_donor_that_cannot_be_checked_is_said_and_the_others_go_on(desk):
    sheet = desk.folder / "parts.csv"
    sheet.write_text(
        sheet.read_text().replace(
            "bag-kurm,passenger airbag module,kurm,OK4-9001,,donor,bag-seat",
            "bag-kurm,passenger airbag module,kurm,OK4-9001,,donor,",
        )
    )
    desk.begin()
    settled(desk)
    refused = [donor for donor in seeing.donors_of(desk.build()) if isinstance(desk.answer(donor), Refused)]
    assert refused == ["bag-kurm"]
    assert desk.answer("bag-kurm").problems


def test_two_who_ask_at_once_share_one_check(desk, monkeypatch):
    import threading

    made = []
    real = seeing.see

    def slow(build, donor, host=None):
        made.append(donor)
        time.sleep(0.1)
        return real(build, donor, host)

    monkeypatch.setattr(seeing, "see", slow)
    found = []
    threads = [threading.Thread(target=lambda: found.append(desk.look("bag-kurm"))) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert made == ["bag-kurm"] and len({id(one) for one in found}) == 1


def test_a_report_that_is_stopped_keeps_what_was_checked(desk):
    build = desk.build()
    work = Work("donors", 5)
    donors = seeing.donors_of(build)
    seen = []

    def shown(state):
        seen.append(state)
        if state.done == 2:
            work.stop()

    work._shown = shown
    view = seeing.report_of(build, donors, work)
    assert [verdict.donor for verdict in view.verdicts] == list(donors[:2])
    assert len(view.overlays) == 2
    assert view.notes == (f"Stopped before all were checked; not looked at: {', '.join(donors[2:])}.",)


def test_the_first_sight_of_a_build_comes_at_once_and_fills_in(tmp_path):
    """Time of the thread that answers, so that the checks beside it do not count."""
    build_page(Desk(demo_in(tmp_path / "before")))
    desk = Desk(demo_in(tmp_path / "build"))
    began = time.thread_time()
    first = build_page(desk)
    assert time.thread_time() - began < 0.5
    assert first.count("being checked") >= 5 and "bolts on" not in first
    until = time.monotonic() + PATIENCE_S
    while desk.waiting():
        assert time.monotonic() < until, "the checks never end"
        time.sleep(0.05)
    then = build_page(desk)
    assert "being checked" not in then and "bolts on with adaptation" in then
    desk.close(PATIENCE_S)
