"""How parts come about, and the thresholds from which on a value is asked about."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from partkin.model.known import Making, OneDrawing
from partkin.tables.reader import rows_of, values_of


@cache
def making(scatter_mm: float | None = None) -> Making:
    """Return data/tables/making.csv; with another scatter, where one is given.

    Examples
    --------
    >>> making().scatter_mm
    0.1
    """
    rows = values_of("making.csv")
    one = dict(rows)
    return Making(
        scatter_mm=one["scatter"] if scatter_mm is None else scatter_mm,
        spreads_mm=tuple(value for what, value in rows if what == "spread"),
        one_hole=one["one hole"], two_holes=one["two holes"], group=one["group"], all_holes=one["all holes"],
        file_mm=one["file takes off"],
    )  # fmt: skip


@cache
def same_drawing() -> Mapping[str, OneDrawing]:
    """Return how likely one drawing is before anything is read, by what speaks for it.

    Examples
    --------
    >>> same_drawing()["nothing of the kind"].weight
    0.5
    """
    return MappingProxyType(
        {
            row["evidence"]: OneDrawing(float(row["weight"]), row["says"], row["source"])
            for row in rows_of("same_drawing.csv")
        }
    )


@cache
def _slip_rules() -> Mapping[str, float]:
    return MappingProxyType(dict(values_of("slips.csv")))


def slip_rule(name: str) -> float:
    """Return a threshold of data/tables/slips.csv, from which on a value is asked about.

    Examples
    --------
    >>> slip_rule("hole widest")
    2.5
    """
    return _slip_rules()[name]
