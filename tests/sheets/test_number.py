"""Numbers as people write them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from partkin.sheets.number import NotANumber, Number, decimal_sign, parse_number


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("611.8", 611.8, None), ("611,8", 611.8, None), ("1/2", 0.5, None), ("24 1/8 in", 24.125, "in"),
        ("24-1/8 in", 24.125, "in"), ('24 1/8"', 24.125, "in"), ("24⅛\"", 24.125, "in"), ("½", 0.5, None),
        ("-3/4", -0.75, None), (" 12 ", 12.0, None), ("+5", 5.0, None), ("−5", -5.0, None), (".5", 0.5, None),
        (",5", 0.5, None), ("5.", 5.0, None), ("12.5mm", 12.5, "mm"), ("12,5 MM", 12.5, "mm"), ("1.2 m", 1.2, "m"),
        ("30 cm", 30.0, "cm"), ("18 kg", 18.0, "kg"), ("40 lbs", 40.0, "lb"), ("45°", 45.0, "deg"),
        ("1e3", 1000.0, None), ("0,125", 0.125, None), ("1234.567", 1234.567, None), ("1234,567", 1234.567, None),
        ("12\u00a0mm", 12.0, "mm"), ("1.234", 1.234, None), ("-0", 0.0, None),
    ],
)  # fmt: skip
def test_read(text: str, value: float, unit: str | None) -> None:
    assert parse_number(text) == Number(value, unit)
    assert str(parse_number("-0")) == "Number(value=0.0, unit=None)"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no number"), ("  ", "no number"), ("nan", "not a number"), ("NaN", "not a number"),
        ("inf", "not a number"), ("-Infinity", "not a number"), ("1e999", "too large"), ("1_000", "not a number"),
        ("0x1f", "not a number"), ("1,234", "may be 1234 or 1.2340"), ("-1,234", "may be -1234 or -1.2340"),
        ("1,234.5", "both a comma and a dot"), ("1.234,5", "both a comma and a dot"),
        ("1,234,567", "thousands sign"), ("1.234.567", "thousands sign"), ("1 234", "thousands sign"),
        ("1'234.5", "thousands sign"), ("1/0", "divides by zero"), ("24 9/8", "a fraction of one or more"),
        ("12 xx", "not a unit"), ("3 ft", "feet are not read"), ("5-3", "not a number"), ("--5", "not a number"),
        ("1" * 50, "too long"), ("=1", "not a number"), ("٣", "not a number"), ("12 in 3", "not a number"),
        ("1.2.3", "not a number"), ("1/2/3", "not a number"), ("mm", "not a number"),
    ],
)  # fmt: skip
def test_refused(text: str, words: str) -> None:
    answer = parse_number(text)
    assert isinstance(answer, NotANumber)
    assert not answer
    assert words in answer.what
    assert answer.mend and not answer.mend.endswith(".")


def test_the_sheet_settles_what_three_places_mean() -> None:
    assert parse_number("1,234", ",") == Number(1.234)
    assert isinstance(parse_number("1.234", ","), NotANumber)
    assert isinstance(parse_number("1.234", "mixed"), NotANumber)
    assert isinstance(parse_number("1,234", "mixed"), NotANumber)
    assert parse_number("12.5", "mixed") == Number(12.5)


@pytest.mark.parametrize(
    ("cells", "separator", "sign"),
    [
        (["1", "2.5"], ",", "."), (["1", "2,5"], ",", ","), (["1,234", "2,5"], ",", ","), (["1,234"], ",", "."),
        (["2,5", "2.5"], ",", "."), (["2,5", "2.5"], ";", "mixed"), (["1,234"], ";", ","), (["1.234"], ";", "mixed"),
        (["1.234", "1,234"], ";", "mixed"), (["1.234", "0.5"], ";", "."), ([], ";", "."), (["x"], ";", "."),
    ],
)  # fmt: skip
def test_decimal_sign(cells: list[str], separator: str, sign: str) -> None:
    assert decimal_sign(cells, separator) == sign


@given(st.decimals(-99999, 99999, places=4))
def test_either_sign_reads_the_same(number: object) -> None:
    text = str(number)
    assert parse_number(text) == parse_number(text.replace(".", ",")) == Number(float(text) + 0.0)


@given(st.text(max_size=50))
def test_never_raises(text: str) -> None:
    for sign in (".", ",", "mixed"):
        answer = parse_number(text, sign)  # type: ignore[arg-type]
        assert math.isfinite(answer.value) if isinstance(answer, Number) else answer.what
