"""A photograph taken down: readings or places out of picked points, and what they change."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from partkin import pipeline
from partkin.commands.recording import Shown, VerdictChange, appended_all, changes, verdicts
from partkin.model.build import Build, Reading
from partkin.positions.lengths import current
from partkin.readings.photographed import OnFace, PhotoQuestion, readings_of, refused, seen_in, understood_question
from partkin.readings.picks import read_picks
from partkin.readings.typed_cells import plain_number
from partkin.readings.typed_readings import Faults
from partkin.tables.instruments import greatest_error_mm

FEATURES = "features.csv"


class Photographed(NamedTuple):
    """What came of it: readings taken down, or places filled in; `doubts` and `notes` in words; changes of verdicts."""

    part: str
    readings: tuple[Reading, ...]
    placed: tuple[str, ...]
    notes: tuple[str, ...]
    changes: tuple[VerdictChange, ...]
    doubts: tuple[str, ...] = ()


def photograph(folder: Path, asked: PhotoQuestion, shown: Shown | None = None) -> Photographed:
    """Turn picked points into readings (or places) of a part, and say what that changes.

    `shown`: shows the checks of the donors concerned.

    Raises
    ------
    FaultyInput
        Nothing can be told from the picture, and why; or the sheets hold faults. Then nothing was changed.
    """
    build, _ = pipeline.read(folder)
    faults = Faults("photo")
    picks = faults.kept(read_picks, asked.image, asked.points)
    faults.kept(understood_question, build, asked)
    faults.raise_any()
    if picks is None:
        raise AssertionError("they are there, or a fault says why not")
    seen = seen_in(build, asked, picks)
    before = verdicts(build, asked.part, shown)
    readings: tuple[Reading, ...] = () if asked.places else _write_readings(folder, build, asked, seen)
    placed = _write_places(folder, build, asked, seen) if asked.places else ()
    now, _ = pipeline.read(folder)
    changed = changes(before, verdicts(now, asked.part, shown))
    return Photographed(asked.part, readings, placed, seen.notes, changed, seen.doubts)


def _write_readings(folder: Path, build: Build, asked: PhotoQuestion, seen: OnFace) -> tuple[Reading, ...]:
    image = "".join(letter if letter.isprintable() else "?" for letter in asked.image.name)[:120]
    rows = readings_of(asked.part, seen, image)

    def meant(now: Build) -> list[Reading]:
        earlier = {
            frozenset((row.from_feature, row.to_feature)): row.reading for row in current(now.readings_of(asked.part))
            if row.instrument == "photo" and row.note == f"from {image}"
        }  # fmt: skip
        return [replace(row, corrects=earlier.get(frozenset((row.from_feature, row.to_feature)))) for row in rows]

    return appended_all(folder, build, meant)


def _write_places(folder: Path, build: Build, asked: PhotoQuestion, seen: OnFace) -> tuple[str, ...]:
    """Fill in the places of features that have none, where the picture has the part's own frame."""
    from partkin.sheets import fill

    rows = {row.feature: row for row in build.features_of(asked.part)}
    if not seen.tied and any(row.x_mm is not None for row in rows.values()):
        mend = "Say --known with four of them, or leave --places out and take readings"
        raise refused("places", f"{asked.part} has places already, in a frame that this picture does not know", mend)
    cells: dict[tuple[str, ...], dict[str, str]] = {}
    for at, name in enumerate(seen.names):
        if name in seen.tied:
            continue
        block = seen.covariance_mm2[2 * at : 2 * at + 2, 2 * at : 2 * at + 2]
        half_mm = math.sqrt(3.0 * float(np.linalg.eigvalsh(block)[-1]))
        if seen.square_on:
            half_mm += greatest_error_mm("photo", float(np.abs(seen.at_mm[at]).max()))
        cells[asked.part, name] = {
            "x_mm": plain_number(round(float(seen.at_mm[at, 0]), 1)),
            "y_mm": plain_number(round(float(seen.at_mm[at, 1]), 1)),
            "plus_minus_mm": plain_number(math.ceil(10.0 * half_mm) / 10.0),
        }
    fill(folder, FEATURES, cells)
    return tuple(name for name in seen.names if name not in seen.tied)
