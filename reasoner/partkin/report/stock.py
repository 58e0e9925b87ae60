"""What a stock has for a host, in words, as rows and as JSON."""

from __future__ import annotations

import json
from collections.abc import Sequence
from itertools import zip_longest
from typing import Any

from partkin.model.known import Table
from partkin.model.verdict import Verdict
from partkin.report.rows import rows_text
from partkin.report.verdict_file import as_tree

COLUMNS = (
    "part", "version", "stands", "holds", "margin_mm", "laid", "verdict", "chance", "missing", "minutes", "cost",
    "speaks",
)  # fmt: skip
# Parts told by name where more are left out.
NAMED = 8


def rows_of(found: Sequence[Any], checked: Sequence[Verdict]) -> tuple[tuple[Any, ...], ...]:
    """Return a row a part; verdict, chance and what it would cost to adapt are known of the first few alone."""
    rows = []
    for one, verdict in zip_longest(found, checked):
        in_full: tuple[str | float | None, ...] = (None,) * 5
        if verdict is not None:
            work, chance = verdict.adaptation, verdict.chance
            missing = verdict.unknown[0].what if verdict.unknown else None
            spent = (None, None) if work is None else (work.minutes, work.cost)
            in_full = (verdict.verdict, None if chance is None else round(chance.fits, 3), missing, *spent)
        rows.append((
            one.part, one.version, one.hit.state, one.hit.holds, one.hit.margin_mm,
            "mirrored" if one.hit.mirrored else "as seen", *in_full, "; ".join(one.speaks) or None,
        ))  # fmt: skip
    return tuple(rows)


def stock_rows(found: Sequence[Any], checked: Sequence[Verdict], shape: str) -> str:
    """Write the parts as table or CSV."""
    return rows_text(Table(COLUMNS, rows_of(found, checked[: len(found)])), shape)


def stock_text(whole: Any, most: int) -> str:
    """Say what a stock has for a host: a table of the first, and in words what is left out and why."""
    answer = whole.answer
    goes = sum(one.hit.state == "goes on" for one in answer.found)
    may = len(answer.found) - goes
    lines = [
        f"{whole.host} is held at {whole.fixings} fixing{'s' * (whole.fixings != 1)}. Of {answer.parts} parts {goes} "
        f"{'goes' if goes == 1 else 'go'} on whatever the errors of their readings, and {may} may within them."
    ]
    if answer.found:
        lines.append(stock_rows(answer.found[:most], whole.checked, "table").rsplit("\n", 2)[0])
    if len(answer.found) > most:
        lines.append(f"{len(answer.found) - most} more: --most {len(answer.found)} shows them, --as csv writes all.")
    if answer.not_judged:
        lines.append(
            f"Not judged, restraint parts, though their holes may match: {_named(answer.not_judged)}. Only the maker's "
            "part number and licensed practice say whether one goes on."
        )
    if answer.left_out:
        lines.append(f"Left out by --without: {_named(answer.left_out)}.")
    if answer.found:
        lines.append("Check the first before you pay: the whole verdict of each is in --json.")
    return "\n".join(lines) + "\n"


def _named(parts: Sequence[str]) -> str:
    more = len(parts) - NAMED
    return ", ".join(parts[:NAMED]) + (f" and {more} more" if more > 0 else "")


def stock_json(whole: Any) -> str:
    """Write everything, with the whole verdicts of the first few."""
    rows = [dict(zip(COLUMNS, row, strict=True)) for row in rows_of(whole.answer.found, whole.checked)]
    tree = {
        "partkin": 1, "host": whole.host, "fixings": whole.fixings, "parts": whole.answer.parts, "found": rows,
        "not_judged": list(whole.answer.not_judged), "left_out": list(whole.answer.left_out),
        "verdicts": [as_tree(verdict) for verdict in whole.checked],
    }  # fmt: skip
    return json.dumps(tree, ensure_ascii=False, indent=2, allow_nan=False) + "\n"
