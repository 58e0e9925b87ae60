"""Options and words that several commands use alike."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer

from partkin.model.problem import Problem

Folder = Annotated[
    Path, typer.Option("--in", metavar="FOLDER", help="The build folder; the current one when left out.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Write JSON.")]
Donor = Annotated[str, typer.Argument(metavar="DONOR", help="Id of the part that might go on.")]
ForHost = Annotated[
    str | None, typer.Option("--for", metavar="HOST", help="Id of the host part; else what DONOR takes the place of.")
]


def say_all(problems: Iterable[Problem]) -> None:
    """Warnings and faults go to standard error, one a line."""
    for problem in problems:
        print(problem, file=sys.stderr)
