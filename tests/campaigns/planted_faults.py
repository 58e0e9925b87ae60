"""Faults planted one by one in a copy of the tables, rules, queries and shapes: which of them does no test find?

python tests/campaigns/planted_faults.py threads.csv edges.csv --most 60
python tests/campaigns/planted_faults.py --all --most 20
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import io
import os
import re
import resource
import shutil
import signal
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from random import Random
from typing import Literal

import pytest

ROOT = Path(__file__).parents[2]
COPIED = ("reasoner", "ontology", "data", "docs", "tests", "pyproject.toml", "README.md")
# Of processor time; and by the clock, after which nothing is told.
LONGEST_S, NEVER_S = 300, 1800
TABLES, EDGES = "tables/test_tables.py", "published/test_edges.py"
ANSWERS = "graph/test_answers.py -k {}"
# The tests that hold a file's content: of itself, else of its folder; {} is its name without the ending.
TESTS = {
    "threads.csv": (TABLES, EDGES), "near_misses.csv": (TABLES, "fit/test_mating.py"), "edges.csv": (TABLES, EDGES),
    "bolts.csv": (EDGES,), "instruments.csv": (TABLES, "published/test_uncertainty.py"),
    "headings.csv": ("sheets/test_own_list.py",), "tables": (TABLES,),
    **dict.fromkeys(
        ("feature-facts.rq", "part-facts.rq", "reading-facts.rq"), ("graph/test_queries.py -k say_the_same", ANSWERS)),
    "rules": ("graph/test_asking.py", "graph/test_one_drawing.py", "graph/test_rules.py -k plain_loops"),
    "queries": (ANSWERS,),
    "shapes": (
        "graph/test_shapes.py -k twice or datatype or own", "graph/test_shapes.py -k same_cell or bound",
        "graph/test_incoming.py",
    ),
}  # fmt: skip
# Tables that nothing is reckoned from: what words of a report mean.
LET_BE = ("words.csv",)
# Columns that no verdict, cut or purchase rests on: prose, sources, marks and names of rows.
PROSE = ("source", "check", "mark", "note", "says", "meaning", "why", "caution", "tools", "unit", "pair_id")


Outcome = Literal["found", "not found", "late"]
# What pytest is asked for at once: files or names of tests, and which of them.
Call = tuple[str, ...]


@dataclass(frozen=True)
class Planted:
    """One fault: the file with it, and what was done."""

    file: Path
    text: str
    says: str


def in_a_table(file: Path, text: str) -> Iterator[Planted]:
    """A row dropped, a number made larger, a yes made a no, a word made another row's, one of several words dropped."""
    rows = list(csv.reader(io.StringIO(text)))
    for place, row in enumerate(rows[1:], start=1):
        yield Planted(file, _written([*rows[:place], *rows[place + 1 :]]), f"{file.name}:{row[0]}: the row dropped")
        for column, cell in enumerate(row):
            if rows[0][column] in PROSE:
                continue
            for other in _others(cell, [line[column] for line in (*rows[place + 1 :], *rows[1:place])]):
                changed = [*rows[:place], [*row[:column], other, *row[column + 1 :]], *rows[place + 1 :]]
                says = f"{file.name}:{row[0]}: {rows[0][column]} {cell} -> {other}"
                yield Planted(file, _written(changed), says)


def _others(cell: str, beside: list[str]) -> Iterator[str]:
    """What may stand in a cell in place of what does; nothing where it is empty."""
    if cell in ("yes", "no"):
        yield "no" if cell == "yes" else "yes"
    elif re.fullmatch(r"-?\d+(\.\d+)?", cell):
        yield f"{1.25 * float(cell) + (not float(cell)):g}"
    elif ";" in cell:
        words = cell.split(";")
        yield from (";".join([*words[:place], *words[place + 1 :]]) for place in range(len(words)))
    elif cell:
        yield from [other for other in beside if other not in ("", cell)][:1]


def _written(rows: list[list[str]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


# What is taken out, or put in the place of what, in a query or rule, and in a shape.
CLAUSES = (
    (r"^ *FILTER ?.*\n", ""), (r"^ *OPTIONAL \{.*\}\n", ""), (r"^ *MINUS \{.*\}\n", ""), (r"^ *\?\w+ \S+ \S+ \.\n", ""),
    (r", partkin:[\w-]+(?=[^(]*\)\))", ""), (r" < ", " > "), (r" >= ", " < "), (r" && ", " || "),
    (r"\bMAX\(", "MIN("), (r"!BOUND", "BOUND"), (r" [|/] ?partkin:\w+", ""),
)  # fmt: skip
BOUNDS = (
    (r" sh:(min|max)(Count|Inclusive|Exclusive|Length) [\d.]+ ;", ""), (r" sh:pattern \"[^\"]*\" ;", ""),
    (r" sh:(datatype|class|nodeKind) \S+ ;", ""), (r"^    sh:sparql shape:[\w-]+ ,", "    sh:sparql"),
    (r"^        shape:[\w-]+ ,\n", ""), (r"FILTER\([^\n]*\)(?= \})", ""), (r"(?<=sh:in \( )partkin:[\w-]+ ", ""),
)  # fmt: skip


def in_a_text(file: Path, text: str, changes: tuple[tuple[str, str], ...]) -> Iterator[Planted]:
    """Each place where a change applies, by itself; headers of queries, which begin with #, are let be."""
    for pattern, other in changes:
        for match in re.finditer(pattern, text, re.MULTILINE):
            line = text[text.rfind("\n", 0, match.start()) + 1 :].split("\n", 1)[0]
            if not line.startswith("#"):
                says = f"{file.name}:{text.count(chr(10), 0, match.start()) + 1}: {match[0].strip()} -> {other.strip()}"
                yield Planted(file, text[: match.start()] + match.expand(other) + text[match.end() :], says)


def faults_of(file: Path) -> list[Planted]:
    """Every fault that may be planted in a file."""
    text = file.read_text(encoding="utf-8")
    if file.suffix == ".csv":
        return list(in_a_table(file, text))
    return list(in_a_text(file, text, BOUNDS if file.suffix == ".ttl" else CLAUSES))


def outcome(fault: Planted, tests: Sequence[Call], longest_s: int = LONGEST_S) -> tuple[Outcome, str]:
    """Whether a test fails with the fault in its file, which is as before when this returns; and which test."""
    before = fault.file.read_text(encoding="utf-8")
    fault.file.write_text(fault.text, encoding="utf-8")
    try:
        read, write = os.pipe()
        child = os.fork()
        if child == 0:
            _run(tests, longest_s, write)
        os.close(write)
        with os.fdopen(read, encoding="utf-8") as told:
            by = told.readline().strip()
        status = os.waitpid(child, 0)[1]
        late = os.WIFSIGNALED(status) and os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGKILL, signal.SIGALRM)
        return "late" if late else "found" if status else "not found", by
    finally:
        fault.file.write_text(before, encoding="utf-8")


class _Telling:
    """Writes the name of each test that fails, or of each file of tests that cannot be read."""

    def __init__(self, write: int) -> None:
        self.write = write

    def pytest_runtest_logreport(self, report: pytest.TestReport | pytest.CollectReport) -> None:
        """Tell a failure; only the first is read."""
        if report.failed:
            os.write(self.write, f"{report.nodeid}\n".encode())

    pytest_collectreport = pytest_runtest_logreport


def _run(tests: Sequence[Call], longest_s: int, write: int) -> None:
    """Run tests in this forked process, which has the packages and nothing of what is changed, and end it."""
    signal.alarm(NEVER_S)
    spent_s = int(sum(resource.getrusage(resource.RUSAGE_SELF)[:2]))
    resource.setrlimit(resource.RLIMIT_CPU, (spent_s + longest_s, spent_s + longest_s))
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    for call in tests:
        words = ["-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", *call]
        code = int(pytest.main(words, plugins=[_Telling(write)]))
        if code:
            os._exit(code)
    os._exit(0)


@contextlib.contextmanager
def copied() -> Iterator[Path]:
    """A copy of the project, for as long as it is needed."""
    with tempfile.TemporaryDirectory() as copy:
        for name in COPIED:
            whole = ROOT / name
            if whole.is_dir():
                shutil.copytree(whole, Path(copy) / name, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy(whole, Path(copy) / name)
        yield Path(copy)


def stand_in(copy: Path, *preloaded: str) -> None:
    """Work in a copy from now on, with packages that need not be loaded in each forked process."""
    os.chdir(copy)
    sys.path[:0] = [f"{copy}/reasoner", f"{copy}/tests", str(copy)]
    for package in ("numpy", "scipy.optimize", "pyshacl", "rdflib", "hypothesis", *preloaded):
        import_module(package)


def calls_of(file: Path) -> list[Call]:
    """The tests that hold a file, as pytest is asked for each: a file of tests, and which of it by -k."""
    wanted = [test.format(file.stem) for test in TESTS.get(file.name) or TESTS[file.parent.name]]
    return [
        (f"tests/{name}", *(["-k", chosen] if chosen else []))
        for name, _, chosen in (w.partition(" -k ") for w in wanted)
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("files", nargs="*", help="names of tables, queries, rules or shapes, or of their folders")
    parser.add_argument("--all", action="store_true")
    parser.add_argument("--most", type=int, default=1000, help="faults a file, drawn at random")
    given = parser.parse_args()
    with copied() as copy:
        stand_in(copy, "partkin.pipeline")
        found = planted = 0
        for file in sorted((*Path("data/tables").glob("*.csv"), *Path("ontology").glob("[rqs]*/*.*"))):
            wanted = given.all or file.name in given.files or file.parent.name in given.files
            if not wanted or file.name in LET_BE:
                continue
            tests, faults = calls_of(file), faults_of(file)
            if outcome(Planted(file, file.read_text(encoding="utf-8"), "nothing"), tests)[0] != "not found":
                raise SystemExit(f"{file.name}: its tests fail without a fault: {tests}")
            drawn = Random(0).sample(faults, min(given.most, len(faults)))
            survived = [fault.says for fault in drawn if outcome(fault, tests)[0] == "not found"]
            found, planted = found + len(drawn) - len(survived), planted + len(drawn)
            print(f"{file.name}: {len(drawn) - len(survived)} of {len(drawn)} found ({len(faults)} can be planted)")
            print("".join(f"  not found: {says}\n" for says in survived), end="", flush=True)
    print(f"{found} of {planted} found")


if __name__ == "__main__":
    main()
