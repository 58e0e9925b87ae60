"""Least-squares adjustment of distances and coordinates, in the plane and in space. Numbers only."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

MAX_ROUNDS = 60
SPREAD_STEPS = 801
# A share of a variance, or of a standard uncertainty, from which on it is worth acting on.
NOTICEABLE = 0.05


@dataclass(frozen=True, eq=False)
class Network:
    """What was observed among k points.

    Attributes
    ----------
    edges
        int (m, 2), point numbers of each distance.
    length_mm, sigma_mm
        float64 (m,).
    seen_mm
        float64 (k, d), stated coordinates; nan where there is none.
    seen_sigma_mm
        float64 (k, d); 0 holds a coordinate fast.
    looks
        (from, to, point, 1 or -1): a point that was seen to lie left (1) or right (-1) of the line from one to another.
        They are no observations: they say which layouts to look for.
    """

    edges: np.ndarray
    length_mm: np.ndarray
    sigma_mm: np.ndarray
    seen_mm: np.ndarray
    seen_sigma_mm: np.ndarray
    looks: tuple[tuple[int, int, int, int], ...] = ()

    @property
    def size(self) -> tuple[int, int]:
        """Points and dimensions."""
        return self.seen_mm.shape[0], self.seen_mm.shape[1]

    @cached_property
    def seen(self) -> np.ndarray:
        """bool (k, d): which coordinates are stated."""
        return np.asarray(~np.isnan(self.seen_mm))

    @cached_property
    def placed(self) -> np.ndarray:
        """bool (k,): points with all their coordinates stated."""
        return np.asarray(self.seen.all(axis=1))

    @cached_property
    def fixed(self) -> np.ndarray:
        """bool (k*d,): coordinates that are held fast."""
        return np.asarray((self.seen & (self.seen_sigma_mm == 0.0)).ravel())

    @cached_property
    def weighed(self) -> np.ndarray:
        """int (c,): flat indices of the coordinates that are observations, in point order."""
        return np.flatnonzero((self.seen & (self.seen_sigma_mm > 0.0)).ravel())

    @cached_property
    def sigmas(self) -> np.ndarray:
        """float64 (m + c,): of the distances, then of the coordinates."""
        return np.concatenate([self.sigma_mm, self.seen_sigma_mm.ravel()[self.weighed]])

    def only(self, rows: np.ndarray) -> Network:
        """Return the network with some of its observations, counted as `sigmas` is; exact ones stay."""
        m = len(self.length_mm)
        kept = rows[rows < m]
        seen_mm = self.seen_mm.copy()
        dropped = np.delete(self.weighed, rows[rows >= m] - m)
        seen_mm.ravel()[dropped] = np.nan
        return replace(
            self, edges=self.edges[kept], length_mm=self.length_mm[kept], sigma_mm=self.sigma_mm[kept], seen_mm=seen_mm
        )

    def among(self, points: np.ndarray) -> Network:
        """Return what was observed among some of the points, which are renumbered in their order."""
        number = np.full(self.size[0], -1)
        number[points] = np.arange(len(points))
        keep = (number[self.edges] >= 0).all(axis=1)
        looks = ((int(number[a]), int(number[b]), int(number[c]), side) for a, b, c, side in self.looks)
        return Network(
            number[self.edges[keep]],
            self.length_mm[keep],
            self.sigma_mm[keep],
            self.seen_mm[points],
            self.seen_sigma_mm[points],
            tuple(look for look in looks if min(look[:3]) >= 0),
        )


@dataclass(frozen=True, eq=False)
class AdjustedNetwork:
    """An adjusted network.

    `covariance_mm2` (k*d, k*d) is that of the shape: of the free network (least trace), and where coordinates that
    are not exact hold the frame, without the common turn and shift of all points. `in_frame_mm2`: with them.
    `own_chi_square`, `own_freedom`: of the observations that tell of the shape alone; coordinates too rough to tell
    anything of it neither confirm nor contradict the distances.
    `residual_mm`, `redundancy`, `w`: (m + c,), adjusted minus observed; distances, then coordinates.
    `soft`: how many directions the second order of the distances bounds rather than the first; `bent`: moves
    within the covariance change distances noticeably by their second order; `loose`: (k*d, l) basis of
    movements that nothing bounds.
    """

    xyz_mm: np.ndarray
    covariance_mm2: np.ndarray
    in_frame_mm2: np.ndarray
    residual_mm: np.ndarray
    redundancy: np.ndarray
    w: np.ndarray
    chi_square: float
    degrees_of_freedom: int
    own_chi_square: float
    own_freedom: int
    converged: bool
    soft: int
    bent: bool
    loose: np.ndarray


def jacobian(network: Network, xyz_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the weighted Jacobian (m + c, k*d) and observed minus computed, weighted (m + c,)."""
    k, d = network.size
    m, c = len(network.length_mm), len(network.weighed)
    ends = xyz_mm[network.edges]
    apart_mm = ends[:, 0] - ends[:, 1]
    length_mm = np.sqrt(np.einsum("ij,ij->i", apart_mm, apart_mm))
    unit = apart_mm / np.maximum(length_mm, 1e-12)[:, None] / network.sigma_mm[:, None]
    rows = np.zeros((m + c, k * d))
    at = np.arange(m)[:, None]
    axes = np.arange(d)
    rows[at, network.edges[:, :1] * d + axes] = unit
    rows[at, network.edges[:, 1:] * d + axes] = -unit
    sigmas = network.sigmas
    rows[m + np.arange(c), network.weighed] = 1.0 / sigmas[m:]
    flat = xyz_mm.ravel()
    seen = network.seen_mm.ravel()[network.weighed] - flat[network.weighed]
    rows[:, network.fixed] = 0.0
    return rows, np.concatenate([network.length_mm - length_mm, seen]) / sigmas


def rigid_moves(xyz_mm: np.ndarray) -> np.ndarray:
    """Return (k*d, d (d + 1) / 2): shifts along the axes and turns about the middle, orthonormal.

    Turns that move nothing (all points in one place, or on the axis) are left out.
    """
    k, d = xyz_mm.shape
    centred = xyz_mm - xyz_mm.mean(axis=0)
    moves = np.zeros((k * d, d + d * (d - 1) // 2))
    for axis in range(d):
        moves[axis::d, axis] = 1.0 / math.sqrt(k)
    at = d
    for a in range(d):
        for b in range(a + 1, d):
            moves[a::d, at] = -centred[:, b]
            moves[b::d, at] = centred[:, a]
            at += 1
    if d == 2:
        norm = np.linalg.norm(moves[:, 2])
        return moves[:, :2] if norm < 1e-9 else moves / np.array([1.0, 1.0, norm])
    turns, size, _ = np.linalg.svd(moves[:, d:], full_matrices=False)
    return np.hstack([moves[:, :d], turns[:, size > 1e-9 * max(1.0, size[0])]])


def without_rigid(xyz_mm: np.ndarray, among: np.ndarray) -> np.ndarray:
    """Return (k*d, k*d): what takes out of small moves of all points the turn and shift of those `among` them.

    S-transformation to the datum of inner constraints over these points (Baarda 1973, from memory).
    """
    d = xyz_mm.shape[1]
    moves = rigid_moves(xyz_mm)
    own = moves * np.repeat(among, d)[:, None]
    return np.asarray(np.eye(len(moves)) - moves @ np.linalg.pinv(own, rcond=1e-9))


def gauge(network: Network, xyz_mm: np.ndarray) -> np.ndarray:
    """Return (k*d, g): the rigid moves that no stated coordinate stops, orthonormal."""
    return _leaving(rigid_moves(xyz_mm), network.seen.ravel())


def _leaving(moves: np.ndarray, held: np.ndarray) -> np.ndarray:
    """Of moves those, orthonormal, that leave the held coordinates where they are."""
    if not held.any():
        return moves
    _, size, axes = np.linalg.svd(moves[held])
    reach = np.zeros(moves.shape[1])
    reach[: len(size)] = size
    return np.asarray(moves @ axes[reach < 1e-9].T)


def solve(network: Network, start_mm: np.ndarray, cautious: bool = False) -> AdjustedNetwork:
    """Adjust a network from start values: Gauss-Newton, damped where a step does not help.

    Parameters
    ----------
    network
    start_mm
        float64 (k, d). Stated exact coordinates replace those of the start.
    cautious
        Damp from the first step on: for start values that are only roughly right.

    Returns
    -------
    Solution
        Of a free network: nearest to the start among all that are the same up to a rigid move.
    """
    middle_mm = np.asarray(start_mm, dtype=float).mean(axis=0)
    near = replace(network, seen_mm=network.seen_mm - middle_mm)
    xyz_mm = np.array(start_mm, dtype=float) - middle_mm
    fixed = near.fixed.reshape(xyz_mm.shape)
    xyz_mm[fixed] = near.seen_mm[fixed]
    xyz_mm, converged = _descend(near, xyz_mm, cautious)
    found = _finish(near, xyz_mm, converged)
    return replace(found, xyz_mm=found.xyz_mm + middle_mm)


def _descend(network: Network, xyz_mm: np.ndarray, cautious: bool) -> tuple[np.ndarray, bool]:
    rows, miss = jacobian(network, xyz_mm)
    cost = float(miss @ miss)
    damping = 1e-3 if cautious else 0.0
    for _ in range(MAX_ROUNDS):
        normal = rows.T @ rows
        scale = max(1e-12, float(np.trace(normal)) / len(normal))
        held = gauge(network, xyz_mm)
        normal += scale * (held @ held.T)
        normal.ravel()[:: len(normal) + 1] += scale * (damping + 1e-12) + network.fixed * scale
        step_mm = np.linalg.solve(normal, rows.T @ miss).reshape(xyz_mm.shape)
        tried_mm = xyz_mm + step_mm
        tried_rows, tried_miss = jacobian(network, tried_mm)
        tried_cost = float(tried_miss @ tried_miss)
        if tried_cost <= cost * (1.0 + 1e-12) + 1e-18:
            small = float(np.abs(step_mm).max()) < 1e-9 * (1.0 + 1e-4 * float(np.abs(tried_mm).max()))
            # Along a flat valley steps never get small, nor does it matter where in it they end.
            small = small or (damping == 0.0 and cost - tried_cost < 1e-14 * cost)
            xyz_mm, rows, miss, cost = tried_mm, tried_rows, tried_miss, tried_cost
            damping *= 0.1 if damping > 1e-9 else 0.0
            if small:
                return xyz_mm, True
        else:
            damping = max(1e-4, 10.0 * damping)
            if damping > 1e10:
                return xyz_mm, True
    return xyz_mm, False


def _finish(network: Network, xyz_mm: np.ndarray, converged: bool) -> AdjustedNetwork:
    rows, miss = jacobian(network, xyz_mm)
    spread = framed = _spread(network, xyz_mm, rows, miss, gauge(network, xyz_mm))
    if len(network.weighed) and len(network.edges):
        # What coordinates tell of the common turn and shift is no knowledge of the shape, nor is it an error of it.
        rigid = _leaving(rigid_moves(xyz_mm), network.fixed)
        told = rows @ rigid
        spread = _spread(network, xyz_mm, rows - told @ np.linalg.pinv(told, rcond=1e-9) @ rows, miss, rigid)
    redundancy = np.clip(1.0 - np.einsum("ij,ij->i", rows @ framed.linear_mm2, rows), 0.0, 1.0)
    checked = redundancy > 1e-6
    w = np.where(checked, -miss / np.sqrt(np.where(checked, redundancy, 1.0)), 0.0)
    own = _tell_shape(network, xyz_mm, redundancy)
    return AdjustedNetwork(
        xyz_mm,
        spread.covariance_mm2,
        framed.covariance_mm2,
        -miss * network.sigmas,
        redundancy,
        w,
        float(miss @ miss),
        round(float(redundancy.sum())),
        float(miss[own] @ miss[own]),
        round(float(redundancy[own].sum())),
        converged,
        spread.soft,
        spread.bent,
        spread.loose,
    )


def _tell_shape(network: Network, xyz_mm: np.ndarray, redundancy: np.ndarray) -> np.ndarray:
    """bool (m + c,): observations that tell of the shape: not coordinates that settle the frame alone."""
    own = np.ones(len(redundancy), dtype=bool)
    m = len(network.length_mm)
    held = rigid_moves(xyz_mm).shape[1] - gauge(network, xyz_mm).shape[1]
    if m and not network.fixed.any():
        own[m:] = float((1.0 - redundancy[m:]).sum()) - held > NOTICEABLE
    return own


@dataclass(frozen=True, eq=False)
class _Spread:
    """Covariance, the same to first order alone, and what `AdjustedNetwork` says of soft, bent and loose."""

    covariance_mm2: np.ndarray
    linear_mm2: np.ndarray
    soft: int
    bent: bool
    loose: np.ndarray


def _spread(network: Network, xyz_mm: np.ndarray, rows: np.ndarray, miss: np.ndarray, open_: np.ndarray) -> _Spread:
    """Spread of the points; `open_` (k*d, g): moves that are no error."""
    none = np.zeros((rows.shape[1], 0))
    covariance = np.zeros((rows.shape[1], rows.shape[1]))
    free = np.flatnonzero(~network.fixed)
    if not len(free):
        return _Spread(covariance, covariance, 0, False, none)
    normal = rows[:, free].T @ rows[:, free]
    scale = float(np.trace(normal)) / len(normal)
    move = open_[free]
    along = move @ move.T
    try:
        inverse = np.linalg.inv(normal + scale * along)
        most_mm2 = float(np.abs(np.diagonal(inverse)).max())
    except np.linalg.LinAlgError:
        most_mm2 = math.inf
    if most_mm2 < _bending_mm2(network):
        covariance[np.ix_(free, free)] = inverse - along / scale
        return _Spread(covariance, covariance, 0, False, none)
    return _soft_spread(network, xyz_mm, rows, miss, free, along)


def median(values: np.ndarray) -> float:
    """The middle value of several; `np.median` loads masked arrays first, which takes as long as an adjustment."""
    ranked = np.sort(values)
    return float(ranked[(len(ranked) - 1) // 2] + ranked[len(ranked) // 2]) / 2.0


def _bending_mm2(network: Network) -> float:
    """Variance from which on the second order of the distances is worth looking at."""
    if not len(network.length_mm):
        return math.inf
    return 0.1 * median(network.length_mm) * median(network.sigma_mm)


def _soft_spread(
    network: Network,
    xyz_mm: np.ndarray,
    rows: np.ndarray,
    miss: np.ndarray,
    free: np.ndarray,
    rigid: np.ndarray,
) -> _Spread:
    """The same where directions are (nearly) open to first order: their second order bounds them."""
    inner = rows[:, free]
    normal = inner.T @ inner
    scale = float(np.trace(normal)) / len(normal)
    weak = max(1.0 / _bending_mm2(network), 1e-9 * scale)
    # Heavy enough that no rigid move counts as weak.
    held = 10.0 * max(scale, weak)
    size, axes = np.linalg.eigh(normal + held * rigid)
    open_ = size < 1e-9 * scale
    linear = (axes[:, ~open_] / size[~open_]) @ axes[:, ~open_].T
    inverse = linear.copy()
    taken = inner @ linear @ inner.T
    loose = np.zeros((rows.shape[1], 0))
    soft, bent = 0, False
    for at in np.flatnonzero(size < weak):
        whole = np.zeros(rows.shape[1])
        whole[free] = axes[:, at]
        now_mm2 = 0.0 if open_[at] else 1.0 / float(size[at])
        along = rows @ whole * (not open_[at])
        lengthens = _second_order(network, xyz_mm, whole)
        bend = lengthens - taken @ lengthens + along * float(along @ lengthens) * now_mm2
        if open_[at] and float(bend @ bend) < 1e-24:
            loose = np.hstack([loose, whole[:, None]])
            continue
        firmness = float(along @ along) - 2.0 * float(miss @ bend)
        spread_mm2 = _spread_mm2(firmness, float(along @ bend), float(bend @ bend))
        bent = bent or float(np.abs(lengthens).max()) * spread_mm2 > NOTICEABLE
        if open_[at] or abs(spread_mm2 / now_mm2 - 1.0) > NOTICEABLE:
            soft += 1
            inverse += (spread_mm2 - now_mm2) * np.outer(axes[:, at], axes[:, at])
    both = np.zeros((2, rows.shape[1], rows.shape[1]))
    both[0][np.ix_(free, free)] = inverse - rigid / held
    both[1][np.ix_(free, free)] = linear - rigid / held
    return _Spread(both[0], both[1], soft, bent, loose)


def _spread_mm2(firmness: float, lean: float, bend: float) -> float:
    """Mean square of a move t whose chi-square is firmness t^2 + 2 lean t^3 + bend t^4.

    Where the curve has a second valley (the features folded over to the other side of their line), only
    the near side counts: the other one is a layout of its own or the mirror image. On the ridge between
    the two (firmness below 0) both count.
    """
    reach = 10.0 * min(abs(firmness) ** -0.5 if firmness else math.inf, bend**-0.25 if bend else math.inf)
    if firmness < 0.0:
        reach += math.sqrt(-firmness / bend)
    low, high = -reach, reach
    inner = 9.0 * lean**2 - 8.0 * bend * firmness
    if bend and inner > 0.0 and firmness > 0.0:
        turns = [(-3.0 * lean + sign * math.sqrt(inner)) / (4.0 * bend) for sign in (-1.0, 1.0)]
        nearest = min(turns, key=abs)
        low, high = max(low, nearest if nearest < 0 else low), min(high, nearest if nearest > 0 else high)
    t = np.linspace(low, high, SPREAD_STEPS)
    chi2 = t**2 * (firmness + t * (2.0 * lean + t * bend))
    weight = np.exp(-0.5 * (chi2 - chi2.min()))
    return float((weight * t**2).sum() / weight.sum())


def _second_order(network: Network, xyz_mm: np.ndarray, direction: np.ndarray) -> np.ndarray:
    """Weighted change of every observation per mm2 along a direction that changes none to first order."""
    ends = xyz_mm[network.edges]
    length_mm = np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1)
    moved = direction.reshape(xyz_mm.shape)[network.edges]
    across = np.einsum("ij,ij->i", moved[:, 0] - moved[:, 1], moved[:, 0] - moved[:, 1])
    bend = across / (2.0 * np.maximum(length_mm, 1e-9)) / network.sigma_mm
    return np.concatenate([bend, np.zeros(len(network.weighed))])
