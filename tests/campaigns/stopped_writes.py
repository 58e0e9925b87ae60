"""Commands that write are stopped at each of their writes: whether the sheets are as before or as after.

python tests/campaigns/stopped_writes.py --count 2000

A run fails or kills the n-th opening, renaming, removing or syncing of a file in the build, or fills the disk after
so many bytes; then another command reads the folder, as a person would who tries again.
"""

from __future__ import annotations

import argparse
import collections
import errno
import os
import resource
import shutil
import signal
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from random import Random

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from PIL import Image

from partkin.cli import app as command_line
from partkin.commands.demonstration import write
from partkin.sheets.files import UNFINISHED
from partkin.sheets.loading import load

# What a file is opened, renamed or removed by, as the interpreter tells it; a sync is told by `_telling`.
EVENTS = ("open", "os.rename", "os.remove", "os.mkdir", "os.chmod", "partkin.sync")
STEPS = "\x00steps: "
SAID = ("partkin could not answer", "Traceback")
# From here on a file grows no more: the disk is full, or the process is killed in the middle of a write.
GROWN_BYTES = (0, 1, 50, 200, 400, 800, 1500, 3000, 6000)
SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="300mm" viewBox="0 0 400 300">
<circle cx="30" cy="40" r="3.5"/><circle cx="330" cy="45" r="3.5"/><path d="M 5 5 L 395 5 L 395 295 L 5 295 Z"/></svg>
"""
COMMANDS = {
    "record": "record glove-dask k1 k3 430.1 --instrument tape",
    "place": "record glove-dask k4 --at 6,208",
    "undo": "record glove-dask --undo",
    "photo": "photo glove-dask listing.jpg --points picks.csv --scale k1,k2,386.0",
    "outline": "outline lid.svg --part lid --yes",
    "import": "import theirs.ttl",
    "offers": "offers import listings.csv",
    "outcome": "outcome top-kurm --happened fits --on 2026-03-01",
}


@dataclass(frozen=True)
class Fault:
    """What goes wrong: an error number at the n-th event, a kill there (0), or a file that grows no further."""

    number: int
    at: int = 0
    grown_bytes: int | None = None

    def __str__(self) -> str:
        how = errno.errorcode[self.number] if self.number else "killed"
        return f"{how} {f'after {self.grown_bytes} bytes' if self.grown_bytes is not None else f'at step {self.at}'}"


class Steps:
    """Counts what is done to files of a folder, and lets one of the steps go wrong."""

    def __init__(self, folder: Path, fault: Fault | None) -> None:
        self.folder, self.fault, self.done = str(folder.resolve()), fault, 0

    def __call__(self, event: str, words: tuple) -> None:
        if event not in EVENTS or not self._writes(event, words):
            return
        self.done += 1
        if self.fault is not None and self.fault.grown_bytes is None and self.done == self.fault.at:
            if not self.fault.number:
                os.kill(os.getpid(), signal.SIGKILL)
            raise OSError(self.fault.number, os.strerror(self.fault.number))

    def _writes(self, event: str, words: tuple) -> bool:
        if event == "partkin.sync":
            return True
        if event == "open" and not (isinstance(words[2], int) and words[2] & (os.O_WRONLY | os.O_RDWR)):
            return False
        return isinstance(words[0], str | Path) and str(Path(words[0]).absolute()).startswith(self.folder)


def run(words: str, folder: Path, fault: Fault | None, count_to: list[int] | None = None) -> tuple[int, str]:
    """The exit code (-9: killed) of a command line in a forked process, and what it said; a count takes its steps."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            _run(words, folder, fault, writing)
        finally:
            os._exit(98)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        said, _, steps = pipe.read().decode(errors="replace").rpartition(STEPS)
    status = os.waitpid(child, 0)[1]
    if count_to is not None:
        count_to.append(int(steps))
    return (os.WEXITSTATUS(status) if os.WIFEXITED(status) else -os.WTERMSIG(status)), said or steps


def _run(words: str, folder: Path, fault: Fault | None, out: int) -> None:
    sys.stdout = sys.stderr = os.fdopen(out, "w", encoding="utf-8")
    os.chdir(folder)
    sys.argv = ["partkin", *words.split()]
    signal.alarm(120)
    real, code = os.fsync, 0

    def telling(handle: int) -> None:
        sys.audit("partkin.sync", handle)
        real(handle)

    os.fsync = telling
    steps = Steps(folder, fault)
    if fault is not None and fault.grown_bytes is not None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN if fault.number else signal.SIG_DFL)
        resource.setrlimit(resource.RLIMIT_FSIZE, (fault.grown_bytes, resource.RLIM_INFINITY))
    sys.addaudithook(steps)
    try:
        command_line.run()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 1
    except BaseException as failure:
        sys.stdout.write(f"Traceback {failure!r}")
        code = 99
    sys.stdout.write(f"{STEPS}{steps.done}")
    sys.stdout.flush()
    os._exit(code)


def prepare(folder: Path) -> None:
    """The demo with what the commands read beside its sheets; of one part only its row, for `import`."""
    write(folder)
    Image.new("RGB", (1200, 900), "white").save(folder / "listing.jpg")
    picks = [("k1", 100, 500), ("k2", 486, 496), ("k3", 479, 289)]
    (folder / "picks.csv").write_text("feature,px,py\n" + "".join(f"{f},{x},{y}\n" for f, x, y in picks))
    (folder / "lid.svg").write_text(SVG)
    (folder / "parts.csv").open("a").write("lid,lid,,,,donor,dash-frame,,,,outside,trim,no\n")
    (folder / "listings.csv").write_text("part,price,seller\ntop-kurm,80,somebody\n")
    code, said = run("export --part top-dask -o theirs.ttl", folder, None)
    assert code == 0, said
    for sheet in ("features.csv", "readings.csv", "outlines.csv", "zones.csv"):
        rows = (folder / sheet).read_text(encoding="utf-8").splitlines(keepends=True)
        (folder / sheet).write_text("".join(row for row in rows if not row.startswith("top-dask,")), encoding="utf-8")


def sheets(folder: Path) -> dict[str, bytes]:
    """Every sheet as it stands."""
    return {path.name: path.read_bytes() for path in sorted(folder.glob("*.csv"))}


def faults(steps: int) -> Iterator[Fault]:
    """Every fault that a command of so many steps may meet."""
    for at in range(1, steps + 1):
        yield from (Fault(number, at) for number in (errno.EIO, errno.EACCES, errno.ENOSPC, 0))
    yield from (Fault(number, grown_bytes=size) for size in GROWN_BYTES for number in (errno.EFBIG, 0))


def wrong_with(words: str, fault: Fault, folder: Path, before: dict[str, bytes], after: dict[str, bytes]) -> str:
    """What is wrong after a command that was stopped, or nothing: told to have failed and done is wrong too."""
    code, said = run(words, folder, fault)
    if any(sign in said for sign in SAID):
        return f"it ends in {said.strip().splitlines()[-1]}"
    # As a person does who tries again: the next command reads, and finishes what was begun.
    problems, now = load(folder).problems, sheets(folder)
    if now not in (before, after):
        return f"sheets are neither as before nor as after: {sorted(n for n in now if now[n] != before.get(n))}"
    if problems or (folder / UNFINISHED).exists():
        return f"the sheets do not read clean: {problems[:1]}"
    if code >= 0 and (code == 0) != (now == after) and before != after:
        return f"exit code {code} where the sheets are as {'after' if now == after else 'before'}"
    return ""


def campaign(
    commands: Mapping[str, str], count: int, where: Path, told: Callable[[str], None]
) -> tuple[collections.Counter[str], int]:
    """Run so many faults, drawn from all; how many a command, and how many of all went wrong."""
    ready = where / "ready"
    prepare(ready)
    todo = []
    for name, words in commands.items():
        folder = where / name
        shutil.copytree(ready, folder)
        before, steps = sheets(folder), list[int]()
        code, said = run(words, folder, None, steps)
        after = sheets(folder)
        if code or before == after:
            raise SystemExit(f"{name} changes nothing without a fault: {said}")
        todo += [(name, fault, before, after) for fault in faults(steps[0])]
        shutil.rmtree(folder)
    drawn = todo * (count // len(todo)) + Random(0).sample(todo, count % len(todo))
    done: collections.Counter[str] = collections.Counter()
    wrong = 0
    for name, fault, before, after in drawn:
        folder = where / "build"
        shutil.copytree(ready, folder)
        what = wrong_with(commands[name], fault, folder, before, after)
        done[name] += 1
        wrong += bool(what)
        if what:
            told(f"{name}, {fault}: {what}")
        shutil.rmtree(folder)
    return done, wrong


def main() -> None:
    """Read the words of the command line, stop commands, and print what went wrong and how many were stopped."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--count", type=int, default=2000)
    given = words.parse_args()
    with tempfile.TemporaryDirectory() as where:
        done, wrong = campaign(COMMANDS, given.count, Path(where), lambda said: print(said, flush=True))
    print(f"{sum(done.values())} commands stopped, {wrong} wrong: {dict(done)}")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
