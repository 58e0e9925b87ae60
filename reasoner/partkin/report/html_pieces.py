"""Small pieces of the report's HTML: names, numbers, marks, tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from partkin.model.fitting import Chance
from partkin.report.shapes import millimetres
from partkin.report.svg import escaped

NONE = "-"
_LONGEST_WORD = 14
_LONG = ' class="long"'


def name(text: str | None) -> str:
    """Return what a person wrote, safe and with its own writing direction; a dash where nothing is written."""
    return prose(text) if text and text.strip() else NONE


def prose(text: str) -> str:
    """Return a sentence of ours or of the sheets, safe; what has no space to break at may break anywhere."""
    endless = max((len(word) for word in text.split()), default=0) > _LONGEST_WORD
    return f"<bdi{_LONG if endless else ''}>{escaped(text)}</bdi>"


def part_called(part: str, part_name: str | None) -> str:
    """Return a part's name with its id."""
    if part_name and part_name.strip() and part_name != part:
        return f"{name(part_name)} ({prose(part)})"
    return name(part)


def mm(value_mm: float | None) -> str:
    """Return a length with two decimals, or a dash where it is not known."""
    return NONE if value_mm is None else millimetres(value_mm)


def money(amount: float | None, currency: str | None) -> str:
    """Return an amount with its currency.

    Examples
    --------
    >>> money(1234.5, "EUR"), money(None, "EUR")
    ('1234.50 EUR', '-')
    """
    if amount is None:
        return NONE
    text = f"{amount:.2f}"
    return escaped(f"{text} {currency}" if currency else text)


def chance_cell(chance: Chance | None) -> str:
    """Return a chance for a table: the figure, and under it its bounds."""
    if chance is None:
        return NONE
    low, high = 100 * chance.low, 100 * chance.high
    return f'{100 * chance.fits:.1f} %<span class="why">{low:.1f} to {high:.1f} %</span>'


def chance_words(chance: Chance | None) -> str:
    """Return a chance as a percentage with its bounds.

    Examples
    --------
    >>> chance_words(Chance(0.002, 0.0, 0.011, 512))
    '0.2 % (0.0 to 1.1 %, 512 draws)'
    """
    if chance is None:
        return NONE
    low, high = 100 * chance.low, 100 * chance.high
    return f"{100 * chance.fits:.1f} % ({low:.1f} to {high:.1f} %, {chance.draws} draws)"


_RING = '<circle cx="8" cy="8" r="6.2" fill="none" stroke="#111" stroke-width="1.6"'
_MARKS = {
    "lines up": ("m1", '<circle cx="8" cy="8" r="4"/>'),
    "tight": ("m2", f'{_RING}/><circle cx="8" cy="8" r="2.6"/>'),
    "out of reach": ("m3", '<path d="M3 3L13 13M3 13L13 3" stroke="#111" stroke-width="2.4"/>'),
    "blocked": ("m4", '<path d="M1 5.5H15V10.5H1Z"/>'),
    "bolts on": ("v1", '<circle cx="8" cy="8" r="7"/><circle cx="8" cy="8" r="2.6" fill="#fff"/>'),
    "bolts on with adaptation": ("v2", f'{_RING}/><path d="M8 1.8A6.2 6.2 0 0 0 8 14.2Z"/>'),
    "does not fit": ("v3", '<path d="M2 2L14 14M2 14L14 2" stroke="#111" stroke-width="3"/>'),
    "not enough measured": ("v4", f'{_RING} stroke-dasharray="2.6 1.7"/>'),
    "not judged": ("v5", '<path d="M2 2H14V14H2ZM4.5 8H11.5" fill="none" stroke="#111" stroke-width="1.8"/>'),
}


def mark_symbols() -> str:
    """Return the marks, once for the whole page."""
    symbols = "".join(f'<symbol id="{key}" viewBox="0 0 16 16">{body}</symbol>' for key, body in _MARKS.values())
    return f'<svg class="shared" width="0" height="0" aria-hidden="true">{symbols}</svg>'


def mark(word: str) -> str:
    """Return the mark of a verdict or of a pair's state; the word itself always stands beside it."""
    key, _ = _MARKS[word]
    return f'<svg class="mark" aria-hidden="true"><use href="#{key}"/></svg>'


def table(caption: str, heads: Sequence[tuple[str, bool]], rows: Iterable[Sequence[str]], stack: bool = False) -> str:
    """Return a table; cells are HTML already.

    Parameters
    ----------
    caption
    heads
        Name of each column, and whether it holds numbers.
    rows
        The first cell of each row is its head.
    stack
        On a narrow screen one block a row, each cell with its column's name. Roles are then spelled out,
        as a browser forgets them when cells are laid out as blocks.
    """
    role = (lambda what: f' role="{what}"') if stack else (lambda what: "")
    numbers = ' class="n"'
    head = "".join(
        f'<th scope="col"{numbers if number else ""}{role("columnheader")}>{escaped(title)}</th>'
        for title, number in heads
    )
    body = []
    for row in rows:
        cells = [f'<th scope="row"{role("rowheader")}>{row[0]}</th>']
        for (title, number), cell in zip(heads[1:], row[1:], strict=True):
            classes = " ".join(
                word
                for word, on in (
                    ("n", number),
                    ("none", stack and cell == NONE),
                    ("sketch", cell.startswith('<svg class="dw sketch')),
                )
                if on
            )
            shown = f' class="{classes}"' if classes else ""
            label = f' data-l="{escaped(title)}"' if stack and "sketch" not in classes else ""
            cells.append(f"<td{shown}{label}{role('cell')}>{cell}</td>")
        body.append(f"<tr{role('row')}>{''.join(cells)}</tr>")
    kind = ' class="stack" role="table"' if stack else ""
    return (
        f"<table{kind}><caption>{caption}</caption><thead{role('rowgroup')}><tr{role('row')}>{head}</tr></thead>"
        f"<tbody{role('rowgroup')}>{''.join(body)}</tbody></table>"
    )


def listed(items: Iterable[str], ordered: bool = False, kind: str = "") -> str:
    """Return a list of HTML pieces."""
    element = "ol" if ordered else "ul"
    shown = f' class="{kind}"' if kind else ""
    return f"<{element}{shown}>{''.join(f'<li>{item}</li>' for item in items)}</{element}>"


class Sources:
    """The sources of a report, each numbered once in the order in which it is first named."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}

    def cite(self, source: str | None) -> str:
        """Return the reference to a source, as a link to the list at the end."""
        if not source or not source.strip():
            return ""
        number = self._numbers.setdefault(source, len(self._numbers) + 1)
        return f' <a class="nowrap" href="#s{number}">[{number}]</a>'

    def section(self) -> str:
        """Return the list of all sources that were cited; empty where none was."""
        if not self._numbers:
            return ""
        items = "".join(f'<li id="s{number}">{prose(source)}</li>' for source, number in self._numbers.items())
        return f'<section aria-labelledby="sources"><h2 id="sources">Sources</h2><ol>{items}</ol></section>'
