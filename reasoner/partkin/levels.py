"""Interchange at every level: the skin of an assembly may go on although the whole does not."""

from __future__ import annotations

from partkin.model.build import Build, Part
from partkin.model.verdict import Level, Verdict
from partkin.model.words import BOLTS_ON, WITH_ADAPTATION

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
        says = _says(part, verdict, donor, within)
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


def _says(part: Part, verdict: Verdict, donor: str, within: bool) -> str:
    name = f"{part.part} ({part.name})" if part.name else part.part
    where = f"part of {donor}" if within else f"the assembly that {donor} belongs to"
    if verdict.verdict in GOES_ON and within:
        return f"{name}, {where}, goes on {verdict.host}; it has to be separated from the rest (held_by.csv)"
    if verdict.verdict in GOES_ON:
        return f"{name}, {where}, goes on {verdict.host} whole"
    why = f": {verdict.conflict_says}" if verdict.conflict_says else ""
    return f"{name}, {where}, on {verdict.host}{why}"
