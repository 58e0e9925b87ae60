"""Builds as folders of sheets, and the command line run in them as a person does. All values invented."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from dataclasses import fields
from pathlib import Path

from typer.testing import CliRunner

from partkin.cli.app import app
from partkin.model.build import Feature, Outline, Part, Zone
from partkin.model.problem import FaultyInput

Point = tuple[float, float]
SQUARE: tuple[Point, ...] = ((0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0))
PARTS = (
    "part", "name", "origin", "takes_place_of", "part_of", "seen_from", "duty", "airbag", "material", "thickness_mm",
)  # fmt: skip
FEATURES = (
    "part", "feature", "kind", "across_mm", "length_mm", "angle_deg", "float_mm", "thread", "fastener_mm", "x_mm",
    "y_mm", "plus_minus_mm", "goes_on", "need",
)  # fmt: skip
FRAME = Part("frame", origin="host", seen_from="outside", duty="body", material="steel", thickness_mm=2.0)
PANEL = Part(
    "panel", origin="donor", takes_place_of="frame", seen_from="outside", duty="trim", airbag=False, material="ABS",
    thickness_mm=3.0,
)  # fmt: skip
OLD = Part(
    "old", origin="original", takes_place_of="frame", seen_from="outside", duty="trim", airbag=False, thickness_mm=3.0
)
RIM = Outline("panel", "edge", "rim", ((-30.0, -30.0), (330.0, -30.0), (330.0, 230.0), (-30.0, 230.0)))


def studs(at: Iterable[Point], **cells: object) -> list[Feature]:
    """Studs M6 of the frame, F1 and on."""
    made = {"kind": "stud", "thread": "M6x1", "plus_minus_mm": 0.2, "need": "must", **cells}
    return [Feature("frame", f"F{n}", x_mm=x, y_mm=y, **made) for n, (x, y) in enumerate(at, 1)]  # type: ignore[arg-type]


def holes(at: Iterable[Point], part: str = "panel", **cells: object) -> list[Feature]:
    """Holes of 7 mm, a and on, each meant for the fixing of its number."""
    made = {"kind": "hole", "across_mm": 7.0, "plus_minus_mm": 0.2, **cells}
    names = [f"o{n}" if part == "old" else "abcdefghijkl"[n - 1] for n in range(1, 13)]
    return [
        Feature(part, names[n - 1], x_mm=x, y_mm=y, goes_on=f"F{n}", **made)  # type: ignore[arg-type]
        for n, (x, y) in enumerate(at, 1)
    ]


def write(
    folder: Path, parts: Sequence[Part], features: Sequence[Feature], outlines: Sequence[Outline] = (RIM,),
    zones: Sequence[Zone] = (), settings: str = 'currency = "EUR"\nlabour_rate = 45\n', **sheets: str,
) -> Path:  # fmt: skip
    """Write a build folder; `sheets`: further ones as text, by name."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "build.toml").write_text(f"[build]\n{settings}", encoding="utf-8")
    _sheet(folder / "parts.csv", PARTS, [[getattr(part, name) for name in PARTS] for part in parts])
    _sheet(folder / "features.csv", FEATURES, [[getattr(one, name) for name in FEATURES] for one in features])
    if outlines:
        rows = [(o.part, o.kind, o.name, n, x, y) for o in outlines for n, (x, y) in enumerate(o.corners_mm, 1)]
        _sheet(folder / "outlines.csv", ("part", "kind", "name", "point", "x_mm", "y_mm"), rows)
    if zones:
        rows = [(z.part, z.zone, z.kind, n, x, y) for z in zones for n, (x, y) in enumerate(z.corners_mm, 1)]
        _sheet(folder / "zones.csv", ("part", "zone", "kind", "point", "x_mm", "y_mm"), rows)
    for name, text in sheets.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def _sheet(path: Path, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as sheet:
        writer = csv.writer(sheet, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows([[_written(cell) for cell in row] for row in rows])


def _written(cell: object) -> object:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return "" if cell is None else cell


def typed(folder: Path, *words: str) -> tuple[int, str, str]:
    """Exit code, standard output and standard error of a command in a folder."""
    result = CliRunner().invoke(app, [*words, "--in", str(folder)])
    if isinstance(result.exception, FaultyInput):
        return 2, result.stdout, "\n".join(map(str, result.exception.problems))
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout, result.stderr


assert {field.name for field in fields(Feature)} >= set(FEATURES)
