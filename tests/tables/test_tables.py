"""The tables against published values. Sources: the rows' own columns in tests/published/tables."""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

import pytest

from partkin.model.words import INSTRUMENTS
from partkin.tables.instruments import (
    coordinate_error_mm,
    greatest_error_mm,
    instruments,
    making,
    reading_costs,
    same_drawing,
    slip_rule,
)
from partkin.tables.reader import read
from partkin.tables.threads import NearMiss, near_miss, parse_thread, threads, threads_join
from partkin.tables.work import (
    Material,
    Washer,
    clip_rules,
    edge_rule,
    edge_rule_or_none,
    fastener_rows,
    lift_rows,
    lost_shares,
    material_of,
    shipped_work,
)

PUBLISHED = Path(__file__).parent.parent / "published" / "tables"


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as sheet:
        return list(csv.DictReader(sheet))


SIZES = rows("sizes.csv")
PIPES = {row["designation"]: row for row in rows("pipes.csv")}


def said(designation: str) -> tuple[float, float]:
    """Diameter and pitch in mm of a thread by its designation alone, and of a pipe thread by the published rows.

    ISO 261: both stand in it. ASME B1.1 and BS 84: inches and threads per inch; number size n: 0.060 in + 0.013 in n.
    """
    if designation.startswith("M"):
        size, _, pitch = designation.removesuffix(" LH")[1:].partition("x")
        return float(size), float(pitch)
    if designation in PIPES:
        return 25.4 * float(PIPES[designation]["across_in"]), 25.4 / float(PIPES[designation]["threads_per_inch"])
    size, _, per_inch = designation.partition(" ")[0].partition("-")
    number = "/" not in size and (int(size) > 1 or float(per_inch) > 14)
    return 25.4 * (0.060 + 0.013 * int(size) if number else float(Fraction(size))), 25.4 / float(per_inch)


def test_every_thread_is_as_wide_and_as_steep_as_its_designation_says() -> None:
    """Those of the table, and the same written in decimals, which no row has."""
    for designation, thread in threads().items():
        across_mm, pitch_mm = said(designation)
        # ISO 228-1 and ASME B1.20.1 give inches to three decimals.
        assert thread.major_mm == pytest.approx(across_mm, abs=0.02 if designation in PIPES else 0.001), designation
        assert thread.pitch_mm == pytest.approx(pitch_mm, abs=1e-5), designation
        if thread.series in ("UNC", "UNF"):
            assert parse_thread(f"{across_mm / 25.4:.4f}-{25.4 / pitch_mm:g} UN") is thread
    assert set(PIPES) <= set(threads())


def test_a_metric_size_alone_is_its_coarse_pitch() -> None:
    """ISO 261, row by row."""
    coarse = {f"M{row['bolt_mm']}": row["coarse_pitch_mm"] for row in SIZES if row["coarse_pitch_mm"]}
    assert {size: parse_thread(size).designation for size in coarse} == {  # type: ignore[union-attr]
        size: f"{size}x{pitch}" for size, pitch in coarse.items()
    }
    assert len(coarse) == sum(thread.series == "ISO coarse" for thread in threads().values())


def test_a_bolt_goes_through_the_medium_hole_of_its_size() -> None:
    """ISO 273 medium; ASME B18.2.8 normal, whose inches the table gives to a tenth of a millimetre."""
    medium = {float(row["bolt_mm"]): (float(row["medium_mm"]), not row["coarse_pitch_mm"]) for row in SIZES}
    holes = [thread for thread in threads().values() if thread.clearance_medium_mm is not None]
    for thread in holes:
        hole_mm, inches = min(medium.items(), key=lambda row: abs(row[0] - thread.major_mm))[1]
        assert thread.clearance_medium_mm == pytest.approx(hole_mm, abs=0.051 if inches else 1e-9), thread
    lacking = {thread.designation for thread in threads().values()} - {thread.designation for thread in holes}
    assert lacking == {"12-24", "12-28", "9/16-12", "9/16-18", "3/8-16 BSW", "1/2-12 BSW", "5/16-18 BSW", *PIPES}


def test_washers_are_those_of_the_standards() -> None:
    """ISO 7089 and ISO 7093-1."""
    assert [(w.bolt_mm, w.outer_mm, w.thickness_mm, w.large_outer_mm) for w in read("washers.csv", Washer)] == [
        tuple(float(row[of]) for of in ("bolt_mm", "outer_mm", "thickness_mm", "large_outer_mm"))
        for row in rows("washers.csv")
    ]


def test_every_instrument_of_the_sheets_is_in_the_table_with_a_source() -> None:
    assert tuple(instruments()) == INSTRUMENTS
    for row in instruments().values():
        assert row.source and set(row.mark.split("+")) <= {"S", "C", "M"}
        assert all(greatest_error_mm(row.instrument, length) > 0 for length in (0.0, 10.0, 5000.0))


def test_greatest_errors() -> None:
    assert coordinate_error_mm() == greatest_error_mm("rule", 300.0) == 0.5
    assert greatest_error_mm("tape", 999.0) == greatest_error_mm("tape", 1000.0) == 1.0
    assert greatest_error_mm("tape", 1000.5) == 1.2
    # Nobody knows how it was read: as from a seller, and never better than any tape.
    assert greatest_error_mm(None, 400.0) == greatest_error_mm("seller", 400.0) == 2.5
    # Jaws cannot grip a centre.
    assert greatest_error_mm("caliper", 100.0, "centres") > greatest_error_mm("caliper", 100.0, "far edges")
    # The worst of the published checkerboard photographs was 3.7 mm out, uncorrected.
    assert greatest_error_mm("photo", 200.0) >= 3.7
    with pytest.raises(ValueError, match="mass"):
        greatest_error_mm("tape", 4.0, "mass")
    with pytest.raises(KeyError):
        greatest_error_mm("laser", 4.0)


def test_every_thread_of_the_table_reads_as_itself() -> None:
    assert len(threads()) == 101
    for designation, thread in threads().items():
        assert parse_thread(designation) is thread
        assert thread.source
        if thread.series in ("UNC", "UNF"):
            assert parse_thread(f"{designation.split('-')[0]} {thread.series}") is thread


@pytest.mark.parametrize(
    ("text", "designation"),
    [
        ("M8", "M8x1.25"), ("m8", "M8x1.25"), ("M8 coarse", "M8x1.25"), ("M8 x 1,25", "M8x1.25"),
        ("M8×1.25", "M8x1.25"), ("M8*1.25", "M8x1.25"), ("M8-1.25", "M8x1.25"), ("M 8 x 1.25", "M8x1.25"),
        ("M8x1.25-6H", "M8x1.25"), ("M6-6g", "M6x1"), ("M6 x 0.75 mm", "M6x0.75"), ("M9x1.25", "M9x1.25"),
        ("M10x1.25 LH", "M10x1.25 LH"), ("m10x1.25 left hand", "M10x1.25 LH"),
        ("1/4-20 UNC", "1/4-20"), ("1/4 UNC", "1/4-20"), ("1/4 UNF", "1/4-28"), ('1/4"-20', "1/4-20"),
        ("1/4 in - 20", "1/4-20"), ("0.25-28", "1/4-28"), ("1/4–20", "1/4-20"), ("1/4-20 UNC-2A", "1/4-20"),
        ("#10-32", "10-32"), ("No. 10-32 UNF", "10-32"), ("1-8", "1-8"), ("1-64", "1-64"), ("1 1/8-7", "1 1/8-7"),
        ("G 1/4", "G1/4"), ("1/4 BSP", "G1/4"), ("1/4 NPT", "1/4-18 NPT"), ("5/16-18 BSW", "5/16-18 BSW"),
    ],
)  # fmt: skip
def test_threads_as_the_trade_writes_them(text: str, designation: str) -> None:
    thread = parse_thread(text)
    assert thread is not None
    assert thread.designation == designation


@pytest.mark.parametrize(
    "text",
    ["", "M", "M8x30", "M8x1.25x30", "M9", "M8 fine", "M0", "M-8", "6", "1/0-20", "#13-20", "1/4-28 NPT", "Apr-40",
     "2020-04-01", "1/4", "bolt", "M8x0", "Mx1", "M8x", "8x1.25", "x" * 50, "M٨", "1/4-0"],
)  # fmt: skip
def test_what_is_no_thread(text: str) -> None:
    assert parse_thread(text) is None


def test_threads_join_only_their_like() -> None:
    def join(a: str, b: str) -> bool:
        first, second = parse_thread(a), parse_thread(b)
        assert first is not None and second is not None
        assert threads_join(first, second) == threads_join(second, first)
        return threads_join(first, second)

    assert join("M8", "M8x1.25")
    assert join("1/4-20", "0.25-20")
    assert not join("M10x1.25", "M10x1.25 LH")
    assert not join("3/8-16", "3/8-16 BSW")
    assert not join("G1/2", "1/2-14 NPT")
    for miss in read("near_misses.csv", NearMiss):
        assert not join(miss.thread_a, miss.thread_b)
        assert near_miss(miss.thread_b, miss.thread_a) is miss
    assert len(read("near_misses.csv", NearMiss)) == 36


def test_turns_of_the_near_misses_follow_from_their_pitches() -> None:
    """A quarter of the smaller pitch, over the difference of the pitches; equal ones differ in something else."""
    equal = {(miss.thread_a, miss.thread_b) for miss in read("near_misses.csv", NearMiss) if miss.turns is None}
    assert equal == {
        ("3/8-16", "3/8-16 BSW"), ("5/16-18", "5/16-18 BSW"), ("G1/2", "1/2-14 NPT"), ("M7x1", "M6x1"),
    }  # fmt: skip
    for miss in read("near_misses.csv", NearMiss):
        a, b = threads()[miss.thread_a], threads()[miss.thread_b]
        difference_mm = abs(a.pitch_mm - b.pitch_mm)
        assert abs(a.major_mm - b.major_mm) <= max(1.0, 0.06 * a.major_mm), "one would not start in the other"
        if miss.turns is None:
            assert difference_mm < 1e-4
        else:
            assert miss.turns == pytest.approx(0.25 * min(a.pitch_mm, b.pitch_mm) / difference_mm, rel=0.002)


# Values of common practice, without a source: each is held here with what rests on it, so that none changes unseen.


def test_how_a_maker_scatters_and_how_another_drawing_departs() -> None:
    """A chance rests on them; the shares of the four ways add up."""
    found = making()
    assert (found.scatter_mm, found.file_mm) == (0.1, 1.0)
    assert found.spreads_mm == (0.6, 1.2, 2.5, 5.0)
    shares = (found.one_hole, found.two_holes, found.group, found.all_holes)
    assert shares == (0.40, 0.15, 0.10, 0.35) and sum(shares) == pytest.approx(1.0)


def test_how_likely_one_drawing_is_before_anything_is_read() -> None:
    """A chance rests on it: even odds where nothing speaks, more the more speaks for it, few where a size differs."""
    assert {name: row.weight for name, row in same_drawing().items()} == {
        "same name and platform and alike in every size": 0.8, "same name and platform": 0.75,
        "alike in every size": 0.55, "nothing of the kind": 0.5, "a size that differs": 0.1,
    }  # fmt: skip


def test_from_when_on_a_size_or_a_reading_is_asked_about() -> None:
    """What stands beyond them is not believed before it is read once more: a verdict waits for it."""
    asked = {"hole widest": 2.5, "hole narrowest": 0.5, "made alike": 0.5, "tape mark": 10.0, "tape hundred": 100.0,
             "fewest beside": 3.0}  # fmt: skip
    assert {name: slip_rule(name) for name in asked} == asked


def test_what_a_clip_takes() -> None:
    """Play of a clip, and so a verdict: 0.5 mm in moulded trim, none in steel; at most 3 mm wider or 1 mm thinner."""
    told = {name: (row.takes_mm, row.larger_mm, row.smaller_mm) for name, row in clip_rules().items()}
    assert told == {"plastic": (0.5, 3.0, 1.0), "covered foam": (0.5, 3.0, 1.0), "any": (0.0, 3.0, 1.0)}


@pytest.mark.parametrize(
    ("instrument", "at_0", "at_1_m", "centres_at_0"),
    [("steel rule", 0.5, 0.5, 0.5), ("tape", 1.0, 1.0, 1.0), ("caliper", 0.05, 0.1, 0.35), ("template", 0.5, 1.0, 0.5),
     ("photo", 4.0, 9.0, 4.0), ("seller", 2.5, 2.5, 2.5)],
)  # fmt: skip
def test_how_far_a_reading_may_be_out(instrument: str, at_0: float, at_1_m: float, centres_at_0: float) -> None:
    """Every verdict rests on it. Limits of tapes: tests/published/test_uncertainty.py; the eye's share is practice."""
    told = [greatest_error_mm(instrument, length, "near edges") for length in (0.0, 1000.0)]
    assert (*told, greatest_error_mm(instrument, 0.0, "centres")) == (at_0, at_1_m, centres_at_0)


def test_what_is_kept_where_something_is_cut() -> None:
    """A cut rests on it; the distances that a standard gives: tests/published/test_edges.py."""
    kept = {
        "zone margin": (20.0, "mm"), "largest opening": (1.5, "fastener"), "washer cover": (0.67, "washer"),
        "longest slot": (2.5, "fastener"), "drill step": (0.5, "mm"), "length step": (1.0, "mm"),
        "fixings that place the part": (2.0, "count"), "thickness that matters": (0.5, "mm"),
    }  # fmt: skip
    assert {name: (edge_rule(name).value, edge_rule(name).of) for name in kept} == kept
    slots = {"moulded": (2.0, "fastener"), "composite": (3.0, "fastener"), "sheet metal": (1.5, "hole")}
    assert {group: (edge_rule("slot edge", group).value, edge_rule("slot edge", group).of) for group in slots} == slots
    assert (edge_rule("engagement", "plastic").value, edge_rule("engagement", "plastic").of) == (2.0, "fastener")
    assert edge_rule_or_none("slot edge", "cast") is None, "no slot is cut in a casting"


def test_what_each_material_bears() -> None:
    """A cut rests on it: what may be opened out, slotted, given a new hole; whose edges and whose threads count."""
    rows = read("materials.csv", Material)
    assert {row.group: (row.rules_as, row.engages_as, row.open_out, row.slot, row.new_hole) for row in rows} == {
        "high-strength steel": ("sheet metal", "steel", "no", "no", "no"),
        "magnesium": ("cast", "aluminium", "no", "no", "no"),
        "glass": ("moulded", "plastic", "no", "no", "no"),
        "covered foam": ("moulded", "plastic", "yes", "yes", "carrier"),
        "composite": ("composite", "plastic", "yes", "yes", "yes"),
        "cast": ("cast", "aluminium", "yes", "no", "no"),
        "aluminium": ("sheet metal", "aluminium", "yes", "yes", "yes"),
        "steel": ("sheet metal", "steel", "yes", "yes", "yes"),
        "plastic": ("moulded", "plastic", "yes", "yes", "yes"),
        "wood": ("moulded", "plastic", "yes", "yes", "yes"),
    }


def test_what_is_gone_when_a_part_does_not_go_on() -> None:
    """A purchase rests on it: half the price comes back, carriage is paid once more, the hours are gone."""
    assert dict(lost_shares()) == {"resale": 0.5, "return_carriage": 1.0, "wasted_hours": 1.0}


def test_how_a_mass_is_lifted() -> None:
    """HSE INDG143, lifting filter: 16 kg and 25 kg; the rest is practice. A plan's cost and its caution rest on it."""
    assert [(row.up_to_kg, row.people_least, row.hoist, row.minutes) for row in lift_rows()] == [
        (16.0, 1, False, 0.0), (25.0, 1, False, 3.0), (32.0, 2, False, 6.0), (60.0, 2, True, 10.0),
        (None, 0, True, 20.0),
    ]  # fmt: skip


def test_what_a_job_takes() -> None:
    """A purchase rests on minutes and cost, a cut on how far a hand may miss, in mm."""
    assert {(row.do, row.group): (row.minutes, row.cost, row.workmanship_mm) for row in shipped_work()} == {
        ("open out", "any"): (6, 0, 0.5),
        ("open out", "plastic"): (4, 0, 0.5),
        ("open out", "covered foam"): (8, 0, 0.5),
        ("open out", "composite"): (8, 0, 0.5),
        ("open out", "cast"): (10, 0, 0.5),
        ("slot", "any"): (15, 0.4, 0.5),
        ("slot", "plastic"): (10, 0.4, 0.5),
        ("slot", "covered foam"): (16, 0.4, 0.5),
        ("slot", "composite"): (20, 0.4, 0.5),
        ("new hole", "any"): (12, 0.2, 0.5),
        ("new hole", "plastic"): (8, 0, 0.5),
        ("new hole", "covered foam"): (14, 0, 0.5),
        ("new hole", "composite"): (14, 0.2, 0.5),
        ("leave unused", "any"): (1, 0.3, 0),
        ("spacer", "any"): (2, 0.5, 0),
        ("longer bolt", "any"): (1, 0.8, 0),
        ("other bolt", "any"): (1, 0.8, 0),
        ("thread insert", "any"): (20, 3, 0.5),
        ("new clip", "any"): (1, 0.6, 0),
        ("trim edge", "any"): (20, 0.2, 0.5),
        ("move over", "any"): (10, 0, 0),
        ("connector adapter", "any"): (15, 10, 0),
    }  # fmt: skip


def test_what_a_fastener_takes() -> None:
    """A plan rests on it: minutes each, how much of them at a bench, what bears weight, bag or tag."""
    rows = [(row.kind, row.minutes_each, row.bench_factor, row.holds, row.label) for row in fastener_rows().values()]
    assert rows == [
        ("bolt", 1, 0.7, True, "bag"),
        ("screw", 0.5, 0.7, True, "bag"),
        ("nut", 1, 0.7, True, "bag"),
        ("stud nut", 1.2, 0.7, True, "bag"),
        ("clip", 0.3, 0.7, True, "bag"),
        ("connector", 0.5, 0.7, False, "tag"),
        ("hose", 2, 0.7, False, "tag"),
        ("clamp", 1, 0.7, True, "bag"),
        ("adhesive", 10, 0.7, True, ""),
        ("strap", 0.5, 0.7, True, "bag"),
        ("change of place", 3, 1, False, ""),
        ("bench", 5, 1, False, ""),
    ]  # fmt: skip


def test_what_a_reading_costs() -> None:
    """What to read next rests on it: minutes, price, the longest distance in one go, whether the part is there."""
    told = {row.instrument: (row.minutes, row.price, row.longest_mm, row.at_hand) for row in reading_costs().values()}
    assert told == {
        "caliper": (1, 0, 150, True),
        "steel rule": (1.5, 0, 1000, True),
        "tape": (2, 0, 5000, True),
        "template": (15, 1, 1500, True),
        "photo": (10, 0, 2000, False),
        "seller": (12, 0, 5000, False),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("group", "words"),
    [("high-strength steel", "high-strength;high strength;hss;uhss;ahss;boron;press-hardened;press hardened;"
      "hot-stamped;hot stamped;dual-phase;dp600;dp800;dp1000;martensitic"),
     ("magnesium", "magnesium"), ("glass", "glass;windscreen;windshield"),
     ("covered foam", "leather;leather-covered;foam-backed;vinyl-covered;vinyl covered;slush;foam;covered;"
      "padded;stitched"),
     ("composite", "composite;glass-fibre;glass fibre;glass fiber;glass-reinforced;carbon;cfrp;gfrp;grp;smc;fibreglass;"
      "fiberglass"),
     ("cast", "cast iron;cast aluminium;cast aluminum;cast steel;casting;die-cast;die cast;zamak;cast"),
     ("aluminium", "aluminium;aluminum;alloy sheet"),
     ("steel", "steel;sheet metal;galvanised;galvanized;zinc-coated;stainless"),
     ("plastic", "plastic;abs;pc/abs;pp;polypropylene;polyamide;nylon;pa6;"
      "pc;pom;pvc;tpo;pmma;moulded;molded"),
     ("wood", "wood;plywood;mdf;hardboard;fibre board;fiberboard")],
)  # fmt: skip
def test_a_material_is_known_by_each_of_its_words(group: str, words: str) -> None:
    for word in words.split(";"):
        found = material_of(f"{word} part")
        assert found is not None and found.group == group, word
