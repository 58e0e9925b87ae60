"""Whether pairs in space hold in each of many draws: every draw walks from two starts, all of them at once."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from partkin.fit.arrays import FITS_MM, WILD_MM, Pairs
from partkin.fit.cones import settle
from partkin.fit.rotations import best_turn, form
from partkin.fit.search import take
from partkin.fit.space_bound import apart_always
from partkin.fit.space_minimax import best_in_space

Floats = np.ndarray
# What a program of a draw takes, in nodes of a search.
STEPS = 2


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
