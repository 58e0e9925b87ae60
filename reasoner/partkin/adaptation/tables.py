"""What jobs take, what materials bear, and the distances that are kept: data/tables, read once."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import cache
from itertools import zip_longest
from typing import NamedTuple

from partkin.model.adapting import WorkRow
from partkin.model.problem import Problem
from partkin.tables import marked, rows_of

ANY = "any"
AMOUNTS = ("minutes", "cost", "workmanship_mm")


class Rule(NamedTuple):
    """A distance that is kept: `value` times `of` (hole, fastener, washer), or plain mm or count."""

    value: float
    of: str
    says: str
    source: str


class Washer(NamedTuple):
    """Plain (ISO 7089) and large (ISO 7093-1) washers of one bolt."""

    bolt_mm: float
    outer_mm: float
    thickness_mm: float
    large_outer_mm: float
    source: str


@cache
def _rules() -> dict[tuple[str, str], Rule]:
    rows = rows_of("edges.csv")
    return {(r["rule"], r["scope"]): Rule(float(r["value"]), r["of"], r["says"], marked(r)) for r in rows}


def rule(name: str, scope: str = ANY) -> Rule:
    """Return a row of data/tables/edges.csv.

    Examples
    --------
    >>> rule("edge", "sheet metal").value, rule("zone margin").value
    (1.2, 20.0)
    """
    return _rules()[(name, scope)]


def rule_or_none(name: str, scope: str) -> Rule | None:
    """Return a row of edges.csv, or None where it has none of that scope."""
    return _rules().get((name, scope))


@cache
def washers() -> tuple[Washer, ...]:
    """Return data/tables/washers.csv, smallest first."""
    sizes = ("bolt_mm", "outer_mm", "thickness_mm", "large_outer_mm")
    return tuple(
        Washer(**{size: float(row[size]) for size in sizes}, source=marked(row)) for row in rows_of("washers.csv")
    )


def washer_for(bolt_mm: float) -> Washer | None:
    """Return the washer of a bolt: of its own size, or of the next larger; None: larger than the table.

    Examples
    --------
    >>> washer_for(6.0).outer_mm, washer_for(6.35).outer_mm
    (12.0, 16.0)
    """
    return next((row for row in washers() if row.bolt_mm >= bolt_mm - 0.15), None)


@cache
def bolt_lengths_mm() -> tuple[float, ...]:
    """Return the preferred bolt lengths, shortest first (data/tables/bolts.csv)."""
    return tuple(sorted(float(row["length_mm"]) for row in rows_of("bolts.csv")))


def next_bolt_length_mm(at_least_mm: float) -> float | None:
    """Return the shortest preferred length that is long enough.

    Examples
    --------
    >>> next_bolt_length_mm(16.2), next_bolt_length_mm(20.0), next_bolt_length_mm(999.0)
    (20.0, 20.0, None)
    """
    return next((length for length in bolt_lengths_mm() if length >= at_least_mm - 1e-9), None)


def _work_row(row: dict[str, str]) -> WorkRow:
    """Raise ValueError where a number is none."""
    minutes, cost, workmanship_mm = (_amount(row[column]) for column in AMOUNTS)
    return WorkRow(
        do=row["do"].strip(),
        group=(row.get("group") or ANY).strip(),
        minutes=minutes,
        cost=cost,
        workmanship_mm=workmanship_mm,
        tools=tuple(tool.strip() for tool in (row.get("tools") or "").split(";") if tool.strip()),
        source=(row.get("source") or "as the build folder says").strip(),
    )


def _amount(cell: str | None) -> float:
    value = float((cell or "").strip().replace(",", "."))
    if not (math.isfinite(value) and value >= 0.0):
        raise ValueError(cell)
    return value


@cache
def shipped_work() -> tuple[WorkRow, ...]:
    """Return data/tables/work.csv."""
    return tuple(_work_row(row) for row in rows_of("work.csv"))


def read_work(
    cells: Sequence[Sequence[str]], sheet: str = "work.csv"
) -> tuple[tuple[WorkRow, ...], tuple[Problem, ...]]:
    """Read a build's own work.csv, whose rows stand before the shipped ones.

    Parameters
    ----------
    cells
        Its rows, the header first.
    sheet

    Returns
    -------
    rows, problems
        Every faulty row as a Problem, none raised.

    Examples
    --------
    >>> head = ["do", "group", "minutes", "cost", "workmanship_mm"]
    >>> rows, problems = read_work([head, ["slot", "any", "nan", "0", "0.5"]])
    >>> rows, problems[0].column
    ((), 'minutes')
    """
    header = [cell.strip() for cell in cells[0]]
    missing = [column for column in ("do", *AMOUNTS) if column not in header]
    if missing:
        return (), tuple(Problem(sheet, 0, column, "the column is missing", "Add it.") for column in missing)
    known = {row.do for row in shipped_work()}
    rows, problems = [], []
    for number, line in [(n, line) for n, line in enumerate(cells[1:], start=2) if any(cell.strip() for cell in line)]:
        row = dict(zip_longest(header, line[: len(header)], fillvalue=""))
        bad = [column for column in AMOUNTS if not _is_amount(row[column])]
        if row["do"].strip() not in known:
            what = f"{row['do']!r} is no job that the program knows"
            problems.append(Problem(sheet, number, "do", what, f"Write one of: {', '.join(sorted(known))}."))
        elif bad:
            mend = "Write a number, 0 or more."
            problems += [Problem(sheet, number, column, f"{row[column]!r} is no amount", mend) for column in bad]
        else:
            rows.append(_work_row(row))
    return tuple(rows), tuple(problems)


def _is_amount(cell: str | None) -> bool:
    try:
        _amount(cell)
    except ValueError:
        return False
    return True


def work_for(do: str, group: str, overrides: Iterable[WorkRow] = ()) -> WorkRow:
    """Return what a job takes in a material: the build's own row first, the group's before `any`.

    Examples
    --------
    >>> work_for("slot", "plastic").minutes, work_for("slot", "steel").minutes
    (10.0, 15.0)
    """
    for rows in (tuple(overrides), shipped_work()):
        for wanted in (group, ANY):
            for row in rows:
                if row.do == do and row.group == wanted:
                    return row
    raise KeyError(f"work.csv has no row for {do!r}")
