"""adapt, worklist, strip, refit: the work at a donor, and getting a part out and back in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from typer import Argument, Option

from partkin.cli.shared import Donor, Folder, ForHost, read_build, say_all


def adapt(donor: Donor, folder: Folder = Path("."), host: ForHost = None) -> None:
    """List the cheapest work that makes DONOR go on, the next ways of doing it, and what is ruled out.

    Example: partkin adapt top-dask --in demo-build
    """
    from partkin import pipeline
    from partkin.report.bench import adapt_text

    build = read_build(folder)
    typer.echo(adapt_text(pipeline.check(build, donor, host), build.settings.currency), nl=False)


def worklist(donor: Donor, folder: Folder = Path("."), host: ForHost = None) -> None:
    """Write the bench sheet of DONOR: steps in order with marking-out, tools, cautions and checks, to tick off.

    Example: partkin worklist top-dask --in demo-build
    """
    from partkin.commands import seeing
    from partkin.report.bench import no_work_text, worklist_text

    build = read_build(folder)
    verdict, steps = seeing.bench(build, donor, host)
    if not steps:
        typer.echo(no_work_text(verdict, build.settings.currency), nl=False)
        return
    typer.echo(worklist_text(verdict, steps), nl=False)


Wanted = Annotated[str, Argument(metavar="PART", help="Id of the part to free: on the car, or on a donor assembly.")]
Done = Annotated[str, Option("--done", help="Numbers of the steps that are done, as 3,4,7.")]
Without = Annotated[
    list[str] | None, Option("--without", help="A fastener that will not come: plan without undoing it.")
]


def strip(
    part: Wanted,
    folder: Folder = Path("."),
    done: Done = "",
    without: Without = None,
    stuck: Annotated[
        str | None, Option("--stuck", help="A fastener or part that will not move: what holds it?")
    ] = None,
    labels: Annotated[bool, Option("--labels", help="Print the bag labels only.")] = False,
    drawing: Annotated[Path | None, Option("--drawing", help="Write what holds what as SVG.")] = None,
    original: Annotated[
        str | None,
        Option("--across-from", metavar="ORIGINAL", help="What to move across from it. For a donor said anyway."),
    ] = None,
) -> None:
    """Plan the least work that frees PART: what to undo in which order, and what to leave alone.

    Example: partkin strip top-velt --in demo-build
    """
    from partkin.sheets import refuse_onto_a_build, write_text
    from partkin.strip import StripQuestion, answer, step_numbers

    if drawing is not None:
        refuse_onto_a_build(drawing, folder)
    build = read_build(folder)
    asked = StripQuestion(part, step_numbers(done), tuple(without or ()), stuck, original, folder.as_posix())
    found = answer(build, asked)
    say_all(found.warnings, folder)
    if labels and found.labels:
        typer.echo("\n".join(found.labels))
    else:
        typer.echo("\n".join(found.lines))
    if drawing is not None and found.plan is not None:
        from partkin.drawing.plan_drawing import plan_file

        write_text(drawing, plan_file(found.plan), folder)
        typer.echo(f"wrote {drawing.as_posix()}", err=True)
    if found.plan is None:
        raise typer.Exit(1)


def refit(part: Wanted, folder: Folder = Path("."), without: Without = None) -> None:
    """Write the way back: the plan of strip in reverse, with the maker's torques that the sheet gives and no others.

    Example: partkin refit top-velt --in demo-build
    """
    from partkin.strip import way_back

    build = read_build(folder)
    lines, planned = way_back(build, part, tuple(without or ()), folder.as_posix())
    typer.echo("\n".join(lines))
    if not planned:
        raise typer.Exit(1)
