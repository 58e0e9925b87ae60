"""Rows of a build as the cells of their sheets: the way back from values to text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any, Final

from partkin.model.build import Build
from partkin.model.columns import COLUMNS, SHEETS

# The sheets, and where the build keeps their rows.
HELD_IN: Final = {sheet.name: sheet.attribute for sheet in SHEETS}
# Sheets with a row for each corner.
CORNERED: Final = ("zones.csv", "outlines.csv")

Cells = dict[str, str]


def cells_of(sheet: str, rows: Iterable[Any]) -> list[Cells]:
    """Return rows of a sheet as cells by column name; what is not known is left out.

    Examples
    --------
    >>> from partkin.model.build import Part
    >>> cells_of("parts.csv", [Part("top", replaces=("A 1", "A 2"), thickness_mm=2.50)])
    [{'part': 'top', 'replaces': 'A 1; A 2', 'thickness_mm': '2.5'}]
    """
    found: list[Cells] = []
    for row in rows:
        cells = _cells(sheet, row)
        if sheet not in CORNERED:
            found.append(cells)
            continue
        for point, (x_mm, y_mm) in enumerate(row.corners_mm, start=1):
            found.append({**cells, "point": str(point), "x_mm": number_text(x_mm), "y_mm": number_text(y_mm)})
    return found


def _cells(sheet: str, row: Any) -> Cells:
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
