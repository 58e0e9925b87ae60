"""Sheets changed on disk: all that belongs together or nothing, and never so that a fault comes in."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from partkin.model.problem import FaultyInput, Problem
from partkin.sheets.dialect import Grid, read_grid
from partkin.sheets.findings import ProblemList
from partkin.sheets.loading import read_files, read_tables
from partkin.sheets.records import SheetTable
from partkin.sheets.settings import read_settings
from partkin.sheets.whole import alone, put_whole, together

MOST_TRIES = 5


class Standing:
    """The sheets as they stand before a change: their bytes, what was read of them, and the faults they have."""

    def __init__(self, contents: Mapping[str, bytes]) -> None:
        self.contents, self.faults = contents, ProblemList()
        self.tables = _read(contents, self.faults)

    def grid_of(self, sheet: str) -> Grid | None:
        """Return the cells of a sheet; None: it is not there yet.

        Raises
        ------
        FaultyInput
            It cannot be read.
        """
        table: SheetTable = self.tables[sheet]
        if not table.present:
            return None
        grid = read_grid(sheet, self.contents[sheet], ProblemList())
        if grid is None or not table.readable:
            raise FaultyInput(tuple(one for one in self.faults.sorted(warnings=False) if one.sheet == sheet))
        return grid

    def refuse_new_faults(self, written: Mapping[str, bytes]) -> None:
        """Refuse new bytes that would bring a fault where there was none before."""
        after = ProblemList()
        _read({**self.contents, **written}, after)
        known = {(one.sheet, one.row, one.column) for one in self.faults.sorted(warnings=False)}
        new = tuple(one for one in after.sorted(warnings=False) if (one.sheet, one.row, one.column) not in known)
        if new:
            raise FaultyInput(new)


def _read(contents: Mapping[str, bytes], findings: ProblemList) -> dict[str, SheetTable]:
    if "build.toml" in contents:
        read_settings(contents["build.toml"], findings)
    return read_tables(contents, findings)


def change(folder: Path, names: Iterable[str], make: Callable[[Standing], Mapping[str, bytes]]) -> None:
    """Put new bytes in the place of sheets, all of them or none, and only where they bring no fault.

    Changes by other partkins at the same time wait for each other; where an editor saved a sheet in between, its
    version is the one that is changed. What is killed while it writes several sheets, the next command completes.

    Parameters
    ----------
    folder
        The build folder.
    names
        The sheets that may change.
    make
        What stands to the new bytes by sheet.

    Raises
    ------
    FaultyInput
        A sheet cannot be read or written, or there would be a new fault; then nothing was changed.
    """
    wanted = tuple(names)
    with alone(folder):
        for _ in range(MOST_TRIES):
            findings = ProblemList()
            contents = read_files(folder, findings)
            if contents is None or any(name not in contents and (folder / name).exists() for name in wanted):
                raise FaultyInput(findings.sorted(warnings=False))
            standing = Standing(contents)
            written = make(standing)
            standing.refuse_new_faults(written)
            try:
                with together(folder, contents, written) if len(written) > 1 else contextlib.nullcontext():
                    if _replace_all(folder, contents, written):
                        return
            except OSError as error:
                raise _unwritable(wanted[0], error) from None
    what = "the sheet keeps being changed by something else"
    raise refused(wanted[0], 0, "", what, "Close it there and try again")


def refused(sheet: str, row: int, column: str, what: str, mend: str) -> FaultyInput:
    """Return one fault, to be raised."""
    return FaultyInput((Problem(sheet, row, column, what, mend),))


def _replace_all(folder: Path, before: Mapping[str, bytes], after: Mapping[str, bytes]) -> bool:
    """Put all new bytes in place; where one cannot be, put the earlier ones back and return False or raise."""
    done: list[str] = []
    whole = False
    try:
        for name, content in after.items():
            if not _replace((folder / name).resolve(), before.get(name), content):
                return False
            done.append(name)
        whole = True
    finally:
        for name in () if whole else done:
            old, target = before.get(name), (folder / name).resolve()
            if old is not None:
                _replace(target, after[name], old)
            elif target.read_bytes() == after[name]:
                target.unlink()
    return True


def _replace(target: Path, before: bytes | None, after: bytes) -> bool:
    """Put the new bytes in the sheet's place; False where it was changed since `before` was read."""
    try:
        return put_whole(target, after, unless=lambda: (target.read_bytes() if target.exists() else None) != before)
    except OSError as error:
        raise _unwritable(target.name, error) from None


def _unwritable(sheet: str, error: OSError) -> FaultyInput:
    what = f"the sheet cannot be written ({error.strerror or 'unknown reason'})"
    return refused(sheet, 0, "", what, "Close it elsewhere, make room on the disk, or mend the folder's permissions")
