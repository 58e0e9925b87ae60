"""What a question may not do: change anything, or reach for anything outside the graph."""

from __future__ import annotations

import re

from partkin.graph.names import NS
from partkin.graph.terms import Token, expanded, tokens
from partkin.model.problem import Problem

_CHANGES = frozenset({"INSERT", "DELETE", "CLEAR", "DROP", "CREATE", "COPY", "MOVE", "ADD"})
_ESCAPE = re.compile(r"\\u([0-9A-Fa-f]{4})|\\U([0-9A-Fa-f]{8})")
GREATEST_LETTERS = 100_000


def _unescaped(sparql: str) -> str:
    """Return text with its codepoint escapes undone, which SPARQL allows anywhere (SPARQL 1.1, 19.2)."""

    def letter(found: re.Match[str]) -> str:
        code = int(found[1] or found[2], 16)
        return chr(code) if code <= 0x10FFFF and not 0xD800 <= code <= 0xDFFF else found[0]

    return _ESCAPE.sub(letter, sparql)


def _refused(token: Token, what: str) -> Problem:
    return Problem("ask", token.line, str(token.column), what, "Ask with SELECT, ASK, CONSTRUCT or DESCRIBE")


def refusal(sparql: str) -> Problem | None:
    """Return why a question is refused before it is run, or None."""
    if len(sparql) > GREATEST_LETTERS:
        return Problem("ask", 0, "query", f"the question has more than {GREATEST_LETTERS} letters", "Ask a shorter one")
    for text in dict.fromkeys((sparql, _unescaped(sparql))):
        found = _first_refusal(list(tokens(text)))
        if found is not None:
            return found
    return None


def _first_refusal(listed: list[Token]) -> Problem | None:
    iris = {id(token): iri for iri, token in expanded(listed)}
    for place, token in enumerate(listed):
        if token.kind != "word":
            continue
        word = token.text.upper()
        if word in _CHANGES:
            return _refused(token, f"{word} would change the graph, and questions only read it")
        if word == "SERVICE":
            return _refused(token, "SERVICE would ask another machine; nothing outside the build is asked")
        if word == "LOAD":
            return _refused(token, "LOAD would fetch a document, and nothing outside the build is read")
        if word == "FROM":
            named = place + 1 < len(listed) and listed[place + 1].text.upper() == "NAMED"
            after = listed[place + 1 + named] if place + 1 + named < len(listed) else None
            iri = iris.get(id(after), "") if after is not None else ""
            if not iri.startswith(f"{NS}rule-"):
                return _refused(token, f"FROM {after.text if after else ''} is not a graph of the build")
    return None
