"""Days as people write them; what can be read in two ways is asked about."""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass

MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
MEND = "Write year-month-day, such as 2024-05-31"
_CLOCK = r"(?:[T ](?:[01]\d|2[0-3]):[0-5]\d(?::[0-5]\d(?:\.\d+)?)?(?:Z|[+-]\d{2}:?\d{2})?)?"
_YEAR_FIRST = re.compile(r"(\d{4})([-./])(\d{1,2})\2(\d{1,2})" + _CLOCK, re.ASCII)
_YEAR_LAST = re.compile(r"(\d{1,2})([-./])\s?(\d{1,2})\2\s?(\d{4})", re.ASCII)
_SHORT_YEAR = re.compile(r"\d{1,2}([-./])\s?\d{1,2}\1\s?'?\d{2}", re.ASCII)
_DAY_AND_NAME = re.compile(r"(\d{1,2})(?:st|nd|rd|th|\.)?[- ]([a-z]{3,9})\.?,?[- ](\d{4})", re.ASCII)
_NAME_AND_DAY = re.compile(r"([a-z]{3,9})\.?[- ](\d{1,2})(?:st|nd|rd|th)?,?[- ](\d{4})", re.ASCII)


@dataclass(frozen=True)
class NoDay:
    """Why a text is no day, and how to mend it."""

    what: str
    mend: str = MEND


def parse_day(text: str) -> str | NoDay:
    """Return a day as ISO 8601 has it.

    Examples
    --------
    >>> [parse_day(day) for day in ("28.5.2024", "5/28/2024", "28 May 2024", "May 28, 2024", "2024-05-28T17:30")]
    ['2024-05-28', '2024-05-28', '2024-05-28', '2024-05-28', '2024-05-28']
    >>> parse_day("5/6/2024").what
    '"5/6/2024" may be 2024-06-05 or 2024-05-06'
    """
    plain, shown = " ".join(text.lower().split()), f'"{" ".join(text.split())[:40]}"'
    if match := _YEAR_FIRST.fullmatch(plain.upper()):
        found = _days((match[1], match[3], match[4]))
    elif match := _YEAR_LAST.fullmatch(plain):
        found = _days((match[4], match[3], match[1]), (match[4], match[1], match[3]))
    elif match := _DAY_AND_NAME.fullmatch(plain):
        found = _days((match[3], _month(match[2]), match[1]))
    elif match := _NAME_AND_DAY.fullmatch(plain):
        found = _days((match[3], _month(match[1]), match[2]))
    elif _SHORT_YEAR.fullmatch(plain):
        return NoDay(f"{shown} has a year of two digits, and may be more than one day")
    else:
        return NoDay(f"{shown} is not a day that can be read")
    if len(found) > 1:
        return NoDay(f"{shown} may be {' or '.join(found)}", "Write the one that is meant")
    return found[0] if found else NoDay(f"there is no day {shown}", "Write a day of the calendar, such as 2024-05-31")


def _month(name: str) -> str:
    """The month's number; 0 where the name is of none or of several."""
    named = [at for at, month in enumerate(MONTHS, start=1) if month.startswith(name) or name == month[:4]]
    return str(named[0]) if len(named) == 1 else "0"


def _days(*ways: tuple[str, str, str]) -> list[str]:
    """The days that there are among (year, month, day), each once."""
    found = []
    for way in ways:
        try:
            found.append(datetime.date(*map(int, way)).isoformat())
        except ValueError:
            continue
    return list(dict.fromkeys(found))
