"""Zones: departures against plain sampling, nearness against worked figures."""

import math
from itertools import pairwise

import numpy as np
import pytest

from partkin.adaptation.limits import near_zone
from partkin.model.build import Feature, Zone
from partkin.trial.seams import _directed_mm, hausdorff_mm, seam_departure

STILL = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))


def _turned(turn_deg: float, x_mm: float, y_mm: float) -> list[list[float]]:
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return [[c, -s, 0, x_mm], [s, c, 0, y_mm], [0, 0, 1, 0], [0, 0, 0, 1]]


def _sampled_mm(line: np.ndarray, other: np.ndarray) -> float:
    def points(corners: np.ndarray) -> np.ndarray:
        ring = np.vstack([corners, corners[:1]]) if len(corners) > 2 else corners
        share = np.linspace(0, 1, 301)[:, None]
        return np.vstack([a + share * (b - a) for a, b in pairwise(ring)])

    p, q = points(line), points(other)
    apart = np.linalg.norm(p[:, None] - q[None], axis=2)
    return float(max(apart.min(axis=1).max(), apart.min(axis=0).max()))


@pytest.mark.parametrize("seed", range(10))
def test_hausdorff_agrees_with_dense_sampling(seed: int) -> None:
    draw = np.random.default_rng(seed)
    line = draw.uniform(-50, 50, (draw.integers(2, 6), 2))
    other = draw.uniform(-50, 50, (draw.integers(2, 6), 2))
    assert hausdorff_mm(line, other) == pytest.approx(_sampled_mm(line, other), abs=0.35)


def test_the_largest_distance_may_lie_between_corners() -> None:
    # Along the middle of a 100 x 60 frame: both ends of the bar touch the frame, its middle is 30 away.
    frame = np.array([[-50.0, -30.0], [50.0, -30.0], [50.0, 30.0], [-50.0, 30.0]])
    assert _directed_mm(np.array([[-50.0, 0.0], [50.0, 0.0]]), frame) == pytest.approx(30.0)


def test_same_seam_under_a_turn_departs_by_nothing() -> None:
    corners = ((0.0, 0.0), (220.0, 0.0), (220.0, 90.0), (0.0, 90.0))
    move = _turned(31.0, 12.0, -7.0)
    back = np.linalg.inv(np.array(move))
    carried = tuple(map(tuple, (np.c_[np.array(corners), np.zeros(4), np.ones(4)] @ back.T)[:, :2]))
    donor, original = Zone("D", "door", "airbag door", carried), Zone("O", "door", "airbag door", corners)
    [found] = seam_departure([donor], [original], move)
    assert found.departure_mm == pytest.approx(0.0, abs=0.002)


def test_corner_order_and_extra_corners_do_not_matter() -> None:
    a = Zone("O", "s", "tear seam", ((0.0, 0.0), (100.0, 0.0), (100.0, 50.0)))
    b = Zone("D", "s", "tear seam", ((100.0, 0.0), (100.0, 50.0), (50.0, 25.0), (0.0, 0.0)))
    [found] = seam_departure([b], [a], STILL)
    assert found.departure_mm == pytest.approx(0.0, abs=0.002)


def test_missing_on_either_side_is_named() -> None:
    near = Zone("D", "near", "tear seam", ((0.0, 2.0), (100.0, 2.0)))
    far = Zone("D", "far", "tear seam", ((0.0, 80.0), (100.0, 80.0)))
    original = Zone("O", "seam", "tear seam", ((0.0, 0.0), (100.0, 0.0)))
    door = Zone("O", "door", "airbag door", ((0.0, 0.0), (100.0, 0.0), (100.0, 40.0)))
    found = {
        (d.kind, d.donor_zone, d.original_zone): d.departure_mm
        for d in seam_departure([far, near], [original, door], STILL)
    }
    assert found == {
        ("tear seam", "near", "seam"): 2.0,
        ("tear seam", "far", None): None,
        ("airbag door", None, "door"): None,
    }


def test_two_close_seams_are_put_together_by_the_least_largest_departure() -> None:
    def seam(name: str, y_mm: float) -> Zone:
        return Zone("P", name, "tear seam", ((0.0, y_mm), (100.0, y_mm)))

    # Nearest-first would take a with p (1 mm) and leave b with q (9 mm); least largest is 4 and 4.
    found = seam_departure([seam("p", 4.0), seam("q", 9.0)], [seam("a", 0.0), seam("b", 5.0)], STILL)
    pairs = [(d.original_zone, d.donor_zone, d.departure_mm) for d in found]
    assert pairs == [("a", "p", 4.0), ("b", "q", 4.0)]


def test_a_mirrored_matrix_is_obeyed() -> None:
    mirror = ((-1.0, 0.0, 0.0, 0.0), *STILL[1:])
    donor = Zone("D", "s", "tear seam", ((-10.0, 0.0), (-60.0, 5.0)))
    original = Zone("O", "s", "tear seam", ((10.0, 0.0), (60.0, 5.0)))
    assert seam_departure([donor], [original], mirror)[0].departure_mm == 0.0


def _feature(name: str, **cells: object) -> Feature:
    return Feature("D", name, **{"kind": "hole", "across_mm": 8.0, **cells})  # type: ignore[arg-type]


def test_near_zone_counts_edges_slot_ends_and_cells() -> None:
    ring = Zone("D", "door", "airbag door", ((0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (0.0, 50.0)))
    open_ring = Zone("D", "vent", "opening", ((200.0, 0.0), (260.0, 0.0), (260.0, 50.0)))
    found = near_zone(
        [
            _feature("inside", x_mm=50.0, y_mm=25.0),
            _feature("edge", x_mm=103.9, y_mm=25.0),
            _feature("clear", x_mm=110.0, y_mm=25.0),
            _feature("slot", kind="slot", x_mm=112.0, y_mm=25.0, length_mm=28.0, angle_deg=0.0),
            _feature("across", kind="slot", x_mm=112.0, y_mm=25.0, length_mm=28.0, angle_deg=90.0),
            _feature("through", kind="slot", x_mm=50.0, y_mm=60.0, length_mm=400.0, angle_deg=45.0),
            _feature("said", x_mm=500.0, y_mm=0.0, zone="door"),
            _feature("vented", x_mm=500.0, y_mm=0.0, zone="vent"),
            _feature("somewhere", zone="never listed"),
            _feature("nowhere"),
        ],
        [ring, open_ring],
    )
    assert found == {
        "inside": ("door", 0.0),
        "edge": ("door", 0.0),
        "clear": ("door", pytest.approx(6.0)),
        "slot": ("door", 0.0),
        "across": ("door", pytest.approx(8.0)),
        "through": ("door", 0.0),
        "said": ("door", 0.0),
        "vented": ("door", pytest.approx(math.hypot(400.0, 0.0) - 4.0)),
        "somewhere": ("never listed", 0.0),
    }


def test_adjusted_places_override_the_sheet() -> None:
    seam = Zone("D", "seam", "tear seam", ((0.0, 0.0), (100.0, 0.0)))
    found = near_zone(
        [_feature("a", x_mm=10.0, y_mm=100.0), _feature("b")], [seam], places_mm={"a": (10.0, 24.0), "b": (20.0, 14.0)}
    )
    assert found == {"a": ("seam", pytest.approx(20.0)), "b": ("seam", pytest.approx(10.0))}
