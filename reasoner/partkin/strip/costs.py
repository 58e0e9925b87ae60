"""What undoing costs: data/tables/fasteners.csv and lifting.csv, read once."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import NamedTuple

from partkin.tables import rows_of


class FastenerRow(NamedTuple):
    """What one kind of fastener takes, each; `bench_factor`: how much of it at a bench.

    `holds`: it bears the part's weight. `label`: bag or tag.
    """

    minutes_each: float
    bench_factor: float
    holds: bool
    label: str
    source: str


class LiftRow(NamedTuple):
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
    found = {}
    for row in rows_of("fasteners.csv"):
        minutes, factor = float(row["minutes_each"]), float(row["bench_factor"])
        found[row["kind"]] = FastenerRow(minutes, factor, row["holds"] == "yes", row["label"], row["source"])
    return MappingProxyType(found)


@cache
def lift_rows() -> tuple[LiftRow, ...]:
    """Return data/tables/lifting.csv, lightest first."""
    found = []
    for row in rows_of("lifting.csv"):
        up_to_kg, hoist = float(row["up_to_kg"]) if row["up_to_kg"] else None, row["hoist"] == "yes"
        people, minutes = int(row["people_least"]), float(row["minutes"])
        found.append(LiftRow(up_to_kg, people, hoist, minutes, row["says"], row["source"]))
    return tuple(found)


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
