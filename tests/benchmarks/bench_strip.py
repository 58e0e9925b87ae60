"""Getting a part out: time to the cheapest plan, and whether it was proved.

Kind vehicle: regions with frames under brackets under trim, a loom in each (tests/strip/invented.py, seeded and
invented). Kind tangled: what is in the way is drawn almost at random, far worse than any vehicle; there the
search may stop at its limit of branches and states the gap.

Run: python tests/benchmarks/bench_strip.py [seeds]
"""

from __future__ import annotations

import platform
import statistics
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from partkin.strip.plan import plan
from strip.invented import tangled_build, vehicle_build

# (kind, parts, fasteners, processor seconds that each has to be within, share of the seeds)
ROUNDS = (
    ("vehicle", 60, 200, 3.0, 1.0), ("vehicle", 200, 800, 60.0, 0.4), ("tangled", 60, 200, None, 0.2),
    ("tangled", 200, 800, 60.0, 0.3),
)  # fmt: skip
BUILDS = {"vehicle": vehicle_build, "tangled": tangled_build}


def main(seeds: int = 20) -> int:
    """Print one line a round; return how many plans took longer than they may, or lacked proof where it is due."""
    print(f"{platform.machine()}, Python {platform.python_version()}, {seeds} seeds, one plan each")
    missed = 0
    for kind, parts, fasteners, limit_s, share in ROUNDS:
        seconds, processor, gaps, undone, none = [], [], [], [], 0
        for seed in range(max(1, round(seeds * share))):
            build = BUILDS[kind](seed, parts, fasteners)
            wall, cpu = time.perf_counter(), time.process_time()
            found = plan(build, f"p{(7 * seed) % (parts // 2)}")
            seconds.append(time.perf_counter() - wall)
            processor.append(time.process_time() - cpu)
            if not found:
                none += 1
                continue
            gaps.append(found.gap)
            undone.append(len(found.undone))
            missed += limit_s is not None and (processor[-1] > limit_s or (limit_s <= 3.0 and not found.proved))
        proved = f"proved {sum(gap == 0 for gap in gaps)} of {len(gaps)}, worst gap {max(gaps, default=0.0):.1%}"
        print(
            f"{kind} {parts} parts, {fasteners} fasteners: median {statistics.median(seconds):.2f} s, "
            f"worst {max(seconds):.2f} s (processor {statistics.median(processor):.2f} and {max(processor):.2f} s); "
            f"{proved}; undone {min(undone, default=0)} to {max(undone, default=0)}; {none} can never come off"
        )
    return missed


if __name__ == "__main__":
    sys.exit(min(1, main(*map(int, sys.argv[1:2]))))
