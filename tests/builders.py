"""Small builds for tests: rows of numbers in, a Build out."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from partkin.model.build import Build, Feature, Part, Settings
from partkin.sheets.changing import append_all

Row = tuple[float, float]


def studs(points: Iterable[Row], across_mm: float = 6.0, need: str = "must", part: str = "host") -> list[Feature]:
    """Host studs F1, F2, ... read exactly."""
    return [
        Feature(part, f"F{n}", "stud", across_mm=across_mm, x_mm=x, y_mm=y, plus_minus_mm=0.0, need=need)
        for n, (x, y) in enumerate(points, start=1)
    ]


def holes(points: Iterable[Row], across_mm: float = 7.0, need: str | None = None, part: str = "donor") -> list[Feature]:
    """Donor holes a1, a2, ... read exactly."""
    return [
        Feature(part, f"a{n}", "hole", across_mm=across_mm, x_mm=x, y_mm=y, plus_minus_mm=0.0, need=need)
        for n, (x, y) in enumerate(points, start=1)
    ]


def given(features: Sequence[Feature]) -> list[Feature]:
    """Say of the n-th donor feature that it goes on the n-th fixing."""
    return [replace(f, goes_on=f"F{n}") for n, f in enumerate(features, start=1)]


def moved(points: Iterable[Row], turn_deg: float, x_mm: float, y_mm: float) -> list[Row]:
    """Turn about the origin, then shift."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return [(c * x - s * y + x_mm, s * x + c * y + y_mm) for x, y in points]


def build(
    host: Sequence[Feature], donor: Sequence[Feature], *, duty: str | None = "structural",
    host_face: str = "outside", donor_face: str = "outside", extra: Sequence[Part] = (), confidence: float = 0.95,
    airbag: bool | None = False,
) -> Build:  # fmt: skip
    """One host, one donor. Duty structural by default, so that no adaptation is looked for."""
    parts = (
        Part("host", origin="host", seen_from=host_face, duty="trim", airbag=False, name="host"),
        Part(
            "donor", origin="donor", takes_place_of="host", seen_from=donor_face, duty=duty, airbag=airbag, name="donor"
        ),
        *extra,
    )
    return Build(settings=Settings(confidence=confidence), parts=parts, features=(*host, *donor))


def append(folder: Path, sheet: str, row: Mapping[str, str]) -> None:
    """Add one row to a sheet."""
    append_all(folder, {sheet: (row,)})
