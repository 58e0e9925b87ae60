"""What a message to a seller is made of where little is known: what a part most likely has, and a sketch as text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from partkin.model.build import Feature
from partkin.model.known import Known
from partkin.model.words import Kind

# What goes onto a host's feature, where no part that came off shows it.
GOES_ONTO: dict[Kind, Kind] = {
    "stud": "hole", "tapped hole": "hole", "captive nut": "hole", "hole": "hole", "slot": "hole", "peg": "peg hole",
    "peg hole": "peg", "clip": "clip hole", "clip hole": "clip",
}  # fmt: skip
# What a donor's feature most likely goes onto, where nothing of the host is listed.
GONE_ONTO: dict[Kind, Kind] = {
    "hole": "stud", "slot": "stud", "tapped hole": "hole", "captive nut": "hole", "stud": "hole", "peg": "peg hole",
    "peg hole": "peg", "clip": "clip hole", "clip hole": "clip",
}  # fmt: skip


def supposed_features(known: Known) -> tuple[Feature, ...]:
    """What an unlisted donor is asked about: what the original has, else one feature for each fixing of the host.

    Without places, and with the original's sizes. Where the donor alone is listed, one fixing of the host for each of
    its features; empty where features of both are listed, or of neither.
    """
    if known.donor.features:
        if known.host.features or (known.original is not None and known.original.features):
            return ()
        host = known.host.part.part
        return tuple(Feature(host, row.feature, GONE_ONTO[row.kind]) for row in known.donor.features)
    donor = known.donor.part.part
    if known.original is not None and known.original.features:
        return tuple(
            replace(row, part=donor, x_mm=None, y_mm=None, z_mm=None, plus_minus_mm=None, zone=None, axis=None)
            for row in known.original.features
        )
    return tuple(Feature(donor, row.feature, GOES_ONTO[row.kind]) for row in known.host.features if row.need != "spare")


COLUMNS, LINES = 56, 18


def sketch_of(at_mm: Mapping[str, tuple[float, float]], letters: Mapping[str, str]) -> list[str]:
    """Draw features as text: letters for those asked about, `o` for the others.

    Examples
    --------
    >>> corners = {"a": (0.0, 0.0), "b": (300.0, 0.0), "c": (300.0, 100.0)}
    >>> for line in sketch_of(corners, {"a": "A", "b": "B"}): print(line)
                                                            o
    <BLANKLINE>
    <BLANKLINE>
    <BLANKLINE>
    <BLANKLINE>
    <BLANKLINE>
    <BLANKLINE>
    <BLANKLINE>
    <BLANKLINE>
    A                                                       B
    """
    if len(at_mm) < 2 or any(name not in at_mm for name in letters):
        return []
    points = np.array(list(at_mm.values()))
    low, size = points.min(axis=0), np.ptp(points, axis=0)
    # A letter is about twice as high as it is wide.
    step_mm = max(float(size[0]) / COLUMNS, float(size[1]) / LINES / 2.0, 1e-6)
    columns = np.round((points[:, 0] - low[0]) / step_mm).astype(int)
    rows = np.round((points[:, 1] - low[1]) / step_mm / 2.0).astype(int)
    grid = [[" "] * (COLUMNS + 2 * len(at_mm) + 1) for _ in range(int(rows.max()) + 1)]
    order = sorted(range(len(points)), key=lambda k: list(at_mm)[k] not in letters)
    for k in order:
        name = list(at_mm)[k]
        line, column = grid[int(rows.max()) - int(rows[k])], int(columns[k])
        while line[column] != " ":
            column += 2
        line[column] = letters.get(name, "o")
    return ["".join(line).rstrip() for line in grid]
