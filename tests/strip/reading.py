"""Reads the example's sheets for these tests alone; the program's own reader has its own tests."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

from partkin.model.build import Build, Connector, Holding, Part

EXAMPLE = Path(__file__).parent / "example"


def _rows(name: str) -> list[dict[str, str | None]]:
    with (EXAMPLE / name).open(encoding="utf-8", newline="") as sheet:
        return [{key: cell or None for key, cell in row.items()} for row in csv.DictReader(sheet)]


def _number(cell: str | None) -> float | None:
    return None if cell is None else float(cell)


@cache
def example() -> Build:
    """Return the example build."""
    parts = tuple(
        Part(
            row["part"], row["name"], row["model"], row["part_number"], origin=row["origin"],
            takes_place_of=row["takes_place_of"], part_of=row["part_of"], duty=row["duty"], material=row["material"],
            mass_kg=_number(row["mass_kg"]), note=row["note"], row=index,
        )
        for index, row in enumerate(_rows("parts.csv"), start=2)
    )  # fmt: skip
    holdings = tuple(
        Holding(
            row["part"], row["held_to"], row["fastener"], row["kind"], int(row["count"] or 1), row["thread"],
            row["tool"], _number(row["minutes"]),
            tuple(tuple(clause.split("|")) for clause in (row["behind"] or "").split(";") if clause), row["place"],
            tuple(word for word in (row["caution"] or "").split(";") if word), row["certain"] != "guess",
            _number(row["torque_nm"]), row["single_use"] == "yes", row["note"], index,
        )
        for index, row in enumerate(_rows("held_by.csv"), start=2)
    )  # fmt: skip
    connectors = tuple(
        Connector(row["part"], row["connector"], int(row["ways"] or 0) or None, row["keyed_as"], row["need"], index)
        for index, row in enumerate(_rows("connectors.csv"), start=2)
    )
    return Build(parts=parts, holdings=holdings, connectors=connectors)
