"""ask, export: the graph for those who want it."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from partkin.cli.shared import Folder, say_all


class Shape(StrEnum):
    """How the rows of an answer are written."""

    table = "table"
    csv = "csv"
    json = "json"


def register(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command("ask")(ask)
    app.command("export")(export)


def ask(
    query: Annotated[
        str, typer.Argument(metavar="QUERY", help="Name of a query, a .rq file, or SPARQL text; `list` names them.")
    ],
    folder: Folder = Path("."),
    shape: Annotated[Shape, typer.Option("--as", help="table, csv or json.")] = Shape.table,
) -> None:
    """Ask the graph of the build a question in SPARQL; read only.

    Example: partkin ask candidates --in demo-build
    """
    from partkin import pipeline
    from partkin.report.rows import rows_text

    build, warnings = pipeline.read(folder)
    say_all(warnings)
    answer, notes = pipeline.ask(build, query)
    say_all(notes)
    typer.echo(rows_text(answer, shape.value), nl=False)


def export(
    folder: Folder = Path("."),
    to: Annotated[
        Path | None, typer.Option("-o", metavar="FILE", help="Write to a file instead of standard output.")
    ] = None,
) -> None:
    """Write the build as Turtle, the same bytes each time.

    Example: partkin export --in demo-build -o build.ttl
    """
    from partkin import pipeline

    build, warnings = pipeline.read(folder)
    say_all(warnings)
    text = pipeline.export(build)
    if to is None:
        typer.echo(text, nl=False)
    else:
        pipeline.write_text(to, text)
        typer.echo(f"wrote {to.as_posix()}")
