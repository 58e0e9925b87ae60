"""What a way costs when all is counted."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from partkin.model.adapting import Action, Adaptation
from partkin.model.build import Cost, Offer, Part, Settings
from partkin.model.choosing import Foretold, Range, Total, Way
from partkin.model.verdict import Verdict
from partkin.model.words import BOLTS_ON, DOES_NOT_FIT, GOES_ON, NOT_ENOUGH, NOT_JUDGED, WITH_ADAPTATION
from partkin.tables.work import lost_shares

WHY_OUT = {DOES_NOT_FIT: "does not fit", NOT_JUDGED: "never judged: go by the maker's part number"}


@dataclass(frozen=True)
class Donor:
    """A donor with its verdict, the part that it would stand in for, and what could be read before buying.

    `says`: what has to be thought of besides.
    """

    part: Part
    verdict: Verdict
    original: Part | None = None
    foretold: tuple[Foretold, ...] = ()
    says: tuple[str, ...] = ()


def chance_of(verdict: Verdict, confidence: float = 0.95) -> float | None:
    """The chance that a donor goes on as planned; None where a value that is needed is missing.

    By the maker's own number, whatever the readings say, it is taken as certain. What does not fit has none.
    """
    if verdict.verdict == WITH_ADAPTATION and verdict.adapted_chance is not None:
        return verdict.adapted_chance.fits
    if verdict.verdict == BOLTS_ON:
        by_reading = verdict.chance is not None and verdict.chance.fits >= confidence
        return verdict.chance.fits if verdict.chance is not None and by_reading else 1.0
    if verdict.verdict in (DOES_NOT_FIT, NOT_JUDGED):
        return 0.0 if verdict.verdict == DOES_NOT_FIT else None
    return verdict.chance.fits if verdict.chance is not None else None


def expected_cost(outlay: float, loss: float, chance: float | None) -> Range:
    """What a way costs on average, and where the chance is not known, between which amounts that lies.

    `outlay`: paid when it goes on. `loss`: gone when it does not (the outlay less what comes back, and carriage again);
    the money for the next way is not in it.

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


def way_of_donor(donor: Donor, offer: Offer | None, settings: Settings, match: Offer | None = None) -> Way:
    """Count what a donor costs, as far as it is known; `match`: what matching its finish costs."""
    verdict, part = donor.verdict, donor.part
    work = verdict.adaptation if verdict.verdict in (WITH_ADAPTATION, NOT_ENOUGH) else None
    minutes = (work.minutes if work is not None else 0.0) + sum(job.minutes or 0.0 for job in verdict.besides)
    adaptation = _work_cost(work, verdict.besides, settings)
    says = [*_said_of(verdict), *donor.says]
    if adaptation is None:
        says.append(f"{minutes:g} min of adaptation, not priced: the build has no labour_rate")
    way = _priced(offer, settings, says)
    trim = _trim(donor, match, settings, says)
    chance = chance_of(verdict, settings.confidence)
    # Where it is open, and work makes it go on whichever way the readings fall, as planned is with that.
    if verdict.verdict == NOT_ENOUGH and verdict.adaptation is not None and verdict.adapted_chance is not None:
        chance = verdict.adapted_chance.fits
    level = level_of(verdict)
    if level is not None and level != part.part:
        says += [found.says for found in verdict.levels if found.part == level]
    return replace(
        way, option=offer.option if offer is not None else "donor", part=part.part, verdict=verdict.verdict,
        chance=chance, adaptation=adaptation, trim=trim, ruled_out=WHY_OUT.get(verdict.verdict) or way.ruled_out,
        says=tuple(says), level=level,
    )  # fmt: skip


def way_of_offer(offer: Offer, settings: Settings) -> Way:
    """Count what repair, new or custom costs: taken to do the job once it is paid."""
    says: list[str] = []
    way = _priced(offer, settings, says)
    return replace(way, option=offer.option, part=offer.part, chance=1.0, adaptation=0.0, says=tuple(says))


def level_of(verdict: Verdict) -> str | None:
    """The largest piece that goes on: an assembly round the donor, the donor itself, or a part within it."""
    goes_on = [level for level in verdict.levels if level.verdict in GOES_ON]
    around = [level.part for level in goes_on if not level.within]
    itself = [verdict.donor] if verdict.verdict in GOES_ON else []
    within = [level.part for level in goes_on if level.within]
    return next(iter((*around, *itself, *within)), None)


def _priced(offer: Offer | None, settings: Settings, says: list[str]) -> Way:
    """The sums that an offer names; what it does not name is said."""
    labour: float | None = 0.0
    if offer is None or offer.price is None:
        says.append("its price is not known")
    if offer is not None and offer.shipping is None:
        says.append("carriage is not stated: what it comes to is at least what is shown")
    if offer is not None and offer.hours:
        labour = round(offer.hours * settings.labour_rate, 2) if settings.labour_rate is not None else None
        if labour is None:
            says.append(f"{offer.hours:g} h of work, not priced: the build has no labour_rate")
    sold = offer is not None and offer.available is False
    return Way(
        option="donor", part=None, verdict=None, chance=None, price=offer.price if offer else None,
        carriage=offer.shipping if offer else None, adaptation=None, labour=labour, trim=0.0, expected=None,
        until_done=None, worst=None, available=offer.available if offer else None,
        ruled_out="not to be had" if sold else None, seller=offer.seller if offer else None,
    )  # fmt: skip


def with_risk(way: Way, ways: list[Way]) -> Way:
    """Add what it costs on average, what is lost where it does not go on, and the worst case."""
    outlay = outlay_of(way)
    if outlay is None or way.ruled_out:
        return way
    loss = round(loss_of(way), 2) if way.verdict is not None else None
    expected = expected_cost(outlay, loss if loss is not None else outlay, way.chance)
    until = cost_of_job(outlay, loss if loss is not None else outlay, way.chance, sure_way(way, ways))
    unopened = not open_above(way)
    return replace(
        way,
        expected=expected if unopened else Range(expected.low, None),
        until_done=until if unopened or until is None else Range(until.low, None),
        lost=loss,
        worst=_worst(way, outlay, loss, ways),
    )


def _worst(way: Way, outlay: float, loss: float | None, ways: list[Way]) -> Range:
    """Money out in the worst case. No donor is certain until it is on: what its readings say is an estimate."""
    if loss is None:
        return Range(outlay, None if open_above(way) else outlay)
    others = [other for other in ways if other.verdict is None and not other.ruled_out and outlay_of(other) is not None]
    if not others:
        return Range(max(outlay, loss), None)
    cheapest = min(others, key=lambda other: outlay_of(other) or 0.0)
    low = round(max(outlay, loss + (outlay_of(cheapest) or 0.0)), 2)
    return Range(low, None if open_above(way) or open_above(cheapest) else low)


def sure_way(way: Way, ways: list[Way]) -> float | None:
    """What the cheapest other way that is sure costs; None: there is none with a price.

    The same part of another seller is no other way: where one does not go on, neither does the next.
    """
    sure = [
        cost for other in ways
        if other is not way and other.chance == 1.0 and not other.ruled_out and (cost := outlay_of(other)) is not None
        and (way.verdict is None or other.part != way.part)
    ]  # fmt: skip
    return min(sure, default=None)


def outlay_of(way: Way) -> float | None:
    """What is paid when all goes as planned, at least; None where the price or the work is not priced."""
    needed = (way.price, way.adaptation, way.labour)
    if any(value is None for value in needed):
        return None
    return round(sum(value or 0.0 for value in (*needed, way.carriage, way.trim)), 2)


def open_above(way: Way) -> bool:
    """Whether something that has to be paid besides is not known: carriage, or matching the finish."""
    return way.carriage is None or way.trim is None


def loss_of(way: Way) -> float:
    """What is gone when it does not go on: the outlay less what a resale brings, and carriage once more.

    Matching its finish is not lost: that is paid only once it goes on.
    """
    share = lost_shares()
    price, carriage = way.price or 0.0, way.carriage or 0.0
    work = (way.adaptation or 0.0) + (way.labour or 0.0) * share["wasted_hours"]
    return price * (1.0 - share["resale"]) + carriage * (1.0 + share["return_carriage"]) + work


def _work_cost(work: Adaptation | None, besides: Iterable[Action], settings: Settings) -> float | None:
    """What the work at the fixings and the jobs beside them (edges, connectors, fasteners) cost together."""
    jobs = [(job.minutes or 0.0, job.cost) for job in besides]
    jobs += [(work.minutes, work.cost)] if work is not None else []
    total_cost = 0.0
    for minutes, cost in jobs:
        if cost is None and minutes and settings.labour_rate is None:
            return None
        total_cost += cost if cost is not None else minutes / 60.0 * (settings.labour_rate or 0.0)
    return round(total_cost, 2)


def _said_of(verdict: Verdict) -> list[str]:
    said = [unknown.says for unknown in verdict.unknown[:1]] if verdict.verdict == NOT_ENOUGH else []
    said += [unknown.says for unknown in verdict.unknown if unknown.what == "readings against part number"]
    if verdict.verdict == NOT_ENOUGH and verdict.adaptation is not None:
        said.append("the work that makes it go on whichever way the readings fall is counted in")
    return said + ["held: see the cautions of check"] * any(caution.hold for caution in verdict.safety)


def _trim(donor: Donor, match: Offer | None, settings: Settings, says: list[str]) -> float | None:
    """What it costs to match the finish, where it differs: a repair or custom offer that names the donor says."""
    if match is not None and match.price is not None:
        hours = match.hours or 0.0
        if not hours or settings.labour_rate is not None:
            return round(match.price + (match.shipping or 0.0) + hours * (settings.labour_rate or 0.0), 2)
        says.append(f"{hours:g} h of matching its finish, not priced: the build has no labour_rate")
        return None
    own, other = donor.part.finish, donor.original.finish if donor.original is not None else None
    if (own or "").strip().lower() == (other or "").strip().lower() or donor.original is None:
        return 0.0
    if not own or not other:
        says.append(f"the finish of {'the original' if own else donor.part.part} is not known: matching it may cost")
        return None
    says.append(
        f"finish {own} against {other}: price the match before you buy, in offers.csv as custom for {donor.part.part} "
        f"(common practice, no source)"
    )
    return None


def middle(way: Way) -> float | None:
    """What the order goes by: until the job is done, else on average; the middle, or the least of an open range."""
    cost = way.until_done or way.expected
    return None if cost is None else (cost.low + (cost.high if cost.high is not None else cost.low)) / 2


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
