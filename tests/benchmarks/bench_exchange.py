"""Take in 100,000 triples, and export them again. Run: python tests/benchmarks/bench_exchange.py

Aimed at: import within 10 s and 500 MB. The file is over the limit up to which the shapes are asked, so the sheets'
own checks alone stand; a second file just under that limit shows what the shapes take.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from partkin.commands import exchanging
from partkin.graph import export_turtle
from partkin.graph.statements import ntriples
from partkin.model.build import Build, Feature, Part, Reading

HOLES = 8


def many_parts(count: int) -> Build:
    """An invented host and `count` donors, each of eight holes and eight readings."""
    names = [f"p{n:04d}" for n in range(count)]
    made = {"origin": "donor", "takes_place_of": "host", "duty": "trim", "airbag": False, "material": "ABS"}
    parts = [Part(name, **made) for name in names]
    features = [
        Feature(name, f"a{k}", "hole", across_mm=6.5, x_mm=k * 10.5, y_mm=k * k * 1.25, plus_minus_mm=0.5)
        for name in names for k in range(HOLES)
    ]  # fmt: skip
    readings = [
        Reading(
            name, f"r{k}", "centres", 10.5, "mm", f"a{k}", f"a{(k + 1) % HOLES}", 0.5, "tape", "someone", "2026-01-02",
        )
        for name in names for k in range(HOLES)
    ]  # fmt: skip
    return Build(
        parts=(Part("host", origin="host", duty="body"), *parts), features=tuple(features), readings=tuple(readings)
    )


def take_in(file: Path, folder: Path) -> None:
    """Print what one import takes, as a process of its own."""
    begun = time.perf_counter()
    taking, _ = exchanging.take_in(file, folder)
    seconds = time.perf_counter() - begun
    megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    rows = sum(map(len, taking.rows.values()))
    print(f"  import  {seconds:6.2f} s  {megabytes:6.0f} MB  {rows} rows")


def main() -> None:
    """Print the times."""
    if len(sys.argv) == 3:
        take_in(Path(sys.argv[1]), Path(sys.argv[2]))
        return
    for count in (109, 560):
        build = many_parts(count)
        with tempfile.TemporaryDirectory() as temporary:
            file = Path(temporary) / "build.ttl"
            begun = time.perf_counter()
            file.write_text(export_turtle(build), encoding="utf-8")
            print(f"{ntriples(build).count(chr(10))} triples, export {time.perf_counter() - begun:.2f} s")
            sys.stdout.flush()
            subprocess.run([sys.executable, __file__, str(file), str(Path(temporary) / "in")], check=True)


if __name__ == "__main__":
    main()
