"""A new build folder: every sheet with its header, and rows to overwrite where they are asked for."""

from __future__ import annotations

from pathlib import Path

from partkin.model.problem import FaultyInput, Problem
from partkin.sheets.columns import SETTING_MEANINGS, SETTINGS, SHEETS, Sheet
from partkin.sheets.dialect import Dialect, row_text

_SETTING_LINES = {
    "name": 'name = "my build"',
    "currency": '# currency = "EUR"',
    "labour_rate": "# labour_rate = 45",
    "confidence": "confidence = 0.95",
    "adapt_host": "adapt_host = false",
}


def write_new(folder: Path, example: bool = False) -> tuple[Path, ...]:
    """Write the sheets of a new build: headers alone, or with invented rows that say that they are.

    Parameters
    ----------
    folder
        Made where it is missing. A hidden file such as .git may be in it, nothing else.
    example
        Write the rows too. Until they are overwritten they are known as examples, and not read.

    Returns
    -------
    tuple of Path
        What was written, in sheet order.

    Raises
    ------
    FaultyInput
        The folder has something in it, or cannot be written.
    """
    shown = folder.name or folder.as_posix()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        there = sorted(path.name for path in folder.iterdir() if not path.name.startswith("."))
        if there:
            what = f"the folder is not empty: it has {there[0]} in it"
            raise FaultyInput((Problem(shown, 0, "", what, "Name a new folder, or empty this one"),))
        written = []
        for name, text in _texts(example).items():
            (folder / name).write_bytes(text.encode("utf-8"))
            written.append(folder / name)
        return tuple(written)
    except OSError as error:
        what = f"the folder cannot be written ({error.strerror or 'unknown reason'})"
        raise FaultyInput((Problem(shown, 0, "", what, "Name another folder"),)) from None


def _texts(example: bool) -> dict[str, str]:
    settings = "".join(f"{line}  # {SETTING_MEANINGS[key]}\n" for key, line in _SETTING_LINES.items())
    return {SETTINGS: f"[build]\n{settings}"} | {sheet.name: _sheet_text(sheet, example) for sheet in SHEETS}


def _sheet_text(sheet: Sheet, example: bool) -> str:
    header = tuple(column.name for column in sheet.columns)
    return "".join(row_text(list(row), Dialect()) for row in (header, *(sheet.example_rows if example else ())))
