"""Placing a donor in space: one placement, a verdict with its proof, a batch of draws, and a pairing to be found.

Against sequential second-order cones by cvxpy + clarabel (tests/fit/space_reference.py), which places known
pairs from one start and proves nothing.

Run: python tests/benchmarks/bench_space.py
"""

from __future__ import annotations

import platform
import statistics
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "fit"))

from space_reference import reference
from space_tasks import random_known, random_open

from partkin.fit.arrays import Pairs
from partkin.fit.solve import solve
from partkin.fit.space_minimax import SpaceScatter, best_in_space
from partkin.model.fitting import FitTask

SEEDS = range(200)
PLACE_WITHIN_MS = 50.0
DRAWS = 128


def pairs_of(task: FitTask) -> Pairs:
    """Known pairs as arrays."""
    return Pairs.of(task, [(option.fixing, option.feature) for option in task.options])


def cpu_ms(work: Callable[[], object]) -> float:
    """Processor time of one run, in milliseconds."""
    start = time.process_time()
    work()
    return (time.process_time() - start) * 1e3


def known(count: int, cases: int = 24) -> list[FitTask]:
    """Tasks with this many fixings and their pairing given."""
    found = [task for task in map(random_known, SEEDS) if len(task.fixings) == count]
    return found[:cases]


def placements() -> bool:
    """One placement of 6, 7 and 8 fixings."""
    good = True
    for count in (6, 7, 8):
        tasks = [pairs_of(task) for task in known(count)]
        spent = [cpu_ms(lambda pairs=pairs: best_in_space(pairs)) for pairs in tasks]
        median = statistics.median(spent)
        good &= median <= PLACE_WITHIN_MS
        print(f"placement, {count} fixings: median {median:.1f} ms, slowest {max(spent):.1f} ms of {len(spent)}")
    return good


def against_cones() -> bool:
    """The same placements by cvxpy, from one start."""
    ours, theirs = [], []
    for task in known(7, 6):
        pairs = pairs_of(task)
        ours.append(cpu_ms(lambda: best_in_space(pairs)))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            theirs.append(cpu_ms(lambda: reference(task, starts=1)))
    ratio = statistics.median(theirs) / statistics.median(ours)
    print(f"cvxpy + clarabel from one start: median {statistics.median(theirs):.0f} ms, {ratio:.0f} times as long")
    return ratio > 1.5


def verdicts() -> None:
    """Fits and conflicts, these with a proof over every rotation."""
    spent: dict[str, list[float]] = {"fits": [], "does not": []}
    pieces, open_still = [], 0
    for task in (random_known(seed) for seed in range(100)):
        answers = []
        took = cpu_ms(lambda: answers.append(solve(task)))
        spent["fits" if answers[0].fits else "does not"].append(took)
        open_still += answers[0].fits is None
        if answers[0].conflict:
            pieces += [len(nogood.pieces) for nogood in answers[0].conflict.nogoods]
    for word, times in spent.items():
        print(f"{word}: median {statistics.median(times):.0f} ms, slowest {max(times):.0f} ms of {len(times)}")
    print(
        f"proofs: {len(pieces)} over every rotation, median {statistics.median(pieces):.0f} and at most {max(pieces)} "
        f"boxes; {open_still} undecided"
    )


def draws() -> None:
    """A batch of draws of 6 and 8 fixings."""
    draw = np.random.default_rng(1)
    for count in (6, 8):
        spent = []
        for nominal in map(pairs_of, known(count, 8)):
            p, q = (side + draw.uniform(-0.3, 0.3, (DRAWS, count, 3)) for side in (nominal.p, nominal.q))
            rho = np.broadcast_to(nominal.rho, (DRAWS, count))
            spent.append(cpu_ms(lambda n=nominal, q=q, p=p, rho=rho: SpaceScatter(n).fits(q, p, rho)) / DRAWS)
        print(f"draws, {count} fixings: median {statistics.median(spent):.2f} ms a draw")


def pairings() -> None:
    """Pairings to be found, of 8 fixings and 8 features."""
    spent = [cpu_ms(lambda task=random_open(seed, 8, 8): solve(task)) for seed in range(12)]
    print(f"pairing 8 on 8: median {statistics.median(spent):.0f} ms, slowest {max(spent):.0f} ms of {len(spent)}")


def main() -> int:
    """Print the figures; 1 where a placement takes longer than it may."""
    print(f"processor time, one process, {platform.machine()}, Python {platform.python_version()}")
    good = placements() & against_cones()
    verdicts()
    draws()
    pairings()
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())
