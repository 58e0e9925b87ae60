"""new, demo, doctor, words, ask, export, import: build folders, what is wrong with one, and its graph."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer
from typer import Argument, Option

from partkin.cli.shared import Folder, Written, read_build, say_all
from partkin.model.problem import refused, told_once


def new(
    folder: Annotated[Path, Argument(metavar="FOLDER", help="Folder to make; it must be empty or not exist.")],
    example: Annotated[
        bool, Option("--example", help="With invented rows to overwrite; until then they are not read.")
    ] = False,
    given: Annotated[
        Path | None,
        Option("--from", metavar="FILE", help="Begin with a list of your own, or a workbook: .csv, .xlsx, .ods."),
    ] = None,
    columns: Annotated[
        list[str] | None,
        Option("--column", metavar="B=x_mm", help="What a column of FILE is, where its heading does not tell."),
    ] = None,
    unit: Annotated[str | None, Option("--unit", help="Unit of the lengths in FILE that do not say.")] = None,
    part: Annotated[str | None, Option("--part", help="Id of the part that FILE is of.")] = None,
    origin: Annotated[str | None, Option("--origin", help="host, original or donor: what that part is.")] = None,
    kind: Annotated[str | None, Option("--kind", help="What its features are: hole, stud, ...")] = None,
    between: Annotated[
        str | None, Option("--between", help="How its distances run: centres, near edges or far edges.")
    ] = None,
    instrument: Annotated[str | None, Option("--instrument", help="What its distances were read with.")] = None,
) -> None:
    """Write the sheets of a new build: headers alone, with rows to overwrite, or from a list of your own.

    What a list does not tell is asked, all at once, and nothing is written before it is answered.

    Example: partkin new my-build --from holes.csv --part wing --origin donor --kind hole --unit mm
    """
    from partkin.sheets import write_new

    if given is None:
        written = write_new(folder, example)
    else:
        from partkin.sheets import Answers, write_from

        said = dict(_two_sides(one) for one in columns or ())
        begun = write_from(folder, given, Answers(said, unit, part, origin, kind, between, instrument))
        written = begun.written
        for note in begun.notes:
            typer.echo(note, err=True)
    for path in written:
        typer.echo(path.as_posix())
    if given is not None:
        typer.echo(f"Look it over: partkin doctor {folder.as_posix()}")
        return
    first = "Overwrite the example's rows" if example else "List your parts in parts.csv, their holes in features.csv"
    typer.echo(f"{first}, then: partkin doctor {shlex.quote(folder.as_posix())}")


def _two_sides(said: str) -> tuple[str, str]:
    name, equals, means = said.partition("=")
    if not (name.strip() and equals and means.strip()):
        what = f"{said!r} does not say what a column is"
        raise refused("new", 0, "--column", what, "Write its letter and what it is: B=x_mm")
    tab, mark, place = name.strip().rpartition("!")
    return f"{tab}{mark}{place.upper()}", means.strip()


def demo(folder: Annotated[Path, Argument(metavar="FOLDER", help="Where to write it.")] = Path("demo-build")) -> None:
    """Write an invented build, check every donor of it, and say what to try next.

    Example: partkin demo
    """
    from partkin.commands import demonstration

    typer.echo(demonstration.run(folder), nl=False)


def doctor(
    folder: Annotated[Path, Argument(metavar="FOLDER", help="The build folder, or a workbook.")] = Path("."),
) -> None:
    """Look through every sheet and say every fault, where it is and how to mend it.

    Example: partkin doctor my-build
    """
    from partkin.commands.doubts import examine

    found = examine(folder)
    say_all(found.warnings)
    for line in told_once(found.problems):
        typer.echo(line)
    if found.problems:
        typer.echo(f"{len(found.problems)} fault{'s' if len(found.problems) != 1 else ''}; nothing was changed.")
        raise typer.Exit(2)
    typer.echo(f"No fault found in {', '.join(found.sheets)}.")
    if found.next_step:
        typer.echo(found.next_step)


def words() -> None:
    """Say what the words of verdicts, report and page mean, on one screen.

    Example: partkin words
    """
    from partkin.report.terms import words_text

    typer.echo(words_text(), nl=False)


def ask(
    query: Annotated[
        str, Argument(metavar="QUERY", help="Name of a query, a .rq file, or SPARQL text; `list` names them.")
    ],
    given: Annotated[
        list[str] | None,
        Argument(metavar="[PART]...", help="Of which parts a named query is asked; none: of every one."),
    ] = None,
    folder: Folder = Path("."),
    shape: Annotated[Written, Option("--as", help="table, csv or json.")] = Written.table,
    server: Annotated[
        str, Option("--graph", metavar="URL", help="Ask a SPARQL 1.1 server instead, such as that of a stock.")
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
        Option("--part", metavar="PART", help="One part only, with all that is known of it; may be repeated."),
    ] = None,
    people: Annotated[
        bool | None,
        Option(
            "--with-people/--without-people",
            help="Name who read and who sells: when left out, yes for a whole build, no for --part. Notes stay.",
        ),
    ] = None,
    to: Annotated[Path | None, Option("-o", metavar="FILE", help="Write to a file instead of standard output.")] = None,
) -> None:
    """Write the build, or some parts of it, as Turtle, the same bytes each time.

    Example: partkin export --part top-dask --in demo-build -o top-dask.ttl
    """
    from partkin import graph
    from partkin.commands import exchanging
    from partkin.sheets import write_text

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
        write_text(to, text, folder)
        typer.echo(f"wrote {to.as_posix()}")


def import_(
    file: Annotated[Path, Argument(metavar="FILE", help="Turtle, as partkin export writes it.")],
    folder: Folder = Path("."),
    skip_conflicts: Annotated[
        bool, Option("--skip-conflicts", help="Where they disagree, keep the folder's and add the rest.")
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
