"""How many verdicts on builds with gaps are decided, and how many of them a way of filling in contradicts.

python tests/campaigns/run_filling_in.py --count 300 --start 0
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from properties.test_unknown_is_neither_yes_nor_no import stand, survives

FILLS = 6


def main() -> None:
    """Read the words of the command line, count, and print; 1 where something is contradicted."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--count", type=int, default=300)
    words.add_argument("--start", type=int, default=0)
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as where:
        kinds: dict[str, Callable[[int], int]] = {
            "in the plane": lambda seed: survives(seed, FILLS), "in space": lambda seed: survives(seed, FILLS, True),
            "of whole sheets": lambda seed: stand(seed, Path(where)),
        }  # fmt: skip
        found = {kind: _counted(check, range(asked.start, asked.start + asked.count)) for kind, check in kinds.items()}
    for kind, (decided, contradicted) in found.items():
        print(f"{asked.count} builds {kind}: {decided} verdicts decided, {len(contradicted)} builds contradicted")
        print(*(f"  {seed}" for seed in contradicted), sep="\n", end="\n" if contradicted else "")
    sys.exit(1 if any(contradicted for _, contradicted in found.values()) else 0)


def _counted(check: Callable[[int], int], seeds: range) -> tuple[int, list[int]]:
    """How many verdicts are decided, and the builds of which one is contradicted."""
    decided, contradicted = 0, []
    for seed in seeds:
        try:
            decided += check(seed)
        except AssertionError:
            contradicted.append(seed)
    return decided, contradicted


if __name__ == "__main__":
    main()
