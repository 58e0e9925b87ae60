"""Ways to go, side by side, with what each costs and risks. Money in the build's currency; None: not known."""

from __future__ import annotations

from dataclasses import dataclass

from partkin.model.known import FittedMaking


@dataclass(frozen=True)
class Range:
    """Money that is only known to lie between two amounts; `high` None: no upper end is known."""

    low: float
    high: float | None


@dataclass(frozen=True)
class Way:
    """One way to get a part that does the job.

    `option`: donor, repair, new or custom. `verdict`: of a donor. `chance`: that it does the job as planned: of a
    donor, that it goes on (after its adaptation); 1 for other ways; None: not known.
    `price` to `trim` are paid out, None where not known; `adaptation` and `labour` at the build's labour rate, `trim`
    to match a finish that differs. `expected`: money out on average: what is paid if it goes on, and the loss if it
    does not, weighed by the chance; open above where carriage or trim is not known. `until_done`: on average until the
    job is done: where it does not go on, the cheapest sure way is paid as well. `lost`: gone if it does not go on after
    all. `worst`: money out in the worst case, until the job is done: of a donor, what is lost and the cheapest way that
    is no donor; open above where there is none.
    `ruled_out`: why this is no way at all (does not fit, not for sale, never judged); None: it is one. `says`: what is
    not known or must be thought of. `called`: beside the others, with its seller where there are several of one name.
    `level`: of a donor the largest piece of it that goes on (an assembly round it, itself, or a part of it), by part
    id; None: no piece does as far as is known.
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
    worst: Range | None
    available: bool | None
    ruled_out: str | None
    says: tuple[str, ...] = ()
    lost: float | None = None
    level: str | None = None
    seller: str | None = None
    called: str = ""


@dataclass(frozen=True)
class Ranking:
    """All ways for one host, best first; those ruled out last.

    `change`: what would change the order, in words. `asking`: for a donor that is not certain, what it is worth to
    find out before buying, and from what reading.
    """

    host: str
    currency: str | None
    ways: tuple[Way, ...]
    change: tuple[str, ...] = ()
    asking: tuple[Asking, ...] = ()


@dataclass(frozen=True)
class Foretold:
    """A reading that may be taken before buying, with what it may say.

    `price`, `minutes`: what it costs to take. `results`: (share, chance) each: how likely it comes out so, and the
    chance that the donor goes on once it has.
    """

    reading: str
    price: float
    minutes: float
    results: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Asking:
    """What it is worth to find out before buying a donor.

    `donor`: as the way is called. `saves_at_most`: on average, if one could know for certain; where the chance is not
    known, at the chance where it is worth most. `says`: the question. `saves`: on average, by the one reading that is
    worth most, its own cost not yet taken off; None: it cannot be told. `costs`: of that `reading`, its price and its
    minutes at the build's rate (None: no rate).
    """

    donor: str
    saves_at_most: float
    says: str
    saves: float | None = None
    costs: float | None = None
    reading: str | None = None


@dataclass(frozen=True)
class Total:
    """The running total of the build: by kind, and after each way."""

    currency: str | None
    spent: float
    by_kind: tuple[tuple[str, float], ...]
    after: tuple[tuple[Way, float | None], ...] = ()


@dataclass(frozen=True)
class Bin:
    """Stated chances between two values, and how often the donor then went on; 95 % bounds, of all bins together."""

    low: float
    high: float
    count: int
    stated: float
    happened: float
    happened_low: float
    happened_high: float


@dataclass(frozen=True)
class Calibration:
    """How the stated chances have fared; `enough` False: too few to tell.

    `sisters`: how many donors were measured against what they take the place of; `making`: what these tell of sister
    parts, None where they are too few; `making_says`: the same in words, beside what is taken for granted.
    """

    bins: tuple[Bin, ...]
    count: int
    brier: float | None
    enough: bool
    says: str
    sisters: int = 0
    making: FittedMaking | None = None
    making_says: str = ""
