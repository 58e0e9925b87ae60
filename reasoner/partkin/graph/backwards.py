"""The graph back into a build, by the same table of columns read the other way, and terms as people read them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cache
from typing import Any
from urllib.parse import unquote

from partkin.graph.names import PREFIXES, UNITS, concept, full, last
from partkin.model.build import Build, Settings
from partkin.model.columns import BUILD, SHEETS, Column, Sheet, default_of, terms_of
from partkin.model.known import Cell
from partkin.model.words import WORDS

Things = dict[str, dict[str, list[str]]]

TYPE = full("rdf:type")
ORDER = full("partkin:order")
ROW = full("partkin:row")

WORD_OF = {concept(scheme, word): word for scheme, listed in WORDS.items() for word in listed}
UNIT_OF = {PREFIXES["unit"] + local: unit for unit, local in UNITS.items()}


_READ: dict[str, Callable[[str], Any]] = {
    **dict.fromkeys(("id", "text", "date", "platform", "number"), str),
    **dict.fromkeys(("part", "feature", "zone", "model", "reading", "person"), last),
    "decimal": float,
    "integer": int,
    "boolean": lambda value: value in ("true", "1"),
    "word": lambda value: WORD_OF.get(value, value),
    "unit": lambda value: UNIT_OF.get(value, value),
}


def cell(column: Column, value: str) -> Any:
    """Return the value of a column from a term's own text (an IRI or a literal's lexical form)."""
    return _READ[column.holds](value)


def row_of(row: type, values: Mapping[str, str | None], **given: Any) -> Any:
    """Return a sheet's dataclass from the texts of a query's row, by column name; None is not known."""
    columns = terms_of(row)
    made = {name: cell(columns[name], value) for name, value in values.items() if value is not None and name in columns}
    wanted = {name: default_of(row, name) for name in columns}
    line = values.get("row")
    return row(**{**wanted, **made, **given, "row": int(line) if line else 0})


def gather(statements: Iterable[tuple[str, str, str]]) -> Things:
    """Return subject -> predicate -> values, in the order in which they come."""
    things: Things = {}
    for subject, predicate, value in statements:
        things.setdefault(subject, {}).setdefault(predicate, []).append(value)
    return things


def _order(things: Things, iri: str) -> int:
    return int(things.get(iri, {}).get(ORDER, ["0"])[0])


def _listed(things: Things, thing: Mapping[str, list[str]], term: str) -> list[dict[str, list[str]]]:
    """Return the things of a list, in their order."""
    children = sorted(thing.get(full(term), ()), key=lambda iri: (_order(things, iri), iri))
    return [things.get(iri, {}) for iri in children]


def _first(thing: Mapping[str, list[str]], term: str) -> str | None:
    values = thing.get(full(term))
    return values[0] if values else None


def _many(things: Things, thing: Mapping[str, list[str]], column: Column) -> tuple[Any, ...] | None:
    if column.holds == "axis":
        found = [_first(thing, f"partkin:axis{way}") for way in "XYZ"]
        return None if None in found else tuple(float(value or 0) for value in found)
    children = _listed(things, thing, column.term)
    if column.holds == "corners":
        return tuple(
            (float(_first(child, "partkin:xMm") or "nan"), float(_first(child, "partkin:yMm") or "nan"))
            for child in children
        )
    if column.holds == "numbers":
        return tuple(_first(child, "schema:mpn") or "" for child in children)
    if column.holds == "cautions":
        found = [_first(child, "partkin:cautionKind") or "" for child in children]
        return tuple(WORD_OF.get(value, value) for value in found if value is not None)
    return tuple(
        tuple(_first(way, "schema:name") or "" for way in _listed(things, child, "partkin:alternative"))
        for child in children
    )


_WRITTEN = {"number": "schema:mpn", "platform": "partkin:platformName"}
_OF_MANY = ("axis", "corners", "numbers", "cautions", "behind")


@cache
def _terms(row: type) -> tuple[dict[str, Column], dict[str, Any], tuple[Column, ...]]:
    """Columns of one value by the IRI of their term, what stands where they say nothing, and columns of several."""
    columns = terms_of(row).values()
    plain = {full(_WRITTEN.get(one.holds, one.term)): one for one in columns if one.holds not in _OF_MANY}
    nothing = {one.attribute: default_of(row, one.attribute) for one in plain.values()}
    return plain, nothing, tuple(one for one in columns if one.holds in _OF_MANY)


def _values(things: Things, thing: Mapping[str, list[str]], row: type) -> dict[str, Any]:
    """What a thing says for the attributes of a sheet's dataclass."""
    plain, nothing, of_many = _terms(row)
    said = {plain[term].attribute: cell(plain[term], values[0]) for term, values in thing.items() if term in plain}
    return {**nothing, **said, **{column.attribute: _many(things, thing, column) for column in of_many}}


def _row(things: Things, iri: str, sheet: Sheet) -> Any:
    thing = things[iri]
    return sheet.row(**_values(things, thing, sheet.row), row=int(thing.get(ROW, ["0"])[0]))


def sheet_rows(sheet: Sheet, statements: Iterable[tuple[str, str, str]]) -> list[Any]:
    """Return the rows of one sheet that facts tell, in the order in which they come."""
    things = gather(statements)
    return [_row(things, iri, sheet) for iri in things]


def build_from(statements: Iterable[tuple[str, str, str]]) -> Build:
    """Return the build that a graph describes, every sheet in its own order.

    Statements are texts: IRIs without brackets, literals by their lexical form. A number that does not read as one
    raises ValueError; the shapes say so in words first.
    """
    things = gather(statements)
    by_class: dict[str, list[str]] = {}
    for iri, thing in things.items():
        for rdf_class in thing.get(TYPE, ()):
            by_class.setdefault(rdf_class, []).append(iri)
    builds = sorted(by_class.get(full(BUILD.rdf_class), ()))
    settings = Settings()
    if builds:
        thing = things[builds[0]]
        settings = Settings(**_values(things, thing, Settings))
    sheets: dict[str, tuple[Any, ...]] = {}
    for sheet in SHEETS:
        found = sorted(by_class.get(full(sheet.rdf_class), ()), key=lambda iri: (_order(things, iri), iri))
        sheets[sheet.attribute] = tuple(_row(things, iri, sheet) for iri in found)
    return Build(settings=settings, **sheets)


_XSD = PREFIXES["xsd"]
_WHOLE = {_XSD + name for name in ("integer", "int", "long", "nonNegativeInteger", "positiveInteger")}
_REAL = {_XSD + name for name in ("decimal", "double", "float")}
# Things whose own id says what they are; others keep the name of their sheet before their number.
_NAMED = ("model", "number", "platform", "person", "reading", "zone", "connector")


def thing_name(iri: str, base: str) -> str:
    """Return a thing of the build by its ids.

    Examples
    --------
    >>> base = "https://w3id.org/partkin/id/b"
    >>> thing_name(base + "/top-1/a", base), thing_name(base + "/~offer/3", base)
    ('top-1/a', 'offer 3')
    """
    name = ""
    for segment in iri[len(base) + 1 :].split("/"):
        if not segment.startswith("~"):
            name += ("/" if name and name[-1] != " " else "") + unquote(segment)
        elif segment[1:] not in _NAMED:
            name += ("/" if name else "") + segment[1:] + " "
    return name.rstrip()


def iri_name(iri: str, base: str) -> str:
    """Return an IRI as people read it: ids for things, the sheet's words, prefixed names for terms."""
    if iri.startswith(base + "/"):
        return thing_name(iri, base)
    word = WORD_OF.get(iri) or UNIT_OF.get(iri)
    if word is not None:
        return word
    for prefix, start in PREFIXES.items():
        if iri.startswith(start):
            return f"{prefix}:{iri[len(start) :]}"
    return iri


def cell_of(term: Any, base: str) -> Cell:
    """Return one term of an answer as a cell; `term` is of the store, None where nothing is bound."""
    if term is None:
        return None
    datatype = getattr(term, "datatype", None)
    if datatype is None:
        return iri_name(term.value, base) if hasattr(term, "value") else str(term)
    try:
        if datatype.value in _WHOLE:
            return int(term.value)
        if datatype.value in _REAL:
            return float(term.value)
    except ValueError:
        return str(term.value)
    if datatype.value == _XSD + "boolean":
        return bool(term.value == "true")
    return str(term.value)
