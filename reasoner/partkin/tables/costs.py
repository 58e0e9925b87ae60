"""What undoing, lifting and a part that does not go on cost."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from partkin.tables.reader import read, values_of


@dataclass(frozen=True)
class FastenerRow:
    """What one kind of fastener takes, each; `bench_factor`: how much of it at a bench.

    `holds`: it bears the part's weight. `label`: bag or tag.
    """

    kind: str
    minutes_each: float
    bench_factor: float
    holds: bool
    label: str
    source: str


@dataclass(frozen=True)
class LiftRow:
    """How many people lift up to a mass (None: no upper end), and what fetching them costs in minutes."""

    up_to_kg: float | None
    people_least: int
    hoist: bool
    minutes: float
    says: str
    source: str


@cache
def fastener_rows() -> Mapping[str, FastenerRow]:
    """Return data/tables/fasteners.csv by kind, in table order.

    Examples
    --------
    >>> fastener_rows()["screw"].minutes_each
    0.5
    """
    return MappingProxyType({row.kind: row for row in read("fasteners.csv", FastenerRow)})


@cache
def lift_rows() -> tuple[LiftRow, ...]:
    """Return data/tables/lifting.csv, lightest first."""
    return read("lifting.csv", LiftRow)


def lift_row(mass_kg: float) -> LiftRow:
    """Return how a mass is lifted.

    Examples
    --------
    >>> lift_row(50.0).says
    'two to four people or a hoist'
    """
    return next(row for row in lift_rows() if row.up_to_kg is None or mass_kg <= row.up_to_kg)


def place_minutes() -> float:
    """What going to another place on the vehicle costs."""
    return fastener_rows()["change of place"].minutes_each


def bench_minutes() -> float:
    """What carrying an assembly to the bench and laying it out costs."""
    return fastener_rows()["bench"].minutes_each


@cache
def lost_shares() -> Mapping[str, float]:
    """Return the shares of price, carriage and hours that are lost when a part does not go on (money.csv)."""
    return MappingProxyType(dict(values_of("money.csv")))
