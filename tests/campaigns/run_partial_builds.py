"""Every command on random partial builds: which end in a traceback, and which take long.

python tests/campaigns/run_partial_builds.py --count 10000 --start 0
"""

from __future__ import annotations

import argparse
import contextlib
import io
import math
import os
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from functools import partial as partial_of
from pathlib import Path
from random import Random
from typing import Any

import typer

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns.partial_builds import Sheets, build_folder, partial, questions, whole
from partkin import pipeline
from partkin.cli import app as command_line

LONG_S = 5.0
# Of processor time, so that a paused or crowded machine is no fault.
STUCK_S = 120
# Taking down asks for two checks a row: it is tried on one build of so many.
RECORDED_OF = 5
OWN_FAULT = "a fault of this program"
QUERIES = ("candidates", "fixings", "features", "unmeasured", "evidence", "levels", "forbids", "places", "gaps")


@dataclass(frozen=True)
class Ran:
    """One command that was run: its exit code, its processor time, and what went wrong with it (empty: nothing)."""

    seed: int
    words: tuple[str, ...]
    code: int
    took_s: float
    fault: str = ""
    where: str = ""

    @property
    def typed(self) -> str:
        """What a person types, in the build's folder."""
        return " ".join(("partkin", *self.words))


@dataclass
class Count:
    """What a campaign comes to."""

    builds: int = 0
    commands: int = 0
    failed: list[Ran] = field(default_factory=list)
    long: list[Ran] = field(default_factory=list)
    slowest: Ran | None = None

    def take(self, ran: Ran) -> None:
        """Count one command, and say at once what went wrong with it."""
        self.commands += 1
        if ran.fault:
            self.failed.append(ran)
            print(f"traceback: build {ran.seed}, {ran.typed}: {ran.fault} ({ran.where})", flush=True)
        if ran.took_s > LONG_S:
            self.long.append(ran)
            print(f"long: build {ran.seed}, {ran.took_s:.1f} s, {ran.typed}", flush=True)
        if self.slowest is None or ran.took_s > self.slowest.took_s:
            self.slowest = ran

    def says(self) -> str:
        """The figures."""
        lines = [
            f"{self.builds} builds, {self.commands} commands",
            f"{len(self.failed)} tracebacks on {len({ran.seed for ran in self.failed})} builds",
            f"{len(self.long)} commands over {LONG_S:g} s on {len({ran.seed for ran in self.long})} builds",
        ]
        if self.slowest is not None:
            lines.append(f"slowest: {self.slowest.took_s:.1f} s, build {self.slowest.seed}, {self.slowest.typed}")
        return "\n".join(lines) + "\n"


def commands(seed: int, sheets: Sheets) -> Iterator[tuple[str, ...]]:
    """Command lines that a person may type on a build, to be run in its folder: each command, its options by turns."""
    draw = Random(f"commands {seed}")
    for donor, host in questions(sheets):
        of = (donor, *(("--for", host) if host else ()))
        for command in ("check", "why", "measure-next", "adapt", "worklist"):
            yield command, *of
        yield draw.choice((("check", *of, "--json"), ("why", *of, "--not"), *_asking(of)))
    for part in [row["part"] for row in sheets["parts.csv"]]:
        yield "positions", part, *draw.choice(((), ("--json",)))
        yield "template", part, "-o", f"template.{draw.choice(('pdf', 'svg', 'svg', 'dxf'))}"
        yield draw.choice(("strip", "refit")), part
    yield draw.choice((("export", "-o", "build.ttl"), ("export", "--part", draw.choice(sheets["parts.csv"])["part"])))
    for host in [row["part"] for row in sheets["parts.csv"] if row["origin"] == "host"]:
        yield draw.choice((("rank",), ("rank", "--for", host), ("costs", "--for", host)))
    yield "report", "-o", "report.html"
    yield draw.choice((("score",), *(("ask", query) for query in QUERIES)))


def recordings(seed: int, whole_sheets: Sheets, sheets: Sheets) -> list[tuple[str, ...]]:
    """Readings as a person takes them down of one part, one after the other: true, wrong, corrected, taken back."""
    draw = Random(f"recordings {seed}")
    features: dict[str, list[str]] = {}
    for row in sheets["features.csv"]:
        features.setdefault(row["part"], []).append(row["feature"])
    able = [part for part, names in features.items() if len(names) > 1]
    if not able:
        return []
    part = draw.choice(able)
    a, b, *more = draw.sample(features[part], len(features[part]))
    places = {
        row["feature"]: [float(row[axis] or 0.0) for axis in ("x_mm", "y_mm", "z_mm")]
        for row in whole_sheets["features.csv"] if row["part"] == part
    }  # fmt: skip
    true_mm = math.dist(places[a], places[b])
    wrong_mm = draw.choice((true_mm * 10, true_mm / 10, true_mm + 100, true_mm * 2.54))
    ids = [row["reading"] for row in sheets.get("readings.csv", ()) if row["part"] == part]
    last = max((int(name[1:]) for name in ids if name.startswith("r")), default=0)
    lines = [
        ("record", part, a, b, f"{true_mm:.1f}", "--instrument", "tape"),
        ("record", part, b, a, f"{wrong_mm:.1f}", "--instrument", "steel rule"),
        ("record", part, a, b, f"{true_mm:.1f}", "--corrects", f"r{last + 2}"),
        ("record", part, "--undo"),
        ("record", part, "--undo"),
    ]
    if more:
        lines.append(("record", part, more[0], draw.choice(("--left-of", "--right-of")), a, b))
    return lines


def _asking(of: tuple[str, ...]) -> tuple[tuple[str, ...], ...]:
    return ("measure-next", *of, "--for-seller"), ("measure-next", *of, "--json"), ("measure-next", *of, "--far")


class Kept:
    """Answers that are worked out once a build, as its commands ask for them again and again.

    The processor time that an answer took counts in every command that asks for it.
    """

    SHARED = ("read", "lay_on", "find_out", "with_work")

    def __init__(self) -> None:
        self.owed_s = 0.0
        self._answers: dict[tuple[Any, ...], tuple[Any, float]] = {}

    @contextlib.contextmanager
    def used(self) -> Iterator[None]:
        """Let the pipeline look here first."""
        real = {name: getattr(pipeline, name) for name in self.SHARED}
        for name, function in real.items():
            setattr(pipeline, name, partial_of(self._answer, name, function))
        try:
            yield
        finally:
            for name, function in real.items():
                setattr(pipeline, name, function)

    def _answer(self, name: str, function: Callable[..., Any], *words: Any, **options: Any) -> Any:
        key = (name, *(word if isinstance(word, str | None) else id(word) for word in words), *options.items())
        if name == "read":
            key = (name,)
        if key not in self._answers:
            begun, owed_s = _spent_s(), self.owed_s
            answer = function(*words, **options)
            self._answers[key] = answer, _spent_s() - begun + self.owed_s - owed_s
            return answer
        answer, took_s = self._answers[key]
        self.owed_s += took_s
        return answer


def run_recording(seed: int, words: Sequence[str]) -> Ran:
    """Run a `record`; that its row is not at the end of a sheet that is otherwise as it was counts as a fault."""
    sheet = Path("readings.csv")
    before = _rows(sheet)
    ran = run_command(seed, words, Kept())
    if not ran.fault and (ran.code or _rows(sheet)[:-1] != before):
        return replace(ran, fault=f"the row is not kept, exit code {ran.code}")
    return ran


def _rows(sheet: Path) -> list[str]:
    """The rows of a sheet without its header, to which a column may be added."""
    return sheet.read_text(encoding="utf-8").splitlines()[1:] if sheet.exists() else []


def run_command(seed: int, words: Sequence[str], kept: Kept) -> Ran:
    """Run a command line in this process, in the current folder, as the installed command would."""
    out, err = io.StringIO(), io.StringIO()
    code, fault, where = 0, "", ""
    before, sys.argv = sys.argv, ["partkin", *words]
    typer_app, command_line.app = command_line.app, _command()
    begun, owed_s = _spent_s(), kept.owed_s
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), warnings.catch_warnings(), kept.used():
            warnings.filterwarnings("error", category=RuntimeWarning, module="partkin")
            warnings.filterwarnings("error", category=DeprecationWarning, module="partkin")
            command_line.run()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 1
    except Exception as failure:
        code, fault, where = 1, _named(failure), _place(failure)
    finally:
        sys.argv, command_line.app = before, typer_app
    took_s = _spent_s() - begun + kept.owed_s - owed_s
    last = err.getvalue().strip().rpartition("\n")[2]
    if not fault and last.startswith("partkin could not answer"):
        fault = last
    if not fault and OWN_FAULT in out.getvalue():
        fault = next(line for line in out.getvalue().splitlines() if OWN_FAULT in line).strip()
    return Ran(seed, tuple(words), code, took_s, fault, where)


@cache
def _command() -> Any:
    """The commands as typer makes them of their functions, which takes longer than most of them."""
    return typer.main.get_command(command_line.app)


def _spent_s() -> float:
    """Processor time of this process and of those it started: others may be busy on the machine."""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def _named(failure: Exception) -> str:
    said = str(failure).strip().partition("\n")[0]
    return f"{type(failure).__name__}: {said[:160]}"


def _place(failure: Exception) -> str:
    """The innermost line of the package that the failure came through."""
    frames = [frame for frame in traceback.extract_tb(failure.__traceback__) if "partkin" in Path(frame.filename).parts]
    if not frames:
        return ""
    last = frames[-1]
    return f"{'/'.join(Path(last.filename).parts[-2:])}:{last.lineno} {last.name}"


@contextlib.contextmanager
def in_build(seed: int) -> Iterator[Path]:
    """Stand in the folder of a partial build while it is looked at."""
    here = Path.cwd()
    with tempfile.TemporaryDirectory(prefix="partial-") as made:
        folder = build_folder(seed, Path(made))
        os.chdir(folder)
        try:
            yield folder
        finally:
            os.chdir(here)


class Stuck(Exception):
    """A command that did not end by itself."""


def _stop(*_: object) -> None:
    raise Stuck(f"still running after {STUCK_S} s")


def campaign(start: int, count: int, at_most_s: float = float("inf")) -> Count:
    """Run every command on so many builds, ending early when the time is over."""
    from partkin.commands.progress import ProgressLine, Work

    counted, begun = Count(), time.monotonic()
    signal.signal(signal.SIGPROF, _stop)
    work = Work("builds", count, ProgressLine())
    for seed in work.each(range(start, start + count), str):
        with in_build(seed):
            kept = Kept()
            for words in commands(seed, partial(seed)):
                signal.setitimer(signal.ITIMER_PROF, STUCK_S)
                counted.take(run_command(seed, words, kept))
                signal.setitimer(signal.ITIMER_PROF, 0)
            for words in recordings(seed, whole(seed), partial(seed)) if seed % RECORDED_OF == 0 else ():
                counted.take(run_recording(seed, words))
        counted.builds += 1
        if time.monotonic() - begun > at_most_s:
            break
    return counted


def main() -> None:
    """Read the words of the command line, run the campaign and print what it comes to."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--count", type=int, default=10_000)
    words.add_argument("--start", type=int, default=0)
    words.add_argument("--at-most-s", type=float, default=float("inf"), help="end after this many seconds")
    asked = words.parse_args()
    counted = campaign(asked.start, asked.count, asked.at_most_s)
    print(counted.says(), end="")
    sys.exit(1 if counted.failed else 0)


if __name__ == "__main__":
    main()
