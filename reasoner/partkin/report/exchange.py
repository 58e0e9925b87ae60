"""What was taken in from another workshop, for people."""

from __future__ import annotations

from collections.abc import Mapping

NAMES = {
    "models.csv": "models", "parts.csv": "parts", "features.csv": "features", "readings.csv": "readings",
    "offers.csv": "offers", "costs.csv": "costs", "neighbours.csv": "gaps", "zones.csv": "zones",
    "outlines.csv": "outlines", "connectors.csv": "connectors", "outcomes.csv": "outcomes",
    "held_by.csv": "fasteners", "looks.csv": "photographs held against a pattern",
}  # fmt: skip
MOST_LISTED = 20


def taken_text(
    folder: str, added: Mapping[str, int], there: Mapping[str, int], skipped: Mapping[str, int],
    conflicts: tuple[str, ...], fuller: tuple[str, ...], notes: tuple[str, ...],
) -> str:  # fmt: skip
    """What was added, what was there already, what was left out and why; ends in a newline."""
    lines = [f"added to {folder}: {_counted(added)}"]
    lines += [f"there already: {_counted(there)}"] * bool(there)
    if conflicts:
        lines += ["", "In conflict, left as the folder has it", *_some(conflicts)]
        lines += [f"left out with them: {_counted(skipped)}"] * bool(skipped)
    if fuller:
        lines += ["", "Known in the file, empty here: not filled in, do it by hand", *_some(fuller)]
    lines += ["", "Think of", *_some(notes)] if notes else []
    return "\n".join(lines) + "\n"


def _counted(counts: Mapping[str, int]) -> str:
    said = [f"{count} {NAMES[sheet].removesuffix('s' * (count == 1))}" for sheet, count in counts.items() if count]
    return ", ".join(said) or "nothing"


def _some(listed: tuple[str, ...]) -> list[str]:
    more = len(listed) - MOST_LISTED
    return [f"  - {one}" for one in listed[:MOST_LISTED]] + [f"  - and {more} more"] * (more > 0)
