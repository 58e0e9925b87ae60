"""Known pairs as arrays, in the plane or in space, and how far each stands out of its play at a placement.

In space a pair may be out across its fixing's axis by its play and its slots, and along the axis by the fastener's
grip. A hole with a depth has to take the fastener at both of its ends, half a depth to either side of its centre: a
hole of play (H - F)/2 and depth t can so lean by (H - F)/t and no further. And the axes have to point the same way, to
within `LEAN_COS`: otherwise the part is turned over, or another face is up.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from partkin.fit.rotations import flat_turn, laid_over
from partkin.model.fitting import FitTask, Spot

Floats = np.ndarray
Slid = tuple[Floats, Floats, Callable[[], Floats]]

FITS_MM = 1.0e-6
"""An excess up to this counts as rounding: it fits."""
WILD_MM = 1.0e4
"""A play so large that it says nothing: pairs of which something is not known get one."""
LEAN_COS = 0.866
"""Cosine of how far two axes may ever point apart (30 degrees): a convention, no source."""
LEAN_SCALE_MM = 1000.0
"""What an axis that points too far off counts in mm of excess, per unit of cosine."""


def _none() -> Floats:
    return np.zeros(0)


@dataclass(frozen=True, eq=False)
class Contact:
    """How the pairs stand at m placements.

    Attributes
    ----------
    gap_mm
        (m, k, 2): what is left across the axis at each hole end, after the slots have taken what they can.
    lever_mm
        (m, k, d): the donor's touching point, turned, from the donor's origin.
    held
        (m, k, 2, 2): projection on the directions across the axis that the slots leave held; None: all.
    along_mm
        (m, n): how far the donor stands off along the fixing's axis; none in the plane.
    centre_mm, axis
        (m, n, d): the donor's points and axes, turned.
    """

    gap_mm: Floats
    lever_mm: Floats
    held: Floats | None
    along_mm: Floats
    centre_mm: Floats
    axis: Floats


@dataclass(frozen=True, eq=False)
class SideSpots:
    """Spots of one side, in the plane or in space.

    Attributes
    ----------
    spots
    at_mm
        (n, d): where they are, the donor mirrored already where the task is.
    half_travel_mm, along
        (n,), (n, 2): how far a slot reaches to either side, and its direction: of the host in the `basis` of its axis;
        of the donor, (n, d), in its own frame.
    axis
        (n, 3): in space alone.
    """

    spots: tuple[Spot, ...]
    at_mm: Floats
    half_travel_mm: Floats
    along: Floats
    axis: Floats

    @classmethod
    def of(cls, spots: Sequence[Spot], dims: int) -> SideSpots:
        """Spots of the host, in the order given."""
        at, axis = (
            np.array([getattr(spot, name) for spot in spots], dtype=float).reshape(-1, d)
            for name, d in (("at_mm", dims), ("axis", 3))
        )
        half, angle = (np.array([getattr(s, name) for s in spots], float) for name in ("half_travel_mm", "angle_deg"))
        return cls(tuple(spots), at, half, directions(angle), axis)

    @classmethod
    def of_donor(cls, spots: Sequence[Spot], task: FitTask) -> SideSpots:
        """Spots of the donor, in the order given, mirrored where the task is."""
        plain = cls.of(spots, task.dims)
        flip = np.array([-1.0 if task.mirrored else 1.0, 1.0, 1.0])
        if task.dims == 2:
            # A mirrored angle is told exactly, where a mirrored direction would be rounded.
            angle = np.array([spot.angle_deg for spot in spots], dtype=float)
            along = directions(180.0 - angle) if task.mirrored else plain.along
        else:
            along = np.einsum("nij,nj->ni", laid_over(plain.axis)[:, :, :2], plain.along) * flip
        return replace(plain, at_mm=plain.at_mm * flip[: task.dims], along=along, axis=plain.axis * flip)

    def take(self, rows: Floats) -> SideSpots:
        """Return those at these places."""
        spots = tuple(self.spots[int(row)] for row in rows)
        return SideSpots(spots, self.at_mm[rows], self.half_travel_mm[rows], self.along[rows], self.axis[rows])


@dataclass(frozen=True, eq=False)
class Pairs:
    """Donor points that are to lie on host points, each with its play and its slots, and in space with their axes.

    Attributes
    ----------
    p, q
        (n, d) mm, or in space (m, n, d) for m draws: donor points (mirrored already, where the task is), host points.
    rho
        (n,) mm, or (m, n): allowed offset, across the axis; zero or negative too.
    s_h, u_h
        (n,), (n, 2): half travel of the host's slot and its direction in `basis`.
    s_d, u_d
        (n,), (n, d): the donor's slot, in the donor's frame.
    grip
        (n,) mm, or (m, n), in space alone as all that follows: allowed along the axis.
    a, b
        (n, 3) unit vectors: axis of the fixing and of the feature.
    depth
        (n,) mm: depth of the hole; 0: not known, no limit to leaning but `LEAN_COS`.
    room_mm
        What has been added to all that is allowed; (n,) where that differs.
    """

    p: Floats
    q: Floats
    rho: Floats
    s_h: Floats
    u_h: Floats
    s_d: Floats
    u_d: Floats
    grip: Floats = field(default_factory=_none)
    a: Floats = field(default_factory=_none)
    b: Floats = field(default_factory=_none)
    depth: Floats = field(default_factory=_none)
    room_mm: float | Floats = 0.0

    @classmethod
    def of(cls, task: FitTask, pairs: Sequence[tuple[str, str]]) -> Pairs:
        """Arrays of the named (fixing, feature) pairs of a task, in the order given.

        Raises
        ------
        KeyError
            A pair that is no option of the task.
        """
        fixings = {spot.id: spot for spot in task.fixings}
        features = {spot.id: spot for spot in task.features}
        allowed = {(option.fixing, option.feature): option.allowed_mm for option in task.options}
        rho = np.array([allowed[pair[0], pair[1]] for pair in pairs], dtype=float)
        hosts = SideSpots.of([fixings[pair[0]] for pair in pairs], task.dims)
        return cls.between(hosts, SideSpots.of_donor([features[pair[1]] for pair in pairs], task), rho)

    @classmethod
    def between(cls, hosts: SideSpots, donors: SideSpots, rho: Floats) -> Pairs:
        """Pair the spots of two sides one by one."""
        flat = (
            donors.at_mm, hosts.at_mm, rho, hosts.half_travel_mm, hosts.along, donors.half_travel_mm, donors.along,
        )  # fmt: skip
        if hosts.at_mm.shape[1] == 2:
            return cls(*flat)
        both = list(zip(hosts.spots, donors.spots, strict=True))
        grip, depth = (np.array([of(h, d) for h, d in both], dtype=float) for of in (grip_mm, _depth_mm))
        return cls(*flat, grip, hosts.axis, donors.axis, depth)

    @classmethod
    def plain(
        cls, p: Floats, q: Floats, rho: Floats | float, *, s_h: Floats | float = 0.0,
        angle_h_deg: Floats | float = 0.0, s_d: Floats | float = 0.0, angle_d_deg: Floats | float = 0.0,
    ) -> Pairs:  # fmt: skip
        """Arrays of a flat pattern from plain lists; a single number stands for every pair.

        Examples
        --------
        >>> pairs = Pairs.plain([(0, 0), (10, 0)], [(0, 0), (10.5, 0)], 0.5)
        >>> pairs.excess(0.0, (0.0, 0.0)).round(3).tolist()
        [-0.5, 0.0]
        """
        p, q = (np.asarray(side, dtype=float).reshape(-1, 2) for side in (p, q))
        told = rho, s_h, angle_h_deg, s_d, angle_d_deg
        whole = [np.broadcast_to(np.asarray(value, dtype=float), (len(p),)).copy() for value in told]
        return cls(p, q, whole[0], whole[1], directions(whole[2]), whole[3], directions(whole[4]))

    def __len__(self) -> int:
        """Return the number of pairs."""
        return len(self.s_h)

    @property
    def dims(self) -> int:
        """2 or 3."""
        return int(self.p.shape[-1])

    @property
    def sigma(self) -> Floats:
        """(n,) mm: play and all slot travel together, the outer radius of what a pair may reach."""
        return np.asarray(self.rho + self.s_h + self.s_d)

    @cached_property
    def basis(self) -> Floats:
        """(n, 2, d) what lies across each fixing's axis."""
        if self.dims == 2:
            return np.broadcast_to(np.eye(2), (len(self), 2, 2))
        return np.swapaxes(laid_over(self.a)[:, :, :2], 1, 2)

    @cached_property
    def deep(self) -> Floats:
        """Pairs whose hole's depth is known."""
        return np.flatnonzero(self.depth > 0)

    @cached_property
    def end_of(self) -> Floats:
        """(k,) the pair that each hole end belongs to: one a pair, two where the depth is known."""
        return np.concatenate([np.arange(len(self)), self.deep])

    @cached_property
    def end_off(self) -> Floats:
        """(k, 3) mm: where each end stands from the hole's centre, in the donor's frame."""
        half = self.b * (self.depth / 2)[:, None]
        return np.concatenate([half, -half[self.deep]])

    @cached_property
    def slotted(self) -> Floats:
        """Ends that have a slot on either side."""
        return np.flatnonzero((self.s_h + self.s_d)[self.end_of] > 0)

    @cached_property
    def _slots(self) -> tuple[Floats, Floats, Floats, Floats, Floats | None, Floats, Callable[..., Slid]]:
        """Those ends, their pairs, the host's slots, the donor's (None: none), and what slides in them."""
        of = self.end_of[self.slotted]
        s_u, s_w = self.s_h[of], self.s_d[of]
        slide = nearest_in_slots if (s_u * s_w).any() else nearest_in_one
        return self.slotted, of, self.u_h[of], s_u, self.u_d[of] if s_w.any() else None, s_w, slide

    @cached_property
    def size_mm(self) -> float:
        """Root mean square distance of the donor's points from their middle, at least a little."""
        p = self.p - self.p.mean(axis=-2, keepdims=True)
        return float(np.sqrt(max((p * p).sum(axis=-1).mean(), 1.0)))

    def take(self, keep: Sequence[int] | Floats) -> Pairs:
        """Return the pairs at these places alone."""
        k = np.asarray(keep)
        some = replace(
            self, p=self.p[..., k, :], q=self.q[..., k, :], rho=self.rho[..., k], s_h=self.s_h[k], u_h=self.u_h[k],
            s_d=self.s_d[k], u_d=self.u_d[k],
        )  # fmt: skip
        if self.dims == 2:
            return some
        room_mm = self.room_mm[k] if isinstance(self.room_mm, np.ndarray) else self.room_mm
        return replace(some, grip=self.grip[..., k], a=self.a[k], b=self.b[k], depth=self.depth[k], room_mm=room_mm)

    def draws(self, rows: Floats) -> Pairs:
        """Return these of the draws, where there are draws."""
        if self.p.ndim == 2:
            return self
        return replace(self, p=self.p[rows], q=self.q[rows], rho=self.rho[rows], grip=self.grip[rows])

    def widened(self, by_mm: float | Floats) -> Pairs:
        """Return the pairs with this much more allowed across and along every axis."""
        if self.dims == 2:
            return replace(self, rho=self.rho + by_mm)
        return replace(self, rho=self.rho + by_mm, grip=self.grip + by_mm, room_mm=self.room_mm + by_mm)

    def centred(self) -> tuple[Pairs, Floats, Floats]:
        """Return the pairs about the middle of each side, and the two middles (donor, host)."""
        if not len(self):
            return self, np.zeros(self.dims), np.zeros(self.dims)
        p0 = (self.p.min(axis=0) + self.p.max(axis=0)) / 2
        q0 = (self.q.min(axis=0) + self.q.max(axis=0)) / 2
        return replace(self, p=self.p - p0, q=self.q - q0), p0, q0

    def swapped(self) -> Pairs:
        """Return flat pairs with host and donor in each other's place (turns change their sign)."""
        return Pairs(self.q, self.p, self.rho, self.s_d, self.u_d, self.s_h, self.u_h)

    def contact(self, turn: Floats, shift_mm: Floats, *, hold: bool = False) -> Contact:
        """How the pairs stand at (m, d, d) turns and (m, d) shifts; `hold`: and what their slots leave held."""
        back = np.swapaxes(turn, 1, 2)
        centre = self.p @ back
        off = centre + shift_mm[:, None, :] - self.q
        if self.dims == 2:
            lever, gap, axis, along = centre, off, centre[:, :0], off[:, :0, 0]
        else:
            k, axis, along = self.end_of, self.b @ back, (off * self.a).sum(axis=-1)
            ends = self.end_off @ back
            lever = centre[:, k] + ends
            gap = ((off[:, k] + ends)[:, :, None, :] @ np.swapaxes(self.basis[k], 1, 2))[:, :, 0]
        if not len(self.slotted):
            return Contact(gap, lever, None, along, centre, axis)
        held = np.zeros((*gap.shape, 2)) if hold else None
        if held is not None:
            held[..., 0, 0] = held[..., 1, 1] = 1.0
        return Contact(gap, self._slide(gap, lever, held, back), held, along, centre, axis)

    def contact_at(self, turn_rad: float, shift_mm: Floats | tuple[float, float], *, hold: bool = False) -> Contact:
        """How flat pairs stand at one placement: a turn, then a shift (2,)."""
        return self.contact(flat_turn(turn_rad)[None], np.array(shift_mm, dtype=float)[None], hold=hold)

    def _slide(self, gap: Floats, lever: Floats, held: Floats | None, back: Floats) -> Floats:
        """Let the slots take what they can, in place; return where the pairs then touch."""
        ends, of, u, s_u, slots, s_w, slide = self._slots
        w = u
        if slots is not None:
            slots = slots @ back
            w = slots if self.dims == 2 else (slots[:, :, None, :] @ np.swapaxes(self.basis[of], 1, 2))[:, :, 0]
        moved, gap[:, ends], slides = slide(gap[:, ends], u, s_u, w, s_w)
        if slots is not None:
            lever = lever.copy()
            lever[:, ends] -= moved[..., None] * slots
        if held is not None:
            held[:, ends] = slides()
        return lever

    def across_mm(self, contact: Contact) -> Floats:
        """(m, n) the offset across the axis, at the worse end of each hole."""
        length = np.hypot(contact.gap_mm[..., 0], contact.gap_mm[..., 1])
        if not len(self.deep):
            return np.asarray(length)
        across = length[:, : len(self)].copy()
        across[:, self.deep] = np.maximum(across[:, self.deep], length[:, len(self) :])
        return np.asarray(across)

    def out_by(self, contact: Contact) -> Floats:
        """(m, n) mm: by how much each pair is out, in the direction in which it is out most."""
        across = self.across_mm(contact) - self.rho
        if self.dims == 2:
            return np.asarray(across)
        along = np.abs(contact.along_mm) - self.grip
        lean = LEAN_SCALE_MM * (LEAN_COS - (contact.axis * self.a).sum(axis=-1)) - self.room_mm
        return np.asarray(np.maximum(np.maximum(across, along), lean))

    def offsets(self, turn_rad: float, shift_mm: Floats | tuple[float, float]) -> Floats:
        """(n,) mm: how far each flat pair stands apart after its slots have taken what they can."""
        return np.asarray(self.across_mm(self.contact_at(turn_rad, shift_mm))[0])

    def excess(self, turn_rad: float, shift_mm: Floats | tuple[float, float]) -> Floats:
        """(n,) mm: offset of flat pairs less allowed; the placement fits where none is above zero."""
        return np.asarray(self.offsets(turn_rad, shift_mm) - self.rho)


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


def grip_mm(host: Spot, donor: Spot) -> float:
    """How far a pair may stand apart along the axis: the host's fastener says, else the donor's, else nothing.

    Without either the faces have to meet.
    """
    if host.grip_mm is not None:
        return host.grip_mm
    return donor.grip_mm if donor.grip_mm is not None else 0.0


def _depth_mm(host: Spot, donor: Spot) -> float:
    """Depth of the hole that the fastener stands in: the deeper of the two; 0: not known."""
    return max(host.depth_mm or 0.0, donor.depth_mm or 0.0)


def nearest_in_one(v: Floats, u: Floats, s_u: Floats, w: Floats, s_w: Floats) -> Slid:
    """As `nearest_in_slots`, where no pair has two slots."""
    donor, reach = s_w > 0, s_u + s_w
    along = np.where(donor[:, None], w, u) if w is not u else u
    size = np.maximum((along * along).sum(axis=-1), 1e-12)
    at = (v * along).sum(axis=-1) / size
    slid = np.maximum(np.minimum(at, reach), -reach)

    def held() -> Floats:
        slides = along[..., :, None] * along[..., None, :] / size[..., None, None]
        return np.eye(2) - np.where((np.abs(at) < reach)[..., None, None], slides, 0.0)

    return np.where(donor, slid, 0.0), v - slid[..., None] * along, held


def nearest_in_slots(v: Floats, u: Floats, s_u: Floats, w: Floats, s_w: Floats) -> Slid:
    """Nearest point of the parallelogram x u + y w, |x| <= s_u, |y| <= s_w, to v; all (m, k, 2).

    Returns
    -------
    y (m, k), what is left of v (m, k, 2), and what tells the projection (m, k, 2, 2) on the directions that stay held.
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
    return best_y, rest, lambda: held
