"""Long work that says how far it is, how fast it goes and how long it will take, and can be stopped between steps."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import NamedTuple, TextIO, TypeVar

from partkin.model import pulse

Step = TypeVar("Step")
# Nothing is shown before: short work should not flicker. And no oftener than that afterwards.
QUIET_S = 0.5
AGAIN_S = 0.1


class Stopped(KeyboardInterrupt):
    """Somebody asked for an end in the middle of a step; what was done before it is kept."""


class State(NamedTuple):
    """How far a piece of work is.

    `now`: the step that is being done; `within`: how far that is, of at most so many steps of its own. `stopped`:
    somebody asked for an end, and what was done is kept. A total of 0: work that is not in steps itself.
    """

    what: str
    done: int
    total: int
    passed_s: float
    now: str = ""
    stopped: bool = False
    within: State | None = None

    @property
    def rate_per_s(self) -> float | None:
        """Steps a second so far; None before the first is done."""
        return self.done / self.passed_s if self.done and self.passed_s > 0 else None

    @property
    def left_s(self) -> float | None:
        """Seconds left at that rate; None where no rate is known."""
        rate = self.rate_per_s
        return None if rate is None else (self.total - self.done) / rate

    @property
    def says(self) -> str:
        """One line for people.

        Examples
        --------
        >>> State("donors", 3, 20, 1.5, "top").says
        '3 of 20 donors, 2.0 a second, about 8 s left, now top'
        >>> State("", 0, 0, 2.0, within=State("draws", 2000, 10000, 1.0)).says
        '2000 of at most 10000 draws, 2000.0 a second, at most 4 s left'
        """
        if self.total == 0:
            return self.within._counted("at most ", "at most") if self.within is not None else ""
        if self.stopped:
            return f"{self.done} of {self.total} {self.what}, stopped"
        words = self._counted("", "about")
        if self.now and self.done < self.total:
            words += f", now {self.now}"
            if self.within is not None:
                words += f": {self.within.done} of at most {self.within.total} {self.within.what}"
        return words

    def _counted(self, of: str, left: str) -> str:
        words = [f"{self.done} of {of}{self.total} {self.what}"]
        rate, left_s = self.rate_per_s, self.left_s
        if rate is not None and left_s is not None and self.done < self.total:
            fast = f"{rate:.1f} a second" if rate >= 1.0 else f"{60.0 * rate:.1f} a minute"
            whole = max(1, round(left_s))
            span = f"{whole} s" if whole < 100 else f"{round(whole / 60)} min"
            words += [fast, f"{left} {span} left"]
        return ", ".join(words)


class Work:
    """A piece of work in steps. Another thread may look at `state` and call `stop` at any time.

    `total` 0: as many as `each` is given. `undone`: names of the steps that are not finished yet.
    """

    def __init__(
        self, what: str, total: int, shown: Callable[[State], None] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self._shown = shown
        self._clock = clock
        self._began = self._inner_began = clock()
        self._stop = threading.Event()
        self.state = State(what, 0, total, 0.0)
        self.undone: tuple[str, ...] = ()

    def stop(self) -> None:
        """Ask for an end: no other step is begun, and the one that is being done ends where it next says how far it is.

        A step that never says so is finished.
        """
        self._stop.set()

    @property
    def stopping(self) -> bool:
        """Whether an end was asked for."""
        return self._stop.is_set()

    def each(self, steps: Sequence[Step], name: Callable[[Step], str] = str) -> Iterator[Step]:
        """Go through the steps, counting one as done when the next is asked for.

        Ends early where `stop` was called; `state.stopped` then says so.

        Raises
        ------
        Stopped
            Out of a step that was being done when `stop` was called.
        """
        self.undone = tuple(name(step) for step in steps)
        self.state = self.state._replace(total=self.state.total or len(steps))
        for step in steps:
            if self._stop.is_set():
                self._now(stopped=True)
                return
            self._now(name(step))
            with pulse.heard(self.beat):
                yield step
            self.undone = self.undone[1:]
            self._now(name(step), more=1)

    def beat(self, what: str, done: int, most: int) -> None:
        """Hear from within a step.

        Raises
        ------
        Stopped
            Where `stop` was called.
        """
        if self._stop.is_set():
            self._now(self.state.now, stopped=True)
            raise Stopped
        now, before = self._clock(), self.state.within
        if before is None or before.what != what or done < before.done:
            self._inner_began = now
        within = State(what, done, most, now - self._inner_began) if done < most else None
        self._show(self.state._replace(passed_s=now - self._began, within=within))

    def _now(self, now: str = "", more: int = 0, stopped: bool = False) -> None:
        before = self.state
        passed_s = self._clock() - self._began
        self._show(State(before.what, before.done + more, before.total, passed_s, now, stopped))

    def _show(self, state: State) -> None:
        self.state = state
        if self._shown is not None:
            self._shown(state)


class ProgressLine:
    """Shows a state on one line of a terminal, over and over; on anything else it shows nothing."""

    def __init__(self, stream: TextIO | None = None) -> None:
        self._stream = sys.stderr if stream is None else stream
        self._length = 0
        self._last_s = 0.0
        self._tty = bool(getattr(self._stream, "isatty", lambda: False)())

    def __call__(self, state: State) -> None:
        """Show a state once the work has taken long enough to be worth it; clear the line where there is none."""
        if not self._tty or not state.says:
            self.close()
            return
        worth_s = state.within.passed_s if state.total == 0 and state.within is not None else state.passed_s
        often = state.within is not None and 0.0 <= state.passed_s - self._last_s < AGAIN_S
        if worth_s < QUIET_S or often:
            return
        self._last_s = state.passed_s
        text = "".join(letter if letter.isprintable() else "?" for letter in state.says)[:110]
        self._stream.write(f"\r{text.ljust(self._length)}")
        self._stream.flush()
        self._length = len(text)

    def close(self) -> None:
        """Clear the line."""
        if self._length:
            self._stream.write("\r" + " " * self._length + "\r")
            self._stream.flush()
            self._length = 0


@contextmanager
def on_terminal(stream: TextIO | None = None) -> Iterator[None]:
    """Show how far long work is that is not in steps itself: draws, sets of jobs."""
    line = ProgressLine(stream)
    try:
        with pulse.heard(Work("", 0, line).beat):
            yield
    finally:
        line.close()
