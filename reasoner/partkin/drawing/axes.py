"""Axes, round figures and the sheet of a plot (pixels, y down)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from partkin.drawing.shapes import SOFT, Box, Line, Picture, Point, Shape, Strokes, Words, shortened, wrapped
from partkin.drawing.svg import clean
from partkin.drawing.symbols import rectangle
from partkin.drawing.titleblock import sheet_frame

WIDTH = 680.0
_EDGE = 16.0


def round_steps(low: float, high: float, about: int = 6) -> list[float]:
    """Return round figures from low to high, near so many.

    Examples
    --------
    >>> round_steps(0.0, 1.0, 5)
    [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]
    """
    if not high > low:
        return [low]
    rough = (high - low) / max(about, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(base * power for base in (1.0, 2.0, 5.0, 10.0) if base * power >= rough * (1 - 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    decimals = max(0, -math.floor(math.log10(step)))
    return [round(n * step, decimals) + 0.0 for n in range(first, last + 1)]


def figure_words(value: float, steps: list[float]) -> str:
    """Write a figure of an axis with as many decimals as its steps need."""
    step = steps[1] - steps[0] if len(steps) > 1 else 1.0
    return f"{value:.{max(0, -math.floor(math.log10(step) + 1e-9))}f}"


@dataclass(frozen=True)
class Axes:
    """A field in which both ways are linear; `box` is left, top, right, bottom in pixels."""

    box: Box
    x_range: tuple[float, float]
    y_range: tuple[float, float]

    def at(self, x: float, y: float) -> Point:
        """Place a value."""
        left, top, right, bottom = self.box
        across = (x - self.x_range[0]) / (self.x_range[1] - self.x_range[0])
        up = (y - self.y_range[0]) / (self.y_range[1] - self.y_range[0])
        return (left + across * (right - left), bottom - up * (bottom - top))

    def x_marks(self, label: str, about: int = 7) -> list[Shape]:
        """Draw the lower axis with its figures and its name."""
        left, _, right, bottom = self.box
        steps = round_steps(*self.x_range, about)
        marks = [(self.at(x, self.y_range[0])[0], figure_words(x, steps)) for x in steps]
        return [
            Line((left, bottom), (right, bottom), "wide"),
            Strokes(tuple(((x, bottom), (x, bottom + 5)) for x, _ in marks), "thin"),
            *(Words((x, bottom + 18), text, 11.5, "middle") for x, text in marks),
            Words((right, bottom + 34), shortened(clean(label), 11.5, right - left), 11.5, "end", colour=SOFT),
        ]

    def y_percent(self, label: str) -> list[Shape]:
        """Draw the left axis, with its figures in hundredths, and its name above it."""
        left, top, _, bottom = self.box
        shapes: list[Shape] = [Line((left, top), (left, bottom), "wide")]
        for y in round_steps(*self.y_range, 5):
            height = self.at(self.x_range[0], y)[1]
            shapes.append(Line((left - 5, height), (left, height), "thin"))
            shapes.append(Words((left - 9, height + 4), f"{100 * y:.0f}", 11.5, "end"))
        return [*shapes, Words((left - 30, top - 12), label, 11.5, colour=SOFT)]


def plot_sheet(shapes: list[Shape], height: float, title: str, says: str, notes: list[str]) -> Picture:
    """Put a frame about a plot, its notes at the lower left and its title in a block at the lower right.

    `height` is that of the plot; the sheet is as much higher as notes and title need.
    """
    block_width = min(0.48 * WIDTH, 330.0)
    lines = [line for note in notes for line in wrapped(clean(note), 11.0, WIDTH - block_width - 2 * _EDGE, 3)]
    title_lines = wrapped(clean(title), 12.0, block_width - 14.0, 3, True)
    total = height + max(16.0 * len(lines) + 14.0, 16.0 * len(title_lines) + 14.0)
    left, top = WIDTH - 2.0 - block_width, total - 2.0 - 16.0 * len(title_lines) - 10.0
    block = (left, top, WIDTH - 2.0, total - 2.0)
    drawn = [*shapes, *sheet_frame(WIDTH, total), rectangle(block, "paper"), rectangle(block, "frame")]
    for number, line in enumerate(title_lines):
        drawn.append(Words((left + 7.0, top + 16.0 + 16.0 * number), line, 12.0, bold=True))
    for number, line in enumerate(lines):
        drawn.append(Words((_EDGE, height + 12.0 + 16.0 * number), line, 11.0, colour=SOFT))
    return Picture(WIDTH, total, tuple(drawn), title, says)
