"""What distances leave open for one of them, and the slips that explain one that is impossible."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from partkin.model.build import Reading
from partkin.model.positions import Suspect
from partkin.positions import adjust
from partkin.positions.in_doubt import bounds_mm, impossible, is_possible, plainly_wrong, with_causes
from partkin.positions.lengths import Distance
from partkin.positions.slips import slip_of
from partkin.trial.places import CONFIRMED, DOUBTED
from positions.parts import all_pairs, features, readings

FOUR = np.array([(0.0, 0.0), (300.0, 20.0), (320.0, 230.0), (10.0, 190.0)])


def distances(pairs: list[tuple[int, int]], slips: dict[int, float] | None = None) -> list[Distance]:
    found = []
    for at, (a, b) in enumerate(pairs):
        length = float(np.linalg.norm(FOUR[a] - FOUR[b])) + (slips or {}).get(at, 0.0)
        found.append(Distance(f"r{at}", f"f{a}", f"f{b}", length, 0.5 / np.sqrt(3.0)))
    return found


def test_the_way_round_bounds_a_distance_and_the_true_one_lies_within() -> None:
    """A triangle is exact: |a - b| to a + b, each reading as far out as it may be."""
    three = distances([(0, 1), (1, 2), (0, 2)])
    least, most = bounds_mm(three, 2)
    one, other = three[0].length_mm, three[1].length_mm
    assert (least, most) == (pytest.approx(one - other - 1.0), pytest.approx(one + other + 1.0))
    rng = np.random.default_rng(2)
    for _ in range(50):
        some = [pair for pair in all_pairs(4) if rng.random() < 0.8]
        rows = distances(some, {at: float(rng.uniform(-0.5, 0.5)) for at in range(len(some))})
        assert not impossible(rows)
        assert all(is_possible(rows, at) for at in range(len(rows)))


def test_of_a_triangle_any_of_the_three_may_be_wrong_and_of_more_the_one_that_clears_all() -> None:
    assert impossible(distances([(0, 1), (1, 2), (0, 2)], {2: 1000.0})) == [0, 1, 2]
    assert impossible(distances(all_pairs(4), {4: 1000.0})) == [4]
    wrong, maybe = plainly_wrong(distances(all_pairs(4), {4: 1000.0}))
    assert [one.reading for one in wrong] == ["r4"] and not maybe


def test_a_point_on_two_readings_is_bounded_where_nothing_is_adjusted() -> None:
    """f3 hangs on two readings: an adjustment has no surplus, and one in centimetres is impossible all the same."""
    pairs = [(0, 1), (1, 2), (0, 2), (0, 3), (1, 3)]
    rows = readings(FOUR, pairs)
    rows[3] = Reading("p", "r3", "centres", rows[3].value, "cm", "f0", "f3", plus_minus=0.1)
    found = adjust("p", features(FOUR), rows)
    assert "r3" in {suspect.reading for suspect in found.suspects}
    assert max(found.suspects, key=lambda one: one.likely).reading == "r3"


def test_another_unit_explains_an_edge_reading_by_what_lies_between_the_centres() -> None:
    """Across 60 mm each: 360 from far edge to far edge is 300 between centres, and the way round leaves 290 to 310."""
    row = np.array([(0.0, 0.0), (300.0, 0.0), (300.0, 10.0)])
    holes = [replace(hole, across_mm=60.0) for hole in features(row)]
    wrong = Reading("p", "r2", "far edges", 360.0, "cm", "f0", "f1", plus_minus=0.05)
    found = adjust("p", holes, [*readings(row, [(1, 2), (0, 2)], plus_minus=0.2), wrong])
    said = {suspect.reading: suspect for suspect in found.suspects}
    assert "360 mm would agree" in said["r2"].says
    assert [one for one in said if "would agree" in said[one].says] == ["r2"]
    assert said["r2"].likely > max(said[one].likely for one in said if one != "r2")


@pytest.mark.parametrize(("errors", "explains"), [(2.95, True), (-2.95, True), (3.05, False), (-3.05, False)])
def test_a_slip_explains_what_the_others_allow_to_within_three_greatest_errors(errors: float, explains: bool) -> None:
    """20.8 mm for 20.8 cm, where the others allow 208 mm and so many times 0.5 mm more; what is plain comes first."""
    row = Reading("p", "r1", "centres", 20.8, "mm", "a", "b", plus_minus=0.5)
    one = Distance("r1", "a", "b", 20.8, 0.5 / np.sqrt(3.0))
    suspect = Suspect("r1", 9.0, 20.8 - (208.0 + errors * 0.5), "r1 stands out.")
    (found,) = with_causes([suspect], [row], [one], [])
    assert (found.says == "r1 stands out. 20.8 cm would agree with them.") == explains


def test_what_is_asked_about_first() -> None:
    """What is plainly wrong; of several, what a slip explains; and the other part's word counts for more than that."""
    row, one = Reading("p", "r1", "centres", 20.8, "mm", "a", "b"), Distance("r1", "a", "b", 20.8, 0.3)
    plain, may_be = {}, {}
    for meant_mm in (208.0, 150.0):
        suspects = [Suspect("r1", 9.0, 20.8 - meant_mm, "", left_out) for left_out in (True, False)]
        plain[meant_mm], may_be[meant_mm] = (found.likely for found in with_causes(suspects, [row], [one], []))
    assert plain[208.0] > plain[150.0] > may_be[208.0] + CONFIRMED
    assert may_be[150.0] + CONFIRMED >= DOUBTED > may_be[208.0] > may_be[150.0] > may_be[208.0] - CONFIRMED


@pytest.mark.parametrize(
    ("value", "unit", "expected", "kind", "says"),
    [
        (208.1, "cm", 208.0, "unit", "208.1 mm"),
        (20.8, "mm", 208.0, "unit", "20.8 cm"),
        (8.19, "mm", 208.0, "unit", "8.19 in"),
        (20.8, "in", 5283.2, "unit", "208 in (a decimal sign too many)"),
        (90.0, "mm", 9.0, "unit", "9 mm (a decimal sign left out)"),
        (1196.0, "mm", 1169.3, "digits", "1169 mm (two digits swapped)"),
        (0.19936, "m", 199.63, "digits", "0.19963 m (two digits swapped)"),
        (28.0, "mm", 208.4, "digits", "208 mm (a digit left out)"),
        (2208.0, "mm", 208.4, "digits", "208 mm (a digit too many)"),
        (218.1, "mm", 208.0, "tape", "208.1 mm (read from the 10 mm mark of the tape)"),
        (108.1, "mm", 208.0, "tape", "208.1 mm (read from the 100 mm mark of the tape)"),
        (373.4, "mm", 208.0, "hole", "that is a to d (the wrong hole)"),
        (37.34, "cm", 208.0, "hole", "that is a to d (the wrong hole)"),
    ],
)
def test_a_slip_is_known_by_what_was_meant(value: float, unit: str, expected: float, kind: str, says: str) -> None:
    read = Reading("p", "r1", "centres", value, unit, "a", "b")
    slip = slip_of(read, expected, 1.0, {"a to d": 373.0, "a to c": 512.0})
    assert slip is not None
    assert (slip.kind, slip.says) == (kind, says)


@pytest.mark.parametrize("value", [231.0, 188.5, 150.0, 404.0])
def test_what_no_slip_explains(value: float) -> None:
    assert slip_of(Reading("p", "r1", "centres", value, "mm", "a", "b"), 208.0, 1.0, {"a to d": 373.0}) is None
