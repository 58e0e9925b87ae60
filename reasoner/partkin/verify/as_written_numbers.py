"""What the sheets say of part numbers: the verifier's own reading."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from partkin.model.build import Build
from partkin.verify.as_written import Unwritten

DASHES = ".-\u2010\u2011\u2012\u2013\u2014"


def same_number(verdict: Mapping[str, Any], build: Build) -> str | None:
    """What is taken as stated where the maker's own part number says that it goes on; None: no number does.

    Raises
    ------
    Unwritten
        There is no such host or donor.
    """
    host, donor = build.part(verdict["host"]), build.part(verdict["donor"])
    if host is None or donor is None:
        raise Unwritten("the sheets have no such host or donor")
    beside = (host, *build.came_off(host.part))
    if donor in beside:
        return "that a part goes back where it came off"
    mine = {compared(donor.part_number)} if donor.part_number else set()
    while more := {
        compared(old) for part in build.parts if part.part_number and compared(part.part_number) in mine
        for old in part.replaces
    } - mine:  # fmt: skip
        mine |= more
    if any(compared(part.part_number) in mine for part in beside if part.part_number):
        return "that parts of one number, or of one that replaces it, are alike"
    return None


def compared(number: str) -> str:
    """A part number without what sellers write differently: case, blanks, dots and dashes."""
    return "".join(letter for letter in number.casefold() if not (letter.isspace() or letter in DASHES))
