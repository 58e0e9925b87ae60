"""Listings from files: what is read, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from partkin.model.build import Build, Offer, Part, Settings
from partkin.model.problem import FaultyInput
from partkin.sheets.offering import LARGEST_BYTES, read_listings

BUILD = Build(
    settings=Settings(currency="EUR"),
    parts=(Part("top", origin="donor", part_number="OK-77"),),
    offers=(Offer("donor", "top", 50.0, seller="one"),),
)


def written(folder: Path, content: str, name: str = "listings") -> Path:
    file = folder / name
    file.write_text(content, encoding="utf-8")
    return file


def product(**offer: object) -> str:
    tree = {
        "@context": "https://schema.org", "@type": "Product", "name": "dash top", "mpn": "ok 77",
        "offers": {"@type": "Offer", "price": 120, "priceCurrency": "EUR", **offer},
    }  # fmt: skip
    return json.dumps(tree)


def test_schema_org_with_unknown_fields_kept(tmp_path: Path) -> None:
    content = product(availability="https://schema.org/SoldOut", seller={"name": "two"}, itemCondition="used")
    row = read_listings(written(tmp_path, content), BUILD).rows[0]
    assert (row["part"], row["price"], row["available"], row["seller"]) == ("top", "120", "no", "two")
    assert "itemCondition=used" in row["note"] and "name=dash top" in row["note"]


def test_a_table_with_unknown_columns_kept(tmp_path: Path) -> None:
    row = read_listings(written(tmp_path, "part;price;colour\ntop;70;brown\n"), BUILD).rows[0]
    assert (row["part"], row["price"], row["option"], row["note"]) == ("top", "70", "donor", "colour=brown")


def test_what_is_listed_already_is_left_out(tmp_path: Path) -> None:
    found = read_listings(written(tmp_path, "part,price,seller\ntop,50,one\n"), BUILD)
    assert not found.rows and "listed already" in found.left_out[0]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (product(priceCurrency="USD"), "the price is in USD"),
        (product().replace("ok 77", "xx"), "'xx' is no part of this build"),
        (product().replace("https://schema.org", "https://elsewhere.example/context"), "another vocabulary"),
        (product().replace('"https://schema.org"', '{"price": "https://elsewhere.example/"}'), "another vocabulary"),
        ("[" * 100_000, "it is no JSON"),
        ('{"@type": "Offer", "price": NaN}', "it is no JSON"),
        ("part,price\n" + "top,1\n" * 10_001, "more than 10000 rows"),
        ("hello", "no column is called part or mpn"),
        ("", "the sheet is empty"),
        ("part,price\n", "it holds no listing"),
        ('{"@context": "https://schema.org", "@type": "Product", "mpn": "ok 77"}', "it holds no listing"),
        ("part,price\ntop,cheap\n", "cheap"),
        ("part,price\ntop,-5\n", "is no amount"),
        ("part,price\ntop,1e400\n", "price"),
        ("part,price,hours\ntop,5,3 mm\n", '"mm" is no currency'),
        ("part,price,hours\ntop,5,3 EUR\n", "is no amount"),
        ("part,price\ntop,5 GBP\n", "the price is in GBP, the build in EUR"),
        ("part,price,on\ntop,5,5/6/2024\n", "may be 2024-06-05 or 2024-05-06"),
        ("part,price,option\ntop,5,steal\n", "no way of mending"),
    ],
)
def test_refused(tmp_path: Path, content: str, says: str) -> None:
    with pytest.raises(FaultyInput, match=says):
        read_listings(written(tmp_path, content), BUILD)


def test_every_fault_is_named_at_once_and_a_missing_file_too(tmp_path: Path) -> None:
    with pytest.raises(FaultyInput) as caught:
        read_listings(written(tmp_path, "part,price,option\nzzz,12,donor\ntop,abc,donor\ntop,-5,steal\n"), BUILD)
    assert [(one.row, one.column) for one in caught.value.problems] == [
        (1, "part"),
        (2, "price"),
        (3, "price"),
        (3, "option"),
    ]
    with pytest.raises(FaultyInput, match="there is no file"):
        read_listings(tmp_path / "none", BUILD)


def test_without_a_currency_of_the_build_the_files_is_kept_and_two_are_refused(tmp_path: Path) -> None:
    none = Build(parts=BUILD.parts)
    row = read_listings(written(tmp_path, "part,price,currency\ntop,70,usd\n"), none).rows[0]
    assert row["note"] == "currency=usd"
    with pytest.raises(FaultyInput, match="prices are in EUR and USD, and the build names none"):
        read_listings(written(tmp_path, "part,price,currency\ntop,70,usd\ntop,60,EUR\n"), none)


def test_a_comma_for_the_decimal_sign_is_read(tmp_path: Path) -> None:
    row = read_listings(written(tmp_path, "part;price;shipping\ntop;70,50;9,5\n"), BUILD).rows[0]
    assert (row["price"], row["shipping"]) == ("70.5", "9.5")


def test_too_large_is_refused_unread(tmp_path: Path) -> None:
    with pytest.raises(FaultyInput, match="larger than 5 MB"):
        read_listings(written(tmp_path, " " * (LARGEST_BYTES + 1)), BUILD)
