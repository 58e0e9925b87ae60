"""A donor on a host as part of a page: the pattern drawn for two widths, and what figure.html writes beside it."""

from __future__ import annotations

from typing import NamedTuple

from markupsafe import Markup

from partkin.drawing.alt import stands_words
from partkin.drawing.details import HALF, drawn_pairs, enlarged, factor_for
from partkin.drawing.overlay import Pattern, pattern
from partkin.drawing.svg import SvgWriter, hatch_patterns, picture_svg
from partkin.drawing.symbols import KEY_KINDS, key_lines, sample
from partkin.model.drawing import OverlayView
from partkin.model.verdict import Pair

BROAD_PX, NARROW_PX = 640.0, 340.0
_ELLIPSES = "Dashed ellipses: where a centre lies, 95 in 100."
_KEY_IDS = {kind: f"y{number}" for number, kind in enumerate(KEY_KINDS)}


class Cell(NamedTuple):
    """A pair and its drawing, enlarged."""

    pair: Pair
    drawing: Markup


class Figure(NamedTuple):
    """What a figure is made of.

    `drawings`: for a broad and a narrow screen; `times`: how much larger the cells are drawn than each of them;
    `key`: id of a shared sample and words; `said`: sentences with the width that they belong to, empty for both.
    """

    drawings: tuple[Markup, Markup]
    cells: tuple[Cell, ...]
    times: tuple[str, str]
    key: tuple[tuple[str, str], ...]
    said: tuple[tuple[str, str], ...]
    caption: str


def shared_shapes() -> str:
    """Return what the figures of one page share, once: hatchings and the samples of the key."""
    writer = SvgWriter()
    samples = "".join(
        f'<symbol id="{_KEY_IDS[kind]}" viewBox="-1 -9 28 18">{writer.all(sample(kind, 0.0, 0.0))}</symbol>'
        for kind in KEY_KINDS
    )
    return f'<svg class="shared" width="0" height="0" aria-hidden="true">{hatch_patterns()}{samples}</svg>'


def figure(view: OverlayView, key: str) -> Figure:
    """Return the drawing of a donor on a host; the ids in it begin with `key`.

    The pattern is laid out for a broad and for a narrow screen (text keeps its size), the offsets enlarged in cells.
    The page has to carry `shared_shapes`.
    """
    broad, narrow = pattern(view, BROAD_PX), pattern(view, NARROW_PX)
    drawings = _drawing(broad, "broad", f"{key}b", None), _drawing(narrow, "narrow", f"{key}n", f"{key}b-d")
    pairs = drawn_pairs(view)
    cells: tuple[Cell, ...] = ()
    times = "", ""
    if pairs and broad.scale > 0 and narrow.scale > 0:
        # One factor for all cells, so that they can be compared.
        factor = factor_for(view, broad.scale)
        px_per_mm = broad.scale * factor
        times = _times(factor), _times(px_per_mm / narrow.scale)
        box = f'<svg class="dw" viewBox="0 0 {2 * HALF:g} {2 * HALF:g}">'
        inside = (SvgWriter().all(enlarged(view, one, broad.matrix, (HALF, HALF), px_per_mm)) for one in pairs)
        cells = tuple(Cell(one[0], Markup(f"{box}{drawn}</svg>")) for one, drawn in zip(pairs, inside, strict=True))
    lines = tuple((_KEY_IDS[kind], words) for kind, words in key_lines(view))
    told = dict.fromkeys([*broad.said, *narrow.said, *([_ELLIPSES] if view.spreads else [])])
    # Which of the two drawings a sentence belongs to alone; empty: to both.
    belongs = {(True, False): "broad", (False, True): "narrow"}
    only = [belongs.get((words in broad.said, words in narrow.said), "") for words in told]
    said = tuple(zip(told, only, strict=True))
    return Figure(drawings, cells, times, lines, said, stands_words(view))


def _drawing(drawn: Pattern, kind: str, prefix: str, described_by: str | None) -> Markup:
    svg = picture_svg(drawn.picture, prefix, described_by=described_by, shared=True)
    return Markup(svg.replace('class="dw"', f'class="dw {kind}"', 1))


def _times(factor: float) -> str:
    """Say a factor.

    Examples
    --------
    >>> _times(20.0), _times(41.6666), _times(1.0)
    ('20 times as large', '42 times as large', "at the pattern's scale")
    """
    return "at the pattern's scale" if round(factor, 1) <= 1.0 else f"{factor:.0f} times as large"
