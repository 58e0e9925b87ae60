"""All ways side by side in their order, what would change it, and what it is worth to find out before buying."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from partkin.choosing.costing import Donor, loss_of, middle, outlay_of, sure_way, way_of_donor, way_of_offer, with_risk
from partkin.model.build import Offer, Settings
from partkin.model.choosing import Asking, Foretold, Ranking, Way
from partkin.model.words import NOT_ENOUGH
from partkin.tables.work import lost_shares

MOST_TOLD = 3


def changes(ways: list[Way]) -> tuple[str, ...]:
    """What would put another of the ways, in their order, first: money, a chance, a price or finish not known."""
    priced = [way for way in ways if middle(way) is not None]
    unpriced = [way for way in ways if middle(way) is None and not way.ruled_out]
    found = [_price_wanted(way, priced, ways) for way in unpriced]
    if len(priced) < 2:
        return tuple(found)
    first = priced[0]
    tied = [way for way in priced if middle(way) == middle(first)]
    if len(tied) > 1:
        names = " and ".join(way.called for way in tied)
        return (f"{names} cost the same: a tie, in the order of their names", *found)
    # The same part from another seller shares its chance and its finish.
    rival = next((way for way in priced[1:] if way.part != first.part or way.verdict is None), None)
    said = []
    for name, gap in ((o.called, _gap(first, o)) for o in dict.fromkeys((priced[1], rival)) if o is not None):
        said.append(f"{name} comes first if {first.called} costs {gap:.2f} more, or {name} {gap:.2f} less")
    if rival is not None:
        said += _by_chance(first, rival, ways)
        said += _by_what_is_open(first, rival)
    return (*said, *found)


def _gap(first: Way, second: Way) -> float:
    return round((middle(second) or 0.0) - (middle(first) or 0.0), 2)


def _price_wanted(way: Way, priced: list[Way], ways: list[Way]) -> str:
    """Up to which price a way without one would come first."""
    wanted = f"a price for {way.called} may change the order"
    if way.price is not None:
        return f"what the work on {way.called} costs may change the order: give the build a labour_rate"
    if not priced or way.adaptation is None or way.labour is None:
        return wanted
    best, rest = middle(priced[0]) or 0.0, way.adaptation + way.labour + (way.carriage or 0.0) + (way.trim or 0.0)
    if way.chance == 1.0 or way.verdict is None:
        most = best - rest
    elif way.chance is None or (after := sure_way(way, ways)) is None:
        return f"{wanted}, and so may its chance"
    else:
        fixed = way.chance * rest + (1.0 - way.chance) * (loss_of(way) + after)
        most = (best - fixed) / (way.chance + (1.0 - way.chance) * (1.0 - lost_shares()["resale"]))
    if most <= 0:
        return f"no price puts {way.called} first: its carriage and work alone come to more"
    return f"{wanted}: it comes first below {most:.2f}"


def _by_chance(first: Way, second: Way, ways: list[Way]) -> list[str]:
    """How low the chance of the first, or how high that of the second, would have to be."""
    found = []
    for way, other, word in ((first, second, "below"), (second, first, "above")):
        outlay, after = outlay_of(way), sure_way(way, ways)
        if way.verdict is None or way.chance is None or outlay is None or after is None:
            continue
        slope = outlay - (loss_of(way) + after)
        turns = ((middle(other) or 0.0) - (loss_of(way) + after)) / slope if slope < 0 else -1.0
        if 0.0 < turns < 1.0 and (turns < way.chance) == (word == "below"):
            found.append(f"{second.called} comes first if the chance of {way.called} is {word} {turns:.2f}")
    return found


def _by_what_is_open(first: Way, second: Way) -> list[str]:
    """What of the first is counted as nothing because it is not known."""
    found, gap = [], _gap(first, second)
    for what, ours, theirs in (
        ("carriage", first.carriage, second.carriage), ("matching the finish", first.trim, second.trim),
    ):  # fmt: skip
        if ours is None:
            beside = f" beyond that of {second.called}" if theirs is None else ""
            found.append(
                f"{what} of {first.called} is not known: {second.called} comes first if it costs over {gap:.2f}{beside}"
            )
    return found


def asking(ways: list[Way], donors: Mapping[str, Donor], settings: Settings) -> tuple[Asking, ...]:
    """What finding out before buying saves on average, the most first.

    Bought blind, a donor costs its outlay or its loss and the sure way, weighed by the chance; with an answer first,
    it is bought only where that is then the cheaper. The difference is what the answer saves.
    """
    found = []
    for way in ways:
        outlay = outlay_of(way)
        if way.verdict != NOT_ENOUGH or outlay is None or way.ruled_out or way.part is None:
            continue
        donor = donors[way.part]
        stake = _Stake(way, outlay, sure_way(way, ways), settings.confidence)
        chance = donor.verdict.chance.fits if donor.verdict.chance is not None else None
        asked = Asking(way.called, round(stake.certainty(chance), 2), way.says[0] if way.says else "")
        best = _best(donor.foretold, stake, settings)
        if best is not None:
            one, saves, costs = best
            saves = round(min(saves, asked.saves_at_most), 2)
            asked = replace(asked, saves=saves, costs=costs, reading=one.reading)
        found.append(asked)
    return tuple(sorted(found, key=lambda one: (-(one.saves or 0.0), -one.saves_at_most, one.donor)))


def _best(
    foretold: tuple[Foretold, ...], stake: _Stake, settings: Settings
) -> tuple[Foretold, float, float | None] | None:
    """The reading that saves most after its own cost, with what it saves and costs."""
    told = []
    for one in foretold:
        rate = settings.labour_rate
        costs = round(one.price + one.minutes / 60.0 * rate, 2) if rate is not None else None
        told.append((one, stake.saved(one.results), costs))
    return max(told, key=lambda each: each[1] - (each[2] or 0.0), default=None)


class _Stake:
    """What is at stake with one donor: buy it blind, leave it for the sure way, or find out first.

    Where work makes it go on whichever way the readings fall, the question is only whether the work is needed.
    """

    def __init__(self, way: Way, outlay: float, after: float | None, confidence: float) -> None:
        self.outlay, self.after, self.confidence = outlay, after, confidence
        self.loss = loss_of(way)
        self.work = way.adaptation or 0.0

    def cost(self, chance: float) -> float:
        """The cheaper of buying and leaving it, at a chance."""
        if self.work:
            return self.outlay - self.work if chance >= self.confidence else self.outlay
        if self.after is None:
            # There is no sure way: the donor is left where its chance counts as `does not fit`.
            return 0.0 if chance <= 1.0 - self.confidence else (1.0 - chance) * self.loss
        return min(chance * self.outlay + (1.0 - chance) * (self.loss + self.after), self.after)

    def saved(self, results: tuple[tuple[float, float], ...]) -> float:
        """What knowing one of the results first saves on average; (share, chance) each."""
        now = sum(share * chance for share, chance in results)
        return max(0.0, self.cost(now) - sum(share * self.cost(chance) for share, chance in results))

    def certainty(self, chance: float | None) -> float:
        """What certainty would save; of an unknown chance, the most that it would save at any chance."""
        tries = [chance] if chance is not None else [step / 100.0 for step in range(101)]
        return max(self.saved(((p, 1.0), (1.0 - p, 0.0))) for p in tries)


def rank(host: str, donors: Iterable[Donor], offers: Iterable[Offer], settings: Settings) -> Ranking:
    """Put all ways side by side, the cheapest until the job is done first.

    Parameters
    ----------
    host, settings
    donors
        Every donor of that host, with its verdict.
    offers
        For them, and for repair, new and custom of the original. Repair or custom that names a donor is what
        matching its finish costs; new that names one is that donor, new.
    """
    offers, donors = tuple(offers), tuple(donors)
    theirs = {donor.part.part for donor in donors}
    ways = []
    for donor in donors:
        mine = [offer for offer in offers if offer.part == donor.part.part]
        match = next((offer for offer in mine if offer.option in ("repair", "custom")), None)
        sold = [offer for offer in mine if offer.option in ("donor", "new")]
        ways += [way_of_donor(donor, offer, settings, match) for offer in sold or (None,)]
    ways += [way_of_offer(offer, settings) for offer in offers if offer.part not in theirs]
    ways = named(ways)
    ways = [with_risk(way, ways) for way in ways]
    ways.sort(key=_place)
    asked = asking(ways, {donor.part.part: donor for donor in donors}, settings)
    return Ranking(host, settings.currency, tuple(ways), changes(ways), asked)


def named(ways: list[Way]) -> list[Way]:
    """Give each way what it is called: a donor by its part alone, with the seller where a name comes twice."""
    plain = [w.part if w.option == "donor" and w.part else f"{w.option} {w.part or ''}".rstrip() for w in ways]
    sold_by = [f"{name}, {way.seller or 'seller not named'}" for name, way in zip(plain, ways, strict=True)]
    beside = [sold if plain.count(name) > 1 else name for name, sold in zip(plain, sold_by, strict=True)]
    return [
        replace(way, called=name if beside.count(name) == 1 else f"{name} ({beside[: at + 1].count(name)})")
        for at, (name, way) in enumerate(zip(beside, ways, strict=True))
    ]


def _place(way: Way) -> tuple[bool, bool, bool, float, str, str]:
    """Ruled out last, then without a price, then without a sure way behind it; names break ties."""
    cost = middle(way)
    return (way.ruled_out is not None, cost is None, way.until_done is None, cost or 0.0, way.option, way.part or "")
