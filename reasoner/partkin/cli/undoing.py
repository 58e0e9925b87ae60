"""strip, refit: getting a part out and back in with the least that must be undone."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partkin.cli.shared import Folder, read_build, say_all

Wanted = Annotated[
    str, typer.Argument(metavar="PART", help="Id of the part to free: on the car, or on a donor assembly.")
]
Done = Annotated[str, typer.Option("--done", help="Numbers of the steps that are done, as 3,4,7.")]
Without = Annotated[
    list[str] | None, typer.Option("--without", help="A fastener that will not come: plan without undoing it.")
]


def strip(
    part: Wanted,
    folder: Folder = Path("."),
    done: Done = "",
    without: Without = None,
    stuck: Annotated[
        str | None, typer.Option("--stuck", help="A fastener or part that will not move: what holds it?")
    ] = None,
    labels: Annotated[bool, typer.Option("--labels", help="Print the bag labels only.")] = False,
    drawing: Annotated[Path | None, typer.Option("--drawing", help="Write what holds what as SVG.")] = None,
    original: Annotated[
        str | None,
        typer.Option("--across-from", metavar="ORIGINAL", help="What to move across from it. For a donor said anyway."),
    ] = None,
) -> None:
    """Plan the least work that frees PART: what to undo in which order, and what to leave alone.

    Example: partkin strip top-velt --in demo-build
    """
    from partkin.sheets import outputs
    from partkin.strip import StripQuestion, answer, step_numbers

    if drawing is not None:
        outputs.refuse_onto_a_build(drawing, folder)
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

        outputs.write_text(drawing, plan_file(found.plan), folder)
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
