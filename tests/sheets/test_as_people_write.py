"""Days, prices and kinds as people write them; what can be read in two ways is asked about."""

from __future__ import annotations

import pytest

from partkin.model.words import ALSO_CALLED, KINDS
from partkin.sheets.loading import read
from partkin.sheets.number import Money, NoDay, NotANumber, parse_day, parse_money


@pytest.mark.parametrize(
    "text",
    [
        "2024-05-28", "2024-5-28", "2024/05/28", "2024.5.28", "28.5.2024", "28.05.2024", "28. 5. 2024", "28/5/2024",
        "5/28/2024", "28-5-2024", "28 May 2024", "28. May 2024", "28-May-2024", "28th May, 2024", "May 28, 2024",
        "may 28th 2024", "2024-05-28T17:30:00Z", "2024-05-28 17:30",
    ],
)  # fmt: skip
def test_a_day_is_read_however_it_is_written(text: str) -> None:
    assert parse_day(text) == "2024-05-28"


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("5/6/2024", "may be 2024-06-05 or 2024-05-06"),
        ("05.06.2024", "may be 2024-06-05 or 2024-05-06"),
        ("28.5.24", "two digits"),
        ("28 Ma 2024", "not a day"),
        ("30 Feb 2024", "there is no day"),
        ("yesterday", "not a day"),
        ("2024-05", "not a day"),
        ("2024-13-01", "there is no day"),
    ],
)
def test_what_is_no_day_or_several_is_asked_about(text: str, what: str) -> None:
    found = parse_day(text)
    assert isinstance(found, NoDay) and what in found.what


def test_a_day_that_is_the_same_either_way_is_read() -> None:
    assert parse_day("5/5/2024") == "2024-05-05"


@pytest.mark.parametrize(
    ("text", "amount", "currencies"),
    [
        ("180", 180.0, ()),
        ("180 EUR", 180.0, ("EUR",)),
        ("€180", 180.0, ("EUR",)),
        ("€ 180,50", 180.5, ("EUR",)),
        ("180€", 180.0, ("EUR",)),
        ("180,- EUR", 180.0, ("EUR",)),
        ("1.250,00 EUR", 1250.0, ("EUR",)),
        ("1,250.00 GBP", 1250.0, ("GBP",)),
        ("£1,250.50", 1250.5, ("GBP",)),
        ("1.250.000,00 €", 1250000.0, ("EUR",)),
        ("12.5 eur", 12.5, ("EUR",)),
        ("-3,50 EUR", -3.5, ("EUR",)),
        ("99 kr", 99.0, ("SEK", "NOK", "DKK", "ISK")),
    ],
)
def test_a_price_is_read_with_its_currency(text: str, amount: float, currencies: tuple[str, ...]) -> None:
    assert parse_money(text) == Money(amount, currencies)


@pytest.mark.parametrize("text", ["1.250 EUR", "1,250", "180 mm", "EUR", "cheap", "12 34 EUR", "1.25.0 EUR"])
def test_a_price_that_can_be_read_in_two_ways_or_none_is_asked_about(text: str) -> None:
    assert isinstance(parse_money(text), NotANumber)


def offers(*prices: str, currency: str | None = None):
    rows = "".join(f'donor,"{price}"\n' for price in prices)
    contents = {
        "parts.csv": b"part\nd\n",
        "features.csv": b"part,feature,kind\n",
        "offers.csv": f"option,price\n{rows}".encode(),
    }
    if currency:
        contents["build.toml"] = f'[build]\ncurrency = "{currency}"\n'.encode()
    return read(contents)


def test_money_in_the_builds_currency_is_read_and_in_another_refused() -> None:
    assert [offer.price for offer in offers("180 EUR", "€90", "70", currency="EUR").build.offers] == [180.0, 90.0, 70.0]
    (fault,) = offers("180 EUR", "150 GBP", currency="EUR").problems
    assert str(fault) == (
        'offers.csv:3:price: "150 GBP" is in GBP, and the build counts in EUR. Convert it to EUR first; nothing is '
        "converted here"
    )
    assert offers("99 kr", currency="DKK").problems == ()


def test_where_the_build_names_no_currency_the_first_one_written_counts() -> None:
    assert offers("180 EUR", "90", "€70").problems == ()
    assert [fault.row for fault in offers("180 EUR", "90 GBP").problems] == [3]


@pytest.mark.parametrize(("called", "kind"), sorted(ALSO_CALLED.items()))
def test_a_kind_is_read_by_its_other_names(called: str, kind: str) -> None:
    assert kind in KINDS and called not in KINDS
    rows = f"part,feature,kind\nd,a,{called}\nd,b,{called.upper().replace(' ', '-')}\n"
    loaded = read({"parts.csv": b"part\nd\n", "features.csv": rows.encode()})
    assert [feature.kind for feature in loaded.build.features] == [kind, kind]


def test_an_id_that_cannot_be_one_is_told_once_with_what_to_write() -> None:
    from partkin.model.problem import told_once

    rows = "part,feature,kind\n" + "".join(f"dash carrier,h{n},hole\n" for n in range(34))
    loaded = read({"parts.csv": b"part\ndash carrier\n", "features.csv": rows.encode()})
    assert len(loaded.problems) == 35
    (line,) = told_once(loaded.problems)
    assert line.startswith('parts.csv:2:part: "dash carrier" cannot be an id. Write dash-carrier, here and wherever')
    assert line.endswith("Also at features.csv:2:part, features.csv:3:part, features.csv:4:part and 31 more")
