"""A word from deep within long work to whoever listens: how far it is. Where nobody listens it costs next to nothing.

Every stage may say it; who listens decides what to do with it: show it, or end the work by raising.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

Listener = Callable[[str, int, int], None]

_listener: ContextVar[Listener | None] = ContextVar("listener", default=None)


def beat(what: str, done: int, most: int) -> None:
    """Say that `done` of at most `most` steps are done; as many as that: it is over.

    `what`: the steps, in the plural.

    Examples
    --------
    >>> with heard(lambda what, done, most: print(done, "of at most", most, what)):
    ...     beat("draws", 128, 10_000)
    128 of at most 10000 draws
    """
    listener = _listener.get()
    if listener is not None:
        listener(what, done, most)


@contextmanager
def heard(listener: Listener | None) -> Iterator[None]:
    """Listen to what is done in this thread meanwhile; None: nobody does."""
    token = _listener.set(listener)
    try:
        yield
    finally:
        _listener.reset(token)


def silence() -> None:
    """Let nobody listen from here on, in a process that was copied from one where somebody does."""
    _listener.set(None)


def processors() -> int:
    """How many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
