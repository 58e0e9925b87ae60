"""Zones and outlines: one row a corner, put together in their order."""

from __future__ import annotations

from itertools import combinations

from partkin.sheets.findings import ProblemList
from partkin.sheets.records import Record, SheetTable

# A tear seam may be a line; all else bounds an area.
LEAST_CORNERS = {"tear seam": 2}
AREA_CORNERS = 3
MOST_CORNERS_CROSSED = 64

Group = tuple[Record, ...]


def grouped(table: SheetTable) -> dict[tuple[str, ...], Group]:
    """Return the rows of each zone (part, zone) or outline (part, kind, name), in order of their points."""
    names = [name for name in table.sheet.key if name != "point"]
    groups: dict[tuple[str, ...], list[Record]] = {}
    for record in table.records:
        groups.setdefault(tuple(record.get(name, "") for name in names), []).append(record)
    return {
        key: tuple(sorted(group, key=lambda record: (record.get("point", 0), record["row"])))
        for key, group in groups.items()
    }


def check_lines(table: SheetTable, findings: ProblemList) -> None:
    """Note zones and outlines with too few corners, of two kinds, or that cross themselves."""
    sheet = table.sheet.name
    for group in grouped(table).values():
        first = min(group, key=lambda record: record["row"])
        kind = first.get("kind")
        if kind is None or any(name in table.sheet.key for one in group for name in one.get("faulty", ())):
            continue
        name = first.get("zone") or first.get("name") or kind
        for record in group:
            if record.get("kind", kind) != kind:
                what = f"{name} is {kind} in row {first['row']} and {record['kind']} here"
                mend = "Give every corner of a zone the same kind"
                findings.fault(sheet, record["row"], "kind", what, mend)
        least = LEAST_CORNERS.get(kind, AREA_CORNERS)
        if len(group) < least:
            what = f"{name} of {first['part']} has {_corners(len(group))}; {kind} needs {least} at least"
            mend = "Add a row for each corner, in order round it"
            findings.fault(sheet, first["row"], "point", what, mend)
        elif kind != "tear seam" and (edges := _crossing(group)):
            what = f"the line of {name} of {first['part']} crosses itself (at points {edges})"
            mend = "Number the corners in order round it"
            findings.warn(sheet, first["row"], "point", what, mend)


def _corners(count: int) -> str:
    return "1 corner" if count == 1 else f"{count} corners"


def _crossing(group: Group) -> str:
    if len(group) > MOST_CORNERS_CROSSED or any("x_mm" not in one or "y_mm" not in one for one in group):
        return ""
    corners = [(one["x_mm"], one["y_mm"]) for one in group]
    count = len(corners)
    edges = [(place, (place + 1) % count) for place in range(count)]
    for (a, b), (c, d) in combinations(edges, 2):
        if len({a, b, c, d}) == 4 and _cross(corners[a], corners[b], corners[c], corners[d]):
            return ", ".join(str(group[place].get("point", "?")) for place in (a, b, c, d))
    return ""


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _cross(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float], d: tuple[float, float]) -> bool:
    return _turn(a, b, c) * _turn(a, b, d) < 0.0 and _turn(c, d, a) * _turn(c, d, b) < 0.0
