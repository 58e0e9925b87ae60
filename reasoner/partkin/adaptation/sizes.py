"""What a pair's play is made of, and how much room a job has: drills, openings, slots and their lines."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from partkin.adaptation.limits import OPENINGS, PartLimits, Refusal, refuse_cut
from partkin.fit.segments import centre_line, direction, nearest_on
from partkin.model.adapting import AdaptationQuestion
from partkin.model.build import Feature
from partkin.model.fitting import Option, Spot
from partkin.model.mating import Mating
from partkin.tables.threads import parse_thread, threads
from partkin.tables.work import edge_rule, washer_for

THREADED = ("tapped hole", "captive nut")
# A pair with this much play or more is one of which something is not known.
UNKNOWN_PLAY_MM = 1.0e4


class Opening(NamedTuple):
    """The hole of one side of a pair.

    `share_mm`: play that the pair has besides this hole's own: its play is (across - bolt)/2 + share.
    """

    side: str
    across_mm: float
    share_mm: float

    def play_mm(self, across_mm: float, bolt_mm: float) -> float:
        """Play of the pair with this hole at another diameter."""
        return (across_mm - bolt_mm) / 2.0 + self.share_mm


class PairSizes(NamedTuple):
    """Bolt and openings of one pair; `other_bolt`: another bolt than the one meant has to be used."""

    bolt_mm: float
    openings: tuple[Opening, ...]
    other_bolt: str | None = None

    def opening(self, side: str) -> Opening | None:
        """Return the hole of that side, where it has one."""
        return next((hole for hole in self.openings if hole.side == side), None)


def thread_mm(feature: Feature) -> float | None:
    """Diameter of the bolt that a feature names, by its thread or its fastener_mm."""
    thread = parse_thread(feature.thread) if feature.thread else None
    return thread.major_mm if thread else feature.fastener_mm


def bolt_of(question: AdaptationQuestion, host: Feature, donor: Feature) -> float | None:
    """Diameter of what goes through the pair's hole; None: not known."""
    for fixing, feature, mm in question.bolts:
        if (fixing, feature) == (host.feature, donor.feature):
            return mm
    for solid in (host, donor):
        if solid.kind in ("stud", "peg", "clip"):
            return solid.across_mm if solid.across_mm is not None else thread_mm(solid)
    for nut in (host, donor):
        if nut.kind in THREADED:
            return thread_mm(nut) or nut.across_mm
    return thread_mm(host) or thread_mm(donor)


def sizes_of(question: AdaptationQuestion, host: Feature, donor: Feature, option: Option | None) -> PairSizes | None:
    """Take a pair's play apart; None where a size that a job would need is not known."""
    bolt_mm = bolt_of(question, host, donor)
    if bolt_mm is None or (option is not None and option.allowed_mm >= UNKNOWN_PLAY_MM):
        return None
    # A clip holds by the size of its hole.
    wide = [] if "clip" in (donor.kind, host.kind) else [("donor", donor), ("host", host)]
    holes = [(side, f.across_mm) for side, f in wide if f.kind in OPENINGS and f.across_mm is not None]
    openings = []
    for side, across_mm in holes:
        others = [(mm - bolt_mm) / 2.0 for name, mm in holes if name != side]
        if any(play < 0.0 for play in others):
            continue  # The bolt does not pass the other hole: opening this one gains nothing.
        share_mm = sum(others) + sum(f.float_mm or 0.0 for f in (host, donor) if f.kind == "captive nut")
        # The mating's word of the play as it is counts before the task's, which may hold some back.
        named = (m for m in question.matings if (m.fixing, m.feature) == (host.feature, donor.feature) and m.option)
        play_mm = next((m.allowed_mm for m in named), option.allowed_mm if option is not None else None)
        if play_mm is not None and across_mm >= bolt_mm and play_mm >= 0.0:
            share_mm = play_mm - (across_mm - bolt_mm) / 2.0
        openings.append(Opening(side, across_mm, share_mm))
    return PairSizes(bolt_mm, tuple(openings), _other_bolt(host, donor, option))


def _other_bolt(host: Feature, donor: Feature, option: Option | None) -> str | None:
    """The thread of the bolt that must be used instead of the one the hole names."""
    if option is not None:
        return None
    for nut, hole in ((host, donor), (donor, host)):
        if nut.kind in THREADED and hole.kind in OPENINGS and nut.thread and hole.thread:
            return nut.thread
    return None


def blocked_by_thread(matings: tuple[Mating, ...], fixing: str) -> list[str]:
    """Features that the fixing could take if only the thread were right, in order."""
    blocked = (m for m in matings if m.rule is not None and m.blocked and not m.option)
    return [mating.feature for mating in blocked if mating.fixing == fixing]


def clearance_hole_mm(bolt_mm: float, share_mm: float, workmanship_mm: float) -> float:
    """Diameter of a new hole: ISO 273 medium, wider where that leaves less play than a hand misses by.

    >>> clearance_hole_mm(8.0, 0.0, 0.5), clearance_hole_mm(6.0, 0.0, 0.5), clearance_hole_mm(6.0, 1.0, 0.5)
    (9.0, 7.0, 6.6)
    """
    own = [thread.clearance_medium_mm for thread in threads().values() if abs(thread.major_mm - bolt_mm) < 0.02]
    medium_mm = next((mm for mm in own if mm is not None), drill_up_mm(1.1 * bolt_mm))
    return max(medium_mm, drill_up_mm(bolt_mm + 2.0 * max(0.0, workmanship_mm - share_mm)))


def drill_up_mm(at_least_mm: float) -> float:
    """Round up to a drill that is at hand.

    >>> drill_up_mm(8.1), drill_up_mm(8.5)
    (8.5, 8.5)
    """
    step_mm = edge_rule("drill step").value
    return math.ceil(at_least_mm / step_mm - 1e-9) * step_mm


MOST_RIMS = 6


class Rim(NamedTuple):
    """A line that the far end of a slot must not pass: at most `room_mm` along (x, y) from the hole's centre."""

    x: float
    y: float
    room_mm: float


def largest_opening_mm(bolt_mm: float) -> float:
    """Largest sensible hole (or slot width) under a large washer, rounded down to a drill.

    >>> largest_opening_mm(6.0), largest_opening_mm(8.0)
    (9.0, 12.0)
    """
    most_mm, washer = edge_rule("largest opening").value * bolt_mm, washer_for(bolt_mm)
    if washer is not None:
        most_mm = min(most_mm, edge_rule("washer cover").value * washer.large_outer_mm)
    step_mm = edge_rule("drill step").value
    return math.floor(most_mm / step_mm + 1e-9) * step_mm


def opening_room(limits: PartLimits, spot: Spot, across_mm: float, bolt_mm: float) -> tuple[float, Refusal | None]:
    """How far a hole (or the width of a slot) may be opened out, and what keeps it from the largest sensible one.

    `across_mm` itself where nothing may be taken off.
    """
    line, slot = centre_line(spot), spot.half_travel_mm > 0.0
    to_mm = largest_opening_mm(bolt_mm)
    refusal: Refusal | None = None
    while to_mm > across_mm + 1e-9:
        blocked = refuse_cut(limits, line, to_mm, bolt_mm, slot, spot.id)
        if blocked is None:
            return to_mm, refusal
        refusal = blocked
        to_mm -= edge_rule("drill step").value
    return across_mm, refusal


def travel_room(
    limits: PartLimits, spot: Spot, width_mm: float, bolt_mm: float, most_mm: float, along_deg: float
) -> tuple[float, Refusal | None]:
    """How far a slot of that width may run from the spot's centre in one direction, in whole steps, up to `most_mm`."""
    along, centre = direction(along_deg), np.array(spot.at_mm[:2], dtype=float)
    steps = grid_travels_mm(width_mm, most_mm)
    low, high = 0, len(steps)
    refusal: Refusal | None = None
    # The slot of a longer travel holds the shorter one, so room only shrinks: halve.
    while low < high:
        middle = (low + high + 1) // 2
        line = np.array([centre, centre + steps[middle - 1] * along])
        blocked = refuse_cut(limits, line, width_mm, bolt_mm, True, spot.id)
        if blocked is None:
            low = middle
        else:
            high, refusal = middle - 1, blocked
    return (steps[low - 1] if low else 0.0), refusal


def grid_travels_mm(width_mm: float, most_mm: float) -> list[float]:
    """Travels that make a slot's overall length a whole step, shortest first.

    >>> grid_travels_mm(7.5, 3.0)
    [0.5, 1.5, 2.5]
    """
    step_mm = edge_rule("length step").value
    first = math.floor(width_mm / step_mm + 1e-9) + 1
    last = math.floor((width_mm + most_mm) / step_mm + 1e-9)
    return [number * step_mm - width_mm for number in range(first, last + 1)]


def rims_of(
    limits: PartLimits, spot: Spot, width_mm: float, bolt_mm: float, most_mm: float
) -> tuple[tuple[Rim, ...], float, Refusal | None]:
    """Lines that a slot's far end must not pass, how far it may run at most, and what the nearest of them stands for.

    Each obstacle is cut off by a line square to the way to its nearest point: what stays on this side of it
    keeps its distance. For a straight edge that loses nothing; for a round hole it is on the safe side. Of more than
    six lines the travel is cut to what the others leave.
    """
    centre = np.array(spot.at_mm[:2], dtype=float)
    rooms: set[tuple[float, float, float]] = set()
    for obstacle in limits.obstacles:
        if obstacle.what == "hole" and obstacle.name == spot.id:
            continue
        kept_mm, _ = limits.kept_mm(obstacle, width_mm, bolt_mm, True)
        for gap in nearest_on(centre, obstacle.starts, obstacle.ends) - centre:
            away_mm = float(np.linalg.norm(gap))
            if away_mm - kept_mm < most_mm and away_mm > 0.0:
                rooms.add((away_mm - kept_mm, float(gap[0]) / away_mm, float(gap[1]) / away_mm))
    found = sorted(rooms)
    if not found:
        return (), most_mm, None
    travel_mm = min(most_mm, found[MOST_RIMS][0]) if len(found) > MOST_RIMS else most_mm
    rims = tuple(Rim(x, y, room_mm) for room_mm, x, y in found[:MOST_RIMS] if room_mm < travel_mm)
    reached = centre + most_mm * np.array(found[0][1:])
    return rims, travel_mm, refuse_cut(limits, np.array([centre, reached]), width_mm, bolt_mm, True, spot.id)
