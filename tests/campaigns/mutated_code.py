"""Code changed piece by piece, as cosmic-ray changes it: which changes of the rooms that decide does no test find?

python tests/campaigns/mutated_code.py --most 200 --seed 1
python tests/campaigns/mutated_code.py fit/solve.py verdict --most 40
python tests/campaigns/mutated_code.py --changed HEAD~1 --most 8 --within-s 120     # on changed lines alone

Needs cosmic-ray (in the extra `lint`). A sample is drawn place by place, so that a line with many operators counts no
more than one with few. Of annotations nothing is changed. A change that lets tests run out of time is told by itself.
"""

from __future__ import annotations

import argparse
import ast
import compileall
import py_compile
import re
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from random import Random

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from campaigns.planted_faults import ROOT, Planted, in_a_copy, outcome

PACKAGE = Path("reasoner/partkin")
# The rooms that decide or protect, and the tests that mirror each.
STORIES = ("stories/test_verdicts.py", "stories/test_audit.py")
NEVER_CUT = ("adaptation/test_limits.py", "adaptation/test_zones.py", "properties/test_zones_never_cut.py")
ROOMS = {
    "fit": ("fit", *STORIES),
    "verdict": (
        *STORIES, *(f"stories/test_{what}.py" for what in ("thresholds", "seam_stories", "airbag_stories")),
        "stories/test_in_a_line.py",
        "stories/test_unknown_is_neither.py", "readings/test_what_is_open.py", "verify/test_likely_places.py",
    ),
    "adaptation/limits.py": NEVER_CUT,
    "positions": ("positions", "published/test_uncertainty.py", *STORIES),
    "sheets/changing.py": ("sheets", "commands"),
    "sheets/files.py": ("sheets", "commands"),
    "verify": ("verify", "stories/test_seam_stories.py", "stories/test_in_space_stories.py"),
    "page/guard.py": ("page/test_guard.py", "page/test_desk.py"),
}  # fmt: skip
# Processor time that the tests of one change may take; of one on changed lines.
LONGEST_S, CHANGED_S = 900, 45
# What no one writes by a slip, or what hangs on how Python keeps small numbers and words.
LET_BE = re.compile(r"Variable|ComparisonOperator_(?!Is)\w+?_Is(Not)?$")


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


def mutant(spot: Spot, draw: Random) -> Planted | None:
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
    return Planted(file, changed, f"{file.relative_to(PACKAGE)}:{number}: {name.split('/')[1]}: {line}")


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


def room_of(file: Path) -> str:
    """The room, or the file, that tests mirror."""
    within = file.relative_to(PACKAGE).as_posix()
    return next(room for room in ROOMS if within == room or within.startswith(f"{room}/"))


def mirrored_by(file: Path) -> tuple[str, ...]:
    """Tests that name the module first, then the others that mirror its room."""
    mirror = ROOMS[room_of(file)]
    named = re.compile(rf"partkin\.{file.parent.name}(\.{file.stem}\b| import .*\b{file.stem}\b)")
    all_of = [path for test in mirror for path in _files(Path("tests") / test)]
    first = [path for path in all_of if named.search(path.read_text(encoding="utf-8"))]
    return tuple(path.relative_to("tests").as_posix() for path in dict.fromkeys((*first, *all_of)))


def _files(test: Path) -> list[Path]:
    return [test] if test.is_file() else sorted(test.glob("test_*.py"))


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


def files_of(rooms: list[str]) -> Iterator[Path]:
    """Modules of these rooms, or files, among those that have tests to mirror them."""
    for room in ROOMS:
        path = PACKAGE / room
        for file in [path] if path.is_file() else sorted(path.glob("*.py")):
            within = file.relative_to(PACKAGE).as_posix()
            if not rooms or any(within == one or within.startswith(f"{one}/") for one in rooms):
                yield file


def main() -> None:
    """Read the words of the command line, change the code, and print what no test found."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("rooms", nargs="*", help=f"rooms or files; none: {', '.join(ROOMS)}")
    words.add_argument("--most", type=int, default=200, help="places that are changed, drawn at random")
    words.add_argument("--seed", type=int, default=0)
    words.add_argument("--within-s", type=float, default=float("inf"), help="begin with no other after so many seconds")
    words.add_argument("--changed", metavar="COMMIT", help="only lines that were written since; tells, and never fails")
    given, begun = words.parse_args(), time.monotonic()
    lines = changed_lines(given.changed) if given.changed else None
    with in_a_copy():
        # Compiled by content, so that a change of the same length within a second is seen; and never written.
        compileall.compile_dir("reasoner", quiet=2, invalidation_mode=py_compile.PycInvalidationMode.CHECKED_HASH)
        sys.dont_write_bytecode = True
        draw, places = Random(given.seed), []
        for file in files_of(given.rooms):
            if lines is None or file in lines:
                places += spots(file, lines and lines[file])
        told: dict[str, Counter[str]] = {}
        for place in draw.sample(places, len(places)):
            fault = mutant(place, draw)
            if time.monotonic() - begun > given.within_s or sum(map(Counter.total, told.values())) >= given.most:
                break
            if fault is None:
                continue
            room, tests = room_of(fault.file), mirrored_by(fault.file)
            if room not in told and lines is None:
                unchanged = replace(fault, text=fault.file.read_text(encoding="utf-8"))
                if outcome(unchanged, tests, LONGEST_S) != "not found":
                    raise SystemExit(f"{room}: its tests fail, or take too long, with nothing changed")
            how = outcome(fault, tests, LONGEST_S if lines is None else CHANGED_S)
            told.setdefault(room, Counter())[how] += 1
            if how != "found":
                print(f"{how}: {fault.says}", flush=True)
        for room, count in told.items():
            print(f"{room}: {count['found']} of {count.total()} found, {count['late']} late")
        every = sum(told.values(), Counter())
        print(f"{every['found']} of {every.total()} found, {every['late']} late ({len(places)} places can be changed)")
    sys.exit(1 if every["not found"] and lines is None else 0)


if __name__ == "__main__":
    main()
