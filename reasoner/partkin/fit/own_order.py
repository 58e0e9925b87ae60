"""An order and a frame that a pattern has of itself, whichever names, rows and frames it is written down in.

What is drawn hole by hole is drawn in these, so that the same parts come to the same draws but for rounding.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from partkin.fit.arrays import Floats, directions
from partkin.model.fitting import FitTask

# Lengths that differ by less count as alike: of such holes either may come first.
_ALIKE_MM = 1.0e-6
_PLACES = 6


def own_order(*sides_mm: Floats) -> list[int]:
    """Order holes by how they lie among themselves, on each side of a pairing.

    Parameters
    ----------
    sides_mm
        float64 (n, d) each: the same holes as they lie on each side.

    Examples
    --------
    >>> plate = np.array([(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)])
    >>> order, other = own_order(plate), own_order(plate[::-1] @ np.array([[0.6, 0.8], [-0.8, 0.6]]) + 70.0)
    >>> order == [3 - k for k in other]
    True
    """
    apart = [np.round(np.linalg.norm(at[:, None] - at, axis=2), _PLACES) for at in sides_mm]
    middle = [np.round(np.linalg.norm(at - at.mean(axis=0), axis=1), _PLACES) for at in sides_mm]
    found: list[int] = []
    left = list(range(len(sides_mm[0])))
    alone = [
        [float(v) for out in middle for v in out[k : k + 1]] + [v for a in apart for v in sorted(a[k].tolist())]
        for k in left
    ]
    while left:
        first = min(left, key=lambda k: ([float(v) for a in apart for v in a[k, found]], alone[k]))
        found.append(first)
        left.remove(first)
    return found


def size_names(task: FitTask, pairing: Sequence[tuple[str, str]]) -> dict[str, str]:
    """By which name the size of each end of a pairing is drawn: by its place in the pairing's own order.

    Keys are `host ID` and `donor ID`; of what stands in no pair the size is drawn by that.
    """
    at = {spot.id: spot.at_mm for spot in task.fixings}, {spot.id: spot.at_mm for spot in task.features}
    pairs = sorted(pairing)
    if not pairs:
        return {}
    order = own_order(*(np.array([at[side][pair[side]] for pair in pairs]) for side in (0, 1)))
    return {
        f"{whose} {pairs[k][side]}": f"{whose} number {place}"
        for place, k in enumerate(order) for side, whose in enumerate(("host", "donor"))
    }  # fmt: skip


def own_frame(at_mm: Floats) -> Floats:
    """Axes (d, d), in columns, that points in their own order have of themselves: a mirror image has mirrored ones.

    Examples
    --------
    >>> own_frame(np.array([(0.0, 0.0), (0.0, 10.0), (4.0, 0.0)])).round(3).tolist()[0]
    [-0.371, -0.928]
    """
    d = at_mm.shape[1]
    axes: list[Floats] = []
    for way in [*(at_mm - at_mm.mean(axis=0)), *np.eye(d)]:
        rest = way - sum((float(way @ axis) * axis for axis in axes), np.zeros(d))
        size = float(np.linalg.norm(rest))
        if size > _ALIKE_MM * max(1.0, float(np.linalg.norm(way))) and len(axes) < d:
            axes.append(rest / size)
    return np.stack(axes, axis=1)


def slot_frame(angle_deg: float, frame: Floats | None = None) -> Floats:
    """Axes (2, 2), in columns, along and across a slot; the way, and the hand, that go with a frame."""
    along = directions(np.array([angle_deg]))[0]
    across = np.array([-along[1], along[0]])
    if frame is None:
        return np.stack([along, across], axis=1)
    sign = -1.0 if float(along @ frame[:, 0]) < 0.0 else 1.0
    hand = 1.0 if float(np.linalg.det(frame)) > 0.0 else -1.0
    return np.stack([sign * along, sign * hand * across], axis=1)
