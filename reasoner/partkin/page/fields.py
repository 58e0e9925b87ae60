"""Fields of plain forms: a label, a box, and what was typed where it was refused."""

from __future__ import annotations

from collections.abc import Mapping

from partkin.page.markup import Html, tag

Typed = Mapping[str, str]
LONGEST = 500


def line(name: str, label: str, typed: Typed, **more: object) -> Html:
    """Return a box for a line of text."""
    box = tag("input", id_=f"f-{name}", name=name, value=typed.get(name, ""), maxlength=LONGEST, **more)
    return _field(name, label, box)


def choice(name: str, label: str, words: Mapping[str, str | None], typed: Typed) -> Html:
    """Return a choice of words, each with what is shown in its place; hidden where there is but one."""
    chosen = typed.get(name, "")
    options = [
        tag("option", shown or word, value=word, selected=chosen == word or None) for word, shown in words.items()
    ]
    return _field(name, label, tag("select", *options, id_=f"f-{name}", name=name), hidden=len(words) < 2)


def _field(name: str, label: str, box: Html, hidden: bool = False) -> Html:
    return tag("div", tag("label", label, for_=f"f-{name}"), box, class_=f"field f-{name}", hidden=hidden)


def cells_of(typed: Typed, names: tuple[str, ...]) -> dict[str, str]:
    """What was typed into these fields, bare and no longer than a cell may be."""
    return {name: typed.get(name, "").strip()[:LONGEST] for name in names}
