"""Faultless records to the dataclasses of the model, and rows of a build back to the cells of their sheets."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, fields
from decimal import Decimal
from typing import Any, Final

from partkin.model.build import Build, Settings
from partkin.model.columns import COLUMNS, FEATURES, READINGS, SHEETS
from partkin.model.words import SIDES
from partkin.sheets.records import SheetTable
from partkin.sheets.sense import grouped

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


# The sheets, and where the build keeps their rows.
HELD_IN: Final = {sheet.name: sheet.attribute for sheet in SHEETS}
# Sheets with a row for each corner.
CORNERED: Final = ("zones.csv", "outlines.csv")

TextCells = dict[str, str]


def cells_of(sheet: str, rows: Iterable[Any]) -> list[TextCells]:
    """Return rows of a sheet as cells by column name; what is not known is left out.

    Examples
    --------
    >>> from partkin.model.build import Part
    >>> cells_of("parts.csv", [Part("top", replaces=("A 1", "A 2"), thickness_mm=2.50)])
    [{'part': 'top', 'replaces': 'A 1; A 2', 'thickness_mm': '2.5'}]
    """
    found: list[TextCells] = []
    for row in rows:
        cells = _cells(sheet, row)
        if sheet not in CORNERED:
            found.append(cells)
            continue
        for point, (x_mm, y_mm) in enumerate(row.corners_mm, start=1):
            found.append({**cells, "point": str(point), "x_mm": number_text(x_mm), "y_mm": number_text(y_mm)})
    return found


def _cells(sheet: str, row: Any) -> TextCells:
    found = {}
    axis = getattr(row, "axis", None)
    for column in COLUMNS[sheet]:
        if column.name.startswith("axis_"):
            value = axis["xyz".index(column.name[-1])] if axis is not None else None
        else:
            value = getattr(row, column.attribute or column.name, None)
        if column.read_as == "direction" and row.angle_to is not None:
            value = f"to {row.angle_to}"
        if column.name == "to" and row.line_from is not None:
            value = f"{row.line_from} {row.line_to}"
        if value is not None and value != ():
            found[column.name] = "yes" * value or "guess" if column.name == "certain" else cell_text(value)
    return found


def cell_text(value: Any) -> str:
    """Return one value as a cell."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return number_text(value)
    if isinstance(value, tuple):
        return "; ".join("|".join(each) if isinstance(each, tuple) else cell_text(each) for each in value)
    return str(value)


def number_text(value: float) -> str:
    """Return the shortest digits that read back as the very same number, without an exponent.

    Examples
    --------
    >>> number_text(300.0), number_text(1e-7), number_text(-0.25)
    ('300', '0.0000001', '-0.25')
    """
    digits = format(Decimal(repr(float(value))), "f")
    return digits.rstrip("0").rstrip(".") if "." in digits else digits


def settings_toml(build: Build) -> str:
    """Return build.toml for the settings of a build; what is not known is left out."""
    settings = build.settings
    lines: Mapping[str, Any] = {name: getattr(settings, name) for name in settings.__dataclass_fields__}
    return "[build]\n" + "".join(f"{name} = {_toml(value)}\n" for name, value in lines.items() if value is not None)


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, float)):
        return number_text(float(value))
    escaped = "".join(
        f"\\u{ord(sign):04X}" if sign in '"\\' or ord(sign) < 32 or ord(sign) == 127 else sign for sign in value
    )
    return f'"{escaped}"'
