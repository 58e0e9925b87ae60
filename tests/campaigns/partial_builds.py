"""Random partial builds: whole ones, with cells and rows left out and readings gone wrong. One home for all tests.

Examples
--------
>>> partial(7) == partial(7)
True
>>> sheets = partial(7)
>>> fewer = erased(sheets, list(known(sheets))[:1])
>>> len(list(known(sheets))) - len(list(known(fewer)))
1
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from pathlib import Path
from random import Random
from typing import NamedTuple

from campaigns.whole_builds import Row, Sheets, whole
from partkin.model.columns import BY_NAME, COLUMNS

__all__ = [
    "Known", "Row", "Sheets", "build_folder", "erased", "known", "less_known", "mended", "partial", "questions",
    "settings", "whole", "write",
]  # fmt: skip

# Cells that are known or not known together; every other cell of these columns stands alone.
PLACE = ("x_mm", "y_mm", "z_mm")
AXIS = ("axis_x", "axis_y", "axis_z")
MAY_BE_EMPTY = {
    "parts.csv": (
        "model", "part_number", "origin", "takes_place_of", "part_of", "hand", "drive", "seen_from", "duty", "airbag",
        "material", "thickness_mm", "mass_kg", "finish", "flex_mm", "flex_in_plane",
    ),
    "features.csv": (
        "across_mm", "length_mm", "angle_deg", "float_mm", "thread", "fastener_mm", PLACE, "plus_minus_mm", "goes_on",
        "need", "zone", AXIS,
    ),
    "readings.csv": ("plus_minus", "instrument", "by", "on"),
    "offers.csv": ("price", "shipping", "seller", "on", "available", "hours"),
    "neighbours.csv": ("gap_mm", "gap_min_mm", "gap_max_mm"),
    "connectors.csv": ("ways", "keyed_as", "need"),
}  # fmt: skip
# Of these, and of readings, an empty cell says nothing; of the others the contract says what empty means.
SAY_NOTHING = {
    "parts.csv": ("seen_from",),
    "features.csv": ("across_mm", "length_mm", "angle_deg", "float_mm", "fastener_mm", "thread", PLACE),
}  # fmt: skip
# How much of a column a part keeps: mostly all or nothing.
SHARES_KEPT = (1.0, 1.0, 1.0, 1.0, 0.7, 0.4, 0.0)


class Known(NamedTuple):
    """A cell (or cells that are only known together) that may be erased; no columns: the whole row."""

    sheet: str
    row: int
    columns: tuple[str, ...] = ()


def build_folder(seed: int, where: Path) -> Path:
    """Write the partial build of a number into a folder that is made for it, and return the folder."""
    return write(partial(seed), where / f"build-{seed}", settings(seed))


def write(sheets: Sheets, folder: Path, toml: str = "") -> Path:
    """Write sheets, and build.toml where there is any of it, into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in sheets.items():
        columns = list(dict.fromkeys(column for row in rows for column in row))
        if not rows and not BY_NAME[name].must_exist:
            continue
        columns = columns or [column.name for column in COLUMNS[name]]
        text = io.StringIO()
        made = csv.DictWriter(text, columns, lineterminator="\n", restval="")
        made.writeheader()
        made.writerows(rows)
        (folder / name).write_text(text.getvalue(), encoding="utf-8")
    if toml:
        (folder / "build.toml").write_text(toml, encoding="utf-8")
    return folder


def settings(seed: int) -> str:
    """The build.toml of a number; empty: there is none."""
    draw = Random(f"settings {seed}")
    if draw.random() < 0.5:
        return ""
    lines = ["[build]", 'name = "invented"', f"confidence = {draw.choice((0.9, 0.95, 0.99))}"]
    lines += ['currency = "EUR"', "labour_rate = 45.0"] if draw.random() < 0.5 else []
    lines += ["adapt_host = true"] if draw.random() < 0.3 else []
    return "\n".join(lines) + "\n"


def partial(seed: int, slips: bool = True) -> Sheets:
    """Draw the partial build of a number: `whole(seed)` without much of what it says.

    Parameters
    ----------
    seed
    slips
        Let some readings be wrong, or corrected. Without, `whole(seed)` is an allowed way of filling it in.

    Returns
    -------
    dict of sheet name to rows, every cell as text
    """
    draw = Random(f"partial build {seed}")
    sheets = whole(seed)
    sheets = erased(sheets, _unmeasured(sheets, draw))
    sheets = erased(sheets, _forgotten(sheets, draw))
    if slips and draw.random() < 0.3:
        _slip(sheets, draw)
    return sheets


def less_known(seed: int) -> Sheets:
    """`whole(seed)` with gaps that say nothing: places, sizes, directions, faces and readings that nobody took.

    A hole keeps its thread: one that names no screw takes the one of the nut.
    """
    draw, sheets = Random(f"less known {seed}"), whole(seed)
    share, gone = draw.choice((0.05, 0.15, 0.4)), []
    for one in known(sheets):
        row = sheets[one.sheet][one.row]
        of_hole = one.columns == ("thread",) and row["kind"] in ("hole", "slot")
        group = one.columns[0] if len(one.columns) == 1 else one.columns
        may = group in SAY_NOTHING.get(one.sheet, ()) if one.columns else one.sheet == "readings.csv"
        if may and not of_hole and draw.random() < share:
            gone.append(one)
    return erased(sheets, gone)


def known(sheets: Sheets) -> Iterator[Known]:
    """Every cell that is filled in and could be erased, and every row that could be left out, in sheet order."""
    for sheet, groups in MAY_BE_EMPTY.items():
        for place, row in enumerate(sheets.get(sheet, ())):
            for group in groups:
                columns = (group,) if isinstance(group, str) else group
                if any(row.get(column) for column in columns):
                    yield Known(sheet, place, columns)
    for sheet in ("features.csv", "readings.csv"):
        for place in range(len(sheets.get(sheet, ()))):
            yield Known(sheet, place)


def erased(sheets: Sheets, what: Iterable[Known]) -> Sheets:
    """Return the sheets without these cells and rows, and without what then names nothing; the given stay as they are.

    A place in space is erased with all of it; where one z of a part is left empty, the others stay with theirs.
    """
    kept = {name: [dict(row) for row in rows] for name, rows in sheets.items()}
    gone: set[tuple[str, int]] = set()
    for one in what:
        if not one.columns:
            gone.add((one.sheet, one.row))
        for column in one.columns:
            if column in kept[one.sheet][one.row]:
                kept[one.sheet][one.row][column] = ""
    left = {n: [row for k, row in enumerate(rows) if (n, k) not in gone] for n, rows in kept.items()}
    return mended(left)


def mended(sheets: Sheets) -> Sheets:
    """Return the sheets without cells and rows that name a feature that is not there, which the reader would refuse."""
    there = {(row["part"], row["feature"]) for row in sheets.get("features.csv", ())}
    made = dict(sheets)
    if "readings.csv" in sheets:
        kept = [
            row for row in sheets["readings.csv"]
            if all((row["part"], name) in there for name in (row["from"] + " " + row["to"]).split())
        ]  # fmt: skip
        ids = {(row["part"], row["reading"]) for row in kept}
        made["readings.csv"] = [
            row | {"corrects": row["corrects"] if (row["part"], row["corrects"]) in ids else ""} for row in kept
        ]
    parts = {row["part"]: row for row in sheets["parts.csv"]}
    made["features.csv"] = [dict(row) for row in sheets["features.csv"]]
    for row in made["features.csv"]:
        named = _fixings_of(parts[row["part"]], parts, there)
        if parts[row["part"]]["origin"] == "host" or (named and row.get("goes_on") not in named):
            row["goes_on"] = ""
        if row.get("angle_deg", "").startswith("to ") and (row["part"], row["angle_deg"][3:]) not in there:
            row["angle_deg"] = ""
    return made


def _fixings_of(owner: Row, parts: dict[str, Row], there: set[tuple[str, str]]) -> set[str]:
    """What a feature of a part may be meant for: fixings of its host, and what the other originals call theirs."""
    host = owner["takes_place_of"]
    sides = {
        name for name, part in parts.items()
        if name == host or (part["origin"] == "original" and part["takes_place_of"] == host)
    }  # fmt: skip
    return {feature for part, feature in there if host and part in sides - {owner["part"]}}


def questions(sheets: Sheets) -> list[tuple[str, str]]:
    """(donor, host) of every check that a person may ask for: a host is empty where the donor names its own.

    A donor of another host, or of none, is asked about with each host.
    """
    parts = sheets["parts.csv"]
    hosts = [row["part"] for row in parts if row["origin"] == "host"]
    asked = []
    for row in parts:
        if row["origin"] == "donor":
            asked += [(row["part"], "")] if row["takes_place_of"] else []
            asked += [(row["part"], host) for host in hosts if host != row["takes_place_of"]]
    return asked


def _unmeasured(sheets: Sheets, draw: Random) -> list[Known]:
    """Rows that nobody wrote down: whole parts without features, readings that were not taken, features not seen."""
    gone = []
    shares = {"host": (0.0, 0.0, 0.0, 0.1, 1.0), "original": (0.0, 0.0, 0.1, 1.0), "donor": (0.0,) * 6 + (0.2, 1.0)}
    for part in sheets["parts.csv"]:
        share = draw.choice(shares[part["origin"]])
        for sheet in ("features.csv", "readings.csv"):
            of_part = draw.choice((share, 0.0, 0.5, 1.0)) if sheet == "readings.csv" else share
            for place, row in enumerate(sheets.get(sheet, ())):
                if row["part"] == part["part"] and draw.random() < of_part:
                    gone.append(Known(sheet, place))
    return gone


def _forgotten(sheets: Sheets, draw: Random) -> list[Known]:
    """Cells that nobody filled in: of each part and column all, most, few or none."""
    kept: dict[tuple[str, str, tuple[str, ...]], float] = {}
    gone = []
    for one in known(sheets):
        if not one.columns:
            continue
        if one.columns in (("origin",), ("takes_place_of",)):
            share = 0.99 if one.columns == ("origin",) else 0.93
        else:
            part = sheets[one.sheet][one.row].get("part", "")
            share = kept.setdefault((one.sheet, part, one.columns), draw.choice(SHARES_KEPT))
        if draw.random() >= share:
            gone.append(one)
    return gone


def _slip(sheets: Sheets, draw: Random) -> None:
    """Let one to three readings go wrong, and correct one of them now and then."""
    readings = sheets.get("readings.csv", [])
    lengths = [row for row in readings if row["quantity"] in ("centres", "near edges", "far edges", "across")]
    for row in draw.sample(lengths, min(len(lengths), draw.choice((1, 1, 2, 3)))):
        right, value = row["value"], float(row["value"])
        others = [other["value"] for other in lengths if other["unit"] == row["unit"]]
        slipped = (value * 10, value / 10, value + 10, value + 100, value * 2.54, _swapped(right))
        row["value"] = f"{draw.choice((*slipped, float(draw.choice(others)))):.2f}"
        if float(row["value"]) <= 0.0:
            row["value"] = right
        if draw.random() < 0.2:
            number = 1 + sum(other["part"] == row["part"] for other in readings)
            readings.append({**row, "reading": f"c{number}", "value": right, "corrects": row["reading"]})


def _swapped(text: str) -> float:
    digits = text.split(".")[0]
    return float(digits[:-2] + digits[-1] + digits[-2]) if len(digits) > 1 else float(text) + 1.0
