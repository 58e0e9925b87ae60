"""Joins checks and money: every way to get the part, side by side; the running total; what really happened."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from partkin import pipeline
from partkin.choosing import Donor, calibration, total
from partkin.choosing import rank as put_in_order
from partkin.commands.progress import Work
from partkin.commands.sharing_out import of_each_donor
from partkin.graph import known_of
from partkin.model.build import Build, Offer, Part, around
from partkin.model.choosing import Calibration, Foretold, Ranking, Total
from partkin.model.problem import FaultyInput, refused
from partkin.model.verdict import Verdict
from partkin.model.words import NOT_ENOUGH
from partkin.strip import plan

if TYPE_CHECKING:
    import pandas

    from partkin.trial.findings import Findings

# Readings whose worth in money is looked at, and values of each that are looked at.
MOST_FORETOLD = 3
VALUES = 97

Judged = tuple[Verdict, tuple[Foretold, ...]]


def rank(build: Build, host: str | None = None, work: Work | None = None) -> Ranking:
    """Check every donor of a host and put all ways side by side.

    `host`: a host part, or an original; None: the only host that donors are meant for. `work`: progress, and a way to
    stop (Ctrl-C too): donors checked by then are ranked, `work.undone` names the rest.

    Raises
    ------
    FaultyInput
        Where the host cannot be told.
    """
    named = _host(build, host)
    stands_for = {named, *(part.part for part in build.came_off(named))}
    parts = _meant(build, named, stands_for)
    judged = of_each_donor(
        build, [part.part for part in parts], lambda build, donor: _judged(build, named, donor),
        work or Work("donors", len(parts)),
    )  # fmt: skip
    # Fewer than there are, where that was stopped.
    parts = parts[: len(judged)]
    with_whole = [whole_offers(build, part) for part in parts]
    donors = [
        Donor(part, verdict, _stood_there(build, named, part), told, says)
        for part, (verdict, told), (_, says) in zip(parts, judged, with_whole, strict=True)
    ]
    sold = {part.part for part in parts}
    offers = [o for o in build.offers if o.part in sold or (o.option != "donor" and o.part in stands_for)]
    offers += [offer for found, _ in with_whole for offer in found]
    return put_in_order(named, donors, offers, build.settings)


def _judged(build: Build, host: str, donor: str) -> Judged:
    findings = pipeline.find_out(build, donor, host, others=False)
    verdict = pipeline.decided(build, findings)
    own = findings.known.donor.part
    sold_as = {own.part, *around(build, own)}
    priced = any(offer.part in sold_as and offer.price is not None for offer in build.offers)
    return verdict, foretold(findings) if priced and verdict.verdict == NOT_ENOUGH else ()


def foretold(findings: Findings) -> tuple[Foretold, ...]:
    """The readings that would settle most, each with what it may say and the chance after it, by the check's draws.

    Empty where the chance is not known, or nothing that can be read tells anything.
    """
    from partkin.positions.by_draws import REACH, chance_after, look_mm
    from partkin.readings import could_read, next_readings
    from partkin.trial import trying

    trial = findings.trial
    if trial is None or trial.stand != "unsure" or not trial.answer.pairs:
        return ()
    there = trying.as_tried(findings.known, trying.places_of(findings.known), trial)
    at_hand = could_read.donor_at_hand(findings.known.donor.readings)
    field = could_read.field_of(findings, there, trial, at_hand)
    if not field.candidates:
        return ()
    found = []
    for one in next_readings.best_of(field, there, trial, MOST_FORETOLD):
        drawn_mm = field.drawn_mm[field.candidates.index(one.reading)]
        spread_mm = math.hypot(float(drawn_mm.std()), one.reading.sigma_mm)
        read_mm = float(drawn_mm.mean()) + np.linspace(-REACH, REACH, VALUES) * spread_mm
        # No finer than the draws are dense: else single ones would decide.
        look = look_mm(one.reading.sigma_mm, float(drawn_mm.std()), len(drawn_mm))
        chance, likely = chance_after(field.fits, drawn_mm, look, read_mm)
        results = tuple(zip(likely.tolist(), chance.tolist(), strict=True))
        what = next_readings.as_unknown(one).what
        found.append(Foretold(f"{one.reading.instrument or 'read'}: {what}", one.price, one.minutes, results))
    return tuple(found)


def _meant(build: Build, named: str, stands_for: set[str]) -> list[Part]:
    """The donors that are meant for a host, or for one of its originals."""
    donors = [part for part in build.parts if part.origin == "donor"]
    found = [part for part in donors if part.takes_place_of in stands_for]
    original = build.part(named)
    if original is None or original.origin != "original" or original.takes_place_of is None:
        return found
    host = original.takes_place_of
    return found + [p for p in donors if p.takes_place_of == host and _stood_there(build, host, p) is original]


def whole_offers(build: Build, donor: Part) -> tuple[list[Offer], tuple[str, ...]]:
    """Offers of the nearest assembly on sale, for a part that nobody sells by itself, with getting it out counted in.

    What the rest of the assembly may bring is left out, and said.
    """
    if any(offer.part == donor.part for offer in build.offers):
        return [], ()
    for above in around(build, donor):
        sold = [offer for offer in build.offers if offer.part == above and offer.option == "donor"]
        if not sold:
            continue
        minutes = plan.separating_minutes(build, donor.part)
        told = "how long that takes is not known" if minutes is None else f"about {minutes:.0f} min, counted as hours"
        says = f"it comes with {above}: it has to be separated ({told}), and what the rest may bring is left out"
        hours = 0.0 if minutes is None else minutes / 60.0
        return [replace(one, part=donor.part, hours=round((one.hours or 0.0) + hours, 3)) for one in sold], (says,)
    return [], ()


def _stood_there(build: Build, host: str, donor: Part) -> Part | None:
    """Of several originals of one host, the one of the donor's own name before any other."""
    namesakes = (part.part for part in build.came_off(host) if part.name is not None and part.name == donor.name)
    return build.original_on(host, *namesakes)


def _host(build: Build, host: str | None) -> str:
    meant = list(dict.fromkeys(p.takes_place_of for p in build.parts if p.origin == "donor" and p.takes_place_of))
    hosts = [p.part for p in build.parts if p.part in meant]
    if host is not None and build.must_have(host).origin == "donor":
        mend = f"Name the host or the original whose place it takes: {', '.join(hosts)}"
        raise refused("parts.csv", 0, "origin", f"{host!r} is a donor", mend)
    if host is not None:
        return host
    if len(hosts) == 1:
        return hosts[0]
    mend = f"Name one with --for: {', '.join(hosts) or 'no donor says whose place it takes'}"
    raise refused("parts.csv", 0, "takes_place_of", f"there are {len(hosts)} hosts to rank for", mend)


def frame(ranking: Ranking) -> pandas.DataFrame:
    """The ranking as a table of pandas, one row a way."""
    import pandas

    worth = {one.donor: one for one in ranking.asking}
    rows = [
        {
            "option": way.option, "part": way.part, "seller": way.seller, "verdict": way.verdict, "level": way.level,
            "chance": way.chance,
            "price": way.price, "carriage": way.carriage, "adaptation": way.adaptation, "labour": way.labour,
            "trim": way.trim,
            "expected_low": way.expected.low if way.expected else None,
            "expected_high": way.expected.high if way.expected else None,
            "until_done_low": way.until_done.low if way.until_done else None,
            "until_done_high": way.until_done.high if way.until_done else None,
            "lost": way.lost,
            "worst_low": way.worst.low if way.worst else None, "worst_high": way.worst.high if way.worst else None,
            "available": way.available, "ruled_out": way.ruled_out,
            "asking_saves": worth[way.called].saves if way.called in worth else None,
            "asking_saves_at_most": worth[way.called].saves_at_most if way.called in worth else None,
        }
        for way in ranking.ways
    ]  # fmt: skip
    return pandas.DataFrame(rows)


def costs(build: Build, host: str | None = None) -> Total:
    """The running total, and what it comes to after each way for a host."""
    wanted = host is not None or len({p.takes_place_of for p in build.parts if p.origin == "donor"}) == 1
    return total(build.costs, rank(build, host).ways if wanted else (), build.settings)


def score(build: Build) -> Calibration:
    """How the stated chances have fared, and what measured sister parts tell of how parts come about."""
    from partkin.choosing.score import with_sisters
    from partkin.fit.fitted_making import fitted
    from partkin.tables.instruments import making
    from partkin.trial.believed import departures

    read, assumed = [], []
    for part in build.parts:
        if part.origin != "donor":
            continue
        try:
            known = known_of(build, part.part)
        except FaultyInput:
            continue
        if (of := departures(known)) is not None:
            read.append(of)
            assumed.append(known.one_drawing.weight)
    taken = making(build.settings.scatter_mm)
    return with_sisters(calibration(build.outcomes), assumed, taken.scatter_mm, lambda: fitted(read, taken))
