"""Faults and warnings as they are found, put into the order of the sheets at the end."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import islice

from partkin.model.columns import BY_NAME, SHEET_ORDER
from partkin.model.problem import MOST_CANDIDATES, Problem, nearest

MOST_GUESSES = 300


class ProblemList:
    """Collects the faults and the warnings of one reading of a build folder.

    `currency`: what all money counts in: that of build.toml, else the first that a cell names.
    """

    def __init__(self) -> None:
        self.currency: str | None = None
        self._found: dict[Problem, None] = {}
        self._guessed: set[str] = set()

    def fault(self, sheet: str, row: int, column: str, what: str, mend: str) -> None:
        """Note a fault; the same one is kept once."""
        self._found[Problem(sheet, row, column, what, mend)] = None

    def warn(self, sheet: str, row: int, column: str, what: str, mend: str) -> None:
        """Note something that is said, and does not stop the work."""
        self._found[Problem(sheet, row, column, what, mend, warning=True)] = None

    def meant(self, text: str, words: Iterable[str]) -> str:
        """Return `Did you mean ...? ` where a word is near; only for the first few hundred faults."""
        if len(self._guessed) >= MOST_GUESSES and text not in self._guessed:
            return ""
        self._guessed.add(text)
        guess = nearest(text, tuple(islice(words, MOST_CANDIDATES)))
        return f"Did you mean {guess}? " if guess else ""

    def other_currency(self, currencies: tuple[str, ...]) -> bool:
        """Whether money is in another currency than the rest of the build."""
        if self.currency is None:
            self.currency = currencies[0]
        return self.currency not in currencies

    def sorted(self, warnings: bool) -> tuple[Problem, ...]:
        """Return the faults, or the warnings, by sheet, row and column."""
        return tuple(sorted((found for found in self._found if found.warning is warnings), key=_order))

    def mentions(self, sheet: str) -> bool:
        """Whether anything was noted about a sheet."""
        return any(found.sheet == sheet for found in self._found)

    @property
    def clean(self) -> bool:
        """Whether there is no fault; warnings do not count."""
        return all(found.warning for found in self._found)


def _order(problem: Problem) -> tuple[int, str, int, int, str, str]:
    sheet = BY_NAME.get(problem.sheet)
    names = [column.name for column in sheet.columns] if sheet else []
    column = names.index(problem.column) if problem.column in names else len(names)
    place = SHEET_ORDER.get(problem.sheet, len(SHEET_ORDER))
    return place, problem.sheet, problem.row, column, problem.column, problem.what
