"""What undoing costs: data/tables/fasteners.csv and lifting.csv, read once."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from partkin.shipped import shipped


@dataclass(frozen=True)
class FastenerRow:
    """What one kind of fastener takes, each; `bench_factor`: how much of it at a bench.

    `loose`: pieces come away that must be bagged. `holds`: it bears the part's weight. `label`: bag or tag.
    """

    kind: str
    minutes_each: float
    bench_factor: float
    loose: bool
    holds: bool
    label: str
    source: str


@dataclass(frozen=True)
class LiftRow:
    """How many people lift up to a mass (None: no upper end), and what fetching them costs in minutes."""

    up_to_kg: float | None
    people_least: int
    people_most: int
    hoist: bool
    minutes: float
    says: str
    source: str


def _rows(name: str) -> list[dict[str, str]]:
    with (shipped("data") / "tables" / name).open(encoding="utf-8", newline="") as sheet:
        return list(csv.DictReader(sheet))


@cache
def fastener_rows() -> Mapping[str, FastenerRow]:
    """Return data/tables/fasteners.csv by kind, in table order.

    Examples
    --------
    >>> fastener_rows()["screw"].minutes_each
    0.5
    """
    return MappingProxyType(
        {
            row["kind"]: FastenerRow(
                kind=row["kind"],
                minutes_each=float(row["minutes_each"]),
                bench_factor=float(row["bench_factor"]),
                loose=row["loose"] == "yes",
                holds=row["holds"] == "yes",
                label=row["label"],
                source=row["source"],
            )
            for row in _rows("fasteners.csv")
        }
    )


@cache
def lift_rows() -> tuple[LiftRow, ...]:
    """Return data/tables/lifting.csv, lightest first."""
    return tuple(
        LiftRow(
            up_to_kg=float(row["up_to_kg"]) if row["up_to_kg"] else None,
            people_least=int(row["people_least"]),
            people_most=int(row["people_most"]),
            hoist=row["hoist"] == "yes",
            minutes=float(row["minutes"]),
            says=row["says"],
            source=row["source"],
        )
        for row in _rows("lifting.csv")
    )


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
