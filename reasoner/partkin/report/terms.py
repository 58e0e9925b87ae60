"""The vocabulary and the rules as pages of the documentation (Markdown)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Protocol


class Described(Protocol):
    """A term of the vocabulary."""

    @property
    def name(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def meaning(self) -> str: ...
    @property
    def examples(self) -> tuple[str, ...]: ...
    @property
    def sources(self) -> tuple[str, ...]: ...


class Headed(Protocol):
    """A rule or a query with its header."""

    @property
    def name(self) -> str: ...
    @property
    def header(self) -> Mapping[str, str]: ...


MADE = "Made by `python -m partkin.commands.documenting` from the files in {folder}; change those, not this page."


def terms_page(terms: Iterable[Described]) -> str:
    """The vocabulary: term, meaning, source, example."""
    by_kind: dict[str, list[Described]] = {}
    for term in terms:
        by_kind.setdefault(term.kind, []).append(term)
    lines = [
        "# Vocabulary", "", MADE.format(folder="ontology/vocabulary"), "",
        "`partkin:` stands for `https://w3id.org/partkin/ns#`. Where no source is named, the term is partkin's own.",
    ]  # fmt: skip
    for kind, listed in by_kind.items():
        lines += ["", f"## {kind}", "", "| term | meaning | source | example |", "| --- | --- | --- | --- |"]
        lines += [
            f"| `{term.name}` | {_cell(term.meaning)} | {_cell('; '.join(term.sources))} "
            f"| {_cell('; '.join(term.examples))} |"
            for term in sorted(listed, key=lambda term: term.name)
        ]
    return "\n".join(lines) + "\n"


def rules_page(rules: Iterable[Headed], queries: Iterable[Headed]) -> str:
    """The rules in the order in which they run, and the queries."""
    lines = [
        "# Rules and queries", "", MADE.format(folder="ontology/rules and ontology/queries"), "",
        "Each rule writes into a graph of its own, named `partkin:rule-NAME`; a rule reads only what the sheets say "
        "and the rules named after *reads*.",
    ]  # fmt: skip
    for rule in rules:
        lines += ["", f"## {rule.name}", "", rule.header.get("says", ""), ""]
        lines += [f"- because: {rule.header.get('because', '')}", f"- source: {rule.header.get('source', '')}"]
        lines += [f"- reads: {rule.header['after']}"] if rule.header.get("after") else []
    lines += ["", "## Queries", "", "`partkin ask NAME` answers each.", "", "| name | asks |", "| --- | --- |"]
    lines += [f"| `{query.name}` | {_cell(query.header.get('asks', ''))} |" for query in queries]
    return "\n".join(lines) + "\n"


def _cell(text: str) -> str:
    return " ".join(text.replace("|", "\\|").split())
