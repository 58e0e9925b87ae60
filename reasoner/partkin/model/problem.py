"""A fault in what the user gave, as a value, and the word that was likely meant."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

# Comparing with every id of a very large sheet would take longer than reading it.
MOST_CANDIDATES = 2000
LONGEST_WORD = 80


@lru_cache(maxsize=512)
def _nearest(text: str, words: tuple[str, ...]) -> str | None:
    from difflib import get_close_matches

    by_lower = {word.lower(): word for word in reversed(words)}
    wrong = text.lower()
    if wrong in by_lower:
        return by_lower[wrong]
    close = get_close_matches(wrong, list(by_lower), n=1, cutoff=0.6)
    if close:
        return by_lower[close[0]]
    parts = set(wrong.split())
    if len(wrong) < 3:
        return None
    return next((word for lower, word in by_lower.items() if parts & set(lower.split())), None)


def nearest(text: str, words: Sequence[str]) -> str | None:
    """Return the word that was most likely meant, or None when none is near.

    Examples
    --------
    >>> nearest("captive nutt", ("hole", "captive nut")), nearest("xyz", ("hole",))
    ('captive nut', None)
    """
    if not text or len(text) > LONGEST_WORD:
        return None
    return _nearest(text, tuple(words[:MOST_CANDIDATES]))


# Where one thing is wrong in many cells, so many of them are named.
MOST_PLACES = 3
MOST_NAMES = 8


@dataclass(frozen=True, order=True)
class Problem:
    """One fault of a sheet, and how to mend it.

    `row` counts as a spreadsheet does (the header is row 1); 0: the sheet as a whole.
    `warning`: said on standard error, and the work goes on.
    """

    sheet: str
    row: int
    column: str
    what: str
    mend: str
    warning: bool = False

    def __str__(self) -> str:
        """Render as `sheet:row:column: what. mend`."""
        if not self.row and not self.column:
            return f"{self.sheet}: {self.what}. {self.mend}"
        return f"{self.where}: {self.what}. {self.mend}"

    @property
    def where(self) -> str:
        """The place as `sheet:row:column`."""
        return f"{self.sheet}:{self.row}:{self.column}" if self.row else f"{self.sheet}::{self.column}"


class FaultyInput(Exception):
    """Raised at the edge of the program when the sheets hold faults; carries every one of them."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = problems


def refused(sheet: str, row: int, column: str, what: str, mend: str) -> FaultyInput:
    """Return one fault, to be raised; as with `Problem`."""
    return FaultyInput((Problem(sheet, row, column, what, mend),))


def refuse_any(faults: Iterable[Problem]) -> None:
    """Raise FaultyInput with all of these faults, where there are any."""
    if found := tuple(faults):
        raise FaultyInput(found)


def no_part(name: str, parts: Sequence[str], row: int = 0, column: str = "part") -> Problem:
    """Return the fault of naming a part that is not among those of parts.csv.

    Examples
    --------
    >>> no_part("top", ["old-top", "frame"]).mend, no_part("x", []).mend
    ("Did you mean 'old-top'?", 'No part is listed yet: give each a row there, with an id of its own')
    """
    meant = nearest(name, parts)
    if meant:
        mend = f"Did you mean {meant!r}?"
    elif parts:
        mend = f"The parts are: {some_of(parts)}"
    else:
        mend = "No part is listed yet: give each a row there, with an id of its own"
    return Problem("parts.csv", row, column, f"there is no part {name!r}", mend)


def some_of(names: Sequence[str], most: int = MOST_NAMES) -> str:
    """Return names with commas between; of many the first, and how many more there are."""
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def told_once(problems: Iterable[Problem]) -> list[str]:
    """Return a line for each fault; one that many cells share is told where it comes first, with where it comes again.

    Examples
    --------
    >>> rows = [Problem("features.csv", row, "part", '"a b" cannot be an id', "Write a-b") for row in (2, 3)]
    >>> told_once(rows)
    ['features.csv:2:part: "a b" cannot be an id. Write a-b. Also at features.csv:3:part']
    """
    places: dict[tuple[str, str], list[Problem]] = {}
    for one in problems:
        places.setdefault((one.what, one.mend), []).append(one)
    lines = []
    for first, *rest in places.values():
        named = ", ".join(one.where for one in rest[:MOST_PLACES])
        more = f" and {len(rest) - MOST_PLACES} more" if len(rest) > MOST_PLACES else ""
        lines.append(f"{first}. Also at {named}{more}" if rest else str(first))
    return lines
