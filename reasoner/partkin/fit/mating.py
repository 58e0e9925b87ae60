"""Which features can go together, and how far one may stand from the other.

Allowed: fixed fastener (H - F)/2; floating (H1 - F)/2 + (H2 - F)/2 (ASME Y14.5, fixed and floating
fastener formulas; H hole, F fastener, diameters). A push-fit clip has its own rules: data/tables/clips.csv.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from partkin.model.build import Feature
from partkin.model.mating import DonorFeature, Fixing, Mating, PlayRule, Size
from partkin.tables.threads import near_miss, parse_thread, threads_join
from partkin.tables.work import ClipRule, clip_rule

if TYPE_CHECKING:
    pass

OPENINGS = ("hole", "slot")
THREADED = ("tapped hole", "captive nut")
TAKES = {
    "stud": ("hole", "slot", "peg hole", "clip hole"),
    "tapped hole": OPENINGS,
    "captive nut": OPENINGS,
    "peg": ("hole", "slot", "peg hole"),
    "clip": ("hole", "slot", "clip hole"),
}


def play_rule(host_kind: str, donor_kind: str) -> PlayRule | None:
    """Return the rule by which two kinds go together, or None where they cannot.

    Examples
    --------
    >>> play_rule("stud", "slot"), play_rule("hole", "hole"), play_rule("stud", "stud")
    ('fixed by the host', 'floating', None)
    """
    if host_kind in OPENINGS and donor_kind in OPENINGS:
        return "floating"
    if donor_kind in TAKES.get(host_kind, ()):
        return "push fit by the host" if host_kind == "clip" else "fixed by the host"
    if host_kind in TAKES.get(donor_kind, ()):
        return "push fit by the donor" if donor_kind == "clip" else "fixed by the donor"
    return None


def fastener_mm(feature: Feature) -> float | None:
    """Diameter of the bolt that a hole is meant for: its thread's, else its fastener_mm."""
    thread = parse_thread(feature.thread) if feature.thread else None
    return thread.major_mm if thread else feature.fastener_mm


def solid_mm(feature: Feature) -> float | None:
    """Diameter of a stud, peg or clip, or of the screw in a tapped hole or nut."""
    if feature.across_mm is not None:
        return feature.across_mm
    return fastener_mm(feature)


def allowed_play(
    rule: PlayRule,
    host_mm: Any,
    donor_mm: Any,
    bolt_mm: Any = 0.0,
    float_mm: float = 0.0,
    clip: ClipRule | None = None,
) -> Any:
    """How far a feature may stand from its fixing; negative: it cannot go on, by its size.

    Negative where the fastener is larger than its hole, or a clip so much larger or smaller that it does not go
    in or does not hold.

    Parameters
    ----------
    rule
    host_mm, donor_mm, bolt_mm
        Diameters or widths, floats or equal-shaped arrays; `bolt_mm` counts only in a floating pair.
    float_mm
        Of a captive nut.
    clip
        What the hole asks of a clip; None: as in sheet steel.

    Examples
    --------
    ISO 273 medium hole for M6 on an M6 stud, and an M8 bolt through two 9.0 holes:

    >>> round(allowed_play("fixed by the host", 6.0, 6.6), 6), allowed_play("floating", 9.0, 9.0, 8.0)
    (0.3, 1.0)
    """
    if rule == "floating":
        first, second = (host_mm - bolt_mm) / 2, (donor_mm - bolt_mm) / 2
        both = first + second
        # A bolt that does not pass one hole gains nothing from the play of the other.
        return _least(_least(both, first, first < 0), second, second < 0)
    if rule == "fixed by the host":
        gap = (donor_mm - host_mm) / 2
        return gap + float_mm * (gap >= 0)
    if rule == "fixed by the donor":
        gap = (host_mm - donor_mm) / 2
        return gap + float_mm * (gap >= 0)
    gap = (donor_mm - host_mm) / 2 if rule == "push fit by the host" else (host_mm - donor_mm) / 2
    return _clip_play(gap, clip or clip_rule(None))


def _clip_play(gap: Any, clip: ClipRule) -> Any:
    """Play of a clip by half of what its hole is wider: what it takes, or more where it stands loose in it."""
    over, under = gap + clip.larger_mm / 2, clip.smaller_mm / 2 - gap
    play = gap + (clip.takes_mm - gap) * (gap < clip.takes_mm)
    return _least(_least(play, over, over < 0), under, under < 0)


def _least(value: Any, other: Any, where: Any) -> Any:
    if hasattr(where, "shape"):
        import numpy as np

        return np.where(where, np.minimum(value, other), value)
    return min(value, other) if where else value


def mate(fixing: Fixing, donor: DonorFeature) -> Mating:
    """Judge kinds, threads and sizes of one fixing and one donor feature."""
    host_feature, donor_feature = fixing.feature, donor.feature
    ids = (host_feature.feature, donor_feature.feature)
    rule = play_rule(host_feature.kind, donor_feature.kind)
    if rule is None:
        why = f"a {donor_feature.kind} cannot go on a {host_feature.kind}"
        return Mating(*ids, None, None, blocked=why, option=False)
    thread_fault = threads_clash(host_feature, donor_feature)
    if thread_fault:
        return Mating(*ids, rule, None, blocked=thread_fault, option=False)
    sizes, sizeless = _sizes(rule, fixing, donor)
    lacks, more_mm = _slack(rule, fixing, donor)
    float_mm = captive_float_mm(rule, host_feature, donor_feature)
    if sizeless:
        most_mm = None if more_mm is None else _at_most(rule, sizes, sizeless, float_mm)
        most_mm = None if most_mm is None else most_mm + (more_mm or 0.0)
        return Mating(*ids, rule, None, lacks=(*sizeless, *lacks), most_mm=most_mm)
    play_mm = float(allowed_play(rule, *sizes, float_mm, clip_between(rule, fixing, donor)))
    if play_mm < 0:
        # Neither float nor length helps a fastener that does not pass; a host's hole may be wider than it has to be.
        wider = (("host", "across"),) if _is_least(fixing) else ()
        return Mating(*ids, rule, play_mm, too_large(rule, sizes), wider)
    allowed_mm = None if fixing.play_lacks or any(quantity == "thread" for _, quantity in lacks) else play_mm
    return Mating(*ids, rule, allowed_mm, lacks=lacks, most_mm=None if more_mm is None else play_mm + more_mm)


def _slack(rule: PlayRule, fixing: Fixing, donor: DonorFeature) -> tuple[tuple[tuple[str, str], ...], float | None]:
    """What is not known that could only give more play, and how much more at most; None: there is no bound."""
    lacks, more_mm = [("shown", quantity) for quantity in fixing.play_lacks], 0.0
    if _is_least(fixing):
        lacks.append(("host", "across"))
    nuts = {"fixed by the host": ("host", fixing), "fixed by the donor": ("donor", donor)}
    for side, end in (("host", fixing), ("donor", donor)):
        lacks += [(side, quantity) for quantity in travel_lacks(end.feature, end.across, end.length)]
        more_mm += open_travel_mm(end.feature, end.across, end.length)
        if nuts.get(rule) == (side, end) and end.feature.kind == "captive nut" and end.feature.float_mm is None:
            lacks.append((side, "float"))
    lacks += threadless(fixing.feature, donor.feature)
    bounded = all(quantity in ("angle", "thread") for _, quantity in lacks)
    return tuple(lacks), more_mm + fixing.play_open_mm if bounded else None


def threadless(host: Feature, donor: Feature) -> list[tuple[str, str]]:
    """The nut or tapped hole of which the thread is not known, where the other part's hole names its screw.

    A hole that names no screw takes the one that goes into the nut.
    """
    ends = (("host", host, donor), ("donor", donor, host))
    return [
        (side, "thread") for side, nut, hole in ends
        if nut.kind in THREADED and not nut.thread and hole.kind in OPENINGS and hole.thread
    ]  # fmt: skip


def _is_least(fixing: Fixing) -> bool:
    """Whether the size of a hole is only the least it can be: something of the original went into it."""
    return fixing.supposed and fixing.feature.kind in (*OPENINGS, "peg hole", "clip hole")


def travel_lacks(feature: Feature, across: Size, length: Size) -> tuple[str, ...]:
    """What of a slot's travel is not known: its length, or which way it points.

    Examples
    --------
    >>> slot = Feature("p", "s", "slot")
    >>> travel_lacks(slot, Size(7.0), Size(None)), travel_lacks(slot, Size(7.0), Size(12.0))
    (('length',), ('angle',))
    """
    if feature.kind != "slot":
        return ()
    if length.mm is None:
        return ("length",)
    turned = feature.angle_deg is None and (across.mm is None or length.mm > across.mm)
    return ("angle",) if turned else ()


def half_travel_mm(feature: Feature, across: Size, length: Size) -> float:
    """Half of the line that a slot's round ends stand at the ends of; 0 where it is not known."""
    if feature.kind != "slot" or length.mm is None or across.mm is None:
        return 0.0
    return max(0.0, (length.mm - across.mm) / 2)


def open_travel_mm(feature: Feature, across: Size, length: Size) -> float:
    """Half travel of a slot of which nobody said which way it points: it may help in any direction."""
    return half_travel_mm(feature, across, length) if feature.angle_deg is None else 0.0


def captive_float_mm(rule: PlayRule, host: Feature, donor: Feature) -> float:
    """Movement of the captive nut that holds the screw, if one does; 0 where nobody took it."""
    nut = {"fixed by the host": host, "fixed by the donor": donor}.get(rule)
    return nut.float_mm if nut is not None and nut.kind == "captive nut" and nut.float_mm else 0.0


def clip_between(rule: PlayRule, fixing: Fixing, donor: DonorFeature) -> ClipRule | None:
    """What the hole of a push fit asks of its clip; None: no push fit."""
    if rule == "push fit by the host":
        return clip_rule(donor.material)
    return clip_rule(fixing.material) if rule == "push fit by the donor" else None


def bolt_between_mm(host: Feature, donor: Feature) -> float | None:
    """Diameter of the bolt through two holes: the host's hole says, the donor's where that is empty."""
    through_host = fastener_mm(host)
    return through_host if through_host is not None else fastener_mm(donor)


def _sizes(
    rule: PlayRule, fixing: Fixing, donor: DonorFeature
) -> tuple[tuple[float, float, float], tuple[tuple[str, str], ...]]:
    bolt = bolt_between_mm(fixing.feature, donor.feature) if rule == "floating" else 0.0
    lacks = [(side, "across") for side, size in (("host", fixing.across), ("donor", donor.across)) if size.mm is None]
    if bolt is None:
        lacks.append(("host", "fastener"))
    return (fixing.across.mm or 0.0, donor.across.mm or 0.0, bolt or 0.0), tuple(lacks)


def _at_most(
    rule: PlayRule, sizes: tuple[float, float, float], lacks: tuple[tuple[str, str], ...], float_mm: float
) -> float | None:
    """The play where what is not known goes through as thin as can be; None: a hole is not known, or a clip."""
    openings = {"floating": ("host", "donor"), "fixed by the host": ("donor",), "fixed by the donor": ("host",)}
    holes = openings.get(rule)
    if holes is None or any((side, "across") in lacks for side in holes):
        return None
    return float(allowed_play(rule, *sizes, float_mm))


def too_large(rule: PlayRule, sizes: tuple[float, float, float]) -> str:
    """Say which hole the fastener does not pass, or which clip does not hold."""
    host_mm, donor_mm, bolt_mm = sizes
    if rule == "floating":
        narrow = min(host_mm, donor_mm)
        return f"the {bolt_mm:g} mm bolt does not pass the {narrow:g} mm hole"
    solid, opening = (host_mm, donor_mm) if rule.endswith("by the host") else (donor_mm, host_mm)
    if rule.startswith("push fit"):
        how = "does not go into" if solid > opening else "does not hold in"
        return f"a clip of {solid:g} mm {how} a hole of {opening:g} mm"
    return f"{solid:g} mm does not pass {opening:g} mm"


def threads_clash(host: Feature, donor: Feature) -> str | None:
    """Why a screw of one side cannot go into the thread of the other; None: it can, or no threads meet.

    A screw named by one part's hole has to go into the tapped hole or nut of the other.
    """
    for nut, hole in ((host, donor), (donor, host)):
        if nut.kind in THREADED and hole.kind in OPENINGS and nut.thread and hole.thread:
            inner, outer = parse_thread(nut.thread), parse_thread(hole.thread)
            if inner is None or outer is None:
                continue
            if not threads_join(inner, outer):
                why = thread_difference(hole.thread, nut.thread)
                return f"the screw is {hole.thread} and the {nut.kind} {nut.thread}: {why}"
    return None


def thread_difference(first: str, second: str) -> str:
    """Say in words how two threads differ, and what happens when they are joined by force."""
    one, other = parse_thread(first), parse_thread(second)
    if one is None or other is None:
        return "not both threads are known"
    diameter, pitch = abs(one.major_mm - other.major_mm), abs(one.pitch_mm - other.pitch_mm)
    text = f"diameter differs by {diameter:.2f} mm, pitch by {pitch:.3f} mm"
    miss = near_miss(one.designation, other.designation)
    return f"{text}; may start by hand and then strip ({miss.note})" if miss else text
