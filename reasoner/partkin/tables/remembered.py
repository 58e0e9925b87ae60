"""What was worked out or said before, kept in the user's cache folder; nothing is lost where it cannot be."""

from __future__ import annotations

import os
from pathlib import Path


def cache_file(name: str) -> Path | None:
    """Return where a file of that name is kept; None where no home folder can be told."""
    home = os.environ.get("XDG_CACHE_HOME") or ""
    try:
        # The specification says: a relative path is ignored.
        folder = Path(home) if home and Path(home).is_absolute() else Path.home() / ".cache"
    except RuntimeError:
        return None
    return folder / "partkin" / name


def keep(file: Path, text: str) -> None:
    """Write a file of the cache whole; a cache that cannot be written is done without."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        part = file.with_suffix(f".{os.getpid()}.part")
        part.write_text(text, encoding="utf-8")
        part.replace(file)
    except OSError:
        return
