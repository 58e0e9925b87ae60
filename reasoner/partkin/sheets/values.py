"""Faultless records to the dataclasses of the model."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, TypeVar

from partkin.model.build import (
    Build,
    Connector,
    Cost,
    Feature,
    Holding,
    Look,
    Neighbour,
    Offer,
    Outcome,
    Outline,
    Part,
    Reading,
    Settings,
    VehicleModel,
    Zone,
)
from partkin.model.words import SIDES
from partkin.sheets.lines import grouped
from partkin.sheets.records import Record, Table

Row = TypeVar("Row")


def build_of(tables: Mapping[str, Table], settings: Settings) -> Build:
    """Return the build that faultless tables hold, every sheet in its own order."""
    return Build(
        settings=settings,
        models=_plain(VehicleModel, tables["models.csv"]),
        parts=_plain(Part, tables["parts.csv"]),
        features=tuple(_feature(record) for record in tables["features.csv"].records),
        readings=tuple(_reading(record, tables["readings.csv"]) for record in tables["readings.csv"].records),
        offers=_plain(Offer, tables["offers.csv"]),
        costs=tuple(Cost(**{"on": None, "part": None, **record}) for record in tables["costs.csv"].records),
        neighbours=_plain(Neighbour, tables["neighbours.csv"]),
        zones=tuple(_zones(tables["zones.csv"])),
        outlines=tuple(_outlines(tables["outlines.csv"])),
        connectors=_plain(Connector, tables["connectors.csv"]),
        outcomes=tuple(_outcome(record) for record in tables["outcomes.csv"].records),
        looks=_plain(Look, tables["looks.csv"]),
        holdings=tuple(_holding(record, tables["held_by.csv"]) for record in tables["held_by.csv"].records),
    )


def _plain(kind: type[Row], table: Table) -> tuple[Row, ...]:
    return tuple(kind(**record) for record in table.records)


def _renamed(record: Record, table: Table) -> dict[str, Any]:
    attributes = {column.name: column.attribute for column in table.sheet.columns}
    return {attributes.get(name, name): value for name, value in record.items()}


def _feature(record: Record) -> Feature:
    rest = dict(record)
    if isinstance(rest.get("angle_deg"), str):
        rest["angle_to"] = rest.pop("angle_deg")
    if "axis_x" not in record:
        return Feature(**rest)
    axis = (rest.pop("axis_x"), rest.pop("axis_y"), rest.pop("axis_z"))
    length = math.hypot(*axis)
    return Feature(**rest, axis=(axis[0] / length, axis[1] / length, axis[2] / length))


def _reading(record: Record, table: Table) -> Reading:
    renamed = _renamed(record, table)
    value, _ = renamed.pop("value", (None, None))
    if renamed["quantity"] in SIDES:
        renamed["line_from"], renamed["line_to"] = renamed.pop("to_feature").split()
    return Reading(value=value, unit=renamed.pop("unit", None), **renamed)


def _outcome(record: Record) -> Outcome:
    return Outcome(**{"on": None, "verdict_then": None, **record})


def _holding(record: Record, table: Table) -> Holding:
    renamed = _renamed(record, table)
    renamed["certain"] = renamed.get("certain") != "guess"
    return Holding(**renamed)


def _corners(group: tuple[Record, ...]) -> tuple[tuple[float, float], ...]:
    return tuple((record["x_mm"], record["y_mm"]) for record in group)


def _first_row(group: tuple[Record, ...]) -> int:
    return min(record["row"] for record in group)


def _zones(table: Table) -> list[Zone]:
    return [
        Zone(part, name, group[0]["kind"], _corners(group), _first_row(group))
        for (part, name), group in grouped(table).items()
    ]


def _outlines(table: Table) -> list[Outline]:
    return [
        Outline(part, group[0]["kind"], name or kind, _corners(group), _first_row(group))
        for (part, kind, name), group in grouped(table).items()
    ]
