"""How long the commands take as whole processes, beside what Python and its libraries take by themselves.

Run: python tests/benchmarks/bench_commands.py
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

RUNS = 7
PARTKIN = str(Path(sys.executable).with_name("partkin"))


def seconds(command: list[str], runs: int = RUNS) -> float:
    """Median wall time of a command."""
    taken = []
    for _ in range(runs):
        begun = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        taken.append(time.perf_counter() - begun)
    return statistics.median(taken)


def warm_check_ms(folder: str) -> float:
    """Median time of a check through the API, sheets read already."""
    import partkin
    from partkin.positions.adjusting import of_part

    build = partkin.load_build(folder)
    partkin.check(build, "top-kurm")
    taken = []
    for _ in range(20):
        of_part.cache_clear()
        begun = time.perf_counter()
        partkin.check(build, "top-kurm")
        taken.append(1000 * (time.perf_counter() - begun))
    return statistics.median(taken)


def main() -> None:
    """Print the table."""
    # An installed program keeps its bytecode, whatever the shell of this run says.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    with tempfile.TemporaryDirectory() as folder:
        demo = f"{folder}/demo"
        subprocess.run([PARTKIN, "demo", demo], check=True, capture_output=True)
        rows = [
            ("python -c pass", [sys.executable, "-c", "pass"]),
            ("python -c 'import typer'", [sys.executable, "-c", "import typer"]),
            ("python -c 'import numpy, pyoxigraph'", [sys.executable, "-c", "import numpy, pyoxigraph"]),
            ("partkin --help", [PARTKIN, "--help"]),
            ("partkin check top-kurm", [PARTKIN, "check", "top-kurm", "--in", demo]),
            ("partkin check top-dask", [PARTKIN, "check", "top-dask", "--in", demo]),
            ("partkin why top-kurm", [PARTKIN, "why", "top-kurm", "--in", demo]),
            ("partkin why top-kurm --not", [PARTKIN, "why", "top-kurm", "--not", "--in", demo]),
            ("partkin rank --for dash-frame", [PARTKIN, "rank", "--for", "dash-frame", "--in", demo]),
            ("partkin demo", [PARTKIN, "demo", demo]),
        ]
        for name, command in rows:
            print(f"{name:<40} {seconds(command):6.2f} s")
        largest_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        print(f"{'largest process of these':<40} {largest_mb:6.0f} MB")
        print(f"{'a warm check through the API':<40} {warm_check_ms(demo):6.1f} ms")


if __name__ == "__main__":
    main()
