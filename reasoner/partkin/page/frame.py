"""What stands around everything on the page: head, way about, the line that says how far the checks are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from urllib.parse import quote

from partkin.model.problem import Problem, told_once
from partkin.page.desk import Desk
from partkin.page.markup import Html, tag
from partkin.report.html_figure import shared_shapes
from partkin.report.html_pieces import mark_symbols
from partkin.report.html_style import report_style

STATIC = Path(__file__).parent / "static"
ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 16 16" fill="none" stroke="#111">'
    '<circle cx="8" cy="8" r="5" stroke-width="2"/><path d="M0 8H16M8 0V16"/></svg>'
)
SCRIPTS = ("bench.js", "holes.js", "lay.js", "out.js", "photo.js")


@cache
def style() -> str:
    """The style sheet of the page: the report's, and what only the page has."""
    return report_style() + (STATIC / "page.css").read_text(encoding="utf-8")


@cache
def script(name: str) -> str:
    """One of our scripts."""
    return (STATIC / name).read_text(encoding="utf-8")


def address(*pieces: str) -> str:
    """A path of this page, of ids that may hold anything.

    Examples
    --------
    >>> address("part", "a/b?")
    '/part/a%2Fb%3F'
    """
    return "/" + "/".join(quote(piece, safe="") for piece in pieces)


def whole(desk: Desk, title: str, main: Html, scripts: Iterable[str] = (), wide: bool = False) -> str:
    """Return a page.

    Parameters
    ----------
    desk
    title
    main
        What the page is about.
    scripts
        Besides bench.js.
    wide
        Takes the width of the window.
    """
    sheets = desk.sheets()
    name = sheets.build.settings.name if sheets.build is not None else desk.folder.name
    links = [tag("a", "Build", href="/"), tag("a", "Photographs", href="/photos")]
    head = [
        tag("meta", charset="utf-8"),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("title", f"{title} - {name}"),
        tag("link", rel="stylesheet", href="/page.css"),
        tag("link", rel="icon", href="/icon.svg"),
        *(tag("script", src=f"/{name}", defer=True) for name in ("bench.js", *scripts)),
    ]
    body = [
        Html(mark_symbols() + shared_shapes()),
        tag("a", "To what this page is about", class_="skip", href="#main"),
        tag("nav", *links, tag("span", name), aria_label="Pages"),
        _live(desk, sheets.number),
        tag("main", main, id_="main", class_="wide" if wide else None),
    ]
    return f"<!DOCTYPE html>\n{tag('html', tag('head', *head), tag('body', *body), lang='en')}\n"


def _live(desk: Desk, number: int) -> Html:
    says = desk.progress()
    stop = tag("button", "Stop the checks", name="do", value="stop", hidden=not says or desk.held)
    go = tag("button", "Go on with them", name="do", value="go", hidden=not (says and desk.held))
    line = tag("span", says, id_="progress")
    changed = tag(
        "span", "The sheets were changed on disk. ", tag("a", "Show them as they are now", href=""), hidden=True,
        id_="changed",
    )  # fmt: skip
    form = tag("form", line, " ", stop, go, method="post", action="/checks", id_="checks", class_="quiet")
    return tag("div", form, changed, id_="live", role="status", data_number=number)


def faults(problems: Iterable[Problem]) -> Html:
    """Return every fault of the sheets, as `partkin doctor` says them."""
    items = [tag("li", line) for line in told_once(problems)]
    told = tag("p", "Nothing is judged while these stand. Mend the sheets; this page reads them again by itself.")
    return tag(
        "section", tag("h1", "The sheets hold faults"), told, tag("ul", *items, class_="faults"), id_="faults"
    )


def refusal(
    problems: Iterable[Problem], heading: str = "Nothing was changed", labels: Mapping[str, str] | None = None
) -> Html:
    """Return why something was not taken, with how to mend it; `labels` of fields by the names of their columns."""
    items = []
    for problem in problems:
        where = problem.column or problem.sheet
        items.append(tag("li", f"{(labels or {}).get(where, where)}: {problem.what}. {problem.mend}."))
    return tag("div", tag("b", heading), tag("ul", *items), class_="hold", role="alert")
