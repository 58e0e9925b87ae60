"""How often a donor is told to go on, left open or sent away, by what it really is: the tables of docs/verdicts.md.

All parts are invented: plates with holes of 7 mm on studs of 6 mm (play 0.5 mm), read evenly within plus or minus what
is stated. Of each, whether it really goes on is known. `--parts` of each kind and cell; `--calibration` draws parts as
the chance takes them to come about, and as it does not, and compares what was said with what happened.

Run: python tests/benchmarks/bench_chance.py
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

import partkin
from builders import build, given, holes, studs
from measuring.simulated import calibration
from partkin.fit.batch import batch_fits
from partkin.model.build import Build, Part, Reading
from partkin.tables import making

PLATE = np.array([
    (0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0), (150.0, 5.0), (140.0, 210.0), (60.0, 100.0), (240.0, 100.0),
    (400.0, 40.0), (420.0, 160.0), (200.0, 60.0), (100.0, 30.0),
])  # fmt: skip
PLAY_MM = 0.5
KINDS = ("same", "within", "edge", "one by 1.5", "one by 7 errors", "two by 1.5", "group by 1.5", "scaled", "another")
HOW = ("host", "original", "distances", "slots")


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
) -> tuple[Build, bool]:
    """The build as somebody would write it down, and whether the donor really goes on."""
    host = plate + (draw.normal(0.0, making().scatter_mm, plate.shape) if how == "original" else 0.0)
    shown = plate if how == "original" else host
    travel = np.where(np.arange(len(plate)) % 3 == 1, 1.5, 0.0) if how == "slots" else np.zeros(len(plate))
    east = np.tile([1.0, 0.0], (len(plate), 1))
    goes_on = bool(batch_fits(host[None], donor[None], np.full((1, len(plate)), PLAY_MM), s_d=travel, u_d=east)[0])
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
        return replace(build([], rows, extra=[original]), features=(*came_off, *rows)), goes_on
    made = build([replace(f, plus_minus_mm=error_mm) for f in studs(seen.tolist())], rows)
    if how != "distances":
        return made, goes_on
    rough = [replace(f, plus_minus_mm=25.0) if f.part == "donor" else f for f in made.features]
    tied = [
        Reading(
            "donor", f"r{a}.{b}", "centres", long_mm + float(draw.uniform(-error_mm, error_mm)), "mm", f"a{a + 1}",
            f"a{b + 1}", plus_minus=error_mm, instrument="tape",
        )
        for a, b in combinations(range(len(donor)), 2)
        for long_mm in [float(np.linalg.norm(donor[a] - donor[b]))]
    ]  # fmt: skip
    return replace(made, features=tuple(rough), readings=tuple(tied)), goes_on


def cell(kind: str, count: int, error_mm: float, parts: int, how: str) -> tuple[int, int, int, int, int]:
    """Of so many parts: bolts on, open, does not fit; sent away though it goes on, told to go on though it does not."""
    draw = np.random.default_rng([KINDS.index(kind), HOW.index(how), count, int(100 * error_mm)])
    yes = no = away = wrong = 0
    for _ in range(parts):
        made, goes_on = sheets(PLATE[:count], donor_of(kind, PLATE[:count], error_mm, draw), error_mm, draw, how)
        said = partkin.check(made, "donor", others=False).verdict
        yes += said == "bolts on"
        no += said == "does not fit"
        away += said == "does not fit" and goes_on
        wrong += said == "bolts on" and not goes_on
    return yes, parts - yes - no, no, away, wrong


def tables(counts: list[int], errors_mm: list[float], hows: list[str], parts: int) -> None:
    """Print what was said of each kind, in per cent, and which of it was wrong."""
    for how in hows:
        print(f"\n{how}: bolts on / open / does not fit, per cent (sent away though it goes on, or the other way)\n")
        print("| holes, read to | " + " | ".join(KINDS) + " |\n" + "| --- " * (len(KINDS) + 1) + "|")
        for count in counts:
            for error_mm in errors_mm:
                row = []
                for kind in KINDS:
                    yes, open_, no, away, wrong = cell(kind, count, error_mm, parts, how)
                    bad = f" ({away}, {wrong})" if away or wrong else ""
                    row.append("/".join(f"{100 * k / parts:.0f}" for k in (yes, open_, no)) + bad)
                print(f"| {count}, {error_mm:g} | " + " | ".join(row) + " |", flush=True)


def stated(draw: np.random.Generator, plate: np.ndarray) -> np.ndarray:
    """A donor as the chance takes parts to come about."""
    return made_of(draw, plate, 0.5)


def made_of(draw: np.random.Generator, plate: np.ndarray, one_drawing: float, only: int | None = None) -> np.ndarray:
    """A donor of one drawing so often; of the others one hole (`only` 0), two, a group or all are elsewhere."""
    how, n = making(), len(plate)
    made = plate + draw.normal(0.0, how.scatter_mm, plate.shape)
    if draw.random() < one_drawing:
        return made
    shares = np.array([how.one_hole, how.two_holes, how.group, how.all_holes])
    kind, spread = draw.choice(4, p=shares / shares.sum()), draw.choice(how.spreads_mm)
    kind = kind if only is None else only
    if kind == 2:
        near = np.argsort(np.linalg.norm(plate - plate[draw.integers(n)], axis=1))
        made[near[: int(draw.integers(2, n // 2 + 1))]] += draw.normal(0.0, spread, 2)
        return made
    moved = draw.permutation(n)[: (1, 2, 0, n)[kind]]
    made[moved] += draw.normal(0.0, spread, (len(moved), 2))
    return made


def calibrated(parts: int) -> None:
    """Print the expected calibration error in the stated population and in four others."""
    others = {
        "as stated": stated,
        "a third of one drawing": lambda d, p: made_of(d, p, 1 / 3),
        "two thirds of one drawing": lambda d, p: made_of(d, p, 2 / 3),
        "scatter of 0.2 mm": lambda d, p: stated(d, p) + d.normal(0.0, 0.17, p.shape),
        "never more than one hole elsewhere": lambda d, p: made_of(d, p, 0.5, only=0),
        "every hole anywhere in twice its play (nothing of what is taken for granted holds)": lambda d, p: (
            p + d.uniform(-2.0 * PLAY_MM, 2.0 * PLAY_MM, p.shape)
        ),
    }
    for name, made in others.items():
        draw = np.random.default_rng([len(name), 7])
        said, came = [], []
        for _ in range(parts):
            plate = PLATE[: int(draw.integers(4, 9))]
            error_mm = float(draw.choice([0.25, 0.5, 1.0]))
            sheet, goes_on = sheets(plate, made(draw, plate), error_mm, draw, "host")
            chance = partkin.check(sheet, "donor", others=False).chance
            said.append(chance.fits if chance is not None else 0.0)
            came.append(goes_on)
        error, _ = calibration(np.array(said), np.array(came, dtype=float))
        print(f"| {name} | {np.mean(said):.2f} | {np.mean(came):.2f} | {error:.3f} |", flush=True)


def main() -> None:
    """Print the tables."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--parts", type=int, default=60)
    asked.add_argument("--holes", type=int, nargs="*", default=[3, 4, 6, 8, 12])
    asked.add_argument("--errors", type=float, nargs="*", default=[0.1, 0.25, 0.5, 1.0, 2.0])
    asked.add_argument("--how", nargs="*", default=list(HOW))
    asked.add_argument("--calibration", action="store_true")
    told = asked.parse_args()
    if told.calibration:
        print("| population | said | happened | error |\n| --- | --- | --- | --- |")
        calibrated(told.parts)
    else:
        tables(told.holes, told.errors, told.how, told.parts)


if __name__ == "__main__":
    main()
