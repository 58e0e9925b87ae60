"""What is missing or in doubt, in words: the limit that is broken, and the reading that tells most."""

from __future__ import annotations

import numpy as np
import pytest

from partkin.positions import adjust
from partkin.positions.asking_for import after, loose, out_of_bounds
from partkin.positions.lengths import Distance
from positions.parts import all_pairs, apart, features, readings


@pytest.mark.parametrize(
    ("length_mm", "left_out", "says"),
    [
        (250.4, True, "250 mm, and the other readings leave room for at most 210 mm; left out until it is read again."),
        (250.4, False, "250 mm, and the other readings leave room for at most 210 mm; it, or one of those, is wrong:"),
        (9.96, False, "10.0 mm, and the other readings leave room for at least 90 mm; it, or one of those, is wrong:"),
        (9.9, True, "9.9 mm, and the other readings leave room for at least 90 mm; left out until it is read again."),
        (90.0, False, "90 mm; it, or one of the readings round it, is wrong: read it again."),
        (210.0, False, "210 mm; it, or one of the readings round it, is wrong: read it again."),
    ],
)
def test_a_distance_that_the_others_rule_out_is_told_with_the_limit_that_it_breaks(
    length_mm: float, left_out: bool, says: str
) -> None:
    one = Distance("r7", "a", "b", length_mm, 0.2)
    assert out_of_bounds(one, 90.0, 210.0, left_out).startswith(f"r7 (a to b): {says}")


def test_the_distance_that_differs_most_between_two_layouts_is_asked_for() -> None:
    """Of those not read yet; its values are those of the layouts."""
    draw = np.random.default_rng(8)
    for _ in range(20):
        layouts = list(draw.uniform(0.0, 400.0, (2, 5, 2)))
        names = tuple("abcde")
        pairs = all_pairs(5)
        read = [pairs[at] for at in draw.permutation(10)[:4]]
        rows = [Distance(f"r{at}", names[a], names[b], 1.0, 0.1) for at, (a, b) in enumerate(read)]
        asked = after(names, layouts, False, "p", rows)[0]
        split = np.abs(apart(layouts[0]) - apart(layouts[1]))
        best = max((pair for pair in pairs if pair not in read), key=lambda pair: split[pair])
        lengths = sorted(round(float(np.linalg.norm(one[best[0]] - one[best[1]]))) for one in layouts)
        told = (
            f"Measure {names[best[0]]} to {names[best[1]]}, centre to centre: it is {lengths[0]} mm or {lengths[1]} mm."
        )
        assert asked.says == f"The readings of p allow 2 layouts. {told}"
        assert asked.what == "which of 2 layouts is the right one"


def test_where_left_and_right_are_known_a_look_tells_two_places_apart() -> None:
    stated = features(np.array([[0.0, 0.0], [300.0, 0.0], [150.0, 200.0], [60.0, 90.0]]), range(3))
    points = np.array([[0.0, 0.0], [300.0, 0.0], [150.0, 200.0], [60.0, 90.0]])
    (asked,) = adjust("p", stated, readings(points, [(0, 3), (1, 3)])).missing
    assert (asked.what, asked.quantity, asked.from_feature) == ("which of 2 layouts is the right one", "left of", "f3")
    assert asked.to_feature == "f0 f1" and asked.says.startswith(
        "The readings of p leave two places for f3. Looking at"
    )
    assert asked.says.endswith("Or measure f2 to f3, centre to centre: it is 142 mm or 304 mm.")


def test_a_feature_without_a_place_is_tied_to_those_that_stand_widest() -> None:
    """f4 has one reading to f0: what is asked for first stands farthest from f0, then farthest off the line to that."""
    points = np.array([[0.0, 0.0], [300.0, 0.0], [320.0, 40.0], [120.0, 190.0], [500.0, 100.0]])
    rows = readings(points, [*all_pairs(4), (0, 4)])
    found = adjust("p", features(points), rows)
    (asked,) = [one for one in found.missing if one.what == "where f4 is"]
    assert (asked.from_feature, asked.to_feature) == ("f4", "f2")
    told = (
        "Measure from f4 to f2 of p, centre to centre, and to f3 if that leaves two places for it; or give its x and y."
    )
    assert asked.says == told
    (untied,) = loose(["f9"], found, [])
    assert untied.says.startswith("Measure from f9 to f0 and f2 of p, centre to centre, and to f3 if ")
