"""What movement is left where a placement is not unique, and which of the equal ones to take."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from partkin.fit.arrays import Contact, Floats, Pairs, turn
from partkin.fit.cones import settle_flat
from partkin.fit.rotations import flat_turn

if TYPE_CHECKING:
    from partkin.fit.minimax import Placed

_SAME_MM = 1e-8
_FLAT = 1e-5
_IN_LINE_DEG = 2.0
_CLEARLY = 2.0
_LEAST_SLIDE_MM = 0.5
_LEAST_TURN_DEG = 0.05


def choose(pairs: Pairs, angle: float, shift: Floats, worst: float) -> tuple[float, Floats, bool]:
    """Take one of the equally good placements; say whether there was a choice.

    Parameters
    ----------
    pairs
        About the origin.
    angle, shift, worst
        A placement whose worst excess is the least.

    Returns
    -------
    angle, shift, loose
        Of the placements that are as good: least squared offsets; then the smallest turn; then the
        smallest shift from where the middles of both sides meet.
    """
    level = worst + _SAME_MM
    held = _held(pairs, pairs.contact_at(angle, shift, hold=True), worst)
    loose = _null(held)
    if not loose.shape[1]:
        return angle, shift, False
    if np.abs(loose[0]).max() > _FLAT:
        angle, shift = _turned_back(pairs, *_squared_less(pairs, angle, shift, level), level)
    return angle, _slid(pairs, angle, shift, level), True


def free_movement(pairs: Pairs, placed: Placed, ids: Sequence[str] | None = None) -> tuple[str, ...]:
    """Say in words how far the donor can still move where it fits, beyond the ordinary play of its holes.

    Parameters
    ----------
    pairs, placed
        The pairs and their placement.
    ids
        (n,) the fixings' ids; their numbers from 1 where left out.

    Returns
    -------
    tuple of str
        Empty where it does not fit or no movement clearly exceeds the play. A slide is measured from one
        end to the other at the placement's turn, a turn from the placement to the farther end.

    Examples
    --------
    >>> from partkin.fit.minimax import best_placement
    >>> pairs = Pairs.plain([(0, 0), (80, 0)], [(0, 0), (80, 0)], 0.25, s_d=2.0)
    >>> free_movement(pairs, best_placement(pairs), ["F1", "F2"])
    ('can still slide 4.5 mm along the row F1-F2',)
    """
    n = len(pairs)
    if not n or not placed.fits:
        return ()
    ids = [str(i + 1) for i in range(n)] if ids is None else ids
    centred, p0, q0 = pairs.centred()
    c, s = math.cos(placed.turn_rad), math.sin(placed.turn_rad)
    shift = placed.shift_mm - q0 + turn(p0[None, :], c, s)[0]
    return (*_slides(centred, placed.turn_rad, shift, ids), *_turns(centred, placed.turn_rad, shift, ids))


def _held(pairs: Pairs, contact: Contact, worst: float) -> Floats:
    """(2a, 3) how turn (times the pattern's size) and shift change the gaps of the pairs that hold it."""
    excess = np.hypot(*contact.gap_mm[0].T) - pairs.rho
    return _rows(pairs, contact, np.flatnonzero(excess >= worst - 1e-6))


def _rows(pairs: Pairs, contact: Contact, which: Floats) -> Floats:
    size = _size(pairs)
    rows = np.zeros((len(which), 2, 3))
    lever = contact.lever_mm[0][which]
    rows[:, 0, 0], rows[:, 1, 0] = -lever[:, 1] / size, lever[:, 0] / size
    rows[:, 0, 1] = rows[:, 1, 2] = 1.0
    if contact.held is not None:
        rows = contact.held[0][which] @ rows
    return rows.reshape(-1, 3)


def _size(pairs: Pairs) -> float:
    return math.sqrt(max(float((pairs.p**2).sum(axis=1).mean()), 1e-6))


def _null(rows: Floats) -> Floats:
    """(columns, k) directions in which no row changes."""
    square = rows.T @ rows
    values, vectors = np.linalg.eigh(square)
    return np.asarray(vectors[:, values < _FLAT**2 * max(float(values.max(initial=0.0)), 1.0)])


def _squares(pairs: Pairs, angle: float, shift: Floats) -> float:
    gap = pairs.contact_at(angle, shift).gap_mm
    return float((gap * gap).sum())


def _at_turn(pairs: Pairs, angle: float, shift: Floats, level: float) -> Floats | None:
    """Return the shift at this turn with every excess within the level, or None."""
    if float(pairs.excess(angle, shift).max()) <= level:
        return shift
    shift = settle_flat(pairs, angle, shift, hold_turn=True)[1]
    return shift if float(pairs.excess(angle, shift).max()) <= level else None


def _squared_less(pairs: Pairs, angle: float, shift: Floats, level: float) -> tuple[float, Floats]:
    """Turn within the level towards the least squared offsets; stop where the level ends the way."""
    for _ in range(6):
        contact = pairs.contact_at(angle, shift, hold=True)
        loose = _null(_held(pairs, contact, level - _SAME_MM))
        if not loose.shape[1] or np.abs(loose[0]).max() <= _FLAT:
            break
        rows = _rows(pairs, contact, np.arange(len(pairs))) @ loose
        step = loose @ np.linalg.lstsq(rows, -contact.gap_mm.reshape(-1), rcond=1e-7)[0]
        if float(np.abs(step).max()) < 1e-10:
            break
        before = float((contact.gap_mm**2).sum())
        for part in (1.0, 0.3, 0.1):
            to_angle = angle + part * float(step[0]) / _size(pairs)
            moved = _kept(pairs, contact, to_angle, shift + part * step[1:], level)
            if moved is not None and _squares(pairs, to_angle, moved) < before - 1e-14:
                angle, shift = to_angle, moved
                break
        else:
            break
    return angle, shift


def _kept(pairs: Pairs, before: Contact, angle: float, shift: Floats, level: float) -> Floats | None:
    """Shift at a new turn so that the pairs that held stand as they did; None where the level is passed."""
    excess = np.hypot(*before.gap_mm[0].T) - pairs.rho
    held = np.flatnonzero(excess >= level - _SAME_MM - 1e-6)
    for _ in range(3):
        now = pairs.contact_at(angle, shift, hold=True)
        rows = _rows(pairs, now, held)[:, 1:]
        step = np.linalg.lstsq(rows, (before.gap_mm - now.gap_mm)[0][held].reshape(-1), rcond=1e-7)[0]
        shift = shift + step
        if float(np.abs(step).max()) < 1e-12:
            break
    return shift if float(pairs.excess(angle, shift).max()) <= level else None


def _turned_back(pairs: Pairs, angle: float, shift: Floats, level: float) -> tuple[float, Floats]:
    """Turn towards zero as far as neither the level nor the squared offsets suffer."""
    loose = _null(_rows(pairs, pairs.contact_at(angle, shift, hold=True), np.arange(len(pairs))))
    angle = math.remainder(angle, 2 * math.pi)
    if not loose.shape[1] or np.abs(loose[0]).max() <= _FLAT:
        return angle, shift
    squares = _squares(pairs, angle, shift) + 1e-9

    def reached(at: float, start: Floats) -> Floats | None:
        moved = _at_turn(pairs, at, start, level)
        if moved is None:
            return None
        moved = _slid(pairs, at, moved, level)
        return moved if _squares(pairs, at, moved) <= squares else None

    good, bad = 1.0, 0.0
    best = shift
    back = reached(0.0, shift)
    if back is not None:
        return 0.0, back
    for _ in range(12):
        middle = (good + bad) / 2
        moved = reached(middle * angle, best)
        if moved is None:
            bad = middle
        else:
            good, best = middle, moved
    return good * angle, best


def _slid(pairs: Pairs, angle: float, shift: Floats, level: float) -> Floats:
    """Shift at this turn to the least squared offsets and then to the middle, within the level."""
    everything = np.arange(len(pairs))
    for _ in range(8):
        contact = pairs.contact_at(angle, shift, hold=True)
        loose = _null(_held(pairs, contact, level - _SAME_MM)[:, 1:])
        if not loose.shape[1]:
            return shift
        rows = _rows(pairs, contact, everything)[:, 1:] @ loose
        step = loose @ np.linalg.lstsq(rows, -contact.gap_mm.reshape(-1), rcond=1e-7)[0]
        moved = _toward(pairs, angle, shift, step, level)
        if float(np.abs(moved - shift).max()) < 1e-10:
            break
        shift = moved
    for _ in range(4):
        loose = _null(_rows(pairs, pairs.contact_at(angle, shift, hold=True), everything)[:, 1:])
        if not loose.shape[1]:
            break
        c, s = math.cos(angle), math.sin(angle)
        middle = (pairs.q - turn(pairs.p, c, s)).mean(axis=0)
        moved = _toward(pairs, angle, shift, loose @ (loose.T @ (middle - shift)), level)
        if float(np.abs(moved - shift).max()) < 1e-10:
            break
        shift = moved
    return shift


def _toward(pairs: Pairs, angle: float, shift: Floats, step: Floats, level: float) -> Floats:
    """Go as much of a step as the level allows; the shifts that it allows are convex."""
    level = max(level, float(pairs.excess(angle, shift).max()))
    if float(pairs.excess(angle, shift + step).max()) <= level:
        return np.asarray(shift + step)
    good, bad = 0.0, 1.0
    for halvings in (4, 4, 4, 4, 5, 5):
        # All places that so many halvings may come to are looked at together.
        parts = np.array([good, bad])
        for _ in range(halvings):
            ends, parts = parts, np.empty(2 * len(parts) - 1)
            parts[::2], parts[1::2] = ends, (ends[:-1] + ends[1:]) / 2
        turns = np.broadcast_to(flat_turn(angle), (len(parts), 2, 2))
        within = pairs.out_by(pairs.contact(turns, shift + parts[:, None] * step)).max(axis=1) <= level
        low, high = 0, len(parts) - 1
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if within[middle] else (low, middle)
        good, bad = float(parts[low]), float(parts[high])
    return shift + good * step


def _slides(pairs: Pairs, angle: float, shift: Floats, ids: Sequence[str]) -> list[str]:
    """Longest way along a slot at this turn, and the way across it, where they clearly exceed the play."""
    play = 2 * float(pairs.rho.max())
    ordinary = max(min(_CLEARLY * play, play + 1.0), _LEAST_SLIDE_MM)
    ways = [(_way(pairs, angle, shift, along), along) for along in _slot_directions(pairs, angle)]
    if not ways:
        return []
    longest, along = max(ways, key=lambda way: round(way[0], 6))
    if longest <= ordinary:
        return []
    found = [f"can still slide {longest:.1f} mm {_along(pairs, along, ids)}"]
    across = _way(pairs, angle, shift, np.array([-along[1], along[0]]))
    return [*found, f"can still slide {across:.1f} mm across that"] if across > ordinary else found


def _slot_directions(pairs: Pairs, angle: float) -> list[Floats]:
    """Each direction of a slot once, host's first."""
    turned = turn(pairs.u_d, math.cos(angle), math.sin(angle))
    found: list[Floats] = []
    for along in (*pairs.u_h[pairs.s_h > 0], *turned[pairs.s_d > 0]):
        if all(abs(along[0] * known[1] - along[1] * known[0]) > 1e-3 for known in found):
            found.append(along)
    return found


def _way(pairs: Pairs, angle: float, shift: Floats, along: Floats) -> float:
    """How far it can go in a direction and its opposite together, mm."""
    beyond = 2.5 * float(pairs.sigma.max()) + 1.0
    ends = [_toward(pairs, angle, shift, side * beyond * along, 0.0) - shift for side in (1.0, -1.0)]
    return sum(math.hypot(*end) for end in ends)


def _along(pairs: Pairs, way: Floats, ids: Sequence[str]) -> str:
    """Name a direction by the two fixings farthest apart in it, or by its angle."""
    first, second = np.triu_indices(len(pairs), 1)
    apart = pairs.q[second] - pairs.q[first]
    length = np.hypot(apart[:, 0], apart[:, 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        off = np.abs(apart[:, 0] * way[1] - apart[:, 1] * way[0]) / length
    in_line = np.flatnonzero((length > 0) & (off <= math.sin(math.radians(_IN_LINE_DEG))))
    if len(in_line):
        k = in_line[int(np.argmax(length[in_line]))]
        return f"along the row {ids[int(first[k])]}-{ids[int(second[k])]}"
    angle = math.degrees(math.atan2(way[1], way[0])) % 180.0
    return f"in the direction of {angle:.0f} degrees"


def _turns(pairs: Pairs, angle: float, shift: Floats, ids: Sequence[str]) -> list[str]:
    """How far it can turn, where that clearly exceeds what play alone allows."""
    first, second = np.triu_indices(len(pairs), 1)
    span = [np.hypot(*(side[first] - side[second]).T) for side in (pairs.p, pairs.q)]
    apart = np.minimum(*span)
    play = pairs.rho[first] + pairs.rho[second]
    tied = apart > np.maximum(play, 1e-9)
    if not tied.any() and _any_turn(pairs, angle, shift):
        in_one_place = not len(apart) or float(apart.max()) <= 1e-6
        about = f"freely about {ids[int(np.argmin(pairs.rho))]}"
        return [f"can turn {about if in_one_place else 'all the way round'}"]
    if not (pairs.s_h.any() or pairs.s_d.any() or not tied.any()):
        return []
    ordinary = float(np.arcsin(np.minimum(1.0, play[tied] / apart[tied])).min()) if tied.any() else 0.0
    beyond = max(_CLEARLY * ordinary, ordinary + math.radians(_LEAST_TURN_DEG))
    farthest = max(_turn_limit(pairs, angle, shift, side, beyond) for side in (1.0, -1.0))
    if farthest >= math.pi:
        return ["can turn all the way round"]
    return [f"can turn by up to {math.degrees(farthest):.1f} degrees"] if farthest > beyond else []


def _any_turn(pairs: Pairs, angle: float, shift: Floats) -> bool:
    turns = angle + np.arange(1, 12) * (math.pi / 6)
    return all(_at_turn(pairs, float(at), shift, 0.0) is not None for at in turns)


def _turn_limit(pairs: Pairs, angle: float, shift: Floats, side: float, beyond: float) -> float:
    """Farthest turn to one side that still fits, without a break; 0 where not even `beyond` does."""
    good, at = 0.0, shift
    step = beyond
    bad = math.pi
    while good < math.pi:
        moved = _at_turn(pairs, angle + side * step, at, 0.0)
        if moved is None:
            bad = step
            break
        good, at = step, moved
        step = min(math.pi, step * 1.5)
        if good == math.pi:
            return math.pi
    if good == 0.0:
        return 0.0
    for _ in range(9):
        middle = (good + bad) / 2
        moved = _at_turn(pairs, angle + side * middle, at, 0.0)
        if moved is None:
            bad = middle
        else:
            good, at = middle, moved
    return good
