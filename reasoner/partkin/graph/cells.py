"""Terms of an answer as people read them."""

from __future__ import annotations

from typing import Any
from urllib.parse import unquote

from partkin.graph.backwards import UNIT_OF, WORD_OF
from partkin.graph.names import PREFIXES
from partkin.model.table import Cell

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
