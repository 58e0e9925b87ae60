"""Adjusting a distance network against scipy, and ranking the next reading against refitting for each.

Both adjustments start from the same places, a few millimetres off, and end at the same chi-square;
scipy.optimize.least_squares gets the same analytic Jacobian. Refitting adjusts the network again with each
candidate reading in turn.

Run: python tests/benchmarks/bench_positions.py
"""

from __future__ import annotations

import platform
import statistics
import time
from collections.abc import Callable
from itertools import combinations

import numpy as np
from scipy.optimize import least_squares

from partkin.model.build import Feature, Reading
from partkin.positions import adjust
from partkin.positions.adjusting import of_part
from partkin.positions.network import Network, jacobian, solve
from partkin.positions.next_reading import Candidate, spread_drops

SEEDS = range(7)
POINTS, READINGS = 20, 60
FASTER_THAN_SCIPY = 2.0
FASTER_THAN_REFITTING = 500.0


def survey(seed: int) -> tuple[np.ndarray, Network]:
    """20 invented features over 900 mm, 60 distances read within 0.5 mm."""
    draw = np.random.default_rng(seed)
    points = draw.uniform(0.0, 900.0, (POINTS, 2))
    pairs = np.array(list(combinations(range(POINTS), 2)))
    edges = pairs[np.sort(draw.permutation(len(pairs))[:READINGS])]
    length = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
    sigma = np.full(READINGS, 0.5 / np.sqrt(3.0))
    free = np.full_like(points, np.nan)
    return points, Network(edges, length + draw.normal(0.0, sigma), sigma, free, np.zeros_like(points))


def sheets(network: Network) -> tuple[list[Feature], list[Reading]]:
    """The same network as rows of a build."""
    rows = [Feature("p", f"f{at}", "hole") for at in range(POINTS)]
    read = [
        Reading("p", f"r{at}", "centres", float(length), "mm", f"f{a}", f"f{b}", plus_minus=0.5)
        for at, ((a, b), length) in enumerate(zip(network.edges, network.length_mm, strict=True))
    ]
    return rows, read


def milliseconds(call: Callable[[], object], runs: int = 9) -> float:
    call()
    taken = []
    for _ in range(runs):
        begun = time.perf_counter()
        call()
        taken.append(1000.0 * (time.perf_counter() - begun))
    return statistics.median(taken)


def by_scipy(network: Network, start_mm: np.ndarray, analytic: bool) -> float:
    shape = start_mm.shape

    def miss(flat: np.ndarray) -> np.ndarray:
        return jacobian(network, flat.reshape(shape))[1]

    def slope(flat: np.ndarray) -> np.ndarray:
        return -jacobian(network, flat.reshape(shape))[0]

    return 2.0 * least_squares(miss, start_mm.ravel(), slope if analytic else "2-point").cost


def adjusting() -> tuple[float, float, float]:
    """Milliseconds: ours with covariance and redundancy, scipy's analytic and numeric without them."""
    taken = []
    for seed in SEEDS:
        points, network = survey(seed)
        start_mm = points + np.random.default_rng(seed).normal(0.0, 3.0, points.shape)
        ours, theirs = solve(network, start_mm).chi_square, by_scipy(network, start_mm, analytic=True)
        assert abs(ours - theirs) < 1e-6 * ours, (seed, ours, theirs)
        taken.append(
            (
                milliseconds(lambda n=network, s=start_mm: solve(n, s)),
                milliseconds(lambda n=network, s=start_mm: by_scipy(n, s, True)),
                milliseconds(lambda n=network, s=start_mm: by_scipy(n, s, False), runs=3),
            )
        )
    ours, analytic, numeric = (statistics.median(column) for column in zip(*taken, strict=True))
    return ours, analytic, numeric


def starting() -> float:
    """Milliseconds of a whole adjustment from readings alone, start values and suspects included."""
    rows, read = sheets(survey(0)[1])
    return milliseconds(lambda: of_part.__wrapped__("p", tuple(rows), tuple(read)), runs=5)


def ranking() -> tuple[float, float, int]:
    """Milliseconds to rank every distance not yet read: by rank-one updates, and by refitting for each."""
    network = survey(0)[1]
    rows, read = sheets(network)
    found = adjust("p", rows, read)
    # Plays of 1 to 2.5 mm, invented.
    weight = 1.0 / np.random.default_rng(5).choice((1.0, 1.5, 2.0, 2.5), POINTS)
    taken = {tuple(edge) for edge in network.edges.tolist()}
    pairs = [pair for pair in combinations(range(POINTS), 2) if pair not in taken]
    asked = [Candidate("p", f"f{a}", f"f{b}", 0.3) for a, b in pairs]
    fast = milliseconds(lambda: spread_drops(found, weight, asked))

    def spread(covariance_mm2: np.ndarray) -> float:
        return float(np.repeat(weight**2, 2) @ np.diagonal(covariance_mm2))

    before = spread(found.covariance_mm2)

    def refit() -> list[float]:
        drops = []
        for a, b in pairs:
            longer = Network(
                np.vstack([network.edges, [a, b]]),
                np.append(network.length_mm, np.linalg.norm(found.xyz_mm[a] - found.xyz_mm[b])),
                np.append(network.sigma_mm, 0.3),
                network.seen_mm,
                network.seen_sigma_mm,
            )
            drops.append(before - spread(solve(longer, found.xyz_mm).covariance_mm2))
        return drops

    drops, slow_drops = spread_drops(found, weight, asked), refit()
    assert int(np.argmax(drops)) == int(np.argmax(slow_drops))
    assert np.allclose(drops, slow_drops, rtol=0.01, atol=1e-6)
    return fast, milliseconds(refit, runs=3), len(pairs)


def main() -> None:
    print(f"{platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}")
    ours, analytic, numeric = adjusting()
    print(f"adjusting {POINTS} features by {READINGS} distances, from 3 mm off, medians of {len(SEEDS)} networks:")
    print(f"  partkin, with covariance and redundancy   {ours:8.2f} ms")
    print(f"  scipy least_squares, analytic Jacobian    {analytic:8.2f} ms   {analytic / ours:.1f} times as long")
    print(f"  scipy least_squares, numeric Jacobian     {numeric:8.2f} ms   {numeric / ours:.1f} times as long")
    print(f"  partkin, from readings without a start    {starting():8.2f} ms")
    fast, slow, count = ranking()
    print(f"ranking {count} readings that could be taken next:")
    print(f"  rank-one updates                          {fast:8.3f} ms")
    print(f"  refitting for each                        {slow:8.1f} ms   {slow / fast:.0f} times as long")
    assert analytic / ours >= FASTER_THAN_SCIPY, "adjusting is less than twice as fast as scipy"
    assert slow / fast >= FASTER_THAN_REFITTING, "ranking is less than 500 times as fast as refitting"


if __name__ == "__main__":
    main()
