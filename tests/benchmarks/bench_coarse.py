"""How often coarse readings send the very same part away, and how often they still find a hole that is elsewhere.

All parts are invented. Every part is a plate of n holes of 7 mm on studs of 6 mm, host and donor read to plus or minus
the same figure (evenly within it). `--parts` makes it shorter.

Run: python tests/benchmarks/bench_coarse.py
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

import partkin
from builders import build, given, holes, studs
from partkin.model.build import Build

SPREAD = np.array([(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0), (150.0, 5.0), (140.0, 210.0)])
COARSE_MM = (0.3, 0.5, 1.0, 2.0, 3.0, 5.0)
ELSEWHERE = (2.0, 4.0, 6.0)
PLAY_MM = 0.5


def part(count: int, coarse_mm: float, draw: np.random.Generator, off_mm: float = 0.0, within: bool = False) -> Build:
    """One host and donor; `off_mm`: its third hole stands so far off; `within`: every hole anywhere within its play."""
    true = SPREAD[:count]
    there = true.copy()
    if within:
        way, far = draw.uniform(0.0, 2.0 * np.pi, count), PLAY_MM * np.sqrt(draw.uniform(0.0, 1.0, count))
        there = there + (far * np.stack([np.cos(way), np.sin(way)])).T
    there[2, 0] += off_mm
    host, donor = (side + draw.uniform(-coarse_mm, coarse_mm, true.shape) for side in (true, there))
    sides = studs(host.tolist()), given(holes(donor.tolist()))
    return build(*([replace(f, plus_minus_mm=coarse_mm) for f in side] for side in sides))


def sent_away(count: int, coarse_mm: float, parts: int, off_mm: float = 0.0, within: bool = False) -> float:
    """Share of parts of which it is said that they do not fit."""
    draw = np.random.default_rng([count, int(10 * coarse_mm), int(off_mm)])
    told = [partkin.check(part(count, coarse_mm, draw, off_mm, within), "donor").verdict for _ in range(parts)]
    return told.count("does not fit") / parts


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--parts", type=int, default=100)
    parts = asked.parse_args().parts
    head = ["identical", "within its play", *(f"a hole {times:g} x off" for times in ELSEWHERE)]
    print("| holes | read to +- | " + " | ".join(head) + " |")
    for count in (3, 4, 6):
        for coarse_mm in COARSE_MM:
            shares = [sent_away(count, coarse_mm, parts), sent_away(count, coarse_mm, parts, within=True)]
            shares += [
                sent_away(count, coarse_mm, parts, off_mm=2.0 * PLAY_MM + times * coarse_mm) for times in ELSEWHERE
            ]
            row = " | ".join(f"{share:.0%}" for share in shares)
            print(f"| {count} | {coarse_mm:g} mm | {row} |", flush=True)


if __name__ == "__main__":
    main()
