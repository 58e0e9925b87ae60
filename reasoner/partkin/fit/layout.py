"""A fit task as arrays for the pairing search: one side in rows, the other in columns, both in id order.

The search's test of a third point against two is of the plane. In space the columns are told it as all in one place,
and reaches over sqrt(2), so that it rules nothing out that can be had: no excess is below the lesser of what is
allowed across and along, and that is never more than such a reach.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from partkin.fit.arrays import Floats, Pairs, SideSpots, grip_mm
from partkin.fit.segments import distances_lack, lengths
from partkin.model.fitting import FitTask

NEVER_MM = np.inf
Pair = tuple[int, int]
# How far two fixings' axes may stand apart in angle from those of their features: twice the lean that is
# allowed, and a little for allowances that are inflated.
_AXES_DEG = 64.0
_ROOT = math.sqrt(2.0)


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
    across_mm, grip_mm
        float64 (n, m): play and both half travels; what is allowed along the axis, none of it in the plane.
    row_gap_mm, column_gap_mm
        float64 (n, n), (m, m): distances within each side.
    """

    host: SideSpots
    donor: SideSpots
    fixings_in_rows: bool
    allowed_mm: Floats
    across_mm: Floats
    grip_mm: Floats
    row_gap_mm: Floats
    column_gap_mm: Floats

    @classmethod
    def of(cls, task: FitTask) -> Layout:
        """Arrange a task for the search."""
        host = SideSpots.of(sorted(task.fixings, key=lambda spot: spot.id), task.dims)
        donor = SideSpots.of_donor(sorted(task.features, key=lambda spot: spot.id), task)
        fixing_at, feature_at = ({spot.id: k for k, spot in enumerate(side.spots)} for side in (host, donor))
        allowed = np.full((len(host.spots), len(donor.spots)), -np.inf)
        rows = [fixing_at[option.fixing] for option in task.options]
        columns = [feature_at[option.feature] for option in task.options]
        allowed[rows, columns] = [option.allowed_mm for option in task.options]
        grip = np.zeros(allowed.shape)
        if task.dims == 3:
            grip = np.array([[grip_mm(h, d) for d in donor.spots] for h in host.spots]).reshape(allowed.shape)
        across = allowed + host.half_travel_mm[:, None] + donor.half_travel_mm[None, :]
        host_gap, donor_gap = _gaps_mm(host), _gaps_mm(donor)
        if sum(spot.must for spot in donor.spots) > sum(spot.must for spot in host.spots):
            allowed, across, grip = (table.T.copy() for table in (allowed, across, grip))
            return cls(host, donor, False, allowed, across, grip, donor_gap, host_gap)
        return cls(host, donor, True, allowed, across, grip, host_gap, donor_gap)

    @property
    def in_space(self) -> bool:
        """Whether places have three coordinates."""
        return bool(self.host.at_mm.shape[1] == 3)

    @property
    def rows(self) -> SideSpots:
        """The side that the search goes through one by one."""
        return self.host if self.fixings_in_rows else self.donor

    @property
    def columns(self) -> SideSpots:
        """The other side."""
        return self.donor if self.fixings_in_rows else self.host

    @cached_property
    def reach_mm(self) -> Floats:
        """float64 (n, m): the outer radius that every filter uses."""
        if not self.in_space:
            return self.across_mm
        return np.where(self.across_mm >= 0, np.hypot(self.across_mm, self.grip_mm), self.across_mm) / _ROOT

    @cached_property
    def points(self) -> tuple[Floats, Floats]:
        """complex128 (n,), (m,) mm: where the search's tests in the plane take rows and columns to be.

        In space rows are seen along the direction in which they spread least, so that far ones are told from near.
        """
        rows, columns = self.rows.at_mm, self.columns.at_mm
        if self.in_space:
            columns = np.zeros(columns.shape)
            if len(rows):
                off = rows - rows.mean(axis=0)
                axes = np.linalg.svd(off, full_matrices=False)[2]
                rows = (off @ axes[:2].T).reshape(len(off), -1)[:, :2] + np.zeros((1, 2))
        return rows[:, 0] + 1j * rows[:, 1], columns[:, 0] + 1j * columns[:, 1]

    def ids(self, pair: Pair) -> tuple[str, str]:
        """(fixing id, feature id) of a (row, column)."""
        row, column = self.rows.spots[pair[0]].id, self.columns.spots[pair[1]].id
        return (row, column) if self.fixings_in_rows else (column, row)

    def known(self, pairs: Sequence[Pair]) -> Pairs:
        """Arrays of these (row, column) pairs for the placement."""
        picked = np.array(pairs, dtype=int).reshape(-1, 2)
        h, d = picked.T if self.fixings_in_rows else picked.T[::-1]
        return Pairs.between(self.host.take(h), self.donor.take(d), self.allowed_mm[picked[:, 0], picked[:, 1]])

    def base_mm(self, aim: Aim) -> Floats:
        """(n, m) mm: inflation that each pair needs by itself; infinite where it covers nothing."""
        return np.where(aim.useful(), -self.allowed_mm, NEVER_MM)

    def pair_need_mm(self, row: int, column: int) -> Floats:
        """How far every allowance must be inflated before each pair can stand beside (row, column).

        Returns
        -------
        float64 (n, m), mm: from two pairs alone, so a lower bound; without end where the axes cannot be brought
        together. Worked out once: not to be written to.
        """
        if (row, column) not in self._needs:
            if self.in_space:
                need = self._in_space_mm(row, column, *np.asarray(np.indices(self.allowed_mm.shape)))
                one, two = self._axes_deg
                need[np.abs(one[row][:, None] - two[column][None, :]) > _AXES_DEG] = NEVER_MM
            else:
                # From the distances within each side: half of what is missing; exact for round holes.
                apart = np.abs(self.row_gap_mm[:, row, None] - self.column_gap_mm[None, :, column])
                need = (apart - self.reach_mm - self.reach_mm[row, column]) / 2
            self._needs[row, column] = need
        return self._needs[row, column]

    @cached_property
    def _needs(self) -> dict[Pair, Floats]:
        return {}

    def two_rows_need_mm(self, a: int, b: int) -> Floats:
        """(m, m) mm: the same for two rows, for each two columns."""
        if self.in_space:
            one, two = np.asarray(np.indices(self.column_gap_mm.shape))
            return self._in_space_mm(a, one, b, two)
        apart = np.abs(self.row_gap_mm[a, b] - self.column_gap_mm)
        return np.asarray((apart - self.reach_mm[a][:, None] - self.reach_mm[b][None, :]) / 2)

    def _in_space_mm(
        self, row: Floats | int, column: Floats | int, other_row: Floats | int, other_column: Floats | int
    ) -> Floats:
        """Inflation that two pairs each need at least: index arrays of one shape, or places.

        The donor's distance has to lie between those of the nearest and the farthest points that both plays
        leave, across and along each axis. An inflation by e widens that by 2 e to 4 e; a ball about both, by
        2 e to 2 sqrt(2) e.
        """
        host, donor = self.host, self.donor
        pairs = (row, column), (other_row, other_column)
        (h, d), (g, e) = pairs if self.fixings_in_rows else ((column, row), (other_column, other_row))
        across, along = (tuple(np.asarray(table[pair]) for pair in pairs) for table in (self.across_mm, self.grip_mm))
        off, length = host.at_mm[g] - host.at_mm[h], lengths(donor.at_mm[e] - donor.at_mm[d])
        one, two = host.axis[h] * along[0][..., None], host.axis[g] * along[1][..., None]
        off, one, two = np.broadcast_arrays(off, one, two)
        reach = np.where(np.isfinite(across[0] + across[1]), across[0] + across[1], -np.inf)
        ball = [np.hypot(np.where(np.isfinite(a), a, 0.0), g) for a, g in zip(across, along, strict=True)]
        cut, round_about = distances_lack(off, length, (one, two), reach, ball[0] + ball[1])
        need = np.maximum(cut / np.where(cut > 0, 4.0, 2.0), round_about / np.where(round_about > 0, 2.0 * _ROOT, 2.0))
        return np.where(np.isfinite(reach), need, NEVER_MM)

    @cached_property
    def _axes_deg(self) -> tuple[Floats, Floats]:
        """(n, n), (m, m): angles between the axes of rows, and of columns."""
        one, two = (
            np.degrees(np.arccos(np.clip(side.axis @ side.axis.T, -1.0, 1.0))) for side in (self.rows, self.columns)
        )
        return one, two


def _gaps_mm(side: SideSpots) -> Floats:
    """(n, n) distances within a side."""
    if side.at_mm.shape[1] == 3:
        return lengths(side.at_mm[:, None] - side.at_mm[None])
    point = side.at_mm[:, 0] + 1j * side.at_mm[:, 1]
    return np.asarray(np.abs(point[:, None] - point))


@dataclass(frozen=True, eq=False)
class Aim:
    """What a pairing has to cover, and what it had better cover.

    `need` and `count` hold bool (n,) for the rows and bool (m,) for the columns.
    """

    need: tuple[Floats, Floats]
    count: tuple[Floats, Floats]

    def useful(self) -> Floats:
        """Bool (n, m): pairs that cover anything at all."""
        rows, columns = self.need[0] | self.count[0], self.need[1] | self.count[1]
        return np.asarray(rows[:, None] | columns[None, :])


def farthest_first(point: Floats, among: Sequence[int], spread: int | None = None) -> list[int]:
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
