"""A part's features drawn as text, for a message that has no pictures."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

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
