"""How far things may be out: readings by instrument, parts by how they come about, and when a value is asked about."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache
from typing import NamedTuple

from partkin.model.known import Making, OneDrawing
from partkin.tables.reader import by_first, rows_of, values_of

COORDINATE_INSTRUMENT = "steel rule"
UNKNOWN_INSTRUMENT = "seller"


class InstrumentRow(NamedTuple):
    """How far a reading of one instrument may be out: a + b L, and what reading it by eye adds.

    `whole_metres`: L is rounded up to the next metre, as the directive on tapes has it. `centres_mm` is
    added to a distance between centres.
    """

    instrument: str
    a_mm: float
    b_mm_per_m: float
    whole_metres: bool
    by_eye_mm: float
    centres_mm: float
    meaning: str
    source: str
    mark: str


def instruments() -> Mapping[str, InstrumentRow]:
    """Return data/tables/instruments.csv by instrument, in table order."""
    return by_first("instruments.csv", InstrumentRow)


def greatest_error_mm(instrument: str | None, length_mm: float, quantity: str = "centres") -> float:
    """Return the greatest error believed possible of a reading whose row states none.

    It is the half-width in mm of a rectangular distribution (JCGM 100:2008, 4.3.7). `instrument`: a word of the
    readings sheet, or `rule`; None: not known how it was taken, which counts as told by a seller. `quantity`: a length
    of the readings sheet; centres of holes are harder to judge than edges.

    Examples
    --------
    A tape of class II between 1 m and 2 m: 0.3 + 0.2 x 2, and half a millimetre of reading by eye.

    >>> greatest_error_mm("tape", 1200.0)
    1.2
    """
    if quantity == "mass":
        raise ValueError("a mass has no error in millimetres")
    name = UNKNOWN_INSTRUMENT if instrument is None else instrument
    row = instruments()[COORDINATE_INSTRUMENT if name == "rule" else name]
    metres = abs(length_mm) / 1000.0
    if row.whole_metres:
        metres = max(1.0, math.ceil(metres))
    centres_mm = row.centres_mm if quantity == "centres" else 0.0
    return round(row.a_mm + row.b_mm_per_m * metres + row.by_eye_mm + centres_mm, 6)


@cache
def coordinate_error_mm() -> float:
    """Return the greatest error of a coordinate or a zone's corner that states none: a steel rule's.

    Examples
    --------
    >>> coordinate_error_mm()
    0.5
    """
    return greatest_error_mm(COORDINATE_INSTRUMENT, 0.0)


class ReadingCost(NamedTuple):
    """What a reading takes: minutes of your time, price in the build's currency, the longest distance in one go.

    `at_hand`: the instrument is used on a part that lies before you.
    """

    instrument: str
    minutes: float
    price: float
    longest_mm: float
    at_hand: bool
    meaning: str
    source: str


def reading_costs() -> Mapping[str, ReadingCost]:
    """Return data/tables/reading_costs.csv by instrument.

    Examples
    --------
    >>> reading_costs()["caliper"].minutes < reading_costs()["seller"].minutes
    True
    """
    return by_first("reading_costs.csv", ReadingCost)


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
    rows = rows_of("same_drawing.csv")
    return {row["evidence"]: OneDrawing(float(row["weight"]), row["says"], row["source"]) for row in rows}


def slip_rule(name: str) -> float:
    """Return a threshold of data/tables/slips.csv, from which on a value is asked about.

    Examples
    --------
    >>> slip_rule("hole widest")
    2.5
    """
    return dict(values_of("slips.csv"))[name]
