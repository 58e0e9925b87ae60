"""All ways side by side, in their order."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from partkin.choosing.changes import asking, changes
from partkin.choosing.costing import Donor, middle, way_of_donor, way_of_offer, with_risk
from partkin.model.build import Offer, Settings
from partkin.model.choosing import Ranking, Way


def rank(host: str, donors: Iterable[Donor], offers: Iterable[Offer], settings: Settings) -> Ranking:
    """Put all ways side by side, the cheapest until the job is done first.

    Parameters
    ----------
    host
    donors
        Every donor of that host, with its verdict.
    offers
        For them, and for repair, new and custom of the original. Repair or custom that names a donor is what
        matching its finish costs; new that names one is that donor, new.
    settings

    Returns
    -------
    Ranking
    """
    offers, donors = tuple(offers), tuple(donors)
    theirs = {donor.part.part for donor in donors}
    ways = [way for donor in donors for way in _ways_of(donor, offers, settings)]
    ways += [way_of_offer(offer, settings) for offer in offers if offer.part not in theirs]
    ways = named(ways)
    ways = [with_risk(way, ways) for way in ways]
    ways.sort(key=_place)
    return Ranking(
        host, settings.currency, tuple(ways), changes(ways),
        asking(ways, {donor.part.part: donor for donor in donors}, settings),
    )  # fmt: skip


def named(ways: list[Way]) -> list[Way]:
    """Give each way what it is called: a donor by its part alone, with the seller where a name comes twice."""
    plain = [way.part if way.option == "donor" and way.part else f"{way.option} {way.part or ''}".rstrip()
             for way in ways]  # fmt: skip
    beside = [f"{name}, {way.seller or 'seller not named'}" if plain.count(name) > 1 else name
              for name, way in zip(plain, ways, strict=True)]  # fmt: skip
    return [
        replace(way, called=name if beside.count(name) == 1 else f"{name} ({beside[: at + 1].count(name)})")
        for at, (name, way) in enumerate(zip(beside, ways, strict=True))
    ]


def _ways_of(donor: Donor, offers: tuple[Offer, ...], settings: Settings) -> list[Way]:
    mine = [offer for offer in offers if offer.part == donor.part.part]
    match = next((offer for offer in mine if offer.option in ("repair", "custom")), None)
    sold = [offer for offer in mine if offer.option in ("donor", "new")]
    return [way_of_donor(donor, offer, settings, match) for offer in sold or (None,)]


def _place(way: Way) -> tuple[bool, bool, bool, float, str, str]:
    """Ruled out last, then without a price, then without a sure way behind it; names break ties."""
    cost = middle(way)
    return (way.ruled_out is not None, cost is None, way.until_done is None, cost or 0.0, way.option, way.part or "")
