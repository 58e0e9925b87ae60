"""The words that stay on every screen, each with what it means."""

from __future__ import annotations

from dataclasses import dataclass

from partkin.tables.reader import read


@dataclass(frozen=True)
class ScreenWord:
    """A word of text, report and page, in a line of its own."""

    word: str
    means: str
    source: str


def screen_words() -> tuple[ScreenWord, ...]:
    """Return data/tables/words.csv, the verdicts first."""
    return read("words.csv", ScreenWord)
