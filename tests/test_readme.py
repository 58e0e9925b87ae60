"""The README's examples are what the commands print today."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
BLOCK = re.compile(r"^```console\n(.*?)^```", re.M | re.S)
COMMAND = Path(sys.executable).with_name("partkin")


def examples() -> list[tuple[str, str, str]]:
    """(page, command, expected output) of every console block; `...` on a line of its own stands for any lines."""
    found = []
    for page in PAGES:
        for block in BLOCK.findall(page.read_text(encoding="utf-8")):
            for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
                command, _, output = part.partition("\n")
                found.append((page.name, command, output))
    return found


@pytest.fixture(scope="module")
def where(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo in it, in which the examples are run one after another."""
    folder = tmp_path_factory.mktemp("readme")
    run("partkin demo", folder)
    return folder


def run(command: str, folder: Path) -> str:
    words = shlex.split(command)
    assert words[0] == "partkin"
    done = subprocess.run(
        [str(COMMAND), *words[1:]], cwd=folder, capture_output=True, text=True, encoding="utf-8", timeout=120,
        env={**os.environ, "NO_COLOR": "1", "COLUMNS": "100"},
    )  # fmt: skip
    return done.stdout + done.stderr


def pattern(output: str) -> str:
    lines = [".*" if line == "..." else re.escape(line) for line in output.rstrip("\n").split("\n")]
    return "\n".join(lines)


@pytest.mark.parametrize(("page", "command", "output"), examples(), ids=lambda value: str(value)[:40])
def test_example(page: str, command: str, output: str, where: Path) -> None:
    shown = run(command, where)
    assert re.fullmatch(pattern(output), shown.rstrip("\n"), re.S), f"{page}: {command} now prints:\n{shown}"


def test_set_up_comes_first() -> None:
    """The first two shell blocks are one command each: set up and demo, set up and test."""
    blocks = re.findall(r"^```sh\n(.*?)^```", PAGES[0].read_text(encoding="utf-8"), re.M | re.S)
    assert all(len(block.strip().splitlines()) == 1 for block in blocks[:2])
    assert blocks[0].strip().endswith("partkin demo") and "pytest" in blocks[1]


def test_what_is_checked_by_hand_is_what_the_command_prints_or_the_sheet_says() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    by_hand = re.search(r"^Check it by hand: .*?^$", readme, re.M | re.S)
    assert by_hand
    beside = "".join(BLOCK.findall(readme)) + (ROOT / "data/demo/features.csv").read_text(encoding="utf-8")
    known = {float(number) for number in re.findall(r"\d+(?:\.\d+)?", beside)}
    told = {float(number) for number in re.findall(r"\d+\.\d+", by_hand[0])}
    assert len(told) >= 8 and told <= known
