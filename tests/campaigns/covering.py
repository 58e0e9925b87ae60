"""Which tests run each line of the rooms that decide or protect, and how long each takes; it chooses a change's tests.

python tests/campaigns/covering.py --covered FILE                   # all tests but the slow ones and the browser's
python tests/campaigns/covering.py --covered FILE tests/positions   # these anew; what is known of the others stays

Needs coverage (in the extra `lint`). What a test has other processes do is not seen.
"""

from __future__ import annotations

import argparse
import ast
import fcntl
import hashlib
import json
import os
import re
import sys
from collections import Counter
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TypedDict

import pytest

ROOT = Path(__file__).parents[2]
PACKAGE = Path("reasoner/partkin")
ROOMS = (
    "fit", "verdict", "adaptation/limits.py", "positions", "sheets/changing.py", "sheets/files.py", "verify",
    "page/guard.py",
)  # fmt: skip
# Rooms whose own tests stand in a folder of another name.
MIRRORS = {"verdict": "stories"}
# Tests that ask for whole verdicts: for a module of which no more is known than its room.
STORIES = ("stories/test_verdicts.py", "stories/test_audit.py")
# A line that many tests run: of those of its own room so many are taken for one of another room's.
OF_ITS_ROOM = 3


class Ran(TypedDict):
    """What one test takes, of processor time, and which lines of which file it runs."""

    s: float
    lines: dict[str, list[int]]


def files_of(rooms: list[str]) -> Iterator[Path]:
    """Modules of these rooms, or files, among those that decide or protect; of all where none is named."""
    for room in ROOMS:
        path = PACKAGE / room
        for file in [path] if path.suffix else sorted((ROOT / path).glob("*.py")):
            within = file.relative_to(ROOT / PACKAGE if file.is_absolute() else PACKAGE).as_posix()
            if not rooms or any(within == one or within.startswith(f"{one}/") for one in rooms):
                yield PACKAGE / within


def room_of(file: Path) -> str:
    """The room, or the file, as the table of rooms names it."""
    within = file.relative_to(PACKAGE).as_posix()
    return next(room for room in ROOMS if within == room or within.startswith(f"{room}/"))


def _mirror(file: Path) -> str:
    return MIRRORS.get(file.parent.name, file.parent.name)


def mirrored_by(file: Path) -> tuple[str, ...]:
    """Without what was covered: tests that name the module first, then the others of its room, then whole verdicts."""
    tests = ROOT / "tests"
    named = re.compile(rf"partkin\.{file.parent.name}(\.{file.stem}\b| import .*\b{file.stem}\b)")
    mirror = [*sorted((tests / _mirror(file)).glob("test_*.py")), *(tests / story for story in STORIES)]
    first = [path for path in mirror if named.search(path.read_text(encoding="utf-8"))]
    return tuple(path.relative_to(ROOT).as_posix() for path in dict.fromkeys((*first, *mirror)))


@dataclass(frozen=True)
class Covered:
    """What each test ran, and the digest that each file had."""

    tests: dict[str, Ran]
    digests: dict[str, str]

    @classmethod
    def read(cls, path: Path) -> Covered:
        """What was kept, without tests that were changed since; a module that was changed ends it."""
        kept = cls(**json.loads(path.read_text(encoding="utf-8")))
        now = {file: _digest(file) for file in kept.digests}
        changed = [file for file, digest in kept.digests.items() if now[file] != digest]
        if modules := [file for file in changed if file.startswith(str(PACKAGE))]:
            raise SystemExit(f"changed since it was covered: {', '.join(modules)}; cover it anew")
        return cls({test: ran for test, ran in kept.tests.items() if _file(test) not in changed}, kept.digests)

    def chosen(self, file: Path, text: str, line: int, most: int, longest_s: float) -> tuple[str, ...]:
        """Tests for a change of a line, up to so many and so long: quick ones first, and not of one kind."""
        (first, last), inside = statement(text, line), line in run_by_functions(text)
        run_by = {
            test
            for test, ran in self.tests.items()
            if any(not inside or first <= one <= last for one in ran["lines"].get(file.as_posix(), ()))
        }
        # What a fixture or a cache keeps was made by the first test of a file; the others look at it too.
        beside = {_file(test) for test in run_by} if inside else set()
        in_turn = (
            self._in_turn(run_by, file),
            self._in_turn({test for test in self.tests if test not in run_by and _file(test) in beside}, file),
        )
        taken, spent_s = list[str](), 0.0
        for test in (*in_turn[0], *in_turn[1]):
            if not taken or (len(taken) < most and spent_s + self.tests[test]["s"] <= longest_s):
                taken.append(test)
                spent_s += self.tests[test]["s"]
        return tuple(taken)

    def _in_turn(self, tests: set[str], file: Path) -> list[str]:
        """Round by round one case of each test, the quickest first, and of other rooms fewer than of its own."""
        seen, placed, own = Counter[str](), Counter[tuple[int, bool]](), f"tests/{_mirror(file)}/"
        keyed = list[tuple[int, int, float, str]]()
        for test in sorted(tests, key=lambda test: (self.tests[test]["s"], test)):
            name, is_own = test.partition("[")[0], test.startswith(own)
            turn = seen[name], is_own
            keyed.append((seen[name], placed[turn] // (OF_ITS_ROOM if is_own else 1), self.tests[test]["s"], test))
            seen[name], placed[turn] = seen[name] + 1, placed[turn] + 1
        return [test for *_, test in sorted(keyed)]


def run_by_functions(text: str) -> set[int]:
    """Lines within functions; the others are run when the module is imported, for every test."""
    functions = [node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
    return {line for node in functions for line in range(node.body[0].lineno, (node.end_lineno or 0) + 1)}


def function_at(text: str, line: int) -> str:
    """The innermost function or class at a line; empty outside."""
    kinds = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef
    around = [node for node in ast.walk(ast.parse(text)) if isinstance(node, kinds)]
    at = [node for node in around if node.lineno <= line <= (node.end_lineno or 0)]
    return max(at, key=lambda node: node.lineno).name if at else ""


def statement(text: str, line: int) -> tuple[int, int]:
    """First and last line of the innermost statement at a line, of a compound one its head."""
    first, last = line, line
    for node in ast.walk(ast.parse(text)):
        if not isinstance(node, ast.stmt) or not node.lineno <= line <= (node.end_lineno or 0):
            continue
        body = getattr(node, "body", None)
        first, last = node.lineno, (body[0].lineno - 1 if body and line < body[0].lineno else node.end_lineno or line)
    return first, max(first, last)


class Watching:
    """Which lines each test runs that passes."""

    def __init__(self, files: list[str]) -> None:
        import coverage  # needed here alone: a change of some lines is tried without it

        self.seen = coverage.Coverage(data_file=None, include=files, config_file=False)
        self.spent_s: dict[str, float] = {}
        self.passed: set[str] = set()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Generator[None, object, object]:
        self.seen.switch_context(item.nodeid)
        begun = sum(os.times()[:4])
        run = yield
        self.spent_s[item.nodeid] = round(sum(os.times()[:4]) - begun, 2)
        return run

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.when == "call" and report.passed:
            self.passed.add(report.nodeid)
        elif report.failed:
            self.passed.discard(report.nodeid)


def cover(tests: list[str]) -> Covered:
    """Run tests, and see which lines of the rooms each runs within functions."""
    files = [file.as_posix() for file in files_of([])]
    watching = Watching([f"*/{file}" for file in files])
    watching.seen.start()
    marks = "not slow and not browser"
    pytest.main(["-q", "-p", "no:xdist", "-p", "no:cacheprovider", "-m", marks, *tests], plugins=[watching])
    watching.seen.stop()
    ran: dict[str, Ran] = {test: {"s": watching.spent_s[test], "lines": {}} for test in sorted(watching.passed)}
    for file in files:
        inside = run_by_functions(Path(file).read_text(encoding="utf-8"))
        by_line = watching.seen.get_data().contexts_by_lineno(str(Path(file).resolve()))
        for line, contexts in sorted(by_line.items()):
            for test in contexts if line in inside else ():
                if test in ran:
                    ran[test]["lines"].setdefault(file, []).append(line)
    return Covered(ran, {file: _digest(file) for file in (*files, *{_file(test) for test in ran})})


def _file(test: str) -> str:
    return test.partition("::")[0]


def _digest(file: str) -> str:
    path = ROOT / file
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16] if path.exists() else ""


def main() -> None:
    """Run the tests, and keep what each ran, beside what is kept of others."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("tests", nargs="*", help="files or folders of tests; none: all")
    words.add_argument("--covered", metavar="FILE", type=Path, required=True, help="where it is kept")
    given = words.parse_args()
    os.chdir(ROOT)
    sys.path[:0] = [f"{ROOT}/reasoner", f"{ROOT}/tests", str(ROOT)]
    found = cover(given.tests)
    with given.covered.open("a+", encoding="utf-8") as file:
        fcntl.flock(file, fcntl.LOCK_EX)  # another may be at other tests
        file.seek(0)
        text = file.read()
        before = Covered(**json.loads(text)) if text else Covered({}, {})
        anew = {_file(test) for test in found.tests}
        tests = {test: ran for test, ran in before.tests.items() if _file(test) not in anew} | found.tests
        file.truncate(0)
        json.dump({"tests": tests, "digests": before.digests | found.digests}, file, separators=(",", ":"))
    print(f"{len(found.tests)} tests covered, {len(tests)} kept")


if __name__ == "__main__":
    main()
