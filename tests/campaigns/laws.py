"""Laws that every answer keeps, on random builds: how many answers go where they must not.

python tests/campaigns/laws.py --count 5000 --start 0
python tests/campaigns/laws.py --laws --count 10000 --kept kept.json    # only what is confirmed, and how long it takes

With --kept the counts stand in a file, and the same command goes on where it was stopped.

However the same parts are written down, the answer is the same; a larger hole or a fixing that is wanted no more never
makes it worse; and what is decided is confirmed in fractions. Even numbers are whole builds, odd ones partial.
"""

from __future__ import annotations

import argparse
import collections
import contextlib
import json
import math
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

import partkin
from campaigns.partial_builds import partial, questions, settings, whole, write
from partkin.graph import known_of
from partkin.model.build import Build, Feature, Reading
from partkin.model.problem import FaultyInput
from partkin.model.verdict import Verdict
from partkin.model.words import BOLTS_ON, DOES_NOT_FIT, NOT_ENOUGH, WITH_ADAPTATION
from partkin.report.verdict_file import verdict_json
from partkin.verify.verify import confirm

FLIPPED = {"outside": "inside", "inside": "outside", "left of": "right of", "right of": "left of"}
# Decided words from worst to best; the others are neither.
BETTER = (DOES_NOT_FIT, WITH_ADAPTATION, BOLTS_ON)
SAME_MM = 0.01
# A margin beyond these is a bound of the search, or of a pair of which something is not known; not a place.
LEAST_MARGIN_MM, MOST_MARGIN_MM = -9.9, 1000.0
# One of two answers that should be the same is decided, the other is not: no contradiction, and not the same.
OPEN = "open on one side: "
ANSWERED = "a build has its answers"
SOON = "an answer takes at most 15 s"
CONFIRMED = "what is decided is confirmed"
LONGEST_S = 15.0


def framed(build: Build, parts: tuple[str, ...], turn_deg: float, flip: bool = False) -> Build:
    """The same parts, read in another frame, or from the other face."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))

    def turned(x: float, y: float) -> tuple[float, float]:
        x, y = c * x - s * y, s * x + c * y
        return (-x, y) if flip else (x, y)

    def at(x: float, y: float) -> tuple[float, float]:
        x, y = turned(x, y)
        return x + (-31.0 if flip else 31.0), y - 407.0

    def feature(row: Feature) -> Feature:
        if row.part not in parts:
            return row
        along = None if row.angle_deg is None else row.angle_deg + turn_deg
        along = 180.0 - along if flip and along is not None else along
        if row.axis is not None:
            row = replace(row, axis=(*turned(*row.axis[:2]), row.axis[2]))
        if row.x_mm is None or row.y_mm is None:
            return replace(row, angle_deg=along)
        x, y = at(row.x_mm, row.y_mm)
        return replace(row, x_mm=x, y_mm=y, angle_deg=along)

    def seen(row: Reading) -> Reading:
        sided = flip and row.part in parts and row.quantity in FLIPPED
        return replace(row, quantity=FLIPPED[row.quantity]) if sided else row  # type: ignore[arg-type]

    def lines(rows: tuple) -> tuple:
        return tuple(
            replace(row, corners_mm=tuple(at(*corner) for corner in row.corners_mm)) if row.part in parts else row
            for row in rows
        )

    return replace(
        build,
        features=tuple(map(feature, build.features)),
        readings=tuple(map(seen, build.readings)),
        zones=lines(build.zones),
        outlines=lines(build.outlines),
        parts=tuple(
            replace(one, seen_from=FLIPPED[one.seen_from]) if flip and one.part in parts and one.seen_from else one
            for one in build.parts
        ),
    )


def renamed(build: Build) -> Build:
    """Every feature under another name, in another order of names."""
    names = {name: f"q{(7 * k) % 101}" for k, name in enumerate(dict.fromkeys(f.feature for f in build.features))}

    def other(row: Feature | Reading, *fields: str) -> Feature | Reading:
        return replace(row, **{field: names.get(getattr(row, field), getattr(row, field)) for field in fields})

    features = tuple(other(row, "feature", "goes_on", "angle_to") for row in build.features)
    readings = tuple(other(row, "from_feature", "to_feature", "line_from", "line_to") for row in build.readings)
    return replace(build, features=features, readings=readings)


def reversed_rows(build: Build) -> Build:
    """Every sheet that has no order of its own from its end to its beginning."""
    sheets = ("features", "parts", "zones", "readings", "outlines", "connectors", "neighbours", "models")
    return replace(build, **{name: getattr(build, name)[::-1] for name in sheets})


def with_a_spare_hole(build: Build, donor: str) -> Build:
    """A hole far from all others, on a donor whose features are placed and name all fixings: it is wanted nowhere."""
    own = [f for f in build.features if f.part == donor]
    host = next(one.takes_place_of for one in build.parts if one.part == donor)
    fixings = {f.feature for f in build.features if f.part == host}
    if not own or any(f.x_mm is None for f in own) or not fixings or fixings - {f.goes_on for f in own}:
        return build
    z_mm = 0.0 if any(f.z_mm is not None for f in own) else None
    far = Feature(donor, "far", "hole", 7.0, x_mm=9e3, y_mm=9e3, z_mm=z_mm, plus_minus_mm=0.0, need="spare")
    return replace(build, features=(*build.features, far))


def with_another_part(build: Build, donor: str) -> Build:
    """A donor for the same place, which is not asked about, with features of the same names."""
    more = tuple(replace(f, part="other", x_mm=3.0 + (f.x_mm or 0.0)) for f in build.features if f.part == donor)
    part = replace(next(one for one in build.parts if one.part == donor), part="other", part_number=None, part_of=None)
    return replace(build, parts=(part, *build.parts), features=(*more, *build.features))


def in_other_units(build: Build) -> Build:
    """What was read in millimetres or centimetres written in metres."""
    per_unit = {"mm": 1000.0, "cm": 100.0}

    def metres(row: Reading) -> Reading:
        if row.unit not in per_unit or row.value is None:
            return row
        by = per_unit[row.unit]
        return replace(row, value=row.value / by, plus_minus=row.plus_minus and row.plus_minus / by, unit="m")

    return replace(build, readings=tuple(map(metres, build.readings)))


def with_a_larger_hole(build: Build, donor: str) -> Build:
    """The first hole of the donor whose size no reading tells, half a millimetre wider."""
    read = {name for row in build.readings if row.part == donor and row.quantity != "centres"
            for name in (row.from_feature, row.to_feature)}  # fmt: skip
    for place, row in enumerate(build.features):
        if row.part == donor and row.kind == "hole" and row.across_mm is not None and row.feature not in read:
            wider = replace(row, across_mm=row.across_mm + 0.5)
            return replace(build, features=(*build.features[:place], wider, *build.features[place + 1 :]))
    return build


def without_a_should(build: Build) -> Build:
    """What should be held need not be."""
    return replace(build, features=tuple(replace(f, need="spare") if f.need == "should" else f for f in build.features))


def flat(build: Build) -> bool:
    """Whether nothing is in space, so that a part can be read from its other face."""
    return all(f.z_mm is None and f.axis is None for f in build.features)


def _others(build: Build, donor: str) -> tuple[str, ...]:
    return tuple(one.part for one in build.parts if one.part != donor)


# Each gives the same build where it has nothing to change.
SAME: dict[str, Callable[[Build, str], Build]] = {
    "donor's frame": lambda build, donor: framed(build, (donor,), 63.0),
    "host's frame": lambda build, donor: framed(build, _others(build, donor), -141.0),
    "donor from the other face": lambda build, donor: (
        framed(build, (donor,), 12.0, flip=True) if flat(build) else build
    ),
    "all from the other face": lambda build, donor: (
        framed(build, (donor, *_others(build, donor)), 0.0, flip=True) if flat(build) else build
    ),
    "names": lambda build, donor: renamed(build),
    "order": lambda build, donor: reversed_rows(build),
    "units": lambda build, donor: in_other_units(build),
    "spare hole": with_a_spare_hole,
    "another part": with_another_part,
}
NO_WORSE: dict[str, Callable[[Build, str], Build]] = {
    "larger hole": with_a_larger_hole,
    "should dropped": lambda build, donor: without_a_should(build),
}


def broken(law: str, one: Verdict, other: Verdict, in_space: bool) -> str:
    """How an answer and that of the changed build break a law; empty: they keep it.

    In space a margin is the best that several starts lead to, and is not compared.
    """
    margins = (one.margin_mm, other.margin_mm)
    if law in NO_WORSE:
        if one.verdict in BETTER and other.verdict in BETTER[: BETTER.index(one.verdict)]:
            return f"{one.verdict} -> {other.verdict}"
        return ""
    if one.verdict != other.verdict:
        is_open = NOT_ENOUGH in (one.verdict, other.verdict)
        return f"{OPEN if is_open else ''}{one.verdict} -> {other.verdict}"
    held = [sum(pair.margin_mm is not None for pair in verdict.pairs) for verdict in (one, other)]
    if one.verdict != NOT_ENOUGH and ((margins[0] is None) != (margins[1] is None) or held[0] != held[1]):
        return f"{one.verdict}: margin {margins[0]} with {held[0]} pairs -> {margins[1]} with {held[1]}"
    if (
        not in_space
        and None not in margins
        and LEAST_MARGIN_MM < max(margins) < MOST_MARGIN_MM
        and abs(margins[0] - margins[1]) > SAME_MM
    ):  # type: ignore[type-var, operator]
        return f"{one.verdict}: margin {margins[0]:.3f} -> {margins[1]:.3f}"
    return ""


def asked(seed: int, where: Path) -> Iterator[tuple[Build, str, str | None]]:
    """The build of a number, with each donor and host that a person may ask about."""
    sheets = partial(seed) if seed % 2 else whole(seed)
    build = partkin.load_build(write(sheets, where / f"build-{seed}", settings(seed)))
    for donor, host in questions(sheets):
        # Which host is meant, or that it is one, cannot be told from some partial builds.
        with contextlib.suppress(FaultyInput):
            known_of(build, donor, host or None)
            yield build, donor, host or None


def check(build: Build, donor: str, host: str | None) -> Verdict:
    """The answer, without other ways of adapting."""
    return partkin.check(build, donor, host, others=False)


def faults_of(seed: int, where: Path, laws: dict[str, Callable[[Build, str], Build]]) -> Iterator[tuple[str, str]]:
    """Each law that was put to the answers of a build, and how it is broken (empty: it is kept)."""
    for build, donor, host in asked(seed, where):
        at, begun = f"{seed} {donor} {host or ''}".rstrip(), time.process_time()
        verdict = check(build, donor, host)
        took_s = time.process_time() - begun
        yield SOON, "" if took_s <= LONGEST_S else f"{at}: {took_s:.1f} s"
        if verdict.verdict != NOT_ENOUGH:
            refused = confirm(json.loads(verdict_json(verdict)), build).refused
            yield CONFIRMED, "" if not refused else f"{at}: {verdict.verdict}: {'; '.join(refused)}"
        for law, change in laws.items():
            # A donor that is asked about for another host names fixings of its own.
            changed = build if host and law == "spare hole" else change(build, donor)
            if law == "order" and changed == build:
                yield law, ""  # a build keeps its rows in an order of its own
            elif changed != build:
                said = broken(law, verdict, check(changed, donor, host), not flat(build))
                yield law, said and f"{OPEN if said.startswith(OPEN) else ''}{at}: {said.removeprefix(OPEN)}"


@dataclass
class Counted:
    """How often each law was put to an answer, how often it was broken or left open, and the next build."""

    builds: int = 0
    next: int = 0
    put: collections.Counter[str] = field(default_factory=collections.Counter)
    against: collections.Counter[str] = field(default_factory=collections.Counter)
    opened: collections.Counter[str] = field(default_factory=collections.Counter)
    said: list[str] = field(default_factory=list)

    @classmethod
    def of(cls, kept: Path | None, start: int) -> Counted:
        """What a file keeps; nothing yet where there is none."""
        if kept is None or not kept.exists():
            return cls(next=start)
        counters = ("put", "against", "opened")
        tree = json.loads(kept.read_text(encoding="utf-8"))
        return cls(**{name: collections.Counter(x) if name in counters else x for name, x in tree.items()})

    def take(self, law: str, said: str) -> None:
        """Count an answer that a law was put to."""
        half_open = said.startswith(OPEN)
        self.put[law] += 1
        self.opened[law] += half_open
        self.against[law] += bool(said) and not half_open
        if said:
            self.said.append(f"{law}: {said}")
            print(self.said[-1], flush=True)

    def ask(self, seed: int, where: Path, laws: dict[str, Callable[[Build, str], Build]]) -> None:
        """Put every law to every answer of a build."""
        failed = ""
        try:
            for law, said in faults_of(seed, where, laws):
                self.take(law, said)
        except Exception as failure:
            failed = f"{seed}: {failure!r}"
        self.take(ANSWERED, failed)
        self.builds, self.next = self.builds + 1, seed + 1

    def keep(self, kept: Path) -> None:
        """Write the file anew; it is whole whenever this is stopped."""
        kept.with_suffix(".part").write_text(json.dumps(vars(self), indent=1), encoding="utf-8")
        kept.with_suffix(".part").replace(kept)


def main() -> None:
    """Read the words of the command line, ask, and print what breaks and how often each law was kept."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--count", type=int, default=5000)
    words.add_argument("--start", type=int, default=0)
    words.add_argument("--at-most-s", type=float, default=float("inf"), help="end after this many seconds")
    words.add_argument("--laws", nargs="*", help="these alone; none: only what is confirmed")
    words.add_argument("--kept", type=Path, metavar="FILE", help="where the counts stand")
    given = words.parse_args()
    every = SAME | NO_WORSE
    laws = every if given.laws is None else {name: every[name] for name in given.laws}
    counted, begun = Counted.of(given.kept, given.start), time.monotonic()
    for seed in range(counted.next, given.start + given.count):
        if time.monotonic() - begun > given.at_most_s:
            break
        with tempfile.TemporaryDirectory() as where:
            counted.ask(seed, Path(where), laws)
        if given.kept is not None:
            counted.keep(given.kept)
    print(f"{counted.builds} builds from {given.start}")
    for law in (ANSWERED, SOON, CONFIRMED, *laws):
        put, against, opened = (count[law] for count in (counted.put, counted.against, counted.opened))
        print(f"  {law}: {put}, against it {against}, open on one side {opened}")
    sys.exit(1 if sum(counted.against.values()) else 0)


if __name__ == "__main__":
    main()
