"""An answer of left or right, held against what the rest of a part allows."""

from __future__ import annotations

import numpy as np
import pytest

from partkin.model.build import Reading
from partkin.positions.adjusting import adjust
from partkin.positions.sides import wrong_side
from positions.parts import features, readings

# f0 to f1 runs along x; f2 and f3 lie left of it, f4 so little that nobody can tell.
HOLES = np.array([[0.0, 0.0], [300.0, 0.0], [150.0, 200.0], [60.0, 90.0], [150.0, 0.2]])


def answer(point: str, side: str, start: str = "f0", end: str = "f1") -> Reading:
    return Reading("p", "r9", side, None, None, point, line_from=start, line_to=end)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (answer("f2", "left of"), None),
        (answer("f2", "right of"), "the rest of what is known of p puts f2 left of f0 to f1"),
        (answer("f2", "left of", "f1", "f0"), "the rest of what is known of p puts f2 right of f1 to f0"),
        (answer("f2", "right of", "f1", "f0"), None),
        (answer("f4", "right of"), None),
        (answer("f4", "left of"), None),
    ],
)
def test_an_answer_is_wrong_only_where_the_places_clearly_say_otherwise(asked: Reading, said: str | None) -> None:
    assert wrong_side(adjust("p", features(HOLES, range(5), plus_minus_mm=0.5), []), asked) == said


def test_of_two_layouts_an_answer_needs_to_hold_in_one() -> None:
    """Of two distances f3 is above or below the line of the first two; in neither is it left of f2 to f1."""
    stated = features(HOLES[:4], range(3))
    found = adjust("p", stated, readings(HOLES, [(0, 3), (1, 3)]))
    assert len(found.layouts) == 2
    assert wrong_side(found, answer("f3", "left of")) is None and wrong_side(found, answer("f3", "right of")) is None
    beyond = wrong_side(found, answer("f3", "left of", "f2", "f1"))
    assert beyond == "the rest of what is known of p puts f3 right of f2 to f1"
