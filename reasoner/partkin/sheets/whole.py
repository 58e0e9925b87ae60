"""Files put in place whole or not at all: one by one, and several sheets that make sense only together."""

from __future__ import annotations

import base64
import binascii
import contextlib
import json
import os
import secrets
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from partkin.model.columns import BY_NAME
from partkin.sheets.workbook import refuse_workbook

try:
    import fcntl
except ImportError:  # no such module on Windows, where only the second look at the sheet guards it
    fcntl = None  # type: ignore[assignment]

# What several sheets are to hold while they are being written; a later command finishes what a killed one began.
UNFINISHED = ".partkin-unfinished.json"


def put_whole(target: Path, content: bytes, unless: Callable[[], bool] = lambda: False) -> bool:
    """Put bytes in a file's place; False where `unless`, asked last, says that they must not be.

    They are written beside it under a new name, which no link can be waiting under, and are on the disk before they
    take its place.

    Raises
    ------
    OSError
        It cannot be written; the file is as it was.
    """
    beside = target.with_name(f".{target.name}.{secrets.token_hex(8)}.part")
    try:
        with open(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666), "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        with contextlib.suppress(OSError):
            os.chmod(beside, target.stat().st_mode & 0o7777)
        if unless():
            return False
        os.replace(beside, target)
    finally:
        with contextlib.suppress(OSError):
            beside.unlink()
    sync(target.parent)
    return True


def sync(path: Path) -> None:
    """Have a file or folder as it now is really on the disk, where the system can say so."""
    with contextlib.suppress(OSError):
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextlib.contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Keep other partkins from writing in the folder, and finish what a killed one began; a workbook is refused."""
    refuse_workbook(folder)
    handle = None
    if fcntl is not None:
        try:
            handle = os.open(folder, os.O_RDONLY)
            fcntl.flock(handle, fcntl.LOCK_EX)
        except OSError:  # some network drives cannot lock; the second look at the sheet still guards it
            pass
    try:
        _finish(folder)
        yield
    finally:
        if handle is not None:
            os.close(handle)


def finish_before_reading(folder: Path) -> None:
    """Finish what a killed command began; one that is still writing is waited for."""
    if (folder / UNFINISHED).exists():
        with alone(folder):
            pass


@contextlib.contextmanager
def together(folder: Path, before: Mapping[str, bytes], after: Mapping[str, bytes]) -> Iterator[None]:
    """Note what several sheets hold and are to hold, for as long as they are being written."""
    noted = {name: [_text(before.get(name)), _text(content)] for name, content in after.items()}
    put_whole(folder / UNFINISHED, json.dumps(noted).encode())
    try:
        yield
    finally:
        # A note that stays says what the sheets hold by now: the next command takes it away.
        with contextlib.suppress(OSError):
            (folder / UNFINISHED).unlink(missing_ok=True)
            sync(folder)


def _finish(folder: Path) -> None:
    """Complete the sheets of a command that was killed; where one was changed since, none is touched."""
    note = folder / UNFINISHED
    with contextlib.suppress(OSError):
        if not note.is_file():
            return
        try:
            noted = {name: (_bytes(old), _bytes(new)) for name, (old, new) in json.loads(note.read_bytes()).items()}
        except (ValueError, TypeError, AttributeError, binascii.Error):
            noted = {}
        now = {name: _content(folder / name) for name in noted if name in BY_NAME}
        if all(now.get(name) in pair for name, pair in noted.items()):
            for name, (_, new) in noted.items():
                if new is not None and now[name] != new:
                    put_whole((folder / name).resolve(), new)
        note.unlink()
        sync(folder)


def _content(path: Path) -> bytes | None:
    return path.read_bytes() if path.is_file() else None


def _text(content: bytes | None) -> str | None:
    return None if content is None else base64.b64encode(content).decode()


def _bytes(text: str | None) -> bytes | None:
    return None if text is None else base64.b64decode(text)
