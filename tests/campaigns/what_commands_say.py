"""Whether commands still say the same: digests of all that they print and write on random builds and on the demo.

On the tree before:  python tests/campaigns/what_commands_say.py --count 100 --write said.json
On the tree after:   python tests/campaigns/what_commands_say.py --count 100 --against said.json

With --verdicts only the verdict files are looked at (`check --json`), of whole and of partial builds.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import io
import json
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

import typer

from campaigns.partial_builds import Sheets, partial, questions, settings, whole, write
from campaigns.run_partial_builds import commands
from partkin.cli import app as command_line
from partkin.tables.reader import shipped

DEMO = (
    *((command, donor) for donor in ("top-dask", "top-kurm", "glove-dask", "side-kurm-right", "bag-kurm")
      for command in ("check", "why", "measure-next", "adapt", "worklist", "strip", "refit", "positions")),
    ("rank",), ("costs",), ("doctor", "."), ("report", "-o", "report.html"), ("export", "-o", "build.ttl"),
    ("template", "top-dask", "-o", "t.pdf"), ("template", "top-dask", "-o", "t.svg"),
    ("template", "top-dask", "-o", "t.dxf"), ("plot", "pattern", "top-dask", "-o", "p.svg"),
    ("plot", "chance", "top-dask", "-o", "c.svg"), ("plot", "margins", "top-dask", "-o", "m.svg"),
    ("measure-next", "glove-dask", "--for-seller"), ("check", "top-dask", "--json"), ("score",),
)  # fmt: skip
Said = dict[str, str]


def run(words: Sequence[str]) -> str:
    """All that a command line prints in the current folder, with its exit code."""
    said = io.StringIO()
    before, sys.argv, code = sys.argv, ["partkin", *words], 0
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        try:
            command_line.run()
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 1
        except Exception as failure:
            said.write(f"{type(failure).__name__}: {failure}")
    sys.argv = before
    return f"{said.getvalue()}exit {code}"


def in_folder(folder: Path, lines: Sequence[Sequence[str]]) -> Iterator[tuple[str, str]]:
    """What each of several command lines prints and writes in a folder, as a digest."""
    here = Path.cwd()
    os.chdir(folder)
    try:
        there = {path.name for path in Path().iterdir()}
        for words in lines:
            digest = hashlib.sha256(run(words).encode())
            for path in sorted(Path().iterdir()):
                if path.name not in there:
                    digest.update(path.name.encode() + path.read_bytes())
                    path.unlink()
            yield " ".join(words), digest.hexdigest()[:16]
    finally:
        os.chdir(here)


def verdict_files(sheets: Sheets) -> list[tuple[str, ...]]:
    """The command lines that print the verdict file of every donor."""
    return [("check", donor, *(("--for", host) if host else ()), "--json") for donor, host in questions(sheets)]


def what_is_said(start: int, count: int, verdicts: bool) -> Said:
    """The digests of so many builds, and of the demo."""
    command_line.app = typer.main.get_command(command_line.app)  # type: ignore[assignment]
    found: Said = {}
    with tempfile.TemporaryDirectory() as made:
        demo = Path(shutil.copytree(shipped("data") / "demo", Path(made) / "demo"))
        found.update({f"demo: {words}": digest for words, digest in in_folder(demo, DEMO)})
        for seed in range(start, start + count):
            for kind, sheets in (("whole", whole(seed)), ("partial", partial(seed))):
                if kind == "whole" and not verdicts:
                    continue
                folder = write(sheets, Path(made) / f"{kind}-{seed}", settings(seed))
                lines = verdict_files(sheets) if verdicts else list(commands(seed, sheets))
                found.update({f"{kind} {seed}: {words}": digest for words, digest in in_folder(folder, lines)})
                shutil.rmtree(folder)
    return found


def main() -> None:
    """Write the digests to a file, or compare them with one."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--count", type=int, default=100)
    words.add_argument("--start", type=int, default=0)
    words.add_argument("--verdicts", action="store_true", help="verdict files alone")
    way = words.add_mutually_exclusive_group(required=True)
    way.add_argument("--write", type=Path)
    way.add_argument("--against", type=Path)
    asked = words.parse_args()
    found = what_is_said(asked.start, asked.count, asked.verdicts)
    if asked.write:
        asked.write.write_text(json.dumps(found, indent=0))
        print(f"{len(found)} command lines")
        return
    before = json.loads(asked.against.read_text())
    other = [line for line in sorted({*found, *before}) if found.get(line) != before.get(line)]
    for line in other:
        print(f"differs: {line}")
    print(f"{len(found)} command lines, {len(other)} say something else")
    sys.exit(1 if other else 0)


if __name__ == "__main__":
    main()
