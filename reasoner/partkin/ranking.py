"""Joins checks and money: every way to get the part, side by side; the running total; what really happened."""

from __future__ import annotations

import multiprocessing
import os
import sys
import threading
from concurrent.futures import ProcessPoolExecutor
from typing import TYPE_CHECKING

from partkin import pipeline
from partkin.choosing import Donor, calibration, total
from partkin.choosing import rank as put_in_order
from partkin.model.build import Build, Offer, Part
from partkin.model.choosing import Calibration, Ranking, Total
from partkin.model.problem import FaultyInput, Problem
from partkin.model.verdict import Verdict

if TYPE_CHECKING:
    import pandas

MANY = 12
MOST_WORKERS = 4


def rank(build: Build, host: str | None = None) -> Ranking:
    """Check every donor of a host and put all ways side by side.

    Parameters
    ----------
    build
    host
        A host part, or an original; None: the only host that donors are meant for.

    Raises
    ------
    FaultyInput
        Where the host cannot be told.
    """
    named = _host(build, host)
    originals = [p for p in build.parts if p.origin == "original" and named in (p.takes_place_of, p.part)]
    original = originals[0] if originals else None
    stands_for = {named, *(p.part for p in originals)}
    parts = [part for part in build.parts if part.origin == "donor" and part.takes_place_of in stands_for]
    verdicts = _checked(build, named, [part.part for part in parts])
    donors = [
        Donor(part, verdict, _stood_there(part, originals) or original)
        for part, verdict in zip(parts, verdicts, strict=True)
    ]
    return put_in_order(named, donors, _offers(build, stands_for, {d.part.part for d in donors}), build.settings)


_asked: list[tuple[Build, str]] = []


def _checked(build: Build, host: str, donors: list[str]) -> list[Verdict]:
    """Check every donor; many are shared out among the processors where a process can be copied safely."""
    workers = min(os.cpu_count() or 1, MOST_WORKERS)
    safe = "fork" in multiprocessing.get_all_start_methods() and threading.active_count() == 1
    _asked[:] = [(build, host)]
    if len(donors) < MANY or workers < 2 or not safe or sys.platform == "darwin":
        return [_check(donor) for donor in donors]
    pipeline.graph_of(build)
    with ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("fork")) as pool:
        return list(pool.map(_check, donors, chunksize=2))


def _check(donor: str) -> Verdict:
    build, host = _asked[0]
    return pipeline.check(build, donor, host, others=False)


def _stood_there(donor: Part, originals: list[Part]) -> Part | None:
    """Of several originals of one host, the one of the donor's own name."""
    return next((o for o in originals if o.name is not None and o.name == donor.name), None)


def _offers(build: Build, stands_for: set[str], donors: set[str]) -> list[Offer]:
    return [
        offer for offer in build.offers
        if (offer.option == "donor" and offer.part in donors) or (offer.option != "donor" and offer.part in stands_for)
    ]  # fmt: skip


def _host(build: Build, host: str | None) -> str:
    meant = list(dict.fromkeys(p.takes_place_of for p in build.parts if p.origin == "donor" and p.takes_place_of))
    hosts = [p.part for p in build.parts if p.part in meant]
    if host is not None and build.part(host) is None:
        mend = f"The hosts that donors are meant for are: {', '.join(hosts) or 'none'}"
        raise FaultyInput((Problem("parts.csv", 0, "part", f"there is no part {host!r}", mend),))
    if host is not None:
        return host
    if len(hosts) == 1:
        return hosts[0]
    mend = f"Name one with --for: {', '.join(hosts) or 'no donor says whose place it takes'}"
    raise FaultyInput((Problem("parts.csv", 0, "takes_place_of", f"there are {len(hosts)} hosts to rank for", mend),))


def frame(ranking: Ranking) -> pandas.DataFrame:
    """The ranking as a table of pandas, one row a way."""
    import pandas

    rows = [
        {
            "option": way.option, "part": way.part, "verdict": way.verdict, "chance": way.chance, "price": way.price,
            "carriage": way.carriage, "adaptation": way.adaptation, "labour": way.labour,
            "expected_low": way.expected.low if way.expected else None,
            "expected_high": way.expected.high if way.expected else None,
            "until_done_low": way.until_done.low if way.until_done else None,
            "until_done_high": way.until_done.high if way.until_done else None,
            "worst": way.worst, "ruled_out": way.ruled_out,
        }
        for way in ranking.ways
    ]  # fmt: skip
    return pandas.DataFrame(rows)


def costs(build: Build, host: str | None = None) -> Total:
    """The running total, and what it comes to after each way for a host."""
    wanted = host is not None or len({p.takes_place_of for p in build.parts if p.origin == "donor"}) == 1
    return total(build.costs, rank(build, host).ways if wanted else (), build.settings)


def score(build: Build) -> Calibration:
    """How the stated chances have fared."""
    return calibration(build.outcomes)
