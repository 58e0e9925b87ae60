"""check: will this donor go on?"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from partkin.cli.shared import AsJson, Donor, Folder, ForHost, read_build
from partkin.model.problem import FaultyInput, Problem
from partkin.model.words import EXIT_CODES


def check(
    donor: Donor,
    folder: Folder = Path("."),
    host: ForHost = None,
    as_json: AsJson = False,
    exit_code: Annotated[
        bool,
        typer.Option(
            "--exit-code",
            help="Exit 0 bolts on, 10 with adaptation, 11 does not fit, 12 not enough measured, 13 not judged.",
        ),
    ] = False,
) -> None:
    """Say whether DONOR goes on its host, how sure that is, and why.

    Example: partkin check top-kurm --in demo-build
    """
    from partkin import pipeline

    build = read_build(folder)
    verdict = pipeline.check(build, donor, host)
    if as_json:
        from partkin.report.verdict_file import verdict_json

        typer.echo(verdict_json(verdict), nl=False)
    else:
        from partkin.report.text import verdict_text

        typer.echo(verdict_text(verdict, build.settings.currency), nl=False)
    if exit_code:
        raise typer.Exit(EXIT_CODES[verdict.verdict])


def verify(
    file: Annotated[Path, typer.Argument(metavar="VERDICT.json", help="What check --json wrote.")],
    folder: Folder = Path("."),
) -> None:
    """Confirm a verdict file against the sheets in exact arithmetic, by code that shares none with the check.

    Example: partkin check top-kurm --in demo-build --json > v.json; partkin verify v.json --in demo-build
    """
    from partkin import pipeline
    from partkin.sheets.given_files import content_of
    from partkin.verify.verify import confirm

    mend = "Write it with: partkin check DONOR --json > FILE"
    try:
        tree = json.loads(content_of(file, mend))
    except (ValueError, UnicodeDecodeError) as fault:
        raise FaultyInput((Problem(file.name, 0, "json", f"this is no verdict file ({fault})", mend),)) from fault
    found = confirm(tree, pipeline.load_build(folder))
    for refusal in found.refused:
        typer.echo(f"refused: {refusal}")
    for taken in found.as_stated:
        typer.echo(f"taken as stated: {taken}")
    if found.refused:
        raise typer.Exit(1)
    typer.echo("confirmed")
