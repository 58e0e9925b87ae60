"""What was typed into plain forms; templates/forms.html writes them."""

from __future__ import annotations

from collections.abc import Mapping

Typed = Mapping[str, str]
LONGEST = 500


def cells_of(typed: Typed, names: tuple[str, ...]) -> dict[str, str]:
    """Return what was typed into these fields, bare and no longer than a cell may be."""
    return {name: typed.get(name, "").strip()[:LONGEST] for name in names}
