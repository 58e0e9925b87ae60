"""A fit task as arrays for the pairing search: one side in rows, the other in columns, both in id order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from partkin.fit.arrays import Pairs, at_of, directions, half_travels
from partkin.model.fitting import FitTask, Spot

NEVER_MM = np.inf
# A play so large that it says nothing: pairs of which something is not known get one.
WILD_MM = 1.0e4
Pair = tuple[int, int]


@dataclass(frozen=True, eq=False)
class SideSpots:
    """The spots of one side, by id: points (n, 2) mm, half travels (n,) mm, slot directions (n, 2)."""

    spots: tuple[Spot, ...]
    at_mm: np.ndarray
    half_travel_mm: np.ndarray
    along: np.ndarray

    @classmethod
    def of(cls, spots: Sequence[Spot], mirrored: bool) -> SideSpots:
        """Sort spots by id, so that the order of the sheets changes nothing; mirror where asked."""
        spots = tuple(sorted(spots, key=lambda spot: spot.id))
        at, angle = at_of(spots, 2), np.array([spot.angle_deg for spot in spots], dtype=float)
        if mirrored:
            at, angle = at * (-1.0, 1.0), 180.0 - angle
        return cls(spots, at, half_travels(spots), directions(angle))

    @property
    def point(self) -> np.ndarray:
        """complex128 (n,), mm."""
        return self.at_mm[:, 0] + 1j * self.at_mm[:, 1]


@dataclass(frozen=True, eq=False)
class Layout:
    """Rows and columns of the pairing search.

    Attributes
    ----------
    host, donor
    fixings_in_rows
        False: the features stand in the rows (when more of them must be paired).
    allowed_mm
        float64 (n, m): play of each pair; -inf where the pair cannot be made.
    reach_mm
        float64 (n, m): play plus both half travels, the outer radius that every filter uses.
    row_gap_mm, column_gap_mm
        float64 (n, n), (m, m): distances within each side.
    """

    host: SideSpots
    donor: SideSpots
    fixings_in_rows: bool
    allowed_mm: np.ndarray
    reach_mm: np.ndarray
    row_gap_mm: np.ndarray
    column_gap_mm: np.ndarray

    @property
    def rows(self) -> SideSpots:
        """The side that the search goes through one by one."""
        return self.host if self.fixings_in_rows else self.donor

    @property
    def columns(self) -> SideSpots:
        """The other side."""
        return self.donor if self.fixings_in_rows else self.host

    def ids(self, pair: Pair) -> tuple[str, str]:
        """(fixing id, feature id) of a (row, column)."""
        row, column = self.rows.spots[pair[0]].id, self.columns.spots[pair[1]].id
        return (row, column) if self.fixings_in_rows else (column, row)

    def known(self, pairs: Sequence[Pair]) -> Pairs:
        """Arrays of these (row, column) pairs for the placement."""
        picked = np.array(pairs, dtype=int).reshape(-1, 2)
        rho = self.allowed_mm[picked[:, 0], picked[:, 1]]
        h, d = (picked[:, 0], picked[:, 1]) if self.fixings_in_rows else (picked[:, 1], picked[:, 0])
        host, donor = self.host, self.donor
        return Pairs(
            donor.at_mm[d], host.at_mm[h], rho, host.half_travel_mm[h], host.along[h],
            donor.half_travel_mm[d], donor.along[d],
        )  # fmt: skip

    def base_mm(self, aim: Aim) -> np.ndarray:
        """(n, m) mm: inflation that each pair needs by itself; infinite where it covers nothing."""
        return np.where(aim.useful(), -self.allowed_mm, NEVER_MM)

    def pair_need_mm(self, row: int, column: int) -> np.ndarray:
        """How far every allowance must be inflated before each pair can stand beside (row, column).

        Returns
        -------
        float64 (n, m), mm: from two pairs alone, so a lower bound. Worked out once: not to be written to.
        """
        if (row, column) not in self._needs:
            self._needs[row, column] = self._beside_mm(row, column)
        return self._needs[row, column]

    @cached_property
    def _needs(self) -> dict[Pair, np.ndarray]:
        return {}

    def _beside_mm(self, row: int, column: int) -> np.ndarray:
        """From the distances within each side: half of what is missing; exact for round holes."""
        apart = np.abs(self.row_gap_mm[:, row, None] - self.column_gap_mm[None, :, column])
        return np.asarray((apart - self.reach_mm - self.reach_mm[row, column]) / 2)

    def two_rows_need_mm(self, a: int, b: int) -> np.ndarray:
        """(m, m) mm: the same for two rows, for each two columns."""
        apart = np.abs(self.row_gap_mm[a, b] - self.column_gap_mm)
        return np.asarray((apart - self.reach_mm[a][:, None] - self.reach_mm[b][None, :]) / 2)


@dataclass(frozen=True, eq=False)
class Aim:
    """What a pairing has to cover, and what it had better cover.

    `need` and `count` hold bool (n,) for the rows and bool (m,) for the columns.
    """

    need: tuple[np.ndarray, np.ndarray]
    count: tuple[np.ndarray, np.ndarray]

    def useful(self) -> np.ndarray:
        """Bool (n, m): pairs that cover anything at all."""
        rows, columns = self.need[0] | self.count[0], self.need[1] | self.count[1]
        return np.asarray(rows[:, None] | columns[None, :])


def lay_out(task: FitTask) -> Layout:
    """Arrange a flat task for the search."""
    host, donor = SideSpots.of(task.fixings, mirrored=False), SideSpots.of(task.features, task.mirrored)
    fixing_at = {spot.id: index for index, spot in enumerate(host.spots)}
    feature_at = {spot.id: index for index, spot in enumerate(donor.spots)}
    allowed = np.full((len(host.spots), len(donor.spots)), -np.inf)
    rows = [fixing_at[option.fixing] for option in task.options]
    columns = [feature_at[option.feature] for option in task.options]
    allowed[rows, columns] = [option.allowed_mm for option in task.options]
    reach = allowed + host.half_travel_mm[:, None] + donor.half_travel_mm[None, :]
    host_gap = np.abs(host.point[:, None] - host.point)
    donor_gap = np.abs(donor.point[:, None] - donor.point)
    if sum(spot.must for spot in donor.spots) > sum(spot.must for spot in host.spots):
        return Layout(host, donor, False, allowed.T.copy(), reach.T.copy(), donor_gap, host_gap)
    return Layout(host, donor, True, allowed, reach, host_gap, donor_gap)


def farthest_first(point: np.ndarray, among: Sequence[int], spread: int | None = None) -> list[int]:
    """Order points so that each stands as far as it can from those before it; ties by index.

    Parameters
    ----------
    point
        complex128 (n,), mm.
    among
        Which of them.
    spread
        How many are chosen so; the rest follow as they come. None: all.

    Examples
    --------
    >>> farthest_first(np.array([0, 10, 4 + 0j]), [0, 1, 2])
    [1, 0, 2]
    """
    if len(among) == 0:
        return []
    chosen = point[np.asarray(among)]
    start = int(np.argmax(np.round(np.abs(chosen - chosen.mean()), 6)))
    order, nearest = [start], np.round(np.abs(chosen - chosen[start]), 6)
    nearest[start] = -1.0
    for _ in range(len(among) - 1 if spread is None else min(spread, len(among)) - 1):
        step = int(nearest.argmax())
        order.append(step)
        nearest = np.minimum(nearest, np.round(np.abs(chosen - chosen[step]), 6))
        nearest[step] = -1.0
    rest = set(range(len(among))).difference(order)
    return [int(among[k]) for k in (*order, *sorted(rest))]
