"""What the sheets themselves say of one host and one donor, as exact numbers: the verifier's own reading.

Written apart from the stages that make verdicts, so that a slip in one does not pass in the other.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from partkin.model.build import Build, Feature, Part, Reading
from partkin.model.words import BOLTS_ON, MM_PER_UNIT
from partkin.tables.threads import parse_thread, threads_join
from partkin.tables.work import clip_rule
from partkin.verify.held import Held
from partkin.verify.proofs import Named
from partkin.verify.vectors import ALONG_X, Vector, cos_sin, exact, laid_over, minus, mirror, towards

OPENINGS = ("hole", "slot")
HOLES = {"stud": ("hole", "slot", "peg hole", "clip hole"), "tapped hole": OPENINGS, "captive nut": OPENINGS,
         "peg": ("hole", "slot", "peg hole"), "clip": ("hole", "slot", "clip hole")}  # fmt: skip
UNTHREADED = (*OPENINGS, "peg hole", "clip hole")
# What the host must have had where the original has a feature: its counterpart.
COUNTERPART = {"hole": "stud", "slot": "stud", "peg hole": "peg", "clip hole": "clip", "peg": "peg hole",
               "clip": "clip hole", "stud": "hole", "tapped hole": "hole", "captive nut": "hole"}  # fmt: skip
DISTANCES = ("centres", "near edges", "far edges")


class Unwritten(Exception):
    """The sheets (or the verdict) do not say what is needed."""


@dataclass(frozen=True)
class Point:
    """A feature with its place and sizes; None: not written.

    `at`: of two parts, or of three where the part does not lie in one plane; then it has an `axis`, and its hole the
    `depth` of the part. `must`: it has to be paired; `spare`: not even where it can be. `along`: its direction, across
    its axis. `material`: of the host, or of the donor. `least`: something of the original went in there, so it may be
    wider. `open_mm`: half travel of a slot that stood there, of which no direction is written; `unsure`: how far it
    stood from there is not written at all.
    """

    kind: str
    at: Vector | None
    must: bool
    across: Fraction | None = None
    length: Fraction | None = None
    along: Vector | None = ALONG_X
    float_mm: Fraction | None = Fraction(0)
    thread: str | None = None
    bolt: Fraction | None = None
    material: str | None = None
    least: bool = False
    open_mm: Fraction = Fraction(0)
    unsure: bool = False
    spare: bool = False
    play: Fraction = Fraction(0)
    stood: Point | None = None
    axis: Vector | None = None
    depth: Fraction = Fraction(0)

    @property
    def way(self) -> Vector:
        """The direction of its slot in its part's frame."""
        along = self.along or ALONG_X
        return along if self.axis is None else laid_over(self.axis, along[0], along[1])

    @property
    def grip(self) -> Fraction | None:
        """A fastener engages to within one diameter of it either way (common practice, no source)."""
        return self.bolt if self.kind in UNTHREADED else self.across


@dataclass(frozen=True)
class Faces:
    """Which way up the donor is: False as seen, True mirrored.

    `allowed`: how it may be laid; both where the sheets do not say. `proved`: how it has to be shown not to fit;
    `either`: one way stands for both, since a side is its own mirror image. `as_stated`: what was taken on trust.
    """

    allowed: frozenset[bool]
    proved: frozenset[bool]
    either: bool = False
    as_stated: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sides:
    """Fixings and donor features by id, which pairs may be made, and the faces that may be turned up.

    `faces`: which of them the verdict may lay up, and has to prove. `as_stated`: what was taken as the verdict states
    it. `pulled`: how far the donor is pulled by hand at each fixing, which widens what is allowed where it gives
    `in_plane`.
    """

    fixings: Mapping[str, Point]
    features: Mapping[str, Point]
    options: frozenset[Named]
    faces: Faces
    as_stated: tuple[str, ...]
    pulled: Fraction
    in_plane: bool
    kindest: bool

    @property
    def dims(self) -> int:
        """2 or 3: whether both sides lie in the plane."""
        return 2 if all(point.axis is None for point in (*self.fixings.values(), *self.features.values())) else 3

    def allowed(self, pair: Named) -> Fraction | None:
        """How far the feature may stand from its fixing; None: something needed is not written.

        At most, where the verdict is that it does not go on (`kindest`); else at least.
        """
        allowed = _allowed(self.fixings[pair[0]], self.features[pair[1]], self.kindest)
        return allowed if allowed is None or allowed < 0 or not self.in_plane else allowed + self.pulled

    def held(self, pair: Named, mirrored: bool) -> Held:
        """The pair as numbers.

        Raises
        ------
        Unwritten
            A place or a size is not known, or the pair cannot be made at all.
        """
        if pair not in self.options:
            raise Unwritten(f"{pair[1]} cannot go on {pair[0]}")
        host, donor, allowed = self.fixings[pair[0]], self.features[pair[1]], self.allowed(pair)
        if host.at is None or donor.at is None or allowed is None:
            raise Unwritten(f"a place or a size of {pair[0]} or {pair[1]} is not written")
        held = Held(
            mirror(donor.at, mirrored), host.at, allowed, half_travel(host), host.way, half_travel(donor),
            mirror(donor.way, mirrored),
        )  # fmt: skip
        if host.axis is None or donor.axis is None:
            return held
        grip = host.grip if host.grip is not None else donor.grip
        depth = max(point.depth for point in (host, donor) if point.kind in UNTHREADED)
        return replace(
            held, grip=(grip or Fraction(0)) + self.pulled, host_axis=host.axis, depth=depth,
            donor_axis=mirror(donor.axis, mirrored),
        )  # fmt: skip


def half_travel(point: Point) -> Fraction:
    """Of a slot whose direction is written."""
    return Fraction(0) if point.along is None else _travel(point)


def _travel(point: Point) -> Fraction:
    if point.kind != "slot" or point.length is None or point.across is None:
        return Fraction(0)
    return max(Fraction(0), (point.length - point.across) / 2)


def _allowed(host: Point, donor: Point, kindest: bool) -> Fraction | None:
    """Fixed: (H - F)/2. Floating: (H1 - F)/2 + (H2 - F)/2, and never more than a bolt that is too large.

    At the kindest a slot of no written direction points any way and what is not written helps without bound, but for
    a bolt, which has some thickness. At the worst such a slot is its round part, and a float is none.
    """
    ends = (host, donor)
    sizes = [end.across if end.across is not None or not kindest else _thinnest(end) for end in ends]
    bolt = host.bolt if host.bolt is not None else donor.bolt
    floating = host.kind in OPENINGS and donor.kind in OPENINGS
    if floating and bolt is None and kindest:
        bolt = Fraction(0)
    if sizes[0] is None or sizes[1] is None or (floating and bolt is None):
        return None
    solid = None if floating else host if donor.kind in HOLES.get(host.kind, ()) else donor
    play = _play(sizes[0], sizes[1], bolt or Fraction(0), floating, solid is host)
    if solid is not None and solid.kind == "clip":
        play = _allowed_of_clip(play, (donor if solid is host else host).material)
    if play < 0 and not (host.least and kindest):
        return play
    nut = solid if solid is not None and solid.kind == "captive nut" else None
    play += (nut.float_mm or 0) if nut is not None else 0
    if not kindest:
        return None if host.unsure or host.open_mm or _threadless(host, donor) else play
    floats = nut is not None and nut.float_mm is None
    if host.least or host.unsure or floats or any(end.kind == "slot" and end.length is None for end in ends):
        return None
    return play + host.open_mm + sum(_travel(end) for end in ends if end.along is None)


def _threadless(host: Point, donor: Point) -> bool:
    """Whether a hole names its screw and the thread that has to take it is not written."""
    return any(
        nut.kind in ("tapped hole", "captive nut") and not nut.thread and hole.kind in OPENINGS and bool(hole.thread)
        for nut, hole in ((host, donor), (donor, host))
    )


def _play(host: Fraction, donor: Fraction, bolt: Fraction, floating: bool, on_host: bool) -> Fraction:
    if not floating:
        return (donor - host) / 2 if on_host else (host - donor) / 2
    plays = ((host - bolt) / 2, (donor - bolt) / 2)
    both = plays[0] + plays[1]
    return both if min(plays) >= 0 else min(*plays, both)


def _thinnest(end: Point) -> Fraction | None:
    """What goes through a hole is at least nothing; a hole, or a clip, is not known at all."""
    return None if end.kind in (*UNTHREADED, "clip") else Fraction(0)


def _allowed_of_clip(play: Fraction, hole_in: str | None) -> Fraction:
    """What a clip takes, or its play where it is thinner than its hole; below 0 where it is not held."""
    row = clip_rule(hole_in)
    wider, narrower = 2 * play - exact(row.smaller_mm), -2 * play - exact(row.larger_mm)
    return -max(wider, narrower) / 2 if max(wider, narrower) > 0 else max(play, exact(row.takes_mm))


def _can_pair(host: Point, donor: Point) -> bool:
    both = host.kind in OPENINGS and donor.kind in OPENINGS
    if not (both or donor.kind in HOLES.get(host.kind, ()) or host.kind in HOLES.get(donor.kind, ())):
        return False
    for nut, hole in ((host, donor), (donor, host)):
        if nut.kind in ("tapped hole", "captive nut") and hole.kind in OPENINGS:
            inner, outer = parse_thread(nut.thread or ""), parse_thread(hole.thread or "")
            if inner is not None and outer is not None and not threads_join(inner, outer):
                return False
    return True


def read_sides(verdict: Mapping[str, Any], build: Build) -> Sides:
    """Read both sides as the verdict names them.

    Raises
    ------
    Unwritten
    """
    shows, donor, there = shown_by(verdict, build)
    host = build.part(verdict["host"])
    assert host is not None
    stated = verdict.get("positions") or {}
    rows = _rows(build, host, shows)
    hosted, found, at = read_places(build, shows, donor, there, stated, "xy")
    fixings = {
        name: replace(
            _fixing(build, feature, shown, found, hosted), material=host.material, spare=feature.need == "spare"
        )
        for name, feature, shown in rows
    }
    mine = build.features_of(donor.part)
    features = {
        f.feature: replace(
            _point(build, f, at, must=f.need == "must"), material=donor.material, spare=f.need == "spare"
        )
        for f in mine
    }
    options = _options(fixings, features, _meant(mine, rows))
    trusted = tuple(
        f"places of {part.part}, adjusted from distances{_farthest(build, part.part, places)}"
        for part, places in ((shows, hosted), (donor, at)) if has_distances(build, part)
    )  # fmt: skip
    from partkin.verify.as_written_faces import read_faces

    faces = read_faces(build, (shows, hosted, fixings), (donor, at, features))
    trusted, kindest = trusted + faces.as_stated, verdict["verdict"] != BOLTS_ON
    sides = Sides(fixings, features, options, faces, trusted, *_pull(verdict, donor), kindest)
    if not any(row.z_mm is not None for part in (shows, donor) for row in build.features_of(part.part)):
        return sides
    from partkin.verify.as_written_in_space import lift

    return lift(sides, build, rows, (shows, donor), read_places(build, shows, donor, there, stated, "xyz")[1:])


def shown_by(verdict: Mapping[str, Any], build: Build) -> tuple[Part, Part, dict[str, str]]:
    """The part that the fixings' places come from, the donor, and which feature of that part shows each fixing."""
    host, donor = (build.part(verdict[side]) for side in ("host", "donor"))
    if host is None or donor is None:
        raise Unwritten("the sheets have no such host or donor")
    shows = host if verdict["measured_from"] == "host" else original_on(build, host, verdict.get("original"))
    rows = _rows(build, host, shows)
    return shows, donor, {name: shown.feature for name, _, shown in rows if shown.part == shows.part}


def _pull(verdict: Mapping[str, Any], donor: Part) -> tuple[Fraction, bool]:
    """How far the donor counts as pulled by hand at each fixing, and whether it gives in its plane too.

    What goes on is held to the pull that the verdict states, what does not to all that the sheet says it gives.

    Raises
    ------
    Unwritten
        It would have to give more than the sheet says.
    """
    gives, used = exact(donor.flex_mm or 0), exact(verdict.get("flex_used_mm") or 0)
    if used > gives:
        raise Unwritten(f"pulled by {float(used)} mm, and the sheet says that {donor.part} gives {float(gives)} mm")
    return (used if verdict["verdict"] == BOLTS_ON else gives), bool(donor.flex_in_plane)


def _meant(mine: tuple[Feature, ...], rows: list[tuple[str, Feature, Feature]]) -> dict[str, str]:
    """Fixing that a donor feature is meant for, named by itself or by the original's feature; of this host alone."""
    called = {shown.feature: name for name, _, shown in rows}
    called |= {shown.goes_on: name for name, _, shown in rows if shown.goes_on}
    called |= {name: name for name, _, _ in rows}
    return {f.feature: called[f.goes_on] for f in mine if f.goes_on in called}


def _options(fixings: Mapping[str, Point], features: Mapping[str, Point], meant: Mapping[str, str]) -> frozenset[Named]:
    """Pairs that may be made: a feature or fixing that the sheet gives a partner goes with no other."""
    return frozenset(
        (f, d) for f in fixings for d in features
        if (meant[d] == f if d in meant else f not in meant.values()) and _can_pair(fixings[f], features[d])
    )  # fmt: skip


def original_on(build: Build, host: Part, named: str | None) -> Part:
    """The part that came off the host, or the host itself where it is one."""
    found = build.original_on(host.part, named)
    if found is None:
        raise Unwritten(f"no original shows where the fixings of {host.part} are")
    return found


def _rows(build: Build, host: Part, shows: Part) -> list[tuple[str, Feature, Feature]]:
    """(fixing, the feature that says what it is, the feature that shows where it is)."""
    own = build.features_of(host.part)
    if shows is host or not own:
        return [(f.feature, f, f) for f in build.features_of(shows.part)]
    shown = {f.goes_on: f for f in reversed(build.features_of(shows.part)) if f.goes_on}
    return [(f.feature, f, shown.get(f.feature, f)) for f in own]


def _fixing(
    build: Build, feature: Feature, shown: Feature, places: Mapping[str, Vector], on_shown: Mapping[str, Vector]
) -> Point:
    """A host feature; or what must have stood where the original has its counterpart."""
    must = feature.need in (None, "must")
    seen = build.part(shown.part)
    if seen is None or seen.origin != "original":
        return _point(build, feature, places, must or feature.kind == "stud")
    own = _point(build, shown, on_shown, must)
    size = own.bolt if shown.kind in UNTHREADED else own.across
    if feature is shown:
        least, at = shown.kind not in UNTHREADED, places.get(feature.feature)
        point = Point(COUNTERPART[shown.kind], at, must, size, thread=own.thread, bolt=own.bolt, least=least)
    else:
        point = _point(build, feature, places, must or feature.kind == "stud")
        point = replace(point, across=size) if point.across is None else point
    floating = point.kind in OPENINGS and own.kind in OPENINGS
    unsure = (
        own.across is None or (own.kind == "slot" and own.length is None) or own.float_mm is None
        or (floating and point.bolt is None and own.bolt is None)
    )  # fmt: skip
    of = build.part(feature.part)
    point, own = replace(point, material=of.material if of else None), replace(own, material=seen.material)
    allowed = _allowed(point, own, kindest=False)
    return replace(
        point, unsure=unsure, open_mm=_travel(own) if own.along is None else Fraction(0),
        play=max(allowed or Fraction(0), Fraction(0)), stood=own if own.kind == "slot" and own.along else None,
    )  # fmt: skip


def _point(build: Build, feature: Feature, places: Mapping[str, Vector], must: bool) -> Point:
    """A feature's own sizes: the newest reading, else its cell, else its thread."""
    thread = parse_thread(feature.thread) if feature.thread else None
    bolt = exact(thread.major_mm) if thread else cell(feature.fastener_mm)
    across, length = _size(build, feature, "across"), _size(build, feature, "length")
    if across is None and feature.kind not in UNTHREADED:
        across = bolt
    at = places.get(feature.feature)
    float_mm = cell(feature.float_mm) if feature.kind == "captive nut" else Fraction(0)
    along = _along(feature, places, _framed(build, feature.part)) if feature.kind == "slot" else ALONG_X
    return Point(feature.kind, at, must, across, length, along, float_mm, feature.thread, bolt)


def _framed(build: Build, part: str) -> bool:
    """Whether degrees mean anything: measured by distances alone a part has no frame."""
    placed = [f for f in build.features_of(part) if f.x_mm is not None and f.y_mm is not None]
    return len(placed) > 1 or not any(row.quantity in DISTANCES for row in standing(build, part))


def _along(feature: Feature, places: Mapping[str, Vector], framed: bool) -> Vector | None:
    """Cosine and sine of a slot's direction, in degrees or towards another feature; None: not written."""
    if feature.angle_deg is not None:
        return cos_sin(exact(feature.angle_deg)) if framed else None
    here, there = places.get(feature.feature), places.get(feature.angle_to or "")
    if here is None or there is None or here == there:
        return None
    return towards(minus(there, here))


def cell(value: float | None) -> Fraction | None:
    return None if value is None else exact(value)


def _size(build: Build, feature: Feature, quantity: str) -> Fraction | None:
    found = cell(feature.across_mm if quantity == "across" else feature.length_mm)
    for row in standing(build, feature.part):
        if row.quantity == quantity and row.from_feature == feature.feature:
            found = length(row)
    return found


def length(row: Reading) -> Fraction | None:
    """A reading of a length in millimetres; None where the row has no value."""
    return None if row.value is None else exact(row.value) * exact(MM_PER_UNIT[row.unit or "mm"])


def standing(build: Build, part: str) -> list[Reading]:
    """Readings of a part that no later row corrects or withdraws."""
    rows = [row for row in build.readings if row.part == part]
    corrected = {row.corrects for row in rows}
    return [row for row in rows if row.reading not in corrected]


def has_distances(build: Build, part: Part) -> bool:
    return any(row.quantity in DISTANCES for row in standing(build, part.part))


def read_places(
    build: Build, shows: Part, donor: Part, there: Mapping[str, str], stated: Mapping[str, Any], axes: str
) -> tuple[dict[str, Vector], dict[str, Vector], dict[str, Vector]]:
    """Places by feature of the part that shows the fixings, by fixing, and by donor feature, where all axes are known.

    As the sheet has them; adjusted from distances: as the verdict states them.
    """
    hosted = _places(build, shows, stated.get("host"), axes)
    if has_distances(build, shows):
        # The verdict states them by fixing.
        hosted = {shown: hosted[name] for name, shown in there.items() if name in hosted}
    found = {name: hosted[shown] for name, shown in there.items() if shown in hosted}
    return hosted, found, _places(build, donor, stated.get("donor"), axes)


def _places(build: Build, part: Part, stated: Mapping[str, Any] | None, axes: str) -> dict[str, Vector]:
    if not has_distances(build, part):
        rows = [(row.feature, [getattr(row, f"{axis}_mm") for axis in axes]) for row in build.features_of(part.part)]
    elif stated is not None:
        rows = [(name, place[: len(axes)]) for name, place in stated.items()]
    else:
        raise Unwritten(f"the places of {part.part} come from distances, and the verdict does not state them")
    return {name: tuple(map(exact, at)) for name, at in rows if len(at) == len(axes) and None not in at}


def _farthest(build: Build, part: str, places: Mapping[str, Vector]) -> str:
    """The reading between centres that these places keep least."""
    off = []
    for row in standing(build, part):
        ends = [places.get(row.from_feature or ""), places.get(row.to_feature or "")]
        if row.quantity == "centres" and ends[0] is not None and ends[1] is not None:
            apart = math.dist(*[tuple(map(float, end)) for end in ends if end is not None])
            off.append((abs(apart - float(length(row) or 0)), row.reading))
    return f" (farthest from reading {max(off)[1]}, by {max(off)[0]:.2f} mm)" if off else ""
