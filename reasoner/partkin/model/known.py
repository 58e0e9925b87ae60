"""What the graph answers to one check: the sides, the features, the evidence, what forbids."""

from dataclasses import dataclass

from partkin.model.airbags import airbag_through
from partkin.model.build import Connector, Feature, Part, Reading, VehicleModel, Zone
from partkin.model.making import NOTHING_OF_THE_KIND, OneDrawing
from partkin.model.words import DUTIES, Duty

PART_NUMBER_STRENGTH = 2


@dataclass(frozen=True)
class Evidence:
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
