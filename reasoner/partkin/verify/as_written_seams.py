"""What the sheets say of tear seams and airbag doors, as points that have to come near each other: for the verifier.

Two lines no further apart than d (Hausdorff) have Steiner points no further apart than 4/pi d (Schneider, Convex
Bodies: The Brunn-Minkowski Theory, section 1.8; from memory). So where the points cannot come that near, the seams
cannot lie on each other.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import permutations
from typing import Any

from partkin.model.build import Build, Part, Zone
from partkin.model.words import AIRBAG_ZONES
from partkin.tables.instruments import coordinate_error_mm
from partkin.verify.as_written import Unwritten, original_on
from partkin.verify.held import Held
from partkin.verify.proofs import Named
from partkin.verify.vectors import ZERO, Vector, dot, exact, minus, mirror, plus, root, short

CUTS = ("open out", "slot", "new hole", "thread insert", "trim edge")
SAME_MM = 1e-6
SLACK_MM = Fraction(1, 10**5)
PLAIN_MM = 2 * math.sqrt(2) * coordinate_error_mm()
AT_LEAST_MM = 4 / math.pi * PLAIN_MM
FINE_MM = Fraction(1, 1000)


@dataclass(frozen=True)
class Seams:
    """Seams by name: which may be each other, which have to be, and what was taken as stated.

    `points`: (of the original, of the donor) -> host point, donor point and how far apart they may be.
    """

    points: Mapping[Named, tuple[Vector, Vector, Fraction]]
    originals: tuple[str, ...]
    donors: tuple[str, ...]
    as_stated: tuple[str, ...]

    def held(self, pair: Named, mirrored: bool) -> Held:
        """The pair as numbers."""
        host, donor, within = self.points[pair]
        return Held(mirror(donor, mirrored), host, within)


NO_SEAMS = Seams({}, (), (), ())


def has_seams(verdict: Mapping[str, Any], build: Build) -> bool:
    """Whether an airbag bursts through one of the parts concerned."""
    named = {verdict["host"], verdict["donor"]}
    named |= {part.part for part in build.came_off(verdict["host"])}
    return any(zone.part in named and zone.kind in AIRBAG_ZONES for zone in build.zones)


def unasked_airbag_faults(verdict: Mapping[str, Any], build: Build) -> list[str]:
    """What is wrong where nobody has said whether an airbag opens through the part: no hold is stated, or it is cut."""
    asked = _unasked(verdict, build)
    if asked is None:
        return []
    why = f"whether an airbag opens through {asked} is not said"
    refused = [] if any(row["hold"] for row in verdict["safety"]) else [f"no hold is stated, and {why}"]
    jobs = [*verdict["adaptations"], *verdict["besides"]]
    cuts = {job["feature"] for job in jobs if job["do"] in CUTS or (job["do"] == "move over" and job["fixing"])}
    return refused + [f"{name} is cut, and {why}" for name in sorted(cuts)]


def _unasked(verdict: Mapping[str, Any], build: Build) -> str | None:
    """The part of which has to be asked whether an airbag opens through it; None: that is answered, or need not be."""
    donor, host = build.part(verdict["donor"]), build.part(verdict["host"])
    if donor is None or host is None:
        return None
    try:
        original: Part | None = original_on(build, host, verdict.get("original"))
    except Unwritten:
        original = None
    asked = original or donor
    sides = {part.part: part for part in (donor, host, asked)}
    seams = any(zone.part in sides and zone.kind in AIRBAG_ZONES for zone in build.zones)
    if seams or asked.airbag is False or any(part.airbag for part in sides.values()):
        return None
    duties = {donor.duty, asked.duty} - {None}
    return asked.part if duties <= {"trim"} or asked.broken_by == "airbag" else None


def read_seams(verdict: Mapping[str, Any], build: Build) -> Seams:
    """Read the seams that a conflict names.

    Raises
    ------
    Unwritten
        The sheets have other seams than it names, or it has them elsewhere.
    """
    stated = {(row["original"], row["donor"]): row for row in verdict["conflict"].get("seams") or ()}
    if not stated:
        return NO_SEAMS
    host = build.part(verdict["host"])
    if host is None:
        raise Unwritten("the sheets have no such host")
    ours = _zones(build, original_on(build, host, verdict.get("original")).part)
    theirs = _zones(build, verdict["donor"])
    there = {(o.zone, d.zone): (o, d) for o in ours for d in theirs if o.kind == d.kind}
    if set(there) != set(stated):
        raise Unwritten("the sheets have other seams than the conflict names")
    by_host = verdict["measured_from"] == "host"
    points = {}
    for key, (one, other) in there.items():
        row = stated[key]
        lies = _stated(row["host_mm"], None if by_host else one)
        if row["within_mm"] < AT_LEAST_MM - SAME_MM:
            raise Unwritten(f"two seams as read may lie {AT_LEAST_MM:.3f} mm apart, not {row['within_mm']}")
        points[f"{one.kind} {one.zone}", f"{other.kind} {other.zone}"] = (
            lies, _stated(row["donor_mm"], other), exact(row["within_mm"]) + SLACK_MM
        )  # fmt: skip
    count = Counter((side, zone.kind) for side, zones in (("ours", ours), ("theirs", theirs)) for zone in zones)
    fewer = {kind for kind in AIRBAG_ZONES if count["ours", kind] <= count["theirs", kind]}
    trusted = ["how far off the readings and the original's play let a seam seem to lie"]
    trusted += ["where the original's seam lies on the host"] if by_host else []
    return Seams(
        points, tuple(dict.fromkeys(f"{z.kind} {z.zone}" for z in ours if z.kind in fewer)),
        tuple(dict.fromkeys(f"{z.kind} {z.zone}" for z in theirs if z.kind not in fewer)), tuple(trusted),
    )  # fmt: skip


def elsewhere_faults(
    verdict: Mapping[str, Any], build: Build, mirrored: bool, rotation: Sequence[Vector], shift: Vector
) -> tuple[list[str], tuple[str, ...]]:
    """What is wrong where a seam is said to lie elsewhere as the donor is laid, and what was taken as stated of that.

    Heights of seams are written nowhere, so they are seen along the host's third axis.
    """
    stated, host = verdict["conflict"]["elsewhere"], build.part(verdict["host"])
    if host is None:
        raise Unwritten("the sheets have no such host")
    matrix = [[exact(cell) for cell in row[:2]] + [exact(row[3])] for row in stated["original_at"][:2]]
    by_host = verdict["measured_from"] == "host"
    if not by_host and matrix != [[1, 0, 0], [0, 1, 0]]:
        raise Unwritten("what the fixings are measured from lies elsewhere than on itself")
    kind, within = stated["kind"], exact(stated["within_mm"])
    lines = []
    for part, own in ((original_on(build, host, verdict.get("original")).part, True), (verdict["donor"], False)):
        move = matrix if own else [[*row[:2], part] for row, part in zip(rotation[:2], shift, strict=False)]
        seams = [zone.corners_mm for zone in _zones(build, part) if zone.kind == kind]
        corners = [[mirror((exact(x), exact(y)), mirrored and not own) for x, y in seam] for seam in seams]
        lines.append([[tuple(dot(row, (*at, Fraction(1))) for row in move) for at in seam] for seam in corners])
    refused = [] if within >= exact(PLAIN_MM - SAME_MM) else [f"seams as read may lie {PLAIN_MM:.3f} mm apart"]
    few, many = sorted(lines, key=len)
    off = [[max(_farthest(one, two), _farthest(two, one)) for two in many] for one in few]
    ways = permutations(range(len(many)), len(few))
    if any(all(row[k] <= within for row, k in zip(off, way, strict=True)) for way in ways):
        refused.append(f"the {kind} lies no further from the original's than {float(within):.3f} mm")
    departure = exact(stated["departure_mm"])
    if departure <= within or all(abs(one - departure) > 2 * FINE_MM for row in off for one in row):
        refused.append(f"no {kind} lies {float(departure):.3f} mm from the original's")
    trusted = ["how far off the readings, heights and the original's play let a seam seem to lie"]
    return refused, (*trusted, *(["where the original's seam lies on the host"] if by_host else []))


def _farthest(line: Sequence[Vector], other: Sequence[Vector]) -> Fraction:
    """Bound from below, to a thousandth of a millimetre, how far a point of a line lies from another line.

    Along a piece of a line the distance from one straight side is convex, so it is largest at an end.
    """
    sides = _sides(other)

    def off(at: Vector) -> list[Fraction]:
        return [_from_side(at, *side) for side in sides]

    pieces = [(a, b, off(a), off(b)) for a, b in _sides(line)]
    largest = max(min(ends) for _, _, *both in pieces for ends in both)
    while pieces:
        a, b, one, two = pieces.pop()
        if min(max(ends) for ends in zip(one, two, strict=True)) > largest + FINE_MM:
            middle = tuple(short(part / 2) for part in plus(a, b))
            between = off(middle)
            largest = max(largest, min(between))
            pieces += [(a, middle, one, between), (middle, b, between, two)]
    return largest


def _sides(line: Sequence[Vector]) -> list[tuple[Vector, Vector]]:
    """The straight pieces of a line, of a ring from three corners on, or a point by itself."""
    ends = [*line[1:], *line[:1]] if len(line) != 2 else line[1:]
    return list(zip(line, ends, strict=False))


def _from_side(at: Vector, a: Vector, b: Vector) -> Fraction:
    along, here = minus(b, a), minus(at, a)
    square = dot(along, along)
    part = min(max(dot(here, along) / square, ZERO), Fraction(1)) if square else ZERO
    rest = plus(here, along, -part)
    return root(short(dot(rest, rest)), up=False)


def _zones(build: Build, part: str) -> list[Zone]:
    return [zone for zone in build.zones if zone.part == part and zone.kind in AIRBAG_ZONES]


def _stated(stated: list[float], zone: Zone | None) -> Vector:
    """The point as stated, where the sheet's own corners agree."""
    if zone is not None and math.dist(stated, middle(zone.corners_mm)) > SAME_MM:
        raise Unwritten(f"the {zone.kind} {zone.zone} of {zone.part} lies elsewhere than stated")
    return exact(stated[0]), exact(stated[1])


def middle(corners: tuple[tuple[float, float], ...]) -> tuple[float, float]:
    """Steiner point: each corner of the hull, weighed by the part of the full circle that its normals fill.

    Examples
    --------
    >>> middle(((0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (0.0, 2.0), (1.0, 1.0)))
    (2.0, 1.0)
    """
    turns = sorted(
        {math.atan2(x - a, b - y) % math.tau for x, y in corners for a, b in corners if (x, y) != (a, b)}
    ) or [0.0]  # fmt: skip
    sums = [0.0, 0.0]
    for lo, hi in zip(turns, [*turns[1:], turns[0] + math.tau], strict=True):
        way = (lo + hi) / 2
        x, y = max(corners, key=lambda corner: corner[0] * math.cos(way) + corner[1] * math.sin(way))
        sums[0] += x * (hi - lo) / math.tau
        sums[1] += y * (hi - lo) / math.tau
    return sums[0], sums[1]
