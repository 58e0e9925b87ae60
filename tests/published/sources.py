"""What the check values of each test rest on: rows by kind of source; `python tests/published/sources.py`."""

from __future__ import annotations

import csv
import re
from collections import Counter
from pathlib import Path

HERE = Path(__file__).parent
KINDS = ("can be looked up", "computed from such", "formula of a standard", "constructed", "from memory")
START, END = "<!-- by tests/published/sources.py -->", "<!-- end -->"
# A commit; a package and its version; a page or schedule of what is published.
PLACE = re.compile(
    r"@[0-9a-f]{7}\b|\bPyPI \S+ \d|\(package \S+ [\d.]+\)|opencv-python-headless [\d.]+|schedule 1I|page \d+"
)


def kind_of(row: dict[str, str]) -> str:
    """One word for a row's source; where any value of it is from memory, that is what it rests on."""
    text = f"{row.get('source', '')} {row.get('check', '')}"
    if "memory" in text:
        return "from memory"
    if PLACE.search(text):
        return "computed from such" if row.get("check", "").startswith("computed") else "can be looked up"
    return "formula of a standard" if re.search(r"ASME|GUM|closed form", text) else "constructed"


def rows_of(file: Path) -> list[dict[str, str]]:
    with file.open(encoding="utf-8", newline="") as sheet:
        return list(csv.DictReader(sheet))


def counts() -> dict[str, Counter[str]]:
    """Kinds by file, the networks as one; a pair of patterns rests on what the less sure of the two rests on."""
    found: dict[str, Counter[str]] = {}
    for file in sorted(HERE.rglob("*.csv")):
        name = re.sub(r"networks/\w+_(obs|points)\.csv", "networks/summary.csv", file.relative_to(HERE).as_posix())
        found.setdefault(name, Counter()).update(kind_of(row) for row in rows_of(file))
    pattern = {row["pattern_id"]: kind_of(row) for row in rows_of(HERE / "interchange" / "patterns.csv")}
    pairs = rows_of(HERE / "interchange" / "interchange.csv")
    found["interchange/interchange.csv"] = Counter(
        max((pattern[row[side]] for side in ("donor_pattern", "host_pattern")), key=KINDS.index) for row in pairs
    )
    return found


def readers_of(name: str) -> list[str]:
    """The tests that read a file, by its name in their text."""
    tests = HERE.parent
    modules = [file for file in sorted(tests.rglob("test_*.py")) if f'"{name}"' in file.read_text(encoding="utf-8")]
    return [file.relative_to(tests).as_posix() for file in modules]


def table() -> str:
    lines = [f"| file | read by | {' | '.join(KINDS)} |", f"| --- | --- |{' ---: |' * len(KINDS)}"]
    for file, kinds in counts().items():
        readers = ", ".join(readers_of(Path(file).name)) or "none"
        lines.append(f"| {file} | {readers} | {' | '.join(str(kinds[kind] or '') for kind in KINDS)} |")
    return "\n".join(lines)


def with_table(text: str) -> str:
    before, _, rest = text.partition(START)
    return f"{before}{START}\n{table()}\n{END}{rest.partition(END)[2]}"


if __name__ == "__main__":
    readme = HERE / "README.md"
    readme.write_text(with_table(readme.read_text(encoding="utf-8")), encoding="utf-8")
