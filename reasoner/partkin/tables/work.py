"""What jobs, fasteners and lifting take, what materials bear, and the distances that are kept: data/tables."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cache, lru_cache
from itertools import zip_longest
from typing import NamedTuple

from partkin.model.build import WorkRow
from partkin.model.problem import Problem
from partkin.tables.reader import by_first, read, rows_of, values_of

ANY = "any"
AMOUNTS = ("minutes", "cost", "workmanship_mm")


class EdgeRule(NamedTuple):
    """A distance that is kept: `value` times `of` (hole, fastener, washer), or plain mm or count."""

    rule: str
    scope: str
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


def edge_rule(name: str, scope: str = ANY) -> EdgeRule:
    """Return a row of data/tables/edges.csv.

    Examples
    --------
    >>> edge_rule("edge", "sheet metal").value, edge_rule("zone margin").value
    (1.2, 20.0)
    """
    found = edge_rule_or_none(name, scope)
    if found is None:
        raise KeyError((name, scope))
    return found


@cache
def edge_rule_or_none(name: str, scope: str) -> EdgeRule | None:
    """Return a row of edges.csv, or None where it has none of that scope."""
    return next((row for row in read("edges.csv", EdgeRule) if (row.rule, row.scope) == (name, scope)), None)


def washer_for(bolt_mm: float) -> Washer | None:
    """Return the washer of a bolt: of its own size, or of the next larger; None: larger than the table.

    Examples
    --------
    >>> washer_for(6.0).outer_mm, washer_for(6.35).outer_mm
    (12.0, 16.0)
    """
    return next((row for row in read("washers.csv", Washer) if row.bolt_mm >= bolt_mm - 0.15), None)


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


def _amount(cell: str) -> float | None:
    """Read a number of 0 or more; None: it is none."""
    try:
        value = float(cell.strip().replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) and value >= 0.0 else None


def shipped_work() -> tuple[WorkRow, ...]:
    """Return data/tables/work.csv."""
    return read("work.csv", WorkRow)


def read_work(
    cells: Sequence[Sequence[str]], sheet: str = "work.csv"
) -> tuple[tuple[WorkRow, ...], tuple[Problem, ...]]:
    """Read a build's own work.csv, whose rows stand before the shipped ones.

    `cells`: its rows, the header first. Every faulty row comes back as a Problem, none is raised.

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
        return (), tuple(Problem(sheet, 0, column, "the column is missing", "Add it") for column in missing)
    known = {row.do for row in shipped_work()}
    rows, problems = [], []
    for number, line in enumerate(cells[1:], start=2):
        if not any(cell.strip() for cell in line):
            continue
        row = {name: cell.strip() for name, cell in zip_longest(header, line[: len(header)], fillvalue="")}
        amounts = {column: _amount(row[column]) for column in AMOUNTS}
        if row["do"] not in known:
            what = f"{row['do']!r} is no job that the program knows"
            problems.append(Problem(sheet, number, "do", what, f"Write one of: {', '.join(sorted(known))}"))
            continue
        for column in [column for column in AMOUNTS if amounts[column] is None]:
            what = f"{row[column]!r} is no amount"
            problems.append(Problem(sheet, number, column, what, "Write a number, 0 or more"))
        minutes, cost, workmanship_mm = amounts.values()
        if minutes is not None and cost is not None and workmanship_mm is not None:
            tools = tuple(tool.strip() for tool in row.get("tools", "").split(";") if tool.strip())
            source = row.get("source") or "as the build folder says"
            rows.append(WorkRow(row["do"], row.get("group") or ANY, minutes, cost, workmanship_mm, tools, source))
    return tuple(rows), tuple(problems)


def work_for(do: str, group: str, overrides: Iterable[WorkRow] = ()) -> WorkRow:
    """Return what a job takes in a material: the build's own row first, the group's before `any`.

    Examples
    --------
    >>> work_for("slot", "plastic").minutes, work_for("slot", "steel").minutes
    (10.0, 15.0)
    """
    for rows in (tuple(overrides), shipped_work()):
        for wanted in (group, ANY):
            if found := next((row for row in rows if (row.do, row.group) == (do, wanted)), None):
                return found
    raise KeyError(f"work.csv has no row for {do!r}")


class FastenerRow(NamedTuple):
    """What one kind of fastener takes, each; `bench_factor`: how much of it at a bench.

    `holds`: it bears the part's weight. `label`: bag or tag.
    """

    kind: str
    minutes_each: float
    bench_factor: float
    holds: bool
    label: str
    source: str


class LiftRow(NamedTuple):
    """How many people lift up to a mass (None: no upper end), and what fetching them costs in minutes."""

    up_to_kg: float | None
    people_least: int
    hoist: bool
    minutes: float
    says: str
    source: str


def fastener_rows() -> Mapping[str, FastenerRow]:
    """Return data/tables/fasteners.csv by kind, in table order.

    Examples
    --------
    >>> fastener_rows()["screw"].minutes_each
    0.5
    """
    return by_first("fasteners.csv", FastenerRow)


def lift_rows() -> tuple[LiftRow, ...]:
    """Return data/tables/lifting.csv, lightest first."""
    return read("lifting.csv", LiftRow)


def lift_row(mass_kg: float) -> LiftRow:
    """Return how a mass is lifted.

    Examples
    --------
    >>> lift_row(50.0).says
    'two to four people or a hoist'
    """
    return next(row for row in lift_rows() if row.up_to_kg is None or mass_kg <= row.up_to_kg)


def place_minutes() -> float:
    """What going to another place on the vehicle costs."""
    return fastener_rows()["change of place"].minutes_each


def bench_minutes() -> float:
    """What carrying an assembly to the bench and laying it out costs."""
    return fastener_rows()["bench"].minutes_each


def lost_shares() -> Mapping[str, float]:
    """Return the shares of price, carriage and hours that are lost when a part does not go on (money.csv)."""
    return dict(values_of("money.csv"))


class Material(NamedTuple):
    """How one group of materials may be worked: `open_out`, `slot`, `new_hole` are yes, no or carrier."""

    group: str
    words: tuple[str, ...]
    rules_as: str
    engages_as: str
    open_out: str
    slot: str
    new_hole: str
    why: str
    caution: str
    source: str

    def bears(self, do: str) -> bool:
        """Whether the material may be worked in that way at all."""
        said = {"open out": self.open_out, "slot": self.slot, "new hole": self.new_hole}
        return said.get(do, "yes") != "no"


@lru_cache(maxsize=256)
def material_of(text: str | None) -> Material | None:
    """Find the material group that a part's `material` cell names: the first row whose word is in it; None: not known.

    Examples
    --------
    >>> material_of("leather-covered foam").group, material_of("Glass-filled nylon").group
    ('covered foam', 'plastic')
    >>> material_of("unobtainium") is None
    True
    """
    if not text:
        return None
    said = text.lower()
    for row in read("materials.csv", Material):
        for word in row.words:
            # Glass-filled nylon is no glass.
            alone = rf"(?<![a-z0-9]){re.escape(word)}(?![a-z0-9])(?![- ](?:filled|reinforced|fib))"
            if re.search(alone, said):
                return row
    return None


class ClipRule(NamedTuple):
    """What a hole in one group of materials asks of a push-fit clip.

    `takes_mm`: misplacement that the clip takes. `larger_mm`: how much larger than its hole it may be and still
    go in; `smaller_mm`: how much smaller and still hold.
    """

    hole_in: str
    takes_mm: float
    larger_mm: float
    smaller_mm: float
    source: str


def clip_rules() -> Mapping[str, ClipRule]:
    """Return data/tables/clips.csv by the group of the material that the hole is in."""
    return by_first("clips.csv", ClipRule)


def clip_rule(material: str | None) -> ClipRule:
    """Return what a hole in this material asks of a clip; not known: as in sheet steel.

    Examples
    --------
    >>> clip_rule("ABS").takes_mm, clip_rule("sheet steel").takes_mm, clip_rule(None).takes_mm
    (0.5, 0.0, 0.0)
    """
    group = material_of(material)
    return clip_rules().get(group.group if group else "any", clip_rules()["any"])
