"""How wide words run, where they are broken, and how a length is written."""

from __future__ import annotations

from functools import lru_cache

# Advance widths in ems of a broad sans serif (rounded up from DejaVu Sans), so that what fits by this
# measure fits in the narrower faces that most machines show.
_NARROW = {
    **dict.fromkeys("il'|", 0.28),
    **dict.fromkeys("j,.:; ", 0.33),
    **dict.fromkeys('ftrI![]()-/\\"', 0.42),
    **dict.fromkeys("mMWw@%", 0.98),
    **dict.fromkeys("ABCDEFGHKNOPQRSTUVXYZ", 0.74),
    "J": 0.4,
    "L": 0.57,
}


@lru_cache(maxsize=8192)
def text_width(text: str, size: float, bold: bool = False) -> float:
    """Return how wide a line of text runs at most, in the unit of `size`."""
    ems = sum(_NARROW.get(letter, 0.64 if ord(letter) < 0x250 else 1.0) for letter in text)
    return ems * size * (1.1 if bold else 1.0)


def shortened(text: str, size: float, room: float, bold: bool = False) -> str:
    """Return the text, cut with three dots where it would run wider than `room`."""
    text = text if len(text) <= 400 else text[:400] + "..."
    if text_width(text, size, bold) <= room:
        return text
    while text and text_width(text + "...", size, bold) > room:
        text = text[:-1]
    return text.rstrip() + "..."


def wrapped(text: str, size: float, room: float, most: int = 99, bold: bool = False) -> list[str]:
    """Break text into lines no wider than `room`; what does not go on `most` lines is cut with three dots."""
    lines: list[str] = []
    current = ""
    for word in text.split():
        longer = f"{current} {word}" if current else word
        if text_width(longer, size, bold) <= room or not current:
            current = longer
            continue
        lines.append(current)
        current = word
    if current:
        lines.append(current)
    if len(lines) > most:
        lines = [*lines[: most - 1], " ".join(lines[most - 1 :])]
    return [shortened(line, size, room, bold) for line in lines]


def millimetres(value: float, decimals: int = 2) -> str:
    """Write a length as the drawings do: plain, without a minus zero.

    Examples
    --------
    >>> millimetres(-0.001), millimetres(3.14159), millimetres(450.0, 1)
    ('0.00', '3.14', '450.0')
    """
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if float(text) == 0 else text
