"""The ways side by side, the running total and the score, for people and as JSON."""

from __future__ import annotations

import json
from dataclasses import asdict

from partkin.model.choosing import Asking, Calibration, Range, Ranking, Total, Way
from partkin.report.rows import csv_text, table_lines
from partkin.report.text import listed
from partkin.sheets.dialect import safe_cell

COLUMNS = ("way", "verdict", "best level", "chance", "expected", "until done", "at worst")
SUMS = ("what it is made of", "price", "carriage", "adapt", "hours", "trim", "lost")
SHEET = (
    "way", "option", "part", "verdict", "best level", "chance", "price", "carriage", "adaptation", "hours", "trim",
    "expected low", "expected high", "until done low", "until done high", "lost if not", "worst low", "worst high",
    "available", "ruled out", "asking saves", "asking saves at most", "asking costs", "says",
)  # fmt: skip
KEY = (
    "best level: the largest piece that goes on. adapt: work on it and beside it; hours: at the build's rate;",
    "trim: matching the finish.",
    "expected: money out on average; until done: with the cheapest sure way behind it where it does not go on;",
    "lost: gone if it does not go on after all; at worst: with the cheapest way that is no donor behind it.",
    "?: not known, never invented. +: at least that; carriage or matching the finish is not known.",
)


def ranking_text(ranking: Ranking) -> str:
    """The ways as a table with what is to be said of each, ending in a newline."""
    money = f" ({ranking.currency})" if ranking.currency else ""
    lines = [f"Ways to get a part for {ranking.host}{money}, the cheapest until the job is done first", ""]
    if not ranking.ways:
        return f"No donor is meant for {ranking.host}, and no offer names it: there is nothing to put side by side.\n"
    rows, sums = [], []
    for way in ranking.ways:
        chance = "?" if way.chance is None else f"{way.chance:.2f}"
        ranges = map(_range, (way.expected, way.until_done, way.worst))
        rows.append((way.called, way.verdict or "", _level(way), chance, *ranges))
        made_of = map(_money, (way.price, way.carriage, way.adaptation, way.labour, way.trim))
        sums.append((way.called, *made_of, "" if way.verdict is None else _money(way.lost)))
    lines += [
        *table_lines(COLUMNS, rows, (False,) * 3 + (True,) * 4),
        "",
        *table_lines(SUMS, sums, (False,) + (True,) * 6),
    ]
    lines += ["", *KEY]
    for way in ranking.ways:
        said = [*([f"ruled out: {way.ruled_out}"] if way.ruled_out else []), *way.says]
        lines += listed(way.called, said, "    ")
    lines += listed("What would change the order", ranking.change, "    ")
    asking = (_asking(one, ranking.currency) for one in ranking.asking)
    lines += listed("Worth finding out before you pay", asking, "    ")
    return "\n".join(lines) + "\n"


def _asking(one: Asking, currency: str | None) -> str:
    """What finding out before paying saves, as one text."""
    unit = f" {currency}" if currency else ""
    if one.saves is None:
        return f"{one.donor}: knowing for certain saves {one.saves_at_most:.2f}{unit} at most. {one.says}"
    costs = f"; taking it costs {one.costs:.2f}{unit}" if one.costs is not None else "; its minutes are not priced"
    dear = costs + ", more than it saves" if one.costs is not None and one.costs > one.saves else costs
    return (
        f"{one.donor}: {one.reading} saves {one.saves:.2f}{unit} on average{dear} (knowing for certain: "
        f"{one.saves_at_most:.2f}{unit}). {one.says}"
    )


def ranking_csv(ranking: Ranking) -> str:
    """The ways as CSV for a spreadsheet: figures as numbers, what is not known as an empty cell."""
    asking = {one.donor: one for one in ranking.asking}
    return csv_text(SHEET, (_cells(way, asking.get(way.called)) for way in ranking.ways))


def _cells(way: Way, worth: Asking | None) -> tuple[str, ...]:
    expected, until_done, worst = (
        (found.low, found.high) if found is not None else (None, None)
        for found in (way.expected, way.until_done, way.worst)
    )
    asked = (worth.saves, worth.saves_at_most, worth.costs) if worth is not None else (None, None, None)
    figures = (way.price, way.carriage, way.adaptation, way.labour, way.trim, *expected, *until_done, way.lost, *worst)
    available = "" if way.available is None else "yes" if way.available else "no"
    return (
        safe_cell(way.called), way.option, way.part or "", way.verdict or "", way.level or "",
        "" if way.chance is None else f"{way.chance:.4g}",
        *map(_blank, figures), available, way.ruled_out or "", *map(_blank, asked), "; ".join(way.says),
    )  # fmt: skip


def _blank(amount: float | None) -> str:
    return "" if amount is None else f"{amount:.2f}"


def as_json(found: Ranking | Total | Calibration) -> str:
    """Any of the three as JSON, ending in a newline."""
    return json.dumps(asdict(found), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def total_text(found: Total) -> str:
    """The running total by kind, and after each way."""
    unit = f" {found.currency}" if found.currency else ""
    lines = [f"Spent so far: {found.spent:.2f}{unit}"]
    width = max([len(kind) for kind, _ in found.by_kind] + [4])
    lines += [f"    {kind:<{width}}  {amount:>10.2f}" for kind, amount in found.by_kind]
    if found.after:
        longest = max(24, *(len(way.called) for way, _ in found.after))
        lines += ["", "After each way"]
        lines += [f"    {way.called:<{longest}}  {_after(way, amount):>11}" for way, amount in found.after]
        lines += ["", "+: something that has to be paid besides is not known. ?: no price is known."]
    return "\n".join(lines) + "\n"


def score_text(found: Calibration) -> str:
    """How the stated chances have fared."""
    lines = [found.says[0].upper() + found.says[1:] + "."]
    if found.bins:
        lines += ["", "    stated          count   stated  happened   95 % bounds, all together"]
        for here in found.bins:
            off = "" if not found.enough or here.happened_low <= here.stated <= here.happened_high else "  outside"
            bounds = f"{here.happened_low:.2f} to {here.happened_high:.2f}"
            lines.append(
                f"    {here.low:.2f} to {here.high:.2f}  {here.count:>8}  {here.stated:>7.2f}  {here.happened:>8.2f}   "
                f"{bounds}{off}"
            )
    if found.brier is not None:
        lines += ["", f"Mean squared error of the chances (Brier, 1950): {found.brier:.3f}"]
    if found.making_says:
        lines += ["", found.making_says[0].upper() + found.making_says[1:] + "."]
    return "\n".join(lines) + "\n"


def _level(way: Way) -> str:
    """The largest piece that goes on."""
    if way.verdict is None:
        return ""
    return "whole" if way.level == way.part else way.level or ("?" if way.ruled_out is None else "none")


def _after(way: Way, amount: float | None) -> str:
    open_ = way.carriage is None or way.trim is None
    return _money(amount) + ("+" if open_ and amount is not None else " ")


def _money(amount: float | None) -> str:
    return "?" if amount is None else f"{amount:.2f}"


def _range(found: Range | None) -> str:
    if found is None:
        return "?"
    if found.high is None:
        return f"{found.low:.2f}+"
    return f"{found.low:.2f}" if found.low == found.high else f"{found.low:.2f} to {found.high:.2f}"
