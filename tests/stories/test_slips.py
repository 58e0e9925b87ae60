"""Slips as people make them, typed: named at once and first in the verdict, and nothing rests on them."""

from __future__ import annotations

from collections import Counter
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

import partkin
from benchmarks.bench_slips import DECIDED_WRONG, counted
from benchmarks.slipped_builds import slipped
from partkin.model.build import Build, Feature, Part, Reading

FIVE = np.array([(0.0, 0.0), (612.0, 40.0), (590.0, 310.0), (25.0, 290.0), (300.0, 12.0)])
PAIRS = list(combinations(range(5), 2))
FRAME = [(0, 1), (0, 2), (1, 2), (0, 3), (1, 3), (2, 3)]


def far(a: int, b: int) -> float:
    return float(np.linalg.norm(FIVE[a] - FIVE[b]))


def sheets(folder: Path, read: list[tuple[int, int]], donor_across: str = "9", count: int = 5) -> None:
    """A host whose studs have places, a donor that is the very same part, read between these of its holes."""
    parts = ["part,origin,takes_place_of,seen_from,duty,airbag"]
    parts += ["frame,host,,outside,structural,no", "top,donor,frame,outside,trim,no"]
    rows = ["part,feature,kind,across_mm,x_mm,y_mm,plus_minus_mm,goes_on,need"]
    rows += [f"frame,F{n},stud,6,{x:g},{y:g},0.5,,must" for n, (x, y) in enumerate(FIVE[:count])]
    rows += [f"top,k{n},hole,{donor_across if n == 0 else 9},,,,F{n}," for n in range(count)]
    readings = ["part,reading,quantity,from,to,value,unit,plus_minus,instrument,by,on,corrects,note"]
    readings += [f"top,t{n},centres,k{a},k{b},{far(a, b):.1f},mm,,tape,,,," for n, (a, b) in enumerate(read)]
    for name, lines in (("parts", parts), ("features", rows), ("readings", readings)):
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


@pytest.fixture
def typed(tmp_path: Path):
    """Type a command in the folder."""
    from typer.testing import CliRunner

    from partkin.cli.app import app

    def run(*words: str):
        where = () if words[0] == "doctor" else ("--in", str(tmp_path))
        last = (str(tmp_path),) if words[0] == "doctor" else ()
        done = CliRunner().invoke(app, [*words, *last, *where], catch_exceptions=False)
        assert done.exit_code == 0, done.output
        return done.output

    return run


def verdict(typed) -> str:
    return typed("check", "top").splitlines()[0]


def first_unknown(typed) -> str:
    lines = typed("check", "top").splitlines()
    at = lines.index("Not known")
    return " ".join(line.strip() for line in lines[at + 1 : at + 4])


def test_a_hole_ten_times_its_stud_is_asked_about_and_no_verdict_rests_on_it(typed, tmp_path: Path) -> None:
    """90 typed for 9,0."""
    sheets(tmp_path, PAIRS, donor_across="90")
    (tmp_path / "features.csv").write_text(
        (tmp_path / "features.csv").read_text().replace("top,k4,hole,9,", "top,k4,hole,8.5,")
    )
    assert "features.csv:7:across_mm: k0 of top is 90 mm across" in typed("doctor")
    assert "NOT ENOUGH MEASURED" in verdict(typed)
    assert "k0 of top is 90 mm across, and F0 of frame is 6 mm; 9 mm" in first_unknown(typed)
    mended = typed("record", "top", "k0", "9,0", "-q", "across", "-i", "caliper")
    assert "LOOK" not in mended
    assert "k0 of top is 90" not in typed("doctor")
    again = typed("record", "top", "k1", "90", "-q", "across", "-i", "caliper")
    assert "LOOK: k1 of top is 90 mm across" in again
    assert "NOT ENOUGH MEASURED" in verdict(typed)


def test_an_odd_size_that_is_read_twice_stands(typed, tmp_path: Path) -> None:
    sheets(tmp_path, PAIRS, donor_across="20")
    assert "k0 of top is 20 mm across" in typed("doctor")
    said = typed("record", "top", "k0", "20.0", "-q", "across", "-i", "caliper")
    assert "LOOK" not in said
    assert "k0 of top" not in typed("doctor")


def test_centimetres_are_named_when_they_are_typed_and_nothing_is_decided(typed, tmp_path: Path) -> None:
    """One reading of k3, so that its own part leaves it open; the frame does not."""
    sheets(tmp_path, [(0, 1), (0, 2), (1, 2)], count=4)
    value = f"{far(3, 0):.1f}"
    said = typed("record", "top", "k3", "k0", value, "--unit", "cm", "-i", "tape")
    assert f"LOOK: r1 of top (k3 to k0): {value} cm? {value} mm would agree with the other part" in said
    assert "partkin record top VALUE --corrects r1" in said
    assert f"{value} cm? {value} mm would agree" in typed("doctor")
    for n, other in enumerate((1, 2), start=2):
        said = typed("record", "top", "k3", f"k{other}", f"{far(3, other):.1f}", "-i", "tape")
        assert "does not fit" not in said and f"LOOK: r{n}" not in said
        assert first_unknown(typed).startswith("? r1 ") and f"{value} mm would agree" in first_unknown(typed)
    assert "does not fit" not in typed("record", "top", value, "--unit", "mm", "--corrects", "r1")
    assert "r1" not in typed("doctor")


def test_two_slips_lock_no_build(typed, tmp_path: Path) -> None:
    """1196 typed for 1169, then 212 for 202: every command answers, and a correction is taken."""
    sheets(tmp_path, [])
    rows = (tmp_path / "features.csv").read_text().splitlines()
    rows = [
        row.replace("hole,9,,,,", f"hole,9,{FIVE[n - 6][0]:g},{FIVE[n - 6][1]:g},25,") if n >= 6 else row
        for n, row in enumerate(rows)
    ]
    (tmp_path / "features.csv").write_text("\n".join(rows) + "\n")
    typed("record", "top", "k0", "k1", "1196", "-i", "tape")
    typed("record", "top", "k0", "k3", "212", "-i", "tape")
    for command in ("positions top", "measure-next top", "why top", "check top", "rank --for frame"):
        typed(*command.split())
    assert "does not fit" not in verdict(typed).lower()
    typed("record", "top", f"{far(0, 1):.1f}", "--corrects", "r1")
    typed("record", "top", f"{far(0, 3):.1f}", "--corrects", "r2")
    assert "LOOK" not in typed("record", "top", "k1", "k3", f"{far(1, 3):.1f}", "-i", "tape")


def test_the_same_value_read_again_stands(typed, tmp_path: Path) -> None:
    """A donor that really is other there: looked at again, the reading counts, and the answer is no."""
    sheets(tmp_path, FRAME[:5], count=4)
    other = far(2, 3) + 100.0
    said = typed("record", "top", "k2", "k3", f"{other:.1f}", "-i", "tape")
    assert "LOOK" in said and "NOT ENOUGH MEASURED" in verdict(typed)
    typed("record", "top", f"{other:.1f}", "--corrects", "r1")
    assert "r2 of top" not in typed("doctor")


def test_a_hole_that_is_elsewhere_is_no_slip(typed, tmp_path: Path) -> None:
    """Three readings of one hole differ from the frame, and agree with each other."""
    sheets(tmp_path, [pair for pair in PAIRS if 4 not in pair])
    there = FIVE[4] + (0.0, 37.0)
    for n in range(4):
        said = typed("record", "top", "k4", f"k{n}", f"{np.linalg.norm(FIVE[n] - there):.1f}", "-i", "tape")
    assert "LOOK" not in said
    assert "r4 of top" not in typed("doctor")


@pytest.mark.parametrize("seed", [35, 110, 200, 610])
def test_what_other_readings_of_a_hole_confirm_is_asked_about_in_none_of_them(seed: int) -> None:
    """One hole of the donor is elsewhere: most readings to it are confirmed by its others, and one by none."""
    asked = [one for one in partkin.check(slipped(seed).other, "donor").unknown if one.what.startswith("reading ")]
    assert not asked


def test_of_many_that_may_be_wrong_the_likeliest_three_are_asked_for_and_the_rest_counted() -> None:
    asked = [one for one in partkin.check(slipped(11).wrong, "donor").unknown if "reading" in one.what]
    assert [one.what for one in asked[:3]] == ["reading r9", "reading r1", "reading r3"]
    assert [one.says for one in asked[3:]] == ["3 more may be the wrong one in place of these: read these first"]


@pytest.mark.parametrize(("off_mm", "says"), [(0.0, "bolts on"), (6.0, "bolts on with adaptation")])
def test_rough_places_beside_good_distances_lose_no_verdict(off_mm: float, says: str) -> None:
    """Places by eye to 25 mm that tell left from right, and places to half a millimetre: one answer."""
    for within_mm in (0.5, 25.0):
        there = FIVE.copy()
        there[2, 0] += off_mm
        off = np.random.default_rng(3).uniform(-within_mm, within_mm, FIVE.shape)
        features = [
            Feature("frame", f"F{n}", "stud", across_mm=6.0, x_mm=x, y_mm=y, plus_minus_mm=0.25, need="must")
            for n, (x, y) in enumerate(FIVE.tolist())
        ]
        features += [
            Feature("top", f"k{n}", "hole", across_mm=9.0, goes_on=f"F{n}", x_mm=x, y_mm=y, plus_minus_mm=within_mm)
            for n, (x, y) in enumerate((there + off).tolist())
        ]
        read = []
        for n, (a, b) in enumerate(PAIRS):
            value = round(float(np.linalg.norm(there[a] - there[b])), 1)
            read.append(Reading("top", f"r{n}", "centres", value, "mm", f"k{a}", f"k{b}", plus_minus=0.5))
        parts = (
            Part("frame", origin="host", seen_from="outside", duty="structural", airbag=False),
            Part("top", origin="donor", takes_place_of="frame", seen_from="outside", duty="trim", airbag=False),
        )
        build = Build(parts=parts, features=tuple(features), readings=tuple(read))
        assert partkin.check(build, "top").verdict == says, within_mm


def read_alone(at: np.ndarray, frame: list[tuple[int, int]], top: list[tuple[int, int]], **slipped: float) -> Build:
    """Two parts that are alike, known from these distances alone, to 0.5 mm; `slipped`: what was typed for k0k1."""
    parts = (
        Part("frame", origin="host", seen_from="outside", duty="structural", airbag=False),
        Part("top", origin="donor", takes_place_of="frame", seen_from="outside", duty="structural", airbag=False),
    )
    features = [Feature("frame", f"F{n}", "stud", across_mm=6.0, need="must") for n in range(len(at))]
    features += [Feature("top", f"k{n}", "hole", across_mm=9.0, goes_on=f"F{n}") for n in range(len(at))]
    readings = []
    for part, letter, pairs in (("frame", "F", frame), ("top", "k", top)):
        for a, b in pairs:
            ends = f"{letter}{a}", f"{letter}{b}"
            value = round(float(np.linalg.norm(at[a] - at[b])), 1)
            value = slipped.get("".join(ends), value)
            readings.append(Reading(part, "".join(ends), "centres", value, "mm", *ends, plus_minus=0.5))
    return Build(parts=parts, features=tuple(features), readings=tuple(readings))


def test_a_slip_that_lays_a_hole_into_a_line_is_not_confirmed_by_the_line() -> None:
    """k4 hangs on k0 and k1 alone; 100 mm too few put it between them, where each seems to check the other."""
    at = FIVE.copy()
    at[4] = 290.0, 201.0
    value = round(float(np.linalg.norm(at[0] - at[4])) - 100.0, 1)
    verdict = partkin.check(read_alone(at, PAIRS, [*FRAME, (0, 4), (1, 4)], k0k4=value), "top")
    assert verdict.verdict == "not enough measured"
    assert verdict.unknown[0].what == "reading k0k4" and f"{value + 100:g} mm (read from" in verdict.unknown[0].says
    # What is asked of k4 then is where it has to be, not where the slip has put it.
    takes = f"k4 to k3 of top, centre to centre ({np.linalg.norm(at[4] - at[3]):.1f} mm is just right"
    assert any(takes in one.says for one in verdict.unknown)


def test_a_slip_that_chooses_the_mirror_image_is_not_confirmed_by_it() -> None:
    """Without k1 to k4, k1 may lie on either side of a row of three; 10 mm too many put it on the wrong one."""
    at = np.array([(0.0, 0.0), (540.0, 130.0), (1100.0, 0.0), (620.0, 4.0), (900.0, 14.3)])
    read = [pair for pair in PAIRS if pair != (0, 4)]
    value = round(float(np.linalg.norm(at[1] - at[4])) + 10.0, 1)
    verdict = partkin.check(read_alone(at, PAIRS, read, k1k4=value), "top")
    assert verdict.verdict == "not enough measured"
    assert verdict.unknown[0].what == "reading k1k4" and f"{value - 10:g} mm (read from" in verdict.unknown[0].says


def test_a_reading_is_held_against_every_layout_of_the_other_part() -> None:
    """Each part lacks another pair; F0 to F2 may be two lengths, and what was read for k0 to k2 is neither."""
    rest = [pair for pair in FRAME if pair not in ((0, 2), (0, 3))]
    verdict = partkin.check(read_alone(FIVE[:4], [*rest, (0, 3)], [*rest, (0, 2)], k0k2=far(2, 3)), "top")
    assert verdict.verdict == "not enough measured"
    assert verdict.unknown[0].what == "reading k0k2" and "k2 to k3 (the wrong hole)" in verdict.unknown[0].says
    assert " or " in verdict.unknown[0].says.split(" mm apart")[0]


def test_readings_that_need_be_out_by_no_more_than_is_to_be_expected_send_no_part_away() -> None:
    """Two triangles of the donor are nearly lines, and a covariance of first order takes them for known."""
    verdict = partkin.check(slipped(611).right, "donor")
    assert verdict.verdict == "not enough measured" and verdict.chance is None and verdict.unknown
    assert any(
        "readings out by 0.4 times what you said would let it go on" in reason.says for reason in verdict.reasons
    )


def test_a_triangle_that_is_nearly_a_line_hides_no_layout() -> None:
    """No slip, nothing to spare: by what the readings are out the true layout misses them by a hair, and counts."""
    assert partkin.check(slipped(748).right, "donor").verdict == "not enough measured"


@pytest.mark.parametrize("builds", [8, pytest.param(100, marks=pytest.mark.slow)])
def test_of_builds_with_one_slip_none_is_turned(builds: int) -> None:
    """bench_slips.py, shorter: at least the shares that the whole of it has to reach."""
    found, told = counted(range(builds))
    every = sum(found.values(), start=Counter())
    assert every["builds"] > 2 * builds
    assert every["crashed"] == every[DECIDED_WRONG] == 0, told
    assert every["first"] >= 0.6 * builds
    assert every["among three"] >= 0.85 * builds
