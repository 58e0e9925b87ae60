"""Cutting a drawing larger than the paper into tiles: how many, where each begins, where they are joined."""

from __future__ import annotations

import math
from collections import Counter, deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product

from partkin.drawing.plane import Box, Point
from partkin.model.problem import FaultyInput, refused

# Millimetres: ISO 216 (A4, A3); Letter is 8.5 by 11 inches.
PAPERS: dict[str, tuple[float, float]] = {"A4": (210.0, 297.0), "A3": (297.0, 420.0), "Letter": (215.9, 279.4)}
PAPER_MARGIN_MM = 8.0
LEFT_STRIP_MM = 11.0
BOTTOM_STRIP_MM = 42.0
OVERLAP_MM = 16.0
MOST_TILES = 150
# Shares of the paper to spare, by which the sheets are laid to one side; the middle first.
_SHIFTS = (0.0, 0.5, -0.5, 1.0, -1.0)


@dataclass(frozen=True)
class PaperSheets:
    """How a drawing is laid on sheets of paper.

    `page`: usable width and height of one sheet in true millimetres, a printer that is out allowed for;
    `foot`: what of its height is taken up by words and rules;
    `window`: the part of it that shows the drawing; `start`: lower left corner of the whole array, in the
    drawing. Row 1 is at the top, column A at the left. `kept`: the tiles that are printed, joined side by side.
    """

    paper_mm: tuple[float, float]
    printer: tuple[float, float]
    page: tuple[float, float]
    foot: float
    window: tuple[float, float]
    start: Point
    columns: int
    rows: int
    kept: frozenset[tuple[int, int]]

    @property
    def step(self) -> tuple[float, float]:
        """From one tile's corner to the next one's."""
        return (self.window[0] - OVERLAP_MM, self.window[1] - OVERLAP_MM)

    def tile_box(self, column: int, row: int) -> Box:
        """Return what a tile shows: left, bottom, right, top in the drawing; both count from 0."""
        left = self.start[0] + column * self.step[0]
        bottom = self.start[1] + (self.rows - 1 - row) * self.step[1]
        return (left, bottom, left + self.window[0], bottom + self.window[1])

    def tiles(self) -> list[tuple[int, int]]:
        """Return the tiles that are printed as (column, row), row by row."""
        return sorted(self.kept, key=lambda tile: (tile[1], tile[0]))

    def showing(self, box: Box) -> list[tuple[int, int]]:
        """Return the tiles that show a box whole, row by row; where none does, those that show some of it."""
        across, up = [
            _reached(box[at] - self.start[at], box[at + 2] - self.start[at], self.window[at], self.step[at], count)
            for at, count in ((0, self.columns), (1, self.rows))
        ]
        return [(column, self.rows - 1 - row) for row in reversed(up) for column in across]

    def shows(self, tile: tuple[int, int], box: Box) -> bool:
        """Whether a tile shows a box whole."""
        shown = self.tile_box(*tile)
        return all(shown[at] <= box[at] + 1e-6 and box[at + 2] <= shown[at + 2] + 1e-6 for at in (0, 1))

    def cut_off(self, boxes: Sequence[Box]) -> int:
        """Return how many boxes no tile that is printed shows whole."""
        found = ((self.showing(box), box) for box in boxes)
        return sum(not (self.kept.intersection(tiles) and self.shows(tiles[0], box)) for tiles, box in found)


def _reached(first: float, last: float, window: float, step: float, count: int) -> range:
    """Return which of the windows in a line show a stretch whole; where none does, those that show some of it."""
    begin = max(0, math.ceil((last - window) / step - 1e-9))
    end = min(count - 1, math.floor(first / step + 1e-9))
    if begin > end:
        begin = min(count - 1, max(0, math.ceil((first - window) / step)))
        end = max(0, min(count - 1, math.floor(last / step)))
    return range(begin, end + 1)


def tile_name(column: int, row: int) -> str:
    """Return a tile's name, as a spreadsheet names its cells."""
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{row + 1}"


def _fault(column: str, what: str, mend: str) -> FaultyInput:
    return refused("template", 0, column, what, mend)


def lay_out(
    box: Box,
    paper: str,
    printer: tuple[float, float],
    foot_of: Callable[[float], float] = lambda _: BOTTOM_STRIP_MM,
    needed: Sequence[Box] = (),
    liked: Sequence[Box] = (),
) -> PaperSheets:
    """Lay the box on the fewest tiles: upright or across, shifted, without those that nothing needed is on.

    Of as many, what shows most of it whole goes first, then upright, then the one in the middle. `foot_of`: how high
    the foot of a sheet has to be, from its width; `needed`: what has to be on a tile, whole where that can be (else
    every tile is printed); `liked`: what is shown too where that takes no tile more.

    FaultyInput: unknown paper, words that leave no room for a drawing, a correction outside 0.9 to 1.1, or more than
    150 tiles.
    """
    if paper not in PAPERS:
        raise _fault("paper", f"no paper is called {paper!r}", f"Say one of {', '.join(PAPERS)}")
    if not all(math.isfinite(factor) and 0.9 <= factor <= 1.1 for factor in printer):
        mend = "Give what 100 mm measure over 100, such as 0.993,1.002"
        raise _fault("printer", "a printer is not out by more than a tenth", mend)
    if not all(math.isfinite(edge) for edge in box):
        raise _fault("x_mm", "a place is not a number", "Mend the features sheet")
    width, height = PAPERS[paper]
    both = [_sheets(box, size, printer, foot_of) for size in ((width, height), (height, width))]
    choices = [sheets for sheets in both if sheets is not None]
    if not choices:
        raise _fault("paper", "the cautions leave no room for the drawing", "Take larger paper")
    few = [sheets for sheets in choices if sheets.columns * sheets.rows <= MOST_TILES]
    if not few:
        least = min(sheets.columns * sheets.rows for sheets in choices)
        raise _fault("paper", f"that takes {least} sheets", "Take larger paper, or export DXF for a plotter")
    if not needed:
        return min(few, key=lambda sheets: sheets.columns * sheets.rows)
    laid = []
    for sheets, up, across in product(few, _SHIFTS, _SHIFTS):
        # They still cover the box, however they are shifted over it.
        x, y = sheets.start
        start = (x + across * (box[0] - x), y + up * (box[1] - y))
        laid.append(_without_bare(replace(sheets, start=start), needed))
    fewest = min(len(sheets.kept) for sheets in laid)
    laid = [sheets for sheets in laid if len(sheets.kept) == fewest]
    return min(laid, key=lambda sheets: (sheets.cut_off(needed), sheets.cut_off(liked)))


def _sheets(
    box: Box, paper_mm: tuple[float, float], printer: tuple[float, float], foot_of: Callable[[float], float]
) -> PaperSheets | None:  # fmt: skip
    across, up = ((side - 2 * PAPER_MARGIN_MM) * factor for side, factor in zip(paper_mm, printer, strict=True))
    foot = foot_of(across)
    window = (across - LEFT_STRIP_MM, up - foot)
    if min(window) < 3 * OVERLAP_MM:
        return None
    sides = [(box[at], box[at + 2], window[at] - OVERLAP_MM) for at in (0, 1)]
    counts = [max(1, math.ceil((last - first - OVERLAP_MM) / step)) for first, last, step in sides]
    start_x, start_y = (
        (first + last - (count * step + OVERLAP_MM)) / 2
        for (first, last, step), count in zip(sides, counts, strict=True)
    )
    all_tiles = frozenset(product(range(counts[0]), range(counts[1])))
    return PaperSheets(
        paper_mm, printer, (across, up), foot, window, (start_x, start_y), counts[0], counts[1], all_tiles
    )


def _without_bare(sheets: PaperSheets, needed: Sequence[Box]) -> PaperSheets:
    """Return the sheets with the tiles that are needed, and those that join them, alone."""
    choices = [sheets.showing(box) for box in needed]
    kept = {tile for tiles in choices if len(tiles) == 1 for tile in tiles}
    for box, tiles in zip(needed, choices, strict=True):
        if not sheets.shows(tiles[0], box):
            kept.update(tiles)
    while left := [tiles for tiles in choices if not kept.intersection(tiles)]:
        counts = Counter(tile for tiles in left for tile in tiles)
        kept.add(max(counts, key=lambda tile: (counts[tile], -tile[1], -tile[0])))
    together = _joined(sheets, kept)
    # Bridges are built one by one, so that a later one may make an earlier one idle.
    for tile in sorted(together - kept):
        fewer = together - {tile}
        if _joined(sheets, set(fewer)) == fewer:
            together = fewer
    return replace(sheets, kept=together)


def _joined(sheets: PaperSheets, tiles: set[tuple[int, int]]) -> frozenset[tuple[int, int]]:
    """Return the tiles with those between them that make one piece of all, each bridge as short as can be."""
    together = {min(tiles)}
    while True:
        # All that touches what is together belongs to it.
        came_from = {tile: tile for tile in sorted(together)}
        waiting = deque(came_from)
        reached = None
        while waiting and reached is None:
            column, row = here = waiting.popleft()
            for tile in ((column + 1, row), (column - 1, row), (column, row + 1), (column, row - 1)):
                if tile not in came_from and 0 <= tile[0] < sheets.columns and 0 <= tile[1] < sheets.rows:
                    came_from[tile] = here
                    waiting.append(tile)
                    if tile in tiles and tile not in together:
                        reached = tile
                        break
        if reached is None:
            return frozenset(together)
        while reached not in together:
            together.add(reached)
            reached = came_from[reached]


@dataclass(frozen=True)
class JoinMark:
    """A mark that two neighbouring tiles both show; `number` counts along their join."""

    at: Point
    between: tuple[str, str]
    number: int


def join_marks(sheets: PaperSheets, avoid: list[Point], clear_mm: float = 12.0) -> list[JoinMark]:
    """Return the join marks, two between neighbours, clear of the points to avoid where that can be."""
    marks = []
    for column, row in sheets.tiles():
        left, bottom, right, top = sheets.tile_box(column, row)
        for beside, along in (((column + 1, row), (0.0, 6.0)), ((column, row + 1), (6.0, 0.0))):
            for number, share in enumerate((0.25, 0.75), 1) if beside in sheets.kept else ():
                at = (left + share * (right - left), bottom + OVERLAP_MM / 2)
                if along[1]:
                    at = (right - OVERLAP_MM / 2, bottom + share * (top - bottom))
                names = (tile_name(column, row), tile_name(*beside))
                ways = ((at[0] + n * along[0], at[1] + n * along[1]) for n in (0, 1, -1, 2, -2, 3, -3, 4, -4))
                clear = (way for way in ways if all(math.dist(way, point) >= clear_mm for point in avoid))
                marks.append(JoinMark(next(clear, at), names, number))
    return marks
