"""Whether each of many draws of known pairs fits: the interior point of `many`.

Arrays are laid out (pairs, draws) so that numpy runs along the draws. A draw leaves the run as soon as a
placement with its true turn brings every pair within its play, or balanced weights prove that none of the
turns that its tightest two pairs allow does. What is left undecided goes to `minimax.best_placement`.
"""

from __future__ import annotations

import numpy as np

from partkin.fit.arrays import FITS_MM, Floats, Pairs
from partkin.fit.many import Run, Slots
from partkin.fit.minimax import best_placement

# Pairs times draws at a time: enough to keep numpy busy, few enough to stay in the processor's cache.
_CELLS = 40_000
_STEPS = 16
# The walk to a margin ends where no draw gained anything for so many steps: so it hangs on nothing else in the batch.
_MARGIN_STEPS = 60
_STILL_STEPS = 3
_STILL_MM = 1.0e-7


def batch_fits(q: Floats, p: Floats, rho: Floats, nominal: Pairs | None = None) -> np.ndarray:
    """Tell for each draw whether some placement brings every pair within its play.

    Parameters
    ----------
    q, p
        (m, n, 2) mm: host and donor points of m draws (donor mirrored already); (n, 2) where they are
        the same in every draw.
    rho
        (m, n) or (n,) mm: allowed offsets.
    nominal
        Flat pairs whose slots are those of every draw; None: no slots.

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
    if n == 0:
        return np.ones(m, dtype=bool)
    slots = Slots(_unslotted(n) if nominal is None else nominal)
    if slots.s_d.sum() > slots.s_h.sum():
        # Bounds over a range of turns are sharper seen from the side that has the slots.
        assert nominal is not None
        q, p, slots = p, q, Slots(nominal.swapped())
    fits, chunk = np.zeros(m, dtype=bool), max(_CELLS // n, 256)
    for start in range(0, m, chunk):
        part = slice(start, start + chunk)
        fits[part] = _chunk(q[part], p[part], rho[part], slots)
    return fits


def _unslotted(n: int) -> Pairs:
    return Pairs.plain(np.zeros((n, 2)), np.zeros((n, 2)), 0.0)


def _whole(q: Floats, p: Floats, rho: Floats) -> tuple[Floats, Floats, Floats]:
    q, p, rho = (np.asarray(a, dtype=float) for a in (q, p, rho))
    q, p = (a[None] if a.ndim == 2 else a for a in (q, p))
    rho = rho[None] if rho.ndim == 1 else rho
    m = max(len(q), len(p), len(rho))
    n = rho.shape[1]
    return np.broadcast_to(q, (m, n, 2)), np.broadcast_to(p, (m, n, 2)), np.broadcast_to(rho, (m, n))


def _chunk(q: Floats, p: Floats, rho: Floats, slots: Slots) -> np.ndarray:
    fits = np.zeros(len(rho), dtype=bool)
    undecided = rho.min(axis=1) >= -FITS_MM
    px, py, qx, qy, play = (np.array(a.T, order="C") for a in (p[..., 0], p[..., 1], q[..., 0], q[..., 1], rho))
    for a in (px, py, qx, qy):
        a -= a.mean(axis=0)
    run = Run(px, py, qx, qy, play, slots, np.flatnonzero(undecided))
    run.start()
    fits[_take_fitting(run)] = True
    _drop_conflicting(run)
    for step in range(_STEPS):
        run.set_aside_stuck()
        if not len(run.who):
            break
        run.step()
        fits[_take_fitting(run)] = True
        if step >= 2:
            _drop_proved(run)
    for i in (*run.aside, *run.who):
        pairs = Pairs(p[i], q[i], rho[i], slots.s_h, slots.u_h, slots.s_d, slots.u_d)
        fits[i] = best_placement(pairs, stop_at_sign=True).fits
    return fits


def _take_fitting(run: Run) -> np.ndarray:
    """Take out the draws that fit where they stand; return which."""
    fit = (run.rx * run.rx + run.ry * run.ry <= run.rho * np.abs(run.rho)).all(axis=0)
    found = run.who[fit]
    run.keep(~fit)
    return np.asarray(found)


def _drop_conflicting(run: Run) -> None:
    """Take out the draws in which two pairs exclude each other; note the tightest turns of the rest."""
    m = len(run.who)
    if run.n < 2 or not m:
        return
    first, second = np.triu_indices(run.n, 1)
    apart = np.hypot(*(a[first].mean(axis=1) - a[second].mean(axis=1) for a in (run.px, run.py)))
    sigma = run.rho.mean(axis=1) + run.slots.total
    order = np.argsort((sigma[first] + sigma[second]) / np.maximum(apart, 1e-9), kind="stable")
    out = np.zeros(m, dtype=bool)
    total = run.rho + run.slots.total[:, None]
    for place, k in enumerate(order):
        i, j = first[k], second[k]
        dpx, dpy = run.px[i] - run.px[j], run.py[i] - run.py[j]
        dqx, dqy = run.qx[i] - run.qx[j], run.qy[i] - run.qy[j]
        long_p, long_q = np.sqrt(dpx * dpx + dpy * dpy), np.sqrt(dqx * dqx + dqy * dqy)
        reach = total[i] + total[j] + 1e-9 * (long_p + long_q) + 1e-9
        short = np.abs(long_p - long_q) - reach
        out |= short > 2 * FITS_MM
        if place < 1:
            over = reach * reach - (long_p - long_q) ** 2
            both = 4 * long_p * long_q
            part = np.clip(over / np.maximum(both, 1e-300), 0.0, 1.0)
            run.middle = np.arctan2(dpx * dqy - dpy * dqx, dpx * dqx + dpy * dqy)
            run.half = 2 * np.arcsin(np.sqrt(part))
    run.keep(~out)


def _drop_proved(run: Run) -> None:
    """Take out the draws whose weights prove, over all turns left open, that they cannot fit."""
    fx, fy = -run.yx, -run.yy
    fx = fx - fx.mean(axis=0)
    fy = fy - fy.mean(axis=0)
    length = np.sqrt(fx * fx + fy * fy)
    ux = run.c * run.px - run.s * run.py
    uy = run.s * run.px + run.c * run.py
    along = (fx * ux + fy * uy).sum(axis=0)
    across = (fy * ux - fx * uy).sum(axis=0)
    at = np.arctan2(run.s, run.c)
    away = np.abs((at - run.middle + np.pi) % (2 * np.pi) - np.pi) + run.half
    level = (fx * run.qx + fy * run.qy + length * run.rho).sum(axis=0)
    slots = run.slots
    for k in slots.host:
        level += slots.s_h[k] * np.abs(fx[k] * slots.u_h[k, 0] + fy[k] * slots.u_h[k, 1])
    for k in slots.donor:
        wx = run.c * slots.u_d[k, 0] - run.s * slots.u_d[k, 1]
        wy = run.s * slots.u_d[k, 0] + run.c * slots.u_d[k, 1]
        level += slots.s_d[k] * (np.abs(fx[k] * wx + fy[k] * wy) + length[k] * away)
    away = np.minimum(away, np.pi)
    swing = np.where(along >= 0, along * np.cos(away), along)
    least = swing - np.abs(across) * np.sin(np.minimum(away, np.pi / 2)) - level
    run.keep(least <= 2 * FITS_MM * length.sum(axis=0) + 1e-9)


def batch_margin_mm(q: Floats, p: Floats, rho: Floats, nominal: Pairs | None = None) -> Floats:
    """Return the least margin over the pairs of each draw, at the best placement that the walk comes to.

    Parameters
    ----------
    q, p, rho, nominal
        As in `batch_fits`.

    Returns
    -------
    (m,) mm
        Of a placement with its true turn, so never more than the best margin.

    Examples
    --------
    >>> donor = np.array([[0.0, 0.0], [10.0, 0.0]])
    >>> batch_margin_mm(np.array([[[0.0, 0.0], [10.4, 0.0]]]), donor, np.array([0.5, 0.5])).round(3).tolist()
    [0.3]
    """
    q, p, rho = _whole(q, p, rho)
    m, n = rho.shape
    slots = Slots(_unslotted(n) if nominal is None else nominal)
    px, py, qx, qy, play = (np.array(a.T, order="C") for a in (p[..., 0], p[..., 1], q[..., 0], q[..., 1], rho))
    for a in (px, py, qx, qy):
        a -= a.mean(axis=0)
    best = np.full(m, -np.inf)
    run = Run(px, py, qx, qy, play, slots, np.arange(m))
    if m:
        run.start()
    still = 0
    for _ in range(_MARGIN_STEPS):
        if not len(run.who) or still >= _STILL_STEPS:
            break
        before, now = best[run.who], (run.rho - np.hypot(run.rx, run.ry)).min(axis=0)
        still = 0 if (now > before + _STILL_MM).any() else still + 1
        best[run.who] = np.fmax(before, now)
        run.set_aside_stuck()
        # A walk that has come to its end is pressed against the edge of a cone: what it says then is left out.
        with np.errstate(all="ignore"):
            run.step()
    return best
