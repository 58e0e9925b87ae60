"""How often a donor is told to go on, left open or sent away, by what it really is: the tables of docs/verdicts.md.

All parts are invented: plates with holes of 7 mm on studs of 6 mm (play 0.5 mm), read evenly within plus or minus what
is stated. Of each, whether it really goes on is known. `--parts` of each kind and cell; `--calibration` draws parts as
the chance takes them to come about, and as it does not, and compares what was said with what happened. Judged without
the work and the readings that a check adds, which leaves the verdict as it is.

Run: python tests/benchmarks/bench_chance.py
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from statistics import NormalDist

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from builders import build, given, holes, studs
from partkin.fit.arrays import Pairs
from partkin.fit.discrepancies import discrepancies
from partkin.fit.just_goes_on import Reach, nearest_that_goes_on
from partkin.fit.minimax import best_placement
from partkin.model.build import Build, Part, Reading
from partkin.model.words import BOLTS_ON, DOES_NOT_FIT
from partkin.pipeline import lay_on
from partkin.tables.instruments import making
from partkin.verdict import decide
from readings.simulated import calibration, made_of

PLATE = np.array([
    (0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0), (150.0, 5.0), (140.0, 210.0), (60.0, 100.0), (240.0, 100.0),
    (400.0, 40.0), (420.0, 160.0), (200.0, 60.0), (100.0, 30.0),
])  # fmt: skip
PLAY_MM = 0.5
KINDS = ("same", "within", "edge", "one by 1.5", "one by 7 errors", "two by 1.5", "group by 1.5", "scaled", "another")
HOW = ("host", "original", "distances", "slots")
Cell = tuple[str, str, int, float]
Made = Callable[[np.random.Generator, np.ndarray], np.ndarray]


def ways(draw: np.random.Generator, count: int) -> np.ndarray:
    """Directions, (count, 2)."""
    turn = draw.uniform(0.0, 2.0 * np.pi, count)
    return np.stack([np.cos(turn), np.sin(turn)], axis=1)


def donor_of(kind: str, plate: np.ndarray, error_mm: float, draw: np.random.Generator) -> np.ndarray:
    """Where the holes of a donor of a kind really are."""
    n = len(plate)
    made = plate + draw.normal(0.0, making().scatter_mm, plate.shape)
    if kind == "within":
        return plate + ways(draw, n) * (PLAY_MM * np.sqrt(draw.uniform(0.0, 1.0, n)))[:, None]
    if kind == "edge":
        return plate + ways(draw, n) * PLAY_MM
    if kind.startswith("one"):
        made[draw.integers(n)] += ways(draw, 1)[0] * (1.5 if kind == "one by 1.5" else PLAY_MM + 7.0 * error_mm)
    elif kind.startswith("two"):
        made[draw.permutation(n)[:2]] += 1.5 * ways(draw, 2)
    elif kind.startswith("group"):
        near = np.argsort(np.linalg.norm(plate - plate[draw.integers(n)], axis=1))[: n // 2]
        made[near] += 1.5 * ways(draw, 1)[0]
    elif kind == "scaled":
        made *= 1.002
    elif kind == "another":
        made += draw.normal(0.0, 5.0, plate.shape)
    return made


def sheets(
    plate: np.ndarray, donor: np.ndarray, error_mm: float, draw: np.random.Generator, how: str
) -> tuple[Build, float]:
    """The build as somebody would write it down, and by how much the donor really is short, mm."""
    host = plate + (draw.normal(0.0, making().scatter_mm, plate.shape) if how == "original" else 0.0)
    shown = plate if how == "original" else host
    travel = np.where(np.arange(len(plate)) % 3 == 1, 1.5, 0.0) if how == "slots" else np.zeros(len(plate))
    east = np.tile([1.0, 0.0], (len(plate), 1))
    rho, none = np.full(len(plate), PLAY_MM), np.zeros(len(plate))
    short_mm = best_placement(Pairs(donor, host, rho, none, east, travel, east)).worst_mm
    seen, read = (side + draw.uniform(-error_mm, error_mm, side.shape) for side in (shown, donor))
    rows = [replace(f, plus_minus_mm=error_mm) for f in given(holes(read.tolist()))]
    rows = [
        replace(f, kind="slot", length_mm=7.0 + 2.0 * float(s), angle_deg=0.0) if s else f
        for f, s in zip(rows, travel, strict=True)
    ]  # fmt: skip
    if how == "original":
        came_off = [
            replace(f, part="orig", plus_minus_mm=error_mm, fastener_mm=6.0, goes_on=None, feature=f"F{at + 1}")
            for at, f in enumerate(holes(seen.tolist()))
        ]  # fmt: skip
        original = Part("orig", origin="original", takes_place_of="host", duty="trim", seen_from="outside")
        return replace(build([], rows, extra=[original]), features=(*came_off, *rows)), short_mm
    made = build([replace(f, plus_minus_mm=error_mm) for f in studs(seen.tolist())], rows)
    if how != "distances":
        return made, short_mm
    rough = [replace(f, plus_minus_mm=25.0) if f.part == "donor" else f for f in made.features]
    tied = [
        Reading(
            "donor", f"r{a}.{b}", "centres", long_mm + float(draw.uniform(-error_mm, error_mm)), "mm", f"a{a + 1}",
            f"a{b + 1}", plus_minus=error_mm, instrument="tape",
        )
        for a, b in combinations(range(len(donor)), 2)
        for long_mm in [float(np.linalg.norm(donor[a] - donor[b]))]
    ]  # fmt: skip
    return replace(made, features=tuple(rough), readings=tuple(tied)), short_mm


@dataclass(frozen=True)
class Told:
    """What was said of one part, and by how much it really is short (below zero: it goes on)."""

    verdict: str
    chance: float
    short_mm: float

    @property
    def goes_on(self) -> bool:
        return self.short_mm <= 0.0


def told(made: Build, short_mm: float, one_drawing: float | None) -> Told:
    """Judge a build and leave out what to read next: the verdict is the same without."""
    made = replace(made, settings=replace(made.settings, same_drawing=one_drawing))
    verdict = decide(lay_on(made, "donor")[0])
    return Told(verdict.verdict, verdict.chance.fits if verdict.chance else 0.0, short_mm)


def cell(kind: str, count: int, error_mm: float, parts: int, how: str, one_drawing: float | None = None) -> list[Told]:
    """What is said of so many parts of a kind."""
    draw = np.random.default_rng([KINDS.index(kind), HOW.index(how), count, int(100 * error_mm)])
    plate = PLATE[:count]
    return [
        told(*sheets(plate, donor_of(kind, plate, error_mm, draw), error_mm, draw, how), one_drawing)
        for _ in range(parts)
    ]


def in_words(said: list[Told]) -> str:
    """Shares in per cent; in brackets how many were sent away though they go on, and told to go on though short."""
    shares = (100 * sum(one.verdict == word for one in said) / len(said) for word in (BOLTS_ON, DOES_NOT_FIT))
    yes, no = shares
    away, wrong = sent_away(said), wrongly_on(said)
    bad = f" ({away}, {wrong})" if away or wrong else ""
    return f"{yes:.0f}/{100 - yes - no:.0f}/{no:.0f}{bad}"


def sent_away(said: list[Told]) -> int:
    return sum(one.verdict == DOES_NOT_FIT and one.goes_on for one in said)


def wrongly_on(said: list[Told]) -> int:
    return sum(one.verdict == BOLTS_ON and not one.goes_on for one in said)


def tables(
    counts: list[int], errors_mm: list[float], hows: list[str], kinds: list[str], parts: int, one: float | None
) -> None:
    """Print what was said of each kind, in per cent, and which of it was wrong; then the worst cells."""
    cells: dict[Cell, list[Told]] = {}
    for how in hows:
        print(f"\n{how}: bolts on / open / does not fit, per cent (sent away though it goes on, or the other way)\n")
        print("| holes, read to | " + " | ".join(kinds) + " |\n" + "| --- " * (len(kinds) + 1) + "|")
        for count in counts:
            for error_mm in errors_mm:
                row = {(kind, how, count, error_mm): cell(kind, count, error_mm, parts, how, one) for kind in kinds}
                print(f"| {count}, {error_mm:g} | " + " | ".join(map(in_words, row.values())) + " |", flush=True)
                cells |= row
    every = [one for said in cells.values() for one in said]
    goes_on = sum(one.goes_on for one in every)
    print(f"\nsent away: {sent_away(every)} of {goes_on} that go on; at worst {worst(cells, sent_away)}")
    short = [one.short_mm for one in every if one.verdict == BOLTS_ON and not one.goes_on]
    by_mm, off = max(short, default=0.0), len(every) - goes_on
    print(f"told to go on: {len(short)} of {off} that are short, by up to {by_mm:.2f} mm; {worst(cells, wrongly_on)}")


def worst(cells: dict[Cell, list[Told]], bad: Callable[[list[Told]], int]) -> str:
    at = max(cells, key=lambda one: bad(cells[one]))
    return f"{bad(cells[at])} of {len(cells[at])}: {at}"


def found_out(counts: list[int], errors_mm: list[float], kinds: list[str], parts: int) -> None:
    """Print how many of those that really are short are told so, and how many any test could tell.

    Any test that sends a part which just goes on away in at most 5 of 100 cases, errors being normal, tells a part that
    lies k standard deviations off it in at most Phi(k - 1.645) of cases (Neyman and Pearson, 1933, from memory).
    """
    print("| kind, read to | short | found out | at most, per cent |\n| --- | --- | --- | --- |")
    for kind in kinds:
        for error_mm in errors_mm:
            short = [one for n in counts for one in cell(kind, n, error_mm, parts, "host") if not one.goes_on]
            told = sum(one.verdict == DOES_NOT_FIT for one in short)
            most = np.mean([power for n in counts for power in powers(kind, n, error_mm, parts)])
            print(f"| {kind}, {error_mm:g} | {len(short)} | {told} | {100 * most:.0f} |", flush=True)


def powers(kind: str, count: int, error_mm: float, parts: int) -> list[float]:
    """Of each part that really is short: how often the best test would tell it from the nearest that goes on."""
    draw = np.random.default_rng([KINDS.index(kind), count, 3])
    plate, found = PLATE[:count], []
    spread = np.eye(2 * count) * error_mm**2 / 3.0
    reach = Reach(np.full(count, PLAY_MM), np.zeros((count, 0, 2)), np.zeros((count, 0)))
    for _ in range(10 * parts):
        of = discrepancies(plate, donor_of(kind, plate, error_mm, draw), spread, spread, np.eye(2))
        off = float(np.sqrt(nearest_that_goes_on(of, reach, of.y_mm[None])[1][0]))
        found += [NormalDist().cdf(off - NormalDist().inv_cdf(0.95))] if off > 0.0 else []
    return found


def seldom(draw: np.random.Generator, plate: np.ndarray) -> np.ndarray:
    """One in five of one drawing, the others with one hole 1.5 mm off."""
    return donor_of("same" if draw.random() < 0.2 else "one by 1.5", plate, 0.0, draw)


def of_every_kind(draw: np.random.Generator, plate: np.ndarray) -> np.ndarray:
    """A donor of the kinds of the tables, each as often."""
    return donor_of(str(draw.choice(KINDS)), plate, 0.5, draw)


def by_one_to_six(draw: np.random.Generator, plate: np.ndarray) -> np.ndarray:
    """Half of one drawing; of the others one hole or two stand elsewhere, by 1 to 6 mm, each amount as likely."""
    made = donor_of("same", plate, 0.0, draw)
    if draw.random() < 0.5:
        moved = draw.permutation(len(plate))[: int(draw.integers(1, 3))]
        made[moved] += ways(draw, len(moved)) * draw.uniform(1.0, 6.0, (len(moved), 1))
    return made


# What of it is of one drawing is said in build.toml (`same_drawing`), or not said.
POPULATIONS: dict[str, tuple[Made, float | None]] = {
    "as stated": (lambda d, p: made_of(d, p, 0.5), None),
    "a third of one drawing": (lambda d, p: made_of(d, p, 1 / 3), None),
    "two thirds of one drawing": (lambda d, p: made_of(d, p, 2 / 3), None),
    "one in five of one drawing, and build.toml says so": (lambda d, p: made_of(d, p, 0.2), 0.2),
    "never more than one hole elsewhere": (lambda d, p: made_of(d, p, 0.5, only=0), None),
    "one hole or two elsewhere by 1 to 6 mm": (by_one_to_six, None),
    "a scatter of 0.2 mm": (lambda d, p: made_of(d, p, 0.5) + d.normal(0.0, 0.17, p.shape), None),
    "the nine kinds above, each as often": (of_every_kind, None),
    "one in five of one drawing, else one hole off by 1.5": (seldom, None),
    "the same, and build.toml says so": (seldom, 0.2),
    "every hole anywhere in twice its play": (lambda d, p: p + d.uniform(-2 * PLAY_MM, 2 * PLAY_MM, p.shape), None),
}


def calibrated(parts: int, names: list[str]) -> None:
    """Print the expected calibration error in populations, and that of chances that are exactly right."""
    print("| population | parts | said | happened | error | of right chances |" + "\n" + "| --- " * 6 + "|")
    for number, (name, (made, one_drawing)) in enumerate(POPULATIONS.items()):
        if name not in names:
            continue
        draw = np.random.default_rng([number, 7, 0])
        said = []
        for _ in range(parts):
            plate = PLATE[: int(draw.integers(4, 9))]
            error_mm = float(draw.choice([0.25, 0.5, 1.0]))
            sheet, short_mm = sheets(plate, made(draw, plate), error_mm, draw, "host")
            said.append(told(sheet, short_mm, one_drawing))
        chances = np.array([one.chance for one in said])
        came = np.array([one.goes_on for one in said], dtype=float)
        luck = np.mean([calibration(chances, draw.random(parts) < chances)[0] for _ in range(200)])
        error, _ = calibration(chances, came)
        print(f"| {name} | {parts} | {chances.mean():.2f} | {came.mean():.2f} | {error:.3f} | {luck:.3f} |", flush=True)


def main() -> None:
    """Print the tables."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--parts", type=int, default=60)
    asked.add_argument("--holes", type=int, nargs="*", default=[3, 4, 6, 8, 12])
    asked.add_argument("--errors", type=float, nargs="*", default=[0.1, 0.25, 0.5, 1.0, 2.0])
    asked.add_argument("--how", nargs="*", default=list(HOW))
    asked.add_argument("--kinds", nargs="*", default=list(KINDS))
    asked.add_argument("--same-drawing", type=float, help="as in build.toml")
    asked.add_argument("--calibration", nargs="*", choices=POPULATIONS, help="of these, or of all")
    asked.add_argument("--found-out", action="store_true")
    told = asked.parse_args()
    if told.calibration is not None:
        calibrated(told.parts, told.calibration or list(POPULATIONS))
    elif told.found_out:
        found_out(told.holes, told.errors, told.kinds, told.parts)
    else:
        tables(told.holes, told.errors, told.how, told.kinds, told.parts, told.same_drawing)


if __name__ == "__main__":
    main()
