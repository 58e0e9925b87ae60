"""A donor on a host as part of a page: the pattern drawn for two widths, all else in HTML that flows."""

from __future__ import annotations

from partkin.model.drawing import OverlayView
from partkin.report.details import HALF, drawn_pairs, enlarged, factor_for, figures
from partkin.report.html_pieces import mark, name
from partkin.report.overlay import Pattern, pattern
from partkin.report.shapes import SCREEN_PENS
from partkin.report.svg import Writer, escaped, hatch_patterns, picture_svg
from partkin.report.titleblock import KEY_KINDS, block_rows, key_lines, sample

BROAD_PX, NARROW_PX = 760.0, 340.0
_ELLIPSES = "Dashed ellipses: where a centre lies, 95 in 100."
_CELLS_SHOW = "Circle: play allowed. Dot: donor's centre. Figures: offset of allowed, mm."
_KEY_IDS = {kind: f"y{number}" for number, kind in enumerate(KEY_KINDS)}


def shared_shapes() -> str:
    """Return what the figures of one page share, once: hatchings and the samples of the key."""
    writer = Writer(None, 1, False, SCREEN_PENS)
    samples = "".join(
        f'<symbol id="{_KEY_IDS[kind]}" viewBox="-1 -9 28 18">{writer.all(sample(kind, 0.0, 0.0))}</symbol>'
        for kind in KEY_KINDS
    )
    return f'<svg class="shared" width="0" height="0" aria-hidden="true">{hatch_patterns()}{samples}</svg>'


def figure(view: OverlayView, key: str) -> str:
    """Return the drawing of a donor on a host.

    Parameters
    ----------
    view
    key
        Start of the ids in it; has to differ between figures of one page.

    Returns
    -------
    str
        A figure: the pattern laid out for a broad and for a narrow screen (text keeps its size), the offsets
        enlarged in cells, key and title block as lists. The page has to carry `shared_shapes`.
    """
    broad, narrow = pattern(view, BROAD_PX), pattern(view, NARROW_PX)
    drawn = _pattern_svg(broad, "broad", f"{key}b", None) + _pattern_svg(narrow, "narrow", f"{key}n", f"{key}b-d")
    foot = f'<div class="foot">{_key(view, broad, narrow)}{_block(view)}</div>'
    return f'<figure class="sheet">{drawn}{_cells(view, broad, narrow)}{foot}</figure>'


def _pattern_svg(drawn: Pattern, kind: str, prefix: str, described_by: str | None) -> str:
    svg = picture_svg(drawn.picture, prefix, styled=False, described_by=described_by, shared=True)
    return svg.replace('class="dw"', f'class="dw {kind}"', 1)


def _cells(view: OverlayView, broad: Pattern, narrow: Pattern) -> str:
    """Return each pair enlarged, by one factor for all; hidden from who listens: the table of pairs says the same."""
    pairs = drawn_pairs(view)
    if not pairs or broad.scale <= 0 or narrow.scale <= 0:
        return ""
    factor = factor_for(view, broad.scale)
    px_per_mm = broad.scale * factor
    writer = Writer(None, 1, False, SCREEN_PENS)
    size = f"{2 * HALF:g}"
    cells = []
    for pair, fixing, feature in pairs:
        inside = writer.all(enlarged(view, pair, (fixing, feature), broad.matrix, (HALF, HALF), px_per_mm))
        sound = "" if pair.state in ("lines up", "tight") else ' class="off"'
        cells.append(
            f'<li{sound}><svg class="dw" viewBox="0 0 {size} {size}">{inside}</svg><b>{name(pair.fixing)} - '
            f"{name(pair.feature)}</b><span>{figures(pair)}</span><span>{mark(pair.state)} {pair.state}</span></li>"
        )
    broad_times, narrow_times = _times(factor), _times(px_per_mm / narrow.scale)
    factors = f'<span class="broad">{broad_times}</span><span class="narrow">{narrow_times}</span>'
    heading = f"<p><b>Offsets drawn {factors}</b> {_CELLS_SHOW}</p>"
    return f'<div class="cells" aria-hidden="true">{heading}<ul>{"".join(cells)}</ul></div>'


def _times(factor: float) -> str:
    """Say a factor.

    Examples
    --------
    >>> _times(20.0), _times(41.6666), _times(1.0)
    ('20 times as large', '42 times as large', "at the pattern's scale")
    """
    return "at the pattern's scale" if round(factor, 1) <= 1.0 else f"{factor:.0f} times as large"


def _key(view: OverlayView, broad: Pattern, narrow: Pattern) -> str:
    lines = "".join(
        f'<li><svg class="dw" aria-hidden="true"><use href="#{_KEY_IDS[kind]}"/></svg> {escaped(text)}</li>'
        for kind, text in key_lines(view)
    )
    told = list(dict.fromkeys([*broad.said, *narrow.said, *([_ELLIPSES] if view.spreads else [])]))
    said = "".join(f"<p{_only(sentence, broad, narrow)}>{escaped(sentence)}</p>" for sentence in told)
    return f'<div class="key"><ul>{lines}</ul>{said}</div>'


def _only(sentence: str, broad: Pattern, narrow: Pattern) -> str:
    """Return the class of a sentence that belongs to one of the two drawings alone."""
    if (sentence in broad.said) == (sentence in narrow.said):
        return ""
    return ' class="broad"' if sentence in broad.said else ' class="narrow"'


def _block(view: OverlayView) -> str:
    cells = []
    for row in block_rows(view):
        for label, value, share, bold in row:
            shown = f"<b>{name(value)}</b>" if bold else name(value)
            cells.append(f'<div class="w{100 * share:.0f}"><dt>{label}</dt><dd>{shown}</dd></div>')
    return f'<dl class="block">{"".join(cells)}</dl>'


