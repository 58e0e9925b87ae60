"""How often one slipped reading is named, and what it does to the verdict, on builds known from distances alone.

All builds are invented: 4 to 6 studs of 6 mm, holes of 9 mm, the donor the very same part, read to 0.55 mm; one donor
reading slipped by its unit, swapped digits, 10 or 100 mm, or a wrong hole. In the last rows every reading is true:
`none` has the same builds without the slip, `a hole elsewhere` a donor with one hole 10 to 60 mm off. `--builds` makes
it shorter.

Run: python tests/benchmarks/bench_slips.py
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

import partkin
from benchmarks.slipped_builds import KINDS, slipped
from partkin.model.words import BOLTS_ON, NOT_ENOUGH

DECIDED_WRONG = "turned"
# Of one build in so many a donor with a hole elsewhere is tried too.
OTHERS = 5
NO_SLIP, ELSEWHERE = "none", "a hole elsewhere"


def counted(seeds: Iterable[int]) -> tuple[dict[str, Counter[str]], list[str]]:
    """What was said of each build, by the kind of slip, and a line on each that went wrong."""
    found: dict[str, Counter[str]] = {kind: Counter() for kind in (*KINDS, NO_SLIP, ELSEWHERE)}
    told: list[str] = []
    for seed in seeds:
        case = slipped(seed)
        builds = [(case.wrong, case.kind), (case.right, NO_SLIP)]
        if seed % OTHERS == 0:
            builds.append((case.other, ELSEWHERE))
        for build, kind in builds:
            count = found[kind]
            count["builds"] += 1
            try:
                verdict = partkin.check(build, "donor")
            except Exception as fault:
                count["crashed"] += 1
                told.append(f"{seed} ({kind}): crashed: {fault!r}")
                continue
            ends = next(row for row in build.readings if (row.part, row.reading) == ("donor", case.reading))
            pair = ("donor", {ends.from_feature, ends.to_feature})
            asked = [one for one in verdict.unknown if one.part is not None]
            right = [(one.part, {one.from_feature, one.to_feature}) == pair and kind in KINDS for one in asked]
            count["first"] += right[:1] == [True]
            count["among three"] += any(right[:3])
            count["decided"] += verdict.verdict != NOT_ENOUGH
            if verdict.verdict != NOT_ENOUGH and (verdict.verdict == BOLTS_ON) is (kind == ELSEWHERE):
                count[DECIDED_WRONG] += 1
                told.append(f"{seed} ({kind}): {verdict.verdict}")
            if asked and asked[0].what.startswith("reading ") and not right[0]:
                count["true one blamed"] += 1
                told.append(f"{seed} ({kind}): {asked[0].says}")
    return found, told


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--builds", type=int, default=1000)
    asked.add_argument("--first", type=int, default=0)
    asked.add_argument("--tell", action="store_true", help="a line on each build that went wrong")
    said = asked.parse_args()
    found, told = counted(range(said.first, said.first + said.builds))
    found["all slips"] = sum((found[kind] for kind in KINDS), Counter())
    head = ("builds", "named first", "among the first three", "verdicts turned", "crashes", "true readings named first")
    print(f"| slip | {' | '.join(head)} | decided |")
    print(f"|{' --- |' * (len(head) + 2)}")
    for kind, count in found.items():
        n = max(1, count["builds"])
        cells = [f"{count[name] / n:.0%}" for name in ("first", "among three")]
        cells += [str(count[name]) for name in (DECIDED_WRONG, "crashed", "true one blamed", "decided")]
        print(f"| {kind} | {count['builds']} | {' | '.join(cells)} |")
    if said.tell:
        print(*told, sep="\n")


if __name__ == "__main__":
    main()
