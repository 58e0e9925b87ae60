"""Long work that says how far it is, how fast it goes and how long it will take, and can be stopped between steps."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TextIO, TypeVar

Step = TypeVar("Step")
# Nothing is shown before: short work should not flicker.
QUIET_S = 0.5


@dataclass(frozen=True)
class State:
    """How far a piece of work is.

    `now`: the step that is being done. `stopped`: somebody asked for an end, and what was done is kept.
    """

    what: str
    done: int
    total: int
    passed_s: float
    now: str = ""
    stopped: bool = False

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
        '3 of 20 donors, 2.0 a second, about 9 s left, now top'
        """
        words = [f"{self.done} of {self.total} {self.what}"]
        rate, left_s = self.rate_per_s, self.left_s
        if rate is not None and left_s is not None and self.done < self.total and not self.stopped:
            words += [_rate(rate), f"about {_span(left_s)} left"]
        if self.stopped:
            words.append("stopped")
        elif self.now and self.done < self.total:
            words.append(f"now {self.now}")
        return ", ".join(words)


def _rate(rate_per_s: float) -> str:
    return f"{rate_per_s:.1f} a second" if rate_per_s >= 1.0 else f"{60.0 * rate_per_s:.1f} a minute"


def _span(seconds: float) -> str:
    whole = max(1, round(seconds))
    return f"{whole} s" if whole < 100 else f"{round(whole / 60)} min"


class Work:
    """A piece of work in steps. Another thread may look at `state` and call `stop` at any time."""

    def __init__(
        self, what: str, total: int, shown: Callable[[State], None] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self._shown = shown
        self._clock = clock
        self._began = clock()
        self._stop = threading.Event()
        self.state = State(what, 0, total, 0.0)

    def stop(self) -> None:
        """Ask for an end: the step that is being done is finished, and no other is begun."""
        self._stop.set()

    @property
    def stopping(self) -> bool:
        """Whether an end was asked for."""
        return self._stop.is_set()

    def each(self, steps: Sequence[Step], name: Callable[[Step], str] = str) -> Iterator[Step]:
        """Go through the steps, counting one as done when the next is asked for.

        Ends early where `stop` was called; `state.stopped` then says so.
        """
        for step in steps:
            if self._stop.is_set():
                self._now(stopped=True)
                return
            self._now(name(step))
            yield step
            self._now(name(step), more=1)

    def _now(self, now: str = "", more: int = 0, stopped: bool = False) -> None:
        before = self.state
        passed_s = self._clock() - self._began
        self.state = State(before.what, before.done + more, before.total, passed_s, now, stopped)
        if self._shown is not None:
            self._shown(self.state)


class Line:
    """Shows a state on one line of a terminal, over and over; on anything else it shows nothing."""

    def __init__(self, stream: TextIO | None = None) -> None:
        self._stream = sys.stderr if stream is None else stream
        self._length = 0
        self._tty = bool(getattr(self._stream, "isatty", lambda: False)())

    def __call__(self, state: State) -> None:
        """Show a state once the work has taken long enough to be worth it."""
        if not self._tty or state.passed_s < QUIET_S:
            return
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
