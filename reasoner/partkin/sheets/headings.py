"""What a column of somebody's own list is, by its heading: a name and a unit."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import NamedTuple

from partkin.sheets.number import UNITS
from partkin.tables.reader import rows_of

SKIP = "skip"
# What a column may be; those of LENGTHS carry a unit.
OF_A_HOLE = ("feature", "kind", "across", "length", "angle", "thread", "x", "y", "z", "goes_on", "need")
OF_A_DISTANCE = ("from", "to", "value", "instrument", "by", "on", "note")
OF_BOTH = ("part", "plus_minus", "unit")
LENGTHS = ("across", "length", "x", "y", "z", "value", "plus_minus")
MEANINGS = (*OF_A_HOLE, *OF_A_DISTANCE, *OF_BOTH)
LENGTH_UNITS = ("mm", "cm", "m", "in")
_ZOLL = {"zoll": "in", "grad": "deg"}
_UNIT = re.compile(r"(?:^|[\s_(\[,/])[(\[]?\s*([A-Za-z]+|\"|″|°)\s*[)\]]?\.?$")


class Heading(NamedTuple):
    """What a column is. `means`: one of MEANINGS, `skip`, or None: not told; `unit`: of a length, None: not told."""

    means: str | None
    unit: str | None = None


@cache
def words() -> Mapping[str, str]:
    """Return data/tables/headings.csv: heading in small letters to what it means."""
    return MappingProxyType({row["heading"]: row["means"] for row in rows_of("headings.csv")})


def read_heading(text: str) -> Heading:
    """Tell what a heading means, as far as it says.

    Examples
    --------
    >>> read_heading("X (cm)"), read_heading("Abstand in mm"), read_heading("Ø"), read_heading("d")
    (Heading(means='x', unit='cm'), Heading(means='value', unit='mm'), Heading(means='across', unit=None), \
Heading(means=None, unit=None))
    """
    plain = " ".join(text.replace("_", " ").casefold().split()).strip(".: ")
    if plain in words():
        return Heading(words()[plain])
    found = _UNIT.search(plain)
    if found is None:
        return Heading(words().get(plain.strip("#-.: ")))
    unit = UNITS.get(found[1]) or _ZOLL.get(found[1])
    before = plain[: found.start()].strip("([ ")
    means = words().get(before) or words().get(before.strip(",/:.- ").removesuffix(" in"))
    return Heading(means, unit) if unit is not None else Heading(None)


def said_heading(text: str) -> Heading | None:
    """Read what somebody says that a column is: `x_mm`, `value cm`, `feature`, `skip`; None: none of these.

    Examples
    --------
    >>> said_heading("x_mm"), said_heading("goes on"), said_heading("skip"), said_heading("length of it")
    (Heading(means='x', unit='mm'), Heading(means='goes_on', unit=None), Heading(means='skip', unit=None), None)
    """
    plain = "_".join(text.strip().casefold().replace("_", " ").split())
    if plain in (*MEANINGS, SKIP):
        return Heading(plain)
    means, _, unit = plain.rpartition("_")
    if means in LENGTHS and unit in LENGTH_UNITS:
        return Heading(means, unit)
    found = read_heading(text)
    return found if found.means is not None else None
