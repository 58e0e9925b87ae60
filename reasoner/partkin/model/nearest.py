"""The right word nearest to a wrong one."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

# Comparing with every id of a very large sheet would take longer than reading it.
MOST_CANDIDATES = 2000
LONGEST = 80


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
    if not text or len(text) > LONGEST:
        return None
    return _nearest(text, tuple(words[:MOST_CANDIDATES]))
