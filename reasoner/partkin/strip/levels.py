"""Interchange at every level: the skin of an assembly may go on although the whole does not."""

from __future__ import annotations

from collections.abc import Iterable

from partkin.model.build import Build, Part
from partkin.model.stripping import NoPlan
from partkin.model.verdict import Level, Verdict
from partkin.model.words import DOES_NOT_FIT, GOES_ON, WITH_ADAPTATION
from partkin.strip.plan import plan

# Fasteners named in the sentence; the plan names them all.
MOST_LISTED = 6


def level_of(build: Build, own: Verdict, part: Part, within: bool, verdict: Verdict) -> Level:
    """Say how a donor within this one, or an assembly around it, stands for its own place.

    Where a part of what does not go on whole goes on, one sentence says both, and what has to be separated.
    """
    says = _says(build, part, verdict, own, within)
    return Level(part.part, part.name, verdict.host, verdict.verdict, within, says)


def best_first(levels: Iterable[Level]) -> tuple[Level, ...]:
    """Order levels: those that go on first, of these the ones within the donor."""
    return tuple(sorted(levels, key=lambda level: (level.verdict not in GOES_ON, not level.within)))


def _says(build: Build, part: Part, verdict: Verdict, own: Verdict, within: bool) -> str:
    """How a part within the donor, or an assembly round it, stands beside the donor's own verdict."""
    donor = build.part(own.donor)
    assert donor is not None
    whole, piece = (donor, part) if within else (part, donor)
    of_whole, of_piece = (own, verdict) if within else (verdict, own)
    if of_whole.verdict == DOES_NOT_FIT and of_piece.verdict in GOES_ON:
        return (
            f"the whole {called(whole)} does not go on {of_whole.host}{_differs(of_whole)}; its {called(piece)} does, "
            f"on {of_piece.host}{_after_work(of_piece)}; {_separating(build, piece.part)}"
        )
    where = f"part of {donor.part}" if within else f"the assembly that {donor.part} belongs to"
    if verdict.verdict in GOES_ON:
        apart = f"; {_separating(build, part.part)}" if within else ""
        return f"{called(part)}, {where}, goes on {verdict.host}{' whole' * (not within)}{_after_work(verdict)}{apart}"
    if verdict.verdict == DOES_NOT_FIT:
        return f"{called(part)}, {where}, does not go on {verdict.host}{' whole' * (not within)}{_differs(verdict)}"
    return f"{called(part)}, {where}, on {verdict.host}: {verdict.says or verdict.verdict}"


def called(part: Part) -> str:
    """What a part is, with its id."""
    return f"{part.name} ({part.part})" if part.name else part.part


def _after_work(verdict: Verdict) -> str:
    if verdict.verdict != WITH_ADAPTATION:
        return ""
    minutes = f", {verdict.adaptation.minutes:g} min" if verdict.adaptation is not None else ""
    return f" after work on it{minutes}"


def _differs(verdict: Verdict) -> str:
    """Where it differs: the fixings that are out of reach at the best placement, or those that conflict."""
    out = [pair.fixing for pair in verdict.pairs if pair.state in ("out of reach", "blocked")]
    named = out or list(verdict.conflict.fixings if verdict.conflict is not None else ())
    if not named:
        return f": {verdict.conflict_says}" if verdict.conflict_says else ""
    return f": it differs at {len(named)} fixing{'s' * (len(named) != 1)} ({', '.join(named)})"


def separating_minutes(build: Build, part: str) -> float | None:
    """Minutes in hand to get a part out of its assembly, by the strip plan; None: it cannot be told."""
    found = plan(build, part)
    if isinstance(found, NoPlan) or not any(joint.step is not None for joint in found.joints):
        return None
    return found.minutes


def _separating(build: Build, part: str) -> str:
    """What has to be undone to get a part out of its assembly, and how long that takes, by the strip plan.

    >>> from partkin.model.build import Holding
    >>> rows = (Holding("top", "frame", "s1", "screw", 4),)
    >>> _separating(Build(parts=(Part("top"), Part("frame")), holdings=rows), "top")
    'to separate it undo 4 screws (s1): about 2 min in hand; strip lists the steps'
    """
    found = plan(build, part)
    if isinstance(found, NoPlan):
        return f"it cannot be separated: {found.reason}"
    undone = [joint for joint in found.joints if joint.step is not None]
    if not undone:
        return "what holds it to the rest is not known: list it in held_by.csv"
    listed = [
        f"{joint.count} {joint.kind}{'s' * (joint.count != 1)} ({joint.fastener}{', a guess' * joint.guess})"
        for joint in undone[:MOST_LISTED]
    ]
    more = f" and {len(undone) - MOST_LISTED} more rows" if len(undone) > MOST_LISTED else ""
    aside = [body.part for body in found.bodies if body.role == "comes off first"]
    first = f"take off {', '.join(aside)} first and " if aside else ""
    stuck = f", with {', '.join(found.with_it)} still on it" if found.with_it else ""
    return (
        f"to separate it {first}undo {', '.join(listed)}{more}{stuck}: about {found.minutes:.0f} min in hand; "
        "strip lists the steps"
    )
