"""Which way up a donor may lie, as the verifier reads the sheets by itself."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest
from written import hole, parts

from partkin.model.build import Build, Reading
from partkin.verify.as_written import Point
from partkin.verify.as_written_faces import BOTH, Faces, read_faces
from partkin.verify.vectors import cos_sin

AT = {"a": (F(0), F(0)), "b": (F(300), F(0)), "c": (F(120), F(200))}
APART = Reading("donor", "r1", "centres", 300.0, "mm", "a", "b")


def saw(side: str, point: str, start: str, end: str, name: str = "r7") -> Reading:
    return Reading("donor", name, side, None, None, point, line_from=start, line_to=end)  # type: ignore[arg-type]


def faces(build: Build) -> Faces:
    """Of a host whose places are written, and a donor with three holes at the same."""
    points = {name: Point("hole", at, True) for name, at in AT.items()}
    host, donor = build.parts
    return read_faces(build, (host, AT, points), (donor, AT, points))


def written(*readings: Reading, placed: bool = True, **seen: str | None) -> Build:
    host = [replace(hole(name, *map(float, at)), part="host") for name, at in AT.items()]
    donor = [hole(name, *(map(float, at) if placed else (None, None))) for name, at in AT.items()]
    return Build(parts=parts(**seen), features=(*host, *donor), readings=readings)


SAME, OTHER = frozenset((False,)), frozenset((True,))


@pytest.mark.parametrize(
    ("build", "allowed", "proved"),
    [
        (written(), SAME, SAME),
        (written(donor_face="inside"), OTHER, OTHER),
        (written(host_face=None), BOTH, BOTH),
        (written(donor_face=None), BOTH, BOTH),
        (written(APART), BOTH, SAME),  # the adjustment says which side is which
        (written(APART, placed=False), BOTH, BOTH),
        (written(APART, saw("left of", "c", "a", "b"), placed=False), SAME, SAME),
        (written(APART, saw("right of", "c", "b", "a"), placed=False, donor_face="inside"), OTHER, OTHER),
        (written(APART, saw("right of", "c", "a", "b"), placed=False), BOTH, BOTH),  # against what was seen
        (written(saw("right of", "c", "a", "b")), BOTH, BOTH),
        (written(APART, saw("left of", "c", "a", "b"), saw("left of", "c", "b", "a", "r8")), BOTH, BOTH),
        (written(APART, saw("left of", "b", "a", "b"), placed=False), BOTH, BOTH),  # on the line itself
        (written(APART, saw("left of", "nowhere", "a", "b")), BOTH, SAME),
    ],
)
def test_a_face_is_told_by_what_is_written_or_was_seen(build: Build, allowed: frozenset, proved: frozenset) -> None:
    found = faces(build)
    assert (found.allowed, found.proved, found.either) == (allowed, proved, False)
    assert bool(found.as_stated) == (allowed != proved)


def slot(at: tuple[int, int], along_deg: int, length: int = 12) -> Point:
    return Point("slot", tuple(map(F, at)), True, F(7), F(length), cos_sin(F(along_deg)))


@pytest.mark.parametrize(
    ("points", "either"),
    [
        ([slot((0, 0), 0, 7), slot((30, 10), 0, 7), slot((60, 20), 0, 7)], True),
        ([slot((0, 0), 0, 7), slot((30, 10), 0, 7), slot((60, 21), 0, 7)], False),
        ([slot((60, 21), 0, 7), slot((0, 0), 0, 7), slot((30, 10), 0, 7)], False),
        ([slot((0, 0), 0), slot((30, 0), 90)], True),
        ([slot((0, 0), 0), slot((30, 0), 80)], False),
        ([slot((0, 0), 10), slot((30, 0), 0)], False),
        ([slot((5, 5), 30, 7)], True),
        ([slot((5, 5), 30)], False),
    ],
)
def test_points_in_one_line_are_their_own_mirror_image(points: list[Point], either: bool) -> None:
    build = written()
    host, donor = build.parts
    many = {name: Point("hole", at, True) for name, at in AT.items()}
    found = read_faces(build, (host, AT, many), (donor, AT, dict(zip("abc", points, strict=False))))
    assert found == Faces(BOTH if either else SAME, SAME, either)
