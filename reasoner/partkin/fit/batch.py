"""Whether each of many draws of known pairs fits: the interior point of `interior`, many draws at once.

Arrays are laid out (pairs, draws) so that numpy runs along the draws. A draw leaves the run as soon as a
placement with its true turn brings every pair within its play, or balanced weights prove that none of the
turns that its tightest two pairs allow does. What is left undecided goes to `minimax.best_placement`.
"""

from __future__ import annotations

import numpy as np

from partkin.fit.arrays import Floats, PlanePairs
from partkin.fit.minimax import FITS_MM, best_placement

_CHUNK = 1024
_STEPS = 16
_CENTRE = 0.1
_TAKE = 0.95


def batch_fits(
    q: Floats,
    p: Floats,
    rho: Floats,
    s_h: Floats | None = None,
    u_h: Floats | None = None,
    s_d: Floats | None = None,
    u_d: Floats | None = None,
) -> np.ndarray:
    """Tell for each draw whether some placement brings every pair within its play.

    Parameters
    ----------
    q, p
        (m, n, 2) mm: host and donor points of m draws (donor mirrored already); (n, 2) where they are
        the same in every draw.
    rho
        (m, n) or (n,) mm: allowed offsets.
    s_h, u_h, s_d, u_d
        (n,) half travels and (n, 2) directions of the slots, the same in every draw.

    Returns
    -------
    (m,) bool

    Examples
    --------
    >>> donor = np.array([[0.0, 0.0], [10.0, 0.0]])
    >>> host = np.array([[[0.0, 0.0], [10.9, 0.0]], [[0.0, 0.0], [11.1, 0.0]]])
    >>> batch_fits(host, donor, np.array([0.5, 0.5])).tolist()
    [True, False]
    """
    q, p, rho = _whole(q, p, rho)
    m, n = rho.shape
    none, east = np.zeros(n), np.tile([1.0, 0.0], (n, 1))
    slots = _Slots(
        none if s_h is None else np.asarray(s_h, dtype=float),
        east if u_h is None else np.asarray(u_h, dtype=float),
        none if s_d is None else np.asarray(s_d, dtype=float),
        east if u_d is None else np.asarray(u_d, dtype=float),
    )
    if slots.s_d.sum() > slots.s_h.sum():
        # Bounds over a range of turns are sharper seen from the side that has the slots.
        q, p, slots = p, q, _Slots(slots.s_d, slots.u_d, slots.s_h, slots.u_h)
    fits = np.zeros(m, dtype=bool)
    if n == 0:
        return np.ones(m, dtype=bool)
    for start in range(0, m, _CHUNK):
        part = slice(start, min(start + _CHUNK, m))
        fits[part] = _chunk(q[part], p[part], rho[part], slots)
    return fits


def _whole(q: Floats, p: Floats, rho: Floats) -> tuple[Floats, Floats, Floats]:
    q, p, rho = (np.asarray(a, dtype=float) for a in (q, p, rho))
    q, p = (a[None] if a.ndim == 2 else a for a in (q, p))
    rho = rho[None] if rho.ndim == 1 else rho
    m = max(len(q), len(p), len(rho))
    n = rho.shape[1]
    return np.broadcast_to(q, (m, n, 2)), np.broadcast_to(p, (m, n, 2)), np.broadcast_to(rho, (m, n))


class _Slots:
    """Slots of both sides; a pair has at most one of each."""

    def __init__(self, s_h: Floats, u_h: Floats, s_d: Floats, u_d: Floats) -> None:
        self.s_h, self.u_h, self.s_d, self.u_d = s_h, u_h, s_d, u_d
        self.host = np.flatnonzero(s_h > 0)
        self.donor = np.flatnonzero(s_d > 0)
        self.total = s_h + s_d
        self.any = bool(len(self.host) or len(self.donor))


def _chunk(q: Floats, p: Floats, rho: Floats, slots: _Slots) -> np.ndarray:
    fits = np.zeros(len(rho), dtype=bool)
    undecided = rho.min(axis=1) >= -FITS_MM
    px, py, qx, qy, play = (np.ascontiguousarray(a.T) for a in (p[..., 0], p[..., 1], q[..., 0], q[..., 1], rho))
    for a in (px, py, qx, qy):
        a -= a.mean(axis=0)
    run = _Run(px, py, qx, qy, play, slots, np.flatnonzero(undecided))
    run.start()
    fits[run.settle_fitting()] = True
    run.drop_conflicting()
    for step in range(_STEPS):
        run.set_aside_stuck()
        if not len(run.who):
            break
        run.step()
        fits[run.settle_fitting()] = True
        if step >= 2:
            run.drop_proved()
    for i in (*run.aside, *run.who):
        pairs = PlanePairs(p[i], q[i], rho[i], slots.s_h, slots.u_h, slots.s_d, slots.u_d)
        fits[i] = best_placement(pairs, stop_at_sign=True).fits
    return fits


class _Run:
    """The draws still undecided, and where each one's walk stands."""

    # Everything per draw that is cut down when draws are decided: (pairs, draws), (slots, draws), (draws,).
    _PER_DRAW = (
        "px", "py", "qx", "qy", "rho", "who", "c", "s", "tx", "ty", "z", "lx", "ly", "rx", "ry", "s0", "sx", "sy",
        "y0", "yx", "yy", "middle", "half", "th", "td", "hp", "hm", "dp", "dm", "yhp", "yhm", "ydp", "ydm",
    )  # fmt: skip

    def __init__(
        self, px: Floats, py: Floats, qx: Floats, qy: Floats, rho: Floats, slots: _Slots, who: np.ndarray
    ) -> None:
        self.px, self.py, self.qx, self.qy, self.rho = (a[:, who] for a in (px, py, qx, qy, rho))
        self.slots, self.who = slots, who
        self.aside: list[int] = []
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
        still = length <= 1e-12 * ((self.px**2 + self.qx**2 + self.py**2 + self.qy**2).sum(axis=0) + 1e-300)
        length[still] = 1.0
        self.c, self.s = np.where(still, 1.0, along / length), np.where(still, 0.0, across / length)
        m = len(self.who)
        self.tx, self.ty, self.z = np.zeros(m), np.zeros(m), np.zeros(m)
        slots = self.slots
        self.th, self.td = np.zeros((len(slots.host), m)), np.zeros((len(slots.donor), m))
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
        h, d = slots.s_h[slots.host, None], slots.s_d[slots.donor, None]
        self.hp, self.hm, self.dp, self.dm = h - self.th, h + self.th, d - self.td, d + self.td
        self.yhp, self.yhm, self.ydp, self.ydm = (mu / a for a in (self.hp, self.hm, self.dp, self.dm))

    def _slide(self) -> None:
        """Let each slot take most of what it can at the start."""
        self._lay()
        slots = self.slots
        for i, k in enumerate(slots.host):
            at = self.rx[k] * slots.u_h[k, 0] + self.ry[k] * slots.u_h[k, 1]
            self.th[i] = np.clip(at, -0.9 * slots.s_h[k], 0.9 * slots.s_h[k])
        for i, k in enumerate(slots.donor):
            if slots.s_h[k] > 0:
                continue
            wx = self.c * slots.u_d[k, 0] - self.s * slots.u_d[k, 1]
            wy = self.s * slots.u_d[k, 0] + self.c * slots.u_d[k, 1]
            at = -(self.rx[k] * wx + self.ry[k] * wy)
            self.td[i] = np.clip(at, -0.9 * slots.s_d[k], 0.9 * slots.s_d[k])

    def _lay(self) -> None:
        """Turn the donor's touching points; what is left between them and the host's."""
        px, py = self.px, self.py
        slots = self.slots
        if len(slots.donor):
            px, py = px.copy(), py.copy()
            px[slots.donor] += self.td * slots.u_d[slots.donor, 0, None]
            py[slots.donor] += self.td * slots.u_d[slots.donor, 1, None]
        self.lx = self.c * px - self.s * py
        self.ly = self.s * px + self.c * py
        self.rx = self.lx + (self.tx - self.qx)
        self.ry = self.ly + (self.ty - self.qy)
        if len(slots.host):
            self.rx[slots.host] -= self.th * slots.u_h[slots.host, 0, None]
            self.ry[slots.host] -= self.th * slots.u_h[slots.host, 1, None]

    def settle_fitting(self) -> np.ndarray:
        """Take out the draws that fit where they stand; return which."""
        fit = (self.rx * self.rx + self.ry * self.ry <= self.rho * np.abs(self.rho)).all(axis=0)
        found = self.who[fit]
        self.keep(~fit)
        return found

    def drop_conflicting(self) -> None:
        """Take out the draws in which two pairs exclude each other; note the tightest turns of the rest."""
        m = len(self.who)
        self.middle, self.half = np.zeros(m), np.full(m, np.pi)
        if self.n < 2 or not m:
            return
        first, second = np.triu_indices(self.n, 1)
        apart = np.hypot(*(a[first].mean(axis=1) - a[second].mean(axis=1) for a in (self.px, self.py)))
        sigma = self.rho.mean(axis=1) + self.slots.total
        order = np.argsort((sigma[first] + sigma[second]) / np.maximum(apart, 1e-9), kind="stable")
        out = np.zeros(m, dtype=bool)
        total = self.rho + self.slots.total[:, None]
        for place, k in enumerate(order):
            i, j = first[k], second[k]
            dpx, dpy = self.px[i] - self.px[j], self.py[i] - self.py[j]
            dqx, dqy = self.qx[i] - self.qx[j], self.qy[i] - self.qy[j]
            long_p, long_q = np.sqrt(dpx * dpx + dpy * dpy), np.sqrt(dqx * dqx + dqy * dqy)
            reach = total[i] + total[j] + 1e-9 * (long_p + long_q) + 1e-9
            short = np.abs(long_p - long_q) - reach
            out |= short > 2 * FITS_MM
            if place < 1:
                over = reach * reach - (long_p - long_q) ** 2
                both = 4 * long_p * long_q
                part = np.clip(over / np.maximum(both, 1e-300), 0.0, 1.0)
                self.middle = np.arctan2(dpx * dqy - dpy * dqx, dpx * dqx + dpy * dqy)
                self.half = 2 * np.arcsin(np.sqrt(part))
        self.keep(~out)

    def drop_proved(self) -> None:
        """Take out the draws whose weights prove, over all turns left open, that they cannot fit."""
        fx, fy = -self.yx, -self.yy
        fx = fx - fx.mean(axis=0)
        fy = fy - fy.mean(axis=0)
        length = np.sqrt(fx * fx + fy * fy)
        ux = self.c * self.px - self.s * self.py
        uy = self.s * self.px + self.c * self.py
        along = (fx * ux + fy * uy).sum(axis=0)
        across = (fy * ux - fx * uy).sum(axis=0)
        at = np.arctan2(self.s, self.c)
        away = np.abs((at - self.middle + np.pi) % (2 * np.pi) - np.pi) + self.half
        level = (fx * self.qx + fy * self.qy + length * self.rho).sum(axis=0)
        slots = self.slots
        for k in slots.host:
            level += slots.s_h[k] * np.abs(fx[k] * slots.u_h[k, 0] + fy[k] * slots.u_h[k, 1])
        for k in slots.donor:
            wx = self.c * slots.u_d[k, 0] - self.s * slots.u_d[k, 1]
            wy = self.s * slots.u_d[k, 0] + self.c * slots.u_d[k, 1]
            level += slots.s_d[k] * (np.abs(fx[k] * wx + fy[k] * wy) + length[k] * away)
        away = np.minimum(away, np.pi)
        swing = np.where(along >= 0, along * np.cos(away), along)
        least = swing - np.abs(across) * np.sin(np.minimum(away, np.pi / 2)) - level
        self.keep(least <= 2 * FITS_MM * length.sum(axis=0) + 1e-9)

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
            for a, b in ((self.hp, self.yhp), (self.hm, self.yhm), (self.dp, self.ydp), (self.dm, self.ydm)):
                gap = gap + (a * b).sum(axis=0)
                count += len(a)
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

    def _fold_slots(self, k: list[Floats], v: list[Floats], mu: Floats) -> list[tuple]:
        """Take the way along each slot out of the equations, host's first; changes k and v."""
        slots, out = self.slots, []
        for side, who in (("h", slots.host), ("d", slots.donor)):
            for i, pair in enumerate(who):
                if side == "h":
                    ex, ey = -slots.u_h[pair, 0], -slots.u_h[pair, 1]
                    sp, sm, yp, ym = self.hp[i], self.hm[i], self.yhp[i], self.yhm[i]
                else:
                    ex = self.c * slots.u_d[pair, 0] - self.s * slots.u_d[pair, 1]
                    ey = self.s * slots.u_d[pair, 0] + self.c * slots.u_d[pair, 1]
                    sp, sm, yp, ym = self.dp[i], self.dm[i], self.ydp[i], self.ydm[i]
                ke0 = k[1][pair] * ex + k[2][pair] * ey
                kex = k[3][pair] * ex + k[4][pair] * ey
                key = k[4][pair] * ex + k[5][pair] * ey
                stiff = 1 / (ex * kex + ey * key + yp / sp + ym / sm)
                want = ex * v[1][pair] + ey * v[2][pair] + mu / sm - mu / sp
                part = want * stiff
                v[0][pair] -= ke0 * part
                v[1][pair] -= kex * part
                v[2][pair] -= key * part
                for place, (one, two) in enumerate(
                    ((ke0, ke0), (ke0, kex), (ke0, key), (kex, kex), (kex, key), (key, key))
                ):
                    k[place][pair] -= one * two * stiff
                out.append((side, i, pair, ex, ey, ke0, kex, key, stiff, want))
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
        folded: list[tuple],
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
        slides = {}
        for side, i, pair, ex, ey, ke0, kex, key, stiff, want in reversed(folded):
            slide = (want - ke0 * d0[pair] - kex * d1[pair] - key * d2[pair]) * stiff
            d1[pair] += ex * slide
            d2[pair] += ey * slide
            slides[side, i] = slide
        (k0, k1, k2, k3, k4, k5), v = kept
        e0 = v[0] - self.y0 - (k0 * d0 + k1 * d1 + k2 * d2)
        e1 = v[1] - self.yx - (k1 * d0 + k3 * d1 + k4 * d2)
        e2 = v[2] - self.yy - (k2 * d0 + k4 * d1 + k5 * d2)
        out = np.maximum(_leaving(self.s0, self.sx, self.sy, d0, d1, d2, det_s),
                         _leaving(self.y0, self.yx, self.yy, e0, e1, e2, det_y))  # fmt: skip
        moves = self._rails(slides, mu)
        for value, move in moves:
            out = np.maximum(out, -move / value)
        take = np.minimum(1.0, _TAKE / np.maximum(out, 1e-9))
        take[~np.isfinite(take)] = 0.0
        c, s = np.cos(take * turn), np.sin(take * turn)
        self.c, self.s = self.c * c - self.s * s, self.s * c + self.c * s
        self.tx, self.ty, self.z = self.tx + take * dtx, self.ty + take * dty, self.z + take * dz
        for value, move in ((self.s0, d0), (self.sx, d1), (self.sy, d2), (self.y0, e0), (self.yx, e1), (self.yy, e2)):
            move *= take
            value += move
        for value, move in moves:
            value += take * move
        for (side, i), slide in slides.items():
            (self.th if side == "h" else self.td)[i] += take * slide
        self._lay()

    def _rails(self, slides: dict, mu: Floats) -> list[tuple[Floats, Floats]]:
        """Each slot's four slacks and pressures with their steps."""
        out = []
        for (side, i), slide in slides.items():
            if side == "h":
                sp, sm, yp, ym = self.hp[i], self.hm[i], self.yhp[i], self.yhm[i]
            else:
                sp, sm, yp, ym = self.dp[i], self.dm[i], self.ydp[i], self.ydm[i]
            out += [(sp, -slide), (sm, slide)]
            out += [(yp, (mu + yp * slide) / sp - yp), (ym, (mu - ym * slide) / sm - ym)]
        return out


def _leaving(s0: Floats, sx: Floats, sy: Floats, d0: Floats, d1: Floats, d2: Floats, det: Floats) -> Floats:
    """(draws,) one over how far each step may be taken before some cone is left."""
    a = d0 * d0 - d1 * d1 - d2 * d2
    b = s0 * d0 - sx * d1 - sy * d2
    inside = b * b - a * det
    rate = np.where(inside >= 0, (np.sqrt(np.maximum(inside, 0.0)) - b) / det, 0.0)
    return np.asarray(rate.max(axis=0))
