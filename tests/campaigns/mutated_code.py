"""Code changed piece by piece, as cosmic-ray changes it: which changes of the rooms that decide does no test find?

python tests/campaigns/mutated_code.py --covered FILE --most 200 --seed 1 --at-once 2
python tests/campaigns/mutated_code.py --covered FILE fit/solve.py verdict --most 40
python tests/campaigns/mutated_code.py --changed HEAD~1 --most 8 --within-s 120     # on changed lines alone

Needs cosmic-ray (in the extra `lint`). With what covering.py keeps, for a change only tests are run that run
its line. A sample is drawn place by place, so that a line with many operators counts no more than one with few. Of
annotations nothing is changed. A change that lets tests run out of time is told by itself. harmless_changes.csv lists
changes that no test needs to find.
"""

from __future__ import annotations

import argparse
import ast
import compileall
import contextlib
import csv
import os
import py_compile
import re
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, replace
from itertools import islice
from multiprocessing import SimpleQueue, get_context
from pathlib import Path
from random import Random

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns.covering import PACKAGE, ROOMS, Covered, files_of, function_at, mirrored_by, room_of
from campaigns.planted_faults import ROOT, Call, Outcome, Planted, copied, outcome, stand_in

HARMLESS = Path(__file__).parent / "harmless_changes.csv"
# Processor time that the tests of one change may take: where nothing was covered; of one on changed lines.
LONGEST_S, CHANGED_S = 900, 45
# Where it was covered: a multiple of what they took. So many of them are asked for first.
LONGER, FIRST = 3, 8
# What no one writes by a slip, or what hangs on how Python keeps small numbers and words.
LET_BE = re.compile(r"Variable|ComparisonOperator_(?!Is)\w+?_Is(Not)?$")


@dataclass(frozen=True)
class Change(Planted):
    """One change: where, by which operator, and how the line reads with it."""

    line: int
    operator: str
    reads: str

    @property
    def key(self) -> tuple[str, ...]:
        """What tells it from others although lines move."""
        within = function_at(self.file.read_text(encoding="utf-8"), self.line)
        return self.file.relative_to(PACKAGE).as_posix(), within, self.operator, self.reads


Spot = tuple[Path, tuple[tuple[str, int], ...]]


def spots(file: Path, lines: frozenset[int] | None = None) -> list[Spot]:
    """Each place of a file (of these lines alone) with the operators that change it, and which of theirs it is."""
    from cosmic_ray.ast import ast_nodes, get_ast
    from cosmic_ray.plugins import get_operator, operator_names

    tree, places = get_ast(file.read_text(encoding="utf-8")), dict[tuple[int, int], list[tuple[str, int]]]()
    for name in sorted(name for name in operator_names() if not LET_BE.search(name)):
        operator = get_operator(name)()
        starts = [start for node in ast_nodes(tree) for start, _ in operator.mutation_positions(node)]
        for occurrence, start in enumerate(starts):
            if lines is None or start[0] in lines:
                places.setdefault(start, []).append((name, occurrence))
    return [(file, tuple(found)) for found in places.values()]


def mutant(spot: Spot, draw: Random) -> Change | None:
    """One change of a place; None: what the operator makes of it does the same, or it can make nothing."""
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator

    file, ways = spot
    name, occurrence = draw.choice(ways)
    text = file.read_text(encoding="utf-8")
    try:
        changed = mutate_code(text, get_operator(name)(), occurrence)
    except AttributeError:  # of several exceptions in brackets it makes none
        return None
    if changed is None or _bare(changed) in (_bare(text), ""):
        return None
    number, line = _first_change(text, changed)
    operator = name.split("/")[1]
    return Change(file, changed, f"{file.relative_to(PACKAGE)}:{number}: {operator}: {line}", number, operator, line)


def _bare(text: str) -> str:
    """What a file does, without its annotations; empty where it is no Python."""
    try:
        tree = ast.parse(text)
    except SyntaxError:
        return ""
    for node in ast.walk(tree):
        if isinstance(node, ast.arg | ast.AnnAssign):
            node.annotation = ast.Constant(None)  # type: ignore[assignment]
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            node.returns = None
    return ast.dump(tree)


def _first_change(one: str, other: str) -> tuple[int, str]:
    """The first line that differs: its number, and how it reads afterwards."""
    pairs = zip(one.splitlines(), other.splitlines(), strict=False)
    return next(((n, after.strip()) for n, (before, after) in enumerate(pairs, 1) if before != after), (0, ""))


def changed_lines(commit: str) -> dict[Path, frozenset[int]]:
    """Lines of the package that were written since a commit; none where there is no such commit, or no history."""
    words = ["git", "diff", "-U0", "--no-color", commit, "--", str(PACKAGE)]
    diff = subprocess.run(words, cwd=ROOT, capture_output=True, text=True).stdout
    found: dict[Path, set[int]] = {}
    file = Path()
    for line in diff.splitlines():
        if line.startswith("+++ "):
            file = Path(line[6:])
        elif hunk := re.match(r"@@ \S+ \+(\d+)(?:,(\d+))? @@", line):
            begin, count = int(hunk[1]), int(hunk[2] or 1)
            found.setdefault(file, set()).update(range(begin, begin + count))
    return {file: frozenset(lines) for file, lines in found.items() if lines and (ROOT / file).exists()}


def harmless() -> dict[tuple[str, ...], str]:
    """Changes that no test needs to find, each with why."""
    with HARMLESS.open(encoding="utf-8", newline="") as file:
        return {(row["file"], row["within"], row["operator"], row["reads"]): row["why"] for row in csv.DictReader(file)}


def drawn(rooms: list[str], lines: dict[Path, frozenset[int]] | None, most: int, seed: int) -> tuple[list[Change], int]:
    """So many changes, and in how many places there could be one."""
    draw, places = Random(seed), list[Spot]()
    for file in files_of(rooms):
        if lines is None or file in lines:
            places += spots(file, lines and lines[file])
    changes = (mutant(place, draw) for place in draw.sample(places, len(places)))
    return list(islice((change for change in changes if change), most)), len(places)


def calls_for(change: Change, covered: Covered | None, most: int, longest_s: float) -> list[Call]:
    """The tests of a change as pytest is asked for them: a few first, so that the files of the others are not read."""
    if covered is None:
        return [(test,) for test in mirrored_by(change.file)]
    tests = covered.chosen(change.file, change.file.read_text(encoding="utf-8"), change.line, most, longest_s)
    return [call for call in (tests[:FIRST], tests[FIRST:]) if call]


def _begin(copies: SimpleQueue[Path]) -> None:
    """Stand in a copy whose modules are compiled by content: so a change of the same length within a second is seen."""
    stand_in(copies.get(), "cvxpy")
    compileall.compile_dir("reasoner", quiet=2, invalidation_mode=py_compile.PycInvalidationMode.CHECKED_HASH)


@contextlib.contextmanager
def workers(count: int) -> Iterator[ProcessPoolExecutor]:
    """So many processes, each in a copy of its own."""
    with contextlib.ExitStack() as stack:
        forked = get_context("fork")
        copies: SimpleQueue[Path] = forked.SimpleQueue()
        for _ in range(count):
            copies.put(stack.enter_context(copied()))
        yield stack.enter_context(ProcessPoolExecutor(count, forked, _begin, (copies,)))


def tried(
    asked: Iterable[tuple[Change, list[Call]]], pool: ProcessPoolExecutor, at_once: int, longest_s: int
) -> Iterator[tuple[Change, Outcome, str]]:
    """Each change with what became of it, and the test that found it, as soon as it is known."""
    under_way: dict[Future[tuple[Outcome, str]], Change] = {}
    for change, calls in asked:
        under_way[pool.submit(outcome, change, calls, longest_s)] = change
        if len(under_way) == at_once:
            for done in wait(under_way, return_when=FIRST_COMPLETED).done:
                yield under_way.pop(done), *done.result()
    for done in wait(under_way).done:
        yield under_way.pop(done), *done.result()


def tell(told: list[tuple[Change, Outcome]], known: dict[tuple[str, ...], str]) -> int:
    """Print how many were found in each room; return how many were not, and are not known to be harmless."""
    rooms: dict[str, Counter[str]] = {}
    for change, how in told:
        rooms.setdefault(room_of(change.file), Counter())[how] += 1
    for room, count in sorted(rooms.items()):
        print(f"{room}: {count['found']} of {count.total()} found, {count['late']} late")
    every = sum(rooms.values(), Counter[str]())
    left = [change for change, how in told if how == "not found" and change.key not in known]
    print(
        f"{every['found']} of {every.total()} found, {every['late']} late; "
        f"of the others {every['not found'] - len(left)} are known as harmless, and {len(left)} are not"
    )
    return len(left)


def main() -> None:
    """Change the code as the words of the command line tell, and print what no test found."""
    given, begun = _words().parse_args(), time.monotonic()
    os.chdir(ROOT)
    covered = Covered.read(given.covered) if given.covered else None
    lines = changed_lines(given.changed) if given.changed else None
    changes, places = drawn(given.rooms, lines, given.most, given.seed)
    longest_s = CHANGED_S if lines is not None else int(LONGER * given.each_s) if covered else LONGEST_S
    asked = (
        (change, calls_for(change, covered, given.tests, given.each_s))
        for change in changes
        if time.monotonic() - begun < given.within_s
    )
    known, told, finders = harmless(), list[tuple[Change, Outcome]](), set[str]()
    with workers(given.at_once) as pool:
        for change, how, by in tried(asked, pool, given.at_once, longest_s):
            told.append((change, how))
            finders |= {by} - {""}
            if how != "found":
                why = known.get(change.key)
                print(f"{how}: {change.says}{f': harmless: {why}' if why else ''}", flush=True)
        if covered and changes:
            files = [one for one in finders if "::" not in one]
            calls = [call for call in (tuple(sorted(finders - {*files})), tuple(sorted(files))) if call]
            unchanged = replace(changes[0], text=changes[0].file.read_text(encoding="utf-8"))
            if pool.submit(outcome, unchanged, calls, LONGEST_S).result()[0] != "not found":
                raise SystemExit(
                    "of the tests that found a change one fails with nothing changed, or they take too long"
                )
    new = tell(told, known)
    print(f"{places} places can be changed; {time.monotonic() - begun:.0f} s")
    sys.exit(1 if new and lines is None else 0)


def _words() -> argparse.ArgumentParser:
    """What can be asked for."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("rooms", nargs="*", help=f"rooms or files; none: {', '.join(ROOMS)}")
    words.add_argument("--covered", metavar="FILE", type=Path, help="which test runs which line, of covering.py")
    words.add_argument("--most", type=int, default=200, help="places that are changed, drawn at random")
    words.add_argument("--seed", type=int, default=0)
    words.add_argument("--tests", type=int, default=60, help="tests a change, at most")
    words.add_argument("--each-s", type=float, default=60, help="processor time of them, as it was covered, at most")
    words.add_argument("--at-once", type=int, default=1, help="processes")
    words.add_argument("--within-s", type=float, default=float("inf"), help="begin with no other after so many seconds")
    words.add_argument("--changed", metavar="COMMIT", help="only lines that were written since; tells, and never fails")
    return words


if __name__ == "__main__":
    main()
