"""What may be done to make a donor fit."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Action:
    """One job of an adaptation.

    `do`: open out, slot, new hole, leave unused, spacer, longer bolt, thread insert, new clip, trim edge,
    move over, connector adapter. `to_mm`: diameter, width or thickness, as `do` says; `length_mm`,
    `angle_deg`: of a slot, in the donor's frame; `at_mm`: centre, in the donor's frame.
    """

    do: str
    feature: str
    part: str
    to_mm: float | None
    minutes: float | None
    cost: float | None
    says: str
    fixing: str | None = None
    length_mm: float | None = None
    angle_deg: float | None = None
    at_mm: tuple[float, ...] | None = None
    tools: tuple[str, ...] = ()
    order: int = 0
    source: str | None = None


@dataclass(frozen=True)
class RuledOut:
    """A cheaper job that safety, material or room forbids."""

    do: str
    feature: str
    says: str
    source: str


@dataclass(frozen=True)
class Adaptation:
    """A set of jobs that makes the donor fit, with the chance that it then does."""

    actions: tuple[Action, ...]
    minutes: float
    cost: float | None
    margin_mm: float
    proved_cheapest: bool
    bound_cost: float | None = None


@dataclass(frozen=True)
class AdaptationAnswer:
    """The cheapest adaptation first, then different ones; empty with `why` when none exists."""

    adaptations: tuple[Adaptation, ...]
    ruled_out: tuple[RuledOut, ...] = ()
    why: str | None = None


@dataclass(frozen=True)
class SeamDeparture:
    """How far a donor's tear seam or airbag door stands from the original's at the placement.

    A zone that only one side has carries None for the other's name and no departure: missing there.
    """

    kind: str
    donor_zone: str | None
    original_zone: str | None
    departure_mm: float | None
