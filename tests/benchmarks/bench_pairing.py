"""Pairing a donor on its host without being told which hole goes where, against a maximum-weight clique.

The clique method makes a graph of all pairs (fixing, hole), joins those whose distances agree, and takes the
largest clique (networkx.max_weight_clique). It gives pairs whose distances agree two by two, and no
placement; `solve` gives the placement, its margin, and how many other pairings are as good.

Run: python tests/benchmarks/bench_pairing.py
"""

from __future__ import annotations

import platform
import statistics
import time
from collections.abc import Callable

import networkx
import numpy as np

from partkin.fit.solve import solve
from partkin.model.fitting import FitTask, Option, Spot

PLAY_MM = 0.5
COUNT = 40
PANEL_MM = (600.0, 400.0)
# (holes in common, must all fixings be paired, how many times faster it has to be)
ROUNDS = ((40, True, 50.0), (20, False, 2.0))
SEEDS = range(5)


def pattern(seed: int, common: int, all_must: bool) -> FitTask:
    """40 fixings and 40 holes on a panel, of which `common` match to 0.2 mm; the rest are elsewhere."""
    draw = np.random.default_rng(seed)
    donor = draw.uniform(0, PANEL_MM, (COUNT, 2))
    turn = draw.uniform(-np.pi, np.pi)
    c, s = np.cos(turn), np.sin(turn)
    host = donor @ np.array([[c, s], [-s, c]]) + (30.0, 40.0)
    donor = donor + draw.uniform(-0.2, 0.2, donor.shape)
    donor[common:] = draw.uniform(0, PANEL_MM, (COUNT - common, 2))
    donor = donor[draw.permutation(COUNT)]
    fixings = tuple(
        Spot(f"F{k:02d}", (float(x), float(y)), must=all_must, should=not all_must) for k, (x, y) in enumerate(host)
    )
    features = tuple(Spot(f"d{k:02d}", (float(x), float(y)), must=False, should=True) for k, (x, y) in enumerate(donor))
    return FitTask(fixings, features, tuple(Option(f.id, d.id, PLAY_MM) for f in fixings for d in features))


def clique(task: FitTask) -> int:
    """Number of pairs in the largest clique."""
    host = np.array([complex(*spot.at_mm) for spot in task.fixings])
    donor = np.array([complex(*spot.at_mm) for spot in task.features])
    host_mm, donor_mm = np.abs(np.subtract.outer(host, host)), np.abs(np.subtract.outer(donor, donor))
    agree = np.abs(host_mm[:, None, :, None] - donor_mm[None, :, None, :]) <= 2 * PLAY_MM
    i, j, k, m = np.nonzero(agree)
    keep = (i < k) & (j != m)
    graph = networkx.Graph()
    graph.add_nodes_from(range(len(host) * len(donor)))
    ends = (i * len(donor) + j)[keep].tolist(), (k * len(donor) + m)[keep].tolist()
    graph.add_edges_from(zip(*ends, strict=True))
    return len(networkx.max_weight_clique(graph, weight=None)[0])


def seconds(work: Callable[[], object], times: int) -> float:
    """Least time of a few runs."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def measure() -> list[tuple[str, float, float, float, float]]:
    """Rows of (what, ours in ms, clique in ms, ratio, ratio to reach): medians over the seeds."""
    rows = []
    for common, all_must, reach in ROUNDS:
        ours, theirs = [], []
        for seed in SEEDS:
            task = pattern(seed, common, all_must)
            answer = solve(task)
            if not answer.fits or len(answer.pairs) < common or clique(task) < len(answer.pairs):
                raise AssertionError(f"seed {seed}: the pattern was not found")
            ours.append(seconds(lambda task=task: solve(task), 5))
            theirs.append(seconds(lambda task=task: clique(task), 2))
        mine, other = statistics.median(ours) * 1e3, statistics.median(theirs) * 1e3
        rows.append((f"{COUNT} on {COUNT}, {common} in common", mine, other, other / mine, reach))
    return rows


def main() -> int:
    """Print the table; 1 where a ratio is not reached."""
    print(f"{platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}")
    reached = True
    for what, mine, other, ratio, reach in measure():
        reached &= ratio >= reach
        print(f"{what}: {mine:.1f} ms, clique {other:.0f} ms, {ratio:.0f}x (to reach: {reach:g}x)")
    return 0 if reached else 1


if __name__ == "__main__":
    raise SystemExit(main())
