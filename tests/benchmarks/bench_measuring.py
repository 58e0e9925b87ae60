"""How few readings a verdict takes, how good the stated chance is, and whether what a reading is said to mean holds.

All builds are invented (tests/readings/simulated.py). `--builds` and `--cases` make it shorter; `--svg FILE` draws the
calibration; `--only` runs one part.

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

from partkin.model.drawing import CalibrationBin, CalibrationPlot
from partkin.readings import next_readings
from readings.simulated import (
    Story,
    Truth,
    anyhow,
    build,
    calibration,
    judged,
    measured,
    measured_from_nothing,
    near,
    near_builds,
    open_builds,
    promised,
    said_and_happened,
    trial_of,
)

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


def tell_from_nothing(count: int, holes: tuple[int, int]) -> float:
    """The mean share of all distances that it took to settle the verdict; looks are told beside."""
    told = [measured_from_nothing(build(seed, holes=holes)) for seed in range(count)]
    reached = [one for one in told if one.readings is not None]
    mean = statistics.mean(one.share for one in reached)
    print(f"from a bare donor, the first thing that is asked for each time ({count} builds, {holes[0]} to {holes[1]}")
    looks = statistics.mean(one.looks for one in reached)
    print(f"fixings; besides, what is left and right was looked at {looks:.1f} times)")
    cuts = np.quantile([one.share for one in reached], [0.1, 0.25, 0.5, 0.75, 0.9])
    print(f"  settled {len(reached)}, mean share of all pairs {mean:.3f}; over all (1 where not settled) "
          f"{statistics.mean(one.share for one in told):.3f}")  # fmt: skip
    print("  10, 25, 50, 75, 90 % of builds: " + ", ".join(f"{cut:.2f}" for cut in cuts))
    for word, true in (("fits", False), ("does not", True)):
        wrong = [one for one in reached if one.stand == word and one.wrong]
        print(f"  said {word!r}, and not so: {len(wrong)} of {sum(one.goes_on is true for one in reached)} such donors")
    print("  fixings  all pairs  least to tie all   goes on: builds, readings   does not: builds, readings")
    for n in range(holes[0], holes[1] + 1):
        pairs = n * (n - 1) // 2
        cells = []
        for stand in ("fits", "does not"):
            counts = [one.readings for one in reached if one.all_pairs == pairs and one.stand == stand]
            cells.append(f"{len(counts):8d}   {statistics.mean(counts):8.1f}" if counts else f"{0:8d}   {'':8}")
        print(f"  {n:7d}  {pairs:9d}  {2 * n - 3:16d}   {cells[0]:>26}   {cells[1]:>26}")
    return mean


def tell_calibration(kind: str, builds: Sequence[Truth]) -> tuple[float, list[tuple[int, float, float]]]:
    told = [said_and_happened(truth) for truth in builds]
    said, came = np.array([chance for chance, _ in told]), np.array([went for _, went in told])
    error, rows = calibration(said, came)
    draw = np.random.default_rng(1)
    floor = statistics.mean(calibration(said, draw.random(len(said)) < said)[0] for _ in range(200))
    print(f"stated chance against what happened ({len(builds)} builds, {kind})")
    print(f"  expected calibration error {error:.4f}; of chances that are exactly so, by the count alone {floor:.4f}")
    print(f"  mean said {said.mean():.3f}, went on {came.mean():.3f}; between 0.05 and 0.95: "
          f"{np.count_nonzero((said > 0.05) & (said < 0.95))}")  # fmt: skip
    print("  chance said   builds   mean said   went on")
    for at, (count, mean, share) in enumerate(rows):
        print(f"  {at / 10:.1f} to {(at + 1) / 10:.1f}   {count:8d}   {mean:9.3f}   {share:7.3f}")
    return error, rows


def tell_far(count: int) -> None:
    """Builds that the calibration leaves out."""
    told = [said_and_happened(truth) for truth in map(anyhow, range(count)) if not near(truth)]
    print(f"  builds read to be further off ({len(told)}): at most {max(chance for chance, _ in told):.3f} was said, "
          f"{sum(went for _, went in told)} went on")  # fmt: skip


def tell_promises(count: int) -> float:
    kept = [promised(truth) for truth in open_builds(count)]
    tried = sum(one for one, _ in kept)
    held = sum(other for _, other in kept)
    print(f"values that are said to mean something: {tried} tried, {held / tried:.1%} came out as said")
    return held / tried


def tell_coarse(count: int) -> None:
    print(f"sister parts that all but match and go on, places of donor read to, host to 0.5 mm ({count} builds each)")
    print("  read to    bolts on   does not fit   not enough measured")
    for rough_mm in (0.3, 0.5, 1.0, 2.0, 4.0):
        truths = [build(seed, rough_mm=rough_mm, sisters=1.0) for seed in range(count)]
        stands = [trial_of(judged(truth.known)[0]).stand for truth in truths if truth.goes_on]
        fits, not_so = (statistics.mean(stand == word for stand in stands) for word in ("fits", "does not"))
        print(f"  {rough_mm:4.1f} mm    {fits:8.0%}   {not_so:12.0%}   {1.0 - fits - not_so:19.0%}")


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
    from partkin.drawing.plots import calibration_picture
    from partkin.drawing.svg import picture_svg

    bins = tuple(
        CalibrationBin(at / 10, (at + 1) / 10, count, round(count * came)) for at, (count, _, came) in enumerate(rows)
    )
    file.write_text(picture_svg(calibration_picture(CalibrationPlot(bins))), encoding="utf-8", newline="\n")


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--builds", type=int, default=200)
    asked.add_argument("--cases", type=int, default=2000)
    asked.add_argument("--svg", type=Path)
    asked.add_argument("--only", choices=("readings", "nothing", "many", "calibration", "values"))
    options = asked.parse_args()
    only, few = options.only, max(10, options.builds // 2)
    if only in (None, "readings"):
        stories = until_settled(options.builds)
        tell_readings(stories)
        shares = {way: statistics.mean(one.share for one in told) for way, told in stories.items()}
        assert shares["verdict"] <= HALF, "more than half of the readings that all pairs take"
        assert shares["verdict"] <= min(shares.values()), "another way takes fewer readings"
    if only in (None, "nothing"):
        share = tell_from_nothing(few, (3, 12))
        assert share <= HALF, "more than half of all distances, from a bare donor"
    if only in (None, "many"):
        share = tell_from_nothing(few, (8, 14))
        assert share <= HALF, "more than half of the readings that all pairs take, from a bare donor of 8 fixings on"
    if only in (None, "calibration"):
        error, rows = tell_calibration("donors as the chance takes them to come about", near_builds(options.cases))
        tell_far(300)
        if options.svg is not None:
            draw(rows, options.svg)
        assert error <= CALIBRATED_WITHIN, "the stated chance is not calibrated"
    if only in (None, "values"):
        kept = tell_promises(few)
        tell_coarse(few)
        spent_ms = ask_ms(open_builds(20))
        print(f"the readings that a check names: {spent_ms:.0f} ms")
        assert kept >= KEPT, "values do not mean what they are said to mean"
        assert spent_ms < CHECK_MS, "naming the next readings takes too long for a check"


if __name__ == "__main__":
    main()
