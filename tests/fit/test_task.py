"""What stands in a task of each feature: what has to be held, how far fasteners reach, and how deep holes are."""

from __future__ import annotations

import numpy as np
import pytest

from partkin.fit.task import _depth_mm, _donor_spot, _grip_mm, _host_spot, _is_flat, _is_given
from partkin.model.build import Feature
from partkin.model.fitting import Option
from partkin.model.mating import DonorFeature, Fixing, Size
from partkin.model.positions import Positions

NONE = Size(None)


def places(*at_mm: tuple[float, ...]) -> Positions:
    return Positions("p", tuple("abc"[: len(at_mm)]), np.array(at_mm), np.zeros(len(at_mm)))


@pytest.mark.parametrize("supposed", [False, True])
@pytest.mark.parametrize("kind", ["stud", "hole"])
@pytest.mark.parametrize("need", [None, "must", "should", "spare"])
def test_what_of_the_host_has_to_be_held(need: str | None, kind: str, supposed: bool) -> None:
    """Without a word all of it; and a stud that is truly there, as the donor has to have an opening for it."""
    fixing = Fixing(Feature("h", "a", kind, need=need), NONE, NONE, supposed=supposed)
    spot = _host_spot(fixing, {"a": "b"}, places((1.0, 2.0, 0.0), (7.0, 8.0, 9.0)), 2, None)
    must = need in (None, "must") or (kind == "stud" and not supposed)
    assert (spot.must, spot.should) == (must, need == "should" and not must)
    assert (spot.id, spot.at_mm) == ("a", (7.0, 8.0))
    assert _host_spot(fixing, {}, places((1.0, 2.0, 0.0)), 3, None).at_mm == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("need", [None, "must", "should", "spare"])
def test_what_of_the_donor_should_be_used(need: str | None) -> None:
    donor = DonorFeature(Feature("d", "b", "hole", need=need, angle_deg=40.0), NONE, NONE)
    spot = _donor_spot(donor, places((1.0, 2.0, 3.0), (7.0, 8.0, 9.0)), 3, 2.5)
    assert (spot.must, spot.should) == (need == "must", need in (None, "should"))
    assert (spot.at_mm, spot.angle_deg, spot.axis, spot.depth_mm) == ((7.0, 8.0, 9.0), 40.0, (0.0, 0.0, 1.0), 2.5)


@pytest.mark.parametrize(
    ("kind", "across", "more", "grip_mm", "deep"),
    [
        ("hole", 7.0, {"fastener_mm": 6.0}, 6.0, True), ("slot", 7.0, {}, None, True), ("stud", 6.0, {}, 6.0, False),
        ("peg hole", 7.0, {"thread": "M5"}, 5.0, True), ("clip hole", 7.0, {}, None, True),
        ("stud", None, {"thread": "M8"}, 8.0, False), ("captive nut", None, {"fastener_mm": 6.0}, 6.0, False),
        ("peg", 5.5, {"fastener_mm": 6.0}, 5.5, False),
    ],
)  # fmt: skip
def test_how_far_a_fastener_reaches_and_how_deep_its_hole_is(
    kind: str, across: float | None, more: dict[str, object], grip_mm: float | None, deep: bool
) -> None:
    end = DonorFeature(Feature("d", "a", kind, **more), Size(across), NONE)  # type: ignore[arg-type]
    assert _grip_mm(end) == grip_mm and _depth_mm(end, 1.5) == (1.5 if deep else None)


def test_a_pairing_is_given_where_each_stands_in_one_pair() -> None:
    one, other, crossed = Option("F1", "a", 0.5), Option("F2", "b", 0.5), Option("F2", "a", 0.5)
    assert _is_given((one, other)) and _is_given(())
    assert not _is_given((one, crossed)) and not _is_given((other, crossed)) and not _is_given((one, other, crossed))


def test_flat_is_what_lies_in_one_plane_with_every_axis_square_to_it() -> None:
    up, level = (0.0, 0.0, 1.0), places((0.0, 0.0, 4.0), (9.0, 1.0, 4.0))
    assert _is_flat(level, [None, up]) and not _is_flat(level, [up, (0.0, 0.6, 0.8)])
    assert not _is_flat(level, [up, (0.0, 0.0, -1.0)])
    assert not _is_flat(places((0.0, 0.0, 4.0), (9.0, 1.0, 5.0)), [up, up])
    assert _is_flat(places((0.0, 0.0), (9.0, 1.0)), [up, up])
