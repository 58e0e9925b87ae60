"""Files that somebody names: their bytes, or in words why there are none; and how a command names its folder."""

from __future__ import annotations

import shlex
from pathlib import Path

from partkin.model.problem import FaultyInput, Problem


def content_of(file: Path, mend: str, at_most: int | None = None) -> bytes:
    """Return the bytes of a file.

    Parameters
    ----------
    file
    mend
        What to do where it cannot be read.
    at_most
        Bytes that are read; one more than it says tells that there are more.

    Raises
    ------
    FaultyInput
        There is no such file, or it cannot be read.
    """
    if not file.exists():
        raise FaultyInput((Problem(file.name, 0, "file", f"there is no file {file.as_posix()}", mend),))
    if not file.is_file():
        raise FaultyInput((Problem(file.name, 0, "file", f"{file.as_posix()} is not a file", mend),))
    try:
        with file.open("rb") as opened:
            return opened.read() if at_most is None else opened.read(at_most + 1)
    except OSError as fault:
        what = f"it cannot be read ({(fault.strerror or 'no reason was given').lower()})"
        raise FaultyInput((Problem(file.name, 0, "file", what, mend),)) from fault


def in_folder(folder: str) -> str:
    """How a command names its folder; nothing where that is the current one.

    Examples
    --------
    >>> in_folder("my build"), in_folder(".")
    (" --in 'my build'", '')
    """
    return "" if folder == "." else f" --in {shlex.quote(folder)}"
