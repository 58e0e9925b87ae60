"""What the page knows of its folder: the sheets as they stand now, and the verdicts that follow from them.

Nothing is kept that is not in the sheets; a sheet that changed on disk is read again before anything is answered.
"""

from __future__ import annotations

import threading
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from partkin import pipeline
from partkin.commands import seeing
from partkin.commands.doubts import donors_concerned
from partkin.commands.progress import State, Stopped, Work
from partkin.commands.seeing import LaidDonor, SeenCheck
from partkin.model.build import Build
from partkin.model.columns import SHEETS
from partkin.model.problem import FaultyInput, Problem
from partkin.model.verdict import Verdict

NAMES = ("build.toml", "work.csv", *(sheet.name for sheet in SHEETS))
Stamp = tuple[tuple[str, int, int, int], ...]


@dataclass(frozen=True, eq=False)
class FolderState:
    """The folder at one moment: a build, or every fault of it. `number` grows with every change."""

    number: int
    build: Build | None
    problems: tuple[Problem, ...] = ()
    warnings: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class Refused:
    """A donor that cannot be checked, and why."""

    problems: tuple[Problem, ...]


Answer = SeenCheck | Refused
Found = TypeVar("Found")
NOTHING = State("", 0, 0, 0.0)


class Desk:
    """One folder, asked by several requests at once."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        # Whether the checks were stopped.
        self.held = False
        self._lock = threading.RLock()
        # What has been found out, under the lock.
        self._sheets: FolderState | None = None
        self._stamp: Stamp = ()
        self._answers: dict[str, Answer] = {}
        self._before: dict[str, Verdict] = {}
        self._works: list[Work] = []
        self._thread: threading.Thread | None = None
        self._threads: list[threading.Thread] = []
        self._alone: dict[str, threading.Lock] = {}

    def sheets(self) -> FolderState:
        """The sheets as they stand on disk now."""
        with self._lock:
            stamp = _stamp(self.folder)
            if self._sheets is None or stamp != self._stamp:
                self._sheets = self._read(stamp)
            return self._sheets

    def build(self) -> Build:
        """The build as it stands now. FaultyInput: the sheets hold faults."""
        now = self.sheets()
        if now.build is None:
            raise FaultyInput(now.problems)
        return now.build

    def _read(self, stamp: Stamp) -> FolderState:
        old = self._sheets.build if self._sheets is not None else None
        number = self._sheets.number + 1 if self._sheets is not None else 1
        try:
            build, warnings = pipeline.read(self.folder)
            new = FolderState(number, build, (), warnings)
        except FaultyInput as fault:
            # A folder without any sheet is a build that is still to be begun.
            new = FolderState(number, None, fault.problems) if stamp else FolderState(number, Build())
        self._stamp = stamp
        # What is being found out rests on the sheets as they were.
        self._break_off()
        touched = _touched(old, new.build)
        for donor in touched if touched is not None else tuple(self._answers):
            answer = self._answers.pop(donor, None)
            if isinstance(answer, SeenCheck):
                self._before[donor] = answer.verdict
        return new

    def answer(self, donor: str) -> Answer | None:
        """What is found out of a donor by the sheets of now; None: nothing yet."""
        self.sheets()
        with self._lock:
            return self._answers.get(donor)

    def verdict_before(self, donor: str) -> Verdict | None:
        """The verdict before the last change of the sheets that touched it."""
        with self._lock:
            return self._before.get(donor)

    def look(self, donor: str) -> Answer:
        """Check a donor in this thread, or wait for the one that is at it."""
        with self._lock:
            alone = self._alone.setdefault(donor, threading.Lock())
        with alone:
            now = self.sheets()
            known = self.answer(donor)
            if known is not None or now.build is None:
                return known or Refused(now.problems)
            build = now.build
            answer = _answered(donor, lambda: seeing.see(build, donor))
            self._keep(donor, answer, now)
            return answer

    def _keep(self, donor: str, answer: Answer, sheets: FolderState) -> None:
        with self._lock:
            if self._sheets is sheets:
                self._answers[donor] = answer

    def quickly(self, donor: str) -> Answer | LaidDonor:
        """Check a donor where that needs no search; else how it lies as it is. Waits for nobody."""
        now = self.sheets()
        known = self.answer(donor)
        if known is not None or now.build is None:
            return known or Refused(now.problems)
        build = now.build

        def lay() -> LaidDonor | SeenCheck:
            lying = seeing.lay_down(build, donor)
            return seeing.seen_of(build, lying) if lying.settled else lying

        found = _answered(donor, lay)
        if not isinstance(found, LaidDonor):
            self._keep(donor, found, now)
        return found

    def soon(self, donor: str, wait_s: float) -> Answer | None:
        """Check a donor in the background; its answer where that takes no longer than `wait_s`."""
        if self.answer(donor) is None:
            self._started(lambda: self._through((donor,)), f"check {donor}").join(wait_s)
        return self.answer(donor)

    def waiting(self) -> tuple[str, ...]:
        """Donors that are not checked yet."""
        build = self.sheets().build
        if build is None:
            return ()
        with self._lock:
            return tuple(donor for donor in seeing.donors_of(build) if donor not in self._answers)

    # The work in the background

    def begin(self) -> None:
        """See that somebody checks the donors that wait, unless that was stopped."""
        with self._lock:
            if self.held or (self._thread is not None and self._thread.is_alive()) or not self.waiting():
                return

            def check_all() -> None:
                while (waiting := self.waiting()) and not self.held:
                    self._through(waiting)

            self._thread = self._started(check_all, "checks")

    def _started(self, task: Callable[[], None], name: str) -> threading.Thread:
        thread = threading.Thread(target=task, name=name, daemon=True)
        with self._lock:
            self._threads = [*(one for one in self._threads if one.is_alive()), thread]
        thread.start()
        return thread

    def close(self, wait_s: float) -> bool:
        """Stop the checks and wait for them; whether all have ended."""
        self.stop()
        until = time.monotonic() + wait_s
        for thread in list(self._threads):
            thread.join(max(0.0, until - time.monotonic()))
        return not any(thread.is_alive() for thread in self._threads)

    def stop(self) -> None:
        """End the checks, the one that is being made too where it is long; what was found out stays."""
        with self._lock:
            self.held = True
            self._break_off()

    def _break_off(self) -> None:
        for work in self._works:
            work.stop()

    def go_on(self) -> None:
        """Take the checks up again."""
        with self._lock:
            self.held = False
        self.begin()

    def progress(self) -> str:
        """How far the checks are, in words; empty where none are being made."""
        with self._lock:
            waiting = len(self.waiting())
            if self.held and waiting:
                return f"stopped; {waiting} donor{'' if waiting == 1 else 's'} not checked yet"
            return max((work.state for work in self._works), key=lambda state: state.total, default=NOTHING).says

    def _through(self, donors: tuple[str, ...]) -> None:
        """Check one after another, until that is stopped or the sheets change."""
        work = Work("donors", len(donors))
        with self._lock:
            self._works.append(work)
        number = self.sheets().number
        try:
            for donor in work.each(donors):
                self.look(donor)
                if self.sheets().number != number:
                    break
        except Stopped:
            pass
        finally:
            with self._lock:
                self._works.remove(work)


def _answered(donor: str, make: Callable[[], Found]) -> Found | Refused:
    """Make an answer, or say why there is none."""
    try:
        return make()
    except FaultyInput as fault:
        return Refused(fault.problems)
    except Exception as bug:
        # One donor must not keep the others from being checked; where it went wrong is said where the page was started.
        traceback.print_exc()
        mend = "The terminal in which the page was started says where; partkin check will say the same"
        return Refused((Problem("check", 0, donor, f"this program went wrong over it ({bug!r})", mend),))


def _stamp(folder: Path) -> Stamp:
    """Tell a change of a sheet without reading it: its time, its size, and which file it is."""
    found = []
    for name in NAMES:
        try:
            seen = (folder / name).stat()
        except OSError:
            continue
        found.append((name, seen.st_mtime_ns, seen.st_size, seen.st_ino))
    return tuple(found)


def _touched(old: Build | None, new: Build | None) -> tuple[str, ...] | None:
    """Donors whose verdict a change of the sheets may have changed; None: any of them.

    Readings touch the donors that rest on their part, and those around and within these (`part_of`).
    """
    if old is None or new is None or replace(old, readings=()) != replace(new, readings=()):
        return None
    parts = {reading.part for reading in set(old.readings) ^ set(new.readings)}
    if any(part.part_of is not None and part.origin == "donor" for part in new.parts):
        return None
    return tuple(dict.fromkeys(donor for part in sorted(parts) for donor in donors_concerned(new, part)))
