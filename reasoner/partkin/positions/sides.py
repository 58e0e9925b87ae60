"""Left or right, as somebody saw it: which of the layouts that distances allow is the real one."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from partkin.model.build import Reading
from partkin.model.positions import Positions
from partkin.model.words import SIDES
from partkin.positions.budget import covariance_mm2
from partkin.positions.lengths import current

# Within this many standard deviations of the line nobody can say on which side of it a point stands.
CLEARLY = 3.0
# At a glance a hole is seen to lie left or right of a line if it stands at least so far off it, so much of its length,
# and so much of the way to its middle (common practice, no source).
AT_A_GLANCE_MM = 20.0
OF_LENGTH = 0.05
OF_THE_WAY = 0.2
# What stands no farther apart in two layouts is in the same place in both.
ONE_PLACE_MM = 1.0


@dataclass(frozen=True)
class SideSeen:
    """One answer: a point lies left (or right) of the line between two others; `again`: looked at a second time."""

    reading: str
    point: str
    line: tuple[str, str]
    is_left: bool
    again: bool = False

    @property
    def names(self) -> tuple[str, str, str]:
        """Ends of the line, then the point."""
        return (*self.line, self.point)

    @property
    def side(self) -> str:
        """The side in words."""
        return SIDES[0] if self.is_left else SIDES[1]


@dataclass(frozen=True, eq=False)
class PlacedLayout:
    """Places (n, d) of the named features with their covariance."""

    features: tuple[str, ...]
    xyz_mm: np.ndarray
    covariance_mm2: np.ndarray

    def mirrored(self) -> PlacedLayout:
        """The mirror image in the x axis."""
        flip = np.ones(self.xyz_mm.shape)
        flip[:, 1] = -1.0
        signs = flip.ravel()
        return PlacedLayout(self.features, self.xyz_mm * flip, self.covariance_mm2 * np.outer(signs, signs))


def seen_sides(readings: Iterable[Reading]) -> tuple[SideSeen, ...]:
    """The answers that stand among readings of one part."""
    return tuple(
        SideSeen(
            row.reading, row.from_feature, (row.line_from, row.line_to), row.quantity == "left of", bool(row.corrects)
        )
        for row in current(readings)
        if row.quantity in SIDES and row.from_feature and row.line_from and row.line_to
    )


def against(seen: Sequence[SideSeen], layout: PlacedLayout) -> tuple[list[SideSeen], list[SideSeen]]:
    """The answers that a layout clearly bears out, and those that it clearly contradicts.

    Examples
    --------
    >>> flat = PlacedLayout(("a", "b", "c"), np.array([[0.0, 0.0], [9.0, 0.0], [4.0, 5.0]]), np.zeros((6, 6)))
    >>> said = SideSeen("r1", "c", ("a", "b"), True)
    >>> [len(answers) for answers in (*against([said], flat), *against([said], flat.mirrored()))]
    [1, 0, 0, 1]
    """
    borne_out: list[SideSeen] = []
    contradicted: list[SideSeen] = []
    for one in seen:
        if not set(one.names) <= set(layout.features):
            continue
        beside_mm, sigma_mm = _beside(one, layout)
        if abs(beside_mm) > CLEARLY * sigma_mm:
            (borne_out if (beside_mm > 0.0) == one.is_left else contradicted).append(one)
    return borne_out, contradicted


def wrong_side(positions: Positions, reading: Reading) -> str | None:
    """Say that an answer is not what the rest of its part allows; None where it may be so.

    Where the rest tells a layout from its mirror image, the answer has to hold in one layout at least.
    """
    mine = seen_sides([reading])
    if not positions.handed or not len(positions.features):
        return None
    spread = [covariance_mm2(positions)] if not positions.layouts else positions.layout_covariances_mm2
    laid = [
        PlacedLayout(positions.features, xyz_mm, covariance)
        for xyz_mm, covariance in zip(positions.layouts or (positions.xyz_mm,), spread, strict=True)
    ]
    if not all(against(mine, layout)[1] for layout in laid):
        return None
    other = SIDES[1] if mine[0].is_left else SIDES[0]
    return f"the rest of what is known of {reading.part} puts {mine[0].point} {other} {' to '.join(mine[0].line)}"


def _beside(one: SideSeen, layout: PlacedLayout) -> tuple[float, float]:
    """How far left of its line the point stands, seen along z, and the standard uncertainty of that."""
    rows = [layout.features.index(name) for name in one.names]
    a, b, c = layout.xyz_mm[rows, :2]
    length_mm = float(np.linalg.norm(b - a))
    if length_mm < 1e-6:
        return 0.0, 0.0
    along = (b - a) / length_mm
    left = np.array([-along[1], along[0]])
    share = float((c - a) @ along) / length_mm
    d = layout.xyz_mm.shape[1]
    slope = np.zeros(layout.xyz_mm.size)
    for row, weight in zip(rows, (share - 1.0, -share, 1.0), strict=True):
        slope[row * d : row * d + 2] = weight * left
    return float((c - a) @ left), math.sqrt(max(0.0, float(slope @ layout.covariance_mm2 @ slope))) + 1e-6


def beside_line_mm(begin_mm: np.ndarray, end_mm: np.ndarray, point_mm: np.ndarray) -> np.ndarray:
    """How far left of the line from one point to another a third stands, seen along z: (..., d) each -> (...)."""
    along, off = end_mm - begin_mm, point_mm - begin_mm
    cross = along[..., 0] * off[..., 1] - along[..., 1] * off[..., 0]
    return np.asarray(cross / np.maximum(np.hypot(along[..., 0], along[..., 1]), 1e-9))


def question(features: Sequence[str], xyz_mm: np.ndarray) -> tuple[str, str, str]:
    """The triangle in which left and right are seen best: the longest line, and the feature farthest beside it."""
    apart = np.linalg.norm(xyz_mm[:, None, :2] - xyz_mm[None, :, :2], axis=2).round(6)
    base = divmod(int(np.argmax(np.triu(apart))), len(features))
    beside = np.abs(beside_line_mm(xyz_mm[base[0]], xyz_mm[base[1]], xyz_mm)).round(6)
    return features[base[0]], features[base[1]], features[int(np.argmax(beside))]


def telling_look(features: Sequence[str], layouts: Sequence[np.ndarray]) -> tuple[str, str, str] | None:
    """Ends of a line and the feature beside it, of which a glance tells layouts apart; None: none is plain to see.

    It splits them most evenly; of several such, it is one with a line that is the same in all of them, and with the
    feature farthest off that.

    Examples
    --------
    >>> layout = np.array([[0.0, 0.0], [300.0, 0.0], [100.0, 80.0]])
    >>> telling_look(("a", "b", "c"), [layout, layout * (1, -1)])
    ('a', 'b', 'c')
    """
    n = len(features)
    xy = np.array([layout[:, :2] for layout in layouts])
    ends, points = np.array(list(combinations(range(n), 2))), np.arange(n)
    begin, end, point_mm = xy[:, ends[:, 0]][:, :, None], xy[:, ends[:, 1]][:, :, None], xy[:, None]
    beside_mm = beside_line_mm(begin, end, point_mm)
    length_mm = np.linalg.norm(end - begin, axis=3)
    away_mm = np.linalg.norm(point_mm - (begin + end) / 2.0, axis=3)
    least_mm = np.maximum(np.maximum(AT_A_GLANCE_MM, OF_LENGTH * length_mm), OF_THE_WAY * away_mm)
    plain = np.all(np.abs(beside_mm) >= least_mm, axis=0)
    left = np.count_nonzero(beside_mm > 0.0, axis=0)
    still = (np.ptp(xy, axis=0).max(axis=1) < ONE_PLACE_MM)[ends].all(axis=1)
    split = np.where(plain & ~np.any(points == ends[:, :, None], axis=1), np.minimum(left, len(xy) - left), 0)
    if not split.any():
        return None
    worth = 2 * split + (still[:, None] & (split > 0))
    clear_mm = np.where(worth == worth.max(), np.abs(beside_mm).min(axis=0).round(6), -1.0)
    line, point = divmod(int(np.argmax(clear_mm)), n)
    return features[ends[line, 0]], features[ends[line, 1]], features[point]
