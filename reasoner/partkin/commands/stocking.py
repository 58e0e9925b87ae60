"""Joins a stock and the checks: what a host needs, which parts of a stock go on it, the first few checked in full."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from partkin import pipeline
from partkin.fit.task import prepare
from partkin.graph import known_of
from partkin.graph.stores import WantedPart
from partkin.model.build import Build, Part
from partkin.model.known import Known, is_restraint
from partkin.model.problem import refused
from partkin.model.verdict import Verdict
from partkin.stock import answering
from partkin.stock.answering import Answer, StockQuestion
from partkin.stock.finding import Host
from partkin.stock.incoming import build_with, errors_mm
from partkin.stock.sharing import Said
from partkin.trial.places import places_of

PROBE = "stock-probe"


class Whole(NamedTuple):
    """What a stock has for a host; `checked`: the verdicts of the first few, in their order."""

    host: str
    fixings: int
    answer: Answer
    checked: tuple[Verdict, ...]


def find(
    build: Build, host: str, stock: Path, *, partly: int | None = None, without: Sequence[str] = (), in_full: int = 5,
    on: str = "", graph: str = "", said: Said = lambda *_: None,
) -> Whole:  # fmt: skip
    """Find the parts of a stock that go on a host, or may, and check the first few as `partkin check` does.

    `partly`: parts on which at least so many fixings hold; None: all that must. `without`: what must not speak against
    a part: other hand, other drive, older part number. `in_full`: how many are checked in full. `on`, `graph`:
    addresses of a Dask scheduler and of a SPARQL server. `said`: hears how far it is.

    Raises
    ------
    FaultyInput
        Where the host cannot be told, is a restraint part, or has no fixing; where there is no such stock.
    """
    question = question_of(build, host, partly, without)
    if partly is not None and partly > len(question.host.must):
        what = f"{host} is held at {len(question.host.must)} fixings, and {partly} are asked for"
        raise refused("stock", 0, "--partly", what, "Ask for no more than it has")
    answer = answering.ask(stock, [question], on, graph, said)[0]
    first = answer.found[:in_full] if partly is None else ()
    beside = build
    for one in first:
        beside = build_with(beside, host, *answering.rows_of(stock, one))
    checked = tuple(pipeline.check(beside, one.part, host) for one in first)
    return Whole(host, len(question.host.must), answer, checked)


def question_of(build: Build, host: str, partly: int | None = None, without: Sequence[str] = ()) -> StockQuestion:
    """Return what a stock is asked for a host of a build."""
    known = _known(build, host)
    places = places_of(known)
    if not places.hosted.fixings:
        mend = "List its fixings in features.csv, or the holes of the original that came off"
        raise refused("features.csv", 0, "part", f"nothing is known of where {host} is held", mend)
    prepared = prepare(places.hosted, (), places.host, places.host, host_part=known.host.part.part, mirrored=False)
    errors = dict(zip(places.host.features, errors_mm(places.host).tolist(), strict=True))
    shown = [places.hosted.placed_by.get(fixing, "") for fixing in prepared.fixings]
    held = Host(
        places.hosted, places.host, tuple(prepared.fixings.values()), known.host.part.part,
        np.array([errors.get(name, math.nan) for name in shown]), places.host.handed, places.host_side.part.seen_from,
        places.host_side.part.thickness_mm, partly,
    )  # fmt: skip
    original = () if known.original is None else (known.original.part,)
    return StockQuestion(held, WantedPart.of((known.host.part, *original)), frozenset(without))


def _known(build: Build, host: str) -> Known:
    probe = Part(PROBE, origin="donor", takes_place_of=host)
    build.must_have(host)
    known = known_of(replace(build, parts=(*build.parts, probe)), PROBE, host)
    if is_restraint(known):
        mend = "Restraint parts are never judged by geometry: ask for the maker's part number"
        raise refused("parts.csv", 0, "duty", f"{host} is a restraint part, or carries one", mend)
    return known
