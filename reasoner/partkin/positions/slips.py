"""Slips of reading and typing: what else a value may have been meant to be, in words that a person knows again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from partkin.model.build import Reading
from partkin.model.words import MM_PER_UNIT
from partkin.tables.instruments import slip_rule

Kind = Literal["unit", "digits", "tape", "hole"]
# A digit may be left out or typed twice only where the value is so many times off: else any value could be meant.
FAR_OFF = 1.5


@dataclass(frozen=True)
class Slip:
    """One way in which a value may have gone wrong. `value_mm`, `meant`: what was meant; `how`: in words."""

    kind: Kind
    value_mm: float
    meant: str
    how: str = ""

    @property
    def says(self) -> str:
        """What was meant and how it went wrong, to be asked."""
        return f"{self.meant} ({self.how})" if self.how else self.meant


def slip_of(
    reading: Reading, expected_mm: float, within_mm: float, elsewhere: Mapping[str, float] | None = None
) -> Slip | None:
    """Find the slip that explains a reading of a length best.

    Parameters
    ----------
    reading
    expected_mm
        What it should be as it was read: an edge distance as such, not between centres.
    within_mm
        How near to it what was meant has to come.
    elsewhere
        Distances in mm that may have been read in its place, by what they are called.

    Returns
    -------
    Slip or None
        The likeliest kind first: another unit, digits, the tape's mark, another hole.

    Examples
    --------
    >>> slip_of(Reading("p", "r1", "centres", 208.1, "cm", "a", "b"), 208.0, 1.0).says
    '208.1 mm'
    >>> slip_of(Reading("p", "r1", "centres", 1196.0, "mm", "a", "b"), 1169.4, 1.0).says
    '1169 mm (two digits swapped)'
    """
    if reading.value is None or reading.unit not in MM_PER_UNIT or expected_mm <= 0.0:
        return None
    found = [
        slip for slip in (*_plain(reading, expected_mm), *_elsewhere(reading, elsewhere or {}, within_mm))
        if slip.kind == "hole" or abs(slip.value_mm - expected_mm) <= within_mm
    ]  # fmt: skip
    return found[0] if found else None


def unit_slips(reading: Reading) -> Iterator[Slip]:
    """What a length would be in another unit, or with its decimal sign elsewhere."""
    value, unit = reading.value or 0.0, reading.unit or "mm"
    size_mm = MM_PER_UNIT[unit]
    for other, other_mm in MM_PER_UNIT.items():
        if other != unit:
            yield Slip("unit", value * other_mm, f"{value:g} {other}")
    for factor, how in ((0.1, "a decimal sign left out"), (10.0, "a decimal sign too many")):
        yield Slip("unit", value * factor * size_mm, f"{value * factor:g} {unit}", how)


def _plain(reading: Reading, expected_mm: float) -> Iterator[Slip]:
    value, unit = reading.value or 0.0, reading.unit or "mm"
    size_mm = MM_PER_UNIT[unit]
    yield from unit_slips(reading)
    # A fraction of an inch has no digits of its own beyond the fourth; what was written in metres has them all.
    text = f"{value:.9g}" if abs(value - round(value, 6 if unit == "m" else 3)) < 1e-9 else f"{value:.4g}"
    for meant in _swapped(text):
        yield Slip("digits", float(meant) * size_mm, f"{float(meant):.9g} {unit}", "two digits swapped")
    if not 1.0 / FAR_OFF < value * size_mm / expected_mm < FAR_OFF:
        wanted = f"{expected_mm / size_mm:.0f}"
        if _one_left_out(text, wanted) or _one_left_out(wanted, text):
            how = "a digit left out" if len(wanted) > len(text) else "a digit too many"
            yield Slip("digits", float(wanted) * size_mm, f"{wanted} {unit}", how)
    for name in ("tape mark", "tape hundred"):
        mark_mm = slip_rule(name)
        for way_mm in (-mark_mm, mark_mm):
            meant_mm = value * size_mm + way_mm
            meant = f"{meant_mm / size_mm:g} {unit}"
            yield Slip("tape", meant_mm, meant, f"read from the {mark_mm:g} mm mark of the tape")


def _swapped(text: str) -> Iterator[str]:
    digits = [at for at, letter in enumerate(text) if letter.isdigit()]
    for first, second in pairwise(digits):
        if text[first] != text[second]:
            letters = list(text)
            letters[first], letters[second] = letters[second], letters[first]
            yield "".join(letters)


def _one_left_out(text: str, whole: str) -> bool:
    """Whether the whole digits of a text are those of the other without one of them."""
    short = text.split(".")[0]
    return len(short) == len(whole) - 1 and any(whole[:at] + whole[at + 1 :] == short for at in range(len(whole)))


def _elsewhere(reading: Reading, elsewhere: Mapping[str, float], within_mm: float) -> Iterator[Slip]:
    value_mm = (reading.value or 0.0) * MM_PER_UNIT[reading.unit or "mm"]
    near = [(abs(value_mm - other_mm), name) for name, other_mm in elsewhere.items()]
    for off_mm, name in sorted(near):
        if off_mm <= within_mm:
            yield Slip("hole", value_mm, f"that is {name}", "the wrong hole")
