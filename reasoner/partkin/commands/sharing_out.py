"""Many donors of one build, each looked at by itself: shared out among the processors."""

from __future__ import annotations

import importlib
import multiprocessing
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import Any, TypeVar

from partkin.commands.progress import Work
from partkin.graph import graph_of
from partkin.model import pulse
from partkin.model.build import Build

MANY = 12
MOST_WORKERS = 4

Found = TypeVar("Found")

_asked: list[tuple[Build, Callable[[Build, str], Any]]] = []


def of_each_donor(build: Build, donors: Sequence[str], look: Callable[[Build, str], Found], work: Work) -> list[Found]:
    """Look at every donor, in their order; fewer where the work is stopped.

    Many are shared out where a process can be copied safely.
    """
    workers = min(pulse.processors(), MOST_WORKERS)
    safe = "fork" in multiprocessing.get_all_start_methods() and threading.active_count() == 1
    if len(donors) < MANY or workers < 2 or not safe or sys.platform == "darwin":
        return _gathered(work, donors, (look(build, donor) for donor in donors))
    # A copy of this process finds the question here, and the graph and the modules that checks come to import made.
    _asked[:] = [(build, look)]
    graph_of(build)
    for name in (
        "trial.trying", "adaptation.adapting", "trial.seams", "readings.untied", "readings.next_readings", "verdict",
    ):  # fmt: skip
        importlib.import_module(f"partkin.{name}")
    with ProcessPoolExecutor(workers, multiprocessing.get_context("fork"), _quietly) as pool:
        found: list[Found] = _gathered(work, donors, pool.map(_look, donors))
        pool.shutdown(cancel_futures=True)
    return found


def _look(donor: str) -> Any:
    build, look = _asked[0]
    return look(build, donor)


def _quietly() -> None:
    """Set up a worker: it shows no progress and ignores Ctrl-C, which the parent handles."""
    pulse.silence()
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _gathered(work: Work, donors: Sequence[str], answers: Iterable[Found]) -> list[Found]:
    """What is found out, up to where the work is stopped."""
    found: list[Found] = []
    coming: Iterator[Found] = iter(answers)
    try:
        for _ in work.each(donors):
            found.append(next(coming))
    except KeyboardInterrupt:
        work.stop()
    return found
