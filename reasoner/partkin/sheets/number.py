"""Numbers, amounts of money and days as people write them; the unclear is refused with a reason."""

from __future__ import annotations

import datetime
import math
import re
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from partkin.model.problem import nearest

LONGEST_NUMBER = 40
OF_AN_INCH = (4, 8, 16, 32, 64, 128)
UNITS = {
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "cm": "cm", "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm",
    "m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    "in": "in", "inch": "in", "inches": "in", '"': "in", "''": "in", "″": "in", "”": "in",
    "kg": "kg", "kgs": "kg", "kilo": "kg", "kilos": "kg", "kilogram": "kg", "kilograms": "kg",
    "g": "g", "gram": "g", "grams": "g",
    "lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb",
    "deg": "deg", "degree": "deg", "degrees": "deg", "°": "deg",
}  # fmt: skip

PLAIN_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_FRACTION = re.compile(r"([+-]?)(?:(\d{1,9})[ -])?(\d{1,9})/(\d{1,9})", re.ASCII)
_WITH_UNIT = re.compile(r"(.*[\d.,])\s*([A-Za-z]+|\"|''|″|”|°)\.?", re.ASCII)
# 1,234 may be one thousand two hundred and thirty-four or one and a bit; 0,234 and 1,23 are clear.
_UNCLEAR = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)
_VULGAR = {
    "½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4",
    "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8", "⁄": "/",
}  # fmt: skip

DecimalSign = Literal[".", ",", "mixed"]


@dataclass(frozen=True)
class Number:
    """A number as it was written, with its unit where one was written (mm, cm, m, in, kg, g, lb, deg).

    `parts`: what a fraction divides by.
    """

    value: float
    unit: str | None = None
    parts: int = field(default=1, compare=False, repr=False)

    @property
    def seems_inches(self) -> bool:
        """Whether no unit is said of what only inches are read in: quarters and finer; millimetres are read to halves.

        Examples
        --------
        >>> [parse_number(text).seems_inches for text in ("12 1/4", "12 1/2", "12 1/4 in", "12.25")]
        [True, False, False, False]
        """
        return self.unit is None and self.parts in OF_AN_INCH

    def in_which_unit(self, text: str) -> NotANumber:
        """Say that the unit of such a fraction is missing, and what to write."""
        return NotANumber(
            f'"{text}" is a fraction without a unit, as inches are', f"Write {text} in, or {self.value:g} mm"
        )


@dataclass(frozen=True)
class NotANumber:
    """Why a text is no number, and how to mend it. Falsy."""

    what: str
    mend: str

    def __bool__(self) -> Literal[False]:
        """Stay falsy, so that `if number` reads well."""
        return False


def parse_number(text: str, decimal: DecimalSign = ".") -> Number | NotANumber:
    """Read a number with a dot or a comma, or a fraction, with or without a unit behind it.

    `text`: for instance `611.8`, `611,8`, `1/2`, `24 1/8 in`, `24-1/8"`. `decimal`: the sign that the sheet is known to
    use. It settles what `1,234` means: with `,` one and a bit, else it is refused, for it may be a thousand. `mixed`:
    the sheet uses both, and `1.234` is refused too.

    Examples
    --------
    >>> parse_number("24 1/8 in")
    Number(value=24.125, unit='in')
    >>> parse_number("611,8")
    Number(value=611.8, unit=None)
    >>> parse_number("1,234.5").what
    '"1,234.5" has both a comma and a dot'
    """
    tidy = _tidy(text)
    shown = f'"{text.strip()[:LONGEST_NUMBER]}"'
    if not tidy:
        return NotANumber("there is no number here", "Write a number such as 12.5")
    if len(tidy) > LONGEST_NUMBER:
        return NotANumber(f"{shown}... is too long for a number", "Write a number such as 12.5")
    if _NOT_FINITE.fullmatch(tidy):
        return NotANumber(f"{shown} is not a number", "Write the number, or nothing when it is not known")
    amount, unit = tidy, None
    if not PLAIN_NUMBER.fullmatch(tidy) and (split := _WITH_UNIT.fullmatch(tidy)):
        amount, unit = split[1].rstrip(), UNITS.get(split[2].lower())
        if unit is None and (PLAIN_NUMBER.fullmatch(amount) or _FRACTION.fullmatch(amount)):
            return _unknown_unit(split[2])
        if unit is None:
            amount = tidy
    if fraction := _FRACTION.fullmatch(amount):
        return _fraction(fraction, shown, unit)
    return _plain(amount, shown, unit, decimal)


def _tidy(text: str) -> str:
    for written, plain in (("\u2212", "-"), ("\u00a0", " "), ("\u2009", " "), ("\u202f", " ")):
        text = text.replace(written, plain)
    for written, plain in _VULGAR.items():
        if written in text:
            text = re.sub(r"(?<=\d)\s*" + written, " " + plain, text).replace(written, plain)
    return text.strip()


def _unknown_unit(word: str) -> NotANumber:
    if word.lower() in ("ft", "foot", "feet"):
        return NotANumber("feet are not read", "Write the whole length in inches or millimetres")
    guess = nearest(word.lower(), tuple(UNITS)) if len(word) > 2 else None
    meant = UNITS[guess] if guess else "mm, cm, m, in, kg, g or lb"
    return NotANumber(f'"{word}" is not a unit that is known here', f"Write {meant} behind the number")


def _fraction(match: re.Match[str], shown: str, unit: str | None) -> Number | NotANumber:
    sign, whole, above, below = match.groups()
    if int(below) == 0:
        return NotANumber(f"{shown} divides by zero", "Write a fraction such as 1/8")
    if whole is not None and int(above) >= int(below):
        return NotANumber(f"{shown} has a fraction of one or more", "Write a fraction such as 24 1/8")
    value = int(whole or 0) + int(above) / int(below)
    return Number((-value if sign == "-" else value) + 0.0, unit, int(below))


def _plain(amount: str, shown: str, unit: str | None, decimal: DecimalSign) -> Number | NotANumber:
    if "," in amount and "." in amount and not amount.strip("+-0123456789.,"):
        return NotANumber(f"{shown} has both a comma and a dot", "Leave the thousands sign out: write 1234.5 or 1234,5")
    if not PLAIN_NUMBER.fullmatch(amount):
        if re.fullmatch(r"[+-]?\d{1,3}(?:(?:,\d{3})+|(?:\.\d{3})+|(?:[ '’]\d{3})+(?:[.,]\d+)?)", amount):
            return NotANumber(f"{shown} has a thousands sign", "Leave it out: write 1234.5")
        return NotANumber(f"{shown} is not a number", "Write a number such as 12.5, 12,5 or 3/8")
    if _UNCLEAR.fullmatch(amount) and (decimal == "mixed" or ("," in amount) != (decimal == ",")):
        without = re.sub(r"[.,]", "", amount)
        clear = re.sub(r"[.,]", "," if decimal == "," else ".", amount) + "0"
        return NotANumber(f"{shown} may be {without} or {clear}", f"Write {without} or {clear}, whichever is meant")
    value = float(amount.replace(",", "."))
    if not math.isfinite(value):
        return NotANumber(f"{shown} is too large", "Write a number such as 12.5")
    return Number(value + 0.0, unit)


def decimal_sign(cells: list[str], separator: str) -> DecimalSign:
    """Tell which decimal sign a sheet uses, from the number cells that can be read in one way only."""
    comma = dot = False
    for cell in cells:
        if ("," in cell or "." in cell) and PLAIN_NUMBER.fullmatch(cell) and not _UNCLEAR.fullmatch(cell):
            comma = comma or "," in cell
            dot = dot or "." in cell
    if comma and not dot:
        return ","
    if separator != ";":
        return "."
    if dot:
        return "mixed" if comma else "."
    # Nothing settles it but the separator, which is that of a country of decimal commas.
    unclear = {sign for cell in cells if _UNCLEAR.fullmatch(cell) for sign in ",." if sign in cell}
    return {0: ".", 1: "," if "," in unclear else "mixed", 2: "mixed"}[len(unclear)]


# Signs that people write for a currency; several codes: any of them, and the build says which (ISO 4217).
SIGNS: dict[str, tuple[str, ...]] = {
    "€": ("EUR",), "£": ("GBP",), "$": ("USD", "CAD", "AUD", "NZD", "SGD", "HKD", "MXN"), "¥": ("JPY", "CNY"),
    "₹": ("INR",), "zł": ("PLN",), "kč": ("CZK",), "kr": ("SEK", "NOK", "DKK", "ISK"), "kr.": ("DKK", "SEK", "NOK"),
    "fr.": ("CHF",), "ft": ("HUF",), "lei": ("RON",), "₺": ("TRY",), "₴": ("UAH",),
    "euro": ("EUR",), "euros": ("EUR",), "us$": ("USD",),
}  # fmt: skip
_SIGN = r"[A-Za-z]{2,5}\.?|zł|kč|Kč|[€£$¥₹₺₴]|[Uu][Ss]\$"
_BEFORE = re.compile(rf"({_SIGN})\s*([-+]?[\d.,].*)", re.DOTALL)
_BEHIND = re.compile(rf"(.*[\d.,])\s*[-\u2013\u2014]{{0,2}}\s*({_SIGN})", re.DOTALL)
_CODE = re.compile(r"[A-Za-z]{3}", re.ASCII)
# 1.250,00 and 1,250.00 can be read in one way only, since both signs are there.
_BOTH_SIGNS = re.compile(r"([-+]?\d{1,3})((?:\.\d{3})+,\d{1,2}|(?:,\d{3})+\.\d{1,2})", re.ASCII)


class Money(NamedTuple):
    """An amount; `currencies`: what its sign may stand for, () where none was written."""

    amount: float
    currencies: tuple[str, ...] = ()


def parse_money(text: str, decimal: DecimalSign = ".") -> Money | NotANumber:
    """Read an amount, with or without a currency before or behind it.

    A bare number has the sheet's decimal sign. Beside a currency 1.250 is a person's writing and may be a thousand.

    Examples
    --------
    >>> [parse_money(text) for text in ("180 EUR", "€180", "1.250,00 eur")]  # doctest: +NORMALIZE_WHITESPACE
    [Money(amount=180.0, currencies=('EUR',)), Money(amount=180.0, currencies=('EUR',)),
     Money(amount=1250.0, currencies=('EUR',))]
    >>> parse_money("180 mm").what
    '"mm" is no currency that is known here'
    """
    plain = " ".join(text.replace("\u00a0", " ").replace("\u202f", " ").split())
    match = _BEFORE.fullmatch(plain)
    sign, amount = (match[1], match[2]) if match else ("", plain)
    if match is None and (match := _BEHIND.fullmatch(plain)):
        amount, sign = match[1], match[2]
    currencies = currencies_of(sign) if sign else ()
    if sign and not currencies:
        return NotANumber(f'"{sign}" is no currency that is known here', "Write its three letters, such as EUR")
    amount = amount.strip()
    if both := _BOTH_SIGNS.fullmatch(amount):
        thousands = both[2][0]
        amount = both[1] + both[2].replace(thousands, "").replace(",", ".")
    else:
        amount = amount.removesuffix(",").removesuffix(".")
    number = parse_number(amount, "mixed" if currencies else decimal)
    if isinstance(number, NotANumber):
        return number
    if number.unit is not None:
        return NotANumber(f'"{number.unit}" is no currency', "Write the amount alone, or its currency behind it")
    return Money(number.value, currencies)


def currencies_of(sign: str) -> tuple[str, ...]:
    """What a sign or three letters stand for."""
    known = SIGNS.get(sign.lower())
    if known is None and _CODE.fullmatch(sign) and sign.lower() not in ("deg", "lbs", "kgs"):
        return (sign.upper(),)
    return known or ()


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


class NoDay(NamedTuple):
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
