"""Files that somebody names read, and files written whole or not at all, never onto what a build is read from."""

from __future__ import annotations

import base64
import binascii
import contextlib
import json
import os
import secrets
import shlex
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from partkin.model.columns import BY_NAME, FILES
from partkin.model.problem import refused

try:
    import fcntl
except ImportError:  # no such module on Windows, where only the second look at the sheet guards it
    fcntl = None  # type: ignore[assignment]

ENDINGS = (".xlsx", ".xlsm", ".ods")
# What several sheets are to hold while they are being written; a later command finishes what a killed one began.
UNFINISHED = ".partkin-unfinished.json"


def is_workbook(path: Path) -> bool:
    """Whether a path names a workbook rather than a folder."""
    return path.suffix.lower() in ENDINGS and not path.is_dir()


def refuse_workbook(path: Path) -> None:
    """Refuse to write into a workbook.

    Raises
    ------
    FaultyInput
        It is one; with how to turn it into a folder.
    """
    if is_workbook(path):
        mend = f"Turn it into a folder, and work there: partkin new FOLDER --from {path.name}"
        raise refused(path.name, 0, "", "a workbook is only read; nothing was written", mend)


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
    pairs = {name: (before.get(name), content) for name, content in after.items()}
    noted = {name: [one if one is None else base64.b64encode(one).decode() for one in p] for name, p in pairs.items()}
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
            noted = {
                name: [None if text is None else base64.b64decode(text) for text in (old, new)]
                for name, (old, new) in json.loads(note.read_bytes()).items()
            }
        except (ValueError, TypeError, AttributeError, binascii.Error):
            noted = {}
        paths = {name: folder / name for name in noted if name in BY_NAME}
        now = {name: path.read_bytes() if path.is_file() else None for name, path in paths.items()}
        if all(now.get(name) in pair for name, pair in noted.items()):
            for name, (_, new) in noted.items():
                if new is not None and now[name] != new:
                    put_whole((folder / name).resolve(), new)
        note.unlink()
        sync(folder)


PHOTOS = "photos"
# What every browser shows.
PICTURES = {".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png", ".webp": "image/webp"}
# Written into every PNG of our own, so that an older one may be overwritten and a photograph not.
OWN_PICTURE = b"Software\x00partkin"
SHOWN_BYTES = 4096


def put(path: Path, content: bytes) -> None:
    """Write a file whole or not at all.

    Raises
    ------
    FaultyInput
        There is no such folder, or a folder of that name.
    """
    if not path.parent.is_dir():
        mend = "Make it first, or write elsewhere with -o"
        raise refused(path.name, 0, "", f"there is no folder {path.parent.as_posix()}", mend)
    if path.is_dir():
        raise refused(path.name, 0, "", "this is a folder", "Name a file in it with -o")
    put_whole(path, content)


def write_text(path: Path, text: str, folder: Path | None = None) -> None:
    """Write output whole or not at all; as `write_bytes`."""
    write_bytes(path, text.encode(), folder)


def write_bytes(path: Path, content: bytes, folder: Path | None = None) -> None:
    """Write output whole or not at all, and never onto a sheet or photograph of a build.

    `folder`: the build that it was made from, where it was made from one.

    Raises
    ------
    FaultyInput
        A build is read from there, or there is no such folder.
    """
    refuse_onto_a_build(path, folder)
    put(path, content)


def refuse_onto_a_build(path: Path, build: Path | None = None) -> None:
    """Refuse a place for output that a build is read from.

    `path`: where somebody wants output. `build`: the folder or workbook that was read; any other folder with a sheet in
    it counts as well.

    Raises
    ------
    FaultyInput
        It is a sheet, has the name of one beside other sheets, or is a photograph; links are followed.
    """
    whose = _whose(path, build)
    if whose is not None:
        what = f"{whose}, and output would take its place; nothing was written"
        raise refused(path.name, 0, "", what, "Give the output another name, or another folder")


def _whose(path: Path, build: Path | None) -> str | None:
    read_from = () if build is None else [build / name for name in FILES] if build.is_dir() else (build,)
    if any(_same(path, one) for one in read_from):
        return "the build is read from it"
    for place in dict.fromkeys((path.absolute(), path.resolve())):
        if place.name.casefold() in FILES and _has_sheets(place.parent):
            return "this is the name of a sheet, and there is a build beside it"
        kept = place.parent.name.casefold() == PHOTOS and _has_sheets(place.parent.parent)
        if kept or (_has_sheets(place.parent) and _is_photograph(place)):
            return "photographs of a build are kept there"
    return None


def _has_sheets(folder: Path) -> bool:
    try:
        return any(one.name.casefold() in FILES for one in folder.iterdir())
    except OSError:
        return False


def _same(path: Path, other: Path) -> bool:
    try:
        return path.samefile(other)
    except OSError:
        return False


def _is_photograph(path: Path) -> bool:
    if path.suffix.lower() not in PICTURES or not path.is_file():
        return False
    with path.open("rb") as file:
        return OWN_PICTURE not in file.read(SHOWN_BYTES)


def content_of(file: Path, mend: str, at_most: int | None = None) -> bytes:
    """Return the bytes of a file.

    `mend`: what to do where it cannot be read. `at_most`: bytes that are read; one more than it says tells that there
    are more.

    Raises
    ------
    FaultyInput
        There is no such file, or it cannot be read.
    """
    if not file.exists():
        raise refused(file.name, 0, "file", f"there is no file {file.as_posix()}", mend)
    if not file.is_file():
        raise refused(file.name, 0, "file", f"{file.as_posix()} is not a file", mend)
    try:
        with file.open("rb") as opened:
            return opened.read() if at_most is None else opened.read(at_most + 1)
    except OSError as fault:
        what = f"it cannot be read ({(fault.strerror or 'no reason was given').lower()})"
        raise refused(file.name, 0, "file", what, mend) from fault


def in_folder(folder: str) -> str:
    """How a command names its folder; nothing where that is the current one.

    Examples
    --------
    >>> in_folder("my build"), in_folder(".")
    (" --in 'my build'", '')
    """
    return "" if folder == "." else f" --in {shlex.quote(folder)}"
