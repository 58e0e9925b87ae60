"""Amounts of money with the currency that may stand beside them. Nothing is converted."""

from __future__ import annotations

import re
from dataclasses import dataclass

from partkin.sheets.number import DecimalSign, NotANumber, parse_number

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


@dataclass(frozen=True)
class Money:
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
