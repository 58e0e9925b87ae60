"""Small random builds of which a part is erased, and ways of filling it in again: what is missing may be anything.

`whole` draws a build of which everything is known, in the plane or in space; `erased` takes cells, places and whole
parts of it away; `filled` puts values back, those that stood there or any others that the sheets allow. Sheets with
all that a build may hold are drawn by `whole_builds` and `partial_builds`; there a gap is filled by what was there.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable
from dataclasses import dataclass, replace

from partkin.model.build import Build, Feature, Part, Reading, Settings

FACES = ["outside", "inside"]
THREADS = {"M5x0.8": 5.0, "M6x1": 6.0, "M8x1.25": 8.0}
# Host kind, donor kind; the original's is as the donor's, but round.
MATES = (
    ("stud", "hole"), ("stud", "slot"), ("captive nut", "hole"), ("captive nut", "slot"), ("tapped hole", "hole"),
    ("hole", "hole"), ("slot", "hole"), ("peg", "peg hole"), ("peg hole", "peg"), ("clip hole", "clip"),
)  # fmt: skip
# Under a hole of an original whose host is not listed a stud is taken for granted (DESIGN.md), so only these may
# stand unlisted.
UNLISTED = ("stud", "peg", "peg hole", "clip hole")


@dataclass(frozen=True)
class Partial:
    """A build with gaps, and what it was."""

    whole: Build
    build: Build


def whole(rng: random.Random, in_space: bool = False) -> Build:
    """Everything is known: a host, what came off it, and a donor that goes on it, nearly does, or does not."""
    count = rng.randint(2, 4 if in_space else 5)
    at = _apart(rng, count)
    if in_space:
        heights = [rng.choice([0.0, 0.0, 30.0, -50.0]) for _ in at]
        return _raised(_flat(rng, at, False), dict(enumerate(heights, 1)))
    return _flat(rng, at, True)


def _raised(build: Build, height_mm: dict[int, float]) -> Build:
    """The same in space: every feature as high as its fixing."""
    features = tuple(replace(f, z_mm=height_mm[int(f.feature[1:])]) for f in build.features)
    return replace(build, features=features)


def _flat(rng: random.Random, at: list[tuple[float, float]], may_be_flipped: bool) -> Build:
    count = len(at)
    mates = [rng.choice(MATES if rng.random() < 0.5 else MATES[:3]) for _ in range(count)]
    if rng.random() < 0.4:
        mates = [rng.choice([mate for mate in MATES if mate[0] in UNLISTED]) for _ in range(count)]
    host = [_fixing(rng, f"F{n}", kind, place) for n, ((kind, _), place) in enumerate(zip(mates, at, strict=True), 1)]
    if rng.random() < 0.3:
        host[-1] = replace(host[-1], need=rng.choice(["should", "spare"]))
    flip = may_be_flipped and rng.random() < 0.3
    named = rng.random() < 0.4
    off = _offs(rng, count)
    own = _moved(rng, [(x + dx, y + dy) for (x, y), (dx, dy) in zip(at, off, strict=True)], flip)
    donor = [
        replace(
            _feature(rng, "donor", f"d{n}", kind, place, fixing.feature if named else None),
            # What goes through two holes is said once, by the host's: where that is empty the donor's counts.
            **({"thread": None} if fixing.kind in ("hole", "slot") else {}),
        )
        for n, ((_, kind), place, fixing) in enumerate(zip(mates, own, host, strict=True), 1)
    ]
    if rng.random() < 0.3:
        donor[0] = replace(donor[0], need="must")
    parts = [
        Part("host", origin="host", duty="trim", airbag=False, seen_from="outside"),
        Part(
            "donor", origin="donor", takes_place_of="host", duty=rng.choice(["structural", "structural", "trim"]),
            airbag=False, seen_from="inside" if flip else "outside",
        ),
    ]  # fmt: skip
    features = [*host, *donor]
    if rng.random() < 0.6:
        came_off = Part("old", origin="original", takes_place_of="host", duty="trim", airbag=False)
        parts.append(replace(came_off, seen_from="outside"))
        there = _moved(rng, at, flip=False)
        features += [
            _feature(rng, "old", f"o{n}", "hole" if kind == "slot" else kind, place, fixing.feature)
            for n, ((_, kind), place, fixing) in enumerate(zip(mates, there, host, strict=True), 1)
        ]
    build = Build(settings=Settings(), parts=tuple(parts), features=tuple(features))
    return _by_distances(rng, build, "donor", own) if may_be_flipped and rng.random() < 0.2 else build


def _apart(rng: random.Random, count: int) -> list[tuple[float, float]]:
    at: list[tuple[float, float]] = []
    while len(at) < count:
        x, y = float(rng.randint(0, 40) * 10), float(rng.randint(0, 25) * 10)
        if all(math.hypot(x - a, y - b) >= 40.0 for a, b in at):
            at.append((x, y))
    return at


def _offs(rng: random.Random, count: int) -> list[tuple[float, float]]:
    """No hole off, one off, or all of them: clear of what any play here allows, or well within it."""
    off = [(0.0, 0.0)] * count
    how = rng.random()
    if how < 0.35:
        return off
    far = (0.1, 0.2, 2.6, 4.0, 9.0, 40.0)
    for at in range(count) if how < 0.5 else [rng.randrange(count)]:
        mm, turn = rng.choice(far), rng.choice([0, 30, 90, 150, 240])
        off[at] = (mm * math.cos(math.radians(turn)), mm * math.sin(math.radians(turn)))
    return off


def _moved(rng: random.Random, points: Iterable[tuple[float, float]], flip: bool) -> list[tuple[float, float]]:
    turn, x0, y0 = math.radians(rng.choice([0, 0, 90, 33])), rng.choice([0, 50]), rng.choice([0, -20])
    turned = [
        (math.cos(turn) * x - math.sin(turn) * y + x0, math.sin(turn) * x + math.cos(turn) * y + y0) for x, y in points
    ]
    return [(-x if flip else x, y) for x, y in turned]


def _fixing(rng: random.Random, name: str, kind: str, place: tuple[float, float]) -> Feature:
    made = Feature("host", name, kind, x_mm=place[0], y_mm=place[1], plus_minus_mm=0.0)
    if kind in ("stud", "captive nut", "tapped hole"):
        made = replace(made, thread="M6x1")
    if kind == "captive nut":
        made = replace(made, float_mm=rng.choice([0.0, 0.5, 1.5]))
    if kind in ("hole", "slot"):
        made = replace(made, across_mm=7.0, fastener_mm=6.0)
    if kind == "slot":
        made = replace(made, length_mm=rng.choice([7.0, 13.0]), angle_deg=float(rng.choice([0, 45, 90])))
    if kind in ("peg", "peg hole", "clip hole"):
        made = replace(made, across_mm={"peg": 8.0, "peg hole": 8.6, "clip hole": 9.0}[kind])
    return made


def _feature(
    rng: random.Random, part: str, name: str, kind: str, place: tuple[float, float], goes_on: str | None
) -> Feature:
    made = Feature(part, name, kind, x_mm=place[0], y_mm=place[1], plus_minus_mm=0.0, goes_on=goes_on)
    across = {"hole": 7.0, "slot": 7.0, "peg hole": 8.6, "peg": 8.0, "clip": 8.8}[kind]
    made = replace(made, across_mm=across)
    if kind in ("hole", "slot"):
        made = replace(made, thread="M6x1")
    if kind == "peg hole":
        made = replace(made, fastener_mm=8.0)
    if kind == "slot":
        made = replace(made, length_mm=rng.choice([7.0, 12.0, 17.0]), angle_deg=float(rng.choice([0, 30, 90])))
    return made


def _by_distances(rng: random.Random, build: Build, part: str, at: list[tuple[float, float]]) -> Build:
    """The part measured by every distance between its features in place of coordinates."""
    names = [f.feature for f in build.features_of(part)]
    rows = tuple(
        Reading(part, f"k{i}{j}", "centres", math.dist(at[i], at[j]), "mm", names[i], names[j], plus_minus=0.02)
        for j in range(len(at)) for i in range(j)
    )  # fmt: skip
    features = tuple(
        replace(f, x_mm=None, y_mm=None, plus_minus_mm=None, angle_to=None) if f.part == part else f
        for f in build.features
    )  # fmt: skip
    return replace(build, features=features, readings=rows)


CELLS = ("across_mm", "length_mm", "angle_deg", "float_mm", "thread", "fastener_mm")


def erased(rng: random.Random, build: Build) -> Partial:
    """The build with cells, places, readings or whole lists taken away."""
    share = rng.choice([0.0, 0.05, 0.15, 0.4])
    features = tuple(_with_gaps(rng, f, share) for f in build.features)
    parts = tuple(replace(p, seen_from=None) if rng.random() < 0.15 else p for p in build.parts)
    readings = tuple(row for row in build.readings if rng.random() >= share)
    for part, chance in (("host", 0.25), ("old", 0.15), ("donor", 0.08)):
        if rng.random() < chance:
            features = tuple(_placeless(f) if f.part == part else f for f in features)
    listed = {f.part for f in features}
    unlisted = "old" in listed and all(f.kind in UNLISTED and f.need is None for f in build.features_of("host"))
    if unlisted and rng.random() < 0.4:
        features = tuple(f for f in features if f.part != "host")
    elif rng.random() < 0.06:
        bare = rng.choice(["donor", "old"])
        features = tuple(f for f in features if f.part != bare)
    return Partial(build, replace(build, features=features, parts=parts, readings=readings))


def _with_gaps(rng: random.Random, feature: Feature, share: float) -> Feature:
    gaps: dict[str, None] = {cell: None for cell in CELLS if rng.random() < share}
    if feature.part == "donor" and feature.kind in ("hole", "slot"):
        # A hole that names no screw takes the one of the nut: no thread of a hole is not a thread that is not known.
        gaps.pop("thread", None)
    made = replace(feature, **gaps)
    return _placeless(made) if rng.random() < share else made


def _placeless(feature: Feature) -> Feature:
    return replace(feature, x_mm=None, y_mm=None, z_mm=None)


def filled(rng: random.Random, partial: Partial) -> Build:
    """The partial build with every gap filled, by what was there or by something else that may be."""
    here, there = partial.build, partial.whole
    true = rng.random()
    features: list[Feature] = []
    for part in ("host", "donor", "old"):
        mine = {f.feature: f for f in here.features_of(part)}
        was = there.features_of(part)
        if not mine and part == "donor" and rng.random() < 0.5:
            other = whole(rng, in_space=any(f.z_mm is not None for f in there.features))
            was = tuple(replace(f, goes_on=None) for f in other.features_of("donor"))
        free = part == "donor" or (part == "host" and not _shown(here))
        features += [_fill(rng, mine.get(f.feature), f, true, free) for f in was]
    # The host is placed here as it was, so where the original tells how it lay it was seen from there.
    parts = tuple(
        replace(p, seen_from=_one_of(rng, FACES, w.seen_from, 1.0 if p.part == "host" and _shown(here) else true))
        if p.seen_from is None else p
        for p, w in zip(here.parts, there.parts, strict=True)
    )  # fmt: skip
    return replace(here, parts=parts, features=tuple(features), readings=there.readings)


def _shown(build: Build) -> bool:
    """Whether the original tells anything of where the fixings are."""
    return any(f.x_mm is not None for f in build.features_of("old"))


def _one_of(rng: random.Random, choices: list, true_value: object, true: float) -> object:
    return true_value if rng.random() < true else rng.choice(choices)


def _fill(rng: random.Random, now: Feature | None, was: Feature, true: float, free: bool) -> Feature:
    """One feature with its gaps filled; a place other than it had only where nothing else tells (`free`)."""
    made = was if now is None else now
    fill: dict[str, object] = {}
    if now is not None:
        fill = {cell: _value(rng, cell, now, was, true) for cell in CELLS if getattr(now, cell) is None}
    made = replace(made, **fill)
    if made.length_mm is not None and made.across_mm is not None and made.length_mm < made.across_mm:
        longer = {"length_mm": made.across_mm + 4.0}
        made = replace(made, **(longer if "length_mm" in fill else {"across_mm": was.across_mm}))
    if made.x_mm is None and was.x_mm is not None:
        dx, dy = (0.0, 0.0)
        if free and rng.random() >= true:
            dx, dy = rng.choice([(0.2, 0.0), (0.0, 3.0), (-6.0, 1.0), (70.0, 40.0)])
        made = replace(made, x_mm=was.x_mm + dx, y_mm=was.y_mm + dy, z_mm=was.z_mm)
    return made


def _value(rng: random.Random, cell: str, now: Feature, was: Feature, true: float) -> object:
    true_value = getattr(was, cell)
    if true_value is None:
        return None
    choices: dict[str, list] = {
        # A hole of the host takes at least what of the original went in, and a peg of it went in there.
        "across_mm": [6.2, 7.0, 9.0, 14.0] if was.kind in ("hole", "slot")
        else [was.across_mm, 8.6 if was.kind == "peg hole" else 8.0] if was.part == "host" else [7.0, 8.0, 8.6, 10.0],
        "length_mm": [14.0, 20.0, 30.0], "angle_deg": [0.0, 15.0, 45.0, 60.0, 90.0, 135.0],
        "float_mm": [0.0, 0.4, 1.0, 2.5, 5.0], "thread": list(THREADS), "fastener_mm": [5.0, 6.0, 8.0],
    }  # fmt: skip
    return _one_of(rng, choices[cell], true_value, true)
