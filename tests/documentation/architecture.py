"""Writes docs/architecture.md: the rooms as the imports draw them, and the walks of a hole and a reading as they run.

python tests/documentation/architecture.py
"""

from __future__ import annotations

import ast
import dataclasses
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from types import FrameType
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "reasoner" / "partkin"
PAGE = ROOT / "docs" / "architecture.md"
# Values that nothing else in the demo has, so that they can be followed.
HOLE_MM, READING_MM = 194.10625, 440.40625
DONOR = "top-dask"
AT_MOST_DEEP = 7


@dataclasses.dataclass(frozen=True)
class Step:
    """Where a value is first found in a new place: the place, and the function that returned it."""

    holder: str
    file: str
    line: int
    function: str

    def row(self) -> str:
        """The step as a row of the page."""
        link = f"[{self.file}:{self.line}](../reasoner/partkin/{self.file}#L{self.line})"
        return f"| `{self.holder}` | `{self.function}` | {link} |"


def floors() -> list[list[str]]:
    """Rooms by floor, the highest first, as import-linter's contract has them."""
    import tomllib

    tools = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]
    layers = next(one["layers"] for one in tools["importlinter"]["contracts"] if one["type"] == "layers")
    return [[room.strip() for room in layer.split("|")] for layer in layers]


@cache
def uses() -> dict[str, set[str]]:
    """For each room the rooms that it imports, imports for types alone included."""
    found: dict[str, set[str]] = {}
    for file in sorted(PACKAGE.rglob("*.py")):
        room = file.relative_to(PACKAGE).parts[0].removesuffix(".py")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.ImportFrom) or not (node.module or "").startswith("partkin"):
                continue
            module = node.module or ""
            names = [module.split(".")[1]] if "." in module else [alias.name for alias in node.names]
            found.setdefault(room, set()).update(name for name in names if name != room)
    return found


def first_line(room: str) -> str:
    """The first sentence that a room says of itself."""
    file = PACKAGE / room / "__init__.py" if (PACKAGE / room).is_dir() else PACKAGE / f"{room}.py"
    says = ast.get_docstring(ast.parse(file.read_text(encoding="utf-8"))) or ""
    return " ".join(says.split("\n\n")[0].split())


def rooms_part() -> Iterator[str]:
    """The part of the page that shows the rooms."""
    used = uses()
    yield from ("| floor | room | what it is for | it uses |", "| --- | --- | --- | --- |")
    order = [room for floor in floors() for room in floor]
    for number, floor in enumerate(floors(), start=1):
        for room in floor:
            below = [f"`{other}`" for other in order if other in used.get(room, set())]
            yield f"| {number} | `{room}` | {first_line(room)} | {', '.join(below) or 'nothing'} |"
    apart = [f"`{other}`" for other in order if other in used["verify"]]
    yield f"| apart | `verify` | {first_line('verify')} | {', '.join(apart)} |"


def _names(value: Any) -> tuple[str, ...]:
    """The fields of a dataclass or named tuple; none of anything else."""
    named: tuple[str, ...] = getattr(value, "_fields", ())
    return tuple(field.name for field in dataclasses.fields(value)) if dataclasses.is_dataclass(value) else named


def _places(value: Any, sought_mm: float, depth: int, holder: str, seen: set[int]) -> Iterator[str]:
    """Every field within a value that holds the number itself."""
    if isinstance(value, float):
        if abs(value - sought_mm) < 1e-9:
            yield holder
    elif depth < 0 or id(value) in seen:
        return
    elif isinstance(value, np.ndarray):
        if value.dtype.kind == "f" and (np.abs(value - sought_mm) < 1e-9).any():
            yield holder
    elif not isinstance(value, type) and (names := _names(value)):
        seen.add(id(value))
        for name in names:
            inner = f"{type(value).__name__}.{name}"
            yield from _places(getattr(value, name, None), sought_mm, depth - 1, inner, seen)
    elif isinstance(value, (tuple, list, dict)):
        seen.add(id(value))
        for part in value.values() if isinstance(value, dict) else value:
            yield from _places(part, sought_mm, depth - 1, holder, seen)


def walk(run: Callable[[], object], sought_mm: float) -> list[Step]:
    """Follow a number through a run: one step for each new field of a class that comes to hold it."""
    steps: dict[str, Step] = {}

    def returned(frame: FrameType, event: str, value: Any) -> None:
        code = frame.f_code
        if event != "return" or value is None or not code.co_filename.startswith(str(PACKAGE)):
            return
        for holder in _places(value, sought_mm, AT_MOST_DEEP, "", set()):
            if holder and holder not in steps:
                file = Path(code.co_filename).relative_to(PACKAGE).as_posix()
                steps[holder] = Step(holder, file, code.co_firstlineno, code.co_name)

    sys.setprofile(returned)
    try:
        run()
    finally:
        sys.setprofile(None)
    return list(steps.values())


def modules_entered(run: Callable[[], object]) -> set[str]:
    """The modules of the package of which a run calls a function."""
    entered: set[str] = set()

    def called(frame: FrameType, event: str, _value: Any) -> None:
        if event == "call" and frame.f_code.co_name != "<module>":
            name = frame.f_code.co_filename
            if name.startswith(str(PACKAGE)):
                entered.add(Path(name).relative_to(PACKAGE).as_posix())

    sys.setprofile(called)
    try:
        run()
    finally:
        sys.setprofile(None)
    return entered


def with_hole(build: Path) -> None:
    """Give one hole of the demo an x that can be followed."""
    sheet = build / "features.csv"
    text = sheet.read_text(encoding="utf-8")
    marked = text.replace(f"{DONOR},c,hole,7,,,,,,194.1,", f"{DONOR},c,hole,7,,,,,,{HOLE_MM},")
    assert marked != text, "the demo's hole c has moved"
    sheet.write_text(marked, encoding="utf-8")


def with_reading(build: Path) -> None:
    """Add a reading to the demo that can be followed."""
    sheet = build / "readings.csv"
    text = sheet.read_text(encoding="utf-8")
    row = {
        "part": DONOR, "reading": "t9001", "quantity": "centres", "from": "c", "to": "d", "value": str(READING_MM),
        "unit": "mm", "instrument": "tape",
    }  # fmt: skip
    columns = text.split("\n", 1)[0].split(",")
    sheet.write_text(text + ",".join(row.get(name, "") for name in columns) + "\n", encoding="utf-8")


def checked(mark: Callable[[Path], None], look: Callable[[Callable[[], object]], Any]) -> Any:
    """Look at a check of the demo in which something can be followed, from its sheets to its verdict file."""
    from partkin import pipeline
    from partkin.report.verdict_file import verdict_json
    from partkin.tables.reader import shipped

    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "demo"
        shutil.copytree(shipped("data") / "demo", made)
        mark(made)
        return look(lambda: verdict_json(pipeline.check(pipeline.load_build(made), DONOR)))


@cache
def walk_of_a_hole() -> list[Step]:
    """The steps of the marked hole."""
    return checked(with_hole, lambda run: walk(run, HOLE_MM))


def page() -> str:
    """The page of docs."""
    hole = walk_of_a_hole()
    reading = checked(with_reading, lambda run: walk(run, READING_MM))
    entered = checked(with_hole, modules_entered)
    classes = {step.holder.split(".")[0] for step in hole}
    table = ("| it stands in | put there by | where |", "| --- | --- | --- |")
    lines = [
        "# The rooms, and two walks through them",
        "",
        "Made by `python tests/documentation/architecture.py` from the imports and from a traced check of the demo.",
        "Change the code, then run that. DEVELOPERS.md says how to add things.",
        "",
        "## The rooms",
        "",
        "A room uses rooms on floors with a higher number, never one on its own floor; `lint-imports` holds it.",
        "",
        *rooms_part(),
        "",
        "## The walk of one hole",
        "",
        f"A hole's `x_mm` is written in features.csv. A check of the demo takes it through {len(classes)} classes to",
        "the verdict file. Each row is a field that comes to hold the very number, and the function that first",
        "returned it there. The graph holds it too, as text: `graph/statements.py` writes it, `graph/backwards.py`",
        "reads it back.",
        "",
        *table,
        *(step.row() for step in hole),
        "",
        "## The walk of one reading",
        "",
        "A distance is written in readings.csv, and goes into the adjusted places of both its holes.",
        "",
        *table,
        *(step.row() for step in reading),
        "",
        f"Such a check calls functions of {len(entered)} modules of the package.",
        "",
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    print(PAGE.relative_to(ROOT).as_posix())
