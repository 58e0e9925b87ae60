"""ask, export, import: the graph for those who want it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partkin.cli.shared import Folder, Written, read_build, say_all


def ask(
    query: Annotated[
        str, typer.Argument(metavar="QUERY", help="Name of a query, a .rq file, or SPARQL text; `list` names them.")
    ],
    given: Annotated[
        list[str] | None,
        typer.Argument(metavar="[PART]...", help="Of which parts a named query is asked; none: of every one."),
    ] = None,
    folder: Folder = Path("."),
    shape: Annotated[Written, typer.Option("--as", help="table, csv or json.")] = Written.table,
    server: Annotated[
        str, typer.Option("--graph", metavar="URL", help="Ask a SPARQL 1.1 server instead, such as that of a stock.")
    ] = "",
) -> None:
    """Ask the graph of the build a question in SPARQL; read only.

    Example: partkin ask features top-dask --in demo-build
    """
    from partkin import graph
    from partkin.report.rows import rows_text

    if server:
        answer, notes = graph.ask_server(server, " ".join([query, *(given or ())]))
        say_all(notes)
        typer.echo(rows_text(answer, shape.value), nl=False)
        return
    build = read_build(folder)
    answer, notes = graph.ask(graph.graph_of(build), " ".join([query, *(given or ())]))
    say_all(notes)
    typer.echo(rows_text(answer, shape.value), nl=False)


def export(
    folder: Folder = Path("."),
    parts: Annotated[
        list[str] | None,
        typer.Option("--part", metavar="PART", help="One part only, with all that is known of it; may be repeated."),
    ] = None,
    people: Annotated[
        bool | None,
        typer.Option(
            "--with-people/--without-people",
            help="Name who read and who sells: when left out, yes for a whole build, no for --part. Notes stay.",
        ),
    ] = None,
    to: Annotated[
        Path | None, typer.Option("-o", metavar="FILE", help="Write to a file instead of standard output.")
    ] = None,
) -> None:
    """Write the build, or some parts of it, as Turtle, the same bytes each time.

    Example: partkin export --part top-dask --in demo-build -o top-dask.ttl
    """
    from partkin import graph
    from partkin.commands import exchanging
    from partkin.sheets import outputs

    build = read_build(folder)
    if parts:
        build, left_out = exchanging.of_parts(build, parts)
        for text in left_out:
            typer.echo(f"left out, it names a part that is not in the file: {text}", err=True)
    if not (people if people is not None else not parts):
        build = exchanging.without_people(build)
    text = graph.export_turtle(build)
    if to is None:
        typer.echo(text, nl=False)
    else:
        outputs.write_text(to, text, folder)
        typer.echo(f"wrote {to.as_posix()}")


def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Turtle, as partkin export writes it.")],
    folder: Folder = Path("."),
    skip_conflicts: Annotated[
        bool, typer.Option("--skip-conflicts", help="Where they disagree, keep the folder's and add the rest.")
    ] = False,
) -> None:
    """Add what another workshop's file knows to the sheets: new rows only, all or none, nothing overwritten.

    Nothing is fetched. Files over 64 MB or 200000 statements, blank nodes and texts over 10000 letters are refused.
    Up to 20000 statements are held against the shapes; more than that against the sheets' own checks alone.

    Example: partkin import top-dask.ttl --in my-build
    """
    from partkin.commands import exchanging
    from partkin.report.exchange import taken_text

    taking, warnings = exchanging.take_in(file, folder, skip_conflicts)
    say_all(warnings, folder)
    counts = {sheet: len(rows) for sheet, rows in taking.rows.items()}
    conflicts = tuple(f"{one.sheet}, {one.what}" for one in taking.conflicts)
    said = taken_text(
        folder.as_posix(), counts, taking.there, taking.skipped or {}, conflicts, taking.fuller, taking.notes
    )
    typer.echo(said, nl=False)
