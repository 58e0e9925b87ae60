"""What a way costs when all is counted. Values are made up for the tests."""

from __future__ import annotations

import csv
import io
import json
import random
from dataclasses import replace

import pytest

import partkin
from builders import build, holes, studs
from partkin import pipeline
from partkin.choosing import Donor
from partkin.choosing import rank as put_in_order
from partkin.choosing.costing import cost_of_job, expected_cost, loss_of, outlay_of
from partkin.commands import ranking
from partkin.model.build import Build, Cost, Offer, Part, Reading, Settings
from partkin.model.choosing import Foretold, Range
from partkin.model.problem import FaultyInput
from partkin.report.ranking import as_json, ranking_csv, ranking_text
from partkin.tables.reader import shipped
from partkin.tables.work import lost_shares

PLATE = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)]


def made(*offers: Offer, rate: float | None = 40.0, costs: tuple = ()) -> Build:
    first = build(studs(PLATE), holes(PLATE))
    first = replace(first, parts=tuple(replace(p, finish="black") if p.part == "donor" else p for p in first.parts))
    original = Part(
        "old", origin="original", takes_place_of="host", seen_from="outside", duty="trim", airbag=False, finish="black"
    )
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
    assert loss_of(way) == pytest.approx(100.0 * (1 - lost_shares()["resale"]) + 40.0 + 60.0)
    assert way.expected == Range(180.0, 180.0) and way.lost == pytest.approx(150.0)
    # Nothing else is for sale: how much more it comes to in the worst case is not known.
    assert way.worst == Range(180.0, None)


def test_jobs_beside_the_fixings_are_paid_too() -> None:
    """In the demo (invented): an edge to trim and connectors to see to, besides the two slots."""
    demo = partkin.load_build(shipped("data") / "demo")
    verdict = partkin.check(demo, "top-dask")
    way = next(way for way in ranking.rank(demo, "dash-frame").ways if way.part == "top-dask")
    assert verdict.adaptation is not None and len(verdict.besides) >= 2
    beside = sum(job.cost for job in verdict.besides)
    assert way.adaptation == pytest.approx(verdict.adaptation.cost + beside, abs=0.005) and beside > 0
    unpriced = replace(demo, settings=replace(demo.settings, labour_rate=None))
    assert next(way for way in ranking.rank(unpriced, "dash-frame").ways if way.part == "top-dask").adaptation is None


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


def unsure(*offers: Offer, rate: float | None = 40.0) -> Build:
    """A donor whose holes are known too coarsely to tell."""
    first = made(*offers, rate=rate)
    # The last hole reads 1.4 mm off, of which 1.0 is play and 0.6 may be the readings'.
    coarse = tuple(
        replace(f, plus_minus_mm=0.6, y_mm=(f.y_mm or 0.0) + 1.4 * (f.feature == "a4")) if f.part == "donor" else f
        for f in first.features
    )
    # One thing read with a caliper: it lies before you, and can be read more finely than a seller would.
    at_hand = Reading("donor", "t", "thickness", 3.0, "mm", instrument="caliper")
    return replace(first, features=coarse, readings=(at_hand,))


def decided(p: float, outlay: float, loss: float, sure: float) -> float:
    """The cheaper of buying at a chance and of leaving it, counted out."""
    return min(p * outlay + (1 - p) * (loss + sure), sure)


def test_an_unsure_donor_says_what_asking_saves() -> None:
    first = unsure(Offer("donor", "donor", 100.0, 0.0), Offer("new", "old", 120.0, 0.0))
    verdict = partkin.check(first, "donor")
    assert verdict.verdict == "not enough measured"
    one = ranking.rank(first, "host").asking[0]
    p, loss = verdict.chance.fits, 50.0
    for_certain = decided(p, 100, loss, 120) - (p * 100 + (1 - p) * 120)
    assert one.saves_at_most == pytest.approx(for_certain, abs=0.01)
    told = ranking.foretold(pipeline.find_out(first, "donor"))
    counted = []
    for reading in told:
        before = sum(share * chance for share, chance in reading.results)
        # What a reading may say must leave what is believed now as it is, on average.
        assert sum(share for share, _ in reading.results) == pytest.approx(1.0)
        assert before == pytest.approx(p, abs=0.04)
        after = sum(share * decided(chance, 100, loss, 120) for share, chance in reading.results)
        counted.append((decided(before, 100, loss, 120) - after, reading))
    saves, best = max(counted, key=lambda each: each[0])
    assert one.reading == best.reading and one.reading.startswith("steel rule: ")
    assert one.saves == pytest.approx(saves, abs=0.01) and 0 < one.saves <= one.saves_at_most
    assert one.costs == pytest.approx(best.minutes / 60 * 40.0 + best.price, abs=0.01)


def test_each_listing_of_an_unsure_donor_has_a_worth_of_its_own() -> None:
    sold = (Offer("donor", "donor", 100.0, 0.0, "one"), Offer("donor", "donor", 60.0, 0.0, "two"))
    found = ranking.rank(unsure(*sold, Offer("new", "old", 120.0, 0.0)), "host")
    assert {one.donor for one in found.asking} == {"donor, one", "donor, two"}
    assert len({one.saves_at_most for one in found.asking}) == 2
    frame = ranking.frame(found)
    assert sorted(frame["asking_saves_at_most"].dropna()) == sorted(one.saves_at_most for one in found.asking)


def test_a_reading_that_tells_nothing_saves_nothing_and_one_that_tells_all_saves_most() -> None:
    settings = Settings(currency="EUR", labour_rate=40.0)
    first = unsure(Offer("donor", "donor", 100.0, 0.0), Offer("new", "old", 120.0, 0.0))
    verdict = partkin.check(first, "donor")
    p = verdict.chance.fits
    for results, share in ((((1.0, p),), 0.0), (((p, 1.0), (1.0 - p, 0.0)), 1.0)):
        donor = Donor(first.part("donor"), verdict, first.part("old"), (Foretold("r", 0.0, 0.0, results),))
        one = put_in_order("host", [donor], first.offers, settings).asking[0]
        assert one.saves == pytest.approx(share * one.saves_at_most, abs=0.01)


def test_where_the_chance_is_not_known_the_most_is_said_and_no_more() -> None:
    first = made(Offer("donor", "donor", 100.0, 0.0), Offer("new", "old", 300.0, 0.0))
    features = tuple(replace(f, across_mm=None) if f.feature == "a1" else f for f in first.features)
    first = replace(first, features=features)
    found = ranking.rank(first, "host")
    way = next(way for way in found.ways if way.part == "donor")
    assert (way.verdict, way.chance) == ("not enough measured", None)
    assert way.until_done == Range(100.0, 350.0)
    one = found.asking[0]
    assert one.saves is None and one.reading is None
    counted = max(decided(k / 1000, 100, 50, 300) - (k / 10 + 300 - 300 * k / 1000) for k in range(1001))
    assert one.saves_at_most == pytest.approx(counted, abs=1.0)


def test_a_finish_that_differs_is_said_and_what_it_comes_to_is_open() -> None:
    first = made(Offer("donor", "donor", 100.0, 0.0))
    parts = tuple(replace(p, finish="brown") if p.part == "donor" else p for p in first.parts)
    way = ranking.rank(replace(first, parts=parts), "host").ways[0]
    assert any("finish brown against black" in text for text in way.says)
    assert way.trim is None and way.expected == Range(100.0, None)
    # A trimmer's price for that donor is what matching it costs, and no way of its own.
    offers = (*first.offers, Offer("custom", "donor", 60.0, 5.0, "trimmer", hours=0.5))
    found = ranking.rank(replace(first, parts=parts, offers=offers), "host")
    assert [(way.option, way.trim, way.expected) for way in found.ways] == [("donor", 85.0, Range(185.0, 185.0))]
    # It is matched only once the part is on: not lost where it does not go on.
    assert found.ways[0].lost == 50.0


def test_a_finish_that_is_not_known_is_not_taken_as_the_same() -> None:
    first = made(Offer("donor", "donor", 100.0, 0.0))
    parts = tuple(replace(p, finish=None) if p.part == "donor" else p for p in first.parts)
    way = ranking.rank(replace(first, parts=parts), "host").ways[0]
    assert way.trim is None and any("finish of donor is not known" in text for text in way.says)


def test_carriage_that_is_not_stated_leaves_the_sum_open() -> None:
    way = ranking.rank(made(Offer("donor", "donor", 100.0)), "host").ways[0]
    assert way.carriage is None and way.expected == Range(100.0, None)
    assert any("carriage is not stated" in text for text in way.says)


def test_the_worst_case_is_the_loss_and_the_cheapest_way_that_is_no_donor() -> None:
    offers = (Offer("donor", "donor", 100.0, 20.0), Offer("new", "old", 300.0, 0.0), Offer("repair", "old", 250.0, 0.0))
    found = ranking.rank(made(*offers), "host")
    assert [(way.option, way.worst) for way in found.ways] == [
        ("donor", Range(340.0, 340.0)),
        ("repair", Range(250.0, 250.0)),
        ("new", Range(300.0, 300.0)),
    ]


def test_the_price_that_would_change_the_order_does() -> None:
    """Asked again just below and just above it, the donor without a price comes first and does not."""
    offers = (Offer("donor", "donor", None, 10.0, hours=1.0), Offer("new", "old", 300.0, 0.0))
    for first in (made(*offers), unsure(*offers)):
        text = next(text for text in ranking.rank(first, "host").change if "a price for donor" in text)
        most = float(text.rsplit(" ", 1)[1])
        for price, option in ((most - 0.02, "donor"), (most + 0.02, "new")):
            again = replace(first, offers=(replace(offers[0], price=price), offers[1]))
            assert ranking.rank(again, "host").ways[0].option == option, (text, price)


def test_the_chance_that_would_change_the_order_does() -> None:
    first = unsure(Offer("donor", "donor", 100.0, 0.0), Offer("new", "old", 300.0, 0.0))
    verdict = partkin.check(first, "donor")
    rows = first.part("donor"), first.part("old")

    def ranked(chance: float):
        changed = replace(verdict, chance=replace(verdict.chance, fits=chance))
        return put_in_order("host", [Donor(rows[0], changed, rows[1])], first.offers, first.settings)

    for chance in (0.1, 0.9):
        found = ranked(chance)
        text = next(text for text in found.change if "if the chance of donor is" in text)
        turns = float(text.rsplit(" ", 1)[1])
        others = {ranked(turns - 0.01).ways[0].option, ranked(turns + 0.01).ways[0].option}
        assert others == {"donor", "new"} and ("below" in text) == (chance > turns)


def test_the_same_part_of_several_sellers_is_told_apart_and_the_next_other_part_named() -> None:
    sold = (Offer("donor", "donor", 100.0, 0.0, "one"), Offer("donor", "donor", 110.0, 0.0, "two"),
            Offer("donor", "donor", 110.0, 0.0, "two"), Offer("new", "old", 300.0, 0.0))  # fmt: skip
    found = ranking.rank(made(*sold), "host")
    assert [way.called for way in found.ways] == ["donor, one", "donor, two (1)", "donor, two (2)", "new old"]
    assert any(text.startswith("donor, two (1) comes first if donor, one costs 10.00 more") for text in found.change)
    assert any(text.startswith("new old comes first if donor, one costs 200.00 more") for text in found.change)
    assert any("new old comes first if the chance of donor, one is below" in text for text in found.change)


def test_where_nothing_is_meant_for_a_part_it_is_said() -> None:
    first = made()
    first = replace(first, parts=(*first.parts, Part("rail", origin="host")))
    assert "nothing to put side by side" in ranking_text(ranking.rank(first, "rail"))
    with pytest.raises(FaultyInput, match=r"'donor' is a donor\. Name the host"):
        ranking.rank(first, "donor")


def test_an_original_stands_for_its_host_with_the_donors_that_are_meant_for_it() -> None:
    first = made(Offer("donor", "donor", 100.0, 0.0), Offer("new", "old", 300.0, 0.0))
    assert [way.part for way in ranking.rank(first, "old").ways] == ["donor", "old"]
    # Of two originals of one host a donor is meant for the one of its name.
    lid = Part("lid", "lid", origin="original", takes_place_of="host")
    named = tuple(replace(p, name="lid") if p.part == "donor" else p for p in (*first.parts, lid))
    first = replace(first, parts=named)
    assert [way.part for way in ranking.rank(first, "old").ways] == ["old"]
    assert [way.part for way in ranking.rank(first, "lid").ways] == ["donor"]


def test_a_new_one_of_the_donor_fits_as_the_donor_does() -> None:
    found = ranking.rank(made(Offer("donor", "donor", 100.0, 0.0), Offer("new", "donor", 400.0, 0.0)), "host")
    assert [(way.option, way.verdict) for way in found.ways] == [("donor", "bolts on"), ("new", "bolts on")]


def test_by_the_makers_number_it_is_certain_whatever_the_readings_say() -> None:
    first = unsure(Offer("donor", "donor", 100.0, 0.0))
    parts = tuple(replace(p, part_number="A 1") if p.part in ("donor", "old") else p for p in first.parts)
    way = ranking.rank(replace(first, parts=parts), "host").ways[0]
    assert (way.verdict, way.chance) == ("bolts on", 1.0)
    # Where they say that it does not, that is told beside the sums.
    out = [(0.0, 0.0), (340.0, 0.0), (310.0, 200.0), (0.0, 180.0)]
    apart = replace(first, parts=parts, features=(*studs(PLATE), *holes(out)))
    way = ranking.rank(apart, "host").ways[0]
    assert (way.verdict, way.chance) == ("bolts on", 1.0)
    assert any("yet the readings say that it does not go on" in text for text in way.says)


def test_csv_and_json_carry_what_the_table_carries() -> None:
    first = unsure(Offer("donor", "donor", 100.0, 0.0), Offer("new", "old", 300.0))
    found = ranking.rank(first, "host")
    rows = list(csv.DictReader(io.StringIO(ranking_csv(found))))
    assert [row["way"] for row in rows] == ["donor", "new old"]
    assert (rows[1]["carriage"], rows[1]["expected low"], rows[1]["expected high"]) == ("", "300.00", "")
    assert float(rows[0]["asking saves"]) == found.asking[0].saves
    tree = json.loads(as_json(found))
    assert tree["ways"][0]["chance"] == found.ways[0].chance and tree["asking"][0]["saves"] == found.asking[0].saves
    text = ranking_text(found)
    assert "300.00+" in text and "best level" in text and "saves " in text and found.asking[0].reading in text


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
    assert list(frame["part"]) == ["donor"] and frame["price"][0] == 100.0 and frame["level"][0] == "donor"
    assert frame["expected_low"][0] == 120.0 and {"lost", "worst_low", "asking_saves"} <= set(frame.columns)
