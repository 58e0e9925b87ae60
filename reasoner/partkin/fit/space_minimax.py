"""The placement of known pairs in space whose worst excess is smallest, from several starts.

The starts centre the one pattern on the other (least squares, the determinant held positive), by their
points alone and with their axes beside them, and spin a pattern that lies nearly in one line about that
line. The least found is exact near each start; that no other rotation does better is proved for its sign
alone, by `space_certificate`. Of many draws every one walks from two starts, all of them at once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from partkin.fit.arrays import FITS_MM, WILD_MM, Pairs
from partkin.fit.cones import settle
from partkin.fit.minimax import Placed
from partkin.fit.rotations import best_turn, form, turned_by
from partkin.fit.search import take
from partkin.fit.space_bound import apart_always

Floats = np.ndarray

_SAME_MM = 1e-7
_PRESSING = 1e-6
_SPINS_RAD = np.radians([0.0, 20.0, -20.0])
_LEANS_RAD = 0.02 * np.array([(0.8, 0.5, 0.1), (-0.5, 0.8, -0.1)])
_NEAR_TRACE = 1 + 2 * math.cos(math.radians(3.0))
# What a program of a draw takes, in nodes of a search.
STEPS = 2


def best_in_space(
    pairs: Pairs, stop_at_sign: bool = False, hints: Sequence[Floats] = (), few_starts: bool = False
) -> Placed:
    """Find the placement with the smallest worst excess near any of several starts.

    Parameters
    ----------
    pairs
        Any number; none at all fits anywhere.
    stop_at_sign
        Enough to know whether it fits.
    hints
        Further rotations (3, 3) to start from.
    few_starts
        Leave out the starts that seldom matter: for what will be proved, or refuted, afterwards.

    Returns
    -------
    Placed
        Where several are equally good, and `stop_at_sign` is not set: the one with the least squared offsets.
    """
    n = len(pairs)
    if not n:
        return Placed(np.eye(3), np.zeros(3), -math.inf, np.zeros(0), np.zeros(0, dtype=bool))
    tame = np.flatnonzero(pairs.rho < WILD_MM)
    if not len(tame):
        tame = np.array([int(np.argmin(pairs.rho))])
    some = pairs.take(tame) if len(tame) < n else pairs
    middle_p, middle_q = some.p.mean(axis=0), some.q.mean(axis=0)
    about = replace(some, p=some.p - middle_p, q=some.q - middle_q)
    turn, shift = starts(about, hints, few_starts)
    found = settle(about, turn, shift, stop_at_sign=stop_at_sign, one_will_do=stop_at_sign)
    best = int(np.argmin(np.round(found.worst_mm / _SAME_MM)))
    turn, shift = found.turn[best], found.shift_mm[best]
    if not stop_at_sign:
        turn, shift = _gathered(about, turn, shift, float(found.worst_mm[best]))
    shift = shift + middle_q - turn @ middle_p
    excess = pairs.out_by(pairs.contact(turn[None], shift[None]))[0]
    worst = float(excess[tame].max())
    press = np.zeros(n)
    press[tame] = np.linalg.norm(found.along[best], axis=1) + np.abs(found.lean[best])
    np.maximum.at(press, tame[some.end_of], np.linalg.norm(found.across[best], axis=1))
    active = (press > _PRESSING * max(1.0, float(press.max()))) | (excess >= worst - _SAME_MM)
    return Placed(turn, shift, worst, excess, active, programs=found.programs)


def starts(pairs: Pairs, hints: Sequence[Floats] = (), few: bool = False) -> tuple[Floats, Floats]:
    """(m, 3, 3) turns and (m, 3) shifts to start from, for pairs about their middles."""
    points = form(pairs.p, pairs.q).sum(axis=-3)
    axes = form(pairs.b, pairs.a).sum(axis=0)
    scale = float(np.trace(pairs.p.T @ pairs.p) + np.trace(pairs.q.T @ pairs.q)) / 2
    # The axes count a little, as much, and by far the most.
    weights = np.array([1e-3, 1.0, 1e3]) * max(scale, 1.0) / len(pairs)
    turns = list(best_turn(points + weights[:, None, None] * axes))
    kept: list[Floats] = []
    for turn in (turns[1], turns[0], turns[2], *_spun(pairs, turns[1])):
        if all(float((turn * other).sum()) < _NEAR_TRACE for other in kept):
            kept.append(turn)
    # Pairs are known to hold there, and a start beside one may lead elsewhere: none is left out for being near.
    kept += hints
    if not few:
        # A pattern as even as the start may stand where leaning either way is as good, and rest there.
        kept += [lean @ kept[0] for lean in turned_by(_LEANS_RAD)]
    turn = np.stack(kept)
    shift = pairs.q.mean(axis=0) - turn @ pairs.p.mean(axis=0)
    return turn, shift


def _spun(pairs: Pairs, turn: Floats) -> list[Floats]:
    """Turn about the line that the points (nearly) lie in, of which distances say little: as the axes agree."""
    if len(pairs) < 2:
        return []
    size, rows = np.linalg.svd(pairs.p, full_matrices=False)[1:]
    slack = 4 * float(np.max(pairs.rho + pairs.s_h + pairs.s_d))
    if size[0] <= 0 or (len(size) > 1 and size[1] > slack * math.sqrt(len(pairs))):
        return []
    line = turn @ rows[0]
    axis = pairs.b @ turn.T
    # sum a.R(x) b = constant + along cos x + across sin x, largest where the axes agree best.
    along = float((pairs.a * axis).sum() - (pairs.a @ line) @ (axis @ line))
    across = float((pairs.a * np.cross(line, axis)).sum())
    angles = math.atan2(across, along) + _SPINS_RAD
    return list(turned_by(angles[:, None] * line) @ turn)


def _gathered(pairs: Pairs, turn: Floats, shift: Floats, worst: float) -> tuple[Floats, Floats]:
    """Among placements that are as good, come near the one with the least squared offsets."""
    allowed = worst + _SAME_MM / 100
    now = (turn, shift)
    for _ in range(12):
        step_turn, step_shift = _least_squares(pairs, *now)
        reach, moved = 1.0, False
        for _ in range(6):
            turned = turned_by(reach * step_turn) @ now[0]
            shifted = now[1] + reach * step_shift
            if float(pairs.out_by(pairs.contact(turned[None], shifted[None])).max()) <= allowed:
                now, moved = (turned, shifted), True
                break
            reach /= 2
        if not moved or np.abs(reach * step_shift).max() + np.abs(reach * step_turn).max() < 1e-12:
            break
    return now


def _least_squares(pairs: Pairs, turn: Floats, shift: Floats) -> tuple[Floats, Floats]:
    """Gauss-Newton step (turn vector, shift) towards the least squared offsets across and along."""
    contact = pairs.contact(turn[None], shift[None], hold=True)
    basis = pairs.basis[pairs.end_of]
    across = np.concatenate([np.cross(contact.lever_mm[0][:, None, :], basis), basis], axis=2)
    if contact.held is not None:
        across = contact.held[0] @ across
    along = np.concatenate([np.cross(contact.centre_mm[0], pairs.a), pairs.a], axis=1)
    rows = np.concatenate([across.reshape(-1, 6), along])
    rest = np.concatenate([contact.gap_mm[0].reshape(-1), contact.along_mm[0]])
    step = -np.linalg.lstsq(rows, rest, rcond=1e-10)[0]
    return step[:3], step[3:]


class SpaceScatter:
    """One pairing in space, judged in many draws.

    Parameters
    ----------
    nominal
        The pairs at their likely places, with their axes, slots, grip and depth.
    """

    def __init__(self, nominal: Pairs) -> None:
        self.nominal = nominal
        self.tame = np.flatnonzero(nominal.rho < WILD_MM)

    @cached_property
    def _turn(self) -> Floats:
        """The turn of the likely places, from which every draw is walked first."""
        return best_in_space(self.nominal, stop_at_sign=True).turn

    def fits(self, q: Floats, p: Floats, rho: Floats) -> Floats:
        """Tell for each draw whether some placement brings all pairs within their play.

        Parameters
        ----------
        q, p
            float64 (m, n, 3) mm: host points and donor points (mirrored already).
        rho
            float64 (m, n) mm.

        Returns
        -------
        bool (m,). A draw is walked from the turn of the likely places and from its own least squares; one that
        fits at neither counts as not fitting, which is not proved over every rotation.
        """
        fits = (rho.min(axis=1) >= -FITS_MM) if rho.size else np.ones(len(rho), dtype=bool)
        tame = self.tame
        if not len(tame) or not fits.any():
            return np.asarray(fits)
        some = self.nominal.take(tame)
        p, q = (points[:, tame] - points[:, tame].mean(axis=1, keepdims=True) for points in (p, q))
        grip = np.broadcast_to(some.grip, (len(p), len(tame)))
        drawn = replace(some, p=p, q=q, rho=rho[:, tame] + FITS_MM, grip=grip + FITS_MM)
        fits &= ~(apart_always(drawn)[1] > 0.0).any(axis=1)
        left = np.flatnonzero(fits)
        fits[:] = False
        scale = max(float((q * q).sum(axis=(1, 2)).mean()), 1.0) / len(tame)
        own = best_turn(form(p, q).sum(axis=1) + scale * form(some.b, some.a).sum(axis=0))
        for turns in (np.broadcast_to(self._turn, own.shape), own):
            if not len(left):
                break
            found = settle(drawn.draws(left), turns[left], np.zeros((len(left), 3)), stop_at_sign=True)
            take(STEPS * found.programs)
            fits[left[found.worst_mm <= 0]] = True
            left = left[found.worst_mm > 0]
        return np.asarray(fits)
