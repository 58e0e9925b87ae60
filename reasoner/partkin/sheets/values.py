"""Faultless records to the dataclasses of the model."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields
from typing import Any

from partkin.model.build import Build, Settings
from partkin.model.columns import FEATURES, READINGS, SHEETS
from partkin.model.words import SIDES
from partkin.sheets.lines import grouped
from partkin.sheets.records import SheetTable

Cells = dict[str, Any]


def build_of(tables: Mapping[str, SheetTable], settings: Settings) -> Build:
    """Return the build that faultless tables hold, every sheet in its own order."""
    return Build(settings=settings, **{sheet.attribute: _rows(tables[sheet.name]) for sheet in SHEETS})


def _rows(table: SheetTable) -> tuple[Any, ...]:
    sheet = table.sheet
    names = {column.name: column.attribute for column in sheet.columns}
    needed = [f.name for f in fields(sheet.row) if f.default is MISSING and f.default_factory is MISSING]
    unknown = dict.fromkeys(name for name in needed if name != "corners_mm")
    records = _with_corners(table) if "point" in sheet.key else table.records
    read = _AS_HELD.get(sheet.name, dict)
    renamed = ({names.get(name, name): value for name, value in record.items()} for record in records)
    return tuple(sheet.row(**{**unknown, **read(cells)}) for cells in renamed)


def _with_corners(table: SheetTable) -> list[Cells]:
    """One record for each zone or outline: its first corner's words, the row that comes first, every corner."""
    found = []
    for group in grouped(table).values():
        first = {name: value for name, value in group[0].items() if name not in ("point", "x_mm", "y_mm")}
        corners_mm = tuple((record["x_mm"], record["y_mm"]) for record in group)
        found.append({**first, "row": min(record["row"] for record in group), "corners_mm": corners_mm})
    return found


def _feature(cells: Cells) -> Cells:
    if isinstance(cells.get("angle_deg"), str):
        cells["angle_to"] = cells.pop("angle_deg")
    if "axis_x" in cells:
        axis = [cells.pop(f"axis_{name}") for name in "xyz"]
        length = math.hypot(*axis)
        cells["axis"] = (axis[0] / length, axis[1] / length, axis[2] / length)
    return cells


def _reading(cells: Cells) -> Cells:
    # Whatever unit the cell brought was checked against the row's.
    cells["value"], _ = cells.get("value", (None, None))
    if cells["quantity"] in SIDES:
        cells["line_from"], cells["line_to"] = cells.pop("to_feature").split()
    return cells


def _holding(cells: Cells) -> Cells:
    return {**cells, "certain": cells.get("certain") != "guess"}


def _outline(cells: Cells) -> Cells:
    return {"name": cells["kind"], **cells}


_AS_HELD: dict[str, Callable[[Cells], Cells]] = {
    FEATURES: _feature, READINGS: _reading, "held_by.csv": _holding, "outlines.csv": _outline,
}  # fmt: skip
