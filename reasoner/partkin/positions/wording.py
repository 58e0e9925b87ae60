"""Readings and what their values mean, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from partkin.positions.next_reading import Ask, Band, Candidate

MEANINGS = (("bolts on", "it bolts on"), ("does not", "it does not"))


def named(candidate: Candidate) -> str:
    """Say what is read.

    Examples
    --------
    >>> named(Candidate("p", "a", "f", 0.5)), named(Candidate("p", "a", "", 0.1, quantity="across"))
    ('a to f, centre to centre', 'how wide a is across')
    """
    if candidate.quantity == "across":
        return f"how wide {candidate.from_feature} is across"
    return f"{candidate.from_feature} to {candidate.to_feature}, centre to centre"


def in_words(ask: Ask) -> str:
    """Say what a reading is and what each value of it would mean.

    Examples
    --------
    >>> one = Candidate("p", "a", "f", 0.5)
    >>> bands = (Band("does not", None, 610.9), Band("between", 610.9, 611.8), Band("bolts on", 611.8, 615.0))
    >>> in_words(Ask(one, 612.0, 0.8, 0.9, bands))
    'a to f, centre to centre: 611.8 to 615.0 mm means that it bolts on; less than 610.9 mm that it does not'
    """
    said = meaning(ask.bands, 2 if ask.candidate.quantity == "across" else 1)
    head = named(ask.candidate)
    return f"{head}: {said}" if said else head


def meaning(bands: Sequence[Band], places: int = 1) -> str:
    """Say which values mean what; empty where none settles anything, or every one says the same."""
    said: list[str] = []
    for answer, words in MEANINGS:
        ranges = [
            _range(band, answer, places)
            for band in bands
            if band.answer == answer and (band.from_mm is not None or band.to_mm is not None)
        ]
        if ranges:
            said.append(f"{' or '.join(ranges)} mm {'means that' if not said else 'that'} {words}")
    return "; ".join(said)


def _range(band: Band, answer: str, places: int) -> str:
    # Rounded towards `between`, so that no value is promised more than it means.
    step = 10.0**places
    low = None if band.from_mm is None else f"{math.ceil(band.from_mm * step - 1e-6) / step:.{places}f}"
    high = None if band.to_mm is None else f"{math.floor(band.to_mm * step + 1e-6) / step:.{places}f}"
    if low is None:
        return f"{'up to' if answer == 'bolts on' else 'less than'} {high}"
    if high is None:
        return f"{'from' if answer == 'bolts on' else 'more than'} {low}{' on' if answer == 'bolts on' else ''}"
    return f"{low} to {high}"
