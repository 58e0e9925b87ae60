"""What the templates of report and page are written with: names, numbers, sources, and the environment itself.

Comes in: values of the model. Goes out: HTML by Jinja2, which escapes whatever is not marked as HTML. The report and
the page may use it; no check does, so that `partkin check` never loads Jinja2.
"""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterable
from functools import cache
from itertools import groupby
from pathlib import Path
from typing import Any

import jinja2
from jinja2 import BytecodeCache, Environment, FileSystemBytecodeCache, FileSystemLoader, StrictUndefined
from jinja2.bccache import Bucket
from markupsafe import Markup

from partkin.drawing.details import figures
from partkin.drawing.lettering import millimetres
from partkin.drawing.overlay import sketch_svg
from partkin.drawing.plan_drawing import BROAD_PX, key_strokes, plan_svg
from partkin.drawing.svg import FONT, clean, escaped, theme_style
from partkin.model.adapting import together
from partkin.model.build import Build, Feature
from partkin.model.stripping import RefitStep, StripStep
from partkin.model.version import __version__
from partkin.model.words import SIDES, WORDS, in_hundred
from partkin.report.html_figure import figure, shared_shapes
from partkin.report.text import (
    MARKS,
    PAIR_MARKS,
    connector_lines,
    laid_how,
    likely_says,
    odd_text,
    sentence,
    three_figures,
)
from partkin.tables.reader import screen_words

NONE = "-"
TEMPLATES = Path(__file__).parent / "templates"
PLAN_WIDTHS_PX = {"broad": BROAD_PX, "narrow": 330.0}
_LONGEST_WORD = 14
_LONG = ' class="long"'


def prose(text: str) -> Markup:
    """Return a sentence with its own writing direction; what has no space to break at may break anywhere."""
    endless = max((len(word) for word in text.split()), default=0) > _LONGEST_WORD
    return Markup(f"<bdi{_LONG if endless else ''}>{escaped(text)}</bdi>")


def name(text: str | None) -> str:
    """Return what a person wrote as `prose`; a dash where nothing is written."""
    return prose(text) if text and text.strip() else NONE


def part_called(part: str, part_name: str | None) -> str:
    """Return a part's name with its id."""
    if part_name and part_name.strip() and part_name != part:
        return Markup(f"{name(part_name)} ({prose(part)})")
    return name(part)


def called(build: Build, part: str) -> str:
    """Return the name of a part of the build with its id."""
    found = build.part(part)
    return part_called(part, found.name if found else None)


def mm(value_mm: float | None) -> str:
    """Return a length with two decimals, or a dash where it is not known."""
    return NONE if value_mm is None else millimetres(value_mm)


def number(value: float | None) -> str:
    """Return a number as short as it can be said, or a dash where there is none."""
    return NONE if value is None else f"{value:g}"


def counted(count: int, what: str) -> str:
    """Return a count with its word.

    Examples
    --------
    >>> counted(1, "donor"), counted(0, "donor")
    ('1 donor', '0 donors')
    """
    return f"{count} {what}{'' if count == 1 else 's'}"


def money(amount: float | None, currency: str | None = None) -> str:
    """Return an amount with its currency.

    Examples
    --------
    >>> money(1234.5, "EUR"), money(None, "EUR")
    ('1234.50 EUR', '-')
    """
    return NONE if amount is None else f"{amount:.2f} {currency or ''}".rstrip()


def size_words(feature: Feature) -> str:
    """Return what a feature is, with its size.

    Examples
    --------
    >>> size_words(Feature("p", "b", "slot", 9.0, 14.0)), size_words(Feature("p", "F1", "stud", thread="M6x1"))
    ('slot 9 x 14', 'stud M6x1')
    """
    if feature.across_mm is None:
        return f"{feature.kind} {feature.thread}" if feature.thread else feature.kind
    long = f" x {feature.length_mm:g}" if feature.length_mm is not None else ""
    return f"{feature.kind} {feature.across_mm:g}{long}"


def by_place(steps: Iterable[StripStep] | Iterable[RefitStep]) -> list[tuple[str | None, list[Any]]]:
    """Return steps that follow each other at one place together."""
    return [(place, list(group)) for place, group in groupby(steps, key=lambda step: step.place)]


class Sources:
    """The sources of a page, each numbered once in the order in which it is first named."""

    def __init__(self) -> None:
        self.numbers: dict[str, int] = {}

    def number(self, source: str | None) -> int | None:
        """Return the number of a source; None: none is named."""
        if not source or not source.strip():
            return None
        return self.numbers.setdefault(source, len(self.numbers) + 1)


def _shown(value: Any) -> Any:
    """Drop what XML forbids from what is written into a page; None is nothing."""
    if value is None:
        return ""
    return clean(value) if type(value) is str else value


class Kept(FileSystemBytecodeCache):
    """Compiled templates; where they cannot be written they are made anew each time."""

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep one."""
        with contextlib.suppress(OSError):
            super().dump_bytecode(bucket)


def _compiled() -> BytecodeCache | None:
    """Return the place for compiled templates, where Python keeps modules too; None: nothing can be kept there."""
    folder = TEMPLATES / "__pycache__"
    if sys.dont_write_bytecode:
        return None
    try:
        folder.mkdir(exist_ok=True)
    except OSError:
        return None
    # What is compiled goes by this package's settings too, not by the text of the template alone.
    return Kept(folder.as_posix(), f"%s.{__version__}-jinja-{jinja2.__version__}")


@cache
def environment(*folders: Path) -> Environment:
    """Return the environment of these folders of templates and of the report's own.

    A name that is not given is an error; whatever is not marked as HTML is escaped.
    """
    made = Environment(
        loader=FileSystemLoader([*folders, TEMPLATES]),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
        extensions=["jinja2.ext.do"],
        bytecode_cache=_compiled(),
    )
    filters = (prose, name, mm, number, counted, money, size_words, sentence, by_place, together)
    asked = (
        called, part_called, connector_lines, laid_how, likely_says, screen_words, figure, in_hundred, figures,
        odd_text, three_figures,
    )  # fmt: skip
    made.filters.update({one.__name__: one for one in filters})
    made.globals.update({one.__name__: one for one in asked})
    made.globals.update(
        MARKS=MARKS | PAIR_MARKS,
        QUANTITIES=WORDS["quantity"],
        SIDES=SIDES,
        sketch=lambda view: Markup(sketch_svg(view)),
        plan_svg=lambda plan, kind, key, of=None: Markup(plan_svg(plan, PLAN_WIDTHS_PX[kind], key, kind, of)),
        key_strokes=lambda plan: [(Markup(drawn), words) for drawn, words in key_strokes(plan)],
        shared_shapes=lambda: Markup(shared_shapes()),
    )
    return made


@cache
def report_style() -> str:
    """Return the style sheet of the report with colours and that of its drawings; free of `<` and `&`."""
    text = (TEMPLATES / "report.css").read_text(encoding="utf-8").replace("@FONT@", FONT)
    return theme_style() + "".join(line.strip() for line in text.splitlines())
