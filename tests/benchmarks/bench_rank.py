"""Rank 50 donors with full checks, and tell why. Run: python tests/benchmarks/bench_rank.py"""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from dataclasses import replace

from builders import studs
from partkin import explaining, ranking
from partkin.model.build import Build, Feature, Offer, Part, Settings

FIXINGS = [(0.0, 0.0), (420.0, 10.0), (830.0, 0.0), (1240.0, 20.0), (1250.0, 260.0), (640.0, 280.0), (30.0, 250.0)]
DONORS = 50


def many_donors(seed: int = 1) -> Build:
    """One host of seven studs and 50 donors of seven holes, read to 0.3 mm, a third of them out by a few mm."""
    dice = random.Random(seed)
    parts = [Part("host", origin="host", seen_from="outside", duty="body")]
    features = [replace(f, plus_minus_mm=0.3) for f in studs(FIXINGS)]
    offers = []
    for n in range(DONORS):
        name = f"d{n:02d}"
        off_mm = dice.choice([0.2, 0.2, 3.0])
        parts.append(Part(name, origin="donor", takes_place_of="host", seen_from="outside", duty="trim"))
        features += [
            Feature(
                name, f"a{k}", "hole", across_mm=8.5, x_mm=x + dice.gauss(0, off_mm), y_mm=y + dice.gauss(0, off_mm),
                plus_minus_mm=0.3,
            )
            for k, (x, y) in enumerate(FIXINGS)
        ]  # fmt: skip
        offers.append(Offer("donor", name, float(dice.randint(40, 300)), 20.0, available=True))
    settings = Settings(currency="EUR", labour_rate=40.0)
    return Build(settings, parts=tuple(parts), features=tuple(features), offers=tuple(offers))


def main() -> None:
    """Print the two times."""
    build = many_donors()
    begun = time.perf_counter()
    found = ranking.rank(build, "host")
    print(f"rank of {DONORS} donors with full checks  {time.perf_counter() - begun:6.2f} s")
    print(f"  {sum(way.ruled_out is None for way in found.ways)} of them go on")
    begun = time.perf_counter()
    explaining.explain(build, "d07")
    print(f"why, with what would change it            {time.perf_counter() - begun:6.2f} s")


if __name__ == "__main__":
    main()
