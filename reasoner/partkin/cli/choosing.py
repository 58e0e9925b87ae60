"""check, verify, why, rank, costs, outcome, score: will it go on, which way to go, and what it comes to."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer
from typer import Argument, Option

from partkin.cli.shared import AsJson, Donor, Folder, ForHost, Written, read_build
from partkin.model.problem import refused
from partkin.model.words import EXIT_CODES


def check(
    donor: Donor,
    folder: Folder = Path("."),
    host: ForHost = None,
    as_json: AsJson = False,
    exit_code: Annotated[
        bool,
        Option(
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
    file: Annotated[Path, Argument(metavar="VERDICT.json", help="What check --json wrote.")], folder: Folder = Path(".")
) -> None:
    """Confirm a verdict file against the sheets in exact arithmetic, by code that shares none with the check.

    Example: partkin check top-kurm --in demo-build --json > v.json; partkin verify v.json --in demo-build
    """
    from partkin import pipeline
    from partkin.sheets import content_of
    from partkin.verify.verify import confirm

    mend = "Write it with: partkin check DONOR --json > FILE"
    try:
        tree = json.loads(content_of(file, mend))
    except (ValueError, UnicodeDecodeError) as fault:
        raise refused(file.name, 0, "json", f"this is no verdict file ({fault})", mend) from fault
    found = confirm(tree, pipeline.load_build(folder))
    for refusal in found.refused:
        typer.echo(f"refused: {refusal}")
    for taken in found.as_stated:
        typer.echo(f"taken as stated: {taken}")
    if found.refused:
        raise typer.Exit(1)
    typer.echo("confirmed")


def why(
    donor: Donor,
    folder: Folder = Path("."),
    host: ForHost = None,
    other: Annotated[bool, Option("--not", help="Say what would have to be true for another verdict.")] = False,
) -> None:
    """Tell why DONOR got its verdict, reason under reason, or with --not what would give another.

    Example: partkin why top-dask --not --in demo-build
    """
    from partkin.commands import explaining
    from partkin.report.explaining import chain_text, changes_text

    build = read_build(folder)
    if not other:
        verdict, disagreeing = explaining.verdict_and_disagreements(build, donor, host)
        typer.echo(chain_text(verdict, [(one.says, one.decides) for one in disagreeing]), nl=False)
        return
    verdict, changes = explaining.explain(build, donor, host)
    typer.echo(changes_text(verdict, [(change.says, change.source) for change in changes]), nl=False)


def rank(
    folder: Folder = Path("."),
    host: ForHost = None,
    shape: Annotated[Written, Option("--as", help="table, csv or json.")] = Written.table,
) -> None:
    """Put all ways side by side: donors, repair, new and custom, with what each costs and risks.

    Ctrl-C ends the checks early; donors checked by then are ranked, and the rest named.

    Example: partkin rank --for dash-frame --in demo-build
    """
    from partkin.commands import ranking
    from partkin.commands.progress import ProgressLine, Work
    from partkin.report.ranking import as_json, ranking_csv, ranking_text

    build = read_build(folder)
    line = ProgressLine()
    work = Work("donors", 0, line)
    found = ranking.rank(build, host, work)
    line.close()
    write = {Written.table: ranking_text, Written.csv: ranking_csv, Written.json: as_json}[shape]
    typer.echo(write(found), nl=False)
    if work.undone:
        typer.echo(f"Stopped before all were checked; not ranked: {', '.join(work.undone)}.", err=True)
        raise typer.Exit(1)


def costs(folder: Folder = Path("."), host: ForHost = None, as_json: AsJson = False) -> None:
    """Say what the build has cost so far, by kind, and what it comes to after each way.

    Example: partkin costs --for dash-frame --in demo-build
    """
    from partkin.commands import ranking
    from partkin.report import ranking as shown

    build = read_build(folder)
    found = ranking.costs(build, host)
    typer.echo(shown.as_json(found) if as_json else shown.total_text(found), nl=False)


def import_offers(
    file: Annotated[Path, Argument(metavar="FILE", help="CSV, or JSON-LD with schema.org Product and Offer.")],
    folder: Folder = Path("."),
) -> None:
    """Add listings to offers.csv; nothing is fetched, and what is listed already stays as it is.

    Example: partkin offers import listings.csv --in demo-build
    """
    from partkin.sheets import append_all, read_listings

    build = read_build(folder)
    found = read_listings(file, build)
    if found.rows:
        append_all(folder, {"offers.csv": found.rows})
    for text in found.left_out:
        typer.echo(f"left out: {text}")
    typer.echo(f"{len(found.rows)} added to offers.csv")


def outcome(
    donor: Donor,
    happened: Annotated[str, Option("--happened", help="What really happened: begin with fits or did not fit.")],
    folder: Folder = Path("."),
    on: Annotated[str | None, Option("--on", help="Day, ISO 8601.")] = None,
    note: Annotated[str | None, Option("--note", help="Anything you like.")] = None,
) -> None:
    """Keep what really happened, beside the verdict and the chance of now.

    Example: partkin outcome top-kurm --happened "fits, all eight by hand" --on 2026-03-01 --in demo-build
    """
    from partkin import pipeline
    from partkin.choosing.costing import chance_of
    from partkin.choosing.score import went_on
    from partkin.sheets import append_all

    build = read_build(folder)
    verdict = pipeline.check(build, donor)
    chance = chance_of(verdict, build.settings.confidence)
    row = {
        "donor": donor, "on": on or "", "verdict_then": verdict.verdict, "happened": happened, "note": note or "",
        "chance_then": "" if chance is None else f"{chance:.4g}",
    }  # fmt: skip
    append_all(folder, {"outcomes.csv": (row,)})
    typer.echo(f"kept: {donor}, {verdict.verdict} then; {happened}")
    if went_on(happened) is None:
        typer.echo("score leaves it out: it begins neither with fits nor with did not fit", err=True)


def score(folder: Folder = Path("."), as_json: AsJson = False) -> None:
    """Show how the stated chances have fared.

    Example: partkin score --in demo-build
    """
    from partkin.commands import ranking
    from partkin.report import ranking as shown

    build = read_build(folder)
    found = ranking.score(build)
    typer.echo(shown.as_json(found) if as_json else shown.score_text(found), nl=False)
