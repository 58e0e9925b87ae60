"""Interchange at every level: the skin of an assembly may go on although the whole does not."""

from __future__ import annotations

from partkin.model.build import Build, Part
from partkin.model.verdict import Level, Verdict
from partkin.model.words import BOLTS_ON, DOES_NOT_FIT, WITH_ADAPTATION

GOES_ON = (BOLTS_ON, WITH_ADAPTATION)


def has_others(build: Build, donor: str) -> bool:
    """Whether the donor holds, or belongs to, another donor that has a place of its own."""
    return bool(_others(build, donor))


def others(build: Build, donor: str) -> tuple[Level, ...]:
    """Judge every donor within this one, and every assembly around it, each for its own place; the best first."""
    from partkin.pipeline import find_out
    from partkin.verdict import decide

    found = []
    for part, within in _others(build, donor):
        verdict = decide(find_out(build, part.part))
        says = _says(build, part, verdict, donor, within)
        found.append(Level(part.part, part.name, verdict.host, verdict.verdict, within, says))
    return tuple(sorted(found, key=lambda level: (level.verdict not in GOES_ON, not level.within)))


def _others(build: Build, donor: str) -> list[tuple[Part, bool]]:
    own = build.part(donor)
    if own is None:
        return []
    around = set(_above(build, own))
    return [
        (part, part.part not in around)
        for part in build.parts
        if part.origin == "donor" and part.takes_place_of and part.part != donor
        and (part.part in around or donor in _above(build, part))
    ]  # fmt: skip


def _above(build: Build, part: Part) -> list[str]:
    """Ids of the assemblies that a part belongs to, the nearest first."""
    found: list[str] = []
    while part.part_of is not None and part.part_of not in found:
        found.append(part.part_of)
        above = build.part(part.part_of)
        if above is None:
            break
        part = above
    return found


def _says(build: Build, part: Part, verdict: Verdict, donor: str, within: bool) -> str:
    name = f"{part.part} ({part.name})" if part.name else part.part
    where = f"part of {donor}" if within else f"the assembly that {donor} belongs to"
    if verdict.verdict in GOES_ON:
        work = " after work on it" if verdict.verdict == WITH_ADAPTATION else ""
        if within:
            return f"{name}, {where}, goes on {verdict.host}{work}; {_separating(build, part.part)}"
        return f"{name}, {where}, goes on {verdict.host} whole{work}"
    if verdict.verdict == DOES_NOT_FIT:
        return f"{name}, {where}, does not go on {verdict.host} whole{_differs(verdict)}"
    return f"{name}, {where}, on {verdict.host}: {verdict.says or verdict.verdict}"


def _differs(verdict: Verdict) -> str:
    """Where it differs: the fixings that are out of reach at the best placement, or those that conflict."""
    out = [pair.fixing for pair in verdict.pairs if pair.state in ("out of reach", "blocked")]
    named = out or list(verdict.conflict.fixings if verdict.conflict is not None else ())
    if not named:
        return f": {verdict.conflict_says}" if verdict.conflict_says else ""
    return f": it differs at {len(named)} fixing{'s' * (len(named) != 1)} ({', '.join(named)})"


def _separating(build: Build, part: str) -> str:
    """Name what joins a part to the rest of its assembly, from held_by.csv, whichever of the two the row is about.

    >>> from partkin.model.build import Holding
    >>> _separating(Build(holdings=(Holding("top", "frame", "s1", "screw", 4),)), "top")
    'to separate it from frame undo 4 screws (s1)'
    """
    found: dict[str, list[str]] = {}
    for row in build.holdings:
        if part in (row.part, row.held_to):
            other = row.held_to if row.part == part else row.part
            sure = "" if row.certain else ", a guess"
            found.setdefault(other, []).append(f"{row.count} {row.kind}{'s' * (row.count != 1)} ({row.fastener}{sure})")
    if not found:
        return "what holds it to the rest is not known: list it in held_by.csv"
    said = "; ".join(f"from {other} undo {', '.join(undo)}" for other, undo in found.items())
    return f"to separate it {said}"
