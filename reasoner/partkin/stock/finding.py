"""Which parts of a partition may go on a host at all: by the distances between its fixings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from partkin.fit.fixings import HostFixings
from partkin.fit.mating import captive_float_mm, fastener_mm, half_travel_mm
from partkin.model.mating import Fixing
from partkin.model.positions import Positions
from partkin.stock import index
from partkin.stock.index import OPENINGS, Segment

# From so few parts on it is not worth while to look up further distances.
FEW = 16
# Distances that are looked up of a host at most.
PAIRS_AT_MOST = 24
_NEVER_MM = -1.0e6


@dataclass(frozen=True, eq=False)
class Host:
    """What parts of a stock are to go on.

    `hosted`, `places`: the fixings as the sheets have them, and where they are. `fixings`: the same with every slot's
    direction in degrees. `part`: id of the host. `error_mm`: float64 (n,): how far each fixing may be from its place,
    in any direction. `handed`, `seen_from`, `thickness_mm`: of the part that shows the places. `at_least`: so many
    fixings have to hold; None: all that must.
    """

    hosted: HostFixings
    places: Positions
    fixings: tuple[Fixing, ...]
    part: str
    error_mm: np.ndarray
    handed: bool
    seen_from: str | None
    thickness_mm: float | None = None
    at_least: int | None = None

    @cached_property
    def must(self) -> np.ndarray:
        """Fixings that every part has to be held by: a stud counts as well, unless it may stand in an opening."""
        return np.flatnonzero([_must(fixing) for fixing in self.fixings])

    @cached_property
    def spare_studs(self) -> np.ndarray:
        """Studs that a part need not be held by, and that only an opening of it makes room for."""
        named = [_must(f) and (f.feature.need or "must") != "must" for f in self.fixings]
        return np.flatnonzero(named)

    @property
    def needed(self) -> int:
        """How many of the fixings that must have to hold."""
        return len(self.must) if self.at_least is None else min(self.at_least, len(self.must))

    @cached_property
    def at_mm(self) -> np.ndarray:
        """complex128 (n,): where the fixings are; NaN where that is not known."""
        shown = [self.hosted.placed_by.get(f.feature.feature) for f in self.fixings]
        known = dict(zip(self.places.features, self.places.xyz_mm.tolist(), strict=True))
        nowhere = [math.nan] * 2
        return np.array([complex(*known.get(name or "", nowhere)[:2]) for name in shown])

    @cached_property
    def room_mm(self) -> np.ndarray:
        """float64 (n, 2): how much each adds at most to how far an opening, and a stud or nut, may stand off it."""
        return np.asarray(np.array([_room_mm(fixing) for fixing in self.fixings]) + self.error_mm[:, None])

    @cached_property
    def in_space(self) -> bool:
        """Whether its places have heights that differ, or an axis that is not upright: parts are laid on one by one."""
        upright = all(f.feature.axis is None or f.feature.axis[2] > 1.0 - 1e-9 for f in self.fixings)
        return not upright or (self.places.dims == 3 and len(set(self.places.xyz_mm[:, 2].tolist())) > 1)

    @cached_property
    def pairs(self) -> tuple[np.ndarray, np.ndarray]:
        """Of every two fixings that must hold how far apart they are, and their room for two openings, and others."""
        a, b = (self.must[side] for side in np.triu_indices(len(self.must), 1))
        one, other = self.room_mm[a], self.room_mm[b]
        mixed = np.maximum(one[:, 0] + other[:, 1], one[:, 1] + other.max(axis=1))
        apart, room = np.abs(self.at_mm[a] - self.at_mm[b]), np.stack([one[:, 0] + other[:, 0], mixed], axis=1)
        told = np.isfinite(apart) & (room < np.inf).all(axis=1)
        return apart[told], room[told]


def _must(fixing: Fixing) -> bool:
    need = fixing.feature.need or "must"
    return need == "must" or (fixing.feature.kind == "stud" and not fixing.supposed)


def _room_mm(fixing: Fixing) -> tuple[float, float]:
    feature, across = fixing.feature, fixing.across
    if across.mm is None or fixing.play_lacks or (feature.kind == "slot" and fixing.length.mm is None):
        return math.inf, math.inf
    more = fixing.play_mm + fixing.play_half_travel_mm + (across.half_width_mm + fixing.length.half_width_mm) / 2
    if feature.kind in OPENINGS:
        if fixing.supposed:
            return math.inf, math.inf
        solid = across.mm / 2 + more + half_travel_mm(feature, across, fixing.length)
        # Through two openings goes a bolt: the host's hole says which, or else the other part's does.
        return solid - (fastener_mm(feature) or 0.0), solid
    if feature.kind == "captive nut" and feature.float_mm is None:
        return math.inf, _NEVER_MM
    clip = index.clip_more_mm() if feature.kind == "clip" else 0.0
    return captive_float_mm("fixed by the host", feature, feature) + more + clip - across.mm / 2, _NEVER_MM


def likely(host: Host, segment: Segment, gone: np.ndarray) -> np.ndarray:
    """Return the parts of a partition that distances do not rule out, ascending: none that may go on is left out."""
    there = np.ones(len(segment), dtype=bool)
    there[gone] = False
    aside = np.zeros(len(segment), dtype=bool)
    aside[segment.aside] = True
    if len(host.spare_studs):
        aside |= (np.asarray(segment.flags) & index.OPENED) > 0
    few = there if host.in_space else _by_distance(host, segment, there)
    return np.flatnonzero((few | aside) & there)


def _by_distance(host: Host, segment: Segment, there: np.ndarray) -> np.ndarray:
    apart, room = host.pairs
    holds, needed = len(host.must), host.needed
    if needed < 2 or not len(apart):
        return there
    low, high = index.windows(segment, apart, room)
    hits = (high - low).sum(axis=1)
    if needed == holds:
        few = there.copy()
        for pair in np.argsort(hits, kind="stable")[:PAIRS_AT_MOST]:
            few &= _having(segment, low[pair], high[pair])
            if np.count_nonzero(few) <= FEW:
                break
        return few
    # So many pairs are among the fixings that hold, and those of which nothing is known may be among them too.
    count = np.zeros(len(segment), dtype=np.int32)
    for pair in range(len(apart)):
        count += _having(segment, low[pair], high[pair])
    unknown = holds * (holds - 1) // 2 - len(apart)
    return there & (count >= needed * (needed - 1) // 2 - unknown)


def _having(segment: Segment, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """(n,) bool: the parts with a distance in any of these stretches."""
    found = np.zeros(len(segment), dtype=bool)
    for start, end in zip(low.tolist(), high.tolist(), strict=True):
        if end > start:
            found[segment.owner[start:end]] = True
    return found
