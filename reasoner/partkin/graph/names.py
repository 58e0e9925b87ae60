"""IRIs: how every thing of a build is named in the graph, and back again.

A name is `https://w3id.org/partkin/id/<build>/<part>[/<feature>]`. What is neither a part nor a feature
stands under a segment that begins with `~`, which no id begins with once it is encoded: no two things meet.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final
from urllib.parse import quote, unquote

NS: Final = "https://w3id.org/partkin/ns#"
THINGS: Final = "https://w3id.org/partkin/id/"
PREFIXES: Final = {
    "partkin": NS,
    "dcterms": "http://purl.org/dc/terms/",
    "owl": "http://www.w3.org/2002/07/owl#",
    "prov": "http://www.w3.org/ns/prov#",
    "qudt": "http://qudt.org/schema/qudt/",
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "rdfs": "http://www.w3.org/2000/01/rdf-schema#",
    "schema": "https://schema.org/",
    "skos": "http://www.w3.org/2004/02/skos/core#",
    "sosa": "http://www.w3.org/ns/sosa/",
    "unit": "http://qudt.org/vocab/unit/",
    "xsd": "http://www.w3.org/2001/XMLSchema#",
}
UNITS: Final = {"mm": "MilliM", "cm": "CentiM", "m": "M", "in": "IN", "kg": "KiloGM", "g": "GM", "lb": "LB"}
_NOT_COMPARED: Final = " .-\t\u00a0\u2010\u2011\u2012\u2013\u2014"


def full(name: str) -> str:
    """Return the IRI of a prefixed name.

    Examples
    --------
    >>> full("partkin:Part")
    'https://w3id.org/partkin/ns#Part'
    """
    prefix, local = name.split(":", 1)
    return PREFIXES[prefix] + local


# Texts that `segment` leaves alone, which nearly all ids are.
_AS_IT_IS = re.compile(r"(?!\.+$)[A-Za-z0-9._-]+")


@lru_cache(maxsize=65536)
def segment(text: str) -> str:
    """Return text as one path segment of an IRI: percent-encoded, never dots alone, never with `~`.

    Examples
    --------
    >>> segment("dash top/2"), segment(".."), segment("~x")
    ('dash%20top%2F2', '%2E%2E', '%7Ex')
    """
    if _AS_IT_IS.fullmatch(text):
        return text
    encoded = quote(text, safe="").replace("~", "%7E")
    return encoded.replace(".", "%2E") if not encoded.strip(".") else encoded


def last(iri: str) -> str:
    """Return the id that an IRI's last segment stands for.

    Examples
    --------
    >>> last("https://w3id.org/partkin/id/b/top/dash%20top%2F2")
    'dash top/2'
    """
    return unquote(iri.rsplit("/", 1)[1])


@lru_cache(maxsize=1024)
def concept(scheme: str, word: str) -> str:
    """Return the IRI of a word of one of the concept schemes.

    Examples
    --------
    >>> concept("kind", "captive nut")
    'https://w3id.org/partkin/ns#kind-captive-nut'
    """
    return f"{NS}{scheme}-{word.replace(' ', '-')}"


@lru_cache(maxsize=65536)
def plain_number(text: str) -> str:
    """Return a part number as it is compared: case, spaces, dots and dashes dropped.

    Examples
    --------
    >>> plain_number("ab 12.34-5") == plain_number("AB-12 345")
    True
    """
    return "".join(letter for letter in text.casefold() if letter not in _NOT_COMPARED)


@lru_cache(maxsize=65536)
def plain_name(text: str) -> str:
    """Return a name as it is compared: case and runs of spaces dropped."""
    return " ".join(text.casefold().split())
