"""What the graph answers to one check: the sides, the features, the evidence, what forbids."""

from dataclasses import dataclass

from partkin.model.build import Connector, Feature, Part, Reading, VehicleModel, Zone
from partkin.model.making import NOTHING_OF_THE_KIND, OneDrawing


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
