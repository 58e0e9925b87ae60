"""The demo: an invented build, every donor checked, and what to try next."""

from __future__ import annotations

import shlex
import shutil
from pathlib import Path

from partkin import pipeline
from partkin.model.problem import refused
from partkin.model.verdict import Verdict
from partkin.model.words import BOLTS_ON, NOT_ENOUGH, WITH_ADAPTATION, folded
from partkin.report.text import MARKS
from partkin.tables.reader import shipped

ANOTHER = "Name another folder: partkin demo FOLDER. Nothing was changed"


def run(folder: Path) -> str:
    """Write the demo's sheets and check every donor of it.

    `folder`: must not exist, be empty, or hold an untouched demo. What to show comes back, ending in a newline.
    """
    write(folder)
    build = pipeline.load_build(folder)
    verdicts = [pipeline.check(build, part.part) for part in build.parts if part.origin == "donor"]
    donors = {verdict.verdict: verdict.donor for verdict in verdicts}
    place = shlex.quote(folder.as_posix())
    tries = (
        (f"partkin check {donors[BOLTS_ON]} --in {place}", "the whole answer, with the numbers"),
        (f"partkin check {donors[WITH_ADAPTATION]} --in {place}", "what to do to it"),
        (f"partkin measure-next {donors[NOT_ENOUGH]} --in {place}", "what to read next"),
        (f"partkin doctor {place}", "after you have changed a sheet"),
        (f"partkin ask list --in {place}", "questions to the graph"),
        ("partkin new my-build", "sheets of your own"),
    )
    width = max(len(command) for command, _ in tries)
    lines = [
        f"An invented build in {folder.as_posix()}: no such car, part, seller or price exists.",
        "",
        *(line for verdict in verdicts for line in _told(verdict)),
        "",
        "Try next",
        *(f"  {command.ljust(width)}  {what}" for command, what in tries),
    ]
    return "\n".join(lines) + "\n"


def write(folder: Path) -> None:
    """Copy the demo's sheets; refuse to write over anything else."""
    source = shipped("data") / "demo"
    sheets = sorted(path for path in source.iterdir() if path.is_file())
    if folder.exists():
        if not folder.is_dir():
            raise refused(folder.as_posix(), 0, "folder", "the folder is a file", ANOTHER)
        changed = [
            path.name for path in sorted(folder.iterdir())
            if not (source / path.name).is_file() or path.read_bytes() != (source / path.name).read_bytes()
        ]  # fmt: skip
        if changed:
            what = f"the folder holds {changed[0]}, which is not the untouched demo"
            raise refused(folder.as_posix(), 0, "folder", what, ANOTHER)
    folder.mkdir(parents=True, exist_ok=True)
    for sheet in sheets:
        shutil.copyfile(sheet, folder / sheet.name)


def _told(verdict: Verdict) -> list[str]:
    told = [verdict.says]
    if verdict.conflict_says:
        told.append(f"As it is: {verdict.conflict_says}.")
    told += [f"- {action.says}" for action in (verdict.adaptation.actions if verdict.adaptation else ())]
    told += [f"? {unknown.says}" for unknown in verdict.unknown[:2]]
    told += [f"HOLD: {caution.says}" for caution in verdict.safety if caution.hold][:1]
    lines = [f"{MARKS[verdict.verdict]} {verdict.donor}: {verdict.verdict}"]
    for text in told:
        lines += folded(text, "      ")
    return lines
