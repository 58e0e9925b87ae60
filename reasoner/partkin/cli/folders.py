"""new, demo, doctor: making a build folder and finding what is wrong with one."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer

from partkin.cli.shared import say_all
from partkin.model.problem import told_once


def register(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command("new")(new)
    app.command("demo")(demo)
    app.command("doctor")(doctor)


def new(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder to make; it must be empty or not exist.")],
    example: Annotated[
        bool, typer.Option("--example", help="With invented rows to overwrite; until then they are not read.")
    ] = False,
) -> None:
    """Write the sheets of a new build: headers alone, or with rows to overwrite.

    Example: partkin new my-build
    """
    from partkin import pipeline

    for path in pipeline.new_folder(folder, example):
        typer.echo(path.as_posix())
    first = "Overwrite the example's rows" if example else "List your parts in parts.csv, their holes in features.csv"
    typer.echo(f"{first}, then: partkin doctor {shlex.quote(folder.as_posix())}")


def demo(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where to write it.")] = Path("demo-build"),
) -> None:
    """Write an invented build, check every donor of it, and say what to try next.

    Example: partkin demo
    """
    from partkin import demonstration

    typer.echo(demonstration.run(folder), nl=False)


def doctor(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The build folder, or a workbook.")] = Path("."),
) -> None:
    """Look through every sheet and say every fault, where it is and how to mend it.

    Example: partkin doctor my-build
    """
    from partkin import pipeline

    problems, warnings, sheets = pipeline.examine(folder)
    say_all(warnings)
    for line in told_once(problems):
        typer.echo(line)
    if problems:
        typer.echo(f"{len(problems)} fault{'s' if len(problems) != 1 else ''}; nothing was changed.")
        raise typer.Exit(2)
    typer.echo(f"No fault found in {', '.join(sheets)}.")
