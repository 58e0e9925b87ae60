"""What a pair is allowed, as the verifier reads the sheets by itself: by hand, at the least and at the most."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from partkin.verify.as_written import Point, _allowed, _can_pair


def point(kind: str, across: str | None, **more: object) -> Point:
    return Point(kind, (F(0), F(0)), True, None if across is None else F(across), **more)  # type: ignore[arg-type]


STUD, HOLE, NUT = point("stud", "6"), point("hole", "7"), point("captive nut", "6", float_mm=F("0.2"))
SLOT = point("slot", "7", length=F(12))
ANY_WAY = point("slot", "7", length=F(12), along=None)


@pytest.mark.parametrize(
    ("host", "donor", "at_least", "at_most"),
    [
        (STUD, HOLE, "0.5", "0.5"),
        (HOLE, STUD, "0.5", "0.5"),
        (point("stud", "6", least=True), HOLE, "0.5", None),
        (point("stud", "8"), HOLE, "-0.5", "-0.5"),
        (point("hole", "5", least=True), STUD, "-0.5", None),  # it may be wider than what went in
        (STUD, SLOT, "0.5", "0.5"),
        (STUD, ANY_WAY, "0.5", "3"),  # half of what it is longer than wide, whichever way it points
        (STUD, point("slot", "7", along=None), "0.5", None),
        (point("peg", "6"), point("peg hole", "6.4"), "0.2", "0.2"),
        (NUT, HOLE, "0.7", "0.7"),
        (HOLE, NUT, "0.7", "0.7"),
        (point("captive nut", "6", float_mm=None), HOLE, "0.5", None),
        (point("captive nut", "8"), HOLE, "-0.5", "-0.5"),
        (point("hole", "7", bolt=F(6)), HOLE, "1", "1"),  # a loose bolt has play in both
        (HOLE, point("hole", "8", bolt=F(6)), "1.5", "1.5"),
        (point("hole", "5.8", bolt=F(6)), point("hole", "8"), "-0.1", "-0.1"),  # too large for one: the other helps not
        (point("hole", "5.8", bolt=F(6)), point("hole", "5.6"), "-0.3", "-0.3"),  # ... and both come short
        (HOLE, point("hole", "8"), None, "7.5"),  # some bolt, of any thickness
        (HOLE, point("hole", None), None, None),
        (HOLE, point("stud", None), None, "3.5"),
        (STUD, point("hole", None), None, None),
        (point("clip", None), point("clip hole", "7"), None, None),
        (point("stud", "6", open_mm=F(3)), HOLE, None, "3.5"),
        (point("stud", "6", unsure=True), HOLE, None, None),
        (
            point("tapped hole", "6"),
            point("hole", "7", thread="M6"),
            None,
            "0.5",
        ),  # which thread takes it, nobody wrote
        (point("tapped hole", "6", thread="M6"), point("hole", "7", thread="M6"), "0.5", "0.5"),
    ],
)
def test_what_a_pair_is_allowed(host: Point, donor: Point, at_least: str | None, at_most: str | None) -> None:
    for kindest, told in ((False, at_least), (True, at_most)):
        assert _allowed(host, donor, kindest) == (None if told is None else F(told))


@pytest.mark.parametrize(
    ("one", "other", "can"),
    [
        (STUD, HOLE, True),
        (STUD, STUD, False),
        (HOLE, SLOT, True),
        (point("peg", "6"), point("clip hole", "7"), False),
        (point("tapped hole", "6", thread="M6"), point("hole", "7", thread="M6x1"), True),
        (point("tapped hole", "6", thread="M6"), point("hole", "7", thread="M8"), False),
        (point("captive nut", "6", thread="M6x0.75"), point("slot", "7", thread="M6"), False),
        (point("captive nut", "6"), point("hole", "7", thread="M8"), True),
        (STUD, point("peg hole", "7"), True),
        (point("tapped hole", "6"), point("peg hole", "7"), False),
    ],
)
def test_what_can_go_together(one: Point, other: Point, can: bool) -> None:
    assert _can_pair(one, other) is can and _can_pair(other, one) is can
