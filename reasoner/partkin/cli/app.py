"""The command line as a whole: its commands, and how faults and interruptions end it."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from partkin.model.problem import FaultyInput, told_once
from partkin.model.version import __version__

# Every command by what is typed, in the order of the help: the module of this room and its function.
COMMANDS = {
    "new": "folders.new", "demo": "folders.demo", "doctor": "folders.doctor", "words": "folders.words",
    "check": "choosing.check", "verify": "choosing.verify",
    "record": "measuring.record", "positions": "measuring.positions", "measure-next": "measuring.measure_next",
    "photo": "measuring.photo", "same-shape": "measuring.same_shape",
    "adapt": "bench.adapt", "worklist": "bench.worklist",
    "why": "choosing.why", "rank": "choosing.rank", "costs": "choosing.costs", "outcome": "choosing.outcome",
    "score": "choosing.score", "strip": "bench.strip", "refit": "bench.refit",
    "report": "seeing.report", "template": "seeing.template", "plot": "seeing.plot", "outline": "seeing.outline",
    "page": "seeing.page", "ask": "folders.ask", "export": "folders.export", "import": "folders.import_",
}  # fmt: skip
GROUPS = {
    "offers": ("Listings of parts.", {"import": "choosing.import_offers"}),
    "stock": ("Many measured parts: which of them go on.", {
        "add": "stock.add", "find": "stock.find", "info": "stock.info", "check": "stock.check", "drop": "stock.drop",
    }),
}  # fmt: skip


class _Commands(Mapping[str, Any]):
    """The commands, each made when it is asked for: a check needs none of the others."""

    def __iter__(self) -> Iterator[str]:
        return iter((*COMMANDS, *GROUPS))

    def __len__(self) -> int:
        return len(COMMANDS) + len(GROUPS)

    def __getitem__(self, name: str) -> Any:
        says, inner = GROUPS[name] if name in GROUPS else (None, {name: COMMANDS[name]})
        made = typer.Typer(help=says, no_args_is_help=True, rich_markup_mode=None, add_completion=False)
        for command, function in inner.items():
            module, called = function.split(".")
            # Values such as -3 would else be taken for options.
            settings = {"ignore_unknown_options": True} if command == "record" else None
            made.command(command, context_settings=settings)(getattr(import_module(f"partkin.cli.{module}"), called))
        if name in GROUPS:
            made.callback()(lambda: None)
        found = typer.main.get_command(made)
        found.name = name
        return found


class _Whole(TyperGroup):
    def __init__(self, **words: Any) -> None:
        super().__init__(**words)
        self.commands = _Commands()  # type: ignore[assignment]


app = typer.Typer(
    name="partkin",
    cls=_Whole,
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
