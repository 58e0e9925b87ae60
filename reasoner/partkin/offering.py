"""Listings from a file: CSV with the columns of offers.csv, or schema.org Product and Offer as JSON-LD.

Nothing is fetched from anywhere; a context is read as a name only.
"""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from partkin.as_cells import number_text
from partkin.model.build import Build
from partkin.model.problem import FaultyInput, Problem
from partkin.model.words import OPTION_KINDS
from partkin.sheets.columns import GREATEST_AMOUNT
from partkin.sheets.number import NotANumber, parse_number

LARGEST_BYTES = 5_000_000
MOST_LISTINGS = 10_000
COLUMNS = ("option", "part", "price", "shipping", "seller", "on", "available", "hours", "note")
IN_STOCK = ("instock", "limitedavailability", "onlineonly", "instoreonly", "presale", "preorder")
GONE = ("outofstock", "soldout", "discontinued")
HOLDS = ("@graph", "itemListElement", "item", "offers", "itemOffered")
MEND = "Give a CSV file with the columns of offers.csv, or JSON-LD with schema.org Product and Offer"
AMOUNTS = ("price", "shipping", "hours")
CONTEXTS = ("https://schema.org", "http://schema.org", "https://schema.org/", "http://schema.org/")


@dataclass(frozen=True)
class Listings:
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
    content = _content(file)
    listings = _json_ld(file, content) if content.lstrip().startswith(("{", "[")) else _table(file, content)
    if not listings:
        raise FaultyInput((Problem(file.name, 0, "file", "it holds no listing", MEND),))
    faults: list[Problem] = []
    rows = [_row(file, number, listing, build, faults) for number, listing in enumerate(listings, start=1)]
    faults += _currencies(file, listings, build)
    if faults:
        raise FaultyInput(tuple(faults))
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


def _currencies(file: Path, listings: list[dict[str, str]], build: Build) -> list[Problem]:
    """Where the build names no currency, prices in several cannot be laid side by side."""
    named = sorted({listing["currency"].upper() for listing in listings if listing.get("currency")})
    if build.settings.currency is not None or len(named) < 2:
        return []
    mend = "Name the build's currency in build.toml, and convert the other prices first"
    return [Problem(file.name, 0, "currency", f"prices are in {' and '.join(named)}, and the build names none", mend)]


def _content(file: Path) -> str:
    try:
        if file.stat().st_size > LARGEST_BYTES:
            raise FaultyInput((Problem(file.name, 0, "file", "it is larger than 5 MB", MEND),))
        return file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as fault:
        raise FaultyInput((Problem(file.name, 0, "file", "it is not UTF-8 text", MEND),)) from fault
    except OSError as fault:
        reason = (fault.strerror or "no reason was given").lower()
        raise FaultyInput((Problem(file.name, 0, "file", f"it cannot be read: {reason}", MEND),)) from fault


def _table(file: Path, content: str) -> list[dict[str, str]]:
    head = content.partition("\n")[0]
    between = ";" if head.count(";") > head.count(",") else ","
    reader = csv.DictReader(io.StringIO(content), delimiter=between)
    if not {"part", "mpn"} & {(name or "").strip().lower() for name in reader.fieldnames or ()}:
        raise FaultyInput((Problem(file.name, 1, "part", "no column is called part or mpn", MEND),))
    rows = list(reader)[: MOST_LISTINGS + 1]
    if len(rows) > MOST_LISTINGS:
        raise FaultyInput((Problem(file.name, 0, "file", f"it has more than {MOST_LISTINGS} rows", "Split it"),))
    return [
        {(name or "").strip().lower(): (cell or "").strip() for name, cell in row.items() if not isinstance(cell, list)}
        for row in rows
    ]


def _json_ld(file: Path, content: str) -> list[dict[str, str]]:
    try:
        tree = json.loads(content, parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as fault:
        what = f"it is no JSON ({fault})"
        raise FaultyInput((Problem(file.name, 0, "file", what, "Save the listing again"),)) from fault
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
    if faults:
        raise FaultyInput(tuple(faults))
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
    if currency and own and currency != own:
        mend = f"Convert the price to {own} first; nothing is converted here"
        faults.append(Problem(file.name, number, "currency", f"the price is in {currency}, the build in {own}", mend))
    known = {column: listing.get(column, "") for column in COLUMNS}
    for column in AMOUNTS:
        known[column] = _amount(file, number, column, known[column], faults)
    if known["option"] and known["option"] not in OPTION_KINDS:
        mend = f"Write one of: {', '.join(OPTION_KINDS)}"
        faults.append(Problem(file.name, number, "option", f"{known['option']!r} is no way of mending", mend))
    placed = (*COLUMNS, "mpn", *(("currency",) if own else ()))
    more = [f"{k}={v}" for k, v in listing.items() if k not in placed and v]
    note = "; ".join([known["note"], *more] if known["note"] else more)
    return {**known, "part": part or "", "option": known["option"] or "donor", "note": note}


def _amount(file: Path, number: int, column: str, text: str, faults: list[Problem]) -> str:
    """A sum as plain digits; faults are collected."""
    if not text:
        return ""
    read = parse_number(text)
    if isinstance(read, NotANumber):
        faults.append(Problem(file.name, number, column, read.what, read.mend))
        return ""
    if read.unit is not None or not 0 <= read.value <= GREATEST_AMOUNT:
        mend = "Write an amount of 0 or more without a unit; the currency stands in a column of its own"
        faults.append(Problem(file.name, number, column, f"{text[:40]!r} is no amount", mend))
        return ""
    return number_text(read.value)


def _part_of(listing: dict[str, str], build: Build) -> str | None:
    named = listing.get("part", "")
    if build.part(named) is not None:
        return named
    number = _plain(listing.get("mpn") or named)
    matches = [p.part for p in build.parts if number and p.part_number and _plain(p.part_number) == number]
    return matches[0] if len(matches) == 1 else None


def _plain(number: str) -> str:
    return "".join(sign for sign in number.upper() if sign.isalnum())
