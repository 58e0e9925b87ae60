"""The quick figures of README and docs: what stands between markers, and what console blocks print.

A constant of the package, ` * 100` and ` / 1e6` worked out: `<!--trial.places.MOST_LAYOUTS-->8<!--/-->`
A cell below data/, its row by its first columns: `<!--tables/edges.csv: slot edge, sheet metal: value-->1.5<!--/-->`
A value of MADE: `<!--h to e-->522.2<!--/-->`

A console block is run in a folder with the demo as it is written, each block in one of its own.
"""

from __future__ import annotations

import csv
import math
import os
import pkgutil
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

import partkin
from partkin.adaptation.outlines import FACING_COSINE
from partkin.fit.arrays import LEAN_COS
from partkin.graph.incoming import BYTES_AT_MOST
from partkin.model.build import Settings
from partkin.tables.instruments import greatest_error_mm, instruments, making
from partkin.tables.reader import shipped
from partkin.trial.out_by import _LESS

COMMAND = Path(sys.executable).with_name("partkin")
MARKER = re.compile(r"<!--(?P<name>[^\s/](?:(?!-->).)*)-->(?P<shown>.*?)<!--/-->")
CODE = re.compile(r"^```.*?^```$", re.MULTILINE | re.DOTALL)
_CONSOLE = re.compile(r"(?<=^```console\n)(?P<block>.*?)(?=^```)", re.MULTILINE | re.DOTALL)
_WORKED_OUT = re.compile(r"(?P<constant>[\w.]+)(?: (?P<sign>[*/]) (?P<by>[\d.e]+))?")


def written(page: str) -> str:
    """Return a page with every marker and every console block written anew."""
    page = MARKER.sub(lambda found: f"<!--{found['name']}-->{value(found['name'])}<!--/-->", page)
    return _CONSOLE.sub(lambda found: printed(found["block"]), page)


def value(name: str) -> str:
    """Return what a marker of that name stands for."""
    if name in MADE:
        return MADE[name]()
    if ".csv: " in name:
        return cell(*name.split(": "))
    found = _WORKED_OUT.fullmatch(name)
    if found is None:
        raise KeyError(f"no constant, cell or value is called {name!r}")
    number = pkgutil.resolve_name(f"partkin.{found['constant']}")
    if found["sign"]:
        number *= float(found["by"]) if found["sign"] == "*" else 1.0 / float(found["by"])
    return ", ".join(map(said, number)) if isinstance(number, tuple) else said(number)


def said(number: float) -> str:
    """Return a number as the pages write it: 24,000 and 0.95."""
    return f"{round(number):,}" if math.isclose(number, round(number)) else f"{number:g}"


def cell(sheet: str, row: str, column: str) -> str:
    """Return a cell of a sheet below data/, of the one row that begins so."""
    begins = row.split(", ")
    with (shipped("data") / sheet).open(encoding="utf-8", newline="") as file:
        head, *rows = csv.reader(file)
    (found,) = (one for one in rows if one[: len(begins)] == begins)
    return found[head.index(column)]


def printed(block: str) -> str:
    """Return a console block with what its commands print now, one after another."""
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(shipped("data") / "demo", Path(folder, "demo-build"))
        commands = re.findall(r"^\$ (.*)$", block, re.MULTILINE)
        return "".join(f"$ {command}\n{run(command, folder)}" for command in commands)


def run(command: str, folder: str) -> str:
    """Return what a partkin command prints, ending in a newline."""
    words = shlex.split(command)
    assert words[0] == "partkin", command
    done = subprocess.run(
        [str(COMMAND), *words[1:]], cwd=folder, capture_output=True, text=True, encoding="utf-8", timeout=120,
        env={**os.environ, "NO_COLOR": "1", "COLUMNS": "100"},
    )  # fmt: skip
    return (done.stdout + done.stderr).rstrip("\n") + "\n"


def _number(part: str, feature: str, column: str) -> float:
    """Return a number of the demo's features.csv."""
    return float(cell("demo/features.csv", f"{part}, {feature}", column))


def _apart_mm(part: str, one: str, other: str) -> float:
    """Return how far two features of the demo stand apart by their sheet."""
    return math.dist(*([_number(part, name, axis) for axis in ("x_mm", "y_mm")] for name in (one, other)))


def _peg_play_mm() -> float:
    return (_number("dash-frame", "P1", "across_mm") - _number("top-dask", "h", "across_mm")) / 2.0


def _screw_play_mm() -> float:
    through_mm = float(_thread()[1:])
    return (_number("top-dask", "e", "across_mm") - through_mm) / 2.0 + _number("dash-frame", "F5", "float_mm")


def _thread() -> str:
    return cell("demo/features.csv", "dash-frame, F5", "thread").split("x")[0]


def _odd_mm() -> float:
    """Return how far the odd hole of the demo's second donor stands off."""
    odd = partkin.check(partkin.load_build(shipped("data") / "demo"), "top-dask").odd
    assert odd is not None
    return math.hypot(*odd.odd[0].out_mm)


def _error(instrument: str, quantity: str, length_mm: int) -> str:
    return f"{greatest_error_mm(instrument, length_mm, quantity):g}"


# Worked out of the demo's sheets, as who checks by hand would; only "e off" is the program's own.
MADE: dict[str, Callable[[], str]] = {
    "h to e": lambda: f"{_apart_mm('top-dask', 'h', 'e'):.1f}",
    "P1 to F5": lambda: f"{_apart_mm('dash-frame', 'P1', 'F5'):.1f}",
    "needed": lambda: f"{_apart_mm('top-dask', 'h', 'e') - _apart_mm('dash-frame', 'P1', 'F5'):.1f}",
    "h": lambda: f"{_number('top-dask', 'h', 'across_mm'):.1f}",
    "P1": lambda: f"{_number('dash-frame', 'P1', 'across_mm'):.1f}",
    "peg": lambda: f"{_peg_play_mm():.1f}",
    "F5": _thread,
    "e": lambda: f"{_number('top-dask', 'e', 'across_mm'):.1f}",
    "floats": lambda: f"{_number('dash-frame', 'F5', 'float_mm'):.1f}",
    "screw": lambda: f"{_screw_play_mm():.1f}",
    "both": lambda: f"{_peg_play_mm() + _screw_play_mm():.1f}",
    "e off": lambda: f"{_odd_mm():.1f}",
    "no": lambda: said(1.0 - Settings.confidence),
    "spreads": lambda: ", ".join(map(said, making().spreads_mm)),
    "one person": lambda: " and ".join(cell("tables/lifting.csv", row, "up_to_kg") for row in ("16", "25")),
    "facing": lambda: said(math.degrees(math.acos(FACING_COSINE))),
    "lean": lambda: f"{math.degrees(math.acos(LEAN_COS)):.0f}",
    "less": lambda: said(100.0 * (1.0 - _LESS)),
    "megabytes": lambda: said(BYTES_AT_MOST >> 20),
} | {
    f"{instrument}, {quantity}, {length_mm} mm": partial(_error, instrument, quantity, length_mm)
    for instrument in instruments()
    for quantity in ("centres", "across")
    for length_mm in (100, 1000)
}  # fmt: skip
