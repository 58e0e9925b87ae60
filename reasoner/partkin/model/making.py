"""How parts come about: what the chance takes for granted of makers and drawings."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Making:
    """How a maker's parts scatter about a drawing, and how another drawing departs from it.

    `scatter_mm`: standard deviation in each direction. Of another drawing, `one_hole`, `two_holes`, a `group` side by
    side or `all_holes` moved, in these shares; by a normal amount whose `spreads_mm` are equally likely.
    `file_mm`: what a hand file takes off.
    """

    scatter_mm: float
    spreads_mm: tuple[float, ...]
    one_hole: float
    two_holes: float
    group: float
    all_holes: float
    file_mm: float = 0.0


@dataclass(frozen=True)
class OneDrawing:
    """How likely it is, before anything is read, that donor and original were made to one drawing; and why.

    `scatter_mm`: of parts of one drawing, where build.toml says it.
    """

    weight: float = 0.5
    says: str = "nothing speaks for one drawing or against it"
    source: str = "common practice, no source"
    scatter_mm: float | None = None


@dataclass(frozen=True)
class FittedMaking:
    """How likely one drawing was among measured sister parts, and the scatter, each with its 95 % bounds."""

    one_drawing: float
    one_drawing_low: float
    one_drawing_high: float
    scatter_mm: float
    scatter_low_mm: float
    scatter_high_mm: float


NOTHING_OF_THE_KIND = OneDrawing()
