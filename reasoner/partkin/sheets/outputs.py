"""Files that are written: whole or not at all, and never onto what a build is read from."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from partkin.model.problem import FaultyInput, Problem
from partkin.sheets.whole import put_whole

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
        raise FaultyInput((Problem(path.name, 0, "", f"there is no folder {path.parent.as_posix()}", mend),))
    if path.is_dir():
        raise FaultyInput((Problem(path.name, 0, "", "this is a folder", "Name a file in it with -o"),))
    put_whole(path, content)


def write_text(path: Path, text: str, folder: Path | None = None) -> None:
    """Write output whole or not at all; as `write_bytes`."""
    write_bytes(path, text.encode(), folder)


def write_bytes(path: Path, content: bytes, folder: Path | None = None) -> None:
    """Write output whole or not at all, and never onto a sheet or photograph of a build.

    Parameters
    ----------
    path, content
    folder
        The build that it was made from, where it was made from one.

    Raises
    ------
    FaultyInput
        A build is read from there, or there is no such folder.
    """
    refuse_onto_a_build(path, folder)
    put(path, content)


def refuse_onto_a_build(path: Path, build: Path | None = None) -> None:
    """Refuse a place for output that a build is read from.

    Parameters
    ----------
    path
        Where somebody wants output.
    build
        The folder or workbook that was read; any other folder with a sheet in it counts as well.

    Raises
    ------
    FaultyInput
        It is a sheet, has the name of one beside other sheets, or is a photograph; links are followed.
    """
    whose = _whose(path, build)
    if whose is not None:
        what = f"{whose}, and output would take its place; nothing was written"
        raise FaultyInput((Problem(path.name, 0, "", what, "Give the output another name, or another folder"),))


def _whose(path: Path, build: Path | None) -> str | None:
    if build is not None and any(_same(path, one) for one in _read_from(build)):
        return "the build is read from it"
    for place in dict.fromkeys((path.absolute(), path.resolve())):
        if place.name.casefold() in _names() and _has_sheets(place.parent):
            return "this is the name of a sheet, and there is a build beside it"
        kept = place.parent.name.casefold() == PHOTOS and _has_sheets(place.parent.parent)
        if kept or (_has_sheets(place.parent) and _is_photograph(place)):
            return "photographs of a build are kept there"
    return None


def _names() -> tuple[str, ...]:
    from partkin.model.columns import COLUMNS

    return ("build.toml", "work.csv", *COLUMNS)


def _has_sheets(folder: Path) -> bool:
    try:
        return any(one.name.casefold() in _names() for one in folder.iterdir())
    except OSError:
        return False


def _read_from(build: Path) -> Iterator[Path]:
    yield from (build / name for name in _names()) if build.is_dir() else (build,)


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
