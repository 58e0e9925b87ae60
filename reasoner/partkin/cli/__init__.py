"""The commands. Thin: each reads its words, calls the pipeline and prints."""

from __future__ import annotations


def main() -> None:
    """Run the command line."""
    from partkin.cli.app import run

    run()
