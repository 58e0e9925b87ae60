"""A primal-dual interior point for many draws of the same pairs in the plane at once.

Arrays are laid out (pairs, draws), so that numpy runs along the draws: far quicker than a program a draw (see `cones`).
The turn is exact, slots are eliminated pair by pair. Scaling after Nesterov and Todd; see L. Vandenberghe, The CVXOPT
linear and quadratic cone program solvers (2010), for the formulas.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from partkin.fit.arrays import Floats, Pairs

_CENTRE = 0.1
_TAKE = 0.95


class Slots:
    """Slots of both sides, the same in every draw; a pair has at most one of each."""

    def __init__(self, pairs: Pairs) -> None:
        self.s_h, self.u_h, self.s_d, self.u_d = pairs.s_h, pairs.u_h, pairs.s_d, pairs.u_d
        self.host, self.donor = np.flatnonzero(pairs.s_h), np.flatnonzero(pairs.s_d)
        self.total = pairs.s_h + pairs.s_d
        # The pair of each slot, the host's first, and its half travel as a column.
        self.of = np.concatenate([self.host, self.donor])
        self.half = np.concatenate([self.s_h[self.host], self.s_d[self.donor]])[:, None]
        self.any = bool(len(self.of))


class Run:
    """The draws still undecided, and where each one's walk stands."""

    # Everything per draw that is cut down when draws are decided: (pairs, draws), (slots, draws), (draws,).
    _PER_DRAW = (
        "px", "py", "qx", "qy", "rho", "who", "c", "s", "tx", "ty", "z", "lx", "ly", "rx", "ry", "s0", "sx", "sy",
        "y0", "yx", "yy", "middle", "half", "slid", "sp", "sm", "yp", "ym",
    )  # fmt: skip

    def __init__(
        self, px: Floats, py: Floats, qx: Floats, qy: Floats, rho: Floats, slots: Slots, who: np.ndarray
    ) -> None:
        self.px, self.py, self.qx, self.qy, self.rho = (a[:, who] for a in (px, py, qx, qy, rho))
        self.slots, self.who = slots, who
        self.aside: list[int] = []
        # Turns that are still open to each draw: middle, half width.
        self.middle, self.half = np.zeros(len(who)), np.full(len(who), np.pi)
        self.n = len(rho)
        self.size = np.sqrt(max(float((self.px**2 + self.py**2).mean()) if len(who) else 1.0, 1e-6))

    def keep(self, mask: np.ndarray) -> None:
        """Go on with these draws alone."""
        if mask.all():
            return
        for name in self._PER_DRAW:
            value = getattr(self, name, None)
            if value is not None:
                setattr(self, name, value[..., mask])

    def start(self) -> None:
        """Centre by least squares, and set out from strictly inside every cone."""
        along = (self.px * self.qx + self.py * self.qy).sum(axis=0)
        across = (self.px * self.qy - self.py * self.qx).sum(axis=0)
        length = np.hypot(along, across)
        still = length <= 1e-12 * sum((a * a).sum(axis=0) for a in (self.px, self.py, self.qx, self.qy))
        length[still] = 1.0
        self.c, self.s = np.where(still, 1.0, along / length), np.where(still, 0.0, across / length)
        m = len(self.who)
        self.tx, self.ty, self.z = np.zeros(m), np.zeros(m), np.zeros(m)
        slots = self.slots
        self.slid = np.zeros((len(slots.of), m))
        if slots.any:
            self._slide()
        self._lay()
        d = np.hypot(self.rx, self.ry)
        worst = (d - self.rho).max(axis=0)
        floor = -self.rho.min(axis=0)
        self.z = worst + np.maximum(0.05, 0.3 * (worst - floor))
        self.s0, self.sx, self.sy = self.rho + self.z, self.rx.copy(), self.ry.copy()
        inverse = 1 / (self.s0 * self.s0 - self.sx * self.sx - self.sy * self.sy)
        self.y0, self.yx, self.yy = self.s0 * inverse, -self.sx * inverse, -self.sy * inverse
        mu = 1 / self.y0.sum(axis=0)
        for a in (self.y0, self.yx, self.yy):
            a *= mu
        self.sp, self.sm = slots.half - self.slid, slots.half + self.slid
        self.yp, self.ym = mu / self.sp, mu / self.sm

    def _slide(self) -> None:
        """Let each slot take most of what it can at the start."""
        self._lay()
        slots = self.slots
        for i, k in enumerate(slots.of):
            if i < len(slots.host) or slots.s_h[k] == 0:
                ex, ey = self._way(i)
                most = 0.9 * slots.half[i]
                self.slid[i] = np.clip(-(self.rx[k] * ex + self.ry[k] * ey), -most, most)

    def _way(self, i: int) -> tuple[Floats, Floats]:
        """How what is left changes with the way along a slot."""
        slots, k = self.slots, self.slots.of[i]
        if i < len(slots.host):
            return -slots.u_h[k, 0], -slots.u_h[k, 1]
        x, y = slots.u_d[k]
        return self.c * x - self.s * y, self.s * x + self.c * y

    def _lay(self) -> None:
        """Turn the donor's touching points; what is left between them and the host's."""
        px, py = self.px, self.py
        slots = self.slots
        if len(slots.donor):
            px, py = px.copy(), py.copy()
            px[slots.donor] += self.slid[len(slots.host) :] * slots.u_d[slots.donor, 0, None]
            py[slots.donor] += self.slid[len(slots.host) :] * slots.u_d[slots.donor, 1, None]
        self.lx = self.c * px - self.s * py
        self.ly = self.s * px + self.c * py
        self.rx = self.lx + (self.tx - self.qx)
        self.ry = self.ly + (self.ty - self.qy)
        if len(slots.host):
            self.rx[slots.host] -= self.slid[: len(slots.host)] * slots.u_h[slots.host, 0, None]
            self.ry[slots.host] -= self.slid[: len(slots.host)] * slots.u_h[slots.host, 1, None]

    def set_aside_stuck(self) -> None:
        """Leave to the exact solver the draws that rounding has pressed against the edge of a cone."""
        det_s, det_y = self._insides()
        edge = (det_s <= 1e-14 * self.s0**2) | (det_y <= 1e-14 * self.y0**2)
        stuck = edge.any(axis=0) | ~np.isfinite(self.z)
        self.aside.extend(self.who[stuck].tolist())
        self.keep(~stuck)

    def _insides(self) -> tuple[Floats, Floats]:
        det_s = self.s0 * self.s0 - self.sx * self.sx - self.sy * self.sy
        return det_s, self.y0 * self.y0 - self.yx * self.yx - self.yy * self.yy

    def step(self) -> None:
        """One step of the walk for every draw."""
        s0, sx, sy, y0, yx, yy = self.s0, self.sx, self.sy, self.y0, self.yx, self.yy
        det_s, det_y = self._insides()
        gap = (s0 * y0 + sx * yx + sy * yy).sum(axis=0)
        count = self.n
        if self.slots.any:
            gap = gap + (self.sp * self.yp + self.sm * self.ym).sum(axis=0)
            count += 2 * len(self.sp)
        mu = gap * (_CENTRE / count)
        # Inverse square of the Nesterov-Todd scaling: (2 (Jw)(Jw)^T - J) / beta^2.
        rs, ry = 1 / np.sqrt(det_s), 1 / np.sqrt(det_y)
        cross = (s0 * y0 + sx * yx + sy * yy) * rs * ry
        norm = 1 / np.sqrt(2 * (1 + cross))
        w0 = (s0 * rs + y0 * ry) * norm
        wx, wy = (yx * ry - sx * rs) * norm, (yy * ry - sy * rs) * norm
        scale = rs / ry
        a, b = 2 * scale * wx, 2 * scale * wy
        k = [2 * scale * w0 * w0 - scale, a * w0, b * w0, a * wx + scale, a * wy, b * wy + scale]
        push = mu / det_s
        v = [push * s0, -push * sx, -push * sy]
        miss = [self.rho + self.z - s0, self.rx - sx, self.ry - sy]
        kept = ([a.copy() for a in k], [a.copy() for a in v]) if self.slots.any else (k, v)
        folded = self._fold_slots(k, v, mu)
        dx = self._solve(k, v, miss)
        self._walk(dx, kept, folded, miss, det_s, det_y, mu)

    def _fold_slots(self, k: list[Floats], v: list[Floats], mu: Floats) -> list[tuple[Any, ...]]:
        """Take the way along each slot out of the equations, host's first; changes k and v."""
        out = []
        for i, pair in enumerate(self.slots.of):
            ex, ey = self._way(i)
            sp, sm, yp, ym = self.sp[i], self.sm[i], self.yp[i], self.ym[i]
            ke0 = k[1][pair] * ex + k[2][pair] * ey
            kex = k[3][pair] * ex + k[4][pair] * ey
            key = k[4][pair] * ex + k[5][pair] * ey
            stiff = 1 / (ex * kex + ey * key + yp / sp + ym / sm)
            want = ex * v[1][pair] + ey * v[2][pair] + mu / sm - mu / sp
            part = want * stiff
            for place, of in enumerate((ke0, kex, key)):
                v[place][pair] -= of * part
            for place, (one, two) in enumerate(
                ((ke0, ke0), (ke0, kex), (ke0, key), (kex, kex), (kex, key), (key, key))
            ):
                k[place][pair] -= one * two * stiff
            out.append((i, pair, ex, ey, ke0, kex, key, stiff, want))
        return out

    def _solve(self, k: list[Floats], v: list[Floats], miss: list[Floats]) -> tuple[Floats, ...]:
        """Solve the 4 x 4 equations of every draw by elimination, z first (its pivot is never small)."""
        a, b = self.ly * (-1 / self.size), self.lx * (1 / self.size)
        k0, k1, k2, k3, k4, k5 = k
        t0, t1, t2 = a * k1 + b * k2, a * k3 + b * k4, a * k4 + b * k5
        g = [v[0] - (k0 * miss[0] + k1 * miss[1] + k2 * miss[2]),
             v[1] - (k1 * miss[0] + k3 * miss[1] + k4 * miss[2]),
             v[2] - (k2 * miss[0] + k4 * miss[1] + k5 * miss[2])]  # fmt: skip
        rz, rx, ry = g[0].sum(axis=0) - 1.0, g[1].sum(axis=0), g[2].sum(axis=0)
        rt = (a * g[1] + b * g[2]).sum(axis=0)
        zz, zx, zy, xx, xy, yy = (each.sum(axis=0) for each in k)
        tz, tx, ty = t0.sum(axis=0), t1.sum(axis=0), t2.sum(axis=0)
        tt = (a * t1 + b * t2).sum(axis=0)
        bend = (self.yx * self.lx + self.yy * self.ly).sum(axis=0) / self.size**2
        tt = np.maximum(tt + bend, 0.2 * tt)
        small = 1e-13 * (zz + xx + yy + tt)
        zz, xx, yy, tt = zz + small, xx + small, yy + small, tt + small
        i = 1 / zz
        xx, xy, yy, xt, yt, tt = (xx - zx * zx * i, xy - zx * zy * i, yy - zy * zy * i, tx - zx * tz * i,
                                  ty - zy * tz * i, tt - tz * tz * i)  # fmt: skip
        rx, ry, rt = rx - zx * rz * i, ry - zy * rz * i, rt - tz * rz * i
        j = 1 / xx
        yy, yt, tt = yy - xy * xy * j, yt - xy * xt * j, tt - xt * xt * j
        ry, rt = ry - xy * rx * j, rt - xt * rx * j
        h = 1 / yy
        tt, rt = tt - yt * yt * h, rt - yt * ry * h
        dt = rt / tt
        dy = (ry - yt * dt) * h
        dx = (rx - xy * dy - xt * dt) * j
        dz = (rz - zx * dx - zy * dy - tz * dt) * i
        return dt, dx, dy, dz

    def _walk(
        self,
        dx: tuple[Floats, ...],
        kept: tuple[list[Floats], list[Floats]],
        folded: list[tuple[Any, ...]],
        miss: list[Floats],
        det_s: Floats,
        det_y: Floats,
        mu: Floats,
    ) -> None:
        """Unfold the slots, find how far both sides may go, and go there."""
        dt, dtx, dty, dz = dx
        turn = dt / self.size
        d0 = miss[0] + dz
        d1 = miss[1] + dtx - self.ly * turn
        d2 = miss[2] + dty + self.lx * turn
        slide = np.zeros_like(self.slid)
        for i, pair, ex, ey, ke0, kex, key, stiff, want in reversed(folded):
            slide[i] = (want - ke0 * d0[pair] - kex * d1[pair] - key * d2[pair]) * stiff
            d1[pair] += ex * slide[i]
            d2[pair] += ey * slide[i]
        (k0, k1, k2, k3, k4, k5), v = kept
        e0 = v[0] - self.y0 - (k0 * d0 + k1 * d1 + k2 * d2)
        e1 = v[1] - self.yx - (k1 * d0 + k3 * d1 + k4 * d2)
        e2 = v[2] - self.yy - (k2 * d0 + k4 * d1 + k5 * d2)
        out = np.maximum(_leaving(self.s0, self.sx, self.sy, d0, d1, d2, det_s),
                         _leaving(self.y0, self.yx, self.yy, e0, e1, e2, det_y))  # fmt: skip
        sp, sm, yp, ym = self.sp, self.sm, self.yp, self.ym
        moves = [(sp, -slide), (sm, slide)]
        moves += [(yp, (mu + yp * slide) / sp - yp), (ym, (mu - ym * slide) / sm - ym)]
        for value, move in moves:
            out = np.maximum(out, (-move / value).max(axis=0, initial=0.0))
        take = _TAKE / np.maximum(out, _TAKE)
        take[~np.isfinite(take)] = 0.0
        c, s = np.cos(take * turn), np.sin(take * turn)
        self.c, self.s = self.c * c - self.s * s, self.s * c + self.c * s
        self.tx, self.ty, self.z = self.tx + take * dtx, self.ty + take * dty, self.z + take * dz
        for value, move in ((self.s0, d0), (self.sx, d1), (self.sy, d2), (self.y0, e0), (self.yx, e1), (self.yy, e2)):
            move *= take
            value += move
        for value, move in moves:
            value += take * move
        self.slid += take * slide
        self._lay()


def _leaving(s0: Floats, sx: Floats, sy: Floats, d0: Floats, d1: Floats, d2: Floats, det: Floats) -> Floats:
    """(draws,) one over how far each step may be taken before some cone is left."""
    a = d0 * d0 - d1 * d1 - d2 * d2
    b = s0 * d0 - sx * d1 - sy * d2
    inside = b * b - a * det
    rate = np.where(inside >= 0, (np.sqrt(np.maximum(inside, 0.0)) - b) / det, 0.0)
    return np.asarray(rate.max(axis=0))
