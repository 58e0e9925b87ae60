"""What the graph answers: to one check the sides, the evidence and what forbids; to a question of one's own, rows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from partkin.model.build import Connector, Feature, Part, Reading, VehicleModel, Zone
from partkin.model.words import AIRBAG_ZONES, DUTIES, Duty


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


def airbag_of(part: Part, zones: Iterable[Zone], duty: Duty | None) -> bool | None:
    """Whether an airbag opens through one part.

    `zones`: of any parts; a tear seam or airbag door of this one means yes. `duty`: that counts for it. None: it is not
    known and has to be asked; of a part that is known to be no trim it is asked only where an airbag broke it.

    Examples
    --------
    >>> airbag_of(Part("top"), (), "trim"), airbag_of(Part("wing"), (), "body")
    (None, False)
    """
    if any(zone.part == part.part and zone.kind in AIRBAG_ZONES for zone in zones):
        return True
    if part.airbag is not None:
        return part.airbag
    return None if duty in (None, "trim") or part.broken_by == "airbag" else False


def airbag_through(
    donor: Part, original: Part | None, host: Part, zones: Iterable[Zone], duty: Duty | None
) -> bool | None:
    """Whether an airbag opens through a donor in the place that it takes; None: that has to be asked.

    A yes of any part counts. Without one the original's answer holds for the donor: an airbag behind it opens through
    whatever is put in its place, so a donor's no does not settle it. Without an original the donor's holds.
    """
    known = tuple(zones)
    if any(airbag_of(part, known, duty) for part in (donor, original, host) if part is not None):
        return True
    return airbag_of(original or donor, known, duty)


PART_NUMBER_STRENGTH = 2


class Evidence(NamedTuple):
    """One reason to believe (or doubt) that a donor may stand in, as the rules derived it.

    kind: same part number, superseded, carried over, looks alike, pictured alike (they speak for it); older part
    number, other hand, other drive, other years, pictured different (they speak against it, and never decide alone).
    strength: 1 is the strongest (same part number), 5 the weakest (looks alike); 0 for doubts.
    """

    kind: str
    strength: int
    speaks_for: bool
    says: str
    because: tuple[str, ...]
    source: str


@dataclass(frozen=True)
class Side:
    """One part of the comparison with everything that the graph knows of it.

    `readings`: those that count; `replaced`: those that a later row corrects or takes back.
    """

    part: Part
    model: VehicleModel | None
    features: tuple[Feature, ...]
    readings: tuple[Reading, ...]
    zones: tuple[Zone, ...]
    connectors: tuple[Connector, ...]
    replaced: tuple[Reading, ...] = ()


@dataclass(frozen=True)
class Known:
    """The answer of the graph to `what is known about this donor on this host`.

    `one_drawing`: how likely the evidence makes it that donor and original were made to one drawing.
    `supposed`: donor features whose size is tried out, and so is no slip however odd it is.
    """

    host: Side
    donor: Side
    original: Side | None
    evidence: tuple[Evidence, ...]
    forbids: tuple[Evidence, ...]
    one_drawing: OneDrawing = NOTHING_OF_THE_KIND
    supposed: frozenset[str] = frozenset()


def is_restraint(known: Known) -> bool:
    """Whether any side of the comparison is a restraint part."""
    sides = (known.donor, known.host, known.original)
    return any(side is not None and side.part.duty == "restraint" for side in sides)


def airbag(known: Known) -> bool | None:
    """Whether an airbag opens through this panel, by what is said of any side; None: that has to be asked."""
    sides = [side for side in (known.donor, known.original, known.host) if side is not None]
    original = known.original.part if known.original is not None else None
    zones = [zone for side in sides for zone in side.zones]
    return airbag_through(known.donor.part, original, known.host.part, zones, strictest_duty(known))


def is_airbag_panel(known: Known) -> bool:
    """Whether an airbag is known to open through this panel."""
    return airbag(known) is True


def strictest_duty(known: Known) -> Duty | None:
    """The strictest of the donor's and the original's duty; empty counts only where all are empty."""
    sides = [known.donor.part.duty, known.original.part.duty if known.original else None]
    stated = [duty for duty in sides if duty is not None]
    return max(stated, key=DUTIES.index) if stated else None


def leading(known: Known) -> Evidence | None:
    """The evidence of the maker's own numbers, which measuring does not overrule; None without it."""
    firm = [e for e in known.evidence if e.speaks_for and 0 < e.strength <= PART_NUMBER_STRENGTH]
    return min(firm, key=lambda e: e.strength) if firm else None


Cell = str | int | float | bool | None


class Table(NamedTuple):
    """Columns and rows; a cell that is not known is None.

    Triples come as subject, predicate and object; a yes or no as the one column answer, and in `answer`. Things are
    named by their ids (`part/feature`), words as the sheets hold them, terms by their prefixed names; numbers are
    numbers. `cut`: there were more rows than the limit lets through.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    answer: bool | None = None
    cut: bool = False
