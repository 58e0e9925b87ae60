"""Known pairs in space as arrays: how far each stands out of its play at a placement.

Across the fixing's axis a pair may be out by its play and its slots, along the axis by the fastener's grip.
A hole with a depth has to take the fastener at both of its ends, half a depth to either side of its centre:
a hole of play (H - F)/2 and depth t can so lean by (H - F)/t and no further. And the axes have to point
the same way, to within `LEAN_COS`: otherwise the part is turned over, or another face is up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from partkin.fit.arrays import directions
from partkin.fit.rotations import laid_over
from partkin.model.fitting import FitTask, Spot

Floats = np.ndarray

LEAN_COS = 0.866
"""Cosine of how far two axes may ever point apart (30 degrees): a convention, no source."""
LEAN_SCALE_MM = 1000.0
"""What an axis that points too far off counts in mm of excess, per unit of cosine."""


@dataclass(frozen=True, eq=False)
class Contact:
    """How the pairs stand at m placements.

    Attributes
    ----------
    gap_mm
        (m, k, 2): what is left across the axis at each hole end, after the slots have taken what they can.
    lever_mm
        (m, k, 3): the donor's touching point, turned, from the donor's origin.
    held
        (m, k, 2, 2): projection on the directions across the axis that the slots leave held; None: all.
    along_mm
        (m, n): how far the donor stands off along the fixing's axis.
    centre_mm, axis
        (m, n, 3): the donor's points and axes, turned.
    """

    gap_mm: Floats
    lever_mm: Floats
    held: Floats | None
    along_mm: Floats
    centre_mm: Floats
    axis: Floats


@dataclass(frozen=True, eq=False)
class SpacePairs:
    """Donor points with their axes that are to lie on host points with theirs.

    Attributes
    ----------
    p, q
        (n, 3) mm, or (m, n, 3) for m draws: donor points (mirrored already, where the task is), host points.
    rho, grip
        (n,) mm, or (m, n): allowed across and along the axis.
    a, b
        (n, 3) unit vectors: axis of the fixing and of the feature.
    depth
        (n,) mm: depth of the hole; 0: not known, no limit to leaning but `LEAN_COS`.
    s_h, u_h
        (n,), (n, 2): half travel of the host's slot and its direction in `basis`.
    s_d, u_d
        (n,), (n, 3): the donor's slot, in the donor's frame.
    """

    p: Floats
    q: Floats
    rho: Floats
    grip: Floats
    a: Floats
    b: Floats
    depth: Floats
    s_h: Floats
    u_h: Floats
    s_d: Floats
    u_d: Floats
    room_mm: float = 0.0

    @classmethod
    def of(cls, task: FitTask, pairs: Sequence[tuple[str, str]]) -> SpacePairs:
        """Arrays of the named (fixing, feature) pairs of a task, in the order given.

        Raises
        ------
        KeyError
            A pair that is no option of the task.
        """
        fixings = {spot.id: spot for spot in task.fixings}
        features = {spot.id: spot for spot in task.features}
        allowed = {(option.fixing, option.feature): option.allowed_mm for option in task.options}
        hosts = [fixings[fixing] for fixing, _ in pairs]
        donors = [features[feature] for _, feature in pairs]
        rho = np.array([allowed[pair[0], pair[1]] for pair in pairs], dtype=float)
        return cls.between(hosts, donors, rho, mirrored=task.mirrored)

    @classmethod
    def between(cls, hosts: Sequence[Spot], donors: Sequence[Spot], rho: Floats, *, mirrored: bool) -> SpacePairs:
        """Arrays of spots of equal number, one on the other."""
        p, b = _vectors([spot.at_mm for spot in donors]), _vectors([spot.axis for spot in donors])
        q, a = _vectors([spot.at_mm for spot in hosts]), _vectors([spot.axis for spot in hosts])
        angle = directions(np.array([spot.angle_deg for spot in donors], dtype=float).reshape(-1))
        u_d = np.einsum("nij,nj->ni", laid_over(b)[:, :, :2], angle)
        if mirrored:
            flip = np.array([-1.0, 1.0, 1.0])
            p, b, u_d = p * flip, b * flip, u_d * flip
        return cls(
            p, q, rho, np.array([grip_mm(h, d) for h, d in zip(hosts, donors, strict=True)], dtype=float),
            a, b, np.array([depth_mm(h, d) for h, d in zip(hosts, donors, strict=True)], dtype=float),
            np.array([spot.half_travel_mm for spot in hosts], dtype=float),
            directions(np.array([spot.angle_deg for spot in hosts], dtype=float).reshape(-1)),
            np.array([spot.half_travel_mm for spot in donors], dtype=float), u_d,
        )  # fmt: skip

    def __len__(self) -> int:
        """Return the number of pairs."""
        return len(self.a)

    @cached_property
    def basis(self) -> Floats:
        """(n, 2, 3) what lies across each fixing's axis."""
        return np.swapaxes(laid_over(self.a)[:, :, :2], 1, 2)

    @cached_property
    def end_of(self) -> Floats:
        """(k,) the pair that each hole end belongs to: one a pair, two where the depth is known."""
        return np.concatenate([np.arange(len(self)), np.flatnonzero(self.depth > 0)])

    @cached_property
    def end_off(self) -> Floats:
        """(k, 3) mm: where each end stands from the hole's centre, in the donor's frame."""
        half = self.b * (self.depth / 2)[:, None]
        return np.concatenate([half, -half[self.depth > 0]])

    @cached_property
    def slotted(self) -> Floats:
        """Ends that have a slot on either side."""
        return np.flatnonzero((self.s_h + self.s_d)[self.end_of] > 0)

    @cached_property
    def size_mm(self) -> float:
        """Root mean square distance of the donor's points from their middle, at least a little."""
        p = self.p - self.p.mean(axis=-2, keepdims=True)
        return float(np.sqrt(max((p * p).sum(axis=-1).mean(), 1.0)))

    def take(self, keep: Sequence[int] | Floats) -> SpacePairs:
        """Return the pairs at these places alone."""
        k = np.asarray(keep)
        return SpacePairs(
            self.p[..., k, :], self.q[..., k, :], self.rho[..., k], self.grip[..., k], self.a[k], self.b[k],
            self.depth[k], self.s_h[k], self.u_h[k], self.s_d[k], self.u_d[k], self.room_mm,
        )  # fmt: skip

    def draws(self, rows: Floats) -> SpacePairs:
        """Return these of the draws, where there are draws."""
        if self.p.ndim == 2:
            return self
        return replace(self, p=self.p[rows], q=self.q[rows], rho=self.rho[rows], grip=self.grip[rows])

    def widened(self, by_mm: float) -> SpacePairs:
        """Return the pairs with this much more allowed across and along every axis."""
        return replace(self, rho=self.rho + by_mm, grip=self.grip + by_mm, room_mm=self.room_mm + by_mm)

    def contact(self, turn: Floats, shift_mm: Floats) -> Contact:
        """How the pairs stand at (m, 3, 3) turns and (m, 3) shifts."""
        back = np.swapaxes(turn, 1, 2)
        centre = self.p @ back
        axis = self.b @ back
        off = centre + shift_mm[:, None, :] - self.q
        along = (off * self.a).sum(axis=-1)
        k = self.end_of
        ends = self.end_off @ back
        lever = centre[:, k] + ends
        gap = ((off[:, k] + ends)[:, :, None, :] @ np.swapaxes(self.basis[k], 1, 2))[:, :, 0]
        held = None
        if len(self.slotted):
            held = np.broadcast_to(np.eye(2), (*gap.shape, 2)).copy()
            self._slide(gap, lever, held, back)
        return Contact(gap, lever, held, along, centre, axis)

    def _slide(self, gap: Floats, lever: Floats, held: Floats, back: Floats) -> None:
        """Let the slots take what they can, in place."""
        ends = self.slotted
        of = self.end_of[ends]
        slots = self.u_d[of] @ back
        w = (slots[:, :, None, :] @ np.swapaxes(self.basis[of], 1, 2))[:, :, 0]
        u = np.broadcast_to(self.u_h[of], w.shape)
        moved, rest, projection = nearest_in_slots(gap[:, ends], u, self.s_h[of], w, self.s_d[of])
        gap[:, ends], held[:, ends] = rest, projection
        lever[:, ends] -= moved[..., None] * slots

    def across_mm(self, contact: Contact) -> Floats:
        """(m, n) the offset across the axis, at the worse end of each hole."""
        length = np.sqrt((contact.gap_mm**2).sum(axis=-1))
        across = length[:, : len(self)].copy()
        deep = np.flatnonzero(self.depth > 0)
        across[:, deep] = np.maximum(across[:, deep], length[:, len(self) :])
        return across

    def excess(self, contact: Contact) -> Floats:
        """(m, n) mm: by how much each pair is out, in the direction in which it is out most."""
        across = self.across_mm(contact) - self.rho
        along = np.abs(contact.along_mm) - self.grip
        lean = LEAN_SCALE_MM * (LEAN_COS - (contact.axis * self.a).sum(axis=-1)) - self.room_mm
        return np.asarray(np.maximum(np.maximum(across, along), lean))


def grip_mm(host: Spot, donor: Spot) -> float:
    """How far a pair may stand apart along the axis: the host's fastener says, else the donor's, else nothing.

    Without either the faces have to meet.
    """
    if host.grip_mm is not None:
        return host.grip_mm
    return donor.grip_mm if donor.grip_mm is not None else 0.0


def depth_mm(host: Spot, donor: Spot) -> float:
    """Depth of the hole that the fastener stands in: the deeper of the two; 0: not known."""
    return max(host.depth_mm or 0.0, donor.depth_mm or 0.0)


def nearest_in_slots(
    v: Floats, u: Floats, s_u: Floats, w: Floats, s_w: Floats
) -> tuple[Floats, Floats, Floats]:
    """Nearest point of the parallelogram x u + y w, |x| <= s_u, |y| <= s_w, to v; all (m, k, 2).

    Returns
    -------
    y (m, k), what is left of v (m, k, 2), and the projection (m, k, 2, 2) on the directions that stay held.
    """
    cross = u[..., 0] * w[..., 1] - u[..., 1] * w[..., 0]
    safe = np.where(np.abs(cross) > 1e-9, cross, 1.0)
    x = (v[..., 0] * w[..., 1] - v[..., 1] * w[..., 0]) / safe
    y = (u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]) / safe
    inside = (np.abs(cross) > 1e-9) & (np.abs(x) <= s_u) & (np.abs(y) <= s_w)
    best_y = np.where(inside, y, 0.0)
    rest = np.where(inside[..., None], 0.0, v)
    far = np.where(inside, -1.0, np.inf)
    held = np.where(inside[..., None, None], 0.0, np.eye(2))
    for fixed, reach, moving, travel, y_moves in ((w, s_w, u, s_u, False), (u, s_u, w, s_w, True)):
        size = np.maximum((moving * moving).sum(axis=-1), 1e-12)
        for side in (-1.0, 1.0):
            left = v - (side * reach)[..., None] * fixed
            at = (left * moving).sum(axis=-1) / size
            slid = np.clip(at, -travel, travel)
            gap = left - slid[..., None] * moving
            distance = (gap * gap).sum(axis=-1)
            nearer = distance < far
            far = np.where(nearer, distance, far)
            best_y = np.where(nearer, slid if y_moves else side * reach, best_y)
            rest = np.where(nearer[..., None], gap, rest)
            free = (np.abs(at) < travel) & (travel > 0)
            slides = moving[..., :, None] * moving[..., None, :] / size[..., None, None]
            projection = np.eye(2) - np.where(free[..., None, None], slides, 0.0)
            held = np.where(nearer[..., None, None], projection, held)
    return best_y, rest, held


def _vectors(rows: Sequence[Sequence[float]]) -> Floats:
    return np.array(rows, dtype=float).reshape(-1, 3)
