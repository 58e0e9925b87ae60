"""Ids proposed for what has a name in people's words, and for several features alike."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection

LONGEST = 32


def proposed_id(name: str, taken: Collection[str] = ()) -> str:
    """Return an id made of a name, unlike those that are taken.

    Examples
    --------
    >>> proposed_id("Dash carrier (left)"), proposed_id("Türgriff", ("turgriff",)), proposed_id("!!")
    ('dash-carrier-left', 'turgriff-2', 'part')
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    bare = re.sub(r"[^a-z0-9_.]+", "-", plain)[:LONGEST].strip("-.") or "part"
    if bare not in taken:
        return bare
    return next(one for number in range(2, len(taken) + 3) if (one := f"{bare}-{number}") not in taken)


def numbered_on(first: str, count: int, taken: Collection[str] = ()) -> tuple[str, ...]:
    """Return ids from the first on, those that are taken left out.

    Examples
    --------
    >>> numbered_on("F1", 3, ("F2",)), numbered_on("y", 3), numbered_on("a", 2, ("a", "b"))
    (('F1', 'F3', 'F4'), ('y', 'z', 'aa'), ('c', 'd'))
    """
    found: list[str] = []
    one = first
    while len(found) < count:
        if one not in taken:
            found.append(one)
        one = _next(one)
    return tuple(found)


def _next(one: str) -> str:
    """The id after one: its number and one more, or the next letter."""
    number = re.search(r"\d{1,9}$", one)
    if number:
        return f"{one[: number.start()]}{int(number[0]) + 1:0{len(number[0])}d}"
    if not re.fullmatch("[a-z]{1,2}", one):
        return f"{one}2"
    if one[-1] < "z":
        return one[:-1] + chr(ord(one[-1]) + 1)
    return "aa" if len(one) == 1 else (chr(ord(one[0]) + 1) + "a" if one[0] < "z" else "a1")
