"""The command line as a whole: its commands, and how faults and interruptions end it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Annotated

import typer

from partkin.cli import bench, choosing, folders, measuring, seeing, stock
from partkin.model.problem import FaultyInput, told_once
from partkin.model.version import __version__

app = typer.Typer(
    name="partkin",
    help=(
        "Will a part from a sister model bolt on? Sheets in a folder go in; one of five verdicts comes out: bolts on, "
        "bolts on with adaptation, does not fit, not enough measured, not judged."
    ),
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

# What each extra of pyproject.toml brings, by the name that it is imported by.
EXTRAS = {
    "starlette": "page", "uvicorn": "page", "multipart": "page", "python_multipart": "page", "reportlab": "drawings",
    "ezdxf": "drawings", "python_calamine": "workbooks", "pandas": "frames",
    "pyarrow": "stock", "distributed": "stock",
}  # fmt: skip
# What typer makes of Ctrl-C.
INTERRUPTED = 130


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"partkin {__version__}")
        raise typer.Exit


@app.callback()
def _whole(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say the version.")
    ] = False,
) -> None:
    pass


# Every command by what is typed, in the order of the help.
COMMANDS: dict[str, Callable[..., None]] = {
    "new": folders.new, "demo": folders.demo, "doctor": folders.doctor, "words": folders.words,
    "check": choosing.check, "verify": choosing.verify,
    "record": measuring.record, "positions": measuring.positions, "measure-next": measuring.measure_next,
    "photo": measuring.photo, "same-shape": measuring.same_shape,
    "adapt": bench.adapt, "worklist": bench.worklist,
    "why": choosing.why, "rank": choosing.rank, "costs": choosing.costs, "outcome": choosing.outcome,
    "score": choosing.score, "strip": bench.strip, "refit": bench.refit,
    "report": seeing.report, "template": seeing.template, "plot": seeing.plot, "outline": seeing.outline,
    "page": seeing.page, "ask": folders.ask, "export": folders.export, "import": folders.import_,
}  # fmt: skip
GROUPS: dict[str, tuple[str, dict[str, Callable[..., None]]]] = {
    "offers": ("Listings of parts.", {"import": choosing.import_offers}),
    "stock": ("Many measured parts: which of them go on.", {
        "add": stock.add, "find": stock.find, "info": stock.info, "check": stock.check, "drop": stock.drop,
    }),
}  # fmt: skip

for name, command in COMMANDS.items():
    # Values such as -3 would else be taken for options.
    app.command(name, context_settings={"ignore_unknown_options": True} if name == "record" else None)(command)
for name, (says, commands) in GROUPS.items():
    group = typer.Typer(help=says, no_args_is_help=True, rich_markup_mode=None)
    for inner, command in commands.items():
        group.command(inner)(command)
    app.add_typer(group, name=name)


def run() -> None:
    """Run a command: 0 answered, 2 faulty input (every fault on standard error), 1 anything else."""
    from partkin.commands.progress import on_terminal

    try:
        with on_terminal():
            app()
    except FaultyInput as fault:
        for line in told_once(fault.problems):
            print(line, file=sys.stderr)
        sys.exit(2)
    except BrokenPipeError:
        sys.exit(1)
    except SystemExit as end:
        if end.code != INTERRUPTED:
            raise
        print("stopped; nothing was changed", file=sys.stderr)
        sys.exit(1)
    except ModuleNotFoundError as missing:
        package = (missing.name or "").split(".")[0]
        if package not in EXTRAS:
            raise
        print(
            f"this needs the package {package}, which is not installed. "
            f"Install it: python -m pip install 'partkin[{EXTRAS[package]}]'",
            file=sys.stderr,
        )
        sys.exit(2)
    except (OSError, RuntimeError) as failure:
        print(f"partkin could not answer: {failure}", file=sys.stderr)
        sys.exit(1)
