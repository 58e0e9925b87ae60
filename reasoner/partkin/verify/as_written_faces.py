"""Which way up the donor may lie, and with which face up it has to be shown not to fit: the verifier's own reading."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from partkin.model.build import Build, Part
from partkin.model.words import SIDES
from partkin.verify.as_written import Faces, Point, half_travel, has_distances, standing
from partkin.verify.vectors import Vector, cross, dot, minus, towards

# As straight as places are written.
STRAIGHT = Fraction(1, 10**6)
BOTH = frozenset((False, True))
Side = tuple[Part, Mapping[str, Vector], Mapping[str, Point]]


def read_faces(build: Build, host: Side, donor: Side) -> Faces:
    """Read which faces are open, where `host` is the part that shows the fixings.

    Where places come from distances too, the adjustment told which side is which: that is taken as stated.
    """
    handed = [_is_handed(build, part, places) for part, places, _ in (host, donor)]
    either = any(_is_its_own_mirror_image(points) for _, _, points in (host, donor))
    if not all(handed) or None in (host[0].seen_from, donor[0].seen_from):
        return Faces(BOTH, BOTH, either)
    only = frozenset((host[0].seen_from != donor[0].seen_from,))
    if "as adjusted" in handed:
        return Faces(BOTH, only, either, ("that the readings tell which side is which",))
    return Faces(BOTH if either else only, only, either)


def _is_handed(build: Build, part: Part, places: Mapping[str, Vector]) -> bool | str:
    """Places that the sheet states, or somebody saw what is left and right; never against what was seen."""
    written = any(row.x_mm is not None and row.y_mm is not None for row in build.features_of(part.part))
    agree = []
    for row in standing(build, part.part):
        ends = [places.get(name or "") for name in (row.line_from, row.line_to, row.from_feature)]
        if row.quantity in SIDES and None not in ends:
            a, b, c = (end for end in ends if end is not None)
            beside = cross(minus(b, a), minus(c, a))
            agree.append(beside != 0 and (beside > 0) == (row.quantity == "left of"))
    if agree:
        return all(agree)
    return "as adjusted" if written and has_distances(build, part) else written


def _is_its_own_mirror_image(points: Mapping[str, Point]) -> bool:
    """All in one line, and no slot aslant of it: the mirror image is the same pattern turned."""
    placed = [point for point in points.values() if point.at is not None]
    ends = [point.at for point in placed if point.at is not None]
    if len(ends) < 2:
        return not any(half_travel(point) for point in placed)
    line = towards(max((minus(at, ends[0]) for at in ends), key=lambda way: dot(way, way)))

    def upright(point: Point) -> bool:
        if not half_travel(point) or point.along is None:
            return True
        return min(abs(cross(line, point.along)), abs(dot(line, point.along))) < STRAIGHT

    return all(map(upright, placed)) and all(abs(cross(line, minus(at, ends[0]))) < STRAIGHT for at in ends)
