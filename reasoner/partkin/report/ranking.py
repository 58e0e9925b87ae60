"""The ways side by side, the running total and the score, for people and as JSON."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import asdict
from textwrap import wrap

from partkin.model.choosing import Calibration, Range, Ranking, Total, Way

WIDTH = 96
COLUMNS = ("way", "verdict", "chance", "price", "carriage", "work", "expected", "until done", "at worst")


def ranking_text(ranking: Ranking) -> str:
    """The ways as a table with what is to be said of each, ending in a newline."""
    money = f" ({ranking.currency})" if ranking.currency else ""
    lines = [f"Ways to get a part for {ranking.host}{money}, the cheapest until the job is done first", ""]
    rows = [_row(way) for way in ranking.ways]
    widths = [max(len(row[n]) for row in [COLUMNS, *rows]) for n in range(len(COLUMNS))]
    lines += [_line(COLUMNS, widths), _line(tuple("-" * width for width in widths), widths)]
    lines += [_line(row, widths) for row in rows]
    lines += [
        "",
        "expected: money out on average; until done: with the cheapest sure way behind it where it does not go on;",
        "at worst: gone if it does not go on after all. ?: not known, never invented.",
    ]
    for way in ranking.ways:
        said = [*([f"ruled out: {way.ruled_out}"] if way.ruled_out else []), *way.says]
        if said:
            lines += ["", _name(way), *(line for text in said for line in _fold(text))]
    if ranking.change:
        lines += ["", "What would change the order", *(line for text in ranking.change for line in _fold(text))]
    if ranking.asking:
        lines += ["", "Worth finding out before you pay"]
        for asking in ranking.asking:
            lines += _fold(f"{asking.donor}: saves at most {asking.saves_at_most:.2f} on average. {asking.says}")
    return "\n".join(lines) + "\n"


def ranking_csv(ranking: Ranking) -> str:
    """The ways as CSV."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(_row(way) for way in ranking.ways)
    return out.getvalue()


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
        lines += ["", "After each way"]
        lines += [f"    {_name(way):<24}  {_money(amount):>10}" for way, amount in found.after]
    return "\n".join(lines) + "\n"


def score_text(found: Calibration) -> str:
    """How the stated chances have fared."""
    lines = [found.says[0].upper() + found.says[1:] + "."]
    if found.bins:
        lines += ["", "    stated          count   stated  happened   95 % bounds"]
        for here in found.bins:
            off = "" if here.happened_low <= here.stated <= here.happened_high else "  outside"
            bounds = f"{here.happened_low:.2f} to {here.happened_high:.2f}"
            lines.append(
                f"    {here.low:.2f} to {here.high:.2f}  {here.count:>8}  {here.stated:>7.2f}  {here.happened:>8.2f}   "
                f"{bounds}{off}"
            )
    if found.brier is not None:
        lines += ["", f"Mean squared error of the chances (Brier, 1950): {found.brier:.3f}"]
    return "\n".join(lines) + "\n"


def _row(way: Way) -> tuple[str, ...]:
    work = None if way.adaptation is None or way.labour is None else way.adaptation + way.labour
    return (
        _name(way), way.verdict or "", "?" if way.chance is None else f"{way.chance:.2f}", _money(way.price),
        _money(way.carriage), _money(work), _range(way.expected), _range(way.until_done), _money(way.worst),
    )  # fmt: skip


def _line(cells: tuple[str, ...], widths: list[int]) -> str:
    laid = [c.ljust(w) if n < 2 else c.rjust(w) for n, (c, w) in enumerate(zip(cells, widths, strict=True))]
    return "  ".join(laid).rstrip()


def _name(way: Way) -> str:
    return way.part or "donor" if way.option == "donor" else f"{way.option} {way.part or ''}".rstrip()


def _money(amount: float | None) -> str:
    return "?" if amount is None else f"{amount:.2f}"


def _range(found: Range | None) -> str:
    if found is None:
        return "?"
    if found.high is None:
        return f"{found.low:.2f} or more"
    return f"{found.low:.2f}" if found.low == found.high else f"{found.low:.2f} to {found.high:.2f}"


def _fold(text: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent="    ", subsequent_indent="    ", break_on_hyphens=False)
