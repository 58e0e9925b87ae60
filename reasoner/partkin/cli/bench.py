"""adapt, worklist: what to do to a donor, and the sheet to do it by."""

from __future__ import annotations

from pathlib import Path

import typer

from partkin.cli.shared import Donor, Folder, ForHost, read_build


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
    from partkin.commands import bench
    from partkin.report.bench import no_work_text, worklist_text

    build = read_build(folder)
    verdict, steps = bench.bench(build, donor, host)
    if not steps:
        typer.echo(no_work_text(verdict, build.settings.currency), nl=False)
        return
    typer.echo(worklist_text(verdict, steps), nl=False)
