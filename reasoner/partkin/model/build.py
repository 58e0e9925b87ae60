"""The build folder as values: one frozen dataclass a sheet row. None means: not known."""

import re
from collections.abc import Callable, Container, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

from partkin.model import words
from partkin.model.problem import Problem, no_part, refuse_any


@dataclass(frozen=True)
class Settings:
    """build.toml; the defaults hold where it is missing."""

    name: str = "build"
    currency: str | None = None
    labour_rate: float | None = None
    confidence: float = 0.95
    adapt_host: bool = False
    same_drawing: float | None = None
    scatter_mm: float | None = None


@dataclass(frozen=True)
class VehicleModel:
    """models.csv."""

    model: str
    maker: str | None = None
    platform: str | None = None
    first_year: int | None = None
    last_year: int | None = None
    note: str | None = None
    row: int = 0


@dataclass(frozen=True)
class Part:
    """parts.csv."""

    part: str
    name: str | None = None
    model: str | None = None
    part_number: str | None = None
    replaces: tuple[str, ...] = ()
    origin: words.Origin | None = None
    takes_place_of: str | None = None
    part_of: str | None = None
    hand: words.Hand | None = None
    drive: words.Hand | None = None
    seen_from: words.Face | None = None
    duty: words.Duty | None = None
    airbag: bool | None = None
    broken_by: words.BrokenBy | None = None
    material: str | None = None
    thickness_mm: float | None = None
    mass_kg: float | None = None
    finish: str | None = None
    flex_mm: float | None = None
    flex_in_plane: bool | None = None
    note: str | None = None
    row: int = 0


@dataclass(frozen=True)
class Feature:
    """features.csv: a hole, slot, stud, pin or clip of a part, in the part's own frame.

    A slot's direction is `angle_deg`, or towards `angle_to` (a feature of the same part); both None: not known.
    """

    part: str
    feature: str
    kind: words.Kind
    across_mm: float | None = None
    length_mm: float | None = None
    angle_deg: float | None = None
    float_mm: float | None = None
    thread: str | None = None
    fastener_mm: float | None = None
    x_mm: float | None = None
    y_mm: float | None = None
    z_mm: float | None = None
    plus_minus_mm: float | None = None
    goes_on: str | None = None
    need: words.Need | None = None
    zone: str | None = None
    axis: tuple[float, float, float] | None = None
    angle_to: str | None = None
    row: int = 0


@dataclass(frozen=True)
class Reading:
    """readings.csv; `value` and `plus_minus` in `unit` as written. A row that withdraws another has neither.

    Nor have `left of` and `right of`: `from_feature` lies on that side of the line that runs from `line_from` to
    `line_to`, seen from the face of the part's `seen_from`.
    """

    part: str
    reading: str
    quantity: words.Quantity
    value: float | None
    unit: str | None
    from_feature: str | None = None
    to_feature: str | None = None
    plus_minus: float | None = None
    instrument: words.Instrument | None = None
    by: str | None = None
    on: str | None = None
    corrects: str | None = None
    note: str | None = None
    line_from: str | None = None
    line_to: str | None = None
    row: int = 0


def current(readings: Iterable[Reading]) -> tuple[Reading, ...]:
    """Drop every reading that a later row of the same part corrects or withdraws, and the rows that withdraw.

    Doing it twice changes nothing.

    Examples
    --------
    >>> first = Reading("p", "r1", "centres", 61.2, "cm", "a", "b")
    >>> second = Reading("p", "r2", "centres", 612.0, "mm", "a", "b", corrects="r1")
    >>> [reading.reading for reading in current([first, second])]
    ['r2']
    """
    rows = tuple(readings)
    corrected = {(row.part, row.corrects) for row in rows if row.corrects is not None}
    return tuple(row for row in rows if (row.part, row.reading) not in corrected and row.quantity != words.WITHDRAWN)


@dataclass(frozen=True)
class Offer:
    """offers.csv."""

    option: words.OptionKind
    part: str | None = None
    price: float | None = None
    shipping: float | None = None
    seller: str | None = None
    on: str | None = None
    available: bool | None = None
    hours: float | None = None
    note: str | None = None
    row: int = 0


@dataclass(frozen=True)
class Cost:
    """costs.csv."""

    on: str | None
    what: str
    part: str | None
    amount: float
    note: str | None = None
    row: int = 0


@dataclass(frozen=True)
class Neighbour:
    """neighbours.csv: a gap along an edge, wanted between gap_min_mm and gap_max_mm."""

    part: str
    edge: str
    neighbour: str
    gap_mm: float | None = None
    gap_min_mm: float | None = None
    gap_max_mm: float | None = None
    row: int = 0


@dataclass(frozen=True)
class Zone:
    """zones.csv: the corners of one zone, in order, in the part's own frame."""

    part: str
    zone: str
    kind: words.ZoneKind
    corners_mm: tuple[tuple[float, float], ...]
    row: int = 0


@dataclass(frozen=True)
class Outline:
    """outlines.csv: one closed line of a part, in order, in the part's own frame."""

    part: str
    kind: words.OutlineKind
    name: str
    corners_mm: tuple[tuple[float, float], ...]
    row: int = 0


@dataclass(frozen=True)
class Connector:
    """connectors.csv."""

    part: str
    connector: str
    ways: int | None = None
    keyed_as: str | None = None
    need: words.Need | None = None
    row: int = 0


@dataclass(frozen=True)
class Look:
    """looks.csv: what a photograph of a donor said when it was held against the part it would stand in for."""

    part: str
    beside: str
    looks: words.Likeness
    picture: str | None = None
    on: str | None = None
    note: str | None = None
    row: int = 0


@dataclass(frozen=True)
class Outcome:
    """outcomes.csv: what really happened."""

    donor: str
    on: str | None
    verdict_then: str | None
    happened: str
    note: str | None = None
    chance_then: float | None = None
    row: int = 0


@dataclass(frozen=True)
class Holding:
    """held_by.csv: a fastener that holds one part to another.

    `behind` is a conjunction of alternatives: every inner tuple must have one of its names off first.
    """

    part: str
    held_to: str
    fastener: str
    kind: words.FastenerKind
    count: int = 1
    thread: str | None = None
    tool: str | None = None
    minutes: float | None = None
    behind: tuple[tuple[str, ...], ...] = ()
    place: str | None = None
    cautions: tuple[str, ...] = ()
    certain: bool = True
    torque_nm: float | None = None
    single_use: bool = False
    note: str | None = None
    row: int = 0


@dataclass(frozen=True)
class WorkRow:
    """work.csv: what one job takes, of the folder's own or of data/tables. `group` is a material group, or `any`.

    `cost` is what is used up, in the build's currency.
    """

    do: str
    group: str
    minutes: float
    cost: float
    workmanship_mm: float
    tools: tuple[str, ...]
    source: str


def by_id(*ids: str | None) -> tuple[tuple[tuple[int | str, ...], str], ...]:
    """Sort key of things with these ids: F2 before F10, none before any.

    Examples
    --------
    >>> sorted(["F10", "a", "F2", "F02"], key=by_id)
    ['F02', 'F2', 'F10', 'a']
    """
    return tuple(
        (tuple(int(piece) if k % 2 else piece for k, piece in enumerate(_NUMBERS.split(one or ""))), one or "")
        for one in ids
    )  # fmt: skip


_NUMBERS = re.compile("([0-9]+)")
# How each sheet whose rows have ids is ordered. The newest of several readings is the one with the highest id.
_ORDER: dict[str, Callable[[Any], Any]] = {
    "models": lambda row: by_id(row.model),
    "parts": lambda row: by_id(row.part),
    "features": lambda row: by_id(row.part, row.feature),
    "readings": lambda row: by_id(row.part, row.reading),
    "neighbours": lambda row: by_id(row.part, row.edge, row.neighbour),
    "zones": lambda row: by_id(row.part, row.zone),
    "outlines": lambda row: by_id(row.part, row.kind, row.name),
    "connectors": lambda row: by_id(row.part, row.connector),
}


@dataclass(frozen=True)
class Build:
    """A whole build folder. Rows that have ids are put in the order of their ids, however the sheets list them.

    `work`: the folder's own work.csv, rows that stand before the shipped table.
    """

    settings: Settings = field(default_factory=Settings)
    models: tuple[VehicleModel, ...] = ()
    parts: tuple[Part, ...] = ()
    features: tuple[Feature, ...] = ()
    readings: tuple[Reading, ...] = ()
    offers: tuple[Offer, ...] = ()
    costs: tuple[Cost, ...] = ()
    neighbours: tuple[Neighbour, ...] = ()
    zones: tuple[Zone, ...] = ()
    outlines: tuple[Outline, ...] = ()
    connectors: tuple[Connector, ...] = ()
    outcomes: tuple[Outcome, ...] = ()
    holdings: tuple[Holding, ...] = ()
    looks: tuple[Look, ...] = ()
    work: tuple[WorkRow, ...] = ()

    def __post_init__(self) -> None:
        for sheet, key in _ORDER.items():
            object.__setattr__(self, sheet, tuple(sorted(getattr(self, sheet), key=key)))

    def part(self, part_id: str) -> Part | None:
        """Return the part of that id, or None."""
        return next((part for part in self.parts if part.part == part_id), None)

    def must_have(self, part_id: str) -> Part:
        """Return the part of that id.

        Raises
        ------
        FaultyInput
            There is none; with the id that was likely meant.
        """
        refuse_any(self.lacking((part_id,)))
        return next(part for part in self.parts if part.part == part_id)

    def lacking(self, named: Iterable[str]) -> tuple[Problem, ...]:
        """Return a fault for each named part that the build has not."""
        parts = [part.part for part in self.parts]
        return tuple(no_part(name, parts) for name in named if name not in parts)

    def features_of(self, part_id: str) -> tuple[Feature, ...]:
        """Return the features of a part, in the order of their ids."""
        return tuple(feature for feature in self.features if feature.part == part_id)

    def readings_of(self, part_id: str) -> tuple[Reading, ...]:
        """Return all readings of a part, those too that do not count any more, in the order of their ids."""
        return tuple(reading for reading in self.readings if reading.part == part_id)

    def came_off(self, host: str) -> tuple[Part, ...]:
        """Return the originals that came off a host, in the order of their ids."""
        return tuple(part for part in self.parts if part.origin == "original" and part.takes_place_of == host)

    def original_on(self, host: str, *named: str | None) -> Part | None:
        """Return the original that stood on a host: the host itself where it is one, else by `the_original`."""
        own = self.part(host)
        if own is not None and own.origin == "original":
            return own
        there = [part.part for part in self.came_off(host)]
        found = the_original(there, named, {feature.part for feature in self.features})
        return self.part(found) if found is not None else None

    def original_of(self, donor: str) -> Part | None:
        """Return the original that a donor would stand in for; None: it is no donor, or nothing came off there."""
        own = self.part(donor)
        if own is None or own.origin != "donor" or own.takes_place_of is None:
            return None
        place = self.part(own.takes_place_of)
        if place is not None and place.origin == "original":
            return place
        return self.original_on(own.takes_place_of)


def the_original(there: Sequence[str], named: Iterable[str | None], measured: Container[str]) -> str | None:
    """Return which of the originals that came off one place counts: one that is named, the first measured, the first.

    `there`: in their order. `named`: ids that are asked for, the most wanted first; those of other parts say nothing.
    `measured`: the parts of which features are listed.

    Examples
    --------
    >>> the_original(("o1", "o2", "o3"), (None, "donor"), {"o2"}), the_original(("o1", "o2"), (), set())
    ('o2', 'o1')
    """
    asked = (name for name in named if name in there)
    listed = (name for name in there if name in measured)
    return next(chain(asked, listed, there), None)


def around(build: Build, part: Part) -> list[str]:
    """Ids of the assemblies that a part belongs to, the nearest first."""
    found: list[str] = []
    while part.part_of is not None and part.part_of not in found:
        found.append(part.part_of)
        above = build.part(part.part_of)
        if above is None:
            break
        part = above
    return found


def other_levels(build: Build, donor: str) -> list[tuple[Part, bool]]:
    """Every other donor that is part of this one (True), or that this one is part of (False)."""
    own = build.part(donor)
    if own is None:
        return []
    outer = set(around(build, own))
    return [
        (part, part.part not in outer)
        for part in build.parts
        if part.origin == "donor" and part.takes_place_of and part.part != donor
        and (part.part in outer or donor in around(build, part))
    ]  # fmt: skip
