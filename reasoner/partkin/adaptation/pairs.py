"""What a pair's play is made of: the bolt, the hole on either side, and what the rest of the pair adds."""

from __future__ import annotations

import math
from dataclasses import dataclass

from partkin.adaptation.limits import OPENINGS
from partkin.model.adapting import AdaptationQuestion
from partkin.model.build import Feature
from partkin.model.fitting import Option
from partkin.model.mating import Mating
from partkin.tables.threads import parse_thread, threads
from partkin.tables.work import edge_rule

THREADED = ("tapped hole", "captive nut")
# A pair with this much play or more is one of which something is not known.
UNKNOWN_PLAY_MM = 1.0e4


@dataclass(frozen=True)
class Opening:
    """The hole of one side of a pair.

    `share_mm`: play that the pair has besides this hole's own: its play is (across - bolt)/2 + share.
    """

    side: str
    across_mm: float
    share_mm: float

    def play_mm(self, across_mm: float, bolt_mm: float) -> float:
        """Play of the pair with this hole at another diameter."""
        return (across_mm - bolt_mm) / 2.0 + self.share_mm


@dataclass(frozen=True)
class PairSizes:
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


def _float_mm(*features: Feature) -> float:
    return sum(feature.float_mm or 0.0 for feature in features if feature.kind == "captive nut")


def sizes_of(question: AdaptationQuestion, host: Feature, donor: Feature, option: Option | None) -> PairSizes | None:
    """Take a pair's play apart; None where a size that a job would need is not known."""
    bolt_mm = bolt_of(question, host, donor)
    if bolt_mm is None or (option is not None and option.allowed_mm >= UNKNOWN_PLAY_MM):
        return None
    holes = [
        (side, feature.across_mm)
        for side, feature in (("donor", donor), ("host", host))
        # A clip holds by the size of its hole.
        if feature.kind in OPENINGS and feature.across_mm is not None and "clip" not in (donor.kind, host.kind)
    ]
    openings = []
    for side, across_mm in holes:
        others = [(mm - bolt_mm) / 2.0 for name, mm in holes if name != side]
        if any(play < 0.0 for play in others):
            continue  # The bolt does not pass the other hole: opening this one gains nothing.
        share_mm = sum(others) + _float_mm(host, donor)
        play_mm = _play_now_mm(question, host, donor, option)
        if play_mm is not None and across_mm >= bolt_mm and play_mm >= 0.0:
            share_mm = play_mm - (across_mm - bolt_mm) / 2.0
        openings.append(Opening(side, across_mm, share_mm))
    return PairSizes(bolt_mm, tuple(openings), _other_bolt(host, donor, option))


def _play_now_mm(question: AdaptationQuestion, host: Feature, donor: Feature, option: Option | None) -> float | None:
    """Play of the pair as it is. The mating's word counts before the task's, which may hold some back."""
    for mating in question.matings:
        if (mating.fixing, mating.feature) == (host.feature, donor.feature) and mating.option:
            return mating.allowed_mm
    return option.allowed_mm if option is not None else None


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
    return [
        mating.feature
        for mating in matings
        if mating.fixing == fixing and mating.rule is not None and mating.blocked and not mating.option
    ]


def clearance_hole_mm(bolt_mm: float, share_mm: float, workmanship_mm: float) -> float:
    """Diameter of a new hole: ISO 273 medium, wider where that leaves less play than a hand misses by.

    Examples
    --------
    >>> clearance_hole_mm(8.0, 0.0, 0.5), clearance_hole_mm(6.0, 0.0, 0.5), clearance_hole_mm(6.0, 1.0, 0.5)
    (9.0, 7.0, 6.6)
    """
    medium_mm = next(
        (
            thread.clearance_medium_mm
            for thread in threads().values()
            if abs(thread.major_mm - bolt_mm) < 0.02 and thread.clearance_medium_mm is not None
        ),
        drill_up_mm(1.1 * bolt_mm),
    )
    return max(medium_mm, drill_up_mm(bolt_mm + 2.0 * max(0.0, workmanship_mm - share_mm)))


def drill_up_mm(at_least_mm: float) -> float:
    """Round up to a drill that is at hand.

    Examples
    --------
    >>> drill_up_mm(8.1), drill_up_mm(8.5)
    (8.5, 8.5)
    """
    step_mm = edge_rule("drill step").value
    return math.ceil(at_least_mm / step_mm - 1e-9) * step_mm
