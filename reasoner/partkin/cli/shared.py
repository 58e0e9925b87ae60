"""Options and words that several commands use alike."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from typer import Argument, Option

from partkin.model.problem import Problem, told_once

if TYPE_CHECKING:
    from partkin.model.build import Build

Folder = Annotated[
    Path,
    Option("--in", metavar="FOLDER", help="The build folder, or a workbook (.xlsx, .ods); this folder when left out."),
]
AsJson = Annotated[bool, Option("--json", help="Write JSON.")]
Donor = Annotated[str, Argument(metavar="DONOR", help="Id of the part that might go on.")]
ForHost = Annotated[
    str | None, Option("--for", metavar="HOST", help="Id of the host part; else what DONOR takes the place of.")
]


class Written(StrEnum):
    """How an answer is written."""

    table = "table"
    csv = "csv"
    json = "json"


def read_build(folder: Path) -> Build:
    """Read a build folder; its warnings go to standard error."""
    from partkin import pipeline

    build, warnings = pipeline.read(folder)
    say_all(warnings, folder)
    return build


def say_all(problems: Iterable[Problem], folder: Path | None = None) -> None:
    """Warnings and faults go to standard error, one a line.

    How the sheets of a folder are written is said in one line, and once: where it was said before, the user's cache
    folder tells.
    """
    from partkin.sheets.dialect import AS_WRITTEN

    listed = tuple(problems)
    for line in told_once(one for one in listed if one.mend != AS_WRITTEN):
        print(line, file=sys.stderr)
    notes: dict[str, list[str]] = {}
    for one in listed:
        if one.mend == AS_WRITTEN and (folder is None or _is_new(folder, one)):
            notes.setdefault(one.what, []).append(one.sheet)
    if notes:
        line = "; ".join(f"{', '.join(sheets)}: {what}" for what, sheets in notes.items())
        print(f"{line}. {AS_WRITTEN}", file=sys.stderr)


def _is_new(folder: Path, note: Problem) -> bool:
    """Whether this was not said of this file before; from now on it was."""
    from hashlib import sha256

    from partkin.tables.reader import cache_file, keep

    name = f"{folder.resolve()}\n{note.sheet}\n{note.what}"
    file = cache_file(f"said-{sha256(name.encode()).hexdigest()[:32]}")
    if file is None or file.exists():
        return file is None
    keep(file, "")
    return True
