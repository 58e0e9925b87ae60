"""What is added to a stock (build folders, Turtle, CSV, Parquet) as two tables; what is wrong stays out, and is told.

A part of which any row is faulty stays out whole: with a hole less it would be another part.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv, parquet

from partkin.model.build import Build, Connector, Feature, Outline, Part, Reading, VehicleModel, Zone
from partkin.model.columns import COLUMNS, FEATURES, PARTS, Column
from partkin.model.positions import Positions
from partkin.model.problem import Problem, refuse_any, refused
from partkin.positions import adjust, dimensions
from partkin.positions.lengths import coordinate_half_width_mm
from partkin.sheets import load
from partkin.sheets.cells import CellFault, offered_id, reader_of
from partkin.sheets.findings import ProblemList

# What says whose place a part takes in one build says nothing in a stock.
_OF_ONE_BUILD = ("part", "origin", "takes_place_of", "part_of", "goes_on", "broken_by")
PART_COLUMNS = tuple(c for c in COLUMNS[PARTS] if c.name not in _OF_ONE_BUILD)
FEATURE_COLUMNS = tuple(c for c in COLUMNS[FEATURES] if c.name not in _OF_ONE_BUILD)
_NUMBERS = ("number", "direction")
# Rows of a build that come along so that the ordinary check can be made: the sheet's dataclass by the build's name.
BESIDE = {
    "models": VehicleModel, "features": Feature, "readings": Reading, "zones": Zone, "outlines": Outline,
    "connectors": Connector,
}  # fmt: skip
FAULTS_AT_MOST = 100_000


def _kind(column: Column) -> pa.DataType:
    return pa.float64() if column.read_as in _NUMBERS else pa.bool_() if column.read_as == "yes or no" else pa.string()


# `beside`: the rows of its build, where it came out of one. `handed`: its mirror image is another part.
# `opened`: it has a zone that a stud may stand in.
PART_SCHEMA = pa.schema([
    ("part", pa.string()), *((c.name, _kind(c)) for c in PART_COLUMNS),
    ("handed", pa.bool_()), ("opened", pa.bool_()), ("beside", pa.string()),
])  # fmt: skip
# `error_mm`: how far its centre may be from its place, in any direction.
FEATURE_SCHEMA = pa.schema([
    *((c.name, _kind(c)) for c in FEATURE_COLUMNS),
    ("across_error_mm", pa.float64()), ("length_error_mm", pa.float64()), ("error_mm", pa.float64()),
])  # fmt: skip


@dataclass(frozen=True, eq=False)
class Batch:
    """Parts to be added: `parts` a row each, `features` in the same order, `first` int64 (n + 1) where each begins."""

    parts: pa.Table
    features: pa.Table
    first: np.ndarray

    def __len__(self) -> int:
        """Return the number of parts."""
        return int(self.parts.num_rows)

    def take(self, rows: np.ndarray) -> Batch:
        """Return these parts alone, in this order."""
        counts = np.diff(self.first)[rows]
        first = np.concatenate([[0], np.cumsum(counts)])
        at = np.repeat(self.first[rows] - first[:-1], counts) + np.arange(first[-1])
        return Batch(self.parts.take(rows), self.features.take(at), first)


def joined(batches: Iterable[Batch]) -> Batch:
    """Return all parts of several batches."""
    listed = list(batches)
    counts = np.concatenate([np.diff(one.first) for one in listed])
    parts, features = (
        pa.concat_tables([getattr(one, name) for one in listed], promote_options="default")
        for name in ("parts", "features")
    )
    return Batch(parts.combine_chunks(), features.combine_chunks(), np.concatenate([[0], np.cumsum(counts)]))


def read(file: Path) -> tuple[Batch, tuple[Problem, ...]]:
    """Read whatever a file or folder holds: the parts that are sound, and every fault of the others.

    Raises
    ------
    FaultyInput
        It is none of these, or cannot be read at all.
    """
    if file.is_dir():
        loaded = load(file)
        return (_EMPTY, loaded.problems) if loaded.build is None else (_of_build(loaded.build, file.name), ())
    ending = file.suffix.lower()
    if not file.is_file() or ending not in (".ttl", ".csv", ".parquet"):
        mend = "Name a build folder, Turtle (.ttl), or a table of features (.csv, .parquet)"
        what = "it is none of what a stock takes in" if file.exists() else f"there is no {file.as_posix()}"
        raise refused(file.name, 0, "file", what, mend)
    if ending == ".ttl":
        from partkin.graph import read_turtle

        build, problems = read_turtle(file.read_bytes())
        problems = tuple(replace(one, sheet=file.name) for one in problems if not one.warning)
        return (_EMPTY if build is None else _of_build(build, file.stem)), problems
    try:
        table = parquet.read_table(file) if ending == ".parquet" else _csv(file)
    except (pa.ArrowException, OSError, UnicodeDecodeError) as fault:
        raise refused(file.name, 0, "file", f"it cannot be read: {why_not_read(fault)}", "Write it anew") from fault
    return _of_table(table, file.name)


def why_not_read(fault: Exception) -> str:
    """Return what is wrong with a file: the first line, without the file's name before and a full stop behind."""
    return str(fault).split("\n", 1)[0].split("': ")[-1].rstrip(".")


def _csv(file: Path) -> pa.Table:
    """A table of texts: each cell is read by what its column is."""
    with file.open("rb") as opened:
        head = opened.readline().decode("utf-8-sig").strip("\r\n")
    mark = max(",;\t", key=head.count)
    names = [name.strip('"') for name in head.split(mark)]
    texts = csv.ConvertOptions(column_types=dict.fromkeys(names, pa.string()), strings_can_be_null=True)
    return csv.read_csv(file, parse_options=csv.ParseOptions(delimiter=mark), convert_options=texts)


def _of_build(build: Build, called: str) -> Batch:
    """Every part that has features, but what stays on the vehicle; two builds' parts are told apart by their names."""
    stem = offered_id(build.settings.name if build.settings.name != "build" else called)
    found = [
        _alone(build, part, f"{stem}.{part.part}")
        for part in build.parts
        if part.origin != "host" and build.features_of(part.part)
    ]
    if not found:
        return _EMPTY
    return Batch(
        pa.Table.from_pylist([part for part, _ in found], PART_SCHEMA),
        pa.Table.from_pylist([row for _, rows in found for row in rows], FEATURE_SCHEMA),
        np.concatenate([[0], np.cumsum([len(rows) for _, rows in found])]),
    )


def _alone(build: Build, part: Part, name: str) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """One part as a row, with a row for each of its features where its readings have it."""
    own = build.features_of(part.part)
    readings = build.readings_of(part.part)
    places = adjust(part.part, own, readings)
    # Where the readings leave several shapes open no place is sure enough to be looked for.
    sure = len(places.layouts) <= 1 and places.flat
    at_mm = dict(zip(places.features, places.xyz_mm.tolist(), strict=True)) if sure else {}
    errors = dict(zip(places.features, errors_mm(places).tolist(), strict=True))
    kept = {name: [row for row in getattr(build, name) if getattr(row, "part", "") == part.part] for name in BESIDE}
    kept["models"] = [model for model in build.models if model.model == part.model]
    kept["features"] = [replace(feature, goes_on=None) for feature in own]
    told = {sheet: [asdict(replace(row, row=0)) for row in rows] for sheet, rows in kept.items() if rows}
    beside = json.dumps({**told, "of": part.part}, ensure_ascii=False)
    row = {column.name: _cell(getattr(part, column.attribute)) for column in PART_COLUMNS}
    opened = any(zone.kind == "opening" for zone in kept["zones"])
    return {**row, "part": name, "handed": places.handed, "opened": opened, "beside": beside}, [
        _feature_row(feature, readings, at_mm, errors, places.framed) for feature in own
    ]


def errors_mm(places: Positions) -> np.ndarray:
    """(n,) mm: how far each centre may be from its place; of an adjusted one, the rectangle of the same spread."""
    half = np.array(places.half_width_mm, dtype=float)
    if places.covariance_mm2 is not None and len(half):
        spread = np.sqrt(np.diag(places.covariance_mm2).reshape(len(half), -1).max(axis=1) * 3.0)
        tied = np.isin(places.features, places.adjusted)
        half = np.where(tied, spread, half)
    return math.sqrt(places.dims) * half


def _feature_row(
    feature: Feature, readings: tuple[Reading, ...], at_mm: Mapping[str, list[float]], errors: Mapping[str, float],
    framed: bool,
) -> dict[str, Any]:  # fmt: skip
    from partkin.model.mating import direction_deg

    size = dimensions(feature, readings)
    place = dict(zip(("x_mm", "y_mm", "z_mm"), (*at_mm.get(feature.feature, ()), None, None, None), strict=False))
    axis = dict(zip(("axis_x", "axis_y", "axis_z"), feature.axis or (None,) * 3, strict=True))
    angle = direction_deg(feature, at_mm) if feature.angle_to else feature.angle_deg if framed else None
    row = {c.name: getattr(feature, c.attribute, None) for c in FEATURE_COLUMNS}
    return {
        **row, **place, **axis, "across_mm": size.across_mm, "length_mm": size.length_mm, "angle_deg": angle,
        "across_error_mm": size.across_half_width_mm, "length_error_mm": size.length_half_width_mm,
        "error_mm": errors.get(feature.feature, 0.0),
    }  # fmt: skip


def _cell(value: Any) -> Any:
    return "; ".join(value) if isinstance(value, tuple) else value


class _Faults:
    """Faults of a table, and which of its rows have one."""

    def __init__(self, name: str, rows: int) -> None:
        self.name, self.faulty, self.listed = name, np.zeros(rows, dtype=bool), []  # type: ignore[var-annotated]

    def note(self, rows: np.ndarray, column: str, what: str, mend: str) -> None:
        self.faulty[rows] = True
        room = FAULTS_AT_MOST - len(self.listed)
        self.listed += [Problem(self.name, int(row) + 2, column, what, mend) for row in rows[:room]]


def _of_table(table: pa.Table, name: str) -> tuple[Batch, tuple[Problem, ...]]:
    """Parts out of a row a feature; columns that say something of the part are as in parts.csv."""
    table = table.rename_columns([column.strip().lower().replace(" ", "_") for column in table.column_names])
    lacking = [column for column in ("part", "feature", "kind", "x_mm", "y_mm") if column not in table.column_names]
    refuse_any(Problem(name, 1, c, f"the column {c} is missing", "Add it") for c in lacking)
    faults = _Faults(name, table.num_rows)
    findings = ProblemList()
    own = {"part": next(c for c in COLUMNS[FEATURES] if c.name == "part")}
    own |= {c.name: c for c in (*PART_COLUMNS, *FEATURE_COLUMNS)}
    values = {
        c: _typed(own[c], table.column(c).combine_chunks(), faults, findings) for c in table.column_names if c in own
    }
    for column in ("part", "feature", "kind", "x_mm", "y_mm"):
        empty = np.flatnonzero(np.asarray(values[column].is_null()) & ~faults.faulty)
        faults.note(empty, column, f"{column} is empty", "Fill it")
    slot = np.asarray(pc.equal(values["kind"], "slot").fill_null(False))
    wide, long = (_floats(values, name, table.num_rows) for name in ("across_mm", "length_mm"))
    what, mend = "the slot is shorter than it is wide", "Give its overall length end to end"
    faults.note(np.flatnonzero(slot & (long < wide)), "length_mm", what, mend)
    order, first = _by_part(values["part"])
    _check_doubles(values, order, first, faults)
    parts = _part_rows(values, order, first, faults)
    sound = ~np.logical_or.reduceat(faults.faulty[order], first[:-1]) if len(first) > 1 else np.zeros(0, dtype=bool)
    features = pa.table([values.get(f.name, pa.nulls(len(order), f.type)) for f in FEATURE_SCHEMA], FEATURE_SCHEMA)
    rectangle = np.sqrt(2.0) * np.nan_to_num(_floats(values, "plus_minus_mm", len(order)), nan=_UNSAID_MM)
    features = features.set_column(features.num_columns - 1, "error_mm", pa.array(rectangle))
    batch = Batch(parts, features.take(order), first)
    return (batch if sound.all() else batch.take(np.flatnonzero(sound))), tuple(sorted(faults.listed))


_UNSAID_MM = coordinate_half_width_mm(Feature("", "", "hole"))


def _typed(column: Column, cells: pa.Array, faults: _Faults, findings: ProblemList) -> pa.Array:
    """The values of a column; each different cell is read once, by the reader of the sheets."""
    wanted = _kind(column)
    if pa.types.is_floating(cells.type) or pa.types.is_integer(cells.type):
        if wanted == pa.float64():
            return _within(column, cells.cast(pa.float64()), faults)
        cells = cells.cast(pa.string())
    if pa.types.is_boolean(cells.type) and wanted == pa.bool_():
        return cells
    cells = pc.utf8_trim_whitespace(cells.cast(pa.string()))
    cells = pc.if_else(pc.equal(cells, ""), pa.scalar(None, pa.string()), cells)
    if wanted == pa.float64():
        plain = pc.match_substring_regex(cells, r"^-?\d{1,15}(\.\d{1,9})?$")
        if pc.all(plain, min_count=0).as_py():
            return _within(column, cells.cast(pa.float64()), faults)
    coded = cells.dictionary_encode()
    codes = np.asarray(coded.indices.fill_null(-1))
    read_cell, read_values = reader_of(column, ".", findings), []
    for code, text in enumerate(coded.dictionary.to_pylist()):
        try:
            value = read_cell(text if column.read_as not in _NUMBERS else text.replace(",", "."))
            if isinstance(value, str) and wanted == pa.float64():
                raise CellFault(f'"{text}" names a feature', "Write degrees")
        except CellFault as fault:
            faults.note(np.flatnonzero(codes == code), column.name, fault.what, fault.mend)
            value = None
        read_values.append(_cell(value))
    return pa.array(read_values, wanted).take(coded.indices)


def _within(column: Column, values: pa.Array, faults: _Faults) -> pa.Array:
    """Numbers that are numbers, and within the column's bounds; NaN is an empty cell."""
    values = pc.if_else(pc.is_nan(values), pa.scalar(None, pa.float64()), values)
    numbers = np.asarray(values.fill_null(np.nan))
    least = -1e9 if column.least is None else column.least
    out = (numbers < least) | (numbers > (column.most or 1e9))
    out |= (numbers <= column.above) if column.above is not None else False
    for row in np.flatnonzero(out):
        what = f"{numbers[row]:g} is not what {column.name} can be"
        faults.note(np.array([row]), column.name, what, "Look at the decimal sign and the unit")
    return values


def _floats(values: Mapping[str, pa.Array], name: str, rows: int) -> np.ndarray:
    return np.asarray(values[name].fill_null(np.nan)) if name in values else np.full(rows, np.nan)


def _by_part(part: pa.Array) -> tuple[np.ndarray, np.ndarray]:
    """Rows with those of one part together, parts in the order in which they come; where each begins."""
    codes = np.asarray(part.dictionary_encode().indices.fill_null(-1))
    order = np.argsort(codes, kind="stable")
    first = np.flatnonzero(np.diff(codes[order], prepend=-2))
    return order, np.append(first, len(order))


def _check_doubles(values: Mapping[str, pa.Array], order: np.ndarray, first: np.ndarray, faults: _Faults) -> None:
    codes = np.asarray(values["feature"].dictionary_encode().indices.fill_null(-1)).astype(np.int64)[order]
    owner = np.repeat(np.arange(len(first) - 1), np.diff(first))
    key = owner * (int(codes.max(initial=0)) + 2) + codes
    ranked = np.argsort(key, kind="stable")
    again = ranked[1:][np.diff(key[ranked]) == 0]
    faults.note(order[again], "feature", "this part has a feature of that id already", "Give one another id")


def _part_rows(values: Mapping[str, pa.Array], order: np.ndarray, first: np.ndarray, faults: _Faults) -> pa.Table:
    """A row a part: what its first filled row says; another one that says otherwise is a fault."""
    count, columns = len(first) - 1, []
    begins = order[first[:-1]]
    for field in PART_SCHEMA:
        if field.name in ("handed", "opened"):
            columns.append(pa.array(np.full(count, field.name == "handed")))
        elif field.name not in values:
            columns.append(pa.nulls(count, field.type))
        else:
            cells = values[field.name]
            columns.append(cells.take(begins))
            if field.name != "part":
                spread = columns[-1].take(np.repeat(np.arange(count), np.diff(first)))
                here = cells.take(order)
                differs = pc.and_(pc.is_valid(here), pc.invert(pc.equal(here, spread).fill_null(False)))
                what = f"the first row of this part has another {field.name}"
                faults.note(order[np.flatnonzero(np.asarray(differs))], field.name, what, "Write it alike in every row")
    return pa.table(columns, PART_SCHEMA)


_EMPTY = Batch(PART_SCHEMA.empty_table(), FEATURE_SCHEMA.empty_table(), np.zeros(1, dtype=np.int64))


def part_of(row: Mapping[str, Any]) -> Part:
    """Return the row of parts.csv that a row of the stock was made from."""
    cells = {column.attribute: value_of(column, row[column.name]) for column in PART_COLUMNS}
    return Part(row["part"], **cells)


def value_of(column: Column, cell: Any) -> Any:
    """Return what a cell of the stock stands for; the inverse of how it was written."""
    if column.read_as != "part numbers":
        return cell
    return tuple(old.strip() for old in (cell or "").split(";") if old.strip())


def build_with(build: Build, host: str, row: Mapping[str, Any], features: Iterable[Mapping[str, Any]]) -> Build:
    """Return a build with a part of the stock as a donor for one of its hosts, all that is known of it beside it."""
    name = row["part"]
    part = replace(part_of(row), origin="donor", takes_place_of=host)
    more: dict[str, tuple[Any, ...]] = {"parts": (part,)}
    if row["beside"]:
        told = json.loads(row["beside"])
        for sheet, kind in BESIDE.items():
            rows = tuple(_row_of(kind, one) for one in told.get(sheet, ()))
            more[sheet] = tuple(replace(one, part=name) for one in rows) if sheet != "models" else tuple(
                one for one in rows if one.model not in {model.model for model in build.models}
            )  # fmt: skip
    else:
        columns = [c for c in FEATURE_COLUMNS if not c.name.startswith("axis_") and c.read_as]
        own = []
        for one in features:
            axis = tuple(one[f"axis_{way}"] for way in "xyz")
            cells = {c.attribute: one[c.name] for c in columns}
            own.append(Feature(name, **cells, axis=None if None in axis else axis))
        more["features"] = tuple(own)
    return replace(build, **{sheet: (*getattr(build, sheet), *rows) for sheet, rows in more.items()})  # type: ignore[arg-type]


def _row_of(kind: Any, told: Mapping[str, Any]) -> Any:
    """A dataclass out of JSON, where tuples have become lists."""
    names = {field.name for field in fields(kind)}
    return kind(**{name: _tuples(value) for name, value in told.items() if name in names})


def _tuples(value: Any) -> Any:
    return tuple(map(_tuples, value)) if isinstance(value, list) else value


def told_in_file(problems: Iterable[Problem]) -> Iterator[str]:
    """Yield the lines of the file of faults: row by row, as CSV."""
    yield "file,row,column,what,mend\n"
    for one in sorted(problems):
        cells = (one.sheet, str(one.row or ""), one.column, one.what, one.mend)
        yield ",".join('"' + cell.replace('"', '""') + '"' for cell in cells) + "\n"
