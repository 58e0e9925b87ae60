"""Known pairs of a flat pattern as arrays, and how far each stands out of its play at a placement."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partkin.model.fitting import FitTask, Spot

Floats = np.ndarray


@dataclass(frozen=True, eq=False)
class Contact:
    """Where each pair touches at one placement.

    Attributes
    ----------
    gap_mm
        (n, 2): what is left between stud and hole after the slots have taken what they can.
    lever_mm
        (n, 2): the donor's touching point, turned, seen from the donor's origin: what a turn moves.
    along
        (n, 2) unit vectors, and `free` (n,): 0 the gap is held in both directions, 1 the pair may slide
        along `along`, 2 it may move in both.
    """

    gap_mm: Floats
    lever_mm: Floats
    along: Floats
    free: Floats


@dataclass(frozen=True, eq=False)
class PlanePairs:
    """Donor points that are to lie on host points, each with its play and its slots.

    Attributes
    ----------
    p, q
        (n, 2) mm: donor points (mirrored already, where the task is) and host points.
    rho
        (n,) mm: allowed offset; zero or negative too.
    s_h, u_h
        (n,) and (n, 2): half travel of the host's slot and its direction.
    s_d, u_d
        The donor's slot, in the donor's frame.
    """

    p: Floats
    q: Floats
    rho: Floats
    s_h: Floats
    u_h: Floats
    s_d: Floats
    u_d: Floats

    @classmethod
    def of(cls, task: FitTask, pairs: Sequence[tuple[str, str]]) -> PlanePairs:
        """Arrays of the named (fixing, feature) pairs of a task, in the order given.

        Raises
        ------
        KeyError
            A pair that is no option of the task.
        ValueError
            The task is not flat.
        """
        if task.dims != 2:
            raise ValueError("PlanePairs holds flat patterns")
        fixings = {spot.id: spot for spot in task.fixings}
        features = {spot.id: spot for spot in task.features}
        allowed = {(option.fixing, option.feature): option.allowed_mm for option in task.options}
        hosts = [fixings[fixing] for fixing, _ in pairs]
        donors = [features[feature] for _, feature in pairs]
        q, s_h, u_h = _sides(hosts, mirrored=False)
        p, s_d, u_d = _sides(donors, mirrored=task.mirrored)
        rho = np.array([allowed[fixing, feature] for fixing, feature in pairs], dtype=np.float64)
        return cls(p, q, rho, s_h, u_h, s_d, u_d)

    @classmethod
    def plain(
        cls,
        p: Floats,
        q: Floats,
        rho: Floats | float,
        *,
        s_h: Floats | float = 0.0,
        angle_h_deg: Floats | float = 0.0,
        s_d: Floats | float = 0.0,
        angle_d_deg: Floats | float = 0.0,
    ) -> PlanePairs:
        """Arrays from plain lists; a single number stands for every pair.

        Examples
        --------
        >>> pairs = PlanePairs.plain([(0, 0), (10, 0)], [(0, 0), (10.5, 0)], 0.5)
        >>> pairs.excess(0.0, (0.0, 0.0)).round(3).tolist()
        [-0.5, 0.0]
        """
        p = np.asarray(p, dtype=float).reshape(-1, 2)
        n = len(p)

        def whole(value: Floats | float) -> Floats:
            return np.broadcast_to(np.asarray(value, dtype=float), (n,)).copy()

        return cls(
            p,
            np.asarray(q, dtype=float).reshape(-1, 2),
            whole(rho),
            whole(s_h),
            directions(whole(angle_h_deg)),
            whole(s_d),
            directions(whole(angle_d_deg)),
        )

    def __len__(self) -> int:
        """Return the number of pairs."""
        return len(self.rho)

    def take(self, keep: Sequence[int] | Floats) -> PlanePairs:
        """Return the pairs at these places alone."""
        k = np.asarray(keep)
        return PlanePairs(
            self.p[k], self.q[k], self.rho[k], self.s_h[k], self.u_h[k], self.s_d[k], self.u_d[k]
        )

    @property
    def sigma(self) -> Floats:
        """(n,) mm: play and all slot travel together, the outer radius of what a pair may reach."""
        return self.rho + self.s_h + self.s_d

    def centred(self) -> tuple[PlanePairs, Floats, Floats]:
        """Return the pairs about the middle of each side, and the two middles (donor, host)."""
        if not len(self):
            return self, np.zeros(2), np.zeros(2)
        p0 = (self.p.min(axis=0) + self.p.max(axis=0)) / 2
        q0 = (self.q.min(axis=0) + self.q.max(axis=0)) / 2
        moved = PlanePairs(self.p - p0, self.q - q0, self.rho, self.s_h, self.u_h, self.s_d, self.u_d)
        return moved, p0, q0

    def swapped(self) -> PlanePairs:
        """Return the pairs with host and donor in each other's place (turns change their sign)."""
        return PlanePairs(self.q, self.p, self.rho, self.s_d, self.u_d, self.s_h, self.u_h)

    def contact(self, turn_rad: float, shift_mm: Floats) -> Contact:
        """Where each pair touches at this placement (donor turned, then shifted)."""
        c, s = math.cos(turn_rad), math.sin(turn_rad)
        turned = turn(self.p, c, s)
        v = turned + shift_mm - self.q
        n = len(v)
        if not (self.s_h.any() or self.s_d.any()):
            return Contact(v, turned, np.zeros((n, 2)), np.zeros(n))
        w = turn(self.u_d, c, s)
        donor = self.s_d > 0
        along = np.where(donor[:, None], w, self.u_h)
        reach = np.where(donor, self.s_d, self.s_h)
        at = (v * along).sum(axis=1)
        slid = np.clip(at, -reach, reach)
        gap = v - slid[:, None] * along
        free = (np.abs(at) < reach).astype(float)
        lever = turned - np.where(donor, slid, 0.0)[:, None] * w
        for i in np.flatnonzero(donor & (self.s_h > 0)):
            a, gap[i], along[i], free[i] = _two_slots(v[i], self.u_h[i], self.s_h[i], w[i], self.s_d[i])
            lever[i] = turned[i] - a * w[i]
        return Contact(gap, lever, along, free)

    def offsets(self, turn_rad: float, shift_mm: Floats | tuple[float, float]) -> Floats:
        """(n,) mm: how far each pair stands apart after its slots have taken what they can."""
        gap = self.contact(turn_rad, np.asarray(shift_mm, dtype=float)).gap_mm
        return np.hypot(gap[:, 0], gap[:, 1])

    def excess(self, turn_rad: float, shift_mm: Floats | tuple[float, float]) -> Floats:
        """(n,) mm: offset less allowed; the placement fits where none is above zero."""
        return self.offsets(turn_rad, shift_mm) - self.rho


def turn(points: Floats, c: float, s: float) -> Floats:
    """Turn (n, 2) points by the angle whose cosine and sine are given."""
    out = np.empty_like(points)
    x, y = points[:, 0], points[:, 1]
    out[:, 0] = c * x - s * y
    out[:, 1] = s * x + c * y
    return out


def directions(angle_deg: Floats) -> Floats:
    """(n, 2) unit vectors; multiples of 90 degrees come out exact."""
    angle = np.radians(angle_deg)
    unit = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    square = np.abs(np.mod(np.asarray(angle_deg), 90.0)) == 0.0
    unit[square] = np.round(unit[square])
    return unit


def _sides(spots: Sequence[Spot], mirrored: bool) -> tuple[Floats, Floats, Floats]:
    at = np.array([spot.at_mm for spot in spots], dtype=float).reshape(-1, 2)
    angle = np.array([spot.angle_deg for spot in spots], dtype=float).reshape(-1)
    if mirrored:
        at = at * np.array([-1.0, 1.0])
        angle = 180.0 - angle
    half = np.array([spot.half_travel_mm for spot in spots], dtype=float).reshape(-1)
    return at, half, directions(angle)


def _two_slots(
    v: Floats, u: Floats, s_u: float, w: Floats, s_w: float
) -> tuple[float, Floats, Floats, float]:
    """Nearest point of the parallelogram b u + a w to v: (a, gap, free direction, degrees of freedom)."""
    cross = u[0] * w[1] - u[1] * w[0]
    if abs(cross) > 1e-12:
        b = (v[0] * w[1] - v[1] * w[0]) / cross
        a = (u[0] * v[1] - u[1] * v[0]) / cross
        if abs(a) <= s_w and abs(b) <= s_u:
            return a, np.zeros(2), u, 2.0
    best: tuple[float, float, Floats, Floats, float] | None = None
    for side in (-1.0, 1.0):
        for fixed, reach, moving, travel, a_moves in ((w, s_w, u, s_u, False), (u, s_u, w, s_w, True)):
            left = v - side * reach * fixed
            at = float(left @ moving)
            slid = min(max(at, -travel), travel)
            gap = left - slid * moving
            far = float(gap @ gap)
            if best is None or far < best[0]:
                a = slid if a_moves else side * reach
                best = (far, a, gap, moving, float(abs(at) < travel))
    assert best is not None
    return best[1:]
