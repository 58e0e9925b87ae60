"""The ways side by side, the running total and the score, for people and as JSON."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import asdict

from partkin.model.choosing import Asking, Calibration, Range, Ranking, Total, Way
from partkin.model.words import folded
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
    lines += _table(COLUMNS, [_row(way) for way in ranking.ways], words=3)
    lines += ["", *_table(SUMS, [_sums(way) for way in ranking.ways], words=1)]
    lines += ["", *KEY]
    for way in ranking.ways:
        said = [*([f"ruled out: {way.ruled_out}"] if way.ruled_out else []), *way.says]
        lines += _under(way.called, said)
    lines += _under("What would change the order", ranking.change)
    lines += _under("Worth finding out before you pay", [_asking(one, ranking.currency) for one in ranking.asking])
    return "\n".join(lines) + "\n"


def _under(heading: str, texts: Sequence[str]) -> list[str]:
    return ["", heading, *(line for text in texts for line in folded(text, "    "))] if texts else []


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
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(SHEET)
    asking = {one.donor: one for one in ranking.asking}
    writer.writerows(_cells(way, asking.get(way.called)) for way in ranking.ways)
    return out.getvalue()


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


def _row(way: Way) -> tuple[str, ...]:
    chance = "?" if way.chance is None else f"{way.chance:.2f}"
    ranges = _range(way.expected), _range(way.until_done), _range(way.worst)
    return way.called, way.verdict or "", _level(way), chance, *ranges


def _sums(way: Way) -> tuple[str, ...]:
    sums = way.price, way.carriage, way.adaptation, way.labour, way.trim
    return way.called, *(_money(amount) for amount in sums), "" if way.verdict is None else _money(way.lost)


def _level(way: Way) -> str:
    """The largest piece that goes on."""
    if way.verdict is None:
        return ""
    return "whole" if way.level == way.part else way.level or ("?" if way.ruled_out is None else "none")


def _table(head: tuple[str, ...], rows: list[tuple[str, ...]], words: int) -> list[str]:
    """Lines of a table: the first columns are words, to the left; figures stand to the right."""
    widths = [max(len(row[n]) for row in [head, *rows]) for n in range(len(head))]
    laid = [
        [cell.ljust(w) if n < words else cell.rjust(w) for n, (cell, w) in enumerate(zip(row, widths, strict=True))]
        for row in [head, tuple("-" * width for width in widths), *rows]
    ]
    return ["  ".join(cells).rstrip() for cells in laid]


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
