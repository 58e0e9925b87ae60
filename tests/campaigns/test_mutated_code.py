"""Whose code is changed, which tests are chosen for a change, and what no test needs to find."""

from __future__ import annotations

from pathlib import Path

import pytest

from campaigns.covering import PACKAGE, ROOMS, ROOT, Covered, Ran, files_of, function_at, mirrored_by, statement
from campaigns.mutated_code import harmless

TEXT = """LIMIT = 2

def judge(at):
    if (
        at < LIMIT
    ):
        return False
    return True
"""


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_has_files_and_tests(room: str) -> None:
    files = list(files_of([room]))
    assert files and all((ROOT / file).exists() and len(mirrored_by(file)) >= 2 for file in files)


def test_a_change_is_given_the_tests_that_run_its_line() -> None:
    def ran(seconds: float, *lines: int) -> Ran:
        return {"s": seconds, "lines": {f"{PACKAGE}/fit/at.py": [*lines]} if lines else {}}

    runs_all, quick, beside = "tests/fit/test_at.py::all", "tests/stories/test_s.py::quick", "tests/fit/test_at.py::b"
    tests = {runs_all: ran(2.0, 4, 5, 7, 8), quick: ran(0.5, 4, 5, 8), beside: ran(0.1)}
    covered = Covered({**tests, "tests/page/test_p.py::other": ran(0.0)}, {})

    def chosen(line: int, most: int = 9, longest_s: float = 60) -> tuple[str, ...]:
        return covered.chosen(Path(PACKAGE / "fit/at.py"), TEXT, line, most, longest_s)

    assert chosen(6) == (quick, runs_all, beside)  # a part of the condition; what shares its file comes last
    assert chosen(7) == (runs_all, beside)
    assert chosen(1) == (quick, runs_all)  # run at import: whoever runs any of it
    assert chosen(6, most=1) == (quick,) and chosen(6, longest_s=1.0) == (quick, beside)


def test_a_statement_is_told_by_any_of_its_lines() -> None:
    assert statement(TEXT, 5) == (4, 6) and statement(TEXT, 7) == (7, 7)
    assert function_at(TEXT, 5) == "judge" and function_at(TEXT, 1) == ""


def unfounded(known: dict[tuple[str, ...], str]) -> list[tuple[str, ...]]:
    """Changes that are called harmless without a why, or of code that is not there."""
    paths = {change: ROOT / PACKAGE / change[0] for change in known}
    texts = {change: path.read_text(encoding="utf-8") if path.exists() else None for change, path in paths.items()}
    return [
        change
        for change, why in known.items()
        if not why
        or (text := texts[change]) is None
        or (change[1] and not any(f"{kind} {change[1]}" in text for kind in ("def", "class")))
    ]


def test_what_is_known_as_harmless_names_code_that_is_there_and_says_why() -> None:
    assert unfounded(harmless()) == []
    file = "verdict/decide.py"
    known = {
        (file, "", "a", "b"): "why",
        (file, "nowhere", "a", "b"): "why",
        (file, "", "a", "c"): "",
        ("gone.py", "", "a", "b"): "why",
    }
    assert unfounded(known) == list(known)[1:]
