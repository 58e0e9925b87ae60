"""Text folded into lines for people."""

from textwrap import wrap

WIDTH = 96


def folded(text: str, first: str = "", rest: str | None = None, width: int = WIDTH) -> list[str]:
    """Fold a text behind a lead; the lines after the first begin with `rest`, or with as many blanks.

    Examples
    --------
    >>> folded("look before you pull", "  - ", width=16)
    ['  - look before', '    you pull']
    """
    later = " " * len(first) if rest is None else rest
    return wrap(
        text, width, initial_indent=first, subsequent_indent=later, break_long_words=False, break_on_hyphens=False
    )
