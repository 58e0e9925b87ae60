"""How few readings a verdict takes, how good the stated chance is, and whether what a reading is said to mean holds.

All builds are invented (tests/measuring/simulated.py). `--builds` and `--cases` make it shorter; `--svg FILE` draws the
calibration.

Run: python tests/benchmarks/bench_measuring.py
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from measuring.simulated import (
    Story,
    Truth,
    anyhow,
    build,
    calibration,
    judged,
    measured,
    measured_from_nothing,
    open_builds,
    promised,
    said_and_happened,
    trial_of,
)
from partkin import next_readings
from partkin.model.drawing import CalibrationBin, CalibrationPlot

HALF = 0.5
CALIBRATED_WITHIN = 0.02
KEPT = 0.95
CHECK_MS = 100.0
WAYS = {
    "verdict": "as measure-next ranks them",
    "coordinates": "the one that shrinks the coordinates most (A-optimal)",
    "sheet": "in the order of the sheet",
}


def until_settled(count: int) -> dict[str, list[Story]]:
    """Every way of choosing the next reading, on the same builds with the same readings."""
    builds = open_builds(count)
    return {way: [measured(truth, way) for truth in builds] for way in WAYS}


def tell_readings(stories: dict[str, list[Story]]) -> None:
    reachable = [at for at, one in enumerate(stories["sheet"]) if one.readings is not None]
    total = len(stories["sheet"])
    print(f"readings until the verdict is settled, of all pairs of donor holes ({total} builds, 4 to 9 fixings,")
    print("verdict open at the start; places to 1 mm on the donor, 0.5 mm on the host; bench tools)")
    print(f"all pairs together settle {len(reachable)} of them; shares there, then over all (1 where not settled)")
    for way, words in WAYS.items():
        told = stories[way]
        shares = [told[at].share for at in reachable]
        cuts = np.quantile(shares, [0.1, 0.25, 0.5, 0.75, 0.9])
        half = statistics.mean(share <= HALF for share in shares)
        everything = statistics.mean(one.share for one in told)
        count = statistics.mean(told[at].share * told[at].all_pairs for at in reachable)
        print(f"  {words}")
        print(f"    mean {statistics.mean(shares):.3f} ({count:.1f} readings), over all {everything:.3f}")
        print("    10, 25, 50, 75, 90 % of builds: " + ", ".join(f"{cut:.2f}" for cut in cuts))
        print(f"    at most half: {half:.0%} of builds; wrong verdicts {sum(one.wrong for one in told)}")


def tell_from_nothing(count: int) -> list[Story]:
    told = [measured_from_nothing(build(seed)) for seed in range(count)]
    reached = [one for one in told if one.readings is not None]
    print(f"from a bare donor, nothing but what the verdict asks for first ({count} builds)")
    print(f"  settled {len(reached)}, mean share of all pairs {statistics.mean(one.share for one in reached):.2f}; "
          f"wrong {sum(one.wrong for one in told)}")  # fmt: skip
    return told


def tell_calibration(cases: int, alike: bool) -> tuple[float, list[tuple[int, float, float]]]:
    told = [said_and_happened(anyhow(seed, alike=alike)) for seed in range(cases)]
    error, rows = calibration(np.array([chance for chance, _ in told]), np.array([came for _, came in told]))
    kind = "departures of 1 mm, nearly all go on" if alike else "departures spread evenly beyond play and readings"
    print(f"stated chance against what happened ({cases} builds, {kind})")
    print(f"  expected calibration error {error:.4f}")
    print("  chance said   builds   mean said   went on")
    for at, (count, said, came) in enumerate(rows):
        print(f"  {at / 10:.1f} to {(at + 1) / 10:.1f}   {count:8d}   {said:9.3f}   {came:7.3f}")
    return error, rows


def tell_promises(count: int) -> float:
    kept = [promised(truth) for truth in open_builds(count)]
    tried = sum(one for one, _ in kept)
    held = sum(other for _, other in kept)
    print(f"values that are said to mean something: {tried} tried, {held / tried:.1%} came out as said")
    return held / tried


def tell_coarse(count: int) -> None:
    print(f"sister parts that all but match, places of donor read to, host to 0.5 mm ({count} builds each)")
    print("  read to    does not fit   and not warned of")
    for rough_mm in (0.3, 0.5, 1.0, 2.0, 4.0):
        said = warned = 0
        for seed in range(count):
            truth = build(seed, rough_mm=rough_mm, sisters=1.0)
            findings, places = judged(truth.known)
            if truth.goes_on and trial_of(findings).stand == "does not":
                said += 1
                warned += bool(next_readings.open_readings(findings, places))
        print(f"  {rough_mm:4.1f} mm    {said / count:12.0%}   {(said - warned) / count:17.0%}")


def ask_ms(truths: Sequence[Truth]) -> float:
    """Median time of the three readings that a check names, in ms of this process."""
    taken = []
    for truth in truths:
        findings, places = judged(truth.known)
        next_readings.open_readings(findings, places)
        begun = time.process_time()
        next_readings.open_readings(findings, places)
        taken.append(1000.0 * (time.process_time() - begun))
    return statistics.median(taken)


def draw(rows: list[tuple[int, float, float]], file: Path) -> None:
    from partkin.report.plots import calibration_picture
    from partkin.report.svg import picture_svg

    bins = tuple(
        CalibrationBin(at / 10, (at + 1) / 10, count, round(count * came)) for at, (count, _, came) in enumerate(rows)
    )
    file.write_text(picture_svg(calibration_picture(CalibrationPlot(bins))), encoding="utf-8", newline="\n")


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--builds", type=int, default=200)
    asked.add_argument("--cases", type=int, default=2000)
    asked.add_argument("--svg", type=Path)
    options = asked.parse_args()
    stories = until_settled(options.builds)
    tell_readings(stories)
    tell_from_nothing(max(10, options.builds // 4))
    error, rows = tell_calibration(options.cases, alike=False)
    tell_calibration(max(10, options.cases // 4), alike=True)
    if options.svg is not None:
        draw(rows, options.svg)
    kept = tell_promises(max(10, options.builds // 2))
    tell_coarse(max(10, options.builds // 2))
    spent_ms = ask_ms(open_builds(20))
    print(f"the readings that a check names: {spent_ms:.0f} ms")
    share = statistics.mean(one.share for one in stories["verdict"])
    assert share <= HALF, "more than half of the readings that all pairs take"
    assert share <= min(statistics.mean(one.share for one in stories[way]) for way in ("coordinates", "sheet"))
    assert error <= CALIBRATED_WITHIN, "the stated chance is not calibrated"
    assert kept >= KEPT, "values do not mean what they are said to mean"
    assert spent_ms < CHECK_MS, "naming the next readings takes too long for a check"


if __name__ == "__main__":
    main()
