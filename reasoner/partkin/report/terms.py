"""The vocabulary and the rules as pages of the documentation (Markdown)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from partkin.tables.reader import screen_words

if TYPE_CHECKING:
    from partkin.graph.graph import QueryFile
    from partkin.graph.terms import Term

MADE = "Made by `python -m partkin.commands.documenting` from the files in {folder}; change those, not this page."


def words_text() -> str:
    """The words that stay on every screen, a line each."""
    rows = screen_words()
    width = max(len(row.word) for row in rows)
    return "\n".join(f"{row.word:<{width}}  {row.means}" for row in rows) + "\n"


def terms_page(terms: Iterable[Term]) -> str:
    """The words on the screens, and the vocabulary: term, meaning, source, example."""
    by_kind: dict[str, list[Term]] = {}
    for term in terms:
        by_kind.setdefault(term.kind, []).append(term)
    lines = [
        "# Terms", "", MADE.format(folder="data/tables/words.csv and ontology/vocabulary"), "",
        "## Words on every screen", "", "`partkin words` prints them; report and page have them too.", "",
        "| word | meaning | source |", "| --- | --- | --- |",
        *(f"| {row.word} | {_cell(row.means)} | {row.source} |" for row in screen_words()), "",
        "The rest are the words of the file that parts are exchanged by. `partkin:` stands "
        "for `https://w3id.org/partkin/ns#`. Where no source is named, the term is partkin's own.",
    ]  # fmt: skip
    for kind, listed in by_kind.items():
        lines += ["", f"## {kind}", "", "| term | meaning | source | example |", "| --- | --- | --- | --- |"]
        lines += [
            f"| `{term.name}` | {_cell(term.meaning)} | {_cell('; '.join(term.sources))} "
            f"| {_cell('; '.join(term.examples))} |"
            for term in sorted(listed, key=lambda term: term.name)
        ]
    return "\n".join(lines) + "\n"


def rules_page(rules: Iterable[QueryFile], queries: Iterable[QueryFile]) -> str:
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
