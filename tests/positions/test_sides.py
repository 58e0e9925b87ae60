"""An answer of left or right, held against what the rest of a part allows."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from partkin.model.build import Reading
from partkin.positions.adjusting import adjust
from partkin.positions.sides import PlacedLayout, SideSeen, _beside, question, telling_look, wrong_side
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


def beside_mm(begin: np.ndarray, end: np.ndarray, point: np.ndarray) -> float:
    """How far left of a line a point stands, seen along z: the area of the parallelogram by its base."""
    (bx, by), (px, py) = (end - begin)[:2], (point - begin)[:2]
    return float((bx * py - by * px) / np.hypot(bx, by))


@pytest.mark.parametrize("d", [2, 3])
def test_how_far_beside_a_line_and_how_surely(d: int) -> None:
    """Its spread by what moving each coordinate a little does."""
    draw = np.random.default_rng(d)
    one = SideSeen("r1", "c", ("e", "b"), True)
    for _ in range(10):
        places, root = draw.uniform(0.0, 300.0, 4 * d), draw.normal(0.0, 0.3, (4 * d, 4 * d))

        def told(flat: np.ndarray) -> float:
            _, b, c, e = flat.reshape(4, d)
            return beside_mm(e, b, c)

        found_mm, sigma_mm = _beside(one, PlacedLayout(("a", "b", "c", "e"), places.reshape(4, d), root @ root.T))
        slope = np.array([told(places + step) - told(places - step) for step in 1e-4 * np.eye(4 * d)]) / 2e-4
        assert found_mm == pytest.approx(told(places))
        assert sigma_mm == pytest.approx(np.linalg.norm(slope @ root), rel=1e-4)


def test_the_triangle_that_is_asked_about_is_the_widest() -> None:
    """The longest line and the feature farthest beside it, whatever its height."""
    draw = np.random.default_rng(4)
    for _ in range(20):
        xyz_mm = draw.uniform(0.0, 300.0, (5, 3))
        a, b, c = question("abcde", xyz_mm)
        flat = dict(zip("abcde", xyz_mm[:, :2], strict=True))
        assert np.linalg.norm(flat[a] - flat[b]) == max(
            np.linalg.norm(flat[i] - flat[k]) for i, k in combinations("abcde", 2)
        )
        assert abs(beside_mm(flat[a], flat[b], flat[c])) == pytest.approx(
            max(abs(beside_mm(flat[a], flat[b], flat[k])) for k in "abcde"), abs=1e-6
        )


@pytest.mark.parametrize("seed", range(4))
def test_the_look_that_tells_layouts_apart_is_the_plainest_of_all(seed: int) -> None:
    """By trying every line and every feature beside it: 20 mm off, a twentieth of the line, a fifth of the way."""
    draw = np.random.default_rng(seed)
    for count in (2, 3, 5):
        first = draw.uniform(0.0, 400.0, (5, 2))
        layouts = [first + (draw.uniform(-260.0, 260.0, (5, 2)) * (np.arange(5) > 1)[:, None]) for _ in range(count)]
        worth = {}
        for a, b in combinations(range(5), 2):
            for c in {*range(5)} - {a, b}:
                off = [beside_mm(one[a], one[b], one[c]) for one in layouts]
                least = [
                    max(
                        20.0, np.linalg.norm(one[b] - one[a]) / 20.0, np.linalg.norm(one[c] - (one[a] + one[b]) / 2) / 5
                    )
                    for one in layouts
                ]
                split = min(sum(one > 0.0 for one in off), sum(one < 0.0 for one in off))
                if split and all(abs(one) >= few for one, few in zip(off, least, strict=True)):
                    worth["abcde"[a], "abcde"[b], "abcde"[c]] = (split, b < 2, min(map(abs, off)))
        assert telling_look("abcde", layouts) == max(worth, key=lambda look: worth[look], default=None)
