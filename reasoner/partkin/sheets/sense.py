"""Does a row make sense in itself (sizes, positions, threads, units), and do the corners of a zone or outline."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import combinations

from partkin.model.columns import GREATEST_MM
from partkin.model.words import KG_PER_UNIT, MM_PER_UNIT, SIDES, WITHDRAWN
from partkin.sheets.findings import ProblemList
from partkin.sheets.records import Record, SheetTable
from partkin.tables.threads import parse_thread

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
                findings.fault(sheet, record["row"], "kind", what, "Give every corner of a zone the same kind")
        least = LEAST_CORNERS.get(kind, AREA_CORNERS)
        if len(group) < least:
            many = f"{len(group)} corner{'' if len(group) == 1 else 's'}"
            what = f"{name} of {first['part']} has {many}; {kind} needs {least} at least"
            findings.fault(sheet, first["row"], "point", what, "Add a row for each corner, in order round it")
        elif kind != "tear seam" and (edges := _crossing(group)):
            what = f"the line of {name} of {first['part']} crosses itself (at points {edges})"
            findings.warn(sheet, first["row"], "point", what, "Number the corners in order round it")


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


BETWEEN_TWO = ("centres", "near edges", "far edges")
OF_ONE_FEATURE = ("across", "length")
# How far a stud, measured by hand, may be from its thread's diameter; crests are worn and rules are coarse.
THREAD_DISAGREES_MM = 0.5
THREAD_DISAGREES_OF_DIAMETER = 0.08
GREATEST_KG = 100_000.0
_FILLED_WITH = {"value": "what was read, in the row's unit", "unit": "mm, cm, m, in, kg, g, lb"}

Check = Callable[[Record, "RowProblems"], None]


class RowProblems:
    """One row of a sheet, where faults are noted."""

    def __init__(self, sheet: str, row: int, findings: ProblemList) -> None:
        self._sheet, self._row, self._findings = sheet, row, findings

    def fault(self, column: str, what: str, mend: str) -> None:
        """Note a fault of this row."""
        self._findings.fault(self._sheet, self._row, column, what, mend)

    def warn(self, column: str, what: str, mend: str) -> None:
        """Note a warning about this row."""
        self._findings.warn(self._sheet, self._row, column, what, mend)


def is_blank(record: Record, column: str) -> bool:
    """Whether the cell was left empty, rather than filled with what cannot be read."""
    return column not in record and column not in record.get("faulty", ())


def check_rows(table: SheetTable, findings: ProblemList) -> None:
    """Note what is wrong with each row of a sheet, taken alone."""
    check = _CHECKS.get(table.sheet.name)
    if check is not None:
        for record in table.records:
            check(record, RowProblems(table.sheet.name, record["row"], findings))
    if table.sheet.name == "features.csv":
        _check_depths(table, findings)


def _model(record: Record, place: RowProblems) -> None:
    first, last = record.get("first_year"), record.get("last_year")
    if first is not None and last is not None and last < first:
        place.fault("last_year", f"the last year, {last}, is before the first, {first}", "Swap them, or mend one")


def _part(record: Record, place: RowProblems) -> None:
    if record.get("origin") == "host" and "takes_place_of" in record:
        what = "a host stays on the vehicle and takes the place of nothing"
        place.fault("takes_place_of", what, "Leave it empty, or change origin to donor or original")


def _feature(record: Record, place: RowProblems) -> None:
    _check_position(record, place)
    _check_axis(record, place)
    kind = record.get("kind")
    if kind is not None:
        _check_slot(record, kind, place)
        if "float_mm" in record and kind != "captive nut":
            what = f"float_mm is for a captive nut, and this is a {kind}"
            place.fault("float_mm", what, "Leave it empty, or make the kind captive nut")
    if "thread" in record:
        _check_thread(record, kind, place)


def _check_position(record: Record, place: RowProblems) -> None:
    for given, other in (("x_mm", "y_mm"), ("y_mm", "x_mm")):
        if given in record and is_blank(record, other):
            place.fault(other, f"{given} is given and {other} is empty", "Give both, or neither when it is not known")
    if "z_mm" in record and is_blank(record, "x_mm") and is_blank(record, "y_mm"):
        place.fault("z_mm", "z_mm is given without x_mm and y_mm", "Give all three, or none when it is not known")


def _check_axis(record: Record, place: RowProblems) -> None:
    names = ("axis_x", "axis_y", "axis_z")
    given = [name for name in names if name in record]
    if not given:
        return
    empty = [name for name in names if is_blank(record, name)]
    if empty:
        what = f"{' and '.join(given)} given and {' and '.join(empty)} empty"
        place.fault(empty[0], what, "Give all three (0 where it does not point that way), or none")
    elif len(given) == 3 and math.hypot(*(record[name] for name in names)) < 1e-6:
        place.fault("axis_x", "the axis has no length", "Give a direction, such as 0, 0, 1")


def _check_slot(record: Record, kind: str, place: RowProblems) -> None:
    if kind != "slot":
        for column in ("length_mm", "angle_deg"):
            if column in record:
                what = f"{column} is for slots, and this is a {kind}; it is not used"
                place.warn(column, what, "Make the kind slot if it is one")
        return
    across_mm, length_mm = record.get("across_mm"), record.get("length_mm")
    if across_mm is not None and length_mm is not None and length_mm < across_mm:
        what = f"the slot is {length_mm:g} mm long and {across_mm:g} mm wide"
        place.fault("length_mm", what, "Give its overall length end to end, which is at least its width")
    for column, means in (("length_mm", "length"), ("angle_deg", "direction")):
        if is_blank(record, column):
            what = f"the slot's {means} is not given, so how far it reaches is not known"
            place.warn(column, what, "Measure it and fill it in")


def _check_thread(record: Record, kind: str | None, place: RowProblems) -> None:
    thread = parse_thread(record["thread"])
    if thread is None:
        return
    named = f"{thread.designation} ({thread.major_mm:g} mm)"
    slack_mm = max(THREAD_DISAGREES_MM, THREAD_DISAGREES_OF_DIAMETER * thread.major_mm)
    across_mm, fastener_mm = record.get("across_mm"), record.get("fastener_mm")
    least_mm = thread.major_mm - slack_mm
    if kind in ("tapped hole", "captive nut"):
        # Inside a nut the crests stand about a pitch in, so its bore may have been measured instead.
        least_mm -= 1.1 * thread.pitch_mm
    own_mm = across_mm if kind in ("stud", "tapped hole", "captive nut") else None
    if own_mm is not None and not least_mm <= own_mm <= thread.major_mm + slack_mm:
        what = f"the {kind} is {across_mm:g} mm across and its thread is {named}"
        place.fault("across_mm", what, "Mend the one that is wrong, or leave across_mm empty")
    if fastener_mm is not None and abs(fastener_mm - thread.major_mm) > slack_mm:
        what = f"the fastener is {fastener_mm:g} mm and its thread is {named}"
        place.fault("fastener_mm", what, "Leave it empty: the thread says it")


def _check_depths(table: SheetTable, findings: ProblemList) -> None:
    with_z: set[str] = set()
    without_z: dict[str, Record] = {}
    for record in table.records:
        part = record.get("part")
        if part is None or "x_mm" not in record or "y_mm" not in record:
            continue
        if "z_mm" in record:
            with_z.add(part)
        elif is_blank(record, "z_mm"):
            without_z.setdefault(part, record)
    for part, record in without_z.items():
        if part in with_z:
            what = f"z_mm is empty here and given on other features of {part}"
            mend = "Give z_mm on every feature of the part, or on none for a flat pattern"
            findings.fault("features.csv", record["row"], "z_mm", what, mend)


def _reading(record: Record, place: RowProblems) -> None:
    quantity = record.get("quantity")
    if quantity is None:
        return
    if quantity == WITHDRAWN:
        _check_withdrawal(record, place)
        return
    if quantity in SIDES:
        _check_side(record, quantity, place)
        return
    _check_ends(record, quantity, place)
    for column in ("value", "unit"):
        if is_blank(record, column):
            place.fault(column, f"{column} is empty", f"Fill it: {_FILLED_WITH[column]}")
    value, own_unit = record.get("value", (None, None))
    unit = record.get("unit")
    if unit is None:
        return
    factors = KG_PER_UNIT if quantity == "mass" else MM_PER_UNIT
    if unit not in factors:
        kind = "mass" if quantity == "mass" else "length"
        what = f"{quantity} is a {kind}, and {unit} is not a unit of {kind}"
        place.fault("unit", what, f"Write one of: {', '.join(factors)}")
    elif own_unit is not None and own_unit != unit:
        place.fault("value", f"the value is in {own_unit} and the unit says {unit}", "Mend the one that is wrong")
    elif value is not None:
        _check_amount(value, quantity, unit, record.get("plus_minus"), place)


def _check_withdrawal(record: Record, place: RowProblems) -> None:
    if is_blank(record, "corrects"):
        what = "it withdraws a reading, and corrects does not say which"
        place.fault("corrects", what, "Write the id of the reading that does not count")
    for column in ("from", "to", "value", "unit", "plus_minus", "instrument"):
        if column in record:
            what = f"a row that withdraws a reading has no {column}"
            place.fault(column, what, "Leave it empty, or mend the quantity")


def _check_side(record: Record, quantity: str, place: RowProblems) -> None:
    line = record.get("to", "").split()
    if is_blank(record, "from"):
        place.fault("from", f"{quantity} is told of one feature, and from is empty", "Write the feature's id")
    if len(line) != 2 and "to" not in record.get("faulty", ()):
        what = f"{quantity} is told of a line through two features, and to holds {len(line)}"
        place.fault("to", what, "Write their two ids with a blank between, such as k1 k2")
    elif len({*line, record.get("from")}) < 3 and "from" in record:
        place.fault("to", f"{quantity} needs three different features", "Write a line that it does not stand on")
    for column in ("value", "unit"):
        if column in record:
            place.fault(column, f"{quantity} has no {column}", "Leave it empty, or mend the quantity")


def _check_ends(record: Record, quantity: str, place: RowProblems) -> None:
    if quantity in BETWEEN_TWO:
        for column in ("from", "to"):
            if is_blank(record, column):
                what = f"{quantity} is read between two features, and {column} is empty"
                place.fault(column, what, "Write the feature's id")
        if "from" in record and record["from"] == record.get("to"):
            place.fault("to", f"from and to are both {record['to']}", "Write the two features it was read between")
        return
    if quantity in OF_ONE_FEATURE and is_blank(record, "from"):
        place.fault("from", f"{quantity} is of one feature, and from is empty", "Write the feature's id")
    if quantity in (*OF_ONE_FEATURE, "thickness", "mass") and "to" in record:
        place.fault("to", f"{quantity} is not read between two features", "Leave to empty, or mend the quantity")
    if quantity == "mass" and "from" in record:
        place.fault("from", "mass is of the whole part", "Leave from empty, or mend the quantity")


def _check_amount(value: float, quantity: str, unit: str, plus_minus: float | None, place: RowProblems) -> None:
    if value < 0.0 or (value == 0.0 and quantity != "gap"):
        what = f"{quantity} of {value:g} {unit} cannot be"
        place.fault("value", what, "Write what was read; it is more than nothing")
        return
    factors, most = (KG_PER_UNIT, GREATEST_KG) if quantity == "mass" else (MM_PER_UNIT, GREATEST_MM)
    if value * factors[unit] > most:
        what = f"{quantity} of {value:g} {unit} is too much for a part"
        place.fault("value", what, "Look at the decimal sign and the unit")
    elif plus_minus is not None and plus_minus >= value > 0.0 and quantity != "gap":
        what = f"the reading of {value:g} {unit} may be out by {plus_minus:g}, as much as itself"
        place.warn("plus_minus", what, "Write it in the row's own unit")


def _neighbour(record: Record, place: RowProblems) -> None:
    least_mm, most_mm = record.get("gap_min_mm"), record.get("gap_max_mm")
    if least_mm is not None and most_mm is not None and most_mm < least_mm:
        what = f"the widest gap, {most_mm:g} mm, is less than the least, {least_mm:g} mm"
        place.fault("gap_max_mm", what, "Swap them, or mend one")


_CHECKS: dict[str, Check] = {
    "models.csv": _model,
    "parts.csv": _part,
    "features.csv": _feature,
    "readings.csv": _reading,
    "neighbours.csv": _neighbour,
}
