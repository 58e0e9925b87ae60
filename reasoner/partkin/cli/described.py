"""Every command on one page of Markdown, made from the commands themselves: python -m partkin.cli.described."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import typer

HEAD = """# The commands

Made from the commands themselves by `python -m partkin.cli.described > docs/commands.md`; a test holds it up to date.
`partkin COMMAND --help` says the same. `partkin --install-completion` teaches the shell to complete names and options.

Exit codes: 0 an answer was reached, whichever; 2 faulty input (every fault on standard error, nothing changed); 1
anything else. `--in` is the current folder when left out.
"""


def commands() -> Iterator[tuple[str, Any, Any]]:
    """Go through the commands in the order of the help: full name, command, context; groups are gone into."""
    from partkin.cli.app import app

    group = typer.main.get_command(app)
    yield from _within(group, group.context_class(group, info_name="partkin"))


def _within(group: Any, context: Any) -> Iterator[tuple[str, Any, Any]]:
    for name, command in group.commands.items():
        inner = command.context_class(command, info_name=name, parent=context)
        if getattr(command, "commands", None):
            yield from _within(command, inner)
        else:
            yield inner.command_path, command, inner


def examples(command: Any) -> tuple[str, ...]:
    """The command lines of a command's example, which is the last paragraph of its help.

    A line may hold several, with `; ` between them.
    """
    last = (command.help or "").strip().split("\n\n")[-1]
    if not last.startswith("Example: "):
        return ()
    return tuple(line.strip() for line in " ".join(last.removeprefix("Example: ").split()).split("; "))


def page() -> str:
    """The page, ending in a newline."""
    pieces = [HEAD]
    for path, command, context in commands():
        usage = re.sub(r"\s+", " ", command.get_usage(context)).removeprefix("Usage: ")
        parts = (command.help or "").split("\n\n")
        said = [" ".join(part.split()) for part in parts if not part.startswith("Example: ")]
        pieces.append(f"## {path}\n\n`{usage}`\n\n" + "\n\n".join(said) + "\n")
        rows = [record for record in (one.get_help_record(context) for one in command.params) if record]
        if rows:
            lines = [f"| {_cell(names, code=True)} | {_cell(text)} |" for names, text in rows]
            pieces.append("| word | means |\n| --- | --- |\n" + "\n".join(lines) + "\n")
        pieces.append("```sh\n" + "\n".join(examples(command)) + "\n```\n")
    return "\n".join(pieces)


def _cell(text: str, code: bool = False) -> str:
    plain = " ".join(text.split()).replace("|", "\\|")
    return f"`{plain}`" if code else plain


if __name__ == "__main__":
    print(page(), end="")
