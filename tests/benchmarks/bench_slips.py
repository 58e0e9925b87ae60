"""How often one slipped reading is named, and what it does to the verdict, on builds known from distances alone.

All builds are invented: 4 to 6 studs of 6 mm, holes of 9 mm, the donor the very same part, read to 0.55 mm; one donor
reading slipped by its unit, swapped digits, 10 or 100 mm, or a wrong hole. `--builds` makes it shorter.

Run: python tests/benchmarks/bench_slips.py
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

import partkin
from benchmarks.slipped_builds import KINDS, slipped
from partkin.model.words import BOLTS_ON, NOT_ENOUGH

DECIDED_WRONG = "turned"


def counted(builds: int, first: int = 0) -> tuple[dict[str, Counter[str]], list[str]]:
    """What was said of each build, by the kind of slip, and a line on each that went wrong."""
    found: dict[str, Counter[str]] = {kind: Counter() for kind in KINDS}
    told: list[str] = []
    for seed in range(first, first + builds):
        case = slipped(seed)
        count = found[case.kind]
        count["builds"] += 1
        try:
            verdict = partkin.check(case.wrong, "donor")
        except Exception as fault:
            count["crashed"] += 1
            told.append(f"{seed} ({case.kind}): crashed: {fault!r}")
            continue
        asked = [one for one in verdict.unknown if one.part is not None]
        ends = next(row for row in case.wrong.readings if (row.part, row.reading) == ("donor", case.reading))
        right = [
            (one.part, {one.from_feature, one.to_feature}) == ("donor", {ends.from_feature, ends.to_feature})
            for one in asked
        ]
        count["first"] += right[:1] == [True]
        count["among three"] += any(right[:3])
        if verdict.verdict not in (BOLTS_ON, NOT_ENOUGH):
            count[DECIDED_WRONG] += 1
            told.append(f"{seed} ({case.kind}): {verdict.verdict}, of {partkin.check(case.right, 'donor').verdict}")
        count["bolts on"] += verdict.verdict == BOLTS_ON
        blamed = [one.what for one in asked[:1] if one.what.startswith("reading ")]
        count["true one blamed"] += bool(blamed) and right[:1] != [True]
    return found, told


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--builds", type=int, default=1000)
    asked.add_argument("--first", type=int, default=0)
    asked.add_argument("--tell", action="store_true", help="a line on each build that went wrong")
    said = asked.parse_args()
    found, told = counted(said.builds, said.first)
    found["all"] = sum(found.values(), Counter())
    head = ("builds", "named first", "among the first three", "verdicts turned", "crashes", "true readings named first")
    print(f"| slip | {' | '.join(head)} | still `bolts on` |")
    print(f"|{' --- |' * (len(head) + 2)}")
    for kind, count in found.items():
        n = max(1, count["builds"])
        cells = [f"{count[name] / n:.0%}" for name in ("first", "among three")]
        cells += [str(count[name]) for name in (DECIDED_WRONG, "crashed", "true one blamed", "bolts on")]
        print(f"| {kind} | {count['builds']} | {' | '.join(cells)} |")
    if said.tell:
        print(*told, sep="\n")


if __name__ == "__main__":
    main()
