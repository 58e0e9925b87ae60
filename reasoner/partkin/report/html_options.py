"""The options side by side: donors with their verdicts, and the other ways."""

from __future__ import annotations

from collections.abc import Sequence

from partkin.model.build import Build
from partkin.model.drawing import OptionRow, OverlayView
from partkin.model.verdict import Verdict
from partkin.report.html_donor import called
from partkin.report.html_pieces import NONE, chance_cell, listed, mark, mm, money, part_called, prose, table
from partkin.report.sketch import sketch_svg
from partkin.report.svg import escaped


def options_table(build: Build, rows: Sequence[Sequence[str]]) -> str:
    """Return the table with the key of its marks; rows from `donor_row` and `other_row`."""
    unit = f", {build.settings.currency}" if build.settings.currency else ""
    heads = [
        ("Option", False),
        ("Pattern", False),
        ("Verdict", False),
        ("Margin, mm", True),
        ("Chance it fits", True),
        ("To do", False),
        (f"Price{unit}", True),
        (f"Comes to{unit}", True),
    ]
    keys = listed(
        (f"{mark(state)} {state}" for state in ("lines up", "tight", "out of reach", "blocked")),
        kind="keys soft",
    )
    return table("Donors first, then the other ways", heads, rows, stack=True) + keys


def donor_row(
    build: Build, verdict: Verdict, overlay: OverlayView | None, row: OptionRow | None, href: str
) -> list[str]:  # fmt: skip
    """Return the cells of a donor that was judged; `href`: where more of it stands."""
    sketch = (sketch_svg(overlay) if overlay else "") or NONE
    todo = NONE
    if verdict.adaptation:
        count = len(verdict.adaptation.actions) + len(verdict.besides)
        minutes = verdict.adaptation.minutes + sum(job.minutes or 0.0 for job in verdict.besides)
        todo = f"{count} job{'' if count == 1 else 's'}, {minutes:.0f} min"
    elif verdict.unknown and verdict.verdict == "not enough measured":
        todo = prose(verdict.unknown[0].says)
    return [
        f'<a href="{escaped(href)}">{called(build, verdict.donor)}</a>',
        sketch,
        f"{mark(verdict.verdict)} {escaped(verdict.verdict)}",
        mm(verdict.margin_mm),
        chance_cell(verdict.chance),
        todo,
        *priced(row),
    ]


def priced(row: OptionRow | None) -> list[str]:
    """Return the last two cells: what it costs, and what it comes to."""
    if row is None:
        return [NONE, NONE]
    least = "at least " if row.at_least and row.total is not None else ""
    return [money(row.price, None), least + money(row.total, None)]


def other_row(row: OptionRow) -> list[str]:
    """Return the cells of an option that has no verdict here."""
    what = escaped(row.option) + (f": {part_called(row.part, row.name)}" if row.part else "")
    told = [prose(row.note)] if row.note and row.note.strip() else []
    if row.available is False:
        told.append("not to be had")
    if row.hours is not None:
        told.append(f"{row.hours:g} h")
    return [
        what,
        NONE,
        "no verdict: not a donor" if row.option != "donor" else "not checked",
        NONE,
        NONE,
        "; ".join(told) or NONE,
        *priced(row),
    ]


def options_by_part(options: Sequence[OptionRow]) -> dict[str, OptionRow]:
    """Return the donors' offers by their part."""
    return {row.part: row for row in options if row.option == "donor" and row.part}
