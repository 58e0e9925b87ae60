"""Rank 50 donors with full checks, and tell why. Run: python tests/benchmarks/bench_rank.py"""

from __future__ import annotations

import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from dataclasses import replace

import partkin
from builders import studs
from partkin.commands import explaining, ranking
from partkin.model.build import Build, Feature, Offer, Part, Settings

FIXINGS = [(0.0, 0.0), (420.0, 10.0), (830.0, 0.0), (1240.0, 20.0), (1250.0, 260.0), (640.0, 280.0), (30.0, 250.0)]
DONORS = 50
RUNS = 5


def many_donors(seed: int = 1) -> Build:
    """One host of seven studs and 50 donors of seven holes, read to 0.3 mm, a third of them out by a few mm."""
    dice = random.Random(seed)
    parts = [Part("host", origin="host", seen_from="outside", duty="body")]
    features = [replace(f, plus_minus_mm=0.3) for f in studs(FIXINGS)]
    offers = []
    for n in range(DONORS):
        name = f"d{n:02d}"
        off_mm = dice.choice([0.2, 0.2, 3.0])
        parts.append(Part(name, origin="donor", takes_place_of="host", seen_from="outside", duty="trim", airbag=False))
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


def measured(label: str, work: Callable[[], object]) -> object:
    """Print how long something takes: by the clock, and of processor time in this process and its children."""
    begun, before = time.perf_counter(), os.times()
    found = work()
    after = os.times()
    used = sum(after[:4]) - sum(before[:4])
    print(f"{label:<52}  {time.perf_counter() - begun:6.2f} s by the clock  {used:6.2f} s of processor time")
    return found


def commands(folder: Path) -> None:
    """Time `why` and `why --not` as whole processes, on donors of either kind of the demo build."""
    partkin = str(Path(sys.executable).with_name("partkin"))
    subprocess.run([partkin, "demo", str(folder)], check=True, capture_output=True)
    for donor in ("top-kurm", "top-dask"):
        for more in ([], ["--not"]):
            command = [partkin, "why", donor, *more, "--in", str(folder)]
            taken = []
            for _ in range(RUNS):
                before = os.times()
                subprocess.run(command, check=True, capture_output=True)
                after = os.times()
                taken.append((after[4] - before[4], after[2] + after[3] - before[2] - before[3]))
            clock, used = (statistics.median(column) for column in zip(*taken, strict=True))
            label = f"partkin why {donor} {' '.join(more)}"
            print(f"{label:<52}  {clock:6.2f} s by the clock  {used:6.2f} s of processor time")


def main() -> None:
    """Print the times, beside how busy the machine was."""
    # An installed program keeps its bytecode, whatever the shell of this run says.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} at the start")
    build = many_donors()
    found = measured(f"rank of {DONORS} donors with full checks", lambda: ranking.rank(build, "host"))
    words = Counter(way.verdict for way in found.ways)
    print("  " + ", ".join(f"{count} {word}" for word, count in sorted(words.items())))
    measured("why, through the API", lambda: partkin.check(build, "d07"))
    for donor in ("d07", next(way.part for way in found.ways if way.adaptation)):
        measured(f"why --not {donor}, through the API", lambda donor=donor: explaining.explain(build, donor))
    with tempfile.TemporaryDirectory() as folder:
        commands(Path(folder) / "demo")


if __name__ == "__main__":
    main()
