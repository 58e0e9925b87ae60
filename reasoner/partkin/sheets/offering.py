"""Listings from a file: CSV with the columns of offers.csv, or schema.org Product and Offer as JSON-LD.

Nothing is fetched from anywhere; a context is read as a name only.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, NamedTuple

from partkin.model.build import Build
from partkin.model.columns import GREATEST_AMOUNT
from partkin.model.problem import FaultyInput, Problem, refuse_any, refused
from partkin.model.words import OPTION_KINDS
from partkin.sheets.dialect import UTF8_MARK, plain_cell, read_grid
from partkin.sheets.files import content_of
from partkin.sheets.findings import ProblemList
from partkin.sheets.number import NoDay, NotANumber, parse_day, parse_money
from partkin.sheets.records import column_name
from partkin.sheets.values import number_text

LARGEST_BYTES = 5_000_000
MOST_LISTINGS = 10_000
COLUMNS = ("option", "part", "price", "shipping", "seller", "on", "available", "hours", "note")
IN_STOCK = ("instock", "limitedavailability", "onlineonly", "instoreonly", "presale", "preorder")
GONE = ("outofstock", "soldout", "discontinued")
HOLDS = ("@graph", "itemListElement", "item", "offers", "itemOffered")
MEND = "Give a CSV file with the columns of offers.csv, or JSON-LD with schema.org Product and Offer"
AMOUNTS = ("price", "shipping", "hours")
CONTEXTS = ("https://schema.org", "http://schema.org", "https://schema.org/", "http://schema.org/")


class Listings(NamedTuple):
    """Rows for offers.csv, and what was left out and why."""

    rows: tuple[dict[str, str], ...]
    left_out: tuple[str, ...]


def read_listings(file: Path, build: Build) -> Listings:
    """Read listings for the parts of a build.

    Raises
    ------
    FaultyInput
        With every fault: unreadable, too large, another currency, unknown parts, no price.
    """
    content = content_of(file, MEND, LARGEST_BYTES)
    if len(content) > LARGEST_BYTES:
        raise refused(file.name, 0, "file", "it is larger than 5 MB", MEND)
    is_json = content.removeprefix(UTF8_MARK).lstrip().startswith((b"{", b"["))
    listings = _json_ld(file, content) if is_json else _table(file, content)
    if not listings:
        raise refused(file.name, 0, "file", "it holds no listing", MEND)
    faults: list[Problem] = []
    rows = [_row(file, number, listing, build, faults) for number, listing in enumerate(listings, start=1)]
    named = sorted({listing["currency"].upper() for listing in listings if listing.get("currency")})
    if build.settings.currency is None and len(named) > 1:
        # Nothing lays prices in several currencies side by side.
        mend = "Name the build's currency in build.toml, and convert the other prices first"
        what = f"prices are in {' and '.join(named)}, and the build names none"
        faults.append(Problem(file.name, 0, "currency", what, mend))
    refuse_any(faults)
    known: set[tuple[str, str | None, str | None, float | None]] = {
        (o.option, o.part, o.seller, o.price) for o in build.offers
    }
    kept, left_out = [], []
    for row in rows:
        key = (row["option"], row["part"] or None, row["seller"] or None, float(row["price"]) if row["price"] else None)
        if key in known:
            seller = row["seller"] or "the same seller"
            left_out.append(f"{row['part']} from {seller} at {row['price']}: listed already")
            continue
        known.add(key)
        kept.append(row)
    return Listings(tuple(kept), tuple(left_out))


def _table(file: Path, content: bytes) -> list[dict[str, str]]:
    """Rows of a CSV file, however a spreadsheet wrote it."""
    findings = ProblemList()
    grid = read_grid(file.name, content, findings)
    if grid is None:
        raise FaultyInput(findings.sorted(warnings=False))
    header = [column_name(cell) for cell in grid.rows[0]]
    if not {"part", "mpn"} & {*header}:
        raise refused(file.name, 1, "part", "no column is called part or mpn", MEND)
    if len(grid.rows) > MOST_LISTINGS + 1:
        raise refused(file.name, 0, "file", f"it has more than {MOST_LISTINGS} rows", "Split it")
    filled = [cells for cells in grid.rows[1:] if any(cell.strip() for cell in cells)]
    return [dict(zip(header, (plain_cell(cell.strip()) for cell in cells), strict=False)) for cells in filled]


def _json_ld(file: Path, content: bytes) -> list[dict[str, str]]:
    try:
        tree = json.loads(content.removeprefix(UTF8_MARK), parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as fault:
        raise refused(file.name, 0, "file", f"it is no JSON ({fault})", "Save the listing again") from fault
    found: list[dict[str, str]] = []
    faults: list[Problem] = []
    stack: list[tuple[Any, dict[str, Any]]] = [(tree, {})]
    while stack and len(found) <= MOST_LISTINGS:
        node, product = stack.pop()
        if isinstance(node, list):
            stack += [(each, product) for each in reversed(node)]
        elif isinstance(node, dict):
            context = node.get("@context")
            if context is not None and not _is_schema_org(context):
                mend = "Only schema.org is read, and no context is fetched: name it https://schema.org"
                faults.append(Problem(file.name, 0, "@context", f"{str(context)[:60]!r} is another vocabulary", mend))
                continue
            kinds = _words(node.get("@type"))
            if "Offer" in kinds:
                found.append(_listing(node, product))
            inner = node if kinds & {"Product", "IndividualProduct", "ProductModel", "Vehicle"} else product
            stack += [(node[key], inner) for key in reversed(HOLDS) if key in node]
    refuse_any(faults)
    return found


def _refuse_constant(word: str) -> float:
    raise ValueError(f"{word} is no number")


def _is_schema_org(context: Any) -> bool:
    if isinstance(context, dict):
        return context.get("@vocab") in CONTEXTS and set(context) <= {"@vocab", "@language"}
    return context in CONTEXTS


def _words(kinds: Any) -> set[str]:
    listed = kinds if isinstance(kinds, list) else [kinds]
    return {str(kind).rsplit("/", 1)[-1].removeprefix("schema:") for kind in listed}


def _text(value: Any) -> str:
    if isinstance(value, list):
        return _text(value[0]) if value else ""
    if isinstance(value, dict):
        return _text(value.get("name") or value.get("@value") or value.get("value") or value.get("@id"))
    return "" if value is None else str(value).strip()


def _listing(offer: dict[str, Any], product: dict[str, Any]) -> dict[str, str]:
    offered = offer.get("itemOffered")
    about = offered if isinstance(offered, dict) else product
    shipping = offer.get("shippingDetails")
    rate = shipping.get("shippingRate") if isinstance(shipping, dict) else None
    used = {
        "price", "priceCurrency", "availability", "seller", "shippingDetails", "validFrom", "itemOffered", "@type",
        "@context", "@id",
    }  # fmt: skip
    kept = {"name": _text(about.get("name"))}
    kept |= {key: _text(value) for key, value in offer.items() if key not in used}
    state = _text(offer.get("availability")).rsplit("/", 1)[-1].lower()
    return {
        "part": _text(about.get("sku") or about.get("productID") or ""),
        "mpn": _text(about.get("mpn")),
        "price": _text(offer.get("price")),
        "currency": _text(offer.get("priceCurrency")),
        "shipping": _text(rate.get("value")) if isinstance(rate, dict) else "",
        "seller": _text(offer.get("seller")),
        "on": _text(offer.get("validFrom"))[:10],
        "available": "yes" if state in IN_STOCK else "no" if state in GONE else "",
        "note": "; ".join(f"{key}={value}" for key, value in kept.items() if value),
    }


def _row(file: Path, number: int, listing: dict[str, str], build: Build, faults: list[Problem]) -> dict[str, str]:
    """One row for offers.csv; faults are collected."""
    part = _part_of(listing, build)
    if part is None:
        named = listing.get("part") or listing.get("mpn") or "nothing"
        mend = "Give the part's id (part, sku) or its part number (mpn) as parts.csv has it"
        faults.append(Problem(file.name, number, "part", f"{named!r} is no part of this build", mend))
    currency, own = listing.get("currency", "").upper(), build.settings.currency
    _check_currency(file, number, "currency", (currency,) if currency else (), own, faults)
    known = {column: listing.get(column, "") for column in COLUMNS}
    for column in AMOUNTS:
        known[column] = _amount(file, number, column, known[column], own, faults)
    if known["on"] and isinstance(day := parse_day(known["on"]), NoDay):
        faults.append(Problem(file.name, number, "on", day.what, day.mend))
    elif known["on"]:
        known["on"] = str(day)
    if known["option"] and known["option"] not in OPTION_KINDS:
        mend = f"Write one of: {', '.join(OPTION_KINDS)}"
        faults.append(Problem(file.name, number, "option", f"{known['option']!r} is no way of mending", mend))
    placed = (*COLUMNS, "mpn", *(("currency",) if own else ()))
    more = [f"{k}={v}" for k, v in listing.items() if k not in placed and v]
    note = "; ".join([known["note"], *more] if known["note"] else more)
    return {**known, "part": part or "", "option": known["option"] or "donor", "note": note}


def _check_currency(
    file: Path, number: int, column: str, found: tuple[str, ...], own: str | None, faults: list[Problem]
) -> None:
    if found and own and own not in found:
        mend = f"Convert the price to {own} first; nothing is converted here"
        faults.append(Problem(file.name, number, column, f"the price is in {found[0]}, the build in {own}", mend))


def _amount(file: Path, number: int, column: str, text: str, own: str | None, faults: list[Problem]) -> str:
    """A sum, with or without its currency, or hours, as plain digits; faults are collected."""
    if not text:
        return ""
    read = parse_money(text)
    if isinstance(read, NotANumber):
        faults.append(Problem(file.name, number, column, read.what, read.mend))
        return ""
    if (column == "hours" and read.currencies) or not 0 <= read.amount <= GREATEST_AMOUNT:
        faults.append(Problem(file.name, number, column, f"{text[:40]!r} is no amount", "Write an amount of 0 or more"))
        return ""
    _check_currency(file, number, column, read.currencies, own, faults)
    return number_text(read.amount)


def _part_of(listing: dict[str, str], build: Build) -> str | None:
    named = listing.get("part", "")
    if build.part(named) is not None:
        return named
    number = _plain(listing.get("mpn") or named)
    matches = [p.part for p in build.parts if number and p.part_number and _plain(p.part_number) == number]
    return matches[0] if len(matches) == 1 else None


def _plain(number: str) -> str:
    return "".join(sign for sign in number.upper() if sign.isalnum())
