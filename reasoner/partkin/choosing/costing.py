"""What a way costs when all is counted, and in which order the ways stand."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache

from partkin.model.build import Cost, Offer, Part, Settings
from partkin.model.choosing import Asking, Range, Ranking, Total, Way
from partkin.model.verdict import Verdict
from partkin.model.words import BOLTS_ON, DOES_NOT_FIT, NOT_ENOUGH, NOT_JUDGED, WITH_ADAPTATION
from partkin.shipped import shipped

UNSURE = (NOT_ENOUGH,)


@dataclass(frozen=True)
class Donor:
    """A donor with its verdict, and the part that it would stand in for."""

    part: Part
    verdict: Verdict
    original: Part | None = None


@cache
def shares() -> dict[str, float]:
    """Shares of price, carriage and hours that are lost when a part does not go on (data/tables/money.csv)."""
    with (shipped("data") / "tables" / "money.csv").open(encoding="utf-8", newline="") as sheet:
        return {row["what"]: float(row["value"]) for row in csv.DictReader(sheet)}


def chance_of(verdict: Verdict) -> float | None:
    """The chance that a donor goes on as planned; None where a value that is needed is missing.

    By the maker's own number it is taken as certain. What does not fit has none.
    """
    if verdict.verdict == WITH_ADAPTATION and verdict.adapted_chance is not None:
        return verdict.adapted_chance.fits
    if verdict.verdict == BOLTS_ON:
        return verdict.chance.fits if verdict.chance is not None else 1.0
    if verdict.verdict in (DOES_NOT_FIT, NOT_JUDGED):
        return 0.0 if verdict.verdict == DOES_NOT_FIT else None
    return verdict.chance.fits if verdict.chance is not None else None


def expected_cost(outlay: float, loss: float, chance: float | None) -> Range:
    """What a way costs on average, and where the chance is not known, between which amounts that lies.

    Parameters
    ----------
    outlay
        Paid when it goes on.
    loss
        Gone when it does not: the outlay less what comes back, and carriage again. The money for the next way
        is not in it.
    chance

    Examples
    --------
    >>> expected_cost(300.0, 180.0, 0.75)
    Range(low=270.0, high=270.0)
    >>> expected_cost(300.0, 180.0, None)
    Range(low=180.0, high=300.0)
    """
    if chance is None:
        return Range(min(outlay, loss), max(outlay, loss))
    mean = chance * outlay + (1.0 - chance) * loss
    return Range(round(mean, 2), round(mean, 2))


def cost_of_job(outlay: float, loss: float, chance: float | None, next_way: float | None) -> Range | None:
    """What it costs on average until the job is done: where it does not go on, the next way is paid as well."""
    if next_way is None and (chance is None or chance < 1.0):
        return None
    after = loss + (next_way or 0.0)
    if chance is None:
        return Range(round(min(outlay, after), 2), round(max(outlay, after), 2))
    mean = round(chance * outlay + (1.0 - chance) * after, 2)
    return Range(mean, mean)


def way_of_donor(donor: Donor, offer: Offer | None, settings: Settings) -> Way:
    """Count what a donor costs, as far as it is known."""
    verdict, part = donor.verdict, donor.part
    work = verdict.adaptation if verdict.verdict == WITH_ADAPTATION else None
    adaptation = _work_cost(work.minutes, work.cost, settings) if work is not None else 0.0
    says = [*_said_of(verdict), *_trim(donor)]
    if work is not None and adaptation is None:
        says.append(f"{work.minutes:g} min of adaptation, not priced: the build has no labour_rate")
    way = _priced(offer, settings, says)
    chance = chance_of(verdict)
    return _with_risk(
        replace(
            way, option="donor", part=part.part, verdict=verdict.verdict, chance=chance, adaptation=adaptation,
            ruled_out=_why_out(verdict) or way.ruled_out, says=tuple(says),
        )
    )  # fmt: skip


def way_of_offer(offer: Offer, settings: Settings) -> Way:
    """Count what repair, new or custom costs: taken to do the job once it is paid."""
    says: list[str] = []
    way = _priced(offer, settings, says)
    return _with_risk(replace(way, option=offer.option, part=offer.part, chance=1.0, adaptation=0.0, says=tuple(says)))


def _priced(offer: Offer | None, settings: Settings, says: list[str]) -> Way:
    """The sums that an offer names; what it does not name is said."""
    labour: float | None = 0.0
    if offer is None or offer.price is None:
        says.append("its price is not known")
    if offer is not None and offer.shipping is None:
        says.append("carriage is not stated; counted as none")
    if offer is not None and offer.hours:
        labour = round(offer.hours * settings.labour_rate, 2) if settings.labour_rate is not None else None
        if labour is None:
            says.append(f"{offer.hours:g} h of work, not priced: the build has no labour_rate")
    sold = offer is not None and offer.available is False
    return Way(
        option="donor", part=None, verdict=None, chance=None, price=offer.price if offer else None,
        carriage=(offer.shipping or 0.0) if offer else None, adaptation=None, labour=labour, trim=None, expected=None,
        until_done=None, worst=None, available=offer.available if offer else None,
        ruled_out="not to be had" if sold else None,
    )  # fmt: skip


def _with_risk(way: Way) -> Way:
    """Add what it costs on average and at worst."""
    outlay = outlay_of(way)
    if outlay is None or way.ruled_out:
        return way
    loss = loss_of(way)
    # No donor is certain until it is on: what its readings say is an estimate.
    worst = round(loss if way.option == "donor" else outlay, 2)
    return replace(way, expected=expected_cost(outlay, loss, way.chance), worst=worst)


def outlay_of(way: Way) -> float | None:
    """What is paid when all goes as planned; None where the price or the work is not priced."""
    parts = (way.price, way.carriage, way.adaptation, way.labour)
    return None if any(value is None for value in parts) else round(sum(value or 0.0 for value in parts), 2)


def loss_of(way: Way) -> float:
    """What is gone when it does not go on: the outlay less what a resale brings, and carriage once more."""
    share = shares()
    price, carriage = way.price or 0.0, way.carriage or 0.0
    work = (way.adaptation or 0.0) + (way.labour or 0.0) * share["wasted_hours"]
    return price * (1.0 - share["resale"]) + carriage * (1.0 + share["return_carriage"]) + work


def _work_cost(minutes: float, cost: float | None, settings: Settings) -> float | None:
    if cost is not None:
        return cost
    return round(minutes / 60.0 * settings.labour_rate, 2) if settings.labour_rate is not None else None


def _why_out(verdict: Verdict) -> str | None:
    if verdict.verdict == DOES_NOT_FIT:
        return "does not fit"
    return "never judged: go by the maker's part number" if verdict.verdict == NOT_JUDGED else None


def _said_of(verdict: Verdict) -> list[str]:
    said = [unknown.says for unknown in verdict.unknown[:1]] if verdict.verdict in UNSURE else []
    return said + ["held: see the cautions of check"] * any(caution.hold for caution in verdict.safety)


def _trim(donor: Donor) -> list[str]:
    """A finish that differs has to be matched; on one side alone it shows."""
    own, other = donor.part.finish, donor.original.finish if donor.original is not None else None
    if not own or not other or own.strip().lower() == other.strip().lower():
        return []
    return [f"finish {own} against {other}: price the match before you buy (common practice, no source)"]


def rank(host: str, donors: Iterable[Donor], offers: Iterable[Offer], settings: Settings) -> Ranking:
    """Put all ways side by side, the cheapest until the job is done first.

    Parameters
    ----------
    host
    donors
        Every donor of that host, with its verdict.
    offers
        For them, and for repair, new and custom of the original.
    settings

    Returns
    -------
    Ranking
    """
    offers = tuple(offers)
    ways = [way for donor in donors for way in _ways_of(donor, offers, settings)]
    ways += [way_of_offer(offer, settings) for offer in offers if offer.option != "donor"]
    ways = [replace(way, until_done=_until_done(way, ways)) for way in ways]
    ways.sort(key=_place)
    return Ranking(host, settings.currency, tuple(ways), _changes(ways), _asking(ways))


def _ways_of(donor: Donor, offers: tuple[Offer, ...], settings: Settings) -> list[Way]:
    mine = [offer for offer in offers if offer.option == "donor" and offer.part == donor.part.part]
    return [way_of_donor(donor, offer, settings) for offer in mine] or [way_of_donor(donor, None, settings)]


def _until_done(way: Way, ways: list[Way]) -> Range | None:
    outlay = outlay_of(way)
    if outlay is None or way.ruled_out:
        return None
    sure = [
        cost for other in ways
        if other is not way and other.chance == 1.0 and not other.ruled_out and (cost := outlay_of(other)) is not None
    ]  # fmt: skip
    return cost_of_job(outlay, loss_of(way), way.chance, min(sure, default=None))


def _place(way: Way) -> tuple[bool, bool, bool, float, str, str]:
    """Ruled out last, then without a price, then without a sure way behind it; names break ties."""
    cost = way.until_done or way.expected
    middle = 0.0 if cost is None else (cost.low + (cost.high if cost.high is not None else cost.low)) / 2
    return (way.ruled_out is not None, cost is None, way.until_done is None, middle, way.option, way.part or "")


def _changes(ways: list[Way]) -> tuple[str, ...]:
    """What would put the second way before the first."""
    priced = [way for way in ways if way.until_done is not None or way.expected is not None]
    open_prices = [f"a price for {_name(way)}" for way in ways if not way.ruled_out and outlay_of(way) is None]
    found = [f"{wanted} may change the order" for wanted in open_prices]
    if len(priced) < 2:
        return tuple(found)
    first, second = priced[0], priced[1]
    gap = _middle(second) - _middle(first)
    if gap == 0:
        return (f"{_name(first)} and {_name(second)} cost the same: a tie", *found)
    dearer, cheaper = f"{_name(first)} costs {gap:.2f} more", f"{_name(second)} {gap:.2f} less"
    found.insert(0, f"{_name(second)} comes first if {dearer}, or {cheaper}")
    return tuple(found)


def _middle(way: Way) -> float:
    cost = way.until_done or way.expected or Range(0.0, 0.0)
    return (cost.low + (cost.high if cost.high is not None else cost.low)) / 2


def _name(way: Way) -> str:
    return way.part if way.option == "donor" and way.part else way.option


def _asking(ways: list[Way]) -> tuple[Asking, ...]:
    """The most that finding out before buying can save: what a wrong purchase costs, times how likely it is."""
    found = []
    for way in ways:
        outlay = outlay_of(way)
        if way.verdict not in UNSURE or outlay is None or way.chance is None or way.ruled_out:
            continue
        others = [outlay_of(o) for o in ways if o is not way and o.chance == 1.0 and not o.ruled_out]
        fallback = min((cost for cost in others if cost is not None), default=None)
        if fallback is None:
            saves = (1.0 - way.chance) * loss_of(way)
        else:
            blind = min(way.chance * outlay + (1.0 - way.chance) * (loss_of(way) + fallback), fallback)
            saves = blind - (way.chance * min(outlay, fallback) + (1.0 - way.chance) * fallback)
        found.append(Asking(way.part or "", round(max(saves, 0.0), 2), way.says[0] if way.says else ""))
    return tuple(found)


def total(costs: Iterable[Cost], ways: Iterable[Way], settings: Settings) -> Total:
    """The running total of the build, by kind, and after each way that is open."""
    kinds: dict[str, float] = {}
    for cost in costs:
        kinds[cost.what] = round(kinds.get(cost.what, 0.0) + cost.amount, 2)
    spent = round(sum(kinds.values()), 2)
    after = tuple(
        (way, None if (out := outlay_of(way)) is None else round(spent + out, 2)) for way in ways if not way.ruled_out
    )
    return Total(settings.currency, spent, tuple(kinds.items()), after)


__all__ = ["Donor", "chance_of", "cost_of_job", "expected_cost", "rank", "total"]
