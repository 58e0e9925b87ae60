"""What a way costs when all is counted. Values are made up for the tests."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

import partkin
from builders import build, holes, studs
from partkin import ranking
from partkin.choosing.costing import cost_of_job, expected_cost, loss_of, outlay_of, shares
from partkin.model.build import Build, Cost, Offer, Part, Settings
from partkin.model.problem import FaultyInput

PLATE = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)]


def made(*offers: Offer, rate: float | None = 40.0, costs: tuple = ()) -> Build:
    first = build(studs(PLATE), holes(PLATE))
    original = Part("old", origin="original", takes_place_of="host", seen_from="outside", duty="trim", finish="black")
    settings = Settings(currency="EUR", labour_rate=rate)
    return replace(first, settings=settings, parts=(*first.parts, original), offers=offers, costs=costs)


def test_expected_cost_equals_enumeration() -> None:
    """Two things can happen; their costs weighed by the chance, counted out over many purchases."""
    dice = random.Random(3)
    for _ in range(50):
        outlay, loss = dice.uniform(50, 900), dice.uniform(10, 500)
        go, all_ = dice.randint(0, 20), 20
        counted = sum([outlay] * go + [loss] * (all_ - go)) / all_
        assert expected_cost(outlay, loss, go / all_).low == pytest.approx(counted, abs=0.01)
        sure = dice.uniform(100, 900)
        until = sum([outlay] * go + [loss + sure] * (all_ - go)) / all_
        assert cost_of_job(outlay, loss, go / all_, sure).high == pytest.approx(until, abs=0.01)


def test_a_donor_with_price_carriage_and_hours() -> None:
    found = ranking.rank(made(Offer("donor", "donor", 100.0, 20.0, "one", hours=1.5)), "host")
    way = found.ways[0]
    assert (way.price, way.carriage, way.labour, way.adaptation) == (100.0, 20.0, 60.0, 0.0)
    assert outlay_of(way) == 180.0
    assert loss_of(way) == pytest.approx(100.0 * (1 - shares()["resale"]) + 40.0 + 60.0)
    assert way.expected.low == way.expected.high == 180.0 and way.worst == pytest.approx(150.0)


def test_unknown_prices_are_said_and_not_invented() -> None:
    found = ranking.rank(made(Offer("donor", "donor"), Offer("new", "old", 300.0, 0.0)), "host")
    assert [way.option for way in found.ways] == ["new", "donor"]
    assert found.ways[1].expected is None and "its price is not known" in found.ways[1].says
    assert any("a price for donor" in text for text in found.change)


def test_hours_without_a_rate_are_not_priced() -> None:
    way = ranking.rank(made(Offer("donor", "donor", 100.0, 0.0, hours=2.0), rate=None), "host").ways[0]
    assert way.labour is None and way.expected is None and any("labour_rate" in text for text in way.says)


def test_what_is_not_to_be_had_comes_last() -> None:
    gone = Offer("new", "old", 10.0, 0.0, available=False)
    found = ranking.rank(made(gone, Offer("donor", "donor", 100.0, 0.0)), "host")
    assert [way.ruled_out for way in found.ways] == [None, "not to be had"]


def test_a_tie_is_said() -> None:
    found = ranking.rank(made(Offer("custom", "old", 100.0, 0.0), Offer("donor", "donor", 100.0, 0.0)), "host")
    assert any("a tie" in text for text in found.change)


def test_an_unsure_donor_says_what_asking_saves() -> None:
    first = made(Offer("donor", "donor", 100.0, 0.0), Offer("new", "old", 300.0, 0.0))
    coarse = tuple(replace(f, plus_minus_mm=0.6) if f.part == "donor" else f for f in first.features)
    first = replace(first, features=coarse)
    verdict = partkin.check(first, "donor")
    assert verdict.verdict == "not enough measured"
    found = ranking.rank(first, "host")
    p, loss = verdict.chance.fits, 50.0
    blind = min(p * 100 + (1 - p) * (loss + 300), 300)
    assert found.asking[0].saves_at_most == pytest.approx(blind - (p * 100 + (1 - p) * 300), abs=0.01)


def test_a_finish_that_differs_is_said() -> None:
    first = made(Offer("donor", "donor", 100.0, 0.0))
    parts = tuple(replace(p, finish="brown") if p.part == "donor" else p for p in first.parts)
    found = ranking.rank(replace(first, parts=parts), "host")
    assert any("finish brown against black" in text for text in found.ways[0].says)


def test_the_running_total() -> None:
    spent = (Cost(None, "car", None, 2000.0), Cost(None, "parts", None, 9.5))
    first = made(Offer("donor", "donor", 100.0, 0.0), costs=spent)
    found = ranking.costs(first, "host")
    assert found.spent == 2009.5 and found.by_kind == (("car", 2000.0), ("parts", 9.5))
    assert found.after[0][1] == 2109.5


def test_an_unknown_host_is_refused() -> None:
    with pytest.raises(FaultyInput, match="no part 'nope'"):
        ranking.rank(made(), "nope")


def test_the_table_of_pandas() -> None:
    frame = ranking.frame(ranking.rank(made(Offer("donor", "donor", 100.0, 20.0)), "host"))
    assert list(frame["part"]) == ["donor"] and frame["price"][0] == 100.0
