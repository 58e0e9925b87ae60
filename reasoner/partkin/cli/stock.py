"""stock add, find, info, check, drop: many measured parts, and which of them go on."""

from __future__ import annotations

from contextlib import closing
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer
from typer import Argument, Option

from partkin.cli.shared import AsJson, Folder, Written, read_build, say_all
from partkin.model.problem import FaultyInput, refuse_any


class Against(StrEnum):
    """What may speak against a part besides its holes."""

    other_hand = "other hand"
    other_drive = "other drive"
    older_part_number = "older part number"


Stock = Annotated[Path, Argument(metavar="STOCK", help="Folder of the stock.")]
Graph = Annotated[
    str, Option("--graph", metavar="URL", help="SPARQL 1.1 server that keeps what is known of the parts besides.")
]


def add(
    files: Annotated[
        list[Path], Argument(metavar="FILE...", help="Build folders, Turtle, CSV or Parquet of features.")
    ],
    stock: Annotated[Path, Option("--to", metavar="STOCK", help="Folder of the stock; made if there is none.")],
    graph: Graph = "",
) -> None:
    """Add parts to a stock, all that are sound at once; what is faulty is listed in a file beside.

    A table has a row a feature, its columns named as in features.csv; those of parts.csv may stand there too. A part
    that the stock has already becomes its next version.

    Example: partkin stock add demo-build --to my-stock
    """
    from partkin.commands.progress import ProgressLine, Work
    from partkin.sheets import write_text
    from partkin.stock import storing
    from partkin.stock.incoming import told_in_file

    with closing(ProgressLine()) as line:
        try:
            added = storing.add(files, stock, graph, Work("", 0, line).beat)
        except FaultyInput as fault:
            raise FaultyInput(fault.problems[:MOST_SAID]) from fault
    typer.echo(f"{stock.as_posix()}: {added.new} new, {added.again} with a new version")
    if added.problems:
        beside = stock.with_name(f"{stock.resolve().name}.faults.csv")
        write_text(beside, "".join(told_in_file(added.problems)))
        say_all(added.problems[:MOST_SAID])
        typer.echo(f"{len(added.problems)} faults, whose parts stayed out: {beside.as_posix()}", err=True)


MOST_SAID = 20


def find(
    host: Annotated[str, Option("--for", metavar="HOST", help="Id of the host part.")],
    stock: Annotated[Path, Option("--from", metavar="STOCK", help="Folder of the stock.")],
    folder: Folder = Path("."),
    partly: Annotated[
        int | None, Option("--partly", metavar="N", min=1, help="Parts on which at least N fixings hold.")
    ] = None,
    without: Annotated[
        list[Against] | None, Option("--without", help="Leave out what this speaks against; may be repeated.")
    ] = None,
    in_full: Annotated[int, Option("--in-full", metavar="N", min=0, help="How many are checked in full.")] = 5,
    most: Annotated[int, Option("--most", metavar="N", min=1, help="How many the table shows.")] = 40,
    on: Annotated[str, Option("--on", metavar="tcp://HOST:PORT", help="Dask scheduler to share it out by.")] = "",
    graph: Graph = "",
    shape: Annotated[Written, Option("--as", help="table, csv or json.")] = Written.table,
    as_json: AsJson = False,
) -> None:
    """Find every part of a stock that goes on HOST, or may within what its readings say, best first.

    The first few are checked in full, as `partkin check` does. Ctrl-C ends it with no answer.

    Example: partkin stock find --for dash-frame --in demo-build --from my-stock
    """
    from partkin.commands import stocking
    from partkin.commands.progress import ProgressLine, Work
    from partkin.report.stock import stock_json, stock_rows, stock_text

    build = read_build(folder)
    with closing(ProgressLine()) as line:
        whole = stocking.find(
            build, host, stock, partly=partly, without=[one.value for one in without or ()], in_full=in_full, on=on,
            graph=graph, said=Work("", 0, line).beat,
        )  # fmt: skip
    if as_json or shape is Written.json:
        typer.echo(stock_json(whole), nl=False)
    elif shape is Written.csv:
        typer.echo(stock_rows(whole.answer.found, whole.checked, "csv"), nl=False)
    else:
        typer.echo(stock_text(whole, most), nl=False)


def info(stock: Stock) -> None:
    """Say what a stock holds.

    Example: partkin stock info my-stock
    """
    from partkin.stock import storing

    held = storing.read_manifest(stock)
    older = sum(one.gone_parts for one in held.partitions)
    typer.echo(
        f"{stock.as_posix()}: {held.parts} parts, {older} older versions or dropped\n"
        f"partitions: {len(held.partitions)}\nfeatures: {sum(one.features for one in held.partitions)}\n"
        f"graph: {held.graph or 'none'}"
    )


def check(stock: Stock) -> None:
    """Look through every file of a stock for damage.

    Example: partkin stock check my-stock
    """
    from partkin.stock import storing

    refuse_any(storing.examine(stock))
    typer.echo("No damage found.")


def drop(
    parts: Annotated[list[str], Argument(metavar="PART...", help="Ids of the parts.")],
    stock: Annotated[Path, Option("--from", metavar="STOCK", help="Folder of the stock.")],
) -> None:
    """Take parts out of what is found; their rows stay in the files.

    Example: partkin stock drop velt-dashboard.top-dask --from my-stock
    """
    from partkin.stock import storing

    typer.echo(f"{storing.drop(stock, parts)} dropped")
