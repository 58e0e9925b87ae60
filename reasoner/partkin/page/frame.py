"""What every answer of the page is made with: its templates, its style sheet and scripts, addresses, refusals."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

from jinja2 import Environment
from markupsafe import Markup

from partkin.model.problem import Problem, told_once
from partkin.page.desk import Desk
from partkin.report.html_pieces import environment, report_style

Typed = Mapping[str, str]
HERE = Path(__file__).parent
# No cell is longer.
LONGEST = 500
SCRIPTS = ("bench.js", "holes.js", "lay.js", "out.js", "photo.js")


@cache
def static(name: str) -> str:
    """Return one of our files."""
    return (HERE / "static" / name).read_text(encoding="utf-8")


@cache
def style() -> str:
    """Return the style sheet of the page: the report's, and what only the page has."""
    return report_style() + static("page.css")


def address(*pieces: str) -> str:
    """Return a path of this page, of ids that may hold anything.

    Examples
    --------
    >>> address("part", "a/b?")
    '/part/a%2Fb%3F'
    """
    return "/" + "/".join(quote(piece, safe="") for piece in pieces)


def cells_of(typed: Typed, names: tuple[str, ...]) -> dict[str, str]:
    """Return what was typed into these fields of a plain form, bare and no longer than a cell may be."""
    return {name: typed.get(name, "").strip()[:LONGEST] for name in names}


@cache
def _templates() -> Environment:
    made = environment(HERE / "templates")
    made.globals["address"] = address
    return made


def whole(desk: Desk, template: str, title: str, **shown: Any) -> str:
    """Return a page by a template that extends frame.html, with what that writes."""
    sheets = desk.sheets()
    name = sheets.build.settings.name if sheets.build is not None else desk.folder.name
    return (
        _templates()
        .get_template(template)
        .render(title=title, name=name, number=sheets.number, progress=desk.progress(), held=desk.held, **shown)
    )


def piece(template: str, macro: str, *shown: Any) -> Markup:
    """Return what one macro of a template writes, for a part of a page."""
    return Markup(getattr(_templates().get_template(template).module, macro)(*shown))


def faults(desk: Desk) -> str:
    """Return the page with every fault of the sheets, as `partkin doctor` says them."""
    return whole(desk, "faults.html", "Faults", lines=told_once(desk.sheets().problems))


def refusal(
    problems: Iterable[Problem], heading: str = "Nothing was changed", labels: Mapping[str, str] | None = None
) -> Markup:
    """Return why something was not taken, with how to mend it; `labels` of fields by the names of their columns."""
    return piece("forms.html", "refusal", problems, heading, labels or {})
