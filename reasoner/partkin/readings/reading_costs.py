"""Which instrument to take, and what effort a reading with it is."""

from __future__ import annotations

from partkin.model.words import Instrument
from partkin.tables.instruments import greatest_error_mm, reading_costs

SELLER: Instrument = "seller"
BENCH: tuple[Instrument, ...] = ("caliper", "steel rule", "tape")


def effort_minutes(instrument: str, labour_rate: float | None = None) -> float:
    """Minutes that a reading takes, its price counted in minutes of work where an hourly rate is known.

    Examples
    --------
    >>> effort_minutes("template"), effort_minutes("template", 60.0)
    (15.0, 16.0)
    """
    row = reading_costs()[instrument]
    return row.minutes + (60.0 * row.price / labour_rate if labour_rate else 0.0)


def to_read_as_finely(length_mm: float, error_mm: float, quantity: str = "centres") -> str | None:
    """Say with what, on the bench, a length is read so finely; None: with none of it.

    Examples
    --------
    >>> to_read_as_finely(80.0, 0.5), to_read_as_finely(80.0, 0.2), to_read_as_finely(612.0, 0.1)
    ('steel rule', 'caliper across the two edges', None)
    """
    ways = [(quantity, "")] if quantity != "centres" else [("centres", ""), ("near edges", " across the two edges")]
    for how, says in ways:
        for name in reversed(BENCH):
            reaches = length_mm <= reading_costs()[name].longest_mm
            if reaches and greatest_error_mm(name, length_mm, how) <= error_mm * (1.0 + 1e-9):
                return f"{name}{says}"
    return None


def instrument_for(length_mm: float, at_hand: bool, quantity: str = "centres") -> Instrument:
    """The instrument to take: the seller's where the part is not at hand, else the finest that reaches.

    Examples
    --------
    >>> instrument_for(80.0, True), instrument_for(612.0, True), instrument_for(1276.0, True)
    ('caliper', 'steel rule', 'tape')
    >>> instrument_for(80.0, False)
    'seller'
    """
    if not at_hand:
        return SELLER
    reaching = [name for name in BENCH if length_mm <= reading_costs()[name].longest_mm] or ["tape"]
    return min(reaching, key=lambda name: (greatest_error_mm(name, length_mm, quantity), BENCH.index(name)))
