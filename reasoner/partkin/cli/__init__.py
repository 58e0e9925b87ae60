"""The commands. Thin: each reads its words, calls the pipeline and prints."""

from __future__ import annotations

import gc


def main() -> None:
    """Run the command line."""
    # Nearly all that a command makes it keeps to its end: looking for garbage before that, and taking all of it apart
    # then, would be a quarter of a check.
    gc.set_threshold(200_000, 20, 20)
    from partkin.cli.app import run

    try:
        run()
    finally:
        gc.freeze()
