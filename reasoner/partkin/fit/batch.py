"""Whether a donor fits in each of many draws of positions and sizes; of known pairs by the interior point of `many`.

Arrays are laid out (pairs, draws) so that numpy runs along the draws. A draw leaves the run as soon as a
placement with its true turn brings every pair within its play, or balanced weights prove that none of the
turns that its tightest two pairs allow does. What is left undecided goes to `minimax.best_placement`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from partkin.fit.arrays import FITS_MM, Floats, Pairs
from partkin.fit.many import Run, Slots
from partkin.fit.mating import allowed_play, bolt_between_mm, captive_float_mm, clip_between
from partkin.fit.minimax import best_placement
from partkin.fit.own_order import size_names
from partkin.fit.task import Pairing, Prepared
from partkin.model.mating import Size

# Pairs times draws at a time: enough to keep numpy busy, few enough to stay in the processor's cache.
_CELLS = 40_000
_STEPS = 16
# The walk to a margin ends where no draw gained anything for so many steps: so it hangs on nothing else in the batch.
_MARGIN_STEPS = 60
_STILL_STEPS = 3
_STILL_MM = 1.0e-7
Draw = Callable[[int, int], np.ndarray]


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
    fits, chunk = np.zeros(m, dtype=bool), 1 + _CELLS // n
    for start in range(0, m, chunk):
        part = slice(start, start + chunk)
        fits[part] = _chunk(q[part], p[part], rho[part], slots)
    return fits


def _unslotted(n: int) -> Pairs:
    nowhere = np.zeros((n, 2))
    return Pairs.plain(nowhere, nowhere, np.zeros(n))


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
            return best
        before, now = best[run.who], (run.rho - np.hypot(run.rx, run.ry)).min(axis=0)
        still = 0 if (now > before + _STILL_MM).any() else still + 1
        best[run.who] = np.fmax(before, now)
        run.set_aside_stuck()
        # A walk that has come to its end is pressed against the edge of a cone: what it says then is left out.
        with np.errstate(all="ignore"):
            run.step()
    return best


def fits_block(
    prepared: Prepared,
    pairings: Sequence[Sequence[Pairing]],
    draw_host: Draw,
    draw_donor: Draw,
    draw_error: Callable[[str, int, int], np.ndarray],
) -> Callable[[int, int], np.ndarray]:
    """Make the function that tells for draws start .. start + count whether any of the pairings fits.

    Parameters
    ----------
    prepared
    pairings
        Equally good pairings; a draw fits where one of them does.
    draw_host, draw_donor
        (start, count) -> float64 (count, n, d): positions of `prepared.task.fixings` and `.features`.
    draw_error
        (name, start, count) -> float64 (count,) within plus or minus 1, one stream a name: how far a size
        is out, in its own half widths.
    """
    rows = {spot.id: number for number, spot in enumerate(prepared.task.fixings)}
    columns = {spot.id: number for number, spot in enumerate(prepared.task.features)}
    names = size_names(prepared.task, pairings[0])
    judges = [_judge(Pairs.of(prepared.task, pairing)) for pairing in pairings]

    def block(start: int, count: int) -> np.ndarray:
        d = prepared.task.dims
        host, donor = draw_host(start, count)[:, :, :d], draw_donor(start, count)[:, :, :d]
        if prepared.task.mirrored:
            donor = donor * np.array([-1.0, 1.0, 1.0])[:d]
        fits = np.zeros(count, dtype=bool)
        for pairing, judge in zip(pairings, judges, strict=True):
            todo = np.flatnonzero(~fits)
            if not len(todo):
                break
            q = host[todo][:, [rows[fixing] for fixing, _ in pairing]]
            p = donor[todo][:, [columns[feature] for _, feature in pairing]]
            rho = np.stack([_allowed(prepared, pair, names, draw_error, start, count) for pair in pairing], axis=1)
            fits[todo] = judge(q, p, rho[todo])
        return fits

    return block


def _judge(nominal: Pairs) -> Callable[[Floats, Floats, Floats], np.ndarray]:
    """What tells for draws of host points, donor points and plays whether these pairs hold."""
    if nominal.dims == 2:
        return lambda q, p, rho: batch_fits(q, p, rho, nominal)
    from partkin.fit.space_minimax import SpaceScatter

    return SpaceScatter(nominal).fits


def _allowed(
    prepared: Prepared, pair: Pairing, names: Mapping[str, str], draw_error: Callable[[str, int, int], np.ndarray],
    start: int, count: int,
) -> np.ndarray:  # fmt: skip
    """(count,) allowed offset of one pair, its sizes drawn within their uncertainty."""
    mating = prepared.matings.get(pair)
    as_asked = pair in prepared.unknown or pair in prepared.most_mm
    if as_asked or mating is None or mating.rule is None or mating.allowed_mm is None:
        allowed_mm = next(o.allowed_mm for o in prepared.task.options if (o.fixing, o.feature) == pair)
        return np.full(count, allowed_mm)
    fixing, donor = prepared.fixings[pair[0]], prepared.features[pair[1]]
    pulled_mm = prepared.task.pulled_mm if prepared.task.flex_in_plane else 0.0
    if not fixing.across.half_width_mm and not donor.across.half_width_mm:
        return np.full(count, mating.allowed_mm + pulled_mm)

    def drawn(name: str, size: Size) -> np.ndarray:
        return (size.mm or 0.0) + size.half_width_mm * draw_error(name, start, count)

    bolt_mm = bolt_between_mm(fixing.feature, donor.feature) or 0.0
    nut_mm = captive_float_mm(mating.rule, fixing.feature, donor.feature)
    ends = f"host {pair[0]}", f"donor {pair[1]}"
    sizes = drawn(names.get(ends[0], ends[0]), fixing.across), drawn(names.get(ends[1], ends[1]), donor.across)
    clip = clip_between(mating.rule, fixing, donor)
    return np.asarray(allowed_play(mating.rule, *sizes, bolt_mm, nut_mm, clip)) + pulled_mm
