"""HTML in pieces: everything that is not marked as HTML already is escaped, so that forgetting is harmless."""

from __future__ import annotations

from typing import Any

from partkin.report.svg import escaped

VOID = frozenset({"input", "meta", "link", "br", "img"})
# Names of attributes that Python cannot have as they are.
RENAMED = {"class_": "class", "for_": "for", "type_": "type", "list_": "list", "id_": "id"}


class Html(str):
    """Text that is HTML already: made by `tag`, or by the report's own pieces."""

    __slots__ = ()


def text(value: Any) -> Html:
    """Return anything as HTML: escaped, unless it is HTML already; None is nothing.

    Examples
    --------
    >>> text("<b>"), text(Html("<b>")), text(None)
    ('&lt;b&gt;', '<b>', '')
    """
    if value is None:
        return Html("")
    if isinstance(value, Html):
        return value
    if isinstance(value, (list, tuple)):
        return Html("".join(text(one) for one in value))
    return Html(escaped(str(value)))


def tag(name: str, /, *inside: Any, **attributes: Any) -> Html:
    """Return an element. Attributes that are None or False are left out, True ones stand without a value.

    Examples
    --------
    >>> tag("p", "a < b", class_="said")
    '<p class="said">a &lt; b</p>'
    """
    parts = [name]
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        shown = RENAMED.get(key, key.replace("_", "-"))
        parts.append(shown if value is True else f'{shown}="{escaped(str(value))}"')
    opened = f"<{' '.join(parts)}>"
    return Html(opened) if name in VOID else Html(f"{opened}{text(inside)}</{name}>")
