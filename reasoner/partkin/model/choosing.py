"""Ways to go, side by side, with what each costs and risks. Money in the build's currency; None: not known."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Range:
    """Money that is only known to lie between two amounts; `high` None: no upper end is known."""

    low: float
    high: float | None


@dataclass(frozen=True)
class Way:
    """One way to get a part that does the job.

    Attributes
    ----------
    option
        donor, repair, new or custom.
    part
        Part id, or None.
    verdict
        Of a donor; None otherwise.
    chance
        That it does the job as planned: of a donor, that it goes on (after its adaptation); 1 for other ways.
        None: not known.
    price, carriage, adaptation, labour, trim
        What is paid out: None where not known. `adaptation` and `labour` at the build's labour rate.
    expected
        Money out on average: what is paid if it goes on, and the loss if it does not, weighed by the chance.
    until_done
        On average until the job is done: where it does not go on, the cheapest sure way is paid as well.
    worst
        Money gone if it does not go on after all.
    available
    ruled_out
        Why this is no way at all (does not fit, not for sale, never judged); None: it is one.
    says
        What is not known or must be thought of, in words.
    """

    option: str
    part: str | None
    verdict: str | None
    chance: float | None
    price: float | None
    carriage: float | None
    adaptation: float | None
    labour: float | None
    trim: float | None
    expected: Range | None
    until_done: Range | None
    worst: float | None
    available: bool | None
    ruled_out: str | None
    says: tuple[str, ...] = ()


@dataclass(frozen=True)
class Ranking:
    """All ways for one host, best first; those ruled out last.

    `change`: what would change the order, in words. `asking`: for a donor that is not certain, the most that it
    is worth to find out before buying, and from what reading.
    """

    host: str
    currency: str | None
    ways: tuple[Way, ...]
    change: tuple[str, ...] = ()
    asking: tuple[Asking, ...] = ()


@dataclass(frozen=True)
class Asking:
    """What a reading before buying is expected to save, at most."""

    donor: str
    saves_at_most: float
    says: str


@dataclass(frozen=True)
class Total:
    """The running total of the build: by kind, and after each way."""

    currency: str | None
    spent: float
    by_kind: tuple[tuple[str, float], ...]
    after: tuple[tuple[Way, float | None], ...] = ()


@dataclass(frozen=True)
class Bin:
    """Stated chances between two values, and how often the donor then went on."""

    low: float
    high: float
    count: int
    stated: float
    happened: float
    happened_low: float
    happened_high: float


@dataclass(frozen=True)
class Calibration:
    """How the stated chances have fared; `enough` False: too few to tell."""

    bins: tuple[Bin, ...]
    count: int
    brier: float | None
    enough: bool
    says: str
